"""How much of the time, and of the year, a wind record covers, by month and hour of day."""

from __future__ import annotations

import calendar
from collections.abc import Collection

import numpy as np
import numpy.typing as npt

from yieldest.arrays import BoolArray, FloatArray, IntArray, TimeArray, pieces, places
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding

DAYS_PER_YEAR = 365.25
DAY_S = 86400
FULL_MONTH_SHARE = 0.5
"""A calendar month with less than this share of its readings counts as missing; our choice."""
STEADY_READINGS = 24
"""So many like steps in a row make an interval of their own; fewer are gaps. Our choice."""
SPARSE_S = 12 * 3600.0
"""Readings so far apart cannot show how the wind varies within a day; our choice."""
FEW_GAPS_SHARE = 0.9
"""A record with less than this share of its time is warned of; our choice."""
LIKE_STEPS = 1.5
"""Steps within this factor of each other are alike (clocks drift); our choice."""

MONTH_DAYS = np.array([calendar.monthrange(2025, m)[1] for m in range(1, 13)], dtype=np.float64)
"""Of a common year: February's 29th day is one in fifteen hundred."""


@frozen_dataclass
class ReadingSteps:
    """What each of n readings stands for."""

    usual_s: FloatArray
    """The interval that is usual where the reading stands, shape (n,)."""
    duration_h: FloatArray
    """Time the reading stands for: until the next one, but no longer than usual; shape (n,)."""
    joined: BoolArray
    """Whether the next reading follows without a gap, shape (n - 1,)."""
    changed: IntArray
    """Readings from which on another interval is usual."""
    interval_s: float
    """The median of `usual_s`."""


