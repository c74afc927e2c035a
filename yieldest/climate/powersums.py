"""Weibull fit by maximum likelihood in one pass: from sums that add up over parts of a record."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from numpy.polynomial import chebyshev

from yieldest.arrays import FloatArray, floats

EXPONENTS = np.array([0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0])
"""Powers of the speed that are summed: where the shapes of winds lie, and a little beyond."""
SUMS = 2 * EXPONENTS.size + 1
"""Length of the vector of sums: the powers, the powers times ln v, and the calm readings."""
SHAPE_RANGE = (0.6, 6.5)
"""Outside it the sums do not bear a fit; our choice, see docs/scale.md."""

_REFERENCE_MS = 10.0
"""Speeds are summed relative to it, so that no power is far from 1."""
_TILE = (64, 512)
"""Cells and readings worked on at once: small enough for the cache of a core."""
_HIGHEST = EXPONENTS[-1]
_NEWTON_STEPS = 40
_NEWTON_TOLERANCE = 1e-12


def power_sums(speed_ms: npt.ArrayLike) -> FloatArray:
    """Sum powers of the speeds, with and without their logarithm.

    Parameters
    ----------
    speed_ms : array_like, shape (..., n)
        Speeds in m/s along the last axis, of any float type and in any memory order. NaN is left
        out, and so is what is below zero or infinite: no wind is.

    Returns
    -------
    ndarray, shape (..., SUMS)
        Sums of (v/10)^k for every k in `EXPONENTS`, sums of (v/10)^k ln(v/10), both over speeds
        above zero, and the number of zeros. The sums of two parts of a record add up to those of
        the whole.
    """
    speed = np.asarray(speed_ms)
    cells = speed.reshape(math.prod(speed.shape[:-1]), speed.shape[-1])
    sums = np.zeros((cells.shape[0], SUMS))
    for first in range(0, cells.shape[0], _TILE[0]):
        for start in range(0, cells.shape[1], _TILE[1]):
            tile = cells[first : first + _TILE[0], start : start + _TILE[1]]
            _add(sums[first : first + _TILE[0]], np.array(tile, dtype=np.float64, order="C"))
    return sums.reshape(*speed.shape[:-1], SUMS)


def _add(sums: FloatArray, speed: FloatArray) -> None:
    """Add the sums of a tile of shape (cells, readings), which is overwritten."""
    speed *= 1 / _REFERENCE_MS  # to divide takes three times as long
    with np.errstate(divide="ignore", invalid="ignore"):
        log_speed = np.log(speed)
    log_sum = log_speed.sum(axis=-1)
    if not np.isfinite(log_sum).all():
        moving = (speed > 0) & np.isfinite(speed)
        sums[:, -1] += (speed == 0).sum(axis=-1)
        # A one has no logarithm to add; that it counts as a power is taken back here.
        sums[:, : EXPONENTS.size] -= (~moving).sum(axis=-1)[:, np.newaxis]
        speed = np.where(moving, speed, 1.0)
        log_speed = np.where(moving, log_speed, 0.0)
        log_sum = log_speed.sum(axis=-1)
    sums[:, 0] += speed.shape[-1]
    sums[:, EXPONENTS.size] += log_sum
    ones = np.ones(speed.shape[-1])
    for column, values in enumerate(_rising_powers(speed), start=1):
        # Products with vectors go through BLAS, at twice the speed of a sum or an einsum.
        sums[:, column] += values @ ones
        products = values[:, np.newaxis, :] @ log_speed[:, :, np.newaxis]
        sums[:, EXPONENTS.size + column] += products[:, 0, 0]


def _rising_powers(speed: FloatArray) -> Iterator[FloatArray]:
    """Yield the powers in `EXPONENTS` above 0; each is overwritten when a later one is asked for.

    Multiplying is ten times quicker than `power`, and in place it stays in the cache.
    """
    half = np.sqrt(speed)
    yield half
    yield speed
    half *= speed
    yield half
    square = speed * speed
    yield square
    half *= speed
    yield half
    speed *= square
    yield speed
    yield square * square
    square *= speed
    yield square
    speed *= speed
    yield speed


def moving_readings(sums: FloatArray) -> FloatArray:
    """Return the number of speeds above zero, shape (...)."""
    return sums[..., 0]


def calm_readings(sums: FloatArray) -> FloatArray:
    """Return the number of zeros, shape (...)."""
    return sums[..., -1]


def mean_of_power(sums: FloatArray, order: float) -> FloatArray:
    """Return the mean of speed to a power, calms included, in (m/s)^n; NaN without readings.

    Parameters
    ----------
    sums : ndarray, shape (..., SUMS)
        From `power_sums`.
    order : float
        One of `EXPONENTS` above zero.
    """
    column = int(np.flatnonzero(order == EXPONENTS)[0])
    readings = moving_readings(sums) + calm_readings(sums)
    with np.errstate(invalid="ignore"):
        return np.asarray(sums[..., column] / readings * _REFERENCE_MS**order)


def fit_power_sums(sums: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    r"""Fit Weibull shape and scale by maximum likelihood to sums of powers.

    Parameters
    ----------
    sums : array_like, shape (..., SUMS)
        From `power_sums`.

    Returns
    -------
    shape, scale_ms : ndarray, shape (...)
        NaN where fewer than two different positive speeds are there, and where the shape is not
        within `SHAPE_RANGE`.

    Notes
    -----
    The same equation as in `yieldest.climate.weibull.fit_maximum_likelihood` (Seguro & Lambert,
    *J. Wind Eng. Ind. Aerodyn.* 85 (2000) 75-84) needs

    .. math:: s(k) = \sum v^k, \quad s'(k) = \sum v^k \ln v

    at the shape k, which is not known before. s is a smooth function of k, and it and its slope are
    known at the ten `EXPONENTS`: between them stands the polynomial of degree 19 that has the same
    values and slopes (Hermite interpolation; its error is :math:`\prod_j (k - k_j)^2 s^{(20)} /
    20!`, Davis, *Interpolation and Approximation*, 1963, theorem 3.5.1). For shapes from 1 to 6 the
    result is that of the readings themselves to 1e-6.
    """
    given = floats(sums)
    count = moving_readings(given)[..., np.newaxis]
    with np.errstate(divide="ignore", invalid="ignore"):
        power = given[..., : EXPONENTS.size] / count
        slope = given[..., EXPONENTS.size : -1] / count
        variation = np.sqrt(np.maximum(0.0, power[..., 4] / power[..., 2] ** 2 - 1))
        fittable = (count[..., 0] >= 2) & (variation > 1e-6)
        # Relative to the root of the mean cube, most logarithms are near zero.
        centre = np.log(power[..., 6:7]) / 3
        rescale = np.exp(-EXPONENTS * centre)
        values = np.concatenate([power * rescale, (slope - centre * power) * rescale], axis=-1)
        values = np.where(fittable[..., np.newaxis], values, np.nan)
        mean_log = values[..., EXPONENTS.size]
        # Justus et al., J. Appl. Meteorol. 17 (1978) 350-353, as a start.
        shape = np.where(fittable, np.clip(variation**-1.086, *SHAPE_RANGE), np.nan)
        series = [values @ matrix for matrix in _SERIES]
        for _ in range(_NEWTON_STEPS):
            total, first, second = (_evaluate(each, shape) for each in series)
            first, second = first / total, second / total
            step = (first - 1 / shape - mean_log) / (second - first**2 + 1 / shape**2)
            new = np.clip(shape - step, 0.5 * SHAPE_RANGE[0], 1.2 * SHAPE_RANGE[1])
            step, shape = new - shape, new
            if not np.any(np.abs(step) > _NEWTON_TOLERANCE * shape):
                break
        within = (shape >= SHAPE_RANGE[0]) & (shape <= SHAPE_RANGE[1])
        shape = np.where(within, shape, np.nan)
        power_mean = _evaluate(series[0], shape)
        scale = _REFERENCE_MS * np.exp(centre[..., 0]) * power_mean ** (1 / shape)
    return shape, np.where(within, scale, np.nan)


def _evaluate(series: FloatArray, shape: FloatArray) -> FloatArray:
    terms = chebyshev.chebvander(2 * shape / _HIGHEST - 1, series.shape[-1] - 1)
    return np.asarray(np.einsum("...i,...i->...", terms, series))


def _interpolation() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return what turns values and slopes at the exponents into Chebyshev series.

    Returns
    -------
    three ndarrays, shape (2 m, 2 m), (2 m, 2 m - 1), (2 m, 2 m - 2)
        For the polynomial, its first and its second derivative.
    """
    terms = 2 * EXPONENTS.size
    place = 2 * EXPONENTS / _HIGHEST - 1
    stretch = 2 / _HIGHEST
    derivative = chebyshev.chebder(np.eye(terms)) * stretch
    conditions = np.concatenate(
        [
            chebyshev.chebvander(place, terms - 1),
            chebyshev.chebvander(place, terms - 2) @ derivative,
        ]
    )
    series = np.linalg.inv(conditions)
    first = chebyshev.chebder(series) * stretch
    second = chebyshev.chebder(first) * stretch
    return series.T, first.T, second.T


_SERIES = _interpolation()
