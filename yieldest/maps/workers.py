"""Who computes the maps of a grid: threads or processes of this machine, or a dask cluster."""

from __future__ import annotations

import itertools
import math
import multiprocessing
import os
import pickle
import signal
import sys
import threading
import warnings
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import partial
from multiprocessing.connection import wait

import dask
import xarray as xr

from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.maps.blocks import Region, blocks_in, part_of
from yieldest.maps.grid import Grid, unreadable
from yieldest.maps.make_maps import Recipe, cell_dimensions, computed_values, maps_of

BLOCKS_PER_REGION = 16
"""Few enough to be written often, enough that what a region takes besides its blocks is little."""
BLOCKS_PER_THREAD = 4
"""At least, where threads share a region: a slow one keeps nobody waiting for long."""
CONNECT_SECONDS = 10
FORKED = sys.platform == "linux"
"""Whether a process begins as a copy of this one, in no time, or anew, and has all to load."""
PROCESSES_FROM = 40_000_000 if FORKED else 500_000_000
"""Readings from which a process for each core is worth what it takes to start."""
MOST_PROCESSES = 61
"""Windows cannot wait for more of them at once."""
READINGS_WORTH_A_CELL = 200
"""What processes save on the rest of a cell, as a number of readings on which they save as much."""

Progress = Callable[[int, int], None]
"""Called with the cells done and the cells in all."""
Maps = Callable[[Iterable[Region]], Iterator[xr.Dataset]]
"""From some regions to their maps, computed, one after the other; only their values are used."""
Made = Callable[[Grid, Recipe], xr.Dataset]
"""From a grid to its maps, computed; only their values are used."""


@frozen_dataclass
class Workers:
    """Who computes the maps of a grid, and about how many blocks a region is to have.

    `maps` raises `InputError` when the values of the grid cannot be read, or a process at work was
    ended.
    """

    blocks: int
    maps: Maps


@contextmanager
def workers(address: str | None, grid: Grid, recipe: Recipe) -> Iterator[Workers]:
    """Set to work this machine's cores, or the cluster at the address of a dask scheduler.

    Threads of one process wait for each other between the short steps of adding up readings, and
    NetCDF is unpacked by one of them at a time; so a grid that takes long gets a process for each
    core. A script that calls this needs `if __name__ == "__main__":`, for each process reads it.
    """

    def in_turn(regions: Iterable[Region], made: Made = computed_values) -> Iterator[xr.Dataset]:
        return (compute(part_of(grid, region), recipe, made) for region in regions)

    cores = min(dask.system.CPU_COUNT, MOST_PROCESSES)
    if address is not None:
        with _cluster(address) as threads:
            blocks = max(BLOCKS_PER_REGION, BLOCKS_PER_THREAD * threads)
            yield Workers(blocks, partial(in_turn, made=_all_by_dask))
    elif (
        cores == 1
        or blocks_in(grid, recipe) < 2 * cores
        or _readings_worth(grid, recipe) < PROCESSES_FROM
    ):
        with dask.config.set(scheduler="threads"):
            yield Workers(max(BLOCKS_PER_REGION, BLOCKS_PER_THREAD * cores), in_turn)
    else:
        # As many regions as processes, or a multiple, so that all have work until the end.
        blocks = blocks_in(grid, recipe)
        rounds = math.ceil(blocks / (BLOCKS_PER_REGION * cores))
        with _processes(cores, grid, recipe) as pool:
            every = partial(_by_processes, pool, 2 * cores)
            yield Workers(math.ceil(blocks / (rounds * cores)), every)


def _readings_worth(grid: Grid, recipe: Recipe) -> int:
    """Return how much there is in a grid for processes to save, as a number of readings."""
    values = sum(grid.data[name].size for name in recipe.kind.variables)
    cells = math.prod(grid.data.sizes[name] for name in cell_dimensions(grid, recipe))
    return values + READINGS_WORTH_A_CELL * cells


@contextmanager
def _processes(count: int, grid: Grid, recipe: Recipe) -> Iterator[ProcessPoolExecutor]:
    """Start processes that are ready to work on parts of a grid."""
    # Python would remark on the locks of processes that are ended; the system frees them.
    os.environ.setdefault("PYTHONWARNINGS", "ignore::UserWarning:multiprocessing.resource_tracker")
    # A copy that is made while a thread is at work may hang, and at this moment none is.
    context = multiprocessing.get_context("fork" if FORKED else "spawn")
    # As bytes, so that a copy of this process opens the files anew and shares no handle.
    work = pickle.dumps((grid, recipe))
    pool = ProcessPoolExecutor(count, context, initializer=_prepare, initargs=(work,))
    try:
        # They start while the maps are laid out.
        for _ in range(count):
            pool.submit(os.getpid)
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


_at_work: list[tuple[Grid, Recipe]] = []
"""The grid of which this process works on parts, and their recipe: it is given them once."""


def _prepare(work: bytes) -> None:
    """Get a process ready to work on parts of a grid."""
    _at_work.append(pickle.loads(work))
    dask.config.set(scheduler="synchronous")
    warnings.simplefilter("ignore")
    # A run that is stopped at the keyboard stops at once; the process that gave the work says so.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """End this process when the one that gave it work is gone: it would wait for more for ever."""
    parent = multiprocessing.parent_process()
    assert parent is not None
    wait([parent.sentinel])
    os._exit(1)


def _part(region: Region) -> xr.Dataset:
    """Return the maps of a region of the grid that this process was given."""
    grid, recipe = _at_work[-1]
    return compute(part_of(grid, region), recipe)


def _by_processes(
    pool: ProcessPoolExecutor, ahead: int, regions: Iterable[Region]
) -> Iterator[xr.Dataset]:
    """Give out regions, only so many ahead of what is taken, so that memory is bounded.

    The first are given out at once, not when the first is asked for.
    """
    given: deque[Future[xr.Dataset]] = deque()
    left = iter(regions)

    def give_more() -> None:
        given.extend(
            pool.submit(_part, region) for region in itertools.islice(left, ahead - len(given))
        )

    def taken() -> Iterator[xr.Dataset]:
        try:
            while given:
                yield given.popleft().result()
                give_more()
        except BrokenProcessPool as error:
            raise InputError(
                "a process that worked on the map was ended from outside, most likely because "
                "memory ran out; close other programs and give the same command again."
            ) from error

    give_more()
    return taken()


@contextmanager
def _cluster(address: str) -> Iterator[int]:
    """Have dask work on the cluster at an address; give its threads."""
    from distributed import Client  # noqa: PLC0415  (takes a second, and few need it)

    try:
        client = Client(address, timeout=CONNECT_SECONDS)
    except (OSError, ValueError, TypeError) as error:
        raise InputError(
            f"--scheduler {address}: no dask scheduler answers there; start one with "
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


def _all_by_dask(grid: Grid, recipe: Recipe) -> xr.Dataset:
    """Return the maps of a grid, computed where dask's workers are, to the last step."""
    return maps_of(grid, recipe).compute()


def compute(grid: Grid, recipe: Recipe, made: Made = computed_values) -> xr.Dataset:
    """Return the maps of a grid, computed."""
    try:
        return made(grid, recipe)
    except (OSError, RuntimeError) as error:
        raise unreadable(grid.name) from error
