"""Gross and net energy of a year: where wind, power curve and losses meet, whatever the axes."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.energy.closed_form import gross_kwh_per_year, idle_kwh_per_year, share_at_power
from yieldest.energy.from_series import (
    SortedReadings,
    gross_kwh_of_readings,
    running_share_of_readings,
)


@dataclass(frozen=True)
class HubSpeeds:
    """The wind speeds at a hub: of one site, of many draws or of many cells.

    Parameters
    ----------
    shape, scale_ms, calm_share : array_like, shape (...)
        Of the fitted distribution; they broadcast.
    series : SortedReadings or None
        Readings that stand instead of it.
    factor : array_like, shape (...)
        What every reading of the series is multiplied by.
    """

    shape: npt.ArrayLike
    scale_ms: npt.ArrayLike
    calm_share: npt.ArrayLike
    series: SortedReadings | None = None
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
            return gross_kwh_per_year(
                self.shape, self.scale_ms, self.calm_share, speed_ms, power_w, count
            )
        return gross_kwh_of_readings(self.series, self.factor, speed_ms, power_w, count)

    def share_generating(self, speed_ms: npt.ArrayLike, power_w: npt.ArrayLike) -> FloatArray:
        """Return the share of the year in which a curve gives power, shape (...)."""
        if self.series is None:
            windy = share_at_power(self.shape, self.scale_ms, speed_ms, power_w, 0.0)
            return np.asarray((1 - floats(self.calm_share)) * windy)
        return running_share_of_readings(self.series, self.factor, speed_ms, power_w)


def net_kwh_per_year(
    wind: HubSpeeds,
    speed_ms: npt.ArrayLike,
    power_w: npt.ArrayLike,
    kept: npt.ArrayLike,
    idle_draw_w: float,
    count: int,
) -> FloatArray:
    """Return the energy of a year after losses and what the converters draw without wind.

    Parameters
    ----------
    wind : HubSpeeds
    speed_ms, power_w : array_like, shape (..., n)
        Nodes of the power curve of one machine.
    kept : array_like, shape (...)
        Share of the gross energy that the losses leave.
    idle_draw_w : float
        Drawn by each converter while its machine makes nothing.
    count : int
        Machines.
    """
    net = wind.gross_kwh(speed_ms, power_w, count) * floats(kept)
    if idle_draw_w == 0:
        return np.asarray(net)
    generating = wind.share_generating(speed_ms, power_w)
    return np.asarray(net - idle_kwh_per_year(idle_draw_w, generating, count))
