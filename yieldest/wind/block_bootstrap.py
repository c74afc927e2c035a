"""Bootstrap in blocks of days, for one hour's wind is much like the last one's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray
from yieldest.wind.histogram import Histogram

BLOCK_DAYS = 5.0
"""Weather comes and goes in some days; blocks this long keep it whole (common practice)."""
FEWEST_BLOCKS = 10
"""A short record is cut into at least so many blocks, which then are shorter; our choice."""
DRAWS = 200
"""So many draws tell a standard error to about 5 % (Efron & Tibshirani, *An Introduction to the
Bootstrap*, 1993)."""
SEED = 20240229
"""Any fixed number: the same record gives the same errors every time."""
YEARLY_DAYS = 300.0
"""From this span on, blocks are drawn within their own calendar month."""


@dataclass(frozen=True)
class BlockDraws:
    """Bootstrap draws of a histogram.

    Parameters
    ----------
    weight : ndarray, shape (draws, m)
        Hours in each class of each draw.
    blocks : int
    block_days : float
    by_month : bool
        Whether the draws keep the calendar month of each block, so that the season itself is not
        taken for chance.
    """

    weight: FloatArray
    blocks: int
    block_days: float
    by_month: bool

    @property
    def method(self) -> str:
        """What was done, in words."""
        within = " within their calendar month" if self.by_month else ""
        return (
            f"{self.weight.shape[0]} draws of {self.blocks} blocks of {self.block_days:.2g} days"
            f"{within}"
        )


def draw_blocks(
    time: npt.NDArray[np.datetime64],
    class_of: npt.NDArray[np.int64],
    weight: FloatArray,
    histogram: Histogram,
) -> BlockDraws:
    """Draw blocks of days with replacement, and count each draw by speed.

    Parameters
    ----------
    time, class_of, weight : ndarray, shape (n,)
        Time, class and hours of each reading.
    histogram : Histogram
        Of all the readings.

    Notes
    -----
    Non-overlapping blocks (Carlstein, *Annals of Statistics* 14 (1986) 1171-1179). From each month
    with b blocks, b - 1 are drawn and weighted by b/(b - 1), which keeps the variance of the mean
    unbiased (Rao & Wu, *J. Am. Stat. Assoc.* 83 (1988) 231-241).
    """
    days = (time - time[0]) / np.timedelta64(1, "D")
    span = float(days[-1]) + 1e-9
    length = min(BLOCK_DAYS, span / FEWEST_BLOCKS)
    number = np.floor(days / max(length, 1e-9)).astype(np.int64)
    used, block = np.unique(number, return_inverse=True)
    classes = histogram.speed_ms.size
    counts = np.bincount(block * classes + class_of, weights=weight, minlength=used.size * classes)
    counts = counts.reshape(used.size, classes)
    month = np.zeros(used.size, dtype=np.int64)
    by_month = False
    if span >= YEARLY_DAYS:
        first = np.unique(block, return_index=True)[1]
        month = time[first].astype("datetime64[M]").astype(np.int64) % 12
        by_month = bool(np.bincount(month)[np.unique(month)].min() > 1)
        if not by_month:
            month = np.zeros(used.size, dtype=np.int64)
    random = np.random.default_rng(SEED)
    times = np.zeros((DRAWS, used.size))
    for here in np.unique(month):
        members = np.flatnonzero(month == here)
        picks = max(1, members.size - 1)
        drawn = random.integers(members.size, size=(DRAWS, picks))
        np.add.at(
            times,
            (np.arange(DRAWS)[:, np.newaxis], members[drawn]),
            members.size / picks,
        )
    return BlockDraws(times @ counts, int(used.size), float(length), by_month)
