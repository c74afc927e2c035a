"""Weibull fit by maximum likelihood in one pass: from sums that add up over parts of a record."""

from __future__ import annotations

import functools
import math

import numpy as np
import numpy.typing as npt
from numpy.polynomial.polynomial import polyder, polyfromroots, polyval

from yieldest.arrays import FloatArray, floats

TERMS = (
    (0, 0), (0, 1),
    (1, 0), (1, 1), (1, 2), (1, 3),
    (2, 0), (2, 1), (2, 2), (2, 3),
    (3, 0),
    (4, 0), (4, 1), (4, 2), (4, 3),
    (5, 0),
    (6, 0),
)  # fmt: skip
"""The terms v^a (ln v)^b that are summed, as (a, b): where the shapes of winds lie."""
SUMS = len(TERMS) + 1
"""Length of the vector of sums: the terms, and the calm readings."""
SHAPE_RANGE = (0.6, 6.5)
"""Outside it the sums do not bear a fit; our choice, see docs/scale.md."""

_REFERENCE_MS = 8.0
"""Speeds are summed relative to it, so that no power is far from 1; a power of two, for nothing is
rounded by it."""
_ROWS: tuple[tuple[int, int], ...] = ((0, 3), (0, 2), (0, 1), (0, 0), (1, 0), (2, 0), (4, 0))
"""What is worked out for every reading, as (a, b)."""
_LEFT, _RIGHT = slice(0, 6), slice(3, 7)
"""Rows whose products, each of one with each of the other, hold all the terms."""
_ONE, _LOG, _SPEED = _ROWS.index((0, 0)), _ROWS.index((0, 1)), _ROWS.index((1, 0))
_CELLS, _READINGS = 64, 1_464
"""Cells, and readings of each, that are worked on at once: their rows stay in the cache of a core,
no product is so large that the linear algebra would share it out among threads, and none adds up so
many numbers that it shows in single precision. Six such pieces make a year of hours."""
_NARROW = 0.16
"""Square of the coefficient of variation below which single precision is not enough, as at shapes
above 2.7: the interpolation then makes more of its rounding, by trial."""
_TURNED = 512
"""Readings of each cell that are put in order at once where the cells lie side by side."""
_CROWDED_BYTES = 2048
"""Readings so many bytes apart, or a multiple of it, share few places of the cache: they push each
other out of it, and are first copied to where they are not."""
_NEWTON_STEPS = 40
_NEWTON_TOLERANCE = 1e-12

_PRODUCTS = [
    [(left[0] + right[0], left[1] + right[1]) for right in _ROWS[_RIGHT]] for left in _ROWS[_LEFT]
]
_PLACES = np.array(
    [
        next((row, each.index(term)) for row, each in enumerate(_PRODUCTS) if term in each)
        for term in TERMS
    ]
).T
"""For each of `TERMS` a row of the left and one of the right that give it."""


def power_sums(speed_ms: npt.ArrayLike) -> FloatArray:
    """Sum powers of the speeds, with and without powers of their logarithm.

    Parameters
    ----------
    speed_ms : array_like, shape (..., n)
        Of any float type and in any memory order. NaN is left out, and so is what is below zero or
        infinite: no wind is.

    Returns
    -------
    ndarray, shape (..., SUMS)
        Sums of (v/8)^a (ln(v/8))^b for every (a, b) in `TERMS`, over speeds above zero, and the
        number of zeros. The sums of two parts of a record add up to those of the whole.
    """
    speed = np.asarray(speed_ms)
    cells = speed.reshape(math.prod(speed.shape[:-1]), speed.shape[-1])
    sums = np.zeros((len(cells), SUMS))
    most = min(len(cells), _CELLS) * min(cells.shape[1], _READINGS)
    rows = np.ones((len(_ROWS), most), np.single)
    for first in range(0, len(cells), _CELLS):
        here = slice(first, first + _CELLS)
        for start in range(0, cells.shape[1], _READINGS):
            piece = cells[here, start : start + _READINGS]
            found = _sums(piece, rows[:, : piece.size].reshape(len(_ROWS), *piece.shape))
            moving, mean, mean_square = (found[:, TERMS.index((a, 0))] for a in (0, 1, 2))
            narrow = moving * mean_square < (1 + _NARROW) * mean**2
            if narrow.any():
                piece = piece[narrow]
                found[narrow] = _sums(piece, np.ones((len(_ROWS), *piece.shape)))
            sums[here] += found
    return sums.reshape(*speed.shape[:-1], SUMS)


