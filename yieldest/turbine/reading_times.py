"""Times of readings as seconds since the first: dates, bare clock times, or elapsed time."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.files.table import Table
from yieldest.turbine.reading_headings import unit_factor
from yieldest.wind.record_clock import Clock
from yieldest.wind.record_values import numbers_of

_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d+)?))?")
_HALF_DAY_S = 43200.0
_DAY_S = 86400.0


def seconds_since_first(
    table: Table, columns: Mapping[str, str], date_order: str | None
) -> FloatArray | None:
    """Return the times of the readings as seconds since the first line.

    Parameters
    ----------
    table : Table
    columns : mapping of str to str
        Role to heading. "time" may hold dates with time in any style of a wind record, clock times
        (14:03 or 14:03:20), or elapsed time with its unit in the heading ("time (s)"); "date" may
        stand beside clock times.
    date_order : str, optional

    Returns
    -------
    ndarray, shape (n,), or None
        In the order of the file, not sorted; None without times.

    Raises
    ------
    InputError
        Naming the line that is not a time.
    """
    if "time" not in columns:
        return None
    if "date" not in columns:
        column = columns["time"]
        texts = table.texts(column)
        if all(_CLOCK.fullmatch(text) for text in texts):
            return _clock_seconds(texts)
        if _says_unit(table, column):
            seconds = numbers_of(table, column, ())[0] * unit_factor(table, "time", column)
            _refuse_blank(table, column, seconds)
            return np.asarray(seconds - seconds[0])
    names = {role: columns[role] for role in ("time", "date") if role in columns}
    clock = Clock(names, date_order)
    clock.settle_order(lambda: [table])
    times = clock.times(table)
    return np.asarray((times - times[0]) / np.timedelta64(1, "s"))


def _says_unit(table: Table, column: str) -> bool:
    try:
        unit_factor(table, "time", column)
    except InputError:
        return False
    return True


def _refuse_blank(table: Table, column: str, seconds: FloatArray) -> None:
    blank = np.isnan(seconds)
    if blank.any():
        raise InputError(
            f"{table.place(int(np.argmax(blank)))}: the time in column "
            f"{column!r} is blank; fill it in or leave the line out."
        )


def _clock_seconds(texts: list[str]) -> FloatArray:
    seconds = np.empty(len(texts))
    for row, text in enumerate(texts):
        hours, minutes, rest = _CLOCK.fullmatch(text).groups()  # type: ignore[union-attr]
        seconds[row] = 3600 * int(hours) + 60 * int(minutes) + float(rest or 0)
    # A clock that falls back by more than half a day has passed midnight.
    midnights = np.concatenate(([0], np.cumsum(np.diff(seconds) < -_HALF_DAY_S)))
    seconds += _DAY_S * midnights
    return np.asarray(seconds - seconds[0])
