"""Make the invented wind records of the demo sites, the same bytes every time.

Run it as `python demo-sites/make_records.py`. No place on Earth was measured for them.
"""

from __future__ import annotations

import gzip
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter
from scipy.stats import norm, weibull_min

HERE = Path(__file__).parent
READINGS_PER_DAY = 144
DAYS = 365

FloatArray = npt.NDArray[np.float64]
REMARK = "# Invented data for a demo; made by make_records.py, measured nowhere."


def slow_noise(
    random: np.random.Generator,
    memory_hours: float,
    count: int = DAYS * READINGS_PER_DAY,
    per_hour: int = 6,
) -> FloatArray:
    """Make normal noise whose correlation fades over so many hours; a year of it by default."""
    keep = np.exp(-1 / (per_hour * memory_hours))
    white = random.standard_normal(count) * np.sqrt(1 - keep**2)
    return np.asarray(lfilter([1.0], [1.0, -keep], white))


def of_weather(weather: FloatArray, shape: float, scale_ms: float) -> FloatArray:
    """Turn normal weather into speeds of a Weibull distribution."""
    return np.asarray(scale_ms * (-np.log(norm.sf(weather))) ** (1 / shape))


def wind(
    random: np.random.Generator,
    shape: float,
    scale_ms: float,
    season_swing: float,
    day_swing: float,
) -> FloatArray:
    """Make a year of 10-minute speeds: weather, gusty hours, windy winters, windy afternoons."""
    weather = slow_noise(random, 30.0) * np.sqrt(0.8) + slow_noise(random, 1.0) * np.sqrt(0.2)
    speed = of_weather(weather, shape, scale_ms)
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
    lines = [
        ",".join(cells)
        for cells, gone in zip(zip(stamps, *columns, strict=True), lost, strict=True)
        if not gone
    ]
    pack(path, [heading, *lines])


def pack(path: Path, lines: list[str]) -> None:
    """Write lines as gzip, the remark that they are invented above them."""
    # No time stamp in the gzip head, so that the same run gives the same bytes.
    text = "\n".join([REMARK, *lines]) + "\n"
    path.write_bytes(gzip.compress(text.encode(), compresslevel=9, mtime=0))


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


def fishing_quay() -> None:
    """Make six years of a harbour by the hour, and one stormy winter of a quay under its weather.

    The harbour writes UTC and whole m/s; the logger on the quay writes local time and knots, and
    its clock goes back with the others on the last Sunday of October.
    """
    random = np.random.default_rng(20250404)
    first, hours = datetime(2019, 3, 1, tzinfo=UTC), 24 * 2192
    weather = slow_noise(random, 30.0, hours, 1)
    hour = np.arange(hours)
    day_of_year = (hour / 24 + 59) % 365.25
    season = 1 + 0.17 * np.cos(2 * np.pi * (day_of_year - 15) / 365.25)
    year = np.array([1.03, 0.95, 1.01, 0.96, 0.98, 1.07])[np.minimum(hour // 8766, 5)]
    local = 0.35 * slow_noise(random, 3.0, hours, 1)
    harbour = of_weather(np.sqrt(1 - 0.35**2) * weather + local, 2.1, 6.5) * season * year
    direction = (240 + 70 * slow_noise(random, 40.0, hours, 1)) % 360
    stamps = [f"{first + timedelta(hours=int(h)):%Y-%m-%d %H:%M}" for h in hour]
    pack(
        HERE / "fishing-quay" / "harbour.csv.gz",
        [
            "time (UTC),wind speed (m/s),wind direction (deg)",
            *(
                f"{stamp},{speed:.0f},{round(way, -1) % 360:.0f}"
                for stamp, speed, way in zip(stamps, harbour, direction, strict=True)
            ),
        ],
    )
    begun = datetime(2024, 10, 5, tzinfo=UTC)
    steps = 6 * 24 * 140
    at = (begun - first) / timedelta(hours=1) + np.arange(steps) / 6
    fast = 0.4 * slow_noise(random, 0.7, steps)
    seen = np.sqrt(1 - 0.4**2) * np.interp(at, hour, weather) + fast
    quay = of_weather(seen, 2.0, 5.6) * np.interp(at, hour, season * year)
    zone = ZoneInfo("Europe/Paris")
    times = [(begun + timedelta(minutes=10 * step)).astimezone(zone) for step in range(steps)]
    pack(
        HERE / "fishing-quay" / "wind.csv.gz",
        [
            "local time,wind (kn)",
            *(
                f"{time:%d/%m/%Y %H:%M},{speed / (1852 / 3600):.0f}"
                for time, speed in zip(times, quay, strict=True)
            ),
        ],
    )


def river_plain() -> None:
    """Make what a village weather station sums its years up as: hours in classes of 1 m/s."""
    edges = np.arange(0.0, 17.0)
    share = weibull_min(1.65, scale=3.45).cdf(edges)
    share[-1] = 1.0
    hours = np.round(8760 * np.diff(share)).astype(int)
    rows = [f"{low:.0f};{low + 1:.0f};{time}" for low, time in zip(edges, hours, strict=False)]
    (HERE / "river-plain" / "classes.csv").write_text(
        "\n".join([REMARK, "from (m/s);to (m/s);hours per year", *rows]) + "\n", encoding="utf-8"
    )


def ridge_hut() -> None:
    """Make a year by the half-hour on a hut below a ridge: km/h, decimal commas, frozen cups."""
    random = np.random.default_rng(20250606)
    speed = wind(random, shape=1.6, scale_ms=4.2, season_swing=0.2, day_swing=0.05)[::3]
    air = temperature(random, -0.5)[::3]
    speed[speed < 0.5] = 0.0
    for frozen, length in ((820, 130), (1490, 96), (16900, 150)):
        speed[frozen : frozen + length] = 0.0
        air[frozen : frozen + length] = np.minimum(air[frozen : frozen + length], -1.5)
    times = datetime(2025, 1, 1, tzinfo=UTC)
    pack(
        HERE / "ridge-hut" / "wind.csv.gz",
        [
            "Date;Time;Wind (km/h);Air (C)",
            *(
                f"{times + timedelta(minutes=30 * step):%d.%m.%Y;%H:%M};"
                + f"{value * 3.6:.1f};{warmth:.1f}".replace(".", ",")
                for step, (value, warmth) in enumerate(zip(speed, air, strict=True))
            ),
        ],
    )


def sheep_barn() -> None:
    """Make a year by the hour on a pole in the yard of a barn, which stands to windward."""
    random = np.random.default_rng(20250707)
    speed = wind(random, shape=1.95, scale_ms=4.6, season_swing=0.16, day_swing=0.08)[::6]
    direction = (240 + 70 * slow_noise(random, 40.0)[::6]) % 360
    behind = np.abs((direction - 250 + 180) % 360 - 180) < 20
    speed = np.where(behind, 0.75 * speed, speed)
    times = np.datetime64("2025-01-01T00") + np.arange(speed.size)
    pack(
        HERE / "sheep-barn" / "wind.csv.gz",
        [
            "time,wind speed (m/s),wind direction (deg)",
            *(
                f"{str(time).replace('T', ' ')}:00,{value:.1f},{way:.0f}"
                for time, value, way in zip(times, speed, direction, strict=True)
            ),
        ],
    )


def main() -> None:
    """Make the wind of every site."""
    hill_yard()
    town_roof()
    fishing_quay()
    river_plain()
    ridge_hut()
    sheep_barn()


if __name__ == "__main__":
    main()
