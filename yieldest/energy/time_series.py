"""Mean power and yearly hours of a machine from the time series of a record, one value by one."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.energy.closed_form import HOURS_PER_YEAR, RATED_SHARE, YearlyHours, stretches_at_power


@dataclass(frozen=True)
class SpeedSeries:
    """The wind speeds of a record, carried to the hub.

    Parameters
    ----------
    speed_ms, weight : ndarray, shape (n,)
        Finite speeds, and how much each counts.
    """

    speed_ms: FloatArray
    weight: FloatArray

    @cached_property
    def _sorted(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Speeds in rising order, with the sums of weight, and of weight times speed, below."""
        order = np.argsort(self.speed_ms)
        speed, share = self.speed_ms[order], self.weight[order] / self.weight.sum()
        return (
            speed,
            np.concatenate(([0.0], np.cumsum(share))),
            np.concatenate(([0.0], np.cumsum(share * speed))),
        )

    def mean_power_w(
        self, factor: npt.ArrayLike, node_speed_ms: npt.ArrayLike, node_power_w: npt.ArrayLike
    ) -> FloatArray:
        """Return the mean power of a piecewise-linear curve.

        Parameters
        ----------
        factor : array_like, shape (...)
            Every speed is multiplied by it first.
        node_speed_ms, node_power_w : array_like, shape (..., n)
            As for `closed_form.mean_power_w`; a value at the first or the last speed counts.

        Returns
        -------
        ndarray, shape (...)

        Notes
        -----
        On a straight piece the power of a sum is the sum of the powers, so the sums of weight and
        of weight times speed between its ends are enough: no draw visits every value.
        """
        sorted_ms, weight_below, run_below = self._sorted
        by = floats(factor)[..., np.newaxis]
        speed, power = floats(node_speed_ms), floats(node_power_w)
        ends = speed / by
        last = np.nextafter(ends[..., -1:], np.inf)
        place = np.searchsorted(sorted_ms, np.concatenate((ends[..., :-1], last), axis=-1))
        weight, run = (
            sums[place[..., 1:]] - sums[place[..., :-1]] for sums in (weight_below, run_below)
        )
        low = speed[..., :-1]
        slope = (power[..., 1:] - power[..., :-1]) / (speed[..., 1:] - low)
        pieces = power[..., :-1] * weight + slope * (by * run - low * weight)
        return np.asarray(pieces.sum(axis=-1))

    def share_generating(
        self, factor: npt.ArrayLike, node_speed_ms: npt.ArrayLike, node_power_w: npt.ArrayLike
    ) -> FloatArray:
        """Return the share of the time in which the curve gives power, as `mean_power_w`."""
        sorted_ms, weight_below, _ = self._sorted
        by = floats(factor)[..., np.newaxis]
        power = floats(node_power_w)
        start, end, reached = stretches_at_power(floats(node_speed_ms), power, 0.0)
        start, end = start / by, end / by
        # A value on a point of the curve belongs to the piece above it, on the last to that below;
        # where the point gives no power it belongs to none.
        start = np.where(power[..., :-1] > 0, start, np.nextafter(start, np.inf))
        last = np.arange(end.shape[-1]) == end.shape[-1] - 1
        end = np.where(last & (power[..., 1:] > 0), np.nextafter(end, np.inf), end)
        below = weight_below[np.searchsorted(sorted_ms, np.stack(np.broadcast_arrays(start, end)))]
        return np.asarray(np.where(reached, below[1] - below[0], 0.0).sum(axis=-1))

    def yearly_hours(self, power_w: FloatArray, cut_out_ms: float, rated_w: float) -> YearlyHours:
        """Return how a machine spends the hours of a year; its power is that at each speed."""
        hours = HOURS_PER_YEAR * self.weight / self.weight.sum()
        generating = float(hours[power_w > 0].sum())
        cut_out = float(hours[self.speed_ms > cut_out_ms].sum())
        rated = (power_w >= RATED_SHARE * rated_w) & (rated_w > 0)
        return YearlyHours(
            without_output=HOURS_PER_YEAR - generating - cut_out,
            generating=generating,
            at_rated=float(hours[rated].sum()),
            cut_out=cut_out,
        )
