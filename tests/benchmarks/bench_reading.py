"""How long records take to read, and how much memory.

Two questions: does a year of 10-minute readings cost less than 1 s over bare `pandas.read_csv`, and
is a year of readings every second (31.5 million lines, about 1 GB) read in less than 1.5 GB?
The large file is made in a temporary directory and removed. Run it as
`python tests/benchmarks/bench_reading.py [--rows N] [--json FILE]`.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
from harness import Figure, best_of, report

from yieldest.wind.read_wind import read_wind

SECONDS_PER_YEAR = 365 * 86400
MEMORY_LIMIT_MB = 1500


def write_record(path: Path, rows: int, interval_s: int) -> tuple[float, float]:
    """Write an invented record; return the mean and the mean cube of its speeds in m/s."""
    random = np.random.default_rng(7)
    total = cubes = 0.0
    with path.open("w", encoding="utf-8") as stream:
        stream.write("time,wind speed (m/s),direction (deg)\n")
        for start in range(0, rows, 86400):
            number = np.arange(start, min(start + 86400, rows))
            speed = np.round(6 * random.weibull(2.0, number.size), 2)
            total += speed.sum()
            cubes += (speed**3).sum()
            stamps = np.datetime64("2025-01-01T00:00:00") + number * interval_s
            direction = random.integers(0, 360, number.size)
            lines = zip(stamps.astype(str), speed.tolist(), direction.tolist(), strict=True)
            stream.writelines(f"{stamp},{v},{angle}\n" for stamp, v, angle in lines)
    return total / rows, cubes / rows


def ten_minute_year(folder: Path) -> Figure:
    """Time `read_wind` against bare `pandas.read_csv` on a year of 10-minute readings."""
    path = folder / "ten-minutes.csv"
    write_record(path, 52_560, 600)
    read_wind(path)  # imports and caches are warm for both
    bare, ours = best_of(lambda: pd.read_csv(path), 7), best_of(lambda: read_wind(path), 7)
    path.unlink()
    return Figure(
        "a year of 10-minute readings", ours, "bare pandas.read_csv", bare, "less than 1 s above",
        f"{ours - bare:.2f} s above",
    )  # fmt: skip


def second_year(folder: Path, rows: int) -> Figure:
    """Read a year of 1-second readings in a fresh process and measure its highest memory."""
    path = folder / "seconds.csv"
    mean, cube = write_record(path, rows, 1)
    child = subprocess.run(
        [sys.executable, __file__, "--read", str(path)], capture_output=True, text=True, check=True
    )
    pass_s = best_of(path.read_bytes, 2)
    path.unlink()
    found: dict[str, float] = json.loads(child.stdout)
    return Figure(
        f"{rows:,} readings a second apart", found["read_s"], "reading the bytes", pass_s,
        f"peak memory < {MEMORY_LIMIT_MB} MB",
        f"peak memory {found['peak_mb']:.0f} MB; mean off by {found['mean_ms'] / mean - 1:.0e}, "
        f"mean cube by {found['mean_cube_m3_s3'] / cube - 1:.0e}",
    )  # fmt: skip


def read_and_measure(path: Path) -> None:
    """Read one record and print time, highest memory and means as JSON."""
    began = time.perf_counter()
    record = read_wind(path)
    took = time.perf_counter() - began
    cube = record.mean_cube_m3_s3
    print(
        json.dumps(
            {
                "read_s": took,
                "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
                "mean_ms": record.mean_speed_ms,
                "mean_cube_m3_s3": float((record.speed_ms**3).mean()) if cube is None else cube,
                "kept_rows": record.time.size,
            }
        )
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(add_help=False)
    parser.add_argument("--read", type=Path)
    parser.add_argument("--rows", type=int, default=SECONDS_PER_YEAR)
    chosen, rest = parser.parse_known_args()
    if chosen.read is not None:
        read_and_measure(chosen.read)
    else:
        sys.argv[1:] = rest
        with tempfile.TemporaryDirectory() as scratch:
            folder = Path(scratch)
            report([ten_minute_year(folder), second_year(folder, chosen.rows)])
