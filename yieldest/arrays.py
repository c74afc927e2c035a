"""The one kind of array that the formulas take and give, and the number that leaves them."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def floats(values: npt.ArrayLike) -> FloatArray:
    """Return `values` as a float64 array, without copying one that is."""
    return np.asarray(values, dtype=np.float64)


def plainly(value: float | np.float64, digits: int = 3) -> str:
    """Write a number with so many significant digits, thousands set apart, never as 1e+03."""
    return f"{float(f'{value:.{digits}g}'):,.12g}"


def number_or_none(value: float | FloatArray) -> float | None:
    """Return a single value as a number, None for NaN and infinity: what cannot be had."""
    return float(value) if np.isfinite(value) else None
