"""A grid in regions of whole blocks, which are worked on and written one at a time."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

from yieldest.maps.make_maps import Recipe, cell_dimensions
from yieldest.maps.variables import Grid

Region = dict[str, slice]


def regions_of(grid: Grid, recipe: Recipe, blocks: int) -> list[Region]:
    """Cut the cells of a grid in blocks into regions of whole blocks.

    Parameters
    ----------
    grid : Grid
        From `in_blocks`.
    recipe : Recipe
    blocks : int
        In a region, about.

    Returns
    -------
    list of dict of str to slice
        All of one size but for the last along each dimension, the last dimension running quickest.
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
