"""Weibull fit by maximum likelihood to readings of which only bounds are known."""

from __future__ import annotations

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.wind.histogram import Histogram
from yieldest.wind.weibull import fit_moments, share_above

_STEPS = 80
_TOLERANCE = 1e-9
"""Newton's method doubles the right digits with each step: after such a step all are right."""
_ROUNDING = 1e-12
"""A likelihood that falls by less has not fallen, but been rounded."""
_SHAPE_RANGE = (0.2, 30.0)
_MOST_EXPONENT = 50.0
"""exp(50) has no probability left above it, and nothing overflows."""


def fit_censored(histogram: Histogram) -> tuple[FloatArray, FloatArray, FloatArray]:
    r"""Fit a Weibull distribution, and a share of calms beside it, to classes of speeds.

    Parameters
    ----------
    histogram : Histogram
        Weights of shape (..., m): every row is fitted by itself.

    Returns
    -------
    shape, scale_ms, calm_share : ndarray, shape (...)
        NaN where fewer than two classes above the starting speed are filled.

    Notes
    -----
    With S(v) = exp(-(v/A)^k), the classes :math:`[l_i, u_i]` above the starting speed t and the
    hours :math:`n_i` in them, the likelihood to make as large as can be is

    .. math:: \sum_i n_i \ln\frac{S(l_i) - S(u_i)}{S(t)}
              + n_0 \ln(p + (1 - p)(1 - S(t))) + \sum_i n_i \ln((1 - p) S(t))

    where :math:`n_0` are the hours at standstill and p is the share of true calms, the point mass
    of Takle & Brown (*J. Appl. Meteorol.* 17 (1978) 556-559). Its greatest value has p above zero
    just where more hours stand still than the distribution fitted to the rest alone leaves below t;
    otherwise p is zero and the standstill is censored from the left (Cohen, *Technometrics* 7
    (1965) 579-588, treats censored Weibull samples). Newton's method with damping, in ln k and
    ln A.
    """
    shape, scale, no_calm = fit_above_start(histogram)
    still = histogram.still
    if not still.any():
        return shape, scale, no_calm
    still_share = np.where(still, histogram.share, 0.0).sum(axis=-1)
    # Only a sensor that showed zero can have seen a calm.
    zero_share = np.where(histogram.speed_ms == 0, histogram.share, 0.0).sum(axis=-1)
    below = 1 - share_above(histogram.start_ms, shape, scale)
    with np.errstate(divide="ignore", invalid="ignore"):
        surplus = (still_share - below) / (1 - below)
    own = (surplus > 0) & (zero_share > 0)
    if not own.all():
        all_shape, all_scale = _maximise(histogram, truncated_at_ms=0.0)
        shape, scale = np.where(own, shape, all_shape), np.where(own, scale, all_scale)
    return shape, scale, np.where(own, np.minimum(surplus, zero_share), 0.0)


