"""Time stamps in the plainest form of ISO 8601, read many at a time."""

from __future__ import annotations

from calendar import isleap

import numpy as np
import numpy.typing as npt
import pandas as pd

from yieldest.arrays import IntArray

Times = npt.NDArray[np.datetime64]
Bytes = npt.NDArray[np.uint8]

_LEAST = np.frombuffer(b"0000-00-00 00:00:00", np.uint8)
_SPAN = np.frombuffer(b"9999-99-99T99:99:99", np.uint8) - _LEAST
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
    signs = stamps.view(np.uint8).reshape(-1, length)
    if (signs - _LEAST[:length] > _SPAN[:length]).any():
        return None
    # Judged first: in its releases 1.26 numpy crashes at a text that is no date.
    digits = signs - ord("0")

    def number(place: int) -> Bytes:
        return np.asarray(10 * digits[:, place] + digits[:, place + 1])

    month, day = number(5), number(8)
    known = np.isin(signs[:, 10], (ord(" "), ord("T"))) & (month <= 12) & (number(11) < 24)
    if not (known & (day >= 1) & (day <= _MONTH_LENGTHS[month % 13])).all():
        return None
    if (signs[:, 14::3] >= ord("6")).any():
        return None
    leap = signs[(month == 2) & (day == 29), :4]
    if not all(isleap(int(year.tobytes())) for year in np.unique(leap, axis=0)):
        return None
    times = stamps.astype("datetime64[s]")
    # Nanoseconds reach little farther.
    far = (times < np.datetime64("1700")) | (times >= np.datetime64("2200"))
    return None if far.any() else times.astype("datetime64[ns]")
