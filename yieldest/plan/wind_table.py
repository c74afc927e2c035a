"""The table [wind]: where the wind is known from."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from yieldest.settings import (
    FilePath,
    Height,
    MeanSpeed,
    Settings,
    WholeShare,
    Words,
    at_most_one,
    key,
)
from yieldest.wind.goodness import ENERGY_ERROR_LIMIT
from yieldest.wind.quality_control import QualityRules
from yieldest.wind.read_options import Columns, ReadOptions, TableOptions
from yieldest.wind.resource import EMPIRICAL
from yieldest.wind.weibull_fits import METHODS

SOURCES = (
    "record",
    "frequency_table",
    "monthly_means",
    "monthly_means_ms",
    "mean_speed_ms",
    "weibull_scale_ms",
)
# Told from where the fits are, which type checkers cannot follow.
Fit = Literal[(*METHODS, EMPIRICAL)]  # type: ignore[valid-type]


class _ReferenceFile(Settings):
    record: FilePath = key("the record: a file, a folder or a pattern", "airport.csv", default=...)


class Reference(ReadOptions, _ReferenceFile):
    """A long record near the site."""


class SecondAnemometer(Settings):
    """Another anemometer in the same record, at another height."""

    column: Words = key("its heading", "speed 5 m (m/s)", default=...)
    height_m: Height = key("its height above ground", 5, unit="m", default=...)


class WindSource(Settings):
    """What the wind is known from, and how high that was measured."""

    record: FilePath | None = key(
        "a record: a file, a folder of files or a pattern with * for their names", "wind.csv"
    )
    frequency_table: FilePath | None = key(
        "or a table of how often each class of speeds blows", "classes.csv"
    )
    monthly_means: FilePath | None = key("or a file with twelve monthly means", "months.csv")
    monthly_means_ms: Annotated[list[MeanSpeed], Field(min_length=12, max_length=12)] | None = key(
        "or the twelve of them, January first",
        [6.1, 5.8, 5.6, 5.0, 4.6, 4.3, 4.1, 4.2, 4.7, 5.3, 5.7, 6.0],
        unit="m/s",
    )
    mean_speed_ms: MeanSpeed | None = key("or a yearly mean that you trust", 5.2, unit="m/s")
    weibull_shape: Annotated[float, Field(gt=0.5, le=10)] | None = key(
        "Weibull shape: with means, or with weibull_scale_ms",
        1.9,
        left_out="2 with means (Rayleigh), and that is said",
    )
    weibull_scale_ms: MeanSpeed | None = key(
        "or a Weibull scale, with weibull_shape", 6.2, unit="m/s"
    )
    measured_height_m: Height = key(
        "height of the anemometer above ground", 10, unit="m", default=...
    )


class Wind(ReadOptions, WindSource):
    """One source of wind."""

    other_heights: list[SecondAnemometer] = key(
        "other anemometers on the mast, to measure how the wind grows with height", default=[]
    )
    reference: Annotated[
        list[Reference],
        BeforeValidator(lambda stated: [stated] if isinstance(stated, dict) else stated),
    ] = key(
        "longer records from nearby, to bring yours to the long term; one is enough", default=[]
    )
    measured_at_hub_site: bool | Words | None = key(
        "whether it was measured where the machine will stand, behind the same obstacles; with "
        "several places the name of that one",
        True,
        left_out="it was measured in the open",
    )
    fit: Fit | None = key(
        "how the Weibull distribution is fitted; empirical takes the readings themselves",
        "moments",
        left_out="chosen by a rule, and said",
    )
    energy_error_limit: WholeShare = key(
        "the readings take over when the fit misses the energy by more",
        0.03,
        unit="share",
        default=ENERGY_ERROR_LIMIT,
    )
    season_correction: bool = key(
        "whether months and hours that are there unevenly are evened out", False, default=True
    )
    spread_within_interval: Annotated[float, Field(ge=0, le=1.5)] | None = key(
        "of daily or coarser means: standard deviation of the wind within, over the mean; 0 if "
        "each is a reading at one time",
        0.35,
        unit="share",
        left_out="from finer readings of the record or the references, else as elsewhere",
    )
    quality_control: QualityRules = key(
        "thresholds of the tests for bad readings", default=QualityRules.unstated()
    )
    neighbour: FilePath | None = key("another sensor's record, to judge long calms by", "near.csv")

    @property
    def read_besides(self) -> dict[str, str]:
        """Headings of the other anemometers, and the key that names them."""
        return {also.column: "other_heights" for also in self.other_heights}

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        at_most_one(self, *SOURCES)
        source = next((name for name in SOURCES if getattr(self, name) is not None), None)
        if source is None:
            raise ValueError(f"there is no wind; state one of {', '.join(SOURCES)}")
        if source in ("record", "frequency_table") and self.weibull_shape is not None:
            raise ValueError(
                f"weibull_shape belongs to stated means, for a {source} is fitted; leave it out"
            )
        if source == "weibull_scale_ms" and self.weibull_shape is None:
            raise ValueError("weibull_scale_ms needs weibull_shape; state both")
        summed = source in ("frequency_table", "monthly_means")
        of_records = (*ReadOptions.model_fields, "other_heights", "reference", "neighbour")
        for name in of_records if source != "record" else ():
            left_out = getattr(self, name) in (None, [], Columns.unstated())
            if not left_out and not (summed and name in TableOptions.model_fields):
                raise ValueError(f"{name} belongs to a record, not to {source}; leave it out")
        if source == "frequency_table" and self.fit not in (None, "interval-censored", "empirical"):
            raise ValueError(
                f"fit is {self.fit!r}, but a frequency_table can only be fitted interval-censored "
                "or taken as it is, empirical; choose one of them"
            )
        return self
