"""Weibull fit by maximum likelihood to readings of which only bounds are known."""

from __future__ import annotations

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.wind.histogram import Histogram
from yieldest.wind.weibull import fit_moments, share_above

_STEPS = 80
_BLOCK = 8192
"""So many classes of all rows are gone through at a time, for they stay in the nearest memory."""
_TOLERANCE = 1e-6
"""Newton's method doubles the right digits with each step: after such a step twelve are right."""
_ROUNDING = 1e-12
"""A likelihood that falls by less has not fallen, but been rounded."""
_SHAPE_RANGE = (0.2, 30.0)
_MOST_EXPONENT = 50.0
"""exp(50) has no probability left above it, and nothing overflows."""
_NO_SPEED_MS = 1e-300
"""Stands for zero, which has no logarithm."""


def fit_censored(histogram: Histogram) -> tuple[FloatArray, FloatArray, FloatArray]:
    r"""Fit a Weibull distribution, and a share of calms beside it, to classes of speeds.

    Every row of a histogram with weights of shape (..., m) is fitted by itself: shape, scale (m/s)
    and share of calms, shape (...), are NaN where fewer than two classes above the starting speed
    are filled.

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
        rest = histogram.weight[~own] if own.ndim else histogram.weight
        found = _maximise(histogram.weighted(rest), truncated_at_ms=0.0)
        if own.ndim:
            shape[~own], scale[~own] = found
        else:
            shape, scale = found
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
    weight = histogram.share.reshape(-1, histogram.speed_ms.size)
    # Speeds at standstill say nothing of the start of the search; the middle of a class does.
    middle = np.where(
        histogram.speed_ms > 0, histogram.speed_ms, (histogram.lower_ms + histogram.upper_ms) / 2
    )
    begin = np.array(fit_moments(middle, weight))
    known = np.isfinite(begin[0])
    if known.size > 1 and known.any():
        # Rows are mostly draws of one record, whose own fit lies nearer to theirs than moments do.
        together = histogram.weighted(weight[known].sum(axis=0))
        begin = np.array(_maximise(together, truncated_at_ms))[:, np.newaxis]
    weight = np.where(known[:, np.newaxis], weight, 0.0)
    begin[0] = np.clip(begin[0], *_SHAPE_RANGE)
    place = np.log(np.where(np.isfinite(begin), begin, 2.0))
    log_bounds = np.log(np.maximum([histogram.lower_ms, histogram.upper_ms], _NO_SPEED_MS))
    best = _likelihood(place, log_bounds, weight, truncated_at_ms)
    place = np.broadcast_to(place, (2, known.size))
    damping = np.full(known.shape, 1e-6)
    rows = 1 + _BLOCK // weight.shape[1]
    for _ in range(_STEPS):
        new_place = place + np.clip(_damped_step(best, damping), -1.0, 1.0)
        new_place[0] = np.clip(new_place[0], *np.log(_SHAPE_RANGE))
        if np.all((np.abs(new_place - place).sum(axis=0) < _TOLERANCE) | ~known):
            place = new_place
            break
        blocks = (np.s_[start : start + rows] for start in range(0, known.size, rows))
        new = np.concatenate(
            [_likelihood(new_place[:, b], log_bounds, weight[b], truncated_at_ms) for b in blocks],
            axis=1,
        )
        better = new[0] >= best[0] - _ROUNDING
        damping = np.where(better, damping / 10, np.maximum(damping, 1e-6) * 100)
        place, best = np.where(better, new_place, place), np.where(better, new, best)
    shape, scale = np.where(known, np.exp(place), np.nan).reshape(2, *histogram.weight.shape[:-1])
    return shape, scale


def _damped_step(likelihood: FloatArray, damping: FloatArray) -> FloatArray:
    """Solve the two Newton equations, leaning towards steepest ascent where they bend wrongly."""
    _, by_k, by_a, bend_kk, bend_ka, bend_aa = likelihood
    size = np.abs(bend_kk) + np.abs(bend_aa) + 1e-12
    kk, ka, aa = -bend_kk + damping * size, -bend_ka, -bend_aa + damping * size
    determinant = kk * aa - ka**2
    sound = (kk > 0) & (determinant > 0)
    newton = np.array([aa * by_k - ka * by_a, kk * by_a - ka * by_k])
    steepest = likelihood[1:3] / size
    return np.where(sound, newton / np.where(sound, determinant, 1.0), steepest)


def _likelihood(
    place: FloatArray, log_bounds: FloatArray, weight: FloatArray, truncated_at_ms: float
) -> FloatArray:
    """Return the mean log-likelihood, its slopes (k, a) and its bends (kk, ka, aa), of each row.

    The weights, shape (rows, m), add up to 1; the logarithms of the bounds have shape (2, m). One
    place serves all rows. All follows from w = (v/A)^k and from z w and z^2 w with z = ln w: the
    slopes of w by ln k and ln A are z w and -k w.
    """
    low, high = (_powers(place, bound) for bound in log_bounds)

    def sum_of(values: FloatArray) -> FloatArray:
        if place.shape[1] == 1:
            return np.asarray(values[..., 0, :] @ weight.T)
        return np.asarray(np.einsum("ri,...ri->...r", weight, values))

    rise = high - low
    if truncated_at_ms > 0:
        low -= _powers(place, np.log([truncated_at_ms]))
    # ln(S(l) - S(u)) = -w(l) + ln(1 - exp(-(w(u) - w(l)))), which loses no digits.
    width = np.maximum(rise[0], 1e-300)
    pull = 1 / np.expm1(np.minimum(width, 700.0))
    value = sum_of(np.log(-np.expm1(-width)) - low[0])
    slope = sum_of(pull * rise - low)
    bend = pull * (1 + pull) * rise[:2]
    first, both = sum_of(bend[0] * rise[:2])
    second = sum_of(bend[1] * rise[1])
    k = np.exp(place[0])
    by_k, by_a = slope[1], -k * slope[0]
    mixed = -k * (slope[0] + slope[1] - both)
    return np.array([value, by_k, by_a, by_k + slope[2] - second, mixed, k**2 * (slope[0] - first)])


def _powers(place: FloatArray, log_speed: FloatArray) -> FloatArray:
    """Return w = (v/A)^k, z w and z^2 w with z = ln w, where `place` is ln k and ln A."""
    z = np.exp(place[0])[..., np.newaxis] * (log_speed - place[1][..., np.newaxis])
    w = np.exp(np.minimum(z, _MOST_EXPONENT, out=z))
    return np.array([w, z * w, z * z * w])
