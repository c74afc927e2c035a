"""A smooth curve through bins that rises to one peak and falls after it, with its band."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import isotonic_regression

from yieldest.arrays import FloatArray
from yieldest.turbine.bins import BIN_WIDTH_MS, Bins

IDLE_SHARE = 0.002
"""A bin counts as making power above this share of the highest bin; our choice."""
_CERTAIN = 2.0
"""And when its mean lies so many standard uncertainties above zero."""


@dataclass(frozen=True)
class SmoothCurve:
    """The curve through bins.

    Parameters
    ----------
    speed_ms : ndarray, shape (n,)
        Cut-in, the bin centres above it, and the mean speed of the last bin.
    power_w, uncertainty_w : ndarray, shape (n,)
        Power and its standard uncertainty: the band is so much up and down.
    cut_in_ms : float
    cut_in_seen : bool
        Whether there are readings below cut-in.
    moved_bins : int
        Bins that were moved by more than their scatter explains, so that the curve rises to its
        peak and falls after it.
    """

    speed_ms: FloatArray
    power_w: FloatArray
    uncertainty_w: FloatArray
    cut_in_ms: float
    cut_in_seen: bool
    moved_bins: int


def rising_then_falling(power_w: FloatArray, weight: FloatArray) -> FloatArray:
    """Return the nearest values that rise to one peak and fall after it (weighted least squares).

    Parameters
    ----------
    power_w, weight : ndarray, shape (n,)

    Notes
    -----
    Isotonic regression by pooling adjacent violators (Barlow, Bartholomew, Bremner & Brunk 1972,
    *Statistical Inference under Order Restrictions*) on either side of every possible peak, the
    best one kept.
    """
    best, best_misfit = power_w, np.inf
    for peak in range(1, power_w.size + 1):
        rising = isotonic_regression(power_w[:peak], weights=weight[:peak]).x
        falling = np.empty(0)
        if peak < power_w.size:
            falling = isotonic_regression(power_w[peak:], weights=weight[peak:], increasing=False).x
        fitted = np.concatenate((rising, falling))
        misfit = float((weight * (fitted - power_w) ** 2).sum())
        if misfit < best_misfit:
            best, best_misfit = fitted, misfit
    return best


def smooth_curve(bins: Bins) -> SmoothCurve:
    """Draw the curve through bins.

    Notes
    -----
    Bins are weighted by their count; between them runs the monotone cubic of Fritsch & Carlson
    (1980, *SIAM J. Numer. Anal.* 17, 238-246), which never overshoots. Cut-in is where the straight
    line through the first two bins that make power reaches zero, not below the bin before them.
    """
    fitted = rising_then_falling(bins.power_w, bins.count.astype(np.float64))
    through = PchipInterpolator(bins.speed_ms, fitted)
    cut_in_ms, seen = _cut_in(bins, fitted)
    last = float(bins.speed_ms[-1])
    centres = BIN_WIDTH_MS * np.arange(
        np.floor(cut_in_ms / BIN_WIDTH_MS), np.ceil(last / BIN_WIDTH_MS) + 1
    )
    # Points closer together than a tenth of a bin would make needlessly steep pieces.
    near = BIN_WIDTH_MS / 10
    inside = centres[(centres > cut_in_ms + near) & (centres < last - near)]
    speed = np.concatenate(([cut_in_ms], inside, [last]))
    power = np.maximum(0.0, through(speed))
    if seen:
        power[0] = 0.0
    slack = 1e-6 * float(np.abs(bins.power_w).max())
    return SmoothCurve(
        speed_ms=speed,
        power_w=power,
        uncertainty_w=np.interp(speed, bins.speed_ms, bins.uncertainty_w),
        cut_in_ms=cut_in_ms,
        cut_in_seen=seen,
        moved_bins=int((np.abs(fitted - bins.power_w) > 2 * bins.scatter_w + slack).sum()),
    )


def _cut_in(bins: Bins, fitted: FloatArray) -> tuple[float, bool]:
    peak = int(np.argmax(fitted))
    making = (fitted > IDLE_SHARE * fitted[peak]) & (fitted > _CERTAIN * bins.scatter_w)
    making[peak:] = True
    idle = np.flatnonzero(~making)
    if idle.size == 0:
        return float(bins.speed_ms[0]), False
    before, first = int(idle[-1]), int(idle[-1]) + 1
    speed = bins.speed_ms
    if first + 1 >= speed.size or fitted[first + 1] <= fitted[first]:
        return float(speed[before]), True
    slope = (fitted[first + 1] - fitted[first]) / (speed[first + 1] - speed[first])
    zero = speed[first] - fitted[first] / slope
    return float(np.clip(zero, speed[before], speed[first])), True
