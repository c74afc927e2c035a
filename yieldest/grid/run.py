"""Working through a grid region by region, on this machine or on a dask cluster."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace

import dask
import xarray as xr

from yieldest.errors import InputError
from yieldest.grid.maps import Recipe, maps_of
from yieldest.grid.variables import Grid

BLOCKS_PER_THREAD = 4
"""Blocks in a region for each thread at work: few enough to be written often, enough that a slow
one keeps nobody waiting for long."""
CONNECT_SECONDS = 10

Region = dict[str, slice]
Progress = Callable[[int, int], None]
"""Called with the cells done and the cells in all."""


@contextmanager
def workers(address: str | None) -> Iterator[int]:
    """Have dask work on this machine's cores, or on the cluster at an address; give its threads.

    Raises
    ------
    InputError
        When no scheduler answers at the address.
    """
    if address is None:
        with dask.config.set(scheduler="threads"):
            yield dask.system.CPU_COUNT
        return
    from distributed import Client  # noqa: PLC0415  (takes a second, and few need it)

    try:
        client = Client(address, timeout=CONNECT_SECONDS)
    except (OSError, ValueError, TypeError) as error:
        raise InputError(
            f"--scheduler {address}: no dask scheduler answers there ({error}); start one with "
            "'dask scheduler', and write the address it prints, such as tcp://HOST:8786."
        ) from error
    with client:
        threads = sum(client.nthreads().values())
        if threads == 0:
            raise InputError(
                f"--scheduler {address}: the scheduler has no workers; start some with "
                f"'dask worker {address}'."
            )
        yield threads


def regions_of(grid: Grid, dimensions: Sequence[str], threads: int) -> list[Region]:
    """Cut the cells of a grid in blocks into regions of whole blocks.

    Parameters
    ----------
    grid : Grid
        From `in_blocks`.
    dimensions : sequence of str
        Those of the cells.
    threads : int
        At work.

    Returns
    -------
    list of dict of str to slice
        All of one size but for the last along each dimension, the last dimension running quickest.
    """
    wanted = BLOCKS_PER_THREAD * threads
    steps: dict[str, int] = {}
    for name in reversed(dimensions):
        blocks = grid.data.chunksizes.get(name, (grid.data.sizes[name],))
        together = min(len(blocks), wanted)
        wanted = math.ceil(wanted / together)
        steps[name] = together * blocks[0]
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


def reckon(grid: Grid, recipe: Recipe, region: Region) -> xr.Dataset:
    """Return the maps of a region, computed.

    Raises
    ------
    InputError
        When the values of the grid cannot be read.
    """
    part = replace(grid, data=grid.data.isel(region))
    try:
        return maps_of(part, recipe).compute()
    except (OSError, RuntimeError) as error:
        raise InputError(
            f"{grid.name}: the values cannot be read ({' '.join(str(error).split())[:200]}); is "
            "the file whole?"
        ) from error
