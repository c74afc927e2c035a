"""The tables beside a wind record: quality control, other anemometers, a reference."""

from __future__ import annotations

from dataclasses import fields
from typing import Annotated, Literal

from pydantic.fields import FieldInfo

from yieldest.settings import (
    FilePath,
    Height,
    NotNegative,
    Settings,
    Words,
    key,
)
from yieldest.wind.quality_rules import QualityRules
from yieldest.wind.read_options import ReadOptions

_USUAL = {rule.name: rule.default for rule in fields(QualityRules)}


Threshold = NotNegative | Literal[False] | None


def _threshold(words: str, name: str, example: object, unit: str = "") -> FieldInfo:
    """Describe a threshold of the quality_control, with its usual value."""
    return key(words, example, unit=unit, left_out=f"{_USUAL[name]:g}")


class Screen(Settings):
    """Thresholds of the tests for bad readings; false switches a test off."""

    impossible_ms: Annotated[
        Threshold, _threshold("speeds above it cannot be", "impossible_ms", 90, "m/s")
    ] = None
    sensor_top_ms: Annotated[
        Threshold,
        _threshold("the highest speed that the anemometer shows", "sensor_top_ms", 50, "m/s"),
    ] = None
    spike_factor: Annotated[
        Threshold,
        _threshold("a spike is so many times its higher neighbour", "spike_factor", 4),
    ] = None
    spike_excess_ms: Annotated[
        NotNegative | None, _threshold("and so much above it", "spike_excess_ms", 8, "m/s")
    ] = None
    stuck_hours: Annotated[
        Threshold,
        _threshold("the same speed above 0 for so long is a stuck sensor", "stuck_hours", 6, "h"),
    ] = None
    frozen_hours: Annotated[
        Threshold,
        _threshold("no change for so long in the cold is ice", "frozen_hours", False, "h"),
    ] = None
    frozen_below_c: Annotated[
        float | None,
        _threshold("what counts as cold", "frozen_below_c", 0, "degrees Celsius"),
    ] = None
    calm_hours: Annotated[
        Threshold,
        _threshold("a dead calm for so long, amid wind, is doubted", "calm_hours", 12, "h"),
    ] = None
    repeated: Annotated[
        Threshold,
        _threshold("more lines than so many with the time of another are noted", "repeated", 10),
    ] = None
    disordered: Annotated[
        Threshold,
        _threshold("more lines than so many back in time are noted", "disordered", 10),
    ] = None
    gap_intervals: Annotated[
        Threshold,
        _threshold("a step of more than so many intervals is a gap", "gap_intervals", 3),
    ] = None
    interval_readings: Annotated[
        Threshold,
        _threshold(
            "so many readings in a row at another interval change it", "interval_readings", 144
        ),
    ] = None
    threshold_share: Annotated[
        Threshold,
        _threshold(
            "a starting speed above this share of the spread of the speeds is noted",
            "threshold_share",
            0.2,
            "share",
        ),
    ] = None
    rounding_share: Annotated[
        Threshold,
        _threshold(
            "a rounding step above this share of the spread of the speeds is noted",
            "rounding_share",
            0.2,
            "share",
        ),
    ] = None

    def stated(self) -> dict[str, float | None]:
        """Return the thresholds that are stated, None for off."""
        return {
            name: None if value is False else value
            for name, value in self.model_dump(exclude_none=True).items()
        }


class _ReferenceFile(Settings):
    record: Annotated[FilePath, key("the record: a file, a folder or a pattern", "airport.csv")]


class Reference(ReadOptions, _ReferenceFile):
    """A long record near the site."""


class SecondAnemometer(Settings):
    """Another anemometer in the same record, at another height."""

    column: Annotated[Words, key("its heading", "speed 5 m (m/s)")]
    height_m: Annotated[Height, key("its height above ground", 5, unit="m")]
