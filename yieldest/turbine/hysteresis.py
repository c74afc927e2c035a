"""Whether a machine starts at a higher wind than it stops at, and lags behind the wind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.turbine.bins import bin_number
from yieldest.turbine.readings import Readings

_TURNING_SHARE = 0.02
"""Turning means more rpm (or power) than this share of the highest; our choice."""
_LEAST_EVENTS = 3
_STEADY_MS = 0.25
"""A change of wind below this is neither rising nor falling; our choice."""
_LEAST_CHANGES = 10


@dataclass(frozen=True)
class Hysteresis:
    """What differs between rising and falling wind; None where the readings do not show it.

    Parameters
    ----------
    start_ms, stop_ms : float or None
        Mean wind when the machine starts and stops.
    start_uncertainty_ms, stop_uncertainty_ms : float or None
        Their standard uncertainties.
    starts, stops : int
        How often each was seen.
    judged_by : {"rpm", "power"}
    falling_excess : float or None
        Power in falling wind over that in rising wind at the same speed, minus 1.
    falling_excess_uncertainty : float or None
    """

    start_ms: float | None
    stop_ms: float | None
    start_uncertainty_ms: float | None
    stop_uncertainty_ms: float | None
    starts: int
    stops: int
    judged_by: str
    falling_excess: float | None
    falling_excess_uncertainty: float | None

    @property
    def shown(self) -> bool:
        """Whether starting and stopping differ by more than chance."""
        if self.start_ms is None or self.stop_ms is None:
            return False
        uncertainty = np.hypot(self.start_uncertainty_ms or 0.0, self.stop_uncertainty_ms or 0.0)
        return bool(self.start_ms - self.stop_ms > 2 * uncertainty)


def hysteresis_of(readings: Readings) -> Hysteresis:
    """Compare rising with falling wind, in the order of the readings."""
    activity = readings.power_w if readings.rpm is None else np.nan_to_num(readings.rpm)
    turning = activity > _TURNING_SHARE * activity.max()
    speed = readings.speed_ms
    middle = (speed[1:] + speed[:-1]) / 2
    starts = middle[~turning[:-1] & turning[1:]]
    stops = middle[turning[:-1] & ~turning[1:]]
    start, start_uncertainty = _mean(starts)
    stop, stop_uncertainty = _mean(stops)
    excess, uncertainty = _falling_excess(speed, readings.power_w)
    return Hysteresis(
        start_ms=start,
        stop_ms=stop,
        start_uncertainty_ms=start_uncertainty,
        stop_uncertainty_ms=stop_uncertainty,
        starts=starts.size,
        stops=stops.size,
        judged_by="power" if readings.rpm is None else "rpm",
        falling_excess=excess,
        falling_excess_uncertainty=uncertainty,
    )


def _mean(events_ms: FloatArray) -> tuple[float | None, float | None]:
    if events_ms.size < _LEAST_EVENTS:
        return None, None
    return float(events_ms.mean()), float(events_ms.std(ddof=1) / np.sqrt(events_ms.size))


def _falling_excess(speed: FloatArray, power: FloatArray) -> tuple[float | None, float | None]:
    """Return the excess of power in falling wind over rising wind, compared bin by bin."""
    change = np.diff(speed)
    number, rest = bin_number(speed[1:]), power[1:]
    total = weight = variance = base = 0.0
    for here in np.unique(number):
        rising = rest[(number == here) & (change > _STEADY_MS)]
        falling = rest[(number == here) & (change < -_STEADY_MS)]
        if min(rising.size, falling.size) < _LEAST_EVENTS or rising.mean() <= 0:
            continue
        share = 1 / (1 / rising.size + 1 / falling.size)
        total += share * (falling.mean() - rising.mean())
        spread = rising.var(ddof=1) / rising.size + falling.var(ddof=1) / falling.size
        variance += share**2 * spread
        base += share * rising.mean()
        weight += share
    if weight < _LEAST_CHANGES:
        return None, None
    return float(total / base), float(np.sqrt(variance) / base)
