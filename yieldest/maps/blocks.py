"""In what blocks a grid is read, and in what regions of whole blocks it is worked on and written.

Each stored piece is read once, and memory is bounded.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import replace

from yieldest.maps.grid import Grid, dimension_of
from yieldest.maps.make_maps import Recipe, cell_dimensions

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

Region = dict[str, slice]


def in_blocks(grid: Grid, recipe: Recipe) -> Grid:
    """Cut a grid into the blocks it is to be worked on in."""
    wind = grid.data[recipe.kind.variables[0]]
    time = dimension_of(wind, "time")
    stored: dict[str, int] = {
        str(name): size if isinstance(size, int) else max(size)
        for name, size in (wind.encoding.get("preferred_chunks") or wind.chunksizes).items()
    }
    read = [*([time] if time else []), *cell_dimensions(grid, recipe)]
    sizes = {name: wind.sizes[name] for name in read}
    blocks = block_sizes(sizes, stored, time, wind.dtype.itemsize)
    return replace(grid, data=grid.data.chunk(blocks))


def block_sizes(
    sizes: Mapping[str, int], stored: Mapping[str, int], summed: str | None, value_bytes: int
) -> dict[str, int]:
    """Choose block sizes for the dimensions that are read, in the order of storage.

    `stored` has the sizes of the pieces in which the file is stored; none when it is one piece.
    Only `summed` (time) may be cut within a stored piece, for sums add up; across cells a piece
    would be read again for every part.
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


def regions_of(grid: Grid, recipe: Recipe, blocks: int) -> list[Region]:
    """Cut the cells of a grid in blocks into regions of about so many whole blocks.

    All are of one size but for the last along each dimension, the last dimension running quickest.
    """
    dimensions = cell_dimensions(grid, recipe)
    wanted = blocks
    steps: dict[str, int] = {}
    for name in reversed(dimensions):
        along = grid.data.chunksizes[name]
        together = min(len(along), wanted)
        wanted = math.ceil(wanted / together)
        steps[name] = together * along[0]
    spans = [
        [
            slice(start, min(grid.data.sizes[name], start + steps[name]))
            for start in range(0, grid.data.sizes[name], steps[name])
        ]
        for name in dimensions
    ]
    return [dict(zip(dimensions, corner, strict=True)) for corner in itertools.product(*spans)]


def cells_in(region: Region) -> int:
    """Return the number of cells of a region."""
    return math.prod(span.stop - span.start for span in region.values())


def part_of(grid: Grid, region: Region) -> Grid:
    """Return the grid of a region alone."""
    return replace(grid, data=grid.data.isel(region))


def blocks_in(grid: Grid, recipe: Recipe) -> int:
    """Return the number of blocks that the cells of a grid are in."""
    return math.prod(len(grid.data.chunksizes[name]) for name in cell_dimensions(grid, recipe))
