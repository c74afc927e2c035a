"""The kinds of array that the formulas take and give, and the numbers that leave them."""

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]
TimeArray = npt.NDArray[np.datetime64]
PlaceArray = npt.NDArray[np.integer[Any]]
NOT_KNOWN = "-"
_PIECE = 1 << 14


def floats(values: npt.ArrayLike) -> FloatArray:
    """Return `values` as a float64 array, without copying one that is."""
    return np.asarray(values, dtype=np.float64)


def some(wanted: BoolArray) -> BoolArray | slice:
    """Return what picks the wanted places of an array, without copying it where all are."""
    return slice(None) if wanted.all() else wanted


def pieces(count: int) -> Iterator[slice]:
    """Return what cuts so many values into pieces, each so short that it stays in the cache."""
    return (slice(start, start + _PIECE) for start in range(0, count, _PIECE))


def places(count: int, holds: Callable[[slice], BoolArray]) -> IntArray:
    """Return at which of so many places something holds, which is told piece by piece."""
    found = [part.start + np.flatnonzero(holds(part)) for part in pieces(count)]
    return np.concatenate([np.zeros(0, dtype=np.int64), *found])


def crossing(
    function: Callable[[FloatArray], FloatArray], low: npt.ArrayLike, high: npt.ArrayLike
) -> FloatArray:
    """Return where a function, of different sign at two values, crosses zero between, shape (...).

    The function takes and gives shape (..., n).
    """
    low, high = floats(low), floats(high)
    positive_above = function(high[..., np.newaxis]) > 0
    for _ in range(9):  # nine times six binary digits: as exact as numbers are
        points = np.linspace(low, high, 65, axis=-1)
        above = (function(points[..., 1:-1]) > 0) == positive_above
        above = np.concatenate((above, np.ones_like(positive_above)), axis=-1)
        first = np.argmax(above, axis=-1)[..., np.newaxis]
        low, high = (np.take_along_axis(points, first + i, axis=-1)[..., 0] for i in (0, 1))
    return high


def plainly(value: float | np.float64, digits: int = 3) -> str:
    """Write a number with so many significant digits, thousands set apart, never as 1e+03."""
    return f"{float(f'{value:.{digits}g}'):,.12g}"


def of_each(values: Mapping[str, npt.ArrayLike], count: int) -> list[dict[str, Any]]:
    """Return so many rows of named values, of shape () or (count,); None as `number_or_none`."""
    columns = [numbers_or_none(value, count) for value in values.values()]
    rows = zip(*columns, strict=True) if columns else [()] * count
    return [dict(zip(values, row, strict=True)) for row in rows]


def numbers_or_none(values: npt.ArrayLike, count: int) -> list[float | None]:
    """Return so many numbers, of shape () or (count,); None as `number_or_none`."""
    each = np.broadcast_to(floats(values), (count,))
    known = zip(each.tolist(), np.isfinite(each), strict=True)
    return [value if finite else None for value, finite in known]


def number_or_none(value: float | FloatArray) -> float | None:
    """Return a single value as a number, None for NaN and infinity: what cannot be had."""
    return float(value) if np.isfinite(value) else None


def rounded(value: float | None, digits: int = 2) -> str:
    """Write a number with so many significant digits, thousands set apart; "-" for None."""
    if value is None:
        return NOT_KNOWN
    if value == 0:
        return "0"
    # Of 0.0998 two digits are 0.10, and not 0.100.
    places = digits - 1 - math.floor(math.log10(abs(float(f"{value:.{digits}g}"))))
    return f"{round(value, places):,.{max(0, places)}f}"


def whole(value: float | None, digits: int) -> str:
    """Write a number as `rounded` does, but without decimals from 1 on, with two digits below."""
    if value is None or abs(value) < 1:
        return rounded(value, min(digits, 2))
    return rounded(value, min(digits, 1 + math.floor(math.log10(abs(value)))))


def in_one_step(values: FloatArray) -> Callable[[float | None], str]:
    """Return what writes all values of a table in one step: three digits of the largest."""
    known = np.abs(values[np.isfinite(values)])
    largest = float(known.max(initial=0.0)) or 1.0
    places = 2 - math.floor(math.log10(float(f"{largest:.3g}")))

    def write(value: float | None) -> str:
        if value is None:
            return NOT_KNOWN
        return f"{round(value, places):,.{max(0, places)}f}"

    return write


def percent(share: float | None, digits: int = 2) -> str:
    """Write a share as a percentage; "-" for None."""
    return NOT_KNOWN if share is None else f"{rounded(100 * share, digits)} %"


def signed_percent(share: float | None) -> str:
    """Write a deviation as a percentage with its sign; "-" for None."""
    return NOT_KNOWN if share is None else f"{100 * share:+.1f} %"