def _sums(speed_ms: npt.NDArray[np.floating], rows: npt.NDArray[np.floating]) -> FloatArray:
    """Return the sums of some cells, shape (cells, readings); the rows are there to be overwritten.

    They are as precise as the rows. To multiply is ten times quicker than `power`, and one product
    of two small matrices for each cell sums all the terms at a third of the cost of summing them
    one by one.
    """
    speed, log_speed = rows[_SPEED], rows[_LOG]
    calms = np.zeros(len(speed_ms))
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        _copy_in_order(speed, speed_ms)
        np.multiply(speed, 1 / _REFERENCE_MS, out=speed)
        np.log(speed, out=log_speed)
        products = _products(rows)
        if not np.isfinite(products[:, _LOG, 0]).all():
            still = ~((speed > 0) & np.isfinite(speed))
            calms = (speed == 0).sum(axis=-1)
            # A one has no logarithm to add; that it counts as a power is taken back at once.
            np.copyto(speed, 1.0, where=still)
            np.copyto(log_speed, 0.0, where=still)
            products = _products(rows)
            products[:, _ONE:] -= still.sum(axis=-1)[:, np.newaxis, np.newaxis]
    return np.concatenate([products[:, *_PLACES], calms[:, np.newaxis]], axis=-1)


def _copy_in_order(ordered: npt.NDArray[np.floating], speed_ms: npt.NDArray[np.floating]) -> None:
    """Copy the speeds of some cells so that those of each cell lie side by side."""
    if speed_ms.strides[-1] == speed_ms.itemsize:
        np.copyto(ordered, speed_ms, casting="same_kind")
        return
    # In small pieces, for what is read along one axis is written along the other.
    crowded = speed_ms.strides[-1] % _CROWDED_BYTES == 0
    apart = np.empty((_TURNED, len(speed_ms) + 1), speed_ms.dtype)[:, :-1]
    for start in range(0, speed_ms.shape[1], _TURNED):
        piece = speed_ms[:, start : start + _TURNED]
        if crowded:
            apart[: piece.shape[1]] = piece.T
            piece = apart[: piece.shape[1]].T
        np.copyto(ordered[:, start : start + _TURNED], piece, casting="same_kind")


def _products(rows: npt.NDArray[np.floating]) -> FloatArray:
    """Fill the rows, from those of ones, v and ln v, and multiply left ones by right ones."""
    speed, log_speed = rows[_SPEED], rows[_LOG]
    np.multiply(log_speed, log_speed, out=rows[_LOG - 1])
    np.multiply(rows[_LOG - 1], log_speed, out=rows[_LOG - 2])
    np.multiply(speed, speed, out=rows[_SPEED + 1])
    np.multiply(rows[_SPEED + 1], rows[_SPEED + 1], out=rows[_SPEED + 2])
    return floats(rows[_LEFT].transpose(1, 0, 2) @ rows[_RIGHT].transpose(1, 2, 0))


def moving_readings(sums: FloatArray) -> FloatArray:
    """Return the number of speeds above zero, shape (...)."""
    return sums[..., 0]


def calm_readings(sums: FloatArray) -> FloatArray:
    """Return the number of zeros, shape (...)."""
    return sums[..., -1]


def mean_of_power(sums: FloatArray, order: int) -> FloatArray:
    """Return the mean of speed to a power from 1 to 6 in (m/s)^order, calms included.

    Of sums from `power_sums`; NaN without readings.
    """
    readings = moving_readings(sums) + calm_readings(sums)
    with np.errstate(invalid="ignore"):
        return np.asarray(sums[..., TERMS.index((order, 0))] / readings * _REFERENCE_MS**order)


