"""In what blocks a grid is read: each stored piece once, and memory bounded."""

from __future__ import annotations

import math
from collections.abc import Mapping

BLOCK_BYTES = 64 * 2**20
"""Of one variable in one block: a core works on it for about a second."""
BLOCK_CELLS = 2**16
"""No more cells than this in a block, where each has little data."""
LEAST_BLOCKS = 16
"""A small grid is cut too, so that several cores have work ..."""
LEAST_VALUES = 2**19
"""... but not into blocks so small that handing them out takes longer than working on them."""
SHORTEST_PIECE = 1024
"""Readings that are at least taken at once where the file leaves it free: below it the time goes
into adding up sums."""


def block_sizes(
    sizes: Mapping[str, int],
    stored: Mapping[str, int],
    summed: str | None,
    value_bytes: int,
) -> dict[str, int]:
    """Choose block sizes.

    Parameters
    ----------
    sizes : mapping of str to int
        Dimensions of the variable that is read, in the order of storage.
    stored : mapping of str to int
        Sizes of the pieces in which the file is stored; empty when it is one piece.
    summed : str or None
        The dimension that is summed over (time), which may be cut, for sums add up.
    value_bytes : int

    Returns
    -------
    dict of str to int
        Whole stored pieces wherever they are small enough; a stored piece is never cut across
        cells, for it would be read again for every part.
    """
    cells = {name: size for name, size in sizes.items() if name != summed}
    if summed is None:
        return _grown(cells, {**dict.fromkeys(cells, 1), **_of(stored, cells)}, BLOCK_CELLS)
    readings = sizes[summed]
    every = math.prod(sizes.values())
    at_once = min(BLOCK_BYTES // value_bytes, max(LEAST_VALUES, every // LEAST_BLOCKS))
    if stored:
        least = min(readings, stored.get(summed, readings))
        most = min(BLOCK_CELLS, at_once // readings)
        block = _grown(cells, {**cells, **_of(stored, cells)}, most)
    else:
        least = 1
        piece = min(readings, SHORTEST_PIECE)
        block = _grown(cells, dict.fromkeys(cells, 1), min(BLOCK_CELLS, at_once // piece))
    length = at_once // math.prod(block.values()) // least * least
    return {summed: min(readings, max(least, length)), **block}


def _of(stored: Mapping[str, int], cells: Mapping[str, int]) -> dict[str, int]:
    return {name: min(stored[name], size) for name, size in cells.items() if name in stored}


def _grown(cells: Mapping[str, int], piece: Mapping[str, int], most: int) -> dict[str, int]:
    """Join whole pieces, along the last dimension first, up to so many cells."""
    block = dict(piece)
    for name in reversed(list(cells)):
        times = most // math.prod(block.values())
        if times > 1:
            block[name] = min(cells[name], times * block[name])
    return block
