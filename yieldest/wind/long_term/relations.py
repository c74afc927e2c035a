"""Straight-line relations between two wind records, in closed form from sums of powers.

Everything a relation needs is a handful of sums, one set for each day and group of readings. A
bootstrap or a cross-validation only weighs the days anew, so thousands of fits are one product of
matrices.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray

Form = Literal["ratio", "regression", "variance ratio"]

_REFERENCE_SUMS = (0, 1, 3, 6)
"""Where the count and the first three powers of the reference stand among the sums."""


def concurrent_sums(
    reference_ms: FloatArray,
    site_ms: FloatArray,
    site_square: FloatArray,
    site_cube: FloatArray,
    bins: npt.NDArray[np.int64],
    size: int,
) -> FloatArray:
    """Sum the powers of n concurrent speeds over bins from 0 to `size` - 1, shape (size, 11).

    With x and y the mean speeds of each step, the sums are of 1, x, y, x2, xy, y2, x3, x2y, xy2,
    y3, and at last of the square of the steps' own y. For y2, xy2 and y3 they take the mean square
    and cube of the site's readings within each step, which hold the gusts that its mean has lost.
    """
    x, y = reference_ms, site_ms
    columns = (
        np.ones_like(x), x, y, x * x, x * y, site_square,
        x**3, x * x * y, x * site_square, site_cube, y * y,
    )  # fmt: skip
    return np.stack([np.bincount(bins, column, size) for column in columns], axis=-1)


def reference_sums(reference_ms: FloatArray, bins: npt.NDArray[np.int64], size: int) -> FloatArray:
    """Sum 1, x, x2 and x3 of the reference over bins, shape (size, 4)."""
    return np.stack([np.bincount(bins, reference_ms**power, size) for power in range(4)], axis=-1)


def pick_reference(sums: FloatArray) -> FloatArray:
    """Return the reference's part of `concurrent_sums`: 1, x, x2, x3."""
    return sums[..., _REFERENCE_SUMS]


def coefficients(sums: FloatArray, form: Form, borrowed: float) -> tuple[FloatArray, FloatArray]:
    """Return intercept and slope of a relation for every group, each of shape (..., groups).

    From sums of shape (..., groups, 11). As many readings as `borrowed`, with the moments of all
    groups together, are lent to every group: a group with few readings leans on the others, and
    one with none equals them.
    """
    return _line(_lent(sums, borrowed), form)


def predict(
    sums: FloatArray, wanted: FloatArray, form: Form, borrowed: float
) -> tuple[FloatArray, FloatArray]:
    """Return the sums of site speed and of its cube over hours that only the reference saw.

    From the `concurrent_sums` of shape (..., groups, 11) and the `reference_sums` of the hours to
    fill, shape (..., groups, 4), both of shape (...); for `borrowed` see `coefficients`.

    With y = a + b x + e, the sum of y is a n + b sum(x). The cube of the regression keeps the
    residual scatter, E y3 = E p3 + 3 E p E e2 + E e3 with p = a + b x. The cube of every form is
    then scaled by what it lacks in the concurrent hours, so that there it is exact.
    """
    moments = _lent(sums, borrowed)
    a, b = _line(moments, form)
    _, x, y, xx, xy, yy, x3, xxy, xyy, y3, _ = np.moveaxis(moments, -1, 0)
    fitted_cube = a**3 + 3 * a**2 * b * x + 3 * a * b**2 * xx + b**3 * x3
    n, sx, sxx, sx3 = np.moveaxis(wanted, -1, 0)
    line_sum = a * n + b * sx
    cube_sum = a**3 * n + 3 * a**2 * b * sx + 3 * a * b**2 * sxx + b**3 * sx3
    if form == "regression":
        second = yy + a**2 + b**2 * xx - 2 * a * y - 2 * b * xy + 2 * a * b * x
        fitted_square_y = a**2 * y + 2 * a * b * xy + b**2 * xxy
        third = y3 - 3 * (a * yy + b * xyy) + 3 * fitted_square_y - fitted_cube
        fitted_cube = fitted_cube + 3 * (a + b * x) * second + third
        cube_sum = cube_sum + 3 * line_sum * second + n * third
    return line_sum.sum(axis=-1), (cube_sum * y3 / fitted_cube).sum(axis=-1)


def _lent(sums: FloatArray, borrowed: float) -> FloatArray:
    everything = sums.sum(axis=-2, keepdims=True)
    lent = sums + borrowed * everything / everything[..., :1]
    return np.asarray(lent / lent[..., :1])


def _line(moments: FloatArray, form: Form) -> tuple[FloatArray, FloatArray]:
    _, x, y, xx, xy, *_, of_means = np.moveaxis(moments, -1, 0)
    if form == "ratio":
        return np.zeros_like(x), y / x
    spread = xx - x * x
    # Means over equal times are compared: gusts within a step make the site look livelier.
    slope = (xy - x * y) / spread if form == "regression" else np.sqrt((of_means - y * y) / spread)
    return y - slope * x, slope
