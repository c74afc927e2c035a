"""How sure the mean wind is: what chance, missing seasons and one year's weather leave open."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from yieldest.arrays import FloatArray, PlaceArray, TimeArray
from yieldest.defaults import YEAR_TO_YEAR
from yieldest.frozen import frozen_dataclass
from yieldest.wind.data_recovery import (
    DAY_S,
    DAYS_PER_YEAR,
    FULL_MONTH_SHARE,
    DataRecovery,
    month_and_hour,
)
from yieldest.wind.histogram import Histogram

BLOCK_DAYS = 5.0
"""One hour's wind is much like the last one's, but weather comes and goes in some days: blocks this
long keep it whole (common practice)."""
FEWEST_BLOCKS = 10
"""A short record is cut into at least so many blocks, which then are shorter; our choice."""
DRAWS = 200
"""So many draws tell a standard error to about 5 % (Efron & Tibshirani, *An Introduction to the
Bootstrap*, 1993)."""
CLASSES_OF_DRAWS = 200
"""Finer classes than so many are put together for the draws: errors are told to a few digits."""
SEED = 20240229
"""Any fixed number: the same record gives the same errors every time."""
YEARLY_DAYS = 300.0
"""From this span on, blocks are drawn within their own calendar month."""

SEASON_SWING = 0.2
"""Amplitude of the yearly swing of the monthly mean speeds over the yearly mean, taken where months
are missing; our choice, from what temperate climates commonly show."""


@frozen_dataclass
class WindUncertainty:
    """Standard uncertainties of the mean wind, each as a share of it."""

    mean_sampling: float
    """Of the mean speed, from the weather of the days that the record holds (block bootstrap)."""
    cube_sampling: float
    """The same of the mean cube."""
    mean_season: float
    """Of the mean speed, from the part of the year that the record lacks."""
    mean_year: float
    """Of the mean speed, for one record of so many years against the long run."""
    method: str

    @property
    def mean_total(self) -> float:
        """All three together for the long-run mean speed, as the root of the sum of squares."""
        return float(np.sqrt(self.mean_sampling**2 + self.mean_season**2 + self.mean_year**2))

    @property
    def cube_total(self) -> float:
        """The same for the mean cube: a change of the mean counts three times there."""
        return float(np.sqrt(self.cube_sampling**2 + 9 * (self.mean_season**2 + self.mean_year**2)))


def season_uncertainty(missing: float) -> float:
    r"""Return the relative standard uncertainty of the mean when a share of the year is missing.

    When a share f is missing in one piece, and monthly means swing like a cosine of amplitude a
    whose phase nobody knows, the mean of the rest is off by a standard deviation of
    :math:`a/\sqrt2 \cdot \sin(\pi f) / (\pi (1 - f))` (calculus, no other source).
    """
    missing = min(missing, 0.999)  # where sine and denominator both vanish
    return float(SEASON_SWING / np.sqrt(2) * np.sin(np.pi * missing) / (np.pi * (1 - missing)))


def draw_blocks(
    time: TimeArray, class_of: PlaceArray, weight: FloatArray, classes: int
) -> tuple[FloatArray, str]:
    """Draw blocks of days with replacement, and say how.

    Parameters
    ----------
    time, class_of, weight : ndarray, shape (n,)
        Time, class of speed and hours of each reading, in order of time.
    classes : int
        A reading of a higher class than there are does not count.

    Returns
    -------
    weight : ndarray, shape (draws, classes)
        Hours in each class of each draw.
    method : str

    Notes
    -----
    Non-overlapping blocks (Carlstein, *Annals of Statistics* 14 (1986) 1171-1179). From each month
    with b blocks, b - 1 are drawn and weighted by b/(b - 1), which keeps the variance of the mean
    unbiased (Rao & Wu, *J. Am. Stat. Assoc.* 83 (1988) 231-241).
    """
    counted = class_of < classes
    begin, end = time[counted.argmax()], time[time.size - 1 - counted[::-1].argmax()]
    span = float((end - begin) / np.timedelta64(1, "D")) + 1e-9
    length = min(BLOCK_DAYS, span / FEWEST_BLOCKS)
    begins_ns = np.ceil(np.arange(span // length + 2) * length * DAY_S * 1e9)
    bounds = np.searchsorted(time, begin + begins_ns.astype("timedelta64[ns]"))
    held = [
        slice(start + counted[start:stop].argmax(), stop)
        for start, stop in pairwise(bounds.tolist())
        if counted[start:stop].any()
    ]
    counts = np.stack(
        [np.bincount(class_of[block], weight[block], classes + 1)[:classes] for block in held]
    )
    blocks = len(held)
    month = month_and_hour(time[[block.start for block in held]])[0]
    # So that the season itself is not taken for chance.
    by_month = span >= YEARLY_DAYS and np.unique(month, return_counts=True)[1].min() > 1
    if not by_month:
        month = np.zeros(blocks, dtype=np.int64)
    random = np.random.default_rng(SEED)
    times = np.zeros((DRAWS, blocks))
    for here in np.unique(month):
        members = np.flatnonzero(month == here)
        picks = max(1, members.size - 1)
        drawn = members[random.integers(members.size, size=(DRAWS, picks))]
        np.add.at(times, (np.arange(DRAWS)[:, np.newaxis], drawn), members.size / picks)
    within = " within their calendar month" if by_month else ""
    method = f"{DRAWS} draws of {blocks} blocks of {length:.2g} days{within}"
    return times @ counts, method


def wind_uncertainty(
    histogram: Histogram, drawn: Histogram, how_drawn: str, recovery: DataRecovery
) -> WindUncertainty:
    """Return how sure the mean wind of a record is, from a histogram (m,) and its block draws."""
    means, cubes = drawn.moment(1), drawn.moment(3)
    # A month that is half covered stands for itself.
    covered = [min(1.0, share / FULL_MONTH_SHARE) for share in recovery.month_share]
    years = max(1.0, recovery.span_hours / 24 / DAYS_PER_YEAR)
    return WindUncertainty(
        mean_sampling=float(np.nanstd(means, ddof=1) / histogram.moment(1)),
        cube_sampling=float(np.nanstd(cubes, ddof=1) / histogram.moment(3)),
        mean_season=season_uncertainty(1 - float(np.mean(covered))),
        mean_year=float(YEAR_TO_YEAR.value / np.sqrt(years)),
        method=f"block bootstrap ({how_drawn}); missing seasons by a swing of "
        f"{100 * SEASON_SWING:.0f} % (our choice); one year against the long run "
        f"{YEAR_TO_YEAR} ({YEAR_TO_YEAR.source})",
    )
