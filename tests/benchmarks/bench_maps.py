"""How quick maps are: fit and energy of many cells, how the cost grows, cores, memory.

All but the last two figures are in processor seconds on one core, so that what else the machine
does at the time does not count. Run it as
`OPENBLAS_NUM_THREADS=1 python tests/benchmarks/bench_maps.py [--json FILE]`. With `--gigabytes N`
the map that is larger than memory is made of N GB instead of 40.
"""

from __future__ import annotations

import argparse
import gc
import os
import re
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import dask
import numpy as np
from harness import Figure, best_of, report
from made_grid import HOURS, lazy_grid
from scipy.stats import weibull_min

from yieldest.cli.app import MOST_OBJECTS_UNSEEN
from yieldest.energy.closed_form import mean_power_w
from yieldest.maps.blocks import in_blocks, regions_of
from yieldest.maps.make_maps import maps_of, recipe_for
from yieldest.maps.workers import workers
from yieldest.maps.write_maps import write_maps
from yieldest.plan import load_plan
from yieldest.turbine.curve_ends import Ends
from yieldest.turbine.curve_file import read_power_curve
from yieldest.wind.power_sums import fit_power_sums, power_sums
from yieldest.wind.weibull import fit_maximum_likelihood

HILL = Path(__file__).parents[2] / "demo-sites" / "hill-yard"
CELLS = 1000
SCIPY_CELLS = 5
CURVE = read_power_curve(HILL / "curve-2.4m.csv", ends=Ends(cut_out_ms=20))


def processor_seconds(call: Callable[[], object], repeats: int) -> float:
    """Return the shortest processor time of several calls."""
    return best_of(call, repeats, time.process_time)


def speeds() -> np.ndarray:
    """Return a year of hourly speeds for a thousand cells, each with its own distribution."""
    rng = np.random.default_rng(4)
    shape, scale = 1.5 + rng.random((CELLS, 1)), 5 + 3 * rng.random((CELLS, 1))
    return scale * rng.weibull(1, (CELLS, HOURS)) ** (1 / shape)


def fit_and_energy(speed: np.ndarray) -> np.ndarray:
    """Do what a map does for each cell."""
    shape, scale = fit_power_sums(power_sums(speed))
    return mean_power_w(shape, scale, CURVE.speed_ms, CURVE.power_w)


def histograms(speed: np.ndarray) -> None:
    """Read and bin each cell with numpy's own function."""
    for row in speed:
        np.histogram(row, bins=256, range=(0, 51.2))


def bare_pass(speed: np.ndarray) -> None:
    """Read and bin a few cells at a time with the least that numpy needs for it."""
    together = 8
    first_bin = 256 * np.arange(together)[:, np.newaxis]
    for start in range(0, CELLS, together):
        index = (speed[start : start + together] * 5.0).astype(np.intp)
        np.minimum(index, 255, out=index)
        index += first_bin
        np.bincount(index.ravel(), minlength=256 * together)


def one_pass() -> list[Figure]:
    """Time fit and energy against binning and against scipy, with the layouts of files."""
    speed = speeds()
    time_first = np.ascontiguousarray(speed.T).T
    shape, scale = fit_power_sums(power_sums(speed))
    own_shape, own_scale = fit_maximum_likelihood(speed)
    curve = (CURVE.speed_ms, CURVE.power_w)
    energy_off = mean_power_w(shape, scale, *curve) / mean_power_w(own_shape, own_scale, *curve)
    note = (
        f"differs from the one-site fit by {np.abs(shape / own_shape - 1).max():.1e} in shape, "
        f"{np.abs(energy_off - 1).max():.1e} in energy"
    )
    seconds = processor_seconds(lambda: fit_and_energy(speed), 7)
    loop = processor_seconds(
        lambda: [weibull_min.fit(row, floc=0) for row in speed[:SCIPY_CELLS]], 2
    )
    return [
        Figure("fit + energy, 1,000 cells x 8,760 h", seconds, "np.histogram of each cell",
               processor_seconds(lambda: histograms(speed), 7), "ratio <= 4", note),
        Figure("the same", seconds, "bare floor + bincount pass",
               processor_seconds(lambda: bare_pass(speed), 7), "ratio <= 1.2"),
        Figure("the same, time first in memory",
               processor_seconds(lambda: fit_and_energy(time_first), 5),
               "np.histogram, time first", processor_seconds(lambda: histograms(time_first), 3),
               "ratio <= 4"),
        Figure("the same", seconds, "loop over weibull_min.fit", loop / SCIPY_CELLS * CELLS,
               "ratio <= 0.005", f"{SCIPY_CELLS} cells of the loop timed, times "
               f"{CELLS // SCIPY_CELLS}"),
    ]  # fmt: skip


