"""How long records take to read and to study, and how much memory.

A year of 10-minute readings beside bare `pandas.read_csv`; then `yieldest wind --json`, a process
of its own, beside `pandas.read_csv` with dates: ten years of minutes (5.3 million lines, 0.15 GB),
and a quarter, half and a whole year of readings every second (31.5 million lines, 0.9 GB). The
files are made in a temporary directory and removed. Run it as
`python tests/benchmarks/bench_reading.py [--rows N] [--json FILE]`, with the rows of the longest.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from harness import COMMAND, Figure, best_of, in_a_process, report

from yieldest.wind.read_wind import read_wind

SECONDS_PER_YEAR = 365 * 86400
TEN_YEARS_OF_MINUTES = 5_300_000
MEMORY_LIMIT_MB = 700
BARE_READING = "import sys, pandas; pandas.read_csv(sys.argv[1], parse_dates=[0])"


def write_record(path: Path, rows: int, interval_s: int) -> None:
    """Write an invented record."""
    random = np.random.default_rng(7)
    with path.open("w", encoding="utf-8") as stream:
        stream.write("time,wind speed (m/s),direction (deg)\n")
        for start in range(0, rows, 86400):
            number = np.arange(start, min(start + 86400, rows))
            speed = np.round(6 * random.weibull(2.0, number.size), 2)
            stamps = np.datetime64("2025-01-01T00:00:00") + number * interval_s
            direction = random.integers(0, 360, number.size)
            lines = zip(stamps.astype(str), speed.tolist(), direction.tolist(), strict=True)
            stream.writelines(f"{stamp},{v},{angle}\n" for stamp, v, angle in lines)


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


def study(path: Path, rows: int, interval_s: int, target: str) -> list[Figure]:
    """Study a record, and read it with bare pandas, each in processes of its own.

    By the clock, for both work with two threads; the shorter time of two, in turn.
    """
    write_record(path, rows, interval_s)
    runs = [
        (in_a_process(COMMAND, "wind", "--json", str(path)), in_a_process(BARE_READING, str(path)))
        for _ in range(2)
    ]
    path.unlink()
    ours, bare = (min(each) for each in zip(*runs, strict=True))
    name = f"wind --json, {rows:,} readings {interval_s} s apart"
    baseline = f"pandas.read_csv(parse_dates=[0]), pandas {pd.__version__}"
    processor = f"{ours.processor_s:.1f} and {bare.processor_s:.1f} s of the processors"
    memory = f"{ours.peak_mb:.0f} MB at most, pandas {bare.peak_mb:.0f} MB"
    return [
        Figure(name, ours.clock_s, baseline, bare.clock_s, "ratio <= 2.0", processor),
        Figure(f"{name}: memory", ours.peak_mb, baseline, bare.peak_mb, target, memory),
    ]


if __name__ == "__main__":
    parser = argparse.ArgumentParser(add_help=False)
    parser.add_argument("--rows", type=int, default=SECONDS_PER_YEAR)
    chosen, rest = parser.parse_known_args()
    sys.argv[1:] = rest
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        figures = [
            ten_minute_year(folder),
            *study(folder / "minutes.csv", TEN_YEARS_OF_MINUTES, 60, "ratio <= 1.0"),
        ]
        for part in (4, 2, 1):
            figures += study(
                folder / "seconds.csv", chosen.rows // part, 1, f"at most {MEMORY_LIMIT_MB} MB"
            )
        report(figures)
