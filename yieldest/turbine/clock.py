"""Times of readings as seconds since the first: dates, bare clock times, or elapsed time."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.tables import Table
from yieldest.turbine.headings import ROLES, unit_factor

_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d+)?))?")
_HALF_DAY_S = 43200.0
_DAY_S = 86400.0


def seconds_since_first(table: Table, column: str) -> FloatArray:
    """Return the times of a column as seconds since the first line.

    Parameters
    ----------
    table : Table
    column : str
        ISO 8601 dates with time, clock times (14:03 or 14:03:20), or elapsed time with its unit in
        the heading ("time (s)").

    Returns
    -------
    ndarray, shape (n,)
        In the order of the file, not sorted.

    Raises
    ------
    InputError
        Naming the line that is not a time.
    """
    texts = table.texts(column)
    if all(_CLOCK.fullmatch(text) for text in texts):
        return _clock_seconds(texts)
    if all(re.fullmatch(r"\d+(?:\.\d+)?", text) for text in texts):
        seconds = table.numbers(column) * unit_factor(table, "time", column)
        return np.asarray(seconds - seconds[0])
    stamps = pd.to_datetime(pd.Series(texts), format="ISO8601", utc=True, errors="coerce")
    wrong = stamps.isna().to_numpy()
    if wrong.any():
        row = int(np.argmax(wrong))
        raise InputError(
            f"{table.path}, line {table.line(row)}: {texts[row]!r} in column {column!r} is not a "
            f"time; write every {ROLES['time'].words} as 2026-01-31 13:50, as 13:50:20, or as "
            "elapsed seconds with (s) in the heading."
        )
    return np.asarray((stamps - stamps.iloc[0]).dt.total_seconds(), dtype=np.float64)


def _clock_seconds(texts: list[str]) -> FloatArray:
    seconds = np.empty(len(texts))
    for row, text in enumerate(texts):
        hours, minutes, rest = _CLOCK.fullmatch(text).groups()  # type: ignore[union-attr]
        seconds[row] = 3600 * int(hours) + 60 * int(minutes) + float(rest or 0)
    # A clock that falls back by more than half a day has passed midnight.
    midnights = np.concatenate(([0], np.cumsum(np.diff(seconds) < -_HALF_DAY_S)))
    seconds += _DAY_S * midnights
    return np.asarray(seconds - seconds[0])
