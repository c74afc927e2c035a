"""Gross and net energy of a year: where wind, power curve and losses meet, whatever the axes."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.energy.closed_form import (
    HOURS_PER_YEAR,
    YearlyHours,
    mean_power_beyond_w,
    mean_power_w,
    share_at_power,
    yearly_hours,
)
from yieldest.energy.time_series import SpeedSeries
from yieldest.turbine.power_curve import PowerCurve


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
