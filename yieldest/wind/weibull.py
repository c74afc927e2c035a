"""The Weibull distribution of wind speed: fitting it, and its moments.

Throughout, `shape` is k and `scale_ms` is A, in m/s; all arguments broadcast.
"""

from __future__ import annotations

from collections.abc import Callable
from math import factorial

import numpy as np
import numpy.typing as npt
from scipy.special import digamma, gamma, gammaln

from yieldest.arrays import FloatArray, floats

_JUSTUS = -1.086
"""To this power of the standard deviation over the mean the shape is nearly equal (Justus et al.
1978, see `fit_moments`)."""
_NEWTON_STEPS = 60
_NEWTON_TOLERANCE = 1e-7
"""Newton's method doubles the right digits with each step: after such a step fourteen are right."""
_TAYLOR_TERMS, _TAYLOR_REACH = 10, 0.05
"""Within 5 % of the shape, ten terms of the sums of powers leave less than 1e-12 out."""
_BLOCK = 8192
"""So many readings are gone through at a time, for they stay in the nearest memory."""


def mean_speed(shape: npt.ArrayLike, scale_ms: npt.ArrayLike) -> FloatArray:
    """Return the mean of a Weibull distribution in m/s, A Gamma(1 + 1/k).

    Jain, *Wind Energy Engineering*, McGraw-Hill 2011, chapter 3.
    """
    return moment(shape, scale_ms, 1)


def moment(shape: npt.ArrayLike, scale_ms: npt.ArrayLike, order: float) -> FloatArray:
    """Return the mean of speed to the power `order`, A^n Gamma(1 + n/k), in (m/s)^n.

    The third is the mean cube, on which the power in the wind rests.
    """
    scale = floats(scale_ms)
    return np.asarray(scale**order * gamma(1 + order / floats(shape)))


def mode_speed(shape: npt.ArrayLike, scale_ms: npt.ArrayLike) -> FloatArray:
    """Return the most frequent speed, A (1 - 1/k)^(1/k) (Jain 2011), or 0 for a shape up to 1."""
    k = floats(shape)
    return np.asarray(floats(scale_ms) * np.maximum(0.0, 1 - 1 / k) ** (1 / k))


def share_above(
    speed_ms: npt.ArrayLike, shape: npt.ArrayLike, scale_ms: npt.ArrayLike
) -> FloatArray:
    """Return the share of time with a speed above `speed_ms` (not negative), exp(-(v/A)^k)."""
    ratio = floats(speed_ms) / floats(scale_ms)
    return np.asarray(np.exp(-(ratio ** floats(shape))))


def scale_of_mean(mean_ms: npt.ArrayLike, shape: npt.ArrayLike) -> FloatArray:
    """Return the scale (m/s) that gives a mean speed at a shape, v / Gamma(1 + 1/k)."""
    return np.asarray(floats(mean_ms) / gamma(1 + 1 / floats(shape)))