def one_thread_seconds(cells: int) -> float:
    """Return the processor time of a whole map, with all its measures, of a lazy grid."""
    grid = lazy_grid(cells)
    recipe = recipe_for(grid, load_plan(HILL), None)
    start = time.process_time()
    with dask.config.set(scheduler="threads", num_workers=1):
        maps_of(grid, recipe).compute()
    return time.process_time() - start


def growth() -> list[Figure]:
    """Time maps of a hundred to a hundred thousand cells, per cell."""
    sizes = (100, 1_000, 10_000, 100_000)
    one_thread_seconds(100)
    taken = {
        cells: min(one_thread_seconds(cells) for _ in range(1 if cells > 10_000 else 3))
        for cells in sizes
    }
    return [
        Figure(
            f"a map of {cells:,} cells x 8,760 h, a cell",
            taken[cells] / cells,
            "the same of 10,000 cells",
            taken[10_000] / 10_000,
            "ratio about 1 from 10,000 cells on",
        )
        for cells in sizes
    ]


def cores() -> list[Figure]:
    """Time whole maps, with their writing and the start of the processes, on two cores and one."""
    figures = []
    for cells in (10_000, 40_000, 400_000):
        tries = range(1 if cells > 100_000 else 5)
        one, two = (min(by_itself(cells, cores).seconds for _ in tries) for cores in (1, 2))
        name = f"a map of {cells:,} cells written, two cores"
        figures.append(Figure(name, two, "one core", one, "ratio near 0.5"))
    return figures


@dataclass(frozen=True)
class Alone:
    """What a map took in a process of its own.

    Parameters
    ----------
    seconds, making_seconds : float
        To compute and write it, and to make its winds alone.
    peak_gb : float
        At most, all processes together.
    """

    seconds: float
    making_seconds: float
    peak_gb: float


def by_itself(cells: int, cores: int) -> Alone:
    """Make and write a map in a process of its own, and those that it starts."""
    ran = subprocess.run(
        [sys.executable, __file__, "--alone", str(cells), str(cores)],
        check=True,
        capture_output=True,
        text=True,
    )
    return Alone(*map(float, ran.stdout.split()))


def larger_than_memory(gigabytes: float) -> Figure:
    """Make and write a map of more data than there is memory."""
    cells = round(gigabytes * 1e9 / 4 / HOURS)
    took = by_itself(cells, os.cpu_count() or 1)
    return Figure(
        f"a map of {gigabytes:g} GB ({cells:,} cells)",
        took.seconds,
        "only making the same blocks",
        took.making_seconds,
        "peak memory < 2 GB",
        f"peak memory {took.peak_gb:.2f} GB, all processes together",
    )


def peak_memory_gb() -> float:
    """Return the most memory this process held; Linux alone tells it apart from its parent's."""
    status = Path("/proc/self/status")
    if status.exists():
        return int(re.search(r"VmHWM:\s+(\d+) kB", status.read_text())[1]) * 1024 / 1e9
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e9


def alone(cells: int, cores: int) -> None:
    """Print what a map took on so many cores, in a process as that of the command."""
    import zarr  # noqa: F401, PLC0415 - as with a grid in Zarr: to load libraries is not timed

    gc.set_threshold(MOST_OBJECTS_UNSEEN)
    dask.system.CPU_COUNT = cores
    grid = in_blocks(lazy_grid(cells), recipe_for(lazy_grid(cells), None, None))
    recipe = recipe_for(grid, load_plan(HILL), None)
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        with dask.config.set(num_workers=cores), workers(None, grid, recipe) as work:
            regions = regions_of(grid, recipe, work.blocks)
            store = Path(folder) / "m.zarr"
            write_maps(grid, recipe, regions, work.maps, store, lambda *_: None, "benchmark")
        seconds = time.perf_counter() - start
    largest_child_gb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024 / 1e9
    peak_gb = peak_memory_gb() + cores * largest_child_gb
    start = time.perf_counter()
    grid.data["wind"].max().compute()
    print(seconds, time.perf_counter() - start, peak_gb)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(add_help=False)
    parser.add_argument("--alone", type=int, nargs=2, metavar=("CELLS", "CORES"))
    parser.add_argument("--gigabytes", type=float, default=40)
    chosen, rest = parser.parse_known_args()
    if chosen.alone:
        alone(*chosen.alone)
    else:
        sys.argv[1:] = rest
        report([*one_pass(), *growth(), *cores(), larger_than_memory(chosen.gigabytes)])
