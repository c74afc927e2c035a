"""The ways to fit a Weibull distribution to a histogram, and the rule that chooses one."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy.special import gamma, gammaln

from yieldest.arrays import FloatArray, floats
from yieldest.frozen import frozen_dataclass
from yieldest.wind.censored_fit import fit_censored
from yieldest.wind.histogram import Histogram
from yieldest.wind.weibull import fit_maximum_likelihood, fit_moments, scale_of_mean

COARSE_SHARE = 0.1
"""A rounding step or starting speed above this share of the standard deviation calls for the
interval-censored fit; our choice (a step of 0.1 spreads adds 0.1 % to the variance, while the
logarithms of likelihood feel it in light winds)."""
REGRESSION_CLASS_MS = 1.0
"""Width of the speed classes through whose bounds least squares draws its line; usual in wind
tables (common practice, no source)."""
_SHAPE_RANGE = (0.3, 30.0)
_HALVINGS = 60

Fit = Callable[[Histogram], tuple[FloatArray, FloatArray, FloatArray]]
"""Takes a histogram with weights of shape (..., m), gives shape, scale in m/s and share of calms,
NaN where there is no fit."""


def pattern_factor_fit(
    speed_ms: npt.ArrayLike, weight: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Fit by the energy pattern factor, k = 1 + 3.69 / (mean cube / cube of the mean)^2.

    Speeds above zero count, weighted, along the last axis. Akdag & Dinler, *Energy Conversion and
    Management* 50 (2009) 1761-1766; the scale (m/s) follows from the mean.
    """
    speed, hours = floats(speed_ms), floats(weight)
    total = np.where(speed > 0, hours, 0.0).sum(axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean, cube = hours @ speed / total, hours @ speed**3 / total
    shape = 1 + 3.69 / (cube / mean**3) ** 2
    return shape, scale_of_mean(mean, shape)


def mean_cube_fit(
    mean_ms: npt.ArrayLike, mean_cube_m3_s3: npt.ArrayLike, share_above_mean: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    r"""Fit so that the mean cube, and the share of time above the mean, are those of the readings.

    All of the speeds above zero, and all of shape (...), as are shape and scale (m/s), which are
    NaN where the share is 0 or 1.

    Troen & Petersen, *European Wind Atlas*, Risoe 1989: with m the mean, c the mean cube and P the
    share above m, k solves :math:`m\,(\Gamma(1 + 3/k)/c)^{1/3} = (-\ln P)^{1/k}`, here by halving
    the range of ln k; then A is the cube root of c / Gamma(1 + 3/k).
    """
    mean, cube, above = floats(mean_ms), floats(mean_cube_m3_s3), floats(share_above_mean)
    with np.errstate(divide="ignore", invalid="ignore"):
        target = np.log(-np.log(above))
        log_factor = np.log(cube) - 3 * np.log(mean)
        low = np.full(np.broadcast(target, log_factor).shape, np.log(_SHAPE_RANGE[0]))
        high = np.full(low.shape, np.log(_SHAPE_RANGE[1]))
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            k = np.exp(middle)
            # Falls with k: for small shapes the gamma function outgrows everything.
            too_small = k / 3 * (gammaln(1 + 3 / k) - log_factor) > target
            low, high = np.where(too_small, middle, low), np.where(too_small, high, middle)
        shape = np.where(np.isfinite(target + log_factor), np.exp((low + high) / 2), np.nan)
    return shape, (cube / gamma(1 + 3 / shape)) ** (1 / 3)


def least_squares_fit(
    bound_ms: npt.ArrayLike, share_below: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Fit a straight line to ln(-ln(1 - F)) over ln v at the bounds of speed classes.

    `bound_ms` are bounds above zero, shape (j,), and `share_below` the share of the time below
    each, shape (..., j); those with a share of 0 or 1 have no logarithm and are left out. Shape and
    scale (m/s), shape (...), are NaN where fewer than two bounds are left.

    Justus, Hargraves, Mikhail & Graber, *J. Appl. Meteorol.* 17 (1978) 350-353: slope k, intercept
    -k ln A, every bound with the same weight.
    """
    share = floats(share_below)
    used = (share > 0) & (share < 1 - 1e-12)
    x = np.where(used, np.log(floats(bound_ms)), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        y = np.where(used, np.log(-np.log1p(-np.where(used, share, 0.5))), 0.0)
        count = used.sum(axis=-1)
        mean_x, mean_y = x.sum(axis=-1) / count, y.sum(axis=-1) / count
        apart = np.where(used, x - mean_x[..., np.newaxis], 0.0)
        shape = (apart * (y - mean_y[..., np.newaxis])).sum(axis=-1) / (apart**2).sum(axis=-1)
        shape = np.where(count >= 2, shape, np.nan)
        return shape, np.exp(mean_x - mean_y / shape)


def guarded(fit: Fit) -> Fit:
    """Return a fit that gives NaN where fewer than two classes above the start are filled.

    The same where it gives no distribution: a line through two points may fall.
    """

    def fit_or_nan(histogram: Histogram) -> tuple[FloatArray, FloatArray, FloatArray]:
        filled = (histogram.weight > 0) & ~histogram.still & (histogram.speed_ms > 0)
        shape, scale, calm = fit(histogram)
        enough = (filled.sum(axis=-1) >= 2) & (shape > 0) & np.isfinite(scale)
        return np.where(enough, shape, np.nan), np.where(enough, scale, np.nan), calm

    return fit_or_nan


def _with_calms(fit: Callable[[Histogram], tuple[FloatArray, FloatArray]]) -> Fit:
    """Return a guarded fit of the speeds above zero, with the zeros as its calms."""

    def fit_with_calms(histogram: Histogram) -> tuple[FloatArray, FloatArray, FloatArray]:
        zero = histogram.speed_ms == 0
        moving = histogram.weighted(np.where(zero, 0.0, histogram.weight))
        return *fit(moving), np.where(zero, histogram.share, 0.0).sum(axis=-1)

    return guarded(fit_with_calms)


def _cube(moving: Histogram) -> tuple[FloatArray, FloatArray]:
    mean = moving.share @ moving.speed_ms
    # The mean falls within a class; its readings are spread evenly over it.
    width = moving.upper_ms - moving.lower_ms
    part = np.clip((moving.upper_ms - mean[..., np.newaxis]) / width, 0.0, 1.0)
    return mean_cube_fit(mean, moving.share @ moving.speed_ms**3, (moving.share * part).sum(-1))


@frozen_dataclass
class FitMethod:
    """One way to fit: what to call it, with its published source, and how it is done."""

    source: str
    fit: Fit


METHODS = {
    "interval-censored": FitMethod(
        "interval-censored maximum likelihood, calms below the starting speed (Takle & Brown 1978)",
        guarded(fit_censored),
    ),
    "maximum likelihood": FitMethod(
        "maximum likelihood (Seguro & Lambert 2000)",
        _with_calms(lambda moving: fit_maximum_likelihood(moving.speed_ms, moving.weight)),
    ),
    "moments": FitMethod(
        "moments (Justus et al. 1978)",
        _with_calms(lambda moving: fit_moments(moving.speed_ms, moving.weight)),
    ),
    "energy pattern factor": FitMethod(
        "energy pattern factor (Akdag & Dinler 2009)",
        _with_calms(lambda moving: pattern_factor_fit(moving.speed_ms, moving.weight)),
    ),
    "least squares": FitMethod(
        "least squares on the CDF (Justus et al. 1978)",
        _with_calms(lambda moving: least_squares_fit(*moving.shares_below(REGRESSION_CLASS_MS))),
    ),
    "mean cube": FitMethod(
        "mean cube and share above the mean (Troen & Petersen 1989)", _with_calms(_cube)
    ),
}
"""The fits by name. Commands, tables and results for joined read this list and no other."""


def chosen_method(histogram: Histogram) -> tuple[str, str]:
    """Return the name of the fit that suits a histogram (m,), and the rule that chose it."""
    spread = float(np.sqrt(np.maximum(0.0, histogram.moment(2) - histogram.moment(1) ** 2)))
    limit = COARSE_SHARE * spread
    rule = f"{100 * COARSE_SHARE:.0f} % of the standard deviation of the speeds ({spread:.3g} m/s)"
    step_ms, start_ms = histogram.step_ms, histogram.start_ms
    widths = (histogram.upper_ms - histogram.lower_ms)[~histogram.still]
    if step_ms is None and widths.max(initial=0.0) > limit:
        return "interval-censored", "the readings are uneven classes of speed"
    if step_ms is not None and step_ms > limit:
        return "interval-censored", f"the rounding step {step_ms:.3g} m/s is above {rule}"
    if start_ms > limit:
        below = f"nothing can be told below {start_ms:.3g} m/s"
        return "interval-censored", f"{below}, which is above {rule}"
    step, start = f"the rounding step {step_ms or 0:.3g} m/s", f"starting speed {start_ms:.3g} m/s"
    said = {
        (True, True): f"{step} and the {start} are below {rule}",
        (True, False): f"{step} is below {rule}, and no starting speed shows",
        (False, True): f"no rounding shows, and the {start} is below {rule}",
        (False, False): "neither rounding nor a starting speed shows in the speeds",
    }
    return "maximum likelihood", said[step_ms is not None, start_ms > 0]