def fit_maximum_likelihood(
    speed_ms: npt.ArrayLike, weight: npt.ArrayLike = 1.0
) -> tuple[FloatArray, FloatArray]:
    r"""Fit Weibull shape and scale by maximum likelihood.

    Parameters
    ----------
    speed_ms : array_like, shape (..., n)
        NaN and zero are left out: a calm has no likelihood under a Weibull distribution and is to
        be carried as a share of its own.
    weight : array_like
        How much each speed counts; broadcasts with `speed_ms`, so that one row of speeds can be
        fitted with many rows of weights at once.

    Returns
    -------
    shape, scale_ms : ndarray, shape (...)
        NaN where fewer than two different positive speeds are there.

    Notes
    -----
    The shape is the one root of

    .. math:: \frac{\sum w v^k \ln v}{\sum w v^k} - \frac1k - \overline{\ln v} = 0

    found by Newton's method from about the shape by moments, on the Taylor series of the sums, so
    that the readings are mostly gone through once or twice. The scale follows as the k-th root of
    the mean of v^k (Seguro & Lambert, *J. Wind Eng. Ind. Aerodyn.* 85 (2000) 75-84).
    """
    speed, counted = _moving(speed_ms, weight)
    if speed.size == 0:
        none = np.full(np.broadcast_shapes(speed.shape, np.shape(weight))[:-1], np.nan)
        return none, none
    with np.errstate(all="ignore"):
        # Relative to the highest speed no power can overflow.
        highest = np.max(speed, axis=-1, keepdims=True)
        every = 1 + speed.shape[-1] // _BLOCK
        some = None if counted is None else counted[..., ::every]
        shape = _mean_and_variation(speed[..., ::every], some)[1] ** _JUSTUS
        if every > 1 and not np.isfinite(shape).all():
            shape = _mean_and_variation(speed, counted)[1] ** _JUSTUS
        starts = shape[np.isfinite(shape)]
        # Rows of one record's draws share the shape about which their sums are expanded.
        alike = speed.ndim == 1 and starts.size > 0
        about = floats(np.median(starts)) if alike else shape
        for _ in range(_NEWTON_STEPS):
            if counted is None:
                total, log_sum, *sums = _sums_of_row(about, speed, highest)
            else:
                total, log_sum, *sums = _power_sums(about, speed, highest, counted)
            sums = [each / factorial(order) for order, each in enumerate(sums)]

            def step(
                shape: FloatArray,
                about: FloatArray = about,
                sums: list[FloatArray] = sums,
                mean_log: FloatArray = log_sum / total,
            ) -> FloatArray:
                value, first, second = _series(sums, shape - about)
                slope = second / value - (first / value) ** 2 + 1 / shape**2
                return np.asarray((first / value - 1 / shape - mean_log) / slope)

            found = _newton(shape, step)
            settled = np.isnan(shape) | (np.abs(found - about) < _TAYLOR_REACH * about)
            if settled.all():
                shape = found
                break
            # Where the series is expanded it is exact, however far away the root is.
            towards = np.clip(about - step(about), about / 2, about * 2)
            shape = about = np.where(settled, found, towards)
        power_mean = _series(sums, shape - about)[0] / total
        return shape, np.asarray(highest[..., 0] * power_mean ** (1 / shape))


