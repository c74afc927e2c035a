"""The Irish stations as arrays, and the experiment of hiding all but a short stretch of one.

Source: Haslett & Raftery, Applied Statistics 38 (1989) 1-50; see tests/data/README.md.
"""

from pathlib import Path

import numpy as np
import pandas as pd

from yieldest.errors import InputError
from yieldest.wind.long_term.correction import LongRecord, long_term
from yieldest.wind.long_term.error_model import waves

KNOT = 1852 / 3600
_TABLE = pd.read_csv(Path(__file__).parent / "data" / "irish-six-stations.csv.gz")
STATIONS = tuple(_TABLE.columns[3:])
SPEED = _TABLE[list(STATIONS)].to_numpy().T * KNOT
TIME = np.arange("1961-01-01", "1979-01-01", dtype="datetime64[D]").astype("datetime64[ns]")
NAMES = (
    *("site", "correlation", "face", "face_cube", "error", "error_cube"),
    *("uncertainty", "uncertainty_cube"),
)


def hide_most(days, cases, seed=1, sites=STATIONS, references=STATIONS, several=1):
    """Keep `days` of a site from a random day on, correct them, and compare with 18 years.

    Cases whose correlation is too weak for a correction are left out.

    Returns
    -------
    dict of ndarray
        What `NAMES` says: relative errors of mean and mean cube at face value and corrected, and
        the stated standard uncertainties of the relation.
    """
    draw = np.random.default_rng([seed, days])
    rows = []
    for _ in range(cases):
        site = STATIONS.index(draw.choice(sites))
        others = [STATIONS.index(name) for name in references if name != STATIONS[site]]
        chosen = draw.choice(others, several, replace=False)
        start = draw.integers(TIME.size - days)
        speed = SPEED[site, start : start + days]
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
    weather = (shared[pairs] / alike[pairs]).mean()
    return np.sqrt(max(0.0, np.diag(shared).mean() - weather)), season
