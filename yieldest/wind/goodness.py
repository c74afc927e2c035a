"""How well each fit describes the readings, side by side, and what its numbers are worth."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import gamma, gammainc

from yieldest.arrays import FloatArray, floats
from yieldest.frozen import frozen_dataclass
from yieldest.wind.histogram import Histogram
from yieldest.wind.weibull import mean_speed, moment, share_above
from yieldest.wind.weibull_fits import METHODS

ENERGY_ERROR_LIMIT = 0.05
"""A fitted energy farther than this from that of the readings is a poor fit; our choice."""
KOLMOGOROV_LIMIT = 0.05
"""A fitted share of time farther than this from that of the readings is a poor fit; our choice."""
SHARE_CLASS_MS = 1.0
"""Width of the classes in which modes are sought; usual in wind tables (common practice)."""
MODEL_START_MS, MODEL_RATED_MS, MODEL_STOP_MS = 3.0, 11.0, 25.0
"""A plain model machine, invented for comparison: power as the cube of speed from 3 to 11 m/s, then
level up to 25 m/s."""
MODE_DIP = 0.85
"""Two modes are told apart when the dip between them is below this share of the lower; ours."""


@frozen_dataclass
class FitResult:
    """One fit, and how far it is from the readings; all None where it cannot be used on them."""

    method: str
    """A key of `weibull_fits.METHODS`."""
    shape: float | None
    scale_ms: float | None
    calm_share: float | None
    mean_speed_ms: float | None
    mean_cube_error: float | None
    """Mean cube, and yield of the model machine, over those of the readings, less 1."""
    energy_error: float | None
    kolmogorov: float | None
    """Largest distance between the shares of time below any speed."""
    shape_se: float | None
    """Standard errors from the block bootstrap; that of the mean cube as a share of it."""
    scale_se_ms: float | None
    mean_cube_se: float | None

    @property
    def poor(self) -> bool:
        """Whether the fit misses the energy or the shares of time by more than the limits."""
        return (
            self.energy_error is None
            or self.kolmogorov is None
            or abs(self.energy_error) > ENERGY_ERROR_LIMIT
            or self.kolmogorov > KOLMOGOROV_LIMIT
        )


def model_power(speed_ms: npt.ArrayLike) -> FloatArray:
    """Return the power of the model machine over its rated power, shape of `speed_ms`."""
    speed = floats(speed_ms)
    of_rated = np.minimum(speed / MODEL_RATED_MS, 1.0)
    works = (speed >= MODEL_START_MS) & (speed <= MODEL_STOP_MS)
    return np.where(works, of_rated * of_rated * of_rated, 0.0)


def model_mean_power(shape: npt.ArrayLike, scale_ms: npt.ArrayLike) -> FloatArray:
    """Return the mean power of the model machine in a Weibull distribution, over its rated power.

    The integral of v^3 from 0 to v is A^3 Gamma(1 + 3/k) times the regularised lower incomplete
    gamma function of 1 + 3/k at (v/A)^k (by substitution; calculus, no other source).
    """
    k, a = floats(shape), floats(scale_ms)
    to_rated, to_start = (
        gammainc(1 + 3 / k, (speed / a) ** k) for speed in (MODEL_RATED_MS, MODEL_START_MS)
    )
    rising = a**3 * gamma(1 + 3 / k) * (to_rated - to_start) / MODEL_RATED_MS**3
    level = share_above(MODEL_RATED_MS, k, a) - share_above(MODEL_STOP_MS, k, a)
    return np.asarray(rising + level)


def judge_fit(method: str, histogram: Histogram, draws: Histogram) -> FitResult:
    """Fit a histogram (m,) by a key of `weibull_fits.METHODS`, and measure it against the readings.

    `draws` has the weights of bootstrap draws, shape (draws, j).
    """
    shape, scale, calm = (float(value) for value in METHODS[method].fit(histogram))
    if not np.isfinite(shape + scale):
        return FitResult(method, *([None] * 10))
    windy = 1 - calm
    below = np.cumsum(histogram.share)
    fitted = calm + windy * (1 - share_above(histogram.upper_ms, shape, scale))
    whole = np.append(histogram.upper_ms[1:] > histogram.upper_ms[:-1], True)
    cube = float(histogram.moment(3))
    energy = float(histogram.share @ model_power(histogram.speed_ms))
    shapes, scales, calms = METHODS[method].fit(draws)
    # Over the cube of the fit itself, for a share of it is what is stated.
    cubes = (1 - calms) * moment(shapes, scales, 3) / (windy * moment(shape, scale, 3))
    return FitResult(
        method=method,
        shape=shape,
        scale_ms=scale,
        calm_share=calm,
        mean_speed_ms=windy * float(mean_speed(shape, scale)),
        mean_cube_error=windy * float(moment(shape, scale, 3)) / cube - 1,
        energy_error=(
            windy * float(model_mean_power(shape, scale)) / energy - 1 if energy > 0 else None
        ),
        kolmogorov=float(np.abs(below - fitted)[whole].max()),
        shape_se=_spread(shapes),
        scale_se_ms=_spread(scales),
        mean_cube_se=_spread(cubes),
    )


def _spread(draws: FloatArray) -> float | None:
    known = draws[np.isfinite(draws)]
    return float(known.std(ddof=1)) if known.size > 1 else None


def mode_speeds(histogram: Histogram) -> tuple[float, ...]:
    """Return the speeds at which the shares of time have modes, calms left out.

    Two or more mean that the winds come from different regimes, and that no single Weibull curve
    describes them. Shares in classes of about 1 m/s are smoothed over three of them (1/4, 1/2,
    1/4); a mode counts when the dip before the next is below 85 % of the lower of the two (ours).
    """
    bounds, below = histogram.shares_below(SHARE_CLASS_MS)
    share = np.diff(below)
    if share.size < 3:
        return ()
    padded = np.pad(share, 1, mode="edge")
    smooth = (padded[:-2] + 2 * padded[1:-1] + padded[2:]) / 4
    middle = (bounds[:-1] + bounds[1:]) / 2
    modes: list[int] = []
    for i in range(smooth.size):
        around = smooth[max(0, i - 1) : i + 2]
        # A tail of a few stormy hours has modes by chance.
        if smooth[i] < around.max() or smooth[i] < 0.1 * smooth.max():
            continue
        if modes:
            dip = smooth[modes[-1] : i + 1].min()
            if dip >= MODE_DIP * min(smooth[modes[-1]], smooth[i]):
                if smooth[i] > smooth[modes[-1]]:
                    modes[-1] = i
                continue
        modes.append(i)
    return tuple(float(middle[i]) for i in modes)