def fit_moments(
    speed_ms: npt.ArrayLike, weight: npt.ArrayLike = 1.0
) -> tuple[FloatArray, FloatArray]:
    """Fit Weibull shape and scale so that mean and standard deviation are those of the speeds.

    Takes and gives the same as `fit_maximum_likelihood`.

    Justus, Hargraves, Mikhail & Graber, *J. Appl. Meteorol.* 17 (1978) 350-353. Their
    approximation k = (s/m)^-1.086 is only the start; Newton's method then solves
    1 + (s/m)^2 = Gamma(1 + 2/k) / Gamma(1 + 1/k)^2.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        mean, variation = _mean_and_variation(*_moving(speed_ms, weight))
        target = np.log1p(variation**2)

        def step(shape: FloatArray) -> FloatArray:
            inverse = 1 / shape
            excess = gammaln(1 + 2 * inverse) - 2 * gammaln(1 + inverse) - target
            slope = -2 * inverse**2 * (digamma(1 + 2 * inverse) - digamma(1 + inverse))
            return np.asarray(excess / slope)

        shape = _newton(variation**_JUSTUS, step)
    return shape, scale_of_mean(mean, shape)


def _mean_and_variation(
    speed: FloatArray, weight: FloatArray | None
) -> tuple[FloatArray, FloatArray]:
    """Return the mean, and the standard deviation over it; NaN where all speeds are the same."""
    if weight is None:
        weight = np.ones(speed.size)
    total = np.sum(np.broadcast_to(weight, np.broadcast_shapes(weight.shape, speed.shape)), -1)
    mean = _dot(weight, speed) / total
    variation = np.sqrt(_dot(weight, (speed - mean[..., np.newaxis]) ** 2) / total) / mean
    return mean, np.where(variation > 1e-9, variation, np.nan)


def _power_sums(
    about: FloatArray, speed: FloatArray, highest: FloatArray, weight: FloatArray
) -> list[FloatArray]:
    """Return the sums of w, of w ln v and of w v^k (ln v)^j, all speeds over the highest.

    Over their factorials the last are the Taylor series of the sum of w v^k by k.
    """
    sums: list[FloatArray] = [np.zeros(())] * (2 + _TAYLOR_TERMS)
    for start in range(0, speed.shape[-1], _BLOCK):
        block, counted = (each[..., start : start + _BLOCK] for each in (speed, weight))
        log_ratio = np.log(block / highest)
        powers = np.exp(about[..., np.newaxis] * log_ratio)
        sums[0] = sums[0] + np.sum(counted, axis=-1)
        sums[1] = sums[1] + _dot(counted, log_ratio)
        sums[2] = sums[2] + _dot(counted, powers)
        for order in range(1, _TAYLOR_TERMS):
            powers *= log_ratio
            sums[2 + order] = sums[2 + order] + _dot(counted, powers)
    return sums


def _sums_of_row(about: FloatArray, speed: FloatArray, highest: FloatArray) -> list[FloatArray]:
    """Return the same of one row of speeds that all count alike, in half the time.

    The sums of even powers and those of odd ones come from one product of two matrices.
    """
    size, rows = min(_BLOCK, speed.size), 1 + _TAYLOR_TERMS // 2
    logs, powers, sums = np.ones((2, size)), np.ones((rows, size)), np.zeros((rows, 2))
    for start in range(0, speed.size, _BLOCK):
        block = speed[start : start + _BLOCK]
        logs, powers = logs[:, : block.size], powers[:, : block.size]
        log_ratio = np.log(block / highest, out=logs[1])
        np.exp(about * log_ratio, out=powers[1])
        square = log_ratio**2
        for row in range(2, rows):
            np.multiply(powers[row - 1], square, out=powers[row])
        sums += powers @ logs.T
    return list(sums.ravel())


def _series(sums: list[FloatArray], by: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the sum of w v^k so far from where it is expanded, its first and second derivative."""
    value = first = half_second = np.zeros_like(by)
    for term in reversed(sums):
        half_second = half_second * by + first
        first = first * by + value
        value = value * by + term
    return value, first, 2 * half_second


def _newton(shape: FloatArray, step_from: Callable[[FloatArray], FloatArray]) -> FloatArray:
    """Return the root of an equation for the shape by Newton's method."""
    for _ in range(_NEWTON_STEPS):
        step = np.minimum(step_from(shape), 0.9 * shape)  # the shape must stay positive
        shape = np.asarray(shape - step)
        if not np.any(np.abs(step) > _NEWTON_TOLERANCE * shape):
            break
    return shape


def _moving(speed_ms: npt.ArrayLike, weight: npt.ArrayLike) -> tuple[FloatArray, FloatArray | None]:
    """Return speeds with the highest in place of what is not above zero, and its weight as zero.

    Of one row that counts alike what is not above zero is left out, and there is no weight.
    """
    speed = floats(speed_ms)
    used = speed > 0  # False for NaN too
    if speed.ndim == 1 and np.ndim(weight) == 0:
        return speed if used.all() else speed[used], None
    highest = np.max(speed, axis=-1, keepdims=True, where=used, initial=0.0)
    return np.where(used, speed, highest), np.where(used, floats(weight), 0.0)


def _dot(one: FloatArray, other: FloatArray) -> FloatArray:
    """Return the sum of products along the last axis, without an array of the products."""
    if other.ndim == 1:
        return np.asarray(one @ other)
    return np.asarray(np.einsum("...i,...i->...", one, other))
