"""What the house draws, hour by hour: a load profile that was metered, or a standard shape."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Self

import numpy as np
import numpy.typing as npt
from pydantic import Field, model_validator

from yieldest.arrays import FloatArray, TimeArray
from yieldest.errors import InputError
from yieldest.files.table import Table, plain_heading
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Provenance
from yieldest.settings import FilePath, NotNegative, Settings, key
from yieldest.turbine.reading_columns import read_text_table
from yieldest.wind.data_recovery import MONTH_DAYS
from yieldest.wind.read_options import in_utc
from yieldest.wind.record_clock import Clock
from yieldest.wind.record_columns import RECOGNISED_COLUMNS
from yieldest.wind.record_values import numbers_of

_HOUR_SHAPE = np.array(
    [0.45, 0.40, 0.38, 0.38, 0.40, 0.50, 0.85, 1.20, 1.10, 0.95, 0.90, 1.00,
     1.15, 1.00, 0.90, 0.90, 1.00, 1.35, 1.75, 1.85, 1.70, 1.45, 1.05, 0.70]
)  # fmt: skip
"""A household's hours from midnight on, invented: quiet nights, a hump at seven, one at seven in
the evening. Our choice."""
_WINTER_SHARE = 0.20
"""January lies by so much above the mean and July below it; our choice."""
HIGHEST_KW = 1000.0
"""No house draws more."""
_ALL_DAYS = 360
"""A profile of so many days of the year is whole; our choice."""
_VALUES = (
    *("consumption", "demand", "load", "usage", "use", "energy", "power", "electricity"),
    *("import", "grid import", "kwh", "wh", "kw", "w", "watts", "verbrauch"),
)
_UNITS = {"kwh": (1.0, True), "wh": (1e-3, True), "kw": (1.0, False), "w": (1e-3, False),
          "watts": (1e-3, False)}  # fmt: skip
"""Of a heading: kWh or kW in one, and whether it is an energy for each line."""


class Demand(Settings):
    """The table [demand]: what the house draws, and where it comes from otherwise."""

    profile: FilePath | None = key(
        "load profile: a file of times and kWh (or W, kW), by the hour or finer", "meter.csv"
    )
    kwh_per_year: Annotated[float, Field(gt=0, le=1e7)] | None = key(
        "or what a year comes to, in a standard household's shape", 3000, unit="kWh"
    )
    off_grid: bool = key(
        "whether there are no mains: nothing is sold, and power can fail", True, default=False
    )
    export_limit_kw: NotNegative | None = key(
        "most that may be fed in; above it is dumped", 0.6, unit="kW", left_out="no limit"
    )

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if (self.profile is None) == (self.kwh_per_year is None):
            raise ValueError("demand needs one of profile and kwh_per_year; state one of them")
        if self.off_grid and self.export_limit_kw is not None:
            raise ValueError("without mains nothing is fed in; leave export_limit_kw out")
        return self


class StandardShape(Finding):
    """The load profile is an invented shape of a household."""

    kwh_per_year: float


class ShortProfile(Finding):
    """The load profile lacks hours of the year, which are filled by those of the same month or day.

    `days` is how many it spans.
    """

    name: str
    days: float


@frozen_dataclass
class LoadProfile:
    """Power drawn in each hour of a year, shape (12, 31, 24): month, day, hour of its start.

    By the clock of the house, unless `in_utc`.
    """

    drawn_kw: FloatArray
    provenance: Provenance
    in_utc: bool = False

    def at(self, time: TimeArray) -> FloatArray:
        """Return the power drawn in the hours that begin at these times, in kW."""
        return np.asarray(self.drawn_kw[_hour_of_year(time)])


def standard_profile(kwh_per_year: float) -> LoadProfile:
    """Return a household's load profile of a yearly sum, in a shape of our own.

    Power follows the hour of the day, times 1 + 0.2 cos(2 pi (month - 1) / 12): a northern house
    without electric heating. Every day of a month is alike.
    """
    month = 1 + _WINTER_SHARE * np.cos(2 * np.pi * np.arange(12) / 12)
    shape = month[:, np.newaxis] * _HOUR_SHAPE
    drawn = shape * kwh_per_year / (MONTH_DAYS @ shape).sum()
    return LoadProfile(
        np.repeat(drawn[:, np.newaxis, :], 31, axis=1),
        Provenance("demand.kwh_per_year", "an invented household", (StandardShape(kwh_per_year),)),
    )


def read_load_profile(path: Path) -> LoadProfile:
    """Read a load profile: times, and energy or power with its unit in the heading.

    Hours that come several times are averaged. An hour of the year that is missing has the mean of
    its month and hour of the day, or else of the hour of the day. Without times, 8760 or 8784 lines
    are the hours of a year.

    Raises
    ------
    InputError
        When the file cannot be read, a value is below zero or beyond any house, or it does not hold
        every hour of the day.
    """
    table = read_text_table(path)
    column = str(table.find("load", _VALUES, tails=_UNITS))
    words = re.findall(r"[a-z]+", column.lower())
    unit = next((word for word in reversed(words) if word in _UNITS), None)
    if unit is None:
        raise InputError(
            f"{path}: the heading {column!r} does not say the unit of the load; write it behind "
            "the name, as in 'load (kWh)' or 'load (W)'."
        )
    values = numbers_of(table, column)[0] * _UNITS[unit][0]
    time, step_h, utc = _times(table, column, values.size)
    if _UNITS[unit][1]:
        values /= step_h
    table.refuse(values < 0, lambda row: f"{table.cell(row, column)!r} is below zero; mend it.")
    table.refuse(
        values > HIGHEST_KW,
        lambda row: f"{table.cell(row, column)!r} is beyond any house; mend it or its unit.",
    )
    known = np.isfinite(values) & ~np.isnat(time)
    drawn, filled = _by_hour_of_year(time[known], values[known])
    if np.isnan(drawn).any():
        raise InputError(
            f"{path}: the load profile does not hold every hour of the day; give a day at least."
        )
    days = float((time[known].max() - time[known].min()) / np.timedelta64(1, "D"))
    return LoadProfile(
        drawn,
        Provenance(
            str(path), "as metered", warnings=(ShortProfile(path.name, days),) if filled else ()
        ),
        in_utc=utc,
    )


def _times(table: Table, value: str, lines: int) -> tuple[TimeArray, float, bool]:
    """Return the times of the lines, their step in hours, and whether they are in UTC."""
    free = {plain_heading(h): h for h in table.headings if h != value}
    roles = {
        role: next((free[name] for name in RECOGNISED_COLUMNS[role] if name in free), None)
        for role in ("date", "time")
    }
    names = {role: heading for role, heading in roles.items() if heading is not None}
    if not names:
        if lines not in (8760, 8784):
            raise InputError(
                f"{table.path}: there is no column of times; add one headed 'time', or give the "
                "8760 hours of a year."
            )
        start = "2023-01-01" if lines == 8760 else "2024-01-01"
        return np.datetime64(start, "ns") + np.arange(lines) * np.timedelta64(1, "h"), 1.0, False
    if "time" not in names:
        names = {"time": names["date"]}
    clock = Clock(names)
    clock.settle_order([table])
    time = clock.times(table)
    steps = np.diff(time) / np.timedelta64(1, "h")
    step_h = float(np.median(steps)) if steps.size else 1.0
    if not 0 < step_h <= 1:
        raise InputError(
            f"{table.path}: the lines are {step_h:g} hours apart; a load profile goes by the hour "
            "or finer."
        )
    return time, step_h, in_utc(clock.findings())


def _by_hour_of_year(time: TimeArray, drawn_kw: FloatArray) -> tuple[FloatArray, bool]:
    """Return the mean by month, day and hour, shape (12, 31, 24), and whether many were filled."""
    index = _hour_of_year(time)
    total, count = np.zeros((2, 12, 31, 24))
    np.add.at(total, index, drawn_kw)
    np.add.at(count, index, 1)
    found = np.full(total.shape, np.nan)
    for axes in ((), (1,), (0, 1)):
        sums, counts = (each.sum(axis=axes, keepdims=True) for each in (total, count))
        mean = np.divide(sums, counts, out=np.full(sums.shape, np.nan), where=counts > 0)
        found = np.where(np.isnan(found), mean, found)
    return found, int((count.sum(axis=2) > 0).sum()) < _ALL_DAYS


def _hour_of_year(time: TimeArray) -> tuple[npt.NDArray[np.int_], ...]:
    """Return month, day of the month and hour of the day, each from 0."""
    months, days = time.astype("datetime64[M]"), time.astype("datetime64[D]")
    hours = time.astype("datetime64[h]") - days.astype("datetime64[h]")
    return (
        months.astype(int) % 12,
        (days - months.astype("datetime64[D]")).astype(int),
        hours.astype(int),
    )
