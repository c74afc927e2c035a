"""What the benchmarks share: timing, and one table of ratios that can be written as JSON."""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import NamedTuple


@dataclass(frozen=True)
class Figure:
    """One measured time beside the baseline it is to be judged by.

    Parameters
    ----------
    name, baseline : str
    seconds, baseline_seconds : float
    target : str
        In words.
    note : str
        What else was seen.
    """

    name: str
    seconds: float
    baseline: str
    baseline_seconds: float
    target: str
    note: str = ""

    @property
    def ratio(self) -> float:
        """Time over the time of the baseline."""
        return self.seconds / self.baseline_seconds


def best_of(
    call: Callable[[], object],
    repeats: int = 5,
    clock: Callable[[], float] = time.perf_counter,
) -> float:
    """Return the shortest time of several calls, in seconds.

    With `clock=time.process_time` what else the machine does at the time does not count.
    """
    times = []
    for _ in range(repeats):
        start = clock()
        call()
        times.append(clock() - start)
    return min(times)


COMMAND = "from yieldest.cli.app import main; main()"
BARE_IMPORT = "import numpy, pandas, scipy.special, typer, pydantic"


class Used(NamedTuple):
    """What a process used: time by the clock and of the processors in seconds, and memory."""

    clock_s: float
    processor_s: float
    peak_mb: float


def in_a_process(code: str, *arguments: str) -> Used:
    """Run Python code in a process of its own."""
    start = time.perf_counter()
    process = subprocess.Popen([sys.executable, "-c", code, *arguments], stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise RuntimeError(f"{code} {' '.join(arguments)} ended with {process.returncode}")
    clock_s = time.perf_counter() - start
    return Used(clock_s, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)


def process_seconds(code: str, *arguments: str, repeats: int = 5) -> float:
    """Return the shortest processor time of some such processes."""
    return min(in_a_process(code, *arguments).processor_s for _ in range(repeats))


def report(figures: Sequence[Figure]) -> None:
    """Print the table, and write it to the file that `--json FILE` names."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--json", type=Path, help="also write the figures to this file")
    target = parser.parse_args().json
    print(f"{'figure':38} {'time':>10}   {'baseline':34} {'time':>10} {'ratio':>9}   target")
    for f in figures:
        print(
            f"{f.name:38} {f.seconds:10.4g} s {f.baseline:34} {f.baseline_seconds:10.4g} s "
            f"{f.ratio:9.3g}   {f.target}{'; ' + f.note if f.note else ''}"
        )
    if target is not None:
        content = {
            "python": platform.python_version(),
            "figures": [{**asdict(figure), "ratio": figure.ratio} for figure in figures],
        }
        target.write_text(json.dumps(content, indent=2) + "\n", encoding="utf-8")
