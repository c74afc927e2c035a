"""Weights by month and hour of day, so that each counts for as much as a year holds of it."""

from __future__ import annotations

import calendar

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from yieldest.arrays import BoolArray, FloatArray, TimeArray, pieces
from yieldest.frozen import frozen_dataclass
from yieldest.wind.data_recovery import MONTH_DAYS, hours_by_season, season_cell, years_of

THIN_MONTH_SHARE = 0.1
"""A month with less than this share of its hours cannot stand for itself; our choice."""
LONGEST_FILLED = 2
"""So many missing months in a row are filled from the months on both sides; our choice."""
UNEVEN = 1.25
"""Weights are used when the largest is this many times the smallest, or more; our choice."""
THIN_HOUR = 0.25
"""Hours of day are weighted in a month where each has this share of an even one; our choice."""

_MONTH_HOURS = 24.0 * MONTH_DAYS


@frozen_dataclass
class SeasonWeights:
    """How much each reading counts, whether month and hour were evened out, and why (or not)."""

    weight: FloatArray
    """Hours of a year that each reading with a speed stands for, shape (n,). Where the correction
    is not used, the hours it stands for by the clock."""
    used: bool
    reason: str


def season_weights(
    time: TimeArray, duration_h: FloatArray, valid: BoolArray, *, wanted: bool = True
) -> SeasonWeights:
    """Weight readings so that every month and hour of day counts as in a whole year.

    Parameters
    ----------
    time, duration_h, valid : ndarray, shape (n,)
        When each reading begins, how long it stands for, and whether there is a speed.
    wanted : bool
        False leaves the weights at the durations.

    Notes
    -----
    Post-stratification (Cochran, *Sampling Techniques*, 3rd ed., Wiley 1977, section 5A.9) with
    the calendar months and, within a month that has all of them, the hours of day as strata. One
    or two missing months in a row lend their hours to the months before and after them.
    """
    if not wanted:
        return SeasonWeights(duration_h, False, "switched off")
    cells = hours_by_season(time, duration_h, valid).reshape(12, 24)
    years = max(1, sum(map(np.any, np.split(valid, years_of(time)[1][1:-1]))))
    of_month = cells.sum(axis=1)
    target = _MONTH_HOURS.copy()
    thin = of_month < THIN_MONTH_SHARE * _MONTH_HOURS / years
    # Twice the year, for December comes before January.
    runs = sliding_window_view(np.tile(thin, 2), LONGEST_FILLED + 1)
    if runs.all(axis=-1).any():
        return SeasonWeights(
            duration_h,
            False,
            f"not possible: {_names(thin)} missing, and no more than {LONGEST_FILLED} months in a "
            "row can be filled from their neighbours",
        )
    for missing in np.flatnonzero(thin):
        for step in (-1, 1):
            near = (missing + step) % 12
            while thin[near]:
                near = (near + step) % 12
            target[near] += _MONTH_HOURS[missing] / 2
        target[missing] = 0.0
    full = cells.min(axis=1) >= THIN_HOUR * of_month / 24
    safe_month = np.where(of_month > 0, of_month, 1.0)
    safe_cells = np.where(cells > 0, cells, 1.0)
    factor = np.where(
        full[:, np.newaxis],
        target[:, np.newaxis] / 24 / safe_cells,
        (target / safe_month)[:, np.newaxis],
    )
    in_use = factor[(cells > 0) & (target > 0)[:, np.newaxis]]
    uneven = float(in_use.max() / in_use.min())
    if uneven < UNEVEN and not thin.any():
        return SeasonWeights(
            duration_h, False, "not needed: every month and hour of day is there evenly"
        )
    reason = f"the fullest month and hour has {uneven:.1f} times the readings of the emptiest"
    if thin.any():
        reason += f"; {_names(thin)} filled from the months before and after"
    weight = np.where(valid, duration_h, 0.0)
    for part in pieces(time.size):
        weight[part] *= factor.ravel()[season_cell(time[part])]
    return SeasonWeights(weight, True, reason)


def _names(months: BoolArray) -> str:
    return ", ".join(calendar.month_abbr[int(m) + 1] for m in np.flatnonzero(months))