def fit_power_sums(sums: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    r"""Fit Weibull shape and scale by maximum likelihood to sums from `power_sums`.

    Shape and scale (m/s), shape (...), of sums of shape (..., SUMS); NaN where fewer than two
    different positive speeds are there, and where the shape is not within `SHAPE_RANGE`.

    Notes
    -----
    The same equation as in `yieldest.wind.weibull.fit_maximum_likelihood` (Seguro & Lambert,
    *J. Wind Eng. Ind. Aerodyn.* 85 (2000) 75-84) needs

    .. math:: s(k) = \sum v^k, \quad s'(k) = \sum v^k \ln v

    at the shape k, which is not known before. s is a smooth function of k, and `TERMS` hold its
    values and derivatives at whole k. Readings of a Weibull distribution of shape k0 have an s like
    :math:`A^k \Gamma(1 + k/k_0)`, which is steep towards its pole at -k0. So not s but
    :math:`(k + k_0)^2 s(k)` is interpolated, k0 being the shape by moments, by the polynomial that
    has the same values and derivatives (Hermite interpolation in Newton's form; Davis,
    *Interpolation and Approximation*, 1963, chapters 2 and 3). For shapes from 1 to 6 the result is
    that of the readings themselves to 1e-6.
    """
    given = floats(sums)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        mean = {term: given[..., at] / given[..., 0] for at, term in enumerate(TERMS)}
        variation = np.sqrt(np.maximum(0.0, mean[2, 0] / mean[1, 0] ** 2 - 1))
        fittable = (given[..., 0] >= 2) & (variation > 1e-6)
        # Justus et al., J. Appl. Meteorol. 17 (1978) 350-353.
        start = np.where(fittable, np.clip(variation**-1.086, *SHAPE_RANGE), np.nan)
        # Relative to the root of the mean cube, most logarithms are near zero.
        centre = np.log(mean[3, 0]) / 3
        mean_log = mean[0, 1] - centre
        newton_form = _smoothed(mean, centre, start) @ _divided_differences()
        shape = start
        for _ in range(_NEWTON_STEPS):
            total, first, second = _evaluate(newton_form, shape)
            first, second = first / total, second / total
            slope = first - 2 / (shape + start)
            bend = second - first**2 + 2 / (shape + start) ** 2
            step = (slope - 1 / shape - mean_log) / (bend + 1 / shape**2)
            new = np.clip(shape - step, 0.5 * SHAPE_RANGE[0], 1.2 * SHAPE_RANGE[1])
            step, shape = new - shape, new
            if not np.any(np.abs(step) > _NEWTON_TOLERANCE * shape):
                break
        within = (shape >= SHAPE_RANGE[0]) & (shape <= SHAPE_RANGE[1])
        shape = np.where(within, shape, np.nan)
        power_mean = _evaluate(newton_form, shape)[0] / (shape + start) ** 2
        scale = _REFERENCE_MS * np.exp(centre) * power_mean ** (1 / shape)
    return shape, np.where(within, scale, np.nan)


def _smoothed(
    mean: dict[tuple[int, int], FloatArray], centre: FloatArray, start: FloatArray
) -> FloatArray:
    """Return the derivatives by k of (k + start)^2 s(k) of centred speeds, in the order of `TERMS`.

    From the means of the terms, with `centre` the logarithm of the speed that becomes 1, and
    `start` the shape by moments.
    """
    centred = {
        (exponent, order): np.exp(-exponent * centre)
        * sum(math.comb(order, b) * (-centre) ** (order - b) * mean[exponent, b]
              for b in range(order + 1))
        for exponent, order in TERMS
    }  # fmt: skip
    smoothed = []
    for exponent, order in TERMS:
        above = exponent + start
        smoothed.append(above**2 * centred[exponent, order])
        if order > 0:
            smoothed[-1] += 2 * order * above * centred[exponent, order - 1]
        if order > 1:
            smoothed[-1] += order * (order - 1) * centred[exponent, order - 2]
    return np.stack(smoothed, axis=-1)


def _evaluate(newton_form: FloatArray, at: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return polynomials in Newton's form with first and second derivative, each at one place."""
    total = first = second = np.zeros(at.shape)
    for term in range(len(TERMS) - 1, -1, -1):
        distance = at - TERMS[term][0]
        second = second * distance + 2 * first
        first = first * distance + total
        total = total * distance + newton_form[..., term]
    return total, first, second


@functools.cache
def _divided_differences() -> FloatArray:
    """Return the matrix that turns derivatives, in the order of `TERMS`, into Newton's form.

    It undoes the derivatives of the products that stand in Newton's form.
    """
    from scipy.linalg import solve_triangular  # noqa: PLC0415 - slow to load

    nodes = [exponent for exponent, _ in TERMS]
    products = np.zeros((len(nodes), len(nodes)))
    for count in range(len(nodes)):
        products[: count + 1, count] = polyfromroots(nodes[:count])
    derivatives = [polyval(node, polyder(products, order)) for node, order in TERMS]
    return floats(solve_triangular(derivatives, np.eye(len(TERMS)), lower=True)).T
