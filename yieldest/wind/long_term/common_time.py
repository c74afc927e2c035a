"""Two records on one time base: averaging to common steps, and the offset between their clocks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray

Times = npt.NDArray[np.datetime64]

SHORTEST_STEP_S = 3600
"""Two places a few kilometres apart share the weather of an hour, not of a minute; our choice."""
FULLEST_STEP_SHARE = 0.5
"""A step with less than this share of its usual readings counts as missing; our choice."""
FARTHEST_OFFSET_H = 14
"""Time zones reach from UTC-12 to UTC+14."""
CLEAR_GAIN = 0.05
"""A clock offset is believed only when it lifts the correlation by this much; our choice. Weather
that passes one place an hour before the other lifts it by some 0.01, and does no harm."""


@dataclass(frozen=True)
class SteppedRecord:
    """A record averaged over the steps of a regular clock.

    Parameters
    ----------
    number : ndarray of int, shape (n,)
        Steps since 1970 that have enough readings, increasing.
    mean_ms, mean_square, mean_cube : ndarray, shape (n,)
        Of the speeds read within each step.
    first_ms : ndarray, shape (n,)
        The first single reading of each step.
    direction_deg : ndarray, shape (n,)
        Direction of the mean unit vector; NaN where unknown.
    """

    number: npt.NDArray[np.int64]
    mean_ms: FloatArray
    mean_square: FloatArray
    mean_cube: FloatArray
    first_ms: FloatArray
    direction_deg: FloatArray


def usual_interval_s(time: Times) -> float:
    """Return the median time between readings, an hour for a single one."""
    return float(np.median(np.diff(time) / np.timedelta64(1, "s"))) if time.size > 1 else 3600.0


def in_steps(
    time: Times, speed_ms: FloatArray, direction_deg: FloatArray | None, step_s: int
) -> SteppedRecord:
    """Average a record over steps of `step_s` seconds.

    Steps begin at whole multiples of `step_s` since 1970; times increase, a missing speed is NaN.
    """
    known = np.isfinite(speed_ms)
    seconds = time[known].astype("datetime64[s]").astype(np.int64)
    speed = speed_ms[known]
    number, first, place, count = np.unique(
        seconds // step_s, return_index=True, return_inverse=True, return_counts=True
    )
    usual = max(1.0, step_s / usual_interval_s(time))

    def mean(values: FloatArray) -> FloatArray:
        return np.bincount(place, values, number.size) / count

    direction = np.full(number.size, np.nan)
    if direction_deg is not None:
        angle = np.deg2rad(direction_deg[known])
        told = np.isfinite(angle)
        east = mean(np.where(told, np.sin(angle), 0.0))
        north = mean(np.where(told, np.cos(angle), 0.0))
        direction = np.where(
            np.hypot(east, north) > 0, np.rad2deg(np.arctan2(east, north)) % 360, np.nan
        )
    enough = count >= FULLEST_STEP_SHARE * usual
    return SteppedRecord(
        number=number[enough],
        mean_ms=mean(speed)[enough],
        mean_square=mean(speed**2)[enough],
        mean_cube=mean(speed**3)[enough],
        first_ms=speed[first][enough],
        direction_deg=direction[enough],
    )


@dataclass(frozen=True)
class ClockOffset:
    """How far the clock of the reference seems to be from that of the site.

    Parameters
    ----------
    hours : float
        To be added to the reference's times for the highest correlation.
    correlation_with, correlation_without : float
        Of the two records with that offset, and as they stand.
    applied : bool
        Whether the gain is clear enough to believe it.
    """

    hours: float
    correlation_with: float
    correlation_without: float
    applied: bool


def clock_offset(
    site: SteppedRecord, reference: SteppedRecord, step_s: int, least_steps: int
) -> ClockOffset:
    """Find the shift of the reference that correlates best with the site.

    By Pearson's correlation of the lagged series: the daily round of the wind and the passing of
    weather both mark the clock. A shift that leaves fewer than `least_steps` in common is not
    considered; the correlations are NaN when even the unshifted records have too little in common.
    """
    reach = FARTHEST_OFFSET_H * 3600 // step_s
    first = reference.number[0] - reach
    grid = np.full(int(reference.number[-1]) - first + reach + 1, np.nan)
    grid[reference.number - first] = reference.mean_ms
    found = {
        shift: _correlation(site, grid, first + shift, least_steps)
        for shift in range(-reach, reach + 1)
    }
    unshifted = found[0]
    best = max(found, key=lambda shift: np.nan_to_num(found[shift], nan=-2.0))
    if np.isnan(found[best]):
        best = 0
    return ClockOffset(
        hours=best * step_s / 3600,
        correlation_with=found[best],
        correlation_without=unshifted,
        applied=bool(best != 0 and found[best] - unshifted >= CLEAR_GAIN),
    )


def _correlation(site: SteppedRecord, grid: FloatArray, first: int, least_steps: int) -> float:
    """Correlate the site with a reference whose every step from `first` on stands in `grid`."""
    place = site.number - first
    inside = (place >= 0) & (place < grid.size)
    x, y = grid[place[inside]], site.mean_ms[inside]
    known = np.isfinite(x)
    x, y = x[known], y[known]
    if x.size < max(2, least_steps):
        return float("nan")
    spread = float(x.std() * y.std())
    return float(((x - x.mean()) * (y - y.mean())).mean()) / spread if spread > 0 else float("nan")
