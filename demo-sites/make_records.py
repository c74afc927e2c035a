"""Make the invented wind records of the demo sites, the same bytes every time.

Run it as `python demo-sites/make_records.py`. No place on Earth was measured for them.
"""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter
from scipy.stats import norm

HERE = Path(__file__).parent
READINGS_PER_DAY = 144
DAYS = 365

FloatArray = npt.NDArray[np.float64]


def slow_noise(random: np.random.Generator, memory_hours: float) -> FloatArray:
    """Make a year of normal noise whose correlation fades over so many hours."""
    keep = np.exp(-1 / (6 * memory_hours))
    white = random.standard_normal(DAYS * READINGS_PER_DAY) * np.sqrt(1 - keep**2)
    return np.asarray(lfilter([1.0], [1.0, -keep], white))


def wind(
    random: np.random.Generator,
    shape: float,
    scale_ms: float,
    season_swing: float,
    day_swing: float,
) -> FloatArray:
    """Make a year of 10-minute speeds: weather, gusty hours, windy winters, windy afternoons."""
    weather = slow_noise(random, 30.0) * np.sqrt(0.8) + slow_noise(random, 1.0) * np.sqrt(0.2)
    speed = scale_ms * (-np.log(norm.sf(weather))) ** (1 / shape)
    step = np.arange(speed.size)
    season = 1 + season_swing * np.cos(2 * np.pi * (step / READINGS_PER_DAY - 20) / DAYS)
    day = 1 + day_swing * np.cos(2 * np.pi * (step / READINGS_PER_DAY - 14 / 24))
    return np.asarray(speed * season * day)


def temperature(random: np.random.Generator, mean_c: float) -> FloatArray:
    """Make a year of temperatures with season, day and weather."""
    day_of_year = np.arange(DAYS * READINGS_PER_DAY) / READINGS_PER_DAY
    season = -8.5 * np.cos(2 * np.pi * (day_of_year - 20) / DAYS)
    day = 3.0 * np.cos(2 * np.pi * (day_of_year - 15 / 24))
    return np.asarray(mean_c + season + day + 2.5 * slow_noise(random, 60.0))


def write(path: Path, heading: str, columns: list[list[str]], gaps: list[tuple[int, int]]) -> None:
    """Write the columns as gzip CSV, leaving out the readings of the gaps."""
    times = np.datetime64("2025-01-01T00:00") + 10 * np.arange(DAYS * READINGS_PER_DAY)
    stamps = [str(time).replace("T", " ") for time in times]
    lost = np.zeros(times.size, dtype=bool)
    for first, length in gaps:
        lost[first : first + length] = True
    lines = ["# Invented data for a demo; made by make_records.py, measured nowhere.", heading]
    lines += [
        ",".join(cells)
        for cells, gone in zip(zip(stamps, *columns, strict=True), lost, strict=True)
        if not gone
    ]
    # No time stamp in the gzip head, so that the same run gives the same bytes.
    packed = gzip.compress(("\n".join(lines) + "\n").encode(), compresslevel=9, mtime=0)
    path.write_bytes(packed)


def hill_yard() -> None:
    """Make the record of a 10 m pole on an open hill: m/s, direction, temperature, gaps."""
    random = np.random.default_rng(20250101)
    speed = wind(random, shape=2.0, scale_ms=6.1, season_swing=0.17, day_swing=0.07)
    speed[speed < 0.5] = 0.0  # the cups do not start below half a metre per second
    direction = (235 + 65 * slow_noise(random, 40.0) + 8 * slow_noise(random, 0.2)) % 360
    write(
        HERE / "hill-yard" / "wind.csv.gz",
        "time,wind speed (m/s),wind direction (deg),temperature (C)",
        [
            [f"{value:.1f}" for value in speed],
            [f"{value:.0f}" for value in direction],
            [f"{value:.1f}" for value in temperature(random, 9.0)],
        ],
        gaps=[(6100, 1510), (30211, 402), (47020, 88)],
    )


def town_roof() -> None:
    """Make the record of a hand-built logger on a roof: km/h, calm nights, flat batteries."""
    random = np.random.default_rng(20250202)
    speed = wind(random, shape=1.7, scale_ms=3.3, season_swing=0.15, day_swing=0.18)
    speed[speed < 0.6] = 0.0
    write(
        HERE / "town-roof" / "wind.csv.gz",
        "timestamp,speed_kmh",
        [[f"{value * 3.6:.1f}" for value in speed]],
        gaps=[(13800, 1012), (22090, 37), (40500, 260)],
    )


if __name__ == "__main__":
    hill_yard()
    town_roof()