def fit_above_start(histogram: Histogram) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Fit what lies above the starting speed alone, as `fit_censored` does, with no calms.

    For groups of readings that hold no standstill by their nature, such as a direction sector.
    """
    moving = histogram.weighted(np.where(histogram.still, 0.0, histogram.weight))
    shape, scale = _maximise(moving, truncated_at_ms=histogram.start_ms)
    return shape, scale, np.zeros_like(shape)


def _maximise(histogram: Histogram, truncated_at_ms: float) -> tuple[FloatArray, FloatArray]:
    """Maximise the likelihood of the classes, given that all lie above a speed."""
    weight = histogram.share
    # Speeds at standstill say nothing of the start of the search; the middle of a class does.
    middle = np.where(
        histogram.speed_ms > 0, histogram.speed_ms, (histogram.lower_ms + histogram.upper_ms) / 2
    )
    shape, scale = fit_moments(middle, weight)
    known = np.isfinite(shape)
    if known.ndim and known.any():
        # Rows are mostly draws of one record, whose own fit lies nearer to theirs than moments do.
        pooled = weight[known].sum(axis=0)
        shape, scale = (
            np.where(known, value, np.nan)
            for value in _maximise(histogram.weighted(pooled), truncated_at_ms)
        )
    weight = np.where(known[..., np.newaxis], weight, 0.0)
    log_k = np.log(np.where(known, np.clip(shape, *_SHAPE_RANGE), 2.0))
    log_a = np.log(np.where(known, scale, 1.0))
    best, slope, bend = _likelihood(log_k, log_a, histogram, weight, truncated_at_ms)
    damping = np.full(log_k.shape, 1e-6)
    for _ in range(_STEPS):
        step_k, step_a = _damped_step(slope, bend, damping)
        new_k = np.clip(log_k + step_k, *np.log(_SHAPE_RANGE))
        new_a = log_a + np.clip(step_a, -1.0, 1.0)
        new = _likelihood(new_k, new_a, histogram, weight, truncated_at_ms)
        better = new[0] >= best - _ROUNDING
        damping = np.where(better, damping / 10, np.maximum(damping, 1e-6) * 100)
        moved = np.abs(new_k - log_k) + np.abs(new_a - log_a)
        log_k, log_a = np.where(better, new_k, log_k), np.where(better, new_a, log_a)
        best = np.where(better, new[0], best)
        slope = np.where(better, new[1], slope)
        bend = np.where(better, new[2], bend)
        if np.all((moved < _TOLERANCE) | ~known):
            break
    return np.where(known, np.exp(log_k), np.nan), np.where(known, np.exp(log_a), np.nan)


def _damped_step(
    slope: FloatArray, bend: FloatArray, damping: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Solve the two Newton equations, leaning towards steepest ascent where they bend wrongly."""
    size = np.abs(bend[0]) + np.abs(bend[2]) + 1e-12
    kk, ka, aa = -bend[0] + damping * size, -bend[1], -bend[2] + damping * size
    determinant = kk * aa - ka**2
    sound = (kk > 0) & (determinant > 0)
    safe = np.where(sound, determinant, 1.0)
    step_k = np.where(sound, (aa * slope[0] - ka * slope[1]) / safe, slope[0] / size)
    step_a = np.where(sound, (kk * slope[1] - ka * slope[0]) / safe, slope[1] / size)
    return np.clip(step_k, -1.0, 1.0), step_a


def _likelihood(
    log_k: FloatArray,
    log_a: FloatArray,
    histogram: Histogram,
    weight: FloatArray,
    truncated_at_ms: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the mean log-likelihood, its slopes (k, a) and its bends (kk, ka, aa)."""
    low, low_1, low_2 = _exponent(log_k, log_a, histogram.lower_ms)
    high, high_1, high_2 = _exponent(log_k, log_a, histogram.upper_ms)
    width, width_1, width_2 = high - low, high_1 - low_1, high_2 - low_2
    # ln(S(l) - S(u)) = -w(l) + ln(1 - exp(-(w(u) - w(l)))), which loses no digits.
    width = np.maximum(width, 1e-300)
    pull = 1 / np.expm1(np.minimum(width, 700.0))
    log_share = -low + np.log(-np.expm1(-width))
    push_1 = -low_1 + pull * width_1
    by_k, by_a = width_1
    squares = np.stack([by_k**2, by_k * by_a, by_a**2])
    push_2 = -low_2 + pull * width_2 - pull * (1 + pull) * squares
    value = (weight * log_share).sum(axis=-1)
    first = (weight * push_1).sum(axis=-1)
    second = (weight * push_2).sum(axis=-1)
    if truncated_at_ms > 0:
        total = weight.sum(axis=-1)
        start, start_1, start_2 = _exponent(log_k, log_a, np.array([truncated_at_ms]))
        value = value + total * start[..., 0]
        first = first + total * start_1[..., 0]
        second = second + total * start_2[..., 0]
    return value, first, second


def _exponent(
    log_k: FloatArray, log_a: FloatArray, speed_ms: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return w = (v/A)^k and its first and second derivatives by ln k and ln A."""
    k = np.exp(log_k)[..., np.newaxis]
    with np.errstate(divide="ignore"):
        log_ratio = np.log(speed_ms) - log_a[..., np.newaxis]
    z = np.where(speed_ms > 0, np.minimum(k * log_ratio, _MOST_EXPONENT), 0.0)
    w = np.where(speed_ms > 0, np.exp(z), 0.0)
    first = np.stack([z * w, -k * w])
    second = np.stack([z * w * (1 + z), -k * w * (1 + z), k**2 * w])
    return w, first, second
