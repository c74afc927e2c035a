"""Mean power and yearly hours of a machine over the readings of a record, one by one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.energy.closed_form import HOURS_PER_YEAR, RATED_SHARE, YearlyHours, stretches_at_power


def gross_kwh_of_readings(
    readings: SortedReadings,
    factor: npt.ArrayLike,
    node_speed_ms: npt.ArrayLike,
    node_power_w: npt.ArrayLike,
    count: int,
) -> FloatArray:
    """Return the energy of a year of 8760 h before losses, of `count` machines.

    Parameters
    ----------
    readings, factor, node_speed_ms, node_power_w
        As for `mean_power_of_readings_w`.
    count : int
    """
    power_w = mean_power_of_readings_w(readings, factor, node_speed_ms, node_power_w)
    return np.asarray(power_w * (count * HOURS_PER_YEAR / 1000))


@dataclass(frozen=True)
class SortedReadings:
    """Readings in rising order with running sums, for `mean_power_of_readings_w`.

    Parameters
    ----------
    speed_ms : ndarray, shape (m,)
    weight_below, run_below : ndarray, shape (m + 1,)
        Sums of weight, and of weight times speed, of all readings before each.
    """

    speed_ms: FloatArray
    weight_below: FloatArray
    run_below: FloatArray


def sort_readings(speed_ms: FloatArray, weight: FloatArray) -> SortedReadings:
    """Sort readings and add them up.

    Parameters
    ----------
    speed_ms, weight : ndarray, shape (n,)
        Finite; the weights are made to add up to 1.
    """
    order = np.argsort(speed_ms)
    speed, share = speed_ms[order], weight[order] / weight.sum()
    return SortedReadings(
        speed,
        np.concatenate(([0.0], np.cumsum(share))),
        np.concatenate(([0.0], np.cumsum(share * speed))),
    )


def mean_power_of_readings_w(
    readings: SortedReadings,
    factor: npt.ArrayLike,
    node_speed_ms: npt.ArrayLike,
    node_power_w: npt.ArrayLike,
) -> FloatArray:
    """Return the mean power of a piecewise-linear curve over readings.

    Parameters
    ----------
    readings : SortedReadings
    factor : array_like, shape (...)
        Every reading is multiplied by it first.
    node_speed_ms, node_power_w : array_like, shape (..., n)
        As for `mean_power_w`; a reading at the first or the last speed counts.

    Returns
    -------
    ndarray, shape (...)

    Notes
    -----
    On a straight piece the power of a sum is the sum of the powers, so the sums of weight and of
    weight times speed between its ends are enough: no draw visits every reading.
    """
    by = floats(factor)[..., np.newaxis]
    speed = floats(node_speed_ms)
    power = floats(node_power_w)
    ends = speed / by
    last = np.nextafter(ends[..., -1:], np.inf)
    place = np.searchsorted(readings.speed_ms, np.concatenate((ends[..., :-1], last), axis=-1))
    weight, run = (
        sums[place[..., 1:]] - sums[place[..., :-1]]
        for sums in (readings.weight_below, readings.run_below)
    )
    low = speed[..., :-1]
    slope = (power[..., 1:] - power[..., :-1]) / (speed[..., 1:] - low)
    return np.asarray((power[..., :-1] * weight + slope * (by * run - low * weight)).sum(axis=-1))


def running_share_of_readings(
    readings: SortedReadings,
    factor: npt.ArrayLike,
    node_speed_ms: npt.ArrayLike,
    node_power_w: npt.ArrayLike,
) -> FloatArray:
    """Return the share of the readings in which the curve gives power.

    Parameters
    ----------
    readings, factor, node_speed_ms, node_power_w
        As for `mean_power_of_readings_w`.

    Returns
    -------
    ndarray, shape (...)
    """
    by = floats(factor)[..., np.newaxis]
    power = floats(node_power_w)
    start, end, reached = stretches_at_power(floats(node_speed_ms), power, 0.0)
    start, end = start / by, end / by
    # A reading on a point of the curve belongs to the piece above it, on the last to that below;
    # where the point gives no power it belongs to none.
    start = np.where(power[..., :-1] > 0, start, np.nextafter(start, np.inf))
    last = np.arange(end.shape[-1]) == end.shape[-1] - 1
    end = np.where(last & (power[..., 1:] > 0), np.nextafter(end, np.inf), end)
    start, end = np.broadcast_arrays(start, end)
    below = readings.weight_below[np.searchsorted(readings.speed_ms, np.stack((start, end)))]
    return np.asarray(np.where(reached, below[1] - below[0], 0.0).sum(axis=-1))


def yearly_hours_of_readings(
    power_w: FloatArray, speed_ms: FloatArray, weight: FloatArray, cut_out_ms: float, rated_w: float
) -> YearlyHours:
    """Return how a machine spends the hours of a year, from the time series.

    Parameters
    ----------
    power_w, speed_ms, weight : ndarray, shape (n,)
        Power and speed at each reading, and how much it counts.
    cut_out_ms, rated_w : float
    """
    share = weight / weight.sum()
    running = HOURS_PER_YEAR * float(share[power_w > 0].sum())
    cut_out = HOURS_PER_YEAR * float(share[speed_ms > cut_out_ms].sum())
    at_rated = 0.0
    if rated_w > 0:
        at_rated = HOURS_PER_YEAR * float(share[power_w >= RATED_SHARE * rated_w].sum())
    return YearlyHours(
        idle=HOURS_PER_YEAR - running - cut_out,
        running=running,
        at_rated=at_rated,
        cut_out=cut_out,
    )
