"""The tables beside a wind record: columns, quality control, other anemometers, a reference."""

from __future__ import annotations

from dataclasses import fields
from typing import Annotated, Any, Literal

from pydantic.fields import FieldInfo

from yieldest.settings import (
    DateOrder,
    FilePath,
    Height,
    NotNegative,
    Settings,
    Words,
    key,
)
from yieldest.wind.quality_rules import QualityRules

FILE_KEYS = ("units", "delimiter", "decimal", "encoding", "skip_lines", "headings")
"""Keys that say how a text file is to be read; they have the names of `ReadOptions`."""
RECORD_KEYS = (
    *("standard_deviation_units", "temperature_units", "pressure_units", "date_order", "time_zone"),
    *("start", "interval_s", "missing", "sensor", "where", "point", "threshold_ms", "average_s"),
)

Cells = str | int | list[str | int]
"""One cell of a column, or several."""


def cells_by_heading(where: dict[str, Cells] | None) -> dict[str, tuple[str, ...]]:
    """Return the stated cells of each heading as `ReadOptions` takes them."""
    return {
        heading: tuple(map(str, cells if isinstance(cells, list) else [cells]))
        for heading, cells in (where or {}).items()
    }


_USUAL = {rule.name: rule.default for rule in fields(QualityRules)}


class Columns(Settings):
    """Headings of the record by what they hold; a NetCDF file has names of variables instead."""

    time: Annotated[str | None, key("date and time in one", "Datum")] = None
    date: Annotated[str | None, key("the date, beside clock times", "Tag")] = None
    year: Annotated[str | None, key("the year", "YYYY")] = None
    month: Annotated[str | None, key("the month", "MO")] = None
    day: Annotated[str | None, key("the day", "DD")] = None
    hour: Annotated[str | None, key("the hour", "HH")] = None
    minute: Annotated[str | None, key("the minute", "MI")] = None
    second: Annotated[str | None, key("the second", "SS")] = None
    half_of_day: Annotated[
        str | None, key("AM or PM, where it has a column of its own", "AM/PM")
    ] = None
    speed: Annotated[str | None, key("mean wind speed", "Anemo 1")] = None
    direction: Annotated[str | None, key("the way the wind comes from", "Vane")] = None
    temperature: Annotated[str | None, key("air temperature", "T air")] = None
    pressure: Annotated[str | None, key("air pressure", "Baro")] = None
    deviation: Annotated[
        str | None, key("standard deviation of the speed within the interval", "Anemo 1 SD")
    ] = None
    gust: Annotated[str | None, key("highest speed within the interval", "Anemo 1 max")] = None


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


class Reference(Settings):
    """A long record near the site."""

    record: Annotated[FilePath, key("the record: a file, a folder or a pattern", "airport.csv")]
    units: Annotated[
        str | None, key("unit of its speeds", "kn", left_out="the heading says it")
    ] = None
    columns: Annotated[
        Columns,
        key("which column holds what, as in [wind.columns]", left_out="the headings say it"),
    ] = Columns()
    time_zone: Annotated[
        str | None, key("time zone of its stamps", "UTC", left_out="they are taken as they stand")
    ] = None
    date_order: Annotated[
        DateOrder | None,
        key("which number of a date stands first", "day first", left_out="told from the dates"),
    ] = None
    where: Annotated[
        dict[str, Cells] | None,
        key("of several stations in one file, by heading and cell", {"station": "BAY"}),
    ] = None

    def read_options(self) -> dict[str, Any]:
        """Return what is stated about reading the file, as arguments of `ReadOptions`."""
        stated = self.model_dump(exclude={"record"}, exclude_none=True)
        return {**stated, "where": cells_by_heading(self.where)}


class SecondAnemometer(Settings):
    """Another anemometer in the same record, at another height."""

    column: Annotated[Words, key("its heading", "speed 5 m (m/s)")]
    height_m: Annotated[Height, key("its height above ground", 5, unit="m")]
