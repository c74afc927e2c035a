"""What can be stated about the file that a wind record stands in: plan keys and arguments alike."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import Annotated, Self

from pydantic import Field, Strict, ValidationInfo, field_validator, model_validator

from yieldest.errors import InputError
from yieldest.files.dialect import LayoutOptions
from yieldest.frozen import frozen_dataclass
from yieldest.settings import DateOrder, NotNegative, Positive, Settings, key
from yieldest.units import UNITS, unit_of

Cells = str | int | list[str | int]
"""One cell of a column, or several."""
_HEADING = "the heading says it"


@frozen_dataclass
class Recognised:
    """One thing that was recognised in a file, stated by the user, or taken for granted."""

    what: str  # for example "speed unit"
    found: str  # for example "mph"
    how: str  # "stated", "recognised", "from the heading", "assumed"


def in_utc(found: Iterable[Recognised]) -> bool:
    """Return whether what was found about a file says that its times are in UTC."""
    return any(each.what == "time zone" and each.found.endswith("UTC") for each in found)


class Columns(Settings):
    """Headings of the record by what they hold; a NetCDF file has names of variables instead."""

    time: str | None = key("date and time in one", "Datum")
    date: str | None = key("the date, beside clock times", "Tag")
    year: str | None = key("the year", "YYYY")
    month: str | None = key("the month", "MO")
    day: str | None = key("the day", "DD")
    hour: str | None = key("the hour", "HH")
    minute: str | None = key("the minute", "MI")
    second: str | None = key("the second", "SS")
    half_of_day: str | None = key("AM or PM, where it has a column of its own", "AM/PM")
    speed: str | None = key("mean wind speed", "Anemo 1")
    direction: str | None = key("the way the wind comes from", "Vane")
    temperature: str | None = key("air temperature", "T air")
    pressure: str | None = key("air pressure", "Baro")
    standard_deviation: str | None = key(
        "standard deviation of the speed within the interval", "Anemo 1 SD"
    )
    gust: str | None = key("highest speed within the interval", "Anemo 1 max")

    @property
    def stated(self) -> dict[str, str]:
        """Role to heading, for those that are stated."""
        return self.model_dump(exclude_none=True)


class TableOptions(LayoutOptions):
    """What can be stated about a text file with a table; what is left out is recognised."""

    columns: Columns = key(
        "which column holds what",
        left_out="the headings are recognised",
        default=Columns.unstated(),
    )
    units: str | None = key(
        f"unit of the speeds: {', '.join(UNITS['speed'])}", "km/h", left_out=_HEADING
    )
    sensor: str | None = key(
        "of several sensors or stations side by side, the one with this word in its heading",
        "north",
    )

    @field_validator(
        "units",
        *("standard_deviation_units", "direction_units", "temperature_units", "pressure_units"),
        check_fields=False,
    )
    @classmethod
    def _known_unit(cls, text: str | None, about: ValidationInfo) -> str | None:
        quantity = str(about.field_name).removesuffix("_units")
        try:
            quantity = quantity if quantity in UNITS else "speed"
            return None if text is None else unit_of(quantity, text)
        except InputError as error:
            raise ValueError(str(error).removesuffix(".")) from error


class ReadOptions(TableOptions):
    """What can be stated about a wind record; what is left out is recognised."""

    standard_deviation_units: str | None = key(
        "unit of standard deviations and gusts",
        "m/s",
        left_out="the heading says it, else that of the speeds",
    )
    direction_units: str | None = key(
        f"unit of directions: {', '.join(UNITS['direction'])}",
        "rad",
        left_out="the heading says it, else degrees",
    )
    temperature_units: str | None = key(
        f"unit of temperatures: {', '.join(UNITS['temperature'])}", "F", left_out=_HEADING
    )
    pressure_units: str | None = key(
        f"unit of pressures: {', '.join(UNITS['pressure'])}", "hPa", left_out=_HEADING
    )
    date_order: DateOrder | None = key(
        "which number of a date stands first",
        "day first",
        left_out="told from the dates; where they do not tell, you are asked",
    )
    time_zone: str | None = key(
        "time zone of stamps without an offset: UTC, an offset such as +01:00, or a place",
        "Europe/Berlin",
        left_out="the stamps are taken as they stand",
    )
    start: str | datetime | date | None = key(
        "first time of a record without times", "2025-01-31 13:50"
    )
    interval_s: Positive | None = key("with start: time between readings", 600, unit="s")
    missing: Annotated[list[str | int | float], Strict(False)] | None = key(
        "marks for a missing value", ["-1", "broken"], left_out="the usual ones are recognised"
    )
    where: dict[str, Cells] | None = key(
        "of several stations in one file, by heading and cell", {"station": "HILL"}
    )
    point: Annotated[int, Field(ge=1)] | None = key(
        "of several points in a NetCDF file, which one, from 1", 1
    )
    threshold_ms: NotNegative | None = key(
        "wind at which the anemometer starts to turn",
        0.5,
        unit="m/s",
        left_out="told from the zeros",
    )
    average_s: NotNegative | None = key(
        "average readings over so long; 0 never",
        600,
        unit="s",
        left_out="only millions of quick readings are, over a minute",
    )

    @field_validator("missing", mode="before")
    @classmethod
    def _one_mark(cls, marks: object) -> object:
        return [marks] if isinstance(marks, str | int | float) else marks

    @model_validator(mode="after")
    def _start_with_interval(self) -> Self:
        if (self.start is None) != (self.interval_s is None):
            raise ValueError("start and interval_s go together; state both")
        return self

    @property
    def marks(self) -> tuple[str, ...]:
        """The stated marks for a missing value, as they stand in the file."""
        return tuple(map(str, self.missing or ()))

    @property
    def cells(self) -> dict[str, tuple[str, ...]]:
        """The cells that a row may hold, by heading."""
        return {
            heading: tuple(map(str, cells if isinstance(cells, list) else [cells]))
            for heading, cells in (self.where or {}).items()
        }

    @property
    def read_besides(self) -> dict[str, str]:
        """Headings of columns that are read besides the record's, and the key that names each."""
        return {}

    def unit_stated(self, role: str) -> str | None:
        """Return the stated unit of a role of the record, if any."""
        if role in ("standard_deviation", "gust"):
            return self.standard_deviation_units
        stated = {
            "direction": self.direction_units,
            "temperature": self.temperature_units,
            "pressure": self.pressure_units,
        }
        return stated.get(role, self.units)
