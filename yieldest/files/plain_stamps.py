"""Time stamps in the plainest form of ISO 8601, read many at a time."""

from __future__ import annotations

from calendar import isleap

import numpy as np
import numpy.typing as npt
import pandas as pd

from yieldest.arrays import IntArray

Times = npt.NDArray[np.datetime64]
Bytes = npt.NDArray[np.uint8]

_LEAST = np.frombuffer(b"0000-00-00 00:00:00", np.uint8)[:, np.newaxis]
_SPAN = np.frombuffer(b"9999-99-99T99:99:99", np.uint8)[:, np.newaxis] - _LEAST
"""What may stand at each place; between a blank and a T nothing may."""
_MONTH_LENGTHS = np.array([0, 31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], np.uint8)
_LENGTHS = (16, 19)
"""Without seconds and with them."""


def plain_iso(texts: pd.Series) -> Times | None:
    """Return the times of texts all written as 2026-01-31 13:50, with seconds or not; else None."""
    try:
        stamps = texts.to_numpy(dtype=object).astype("S20")
    except ValueError:  # letters of other alphabets
        return None
    signs = stamps.view(np.uint8).reshape(-1, 20)
    length = _LENGTHS[0] if signs.size and signs[0, _LENGTHS[0]] == 0 else _LENGTHS[1]
    return None if signs[:, length:].any() else _times(stamps.astype(f"S{length}"))


def leading_times(lines: Bytes, ends: IntArray, delimiter: str) -> Times | None:
    """Return the times that lead lines of text, each as `plain_iso` takes them; else None.

    `ends` are the places of the line ends, the last of which closes the text.
    """
    begins = np.concatenate(([0], ends[:-1] + 1))
    sign = ord(delimiter)
    length = next((n for n in _LENGTHS if lines[n : n + 1].tolist() == [sign]), 0)
    if not length or (ends - begins).min() <= length or (lines[begins + length] != sign).any():
        return None
    windows = np.ndarray(lines.size - length + 1, f"S{length}", lines, strides=(1,))
    return _times(windows[begins])


def _times(stamps: npt.NDArray[np.bytes_]) -> Times | None:
    """Return the times of stamps that have one of `_LENGTHS`; None where one is no such time."""
    length = stamps.itemsize
    # One place of all stamps after the other, for numpy is quick along rows.
    signs = np.ascontiguousarray(stamps.view(np.uint8).reshape(-1, length).T)
    if (signs - _LEAST[:length] > _SPAN[:length]).any():
        return None
    digits = signs - ord("0")
    hours, minutes = _number(digits, 11), _number(digits, 14)
    seconds = _number(digits, 17) if length > _LENGTHS[0] else np.uint8(0)
    separated = (signs[10] == ord(" ")) | (signs[10] == ord("T"))
    if not (separated & (hours < 24) & (minutes < 60) & (seconds < 60)).all():
        return None
    # Many stamps in a row have the same date.
    another = (signs[:10, 1:] != signs[:10, :-1]).any(axis=0)
    first = np.flatnonzero(np.concatenate((np.ones(min(1, stamps.size), dtype=bool), another)))
    dates = _dates(stamps[first].astype("S10"), digits[:10, first])
    if dates is None:
        return None
    since = (hours.astype(np.int32) * 60 + minutes) * 60 + seconds
    midnights = np.repeat(dates.astype("datetime64[ns]"), np.diff(first, append=stamps.size))
    return np.asarray(midnights + since * np.timedelta64(1_000_000_000, "ns"))


def _dates(texts: npt.NDArray[np.bytes_], digits: Bytes) -> Times | None:
    """Return the dates of texts with digits of shape (10, n); None where one is no such date."""
    # Judged first: in its releases 1.26 numpy crashes at a text that is no date.
    month, day = _number(digits, 5), _number(digits, 8)
    known = (month <= 12) & (day >= 1) & (day <= _MONTH_LENGTHS[month % 13])
    leap = texts[(month == 2) & (day == 29)]
    if not (known.all() and all(isleap(int(text[:4])) for text in np.unique(leap).tolist())):
        return None
    dates = texts.astype("datetime64[D]")
    # Nanoseconds reach little farther.
    far = (dates < np.datetime64("1700")) | (dates >= np.datetime64("2200"))
    return None if far.any() else dates


def _number(digits: Bytes, place: int) -> Bytes:
    """Return the number that two digits make from a place on."""
    return np.asarray(10 * digits[place] + digits[place + 1])
