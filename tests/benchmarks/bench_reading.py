"""How long records take to read, and how much memory; prints a table, `--json FILE` writes it.

Two questions: does a year of 10-minute readings cost less than 1 s over bare `pandas.read_csv`, and
is a year of readings every second (31.5 million lines, about 1 GB) read in less than 1.5 GB?
The large file is made in a temporary directory and removed.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from yieldest.record.read import read_record

SECONDS_PER_YEAR = 365 * 86400
MEMORY_LIMIT_MB = 1500
EXTRA_LIMIT_S = 1.0


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


def ten_minute_year(folder: Path) -> dict[str, float]:
    """Time `read_record` against bare `pandas.read_csv` on a year of 10-minute readings."""
    path = folder / "ten-minutes.csv"
    write_record(path, 52_560, 600)
    bare, ours = [], []
    read_record(path)  # imports and caches are warm for both
    for _ in range(7):
        began = time.perf_counter()
        pd.read_csv(path)
        bare.append(time.perf_counter() - began)
        began = time.perf_counter()
        read_record(path)
        ours.append(time.perf_counter() - began)
    path.unlink()
    return {
        "rows": 52_560,
        "pandas_s": statistics.median(bare),
        "read_record_s": statistics.median(ours),
        "extra_s": statistics.median(ours) - statistics.median(bare),
    }


def second_year(folder: Path, rows: int) -> dict[str, float]:
    """Read a year of 1-second readings in a fresh process and measure its highest memory."""
    path = folder / "seconds.csv"
    mean, cube = write_record(path, rows, 1)
    megabytes = path.stat().st_size / 1e6
    child = subprocess.run(
        [sys.executable, __file__, "--read", str(path)], capture_output=True, text=True, check=True
    )
    path.unlink()
    figures: dict[str, float] = json.loads(child.stdout)
    return {
        "rows": rows,
        "file_mb": megabytes,
        **figures,
        "mean_error": figures["mean_ms"] / mean - 1,
        "mean_cube_error": figures["mean_cube_ms3"] / cube - 1,
    }


def read_and_measure(path: Path) -> None:
    """Read one record and print time, highest memory and means as JSON."""
    began = time.perf_counter()
    record = read_record(path)
    took = time.perf_counter() - began
    cube = record.mean_cube_ms3
    print(
        json.dumps(
            {
                "read_s": took,
                "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
                "mean_ms": record.mean_speed_ms,
                "mean_cube_ms3": float((record.speed_ms**3).mean()) if cube is None else cube,
                "kept_rows": record.time.size,
            }
        )
    )


def main() -> None:
    """Run both benchmarks, print them, and fail when a limit is passed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path, help="Write the figures to this file.")
    parser.add_argument("--rows", type=int, default=SECONDS_PER_YEAR, help="Of the large file.")
    parser.add_argument("--read", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.read is not None:
        read_and_measure(options.read)
        return
    with tempfile.TemporaryDirectory() as scratch:
        figures = {
            "ten_minute_year": ten_minute_year(Path(scratch)),
            "second_year": second_year(Path(scratch), options.rows),
        }
    for name, numbers in figures.items():
        print(name.replace("_", " "))
        for key, value in numbers.items():
            print(f"  {key:<18} {value:>16,.6g}")
    if options.json is not None:
        options.json.write_text(json.dumps(figures, indent=2) + "\n", encoding="utf-8")
    assert figures["ten_minute_year"]["extra_s"] < EXTRA_LIMIT_S
    assert figures["second_year"]["peak_mb"] < MEMORY_LIMIT_MB


if __name__ == "__main__":
    main()
