"""The Irish stations as arrays, and the experiment of hiding all but a short stretch of one.

Source: Haslett & Raftery, Applied Statistics 38 (1989) 1-50; see tests/data/README.md.
"""

from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import t

from yieldest.errors import InputError
from yieldest.wind.long_term.correction import LongRecord, long_term
from yieldest.wind.long_term.error_model import wandering_variance, waves

KNOT = 1852 / 3600
_TABLE = pd.read_csv(Path(__file__).parent / "data" / "irish-six-stations.csv.gz")
STATIONS = tuple(_TABLE.columns[3:])
SPEED = _TABLE[list(STATIONS)].to_numpy().T * KNOT
TIME = np.arange("1961-01-01", "1979-01-01", dtype="datetime64[D]").astype("datetime64[ns]")
LEAST_WANDERING = 0.01
ROUNDED_UP = 1.2
"""By so much the wandering in use was rounded up, to be on the safe side."""
PLACES_DIFFER = 0.6
"""Standard deviation of the logarithm of the wandering of places."""
NAMES = (
    *("site", "reference", "correlation", "face", "face_cube", "error", "error_cube"),
    *("uncertainty", "uncertainty_cube", "season", "season_cube"),
)


def hide_most(days, starts, among=STATIONS, several=1, sites=STATIONS):
    """Keep `days` of a site, correct them, and compare with the 18 years.

    Every one of `sites` is the site, and each of the others in turn the first of `several`
    references;
    `starts` stretches of each are spread over the years. Cases whose correlation is too weak for a
    correction are left out.

    Returns
    -------
    dict of ndarray
        What `NAMES` says: relative errors of mean and mean cube at face value, corrected, and with
        the season set right alone, and the stated standard uncertainties of the relation.
    """
    rows = []
    turns = [
        (site, np.roll([STATIONS.index(name) for name in among if name != among[place]], -turn))
        for place, site in enumerate(map(STATIONS.index, among))
        for turn in range(len(among) - 1)
        if STATIONS[site] in sites
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
                found.methods[0].mean_ms / mean - 1,
                found.methods[0].mean_cube / cube - 1,
            )
        )
    return dict(zip(NAMES, np.array(rows).T, strict=True))


def pooled_constants(stations):
    """Estimate anew all that `error_model` takes from stations, from the records of some alone.

    By moments of their whole records, with no look at any interval: the memory from the variance
    that they share over 5 to 180 days, the differences of waves and of how much their weather
    varies from all pairs, the wandering from the variance over 180 days less the shared part and
    its years from how fast the ratio of two stations forgets, and the cube's share from the same
    ratio. How far places differ in their wandering few cannot tell: `PLACES_DIFFER` is taken.

    What few stations leave open is added: they say little of how much another place wanders, so
    the spread of it grows; their mean square says less of the median; and of a variance with few
    degrees of freedom the range is as wide as Student's.
    """
    day = TIME.astype("datetime64[D]").astype(np.float64)
    design = np.column_stack([np.ones(day.size), waves(day)])
    pairs = np.triu_indices(len(stations), 1)

    def taken_apart(value):
        level, *swing = np.linalg.lstsq(design, value.T, rcond=None)[0]
        return value / (design @ np.vstack([level, swing])).T, np.array(swing) / level

    def blocks(relative, days):
        count = day.size // days
        return np.log(relative[:, : days * count].reshape(-1, count, days).mean(axis=2))

    speed = SPEED[[STATIONS.index(name) for name in stations]]
    relative, wave = taken_apart(speed)
    alike = np.corrcoef(relative)[pairs]
    differs = ((wave[:, pairs[0]] - wave[:, pairs[1]]) ** 2).mean(axis=1)
    lengths = (5, 10, 20, 30, 60, 90, 180)
    shared = [np.cov(blocks(relative, days))[pairs].sum() / alike.sum() for days in lengths]
    slow = max(0.0, np.diag(np.cov(blocks(relative, 180))).mean() - shared[-1])
    ratio, of_cubes = (
        halves[pairs[0]] - halves[pairs[1]]
        for halves in (blocks(relative, 183), blocks(taken_apart(speed**3)[0], 183))
    )
    ratio = ratio - ratio.mean(axis=1, keepdims=True)
    kept = [(ratio[:, lag:] * ratio[:, :-lag]).mean() for lag in (1, 3)]
    # Two half-years on, exp(-1 year over its years) is left of what is left after one.
    fall = np.log(kept[0] / kept[1]) if kept[0] > kept[1] > 0 else 1 / 3
    spells = relative[:, : day.size // 5 * 5].reshape(len(stations), -1, 5).mean(axis=2).std(axis=1)
    count = len(stations)
    # The median of the lognormal of which so few have that mean square on the whole.
    median = np.exp(-(PLACES_DIFFER**2) * (1 - 1 / count))
    student = t.ppf(0.95, 2 * (count - 1)) / t.ppf(0.95, np.inf)
    return {
        "WANDERING": max(
            ROUNDED_UP * np.sqrt(slow / wandering_variance(180, TIME.size)) * median,
            LEAST_WANDERING,
        ),
        # Of a place beside the mean of so many, each known from some three stretches of its own.
        "WANDERING_SPREAD": np.sqrt(PLACES_DIFFER**2 * (1 + 1 / count) + 1 / (6 * count)),
        "WANDERING_YEARS": float(np.clip(1 / fall, 1, 8)),
        "SEASON_DIFFERENCE": student * np.sqrt(differs[:2].mean() / (2 * (1 - alike)).mean()),
        "HALF_YEARLY_SHARE": np.sqrt(differs[2:].mean() / differs[:2].mean()),
        "CUBE_TIMES": of_cubes.std() / ratio.std(),
        "MEMORY": -np.polyfit(np.log(lengths), np.log(shared), 1)[0],
        "SCALE_SPREAD": np.sqrt((np.log(spells[pairs[0]] / spells[pairs[1]]) ** 2).mean()),
    }
