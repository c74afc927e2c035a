"""Gross and net energy of a year: where wind, power curve and losses meet, whatever the axes.

The wind is a fitted distribution, or the time series of a record, taken value by value.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.energy.closed_form import (
    HOURS_PER_YEAR,
    RATED_SHARE,
    YearlyHours,
    mean_power_beyond_w,
    mean_power_w,
    share_at_power,
    stretches_at_power,
    yearly_hours,
)
from yieldest.turbine.power_curve import PowerCurve


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


@dataclass(frozen=True)
class HubSpeeds:
    """The wind speeds at a hub: of one site, of many draws or of many cells.

    Parameters
    ----------
    shape, scale_ms, calm_share : array_like, shape (...)
        Of the fitted distribution; they broadcast.
    series : SpeedSeries or None
        A time series that stands instead of it.
    factor : array_like, shape (...)
        What every speed of the series is multiplied by.
    """

    shape: npt.ArrayLike
    scale_ms: npt.ArrayLike
    calm_share: npt.ArrayLike
    series: SpeedSeries | None = None
    factor: npt.ArrayLike = 1.0

    def scaled(self, by: npt.ArrayLike) -> HubSpeeds:
        """Return the wind with every speed multiplied."""
        return replace(
            self,
            scale_ms=floats(self.scale_ms) * floats(by),
            factor=floats(self.factor) * floats(by),
        )

    def gross_kwh(self, speed_ms: npt.ArrayLike, power_w: npt.ArrayLike, count: int) -> FloatArray:
        """Return the energy of a year before losses, shape (...), for nodes of shape (..., n)."""
        if self.series is None:
            windy = 1 - floats(self.calm_share)
            mean_w = windy * mean_power_w(self.shape, self.scale_ms, speed_ms, power_w)
        else:
            mean_w = self.series.mean_power_w(self.factor, speed_ms, power_w)
        return np.asarray(mean_w * (count * HOURS_PER_YEAR / 1000))

    def share_generating(self, speed_ms: npt.ArrayLike, power_w: npt.ArrayLike) -> FloatArray:
        """Return the share of the year in which a curve gives power, shape (...)."""
        if self.series is None:
            windy = share_at_power(self.shape, self.scale_ms, speed_ms, power_w, 0.0)
            return np.asarray((1 - floats(self.calm_share)) * windy)
        return self.series.share_generating(self.factor, speed_ms, power_w)

    def mean_power_beyond_w(self, curve: PowerCurve) -> float:
        """Return the part of the mean power from above the last measured speed, of one site."""
        if self.series is None:
            windy = 1 - float(floats(self.calm_share))
            return windy * float(mean_power_beyond_w(self.shape, self.scale_ms, curve))
        speed, weight = self.series.speed_ms, self.series.weight
        beyond = np.where(speed > curve.last_measured_ms, curve.power_at(speed), 0.0)
        return float(beyond @ weight / weight.sum())

    def yearly_hours(self, curve: PowerCurve) -> YearlyHours:
        """Return how a machine spends the hours of a year at one site."""
        if self.series is None:
            return yearly_hours(
                float(floats(self.shape)),
                float(floats(self.scale_ms)),
                float(floats(self.calm_share)),
                curve.speed_ms,
                curve.power_w,
                curve.rated_power_w,
            )
        power = curve.power_at(self.series.speed_ms)
        return self.series.yearly_hours(power, curve.cut_out_ms, curve.rated_power_w)


def draw_without_output_kwh(
    idle_draw_w: npt.ArrayLike, share_generating: npt.ArrayLike, count: int
) -> FloatArray:
    """Return what converters draw in a year while their machines make nothing.

    Parameters
    ----------
    idle_draw_w, share_generating : array_like
        Power drawn by each, and share of the year in which it is not; they broadcast.
    count : int
    """
    hours = HOURS_PER_YEAR * (1 - floats(share_generating))
    return np.asarray(floats(idle_draw_w) * hours * (count / 1000))


def net_kwh_per_year(
    wind: HubSpeeds,
    speed_ms: npt.ArrayLike,
    power_w: npt.ArrayLike,
    kept: npt.ArrayLike,
    idle_draw_w: float,
    count: int,
) -> FloatArray:
    """Return the energy of a year after losses and what the converters draw without wind.

    The nodes of the power curve of one machine have shape (..., n); `kept` is the share of the
    gross energy that the losses leave, shape (...).
    """
    net = wind.gross_kwh(speed_ms, power_w, count) * floats(kept)
    if idle_draw_w == 0:
        return np.asarray(net)
    generating = wind.share_generating(speed_ms, power_w)
    return np.asarray(net - draw_without_output_kwh(idle_draw_w, generating, count))
