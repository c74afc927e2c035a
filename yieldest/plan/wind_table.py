"""The table [wind]: where the wind is known from."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from yieldest.plan.record_tables import (
    FILE_KEYS,
    RECORD_KEYS,
    Cells,
    Columns,
    Reference,
    Screen,
    SecondAnemometer,
    cells_by_heading,
)
from yieldest.settings import (
    DateOrder,
    DecimalMark,
    FilePath,
    Height,
    NotNegative,
    Positive,
    Settings,
    WholeShare,
    Words,
    at_most_one,
    key,
)
from yieldest.units import PRESSURE_FACTORS, SPEED_UNITS, TEMPERATURE_UNITS
from yieldest.wind.goodness import ENERGY_ERROR_LIMIT

SOURCES = (
    "record",
    "frequency_table",
    "monthly_means",
    "monthly_means_ms",
    "mean_speed_ms",
    "weibull_scale_ms",
)
Fit = Literal[
    "interval-censored",
    "maximum likelihood",
    "moments",
    "energy pattern factor",
    "least squares",
    "mean cube",
    "empirical",
]
_RECOGNISED = "it is recognised"
_HEADING = "the heading says it"


class Wind(Settings):
    """One source of wind."""

    record: Annotated[
        FilePath | None,
        key("a record: a file, a folder of files or a pattern with * for their names", "wind.csv"),
    ] = None
    frequency_table: Annotated[
        FilePath | None,
        key("or a table of how often each class of speeds blows", "classes.csv"),
    ] = None
    monthly_means: Annotated[
        FilePath | None, key("or a file with twelve monthly means", "months.csv")
    ] = None
    monthly_means_ms: Annotated[
        Annotated[list[Positive], Field(min_length=12, max_length=12)] | None,
        key(
            "or the twelve of them, January first",
            [6.1, 5.8, 5.6, 5.0, 4.6, 4.3, 4.1, 4.2, 4.7, 5.3, 5.7, 6.0],
            unit="m/s",
        ),
    ] = None
    mean_speed_ms: Annotated[
        Positive | None, key("or a yearly mean that you trust", 5.2, unit="m/s")
    ] = None
    weibull_shape: Annotated[
        Annotated[float, Field(gt=0.5, le=10)] | None,
        key(
            "Weibull shape: with means, or with weibull_scale_ms",
            1.9,
            left_out="2 with means (Rayleigh), and that is said",
        ),
    ] = None
    weibull_scale_ms: Annotated[
        Positive | None, key("or a Weibull scale, with weibull_shape", 6.2, unit="m/s")
    ] = None
    measured_height_m: Annotated[Height, key("height of the anemometer above ground", 10, unit="m")]
    units: Annotated[
        str | None,
        key(f"unit of the speeds: {', '.join(SPEED_UNITS)}", "km/h", left_out=_HEADING),
    ] = None
    standard_deviation_units: Annotated[
        str | None,
        key(
            "unit of standard deviations and gusts",
            "m/s",
            left_out="the heading says it, else that of the speeds",
        ),
    ] = None
    temperature_units: Annotated[
        str | None,
        key(f"unit of temperatures: {', '.join(TEMPERATURE_UNITS)}", "F", left_out=_HEADING),
    ] = None
    pressure_units: Annotated[
        str | None,
        key(f"unit of pressures: {', '.join(PRESSURE_FACTORS)}", "hPa", left_out=_HEADING),
    ] = None
    columns: Annotated[
        Columns, key("which column holds what", left_out="the headings are recognised")
    ] = Columns()
    delimiter: Annotated[
        Words | None, key("the character between cells", ";", left_out=_RECOGNISED)
    ] = None
    decimal: Annotated[DecimalMark | None, key("decimal mark", ",", left_out=_RECOGNISED)] = None
    encoding: Annotated[
        str | None, key("encoding of the text", "latin-1", left_out=_RECOGNISED)
    ] = None
    skip_lines: Annotated[
        Annotated[int, Field(ge=0)] | None,
        key("lines above the heading", 3, left_out=_RECOGNISED),
    ] = None
    headings: Annotated[
        list[str] | None,
        key("the headings of a file that has none", ["time", "speed (m/s)"]),
    ] = None
    date_order: Annotated[
        DateOrder | None,
        key(
            "which number of a date stands first",
            "day first",
            left_out="told from the dates; where they do not tell, you are asked",
        ),
    ] = None
    time_zone: Annotated[
        str | None,
        key(
            "time zone of stamps without an offset: UTC, an offset such as +01:00, or a place",
            "Europe/Berlin",
            left_out="the stamps are taken as they stand",
        ),
    ] = None
    start: Annotated[
        str | datetime | date | None,
        key("first time of a record without times", "2025-01-31 13:50"),
    ] = None
    interval_s: Annotated[
        Positive | None, key("with start: time between readings", 600, unit="s")
    ] = None
    missing: Annotated[
        list[str | int | float] | None,
        key(
            "marks for a missing value",
            ["-1", "broken"],
            left_out="the usual ones are recognised",
        ),
    ] = None
    sensor: Annotated[
        str | None, key("of several sensors, the one with this word in its heading", "north")
    ] = None
    where: Annotated[
        dict[str, Cells] | None,
        key("of several stations in one file, by heading and cell", {"station": "HILL"}),
    ] = None
    point: Annotated[
        Annotated[int, Field(ge=1)] | None,
        key("of several points in a NetCDF file, which one, from 1", 1),
    ] = None
    threshold_ms: Annotated[
        NotNegative | None,
        key(
            "wind at which the anemometer starts to turn",
            0.5,
            unit="m/s",
            left_out="told from the zeros",
        ),
    ] = None
    average_s: Annotated[
        NotNegative | None,
        key(
            "average readings over so long; 0 never",
            600,
            unit="s",
            left_out="only millions of quick readings are, over a minute",
        ),
    ] = None
    other_heights: Annotated[
        list[SecondAnemometer],
        key("other anemometers on the mast, to measure how the wind grows with height"),
    ] = Field(default_factory=list)
    reference: Annotated[
        Reference | None, key("a longer record from nearby, to bring yours to the long term")
    ] = None
    measured_at_hub_site: Annotated[
        bool | None,
        key(
            "whether it was measured where the machine will stand, behind the same obstacles",
            True,
            left_out="it was measured in the open",
        ),
    ] = None
    fit: Annotated[
        Fit | None,
        key(
            "how the Weibull distribution is fitted; empirical takes the readings themselves",
            "moments",
            left_out="chosen by a rule, and said",
        ),
    ] = None
    energy_error_limit: Annotated[
        WholeShare,
        key("the readings take over when the fit misses the energy by more", 0.03, unit="share"),
    ] = ENERGY_ERROR_LIMIT
    season_correction: Annotated[
        bool, key("whether months and hours that are there unevenly are evened out", False)
    ] = True
    quality_control: Annotated[Screen, key("thresholds of the tests for bad readings")] = Screen()
    neighbour: Annotated[
        FilePath | None, key("another sensor's record, to judge long calms by", "near.csv")
    ] = None

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
        if (self.start is None) != (self.interval_s is None):
            raise ValueError("start and interval_s go together; state both")
        allowed = set(FILE_KEYS if source in ("frequency_table", "monthly_means") else ())
        if source == "record":
            allowed = {*FILE_KEYS, *RECORD_KEYS}
        for name in (*FILE_KEYS, *RECORD_KEYS):
            if getattr(self, name) is not None and name not in allowed:
                raise ValueError(f"{name} belongs to a record, not to {source}; leave it out")
        for name in ("other_heights", "reference", "neighbour"):
            if source != "record" and getattr(self, name):
                raise ValueError(f"{name} belongs to a record, not to {source}; leave it out")
        if source == "frequency_table" and self.fit not in (None, "interval-censored", "empirical"):
            raise ValueError(
                f"fit is {self.fit!r}, but a frequency_table can only be fitted interval-censored "
                "or taken as it is, empirical; choose one of them"
            )
        return self

    def read_options(self) -> dict[str, Any]:
        """Return what is stated about reading the file, as arguments of `ReadOptions`."""
        stated = self.model_dump(include={*FILE_KEYS, *RECORD_KEYS}, exclude_none=True)
        stated["columns"] = self.columns.model_dump(exclude_none=True)
        stated["height_m"] = self.measured_height_m
        for name in ("headings", "missing"):
            stated[name] = tuple(map(str, stated.get(name, ())))
        stated["where"] = cells_by_heading(self.where)
        if self.start is not None:
            stated["start"] = str(self.start)
        return stated
