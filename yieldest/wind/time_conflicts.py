"""Times that cannot be: two speeds at one time, clocks that started anew, days still to come."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.wind.gathered_rows import Flags, Times
from yieldest.wind.read_options import ReadOptions
from yieldest.wind.record_clock import Clock, zone_of
from yieldest.wind.record_files import RecordFile
from yieldest.wind.record_rows import BLOCK_ROWS, DATE_ROWS
from yieldest.wind.stations import pick_one

Order = npt.NDArray[np.intp]

MANY_CONFLICTS = 0.1
FEW_CONFLICTS = 3
"""A larger share of rows with the time of another and another speed, if more than so few, leaves
open which wind is meant; our choice."""
MOST_STATIONS = 200
"""A column with more different cells than this holds no stations; our choice."""
CLOCK_ZEROS = ("1970-01-01", "1980-01-01", "1980-01-06", "2000-01-01")
"""Where clocks begin that lost their time: POSIX, early PC clocks, GPS, and many loggers."""
_CLOCK = re.compile(r"\d{1,2}[:.]\d\d")
_DAY = np.timedelta64(1, "D")
FARTHEST_DAYS = 3 * 365
SMALLEST_SHARE = 0.1
"""Readings from the zero of a clock on are misdated when they lie so long before all others, and
are a smaller share of all than this; our choice."""


def misdated(time: Times) -> Flags:
    """Find the readings of a clock that started anew, far before all others; times in any order."""
    ordered = np.sort(time)
    wrong = np.zeros(time.size, dtype=bool)
    jumps = np.flatnonzero(np.diff(ordered) > FARTHEST_DAYS * _DAY)
    begin = 0
    for jump in jumps.tolist():
        zeros = np.abs(ordered[begin] - np.array(CLOCK_ZEROS, dtype="datetime64[ns]"))
        if zeros.min() > _DAY or jump + 1 > SMALLEST_SHARE * time.size:
            break
        wrong |= time <= ordered[jump]
        begin = jump + 1
    return wrong


def ahead(time: Times) -> Flags:
    """Find the readings that are dated after today."""
    return np.asarray(time > np.datetime64("now") + _DAY)


def contradictions(time: Times, speed: FloatArray) -> int:
    """Count the rows that have the time of an earlier row, and another speed; times must rise."""
    same = np.concatenate(([False], np.diff(time) == np.timedelta64(0, "ns")))
    first = np.maximum.accumulate(np.where(same, 0, np.arange(time.size)))
    known = np.isfinite(speed) & np.isfinite(speed[first])
    return int((same & known & (speed != speed[first])).sum())


def refuse_contradictions(
    path: Path,
    sources: Sequence[RecordFile],
    options: ReadOptions,
    time: Times,
    repeats: int,
    count: int,
) -> None:
    """Refuse a record in which many rows have the time of another and another speed.

    Parameters
    ----------
    path : Path
    sources : sequence of RecordFile
        Empty for a record that is no table.
    options : ReadOptions
    time : ndarray of datetime64, shape (n,)
    repeats, count : int
        Rows that have the time of another, and those of them that have another speed.

    Raises
    ------
    InputError
        Saying what seems to be the matter: several stations, a clock of twelve hours, times without
        seconds.
    """
    bare_dates = 2 * repeats > time.size and _all_at_one_hour(time)
    if not bare_dates and count <= max(FEW_CONFLICTS, MANY_CONFLICTS * time.size):
        return
    text = f"{path}: {count:,} of {time.size:,} rows have the time of another and another speed"
    found = _station_column(sources, options) if sources else None
    if found is not None and not _may_be_clock(found[1], bare_dates):
        heading, cells = found
        raise InputError(
            f"{text}; column {heading!r} seems to hold stations {pick_one(heading, cells)}"
        )
    if bare_dates:
        raise InputError(
            f"{path}: {repeats} of {time.size} lines repeat the time of another, for their times "
            "are dates alone; when the clock stands in a column of its own, state both (columns; "
            "on the command line --column date=HEADING --column time=HEADING)."
        )
    hours = time.astype("datetime64[h]").astype(np.int64) % 24
    if hours.min() >= 1 and hours.max() == 12:
        raise InputError(
            f"{text}; the hours run from 1 to 12 only, as of a clock that lost its AM and PM: "
            "export the record again with 24 hours."
        )
    raise InputError(
        f"{text}; if several sensors stand one below the other, keep one of them; if the times "
        "leave out the seconds, state average_s = 60 (on the command line --average 60)."
    )


def _all_at_one_hour(time: Times) -> bool:
    """Tell whether every time is the same time of day, but for summer time."""
    return np.unique(time - time.astype("datetime64[D]")).size <= 2


def _may_be_clock(cells: list[str], bare_dates: bool) -> bool:
    """Tell whether cells are rather times of day; beside bare dates letters alone speak against."""
    if all(map(_CLOCK.match, map(str, cells))):
        return True
    return bare_dates and not any(map(str.isalpha, "".join(cells)))


def _station_column(
    sources: Sequence[RecordFile], options: ReadOptions
) -> tuple[str, list[str]] | None:
    """Return the column whose cells tell apart rows of the same time, and these cells."""
    rows = pd.concat([_other_columns(source, options) for source in sources])
    best: tuple[int, str] | None = None
    repeats = int(rows.duplicated(["time"]).sum())
    for heading in rows.columns.drop("time"):
        if not 2 <= rows[heading].nunique() <= MOST_STATIONS:
            continue
        left = int(rows.duplicated(["time", heading]).sum())
        if left <= MANY_CONFLICTS * repeats and (best is None or left < best[0]):
            best = left, str(heading)
    return None if best is None else (best[1], rows[best[1]].dropna().unique().tolist())


def _other_columns(source: RecordFile, options: ReadOptions) -> pd.DataFrame:
    """Return the times, and the cells of the columns that nothing else is known of."""
    names = source.columns.names
    others = [h for h in source.layout.headings if h not in names.values() and h != "time"]
    zone = None if options.time_zone is None else zone_of(options.time_zone)
    clock = Clock(names, options.date_order, zone)
    headings = source.layout.headings
    clock.settle_order(lambda: source.tables(headings, headings, DATE_ROWS))
    parts = []
    for table in source.tables(headings, headings, BLOCK_ROWS):
        part = table.frame[others].copy()
        part["time"] = clock.times(table)
        parts.append(part)
    return pd.concat(parts)


def in_time_order(time: Times, speed: FloatArray) -> tuple[Order, Times, Flags]:
    """Return the order of the rows in time, the times that go back, and the ordered repeats.

    Of rows with the same time one with a speed comes first; the repeats are flags in that order.
    """
    order = np.lexsort((np.isnan(speed), time))
    ordered = time[order]
    none = np.timedelta64(0, "ns")
    back = np.flatnonzero(np.diff(time) < none) + 1
    if 2 * back.size > time.size:
        back = np.flatnonzero(np.diff(time) > none) + 1  # the newest line comes first
    repeated = np.concatenate(([False], np.diff(ordered) == none))
    return order, time[back], repeated