def steps_of(
    time: TimeArray, gap_intervals: float = LIKE_STEPS, steady_readings: int = STEADY_READINGS
) -> ReadingSteps:
    """Find the usual interval at every reading, and how long each reading stands for.

    `time`, shape (n,), increases strictly; a step longer than `gap_intervals` usual ones is a gap;
    `steady_readings` like steps in a row (within a factor 1.5) make an interval of their own.
    """
    count, second = time.size - 1, np.timedelta64(1, "s")
    if count < 1:
        # A single reading has no interval; an hour is what public stations report by.
        one = np.ones(time.size)
        nothing = np.zeros(0, dtype=np.int64)
        return ReadingSteps(3600 * one, one, nothing.astype(bool), nothing, 3600.0)
    first_steps = np.sort(np.diff(time[: STEADY_READINGS + 1]))
    usual = first_steps[first_steps.size // 2]
    other = places(count, lambda part: time[1:][part] - time[:-1][part] != usual)
    # Where most steps are alike, they are the median, and only the others need be looked at.
    if 2 * other.size >= count:
        other = np.arange(count)
    step_s = (time[other + 1] - time[other]) / second
    overall_s = float(np.median(step_s) if other.size == count else usual / second)
    interval_s = overall_s
    kind = np.zeros(count, dtype=np.int8)  # the farthest steps are 110 apart
    kind[other] = np.round(np.log(step_s / overall_s) / np.log(LIKE_STEPS))
    first = np.flatnonzero(np.concatenate(([True], kind[1:] != kind[:-1])))
    length = np.diff(np.append(first, kind.size))
    steady = first[length >= steady_readings]
    changed = np.zeros(0, dtype=np.int64)
    # Which take no memory.
    usual_s = np.broadcast_to(overall_s, time.shape)
    duration_h = np.broadcast_to(overall_s / 3600, time.shape)
    if np.unique(kind[steady]).size > 1 or kind[steady[:1]].any():
        other, step_s = np.arange(count), np.diff(time) / second
        of_kind = {k: float(np.median(step_s[kind == k])) for k in np.unique(kind[steady])}
        stretches = np.diff(np.concatenate(([0], steady[1:], [time.size])))
        usual_s = np.repeat([of_kind[k] for k in kind[steady]], stretches)
        duration_h = usual_s / 3600
        interval_s = float(np.median(usual_s))
        changed = steady[1:][kind[steady][1:] != kind[steady][:-1]]
    short = step_s < usual_s[other]
    if short.any():
        duration_h = duration_h.copy()
        duration_h[other[short]] = step_s[short] / 3600
    joined = np.full(count, gap_intervals >= 1)
    joined[other] = step_s <= gap_intervals * usual_s[other]
    return ReadingSteps(
        usual_s=usual_s,
        duration_h=duration_h,
        joined=joined,
        changed=changed,
        interval_s=interval_s,
    )


@frozen_dataclass
class DataRecovery:
    """How much of the time a record covers."""

    interval_s: float
    """Usual time between readings (the median)."""
    hours: float
    """Time with a reading."""
    span_hours: float
    """Time from the first reading to the end of the last."""
    share: float
    """`hours` / `span_hours`."""
    month_share: tuple[float, ...]
    """For each calendar month, January first, the share of it with a reading (over all the years
    the record touches, at least one)."""
    month_hour_share: FloatArray
    """The same for every hour of the day, shape (12, 24)."""
    steps: ReadingSteps
    """Those of `steps_of`, by its own thresholds."""

    @property
    def missing_months(self) -> tuple[int, ...]:
        """The calendar months (1 to 12) with less than half of their readings."""
        missing = np.flatnonzero(np.asarray(self.month_share) < FULL_MONTH_SHARE) + 1
        return tuple(missing.tolist())


class LessThanAYear(Finding):
    """The record spans less than a year."""

    days: float


class MonthsMissing(Finding):
    """Less than half of these calendar months (1 to 12) is in the record."""

    months: tuple[int, ...]


class SparseReadings(Finding):
    """The readings are so far apart that they hide how the wind varies within a day."""

    interval_hours: float


class GapsInRecord(Finding):
    """Less than 90 % of the time between the first reading and the last is covered."""

    share: float


def season_cell(time: TimeArray) -> npt.NDArray[np.int16]:
    """Return 24 times the calendar month (0 to 11), and the hour of day (0 to 23), of each time."""
    place = time.astype("datetime64[h]").view(np.int64)
    first = place.min()
    # Each hour between the first and the last is looked at once.
    hours = np.arange(first, place.max() + 1)
    months = hours.astype("datetime64[h]").astype("datetime64[M]").astype(np.int64) % 12
    place -= first
    return np.asarray((24 * months + hours % 24).astype(np.int16)[place])


def hours_by_season(time: TimeArray, duration_h: FloatArray, valid: BoolArray) -> FloatArray:
    """Return the hours of the valid readings, each of shape (n,), in the cells of `season_cell`.

    The times rise.
    """
    hours = np.zeros(288)
    for part in pieces(time.size):
        here = time[part]
        first, last = here[[0, -1]].astype("datetime64[h]").astype(np.int64)
        each = np.arange(first, last + 1).astype("datetime64[h]")
        begins = np.searchsorted(here, each.astype(here.dtype))
        there = np.diff(begins, append=here.size) > 0
        held = np.where(valid[part], duration_h[part], 0.0)
        within = np.add.reduceat(held, begins[there])
        hours += np.bincount(season_cell(each[there]), weights=within, minlength=288)
    return hours


def month_and_hour(time: TimeArray) -> tuple[IntArray, IntArray]:
    """Return the calendar month (0 to 11) and the hour of day (0 to 23) of each time."""
    month, hour = np.divmod(season_cell(time).astype(np.int64), 24)
    return month, hour


def without_months(values: FloatArray, months: Collection[int]) -> FloatArray:
    """Return the values of the calendar months, shape (12,), NaN for some of them (1 to 12)."""
    return np.where(np.isin(np.arange(1, 13), list(months)), np.nan, values)


def years_of(time: TimeArray) -> tuple[IntArray, IntArray]:
    """Return the years from the first of ordered times to the last, and where each begins.

    The last of these places, one more than there are years, is the end.
    """
    first, last = time[[0, -1]].astype("datetime64[Y]").astype(np.int64)
    years = np.arange(first, last + 2)
    begins = np.searchsorted(time, years.astype("datetime64[Y]").astype(time.dtype))
    return years[:-1] + 1970, begins


def data_recovery_of(
    time: TimeArray, valid: BoolArray, steps: ReadingSteps | None = None
) -> DataRecovery:
    """Measure how much of the time a record covers.

    `time`, shape (n,), increases strictly; `valid`, same shape, says whether there is a reading;
    `steps` are those of `steps_of`, where they are known.
    """
    steps = steps or steps_of(time)
    span_hours = float((time[-1] - time[0]) / np.timedelta64(1, "h")) + steps.usual_s[-1] / 3600
    cells = hours_by_season(time, steps.duration_h, valid).reshape(12, 24)
    hours = float(cells.sum())
    years = max(1.0, round(span_hours / (DAYS_PER_YEAR * 24)))
    month_share = cells.sum(axis=1) / (24 * years * MONTH_DAYS)
    # A reading of more than an hour stands for the hours after it as well.
    spread = max(1, round(steps.interval_s / 3600))
    rolled = [np.roll(cells / spread, shift, axis=1) for shift in range(min(spread, 24))]
    cells = np.sum(rolled, axis=0)
    return DataRecovery(
        interval_s=steps.interval_s,
        hours=hours,
        span_hours=float(span_hours),
        # Readings closer together than usual would otherwise cover more than all of the time.
        share=min(1.0, hours / float(span_hours)),
        month_share=tuple(float(share) for share in np.minimum(1.0, month_share)),
        month_hour_share=np.minimum(1.0, cells / (years * MONTH_DAYS[:, np.newaxis])),
        steps=steps,
    )


def data_recovery_findings(data_recovery: DataRecovery) -> list[Finding]:
    """Return what the data recovery leaves uncertain."""
    found: list[Finding] = []
    days = data_recovery.span_hours / 24
    if days < DAYS_PER_YEAR - 7:
        found.append(LessThanAYear(days))
    if data_recovery.missing_months:
        found.append(MonthsMissing(data_recovery.missing_months))
    if data_recovery.interval_s >= SPARSE_S:
        found.append(SparseReadings(data_recovery.interval_s / 3600))
    if data_recovery.share < FEW_GAPS_SHARE:
        found.append(GapsInRecord(data_recovery.share))
    return found
