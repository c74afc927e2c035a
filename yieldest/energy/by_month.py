"""When in the year and in the day the energy comes: months of the net energy, and a typical day."""

from __future__ import annotations

import numpy as np

from yieldest.arrays import FloatArray, IntArray, TimeArray
from yieldest.energy.net_energy import HOURS_PER_YEAR, SpeedSeries
from yieldest.frozen import frozen_dataclass
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.data_recovery import MONTH_DAYS, month_and_hour, without_months


@frozen_dataclass
class EnergyByMonth:
    """The net energy of a year parted by month and by hour of day.

    Parameters
    ----------
    month_kwh : ndarray, shape (12,)
        January first; NaN for a month without readings. Twelve months make the year's net energy.
    hour_w : ndarray, shape (24,)
        Mean net power in each hour of the day; NaN likewise.
    in_utc : bool
        Whether the hours are in UTC, rather than by the clocks at the place.
    scarce_months : tuple of int
        Months (1 to 12) of which less than half was read.
    """

    month_kwh: FloatArray
    hour_w: FloatArray
    in_utc: bool
    scarce_months: tuple[int, ...]

    @property
    def sure_month_kwh(self) -> FloatArray:
        """The energy of the months that may be compared, shape (12,); NaN for the others."""
        return without_months(self.month_kwh, self.scarce_months)


def energy_by_month(
    time: TimeArray,
    readings: SpeedSeries,
    curve: PowerCurve,
    net_kwh: float,
    *,
    in_utc: bool = False,
    scarce_months: tuple[int, ...] = (),
) -> EnergyByMonth | None:
    """Part the net energy of a year as the curve parts it over the readings at the hub.

    Parameters
    ----------
    time : ndarray of datetime64, shape (n,)
    readings : SpeedSeries
        n of them.
    curve : PowerCurve
    net_kwh : float
        Of a year, all machines; losses and what a fit adds are spread as the energy is.
    in_utc : bool
        Whether the times are.
    scarce_months : tuple of int
        Months of which less than half was read.

    Returns
    -------
    EnergyByMonth or None
        None where the readings give no energy.
    """
    power_w, weight = curve.power_at(readings.speed_ms), readings.weight
    month, hour = month_and_hour(time)
    mean_w = float((weight * power_w).sum() / weight.sum())
    if mean_w <= 0 or net_kwh <= 0:
        return None

    def means(part: IntArray, parts: int, hours: FloatArray | float) -> FloatArray:
        held = np.bincount(part, weight, parts)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = np.bincount(part, weight * power_w, parts) / held
        whole = float((mean * hours).sum()) if (held > 0).all() else mean_w * HOURS_PER_YEAR
        return mean * net_kwh * 1000 / whole

    month_hours = 24 * MONTH_DAYS
    return EnergyByMonth(
        month_kwh=means(month, 12, month_hours) * month_hours / 1000,
        hour_w=means(hour, 24, HOURS_PER_YEAR / 24),
        in_utc=in_utc,
        scarce_months=scarce_months,
    )
