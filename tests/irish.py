"""The Irish stations as arrays, and the experiment of hiding all but a short stretch of one.

Source: Haslett & Raftery, Applied Statistics 38 (1989) 1-50; see tests/data/README.md.
"""

from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd

from yieldest.errors import InputError
from yieldest.wind.long_term.correction import LongRecord, long_term
from yieldest.wind.long_term.error_model import WANDERING_SPREAD, wandering_variance, waves

KNOT = 1852 / 3600
_TABLE = pd.read_csv(Path(__file__).parent / "data" / "irish-six-stations.csv.gz")
STATIONS = tuple(_TABLE.columns[3:])
SPEED = _TABLE[list(STATIONS)].to_numpy().T * KNOT
TIME = np.arange("1961-01-01", "1979-01-01", dtype="datetime64[D]").astype("datetime64[ns]")
NAMES = (
    *("site", "reference", "correlation", "face", "face_cube", "error", "error_cube"),
    *("uncertainty", "uncertainty_cube"),
)


def hide_most(days, starts, among=STATIONS, several=1):
    """Keep `days` of a site, correct them, and compare with the 18 years.

    Every station is the site, and each of the others in turn the first of `several` references;
    `starts` stretches of each are spread over the years. Cases whose correlation is too weak for a
    correction are left out.

    Returns
    -------
    dict of ndarray
        What `NAMES` says: relative errors of mean and mean cube at face value and corrected, and
        the stated standard uncertainties of the relation.
    """
    rows = []
    turns = [
        (site, np.roll([STATIONS.index(name) for name in among if name != among[place]], -turn))
        for place, site in enumerate(map(STATIONS.index, among))
        for turn in range(len(among) - 1)
    ]
    for number, place in product(range(starts), range(len(turns))):
        site, others = turns[place]
        # The golden section spreads what no two pairs shall share.
        part = (number + place * 0.618034 % 1) / starts
        start = int(part * (TIME.size - days))
        speed = SPEED[site, start : start + days]
        chosen = others[:several]
        try:
            found = long_term(
                TIME[start : start + days],
                speed,
                [LongRecord(TIME, SPEED[other], source=STATIONS[other]) for other in chosen],
            )
        except InputError:
            continue
        mean, cube = SPEED[site].mean(), (SPEED[site] ** 3).mean()
        rows.append(
            (
                site,
                chosen[0],
                found.correlation,
                speed.mean() / mean - 1,
                (speed**3).mean() / cube - 1,
                found.chosen.mean_ms / mean - 1,
                found.chosen.mean_cube / cube - 1,
                found.chosen.mean_uncertainty,
                found.chosen.cube_uncertainty,
            )
        )
    return dict(zip(NAMES, np.array(rows).T, strict=True))


def pooled_constants(stations):
    """Estimate anew what `error_model` takes for WANDERING and SEASON_DIFFERENCE.

    From whole records of some stations alone: the variance of means over 180 days less the part
    that two stations share, and the differences of their yearly waves.
    """
    day = TIME.astype("datetime64[D]").astype(np.float64)
    design = np.column_stack([np.ones(day.size), waves(day)])
    speed = SPEED[[STATIONS.index(name) for name in stations]]
    level, *swing = np.linalg.lstsq(design, speed.T, rcond=None)[0]
    relative = speed / (design @ np.vstack([level, swing])).T
    alike = np.corrcoef(relative)
    pairs = np.triu_indices(len(stations), 1)
    wave = np.array(swing)[:2] / level
    difference = (wave[:, pairs[0]] - wave[:, pairs[1]]) ** 2
    season = np.sqrt(difference.mean() / (2 * (1 - alike[pairs])).mean())
    blocks = np.log(relative[:, : 180 * 36].reshape(len(stations), 36, 180).mean(axis=2))
    shared = np.cov(blocks)
    weather = shared[pairs].sum() / alike[pairs].sum()
    wandering = max(0.0, np.diag(shared).mean() - weather) / wandering_variance(180, TIME.size)
    # The median of the lognormal whose mean square it is.
    return np.sqrt(wandering) * np.exp(-(WANDERING_SPREAD**2)), season
