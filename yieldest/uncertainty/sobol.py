"""Scrambled Sobol points, the same as `scipy.stats.qmc.Sobol` has, without its slow import."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import numpy as np

from yieldest.arrays import FloatArray, IntArray, floats

BITS = 30
"""Binary digits of a point."""
_AT_ONCE = 128
"""Dimensions whose directions are made together: builds that differ a little ask for as many."""


def scrambled_sobol(dimensions: int, power: int, rng: np.random.Generator) -> FloatArray:
    """Return 2^power points of a Sobol sequence, one after another along the last axis.

    Parameters
    ----------
    dimensions : int
        At most 21,201.
    power : int
    rng : numpy.random.Generator
        For the scramble: a random linear matrix and a digital shift (Matousek 1998).

    Returns
    -------
    ndarray, shape (dimensions, 2^power)
        From 0 up to but not 1.

    Notes
    -----
    The directions are those of Joe & Kuo, *SIAM J. Sci. Comput.* 30 (2008) 2635-2654. In the order
    of the Gray code the second half of the points is the first half backwards with one more
    direction, so they are made by doubling.
    """
    try:
        directions = _directions(-(-dimensions // _AT_ONCE) * _AT_ONCE)[:dimensions]
    except FileNotFoundError:  # a scipy that keeps its table elsewhere
        from scipy.stats import qmc  # noqa: PLC0415 - slow to load

        return floats(qmc.Sobol(dimensions, rng=rng).random_base2(power).T)
    rng = rng.spawn(1)[0]
    weight = 1 << np.arange(BITS)
    shift = rng.integers(0, 2, (dimensions, BITS), dtype=np.uint32) @ weight
    lower = np.tril(rng.integers(0, 2, (dimensions, BITS, BITS), dtype=np.uint32), -1)
    lower |= np.eye(BITS, dtype=np.uint32)
    digits = directions[:, np.newaxis] >> np.arange(BITS)[::-1, np.newaxis] & 1
    # At most 30 ones add up in a digit, so single precision, which is quick, is exact.
    mixed = lower.astype(np.float32) @ digits.astype(np.float32)
    direction = ((mixed.astype(np.int64) & 1) * weight[::-1, np.newaxis]).sum(axis=1)
    points = np.empty((dimensions, 2**power), dtype=np.uint32)
    points[:, 0] = shift
    for digit in range(power):
        half = 2**digit
        once_more = direction[:, digit, np.newaxis].astype(np.uint32)
        np.bitwise_xor(points[:, half - 1 :: -1][:, :half], once_more, points[:, half : 2 * half])
    return points * 2.0**-BITS


@lru_cache(maxsize=1)
def _directions(dimensions: int) -> IntArray:
    """Return the directions before scrambling, shape (dimensions or all there are, BITS)."""
    # The table that scipy carries; importing scipy.stats for it takes a third of a second.
    with (files("scipy") / "stats" / "_sobol_direction_numbers.npz").open("rb") as stream:
        table = np.load(stream)
        first, polynomial = table["vinit"][:dimensions], table["poly"][:dimensions]
    direction = np.ones((len(polynomial), BITS), dtype=np.int64)
    # Those of the first dimension are all 1; those of the others follow from their polynomial.
    others, polynomial = direction[1:], polynomial[1:, np.newaxis]
    others[:, : first.shape[1]] = first[1:]
    degree = np.frexp(polynomial)[1] - 1
    back = np.arange(1, degree.max() + 1)
    taken = polynomial >> np.maximum(degree - back, 0) & (back <= degree)
    for digit in range(1, BITS):
        near = back[:digit]
        terms = taken[:, :digit] * others[:, digit - near] << near
        following = np.bitwise_xor.reduce(terms, axis=1)
        following ^= np.take_along_axis(others, digit - degree, axis=1)[:, 0]
        others[:, digit] = np.where(digit < degree[:, 0], others[:, digit], following)
    return direction << np.arange(BITS)[::-1]
