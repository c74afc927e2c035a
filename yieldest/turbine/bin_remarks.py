"""What a reader of the bins must know: gaps, thin bins, and readings far from the others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from yieldest.provenance import Finding
from yieldest.turbine.bins import BIN_WIDTH_MS, Bins, bin_number
from yieldest.turbine.readings import Readings
from yieldest.turbine.smooth_curve import SmoothCurve

_FAR_OUT = 6.0
"""Readings so many robust standard deviations from the middle of their bin are named."""
_LEAST_SPREAD = 0.05
"""Readings of a bin may always differ by this share of its mean; our choice."""
_ENOUGH_TO_JUDGE = 5


@dataclass(frozen=True)
class EmptyBins(Finding):
    """Bins between others hold no reading."""

    centre_ms: tuple[float, ...]


@dataclass(frozen=True)
class ThinBins(Finding):
    """Bins hold fewer than three readings."""

    centre_ms: tuple[float, ...]


@dataclass(frozen=True)
class BinsMoved(Finding):
    """Bins were moved by more than their scatter explains."""

    count: int


@dataclass(frozen=True)
class CutInNotSeen(Finding):
    """The machine made power in the lowest bin already."""

    cut_in_ms: float


@dataclass(frozen=True)
class PowerBelowZero(Finding):
    """The machine drew power in some readings."""

    least_w: float


@dataclass(frozen=True)
class FarFromTheOthers(Finding):
    """Readings lie far from the others of their bin; the first of them."""

    place: str
    power_w: float
    speed_ms: float
    others: int


def bin_warnings(readings: Readings, bins: Bins, smooth: SmoothCurve) -> tuple[Finding, ...]:
    """Find what a reader of bins and curve must know."""
    found: list[Finding] = []
    numbers = bin_number(bins.centre_ms)
    gaps = sorted(set(range(numbers[0], numbers[-1] + 1)) - set(numbers.tolist()))
    if gaps:
        found.append(EmptyBins(tuple(BIN_WIDTH_MS * gap for gap in gaps)))
    thin = bins.centre_ms[bins.count < 3]
    if thin.size:
        found.append(ThinBins(tuple(thin.tolist())))
    if smooth.moved_bins:
        found.append(BinsMoved(smooth.moved_bins))
    if not smooth.cut_in_seen:
        found.append(CutInNotSeen(smooth.cut_in_ms))
    if (readings.power_w < 0).any():
        found.append(PowerBelowZero(float(readings.power_w.min())))
    far = _far_out(readings, bins)
    if far:
        power_w, speed_ms = readings.power_w[far[0]], readings.speed_ms[far[0]]
        found.append(
            FarFromTheOthers(readings.place(far[0]), float(power_w), float(speed_ms), len(far) - 1)
        )
    return tuple(found)


def _far_out(readings: Readings, bins: Bins) -> list[int]:
    """Return the readings that lie far from the middle of their bin."""
    number = bin_number(readings.speed_ms)
    slope = np.gradient(bins.power_w, bins.speed_ms)
    far: list[int] = []
    for here, mean_w, steepness in zip(
        bin_number(bins.centre_ms), bins.power_w, np.abs(slope), strict=True
    ):
        inside = np.flatnonzero(number == here)
        if inside.size < _ENOUGH_TO_JUDGE:
            continue
        away = np.abs(readings.power_w[inside] - np.median(readings.power_w[inside]))
        # 1.4826 times the median deviation is the standard deviation of normal scatter; where
        # most readings are alike (idle bins), the width of the bin itself must still be allowed.
        spread = max(
            1.4826 * float(np.median(away)), BIN_WIDTH_MS * steepness, _LEAST_SPREAD * mean_w
        )
        far += inside[away > _FAR_OUT * spread].tolist()
    return sorted(far)
