"""Readings brought to one-minute means, and what averaging (or none) does to a power curve."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from yieldest.arrays import FloatArray, floats
from yieldest.provenance import Finding
from yieldest.turbine.readings import Readings

MINUTE_S = 60.0
"""The averaging time of the small-turbine annex of IEC 61400-12-1 (from memory)."""
FEW_IN_A_MINUTE = 10
"""A mean of fewer readings than this is a rough one; our choice."""
USUAL_TURBULENCE = 0.15
"""Standard deviation of the wind over its mean within minutes, near the ground (common practice,
no source)."""
_FULL_MINUTE = 0.5
"""A minute with fewer than this share of the usual readings is left out; our choice."""


@dataclass(frozen=True)
class MinutesLeftOut(Finding):
    """Minutes had less than half of the usual readings and were left out."""

    count: int


@dataclass(frozen=True)
class FewInAMinute(Finding):
    """A minute holds few readings."""

    readings: float


@dataclass(frozen=True)
class ShorterThanAMinute(Finding):
    """The readings are means over less than one minute, or glances (0 s)."""

    seconds: float


@dataclass(frozen=True)
class AveragingAssumed(Finding):
    """What each reading is a mean over was told from the times; None without times."""

    interval_s: float | None


@dataclass(frozen=True)
class Averaging:
    """Over what time the readings are means.

    Parameters
    ----------
    seconds : float
        0 for glances at the meter.
    words : str
    cube_ratio : float or None
        Mean cube of the speeds within minutes over the cube of their means, where the readings are
        quick enough to tell.
    interval_s : float or None
        Time that each of the averaged readings stands for; None without times.
    """

    seconds: float
    words: str
    cube_ratio: float | None
    interval_s: float | None


def minute_means(readings: Readings, stated_s: float | None) -> tuple[Readings, Averaging]:
    """Average readings to one minute where they were logged faster.

    Parameters
    ----------
    readings : Readings
    stated_s : float or None
        Averaging time of each reading, where stated (0 for glances).

    Notes
    -----
    The power in the wind goes with the cube of its speed, and the mean of cubes exceeds the cube
    of the mean by some 1 + 3 I^2 at a turbulence intensity I (binomial series of (1 + x)^3).
    Readings that are not averaged scatter over neighbouring bins, and those of a machine that
    takes seconds to follow the wind flatten the curve.
    """
    if readings.time_s is None or readings.size < 2:
        return _as_they_are(readings, stated_s, None)
    interval_s = float(np.median(np.diff(readings.time_s)))
    if interval_s >= MINUTE_S:
        return _as_they_are(readings, stated_s, interval_s)
    minute = np.floor_divide(readings.time_s, MINUTE_S).astype(np.int64)
    _, first, group, count = np.unique(
        minute, return_index=True, return_inverse=True, return_counts=True
    )
    usual = float(np.median(count))
    full = count >= _FULL_MINUTE * usual

    def mean(values: FloatArray) -> FloatArray:
        known = np.isfinite(values)
        total = np.bincount(group[known], values[known], minlength=count.size)
        number = np.bincount(group[known], minlength=count.size)
        means = np.divide(total, number, out=np.full(count.size, np.nan), where=number > 0)
        return np.asarray(means[full])

    means = {name: mean(values) for name, values in readings.columns().items()}
    cubes = mean(readings.speed_ms**3).sum()
    ratio = float(cubes / (means["speed_ms"] ** 3).sum()) if (means["speed_ms"] > 0).any() else None
    means["time_s"] = floats(MINUTE_S * np.unique(minute)[full])
    averaged = replace(readings, row=readings.row[first[full]], **means)  # type: ignore[arg-type]
    words = f"1-minute means of about {usual:.0f} readings each"
    warnings: list[Finding] = []
    if not full.all():
        warnings.append(MinutesLeftOut(int((~full).sum())))
    if usual < FEW_IN_A_MINUTE:
        warnings.append(FewInAMinute(usual))
    return (
        averaged.noting(warnings=tuple(warnings)),
        Averaging(MINUTE_S, words, ratio, MINUTE_S),
    )


def _as_they_are(
    readings: Readings, stated_s: float | None, interval_s: float | None
) -> tuple[Readings, Averaging]:
    seconds = stated_s
    if seconds is None:
        seconds = 0.0 if interval_s is None else interval_s
        readings = readings.noting(assumed=(AveragingAssumed(interval_s),))
    if seconds < MINUTE_S:
        readings = readings.noting(warnings=(ShorterThanAMinute(seconds),))
    return readings, Averaging(seconds, averaging_words(seconds), None, interval_s)


def averaging_words(seconds: float) -> str:
    """Say what readings are means over."""
    return "single glances, not averaged" if seconds == 0 else f"means over {seconds:g} s"
