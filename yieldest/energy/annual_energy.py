"""What a build makes in a year: gross and net energy, capacity factor and hours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from yieldest.arrays import FloatArray, plainly
from yieldest.energy.closed_form import (
    HOURS_PER_YEAR,
    YearlyHours,
    gross_kwh_per_year,
    idle_kwh_per_year,
    yearly_hours,
)
from yieldest.energy.extrapolation import mean_power_beyond_w
from yieldest.energy.from_series import (
    gross_kwh_of_readings,
    sort_readings,
    yearly_hours_of_readings,
)
from yieldest.energy.losses import Loss, assumed_losses, kept_share
from yieldest.provenance import Provenance
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.long_term.correction import YEAR_TO_YEAR_SPREAD

POOR_FIT = 0.05
"""A fitted energy farther than this from the record's own is warned of; our choice."""
BEYOND_WORDS = {
    "hold": "was only held level",
    "zero": "falls to nothing",
    "cube law": "was only extended by the cube law",
}
MUCH_ABOVE_LAST = 0.10
"""More energy than this share from above the last measured speed is warned of; our choice."""

FITTED_METHOD = (
    "Weibull distribution through the straight pieces of the curve, in closed form (incomplete "
    "gamma function); year of 8760 h"
)


@dataclass(frozen=True)
class Energy:
    """What a build makes in a year, all its machines together.

    Parameters
    ----------
    count : int
        Number of machines.
    gross_kwh_per_year : float
        Before losses: from the fitted distribution or from the readings, whichever is used.
    fitted_gross_kwh_per_year : float
        From the fitted distribution.
    time_series_gross_kwh_per_year : float or None
        Reading by reading from the record; None without one.
    from_readings : bool
        Whether the readings are used: when they were asked for, or the fit is too far from them.
    beyond_last_kwh_per_year : float
        The part of the gross energy from winds above the last measured speed of the curve.
    idle_draw_kwh_per_year : float
        What the converters draw while the machines make nothing.
    net_kwh_per_year : float
        After losses and idle draw.
    inter_annual_low_kwh, inter_annual_high_kwh : float
        Net energy when the mean speed is one usual year-to-year spread (6 %) lower or higher.
    capacity_factor : float or None
        Net energy over rated power all year round; None when the curve makes no power.
    hours : YearlyHours
        Of one machine.
    losses : tuple of Loss
    provenance : Provenance
    """

    count: int
    gross_kwh_per_year: float
    fitted_gross_kwh_per_year: float
    time_series_gross_kwh_per_year: float | None
    from_readings: bool
    beyond_last_kwh_per_year: float
    idle_draw_kwh_per_year: float
    net_kwh_per_year: float
    inter_annual_low_kwh: float
    inter_annual_high_kwh: float
    capacity_factor: float | None
    hours: YearlyHours
    losses: tuple[Loss, ...]
    provenance: Provenance


@dataclass(frozen=True)
class Readings:
    """The readings of a record, carried to the hub.

    Parameters
    ----------
    speed_ms, weight : ndarray, shape (n,)
        Speed at the hub, and how much each reading counts.
    """

    speed_ms: FloatArray
    weight: FloatArray


def produce(
    distribution: WindDistribution,
    curve: PowerCurve,
    losses: tuple[Loss, ...],
    count: int,
    readings: Readings | None,
) -> Energy:
    """Put a power curve into a distribution.

    Parameters
    ----------
    distribution : WindDistribution
        At the hub.
    curve : PowerCurve
        For the density at the hub.
    losses : tuple of Loss
    count : int
        Number of machines.
    readings : Readings or None
        Of the record, at the hub.
    """
    kwh_per_mean_w = count * HOURS_PER_YEAR / 1000
    factors = 1 + YEAR_TO_YEAR_SPREAD * np.array([0.0, -1.0, 1.0])
    gross, calm_year, windy_year = gross_kwh_per_year(
        distribution.shape,
        distribution.scale_ms * factors,
        distribution.calm_share,
        curve.speed_ms,
        curve.power_w,
        count,
    )
    fitted = float(gross)
    hours = yearly_hours(
        distribution.shape,
        distribution.scale_ms,
        distribution.calm_share,
        curve.speed_ms,
        curve.power_w,
        curve.rated_power_w,
    )
    kept = kept_share(losses)
    above_last = (
        (1 - distribution.calm_share)
        * float(mean_power_beyond_w(distribution.shape, distribution.scale_ms, curve))
        * kwh_per_mean_w
    )
    from_record = None
    from_readings = False
    warnings = []
    if readings is not None:
        by_readings = gross_kwh_of_readings(
            sort_readings(readings.speed_ms, readings.weight),
            factors,
            curve.speed_ms,
            curve.power_w,
            count,
        )
        from_record = float(by_readings[0])
        error = abs(fitted - from_record)
        from_readings = distribution.reading_limit == 0 or (
            distribution.reading_limit is not None
            and error > distribution.reading_limit * from_record
        )
        if from_readings:
            gross, calm_year, windy_year = by_readings
            power = curve.power_at(readings.speed_ms)
            beyond = np.where(readings.speed_ms > curve.last_measured_ms, power, 0.0)
            above_last = float(beyond @ readings.weight / readings.weight.sum()) * kwh_per_mean_w
            hours = yearly_hours_of_readings(
                power,
                readings.speed_ms,
                readings.weight,
                curve.cut_out_ms,
                curve.rated_power_w,
            )
        if error > POOR_FIT * from_record:
            used = (
                "the readings are used"
                if from_readings
                else "the fit is used, so trust neither figure beyond that"
            )
            warnings.append(
                f"The fitted distribution gives {plainly(fitted)} kWh a year and the wind data "
                f"themselves {plainly(from_record)} kWh, more than {100 * POOR_FIT:.0f} % apart: "
                f"the Weibull distribution is a poor fit here; {used}."
            )
    if gross > 0 and above_last > MUCH_ABOVE_LAST * gross:
        warnings.append(
            f"{100 * above_last / gross:.0f} % of the energy comes from winds above "
            f"{curve.last_measured_ms:.3g} m/s, the last speed of the curve, where it "
            f"{BEYOND_WORDS[curve.extrapolation]}."
        )
    stopped_kwh = hours.cut_out * float(curve.power_at(curve.cut_out_ms)) * count / 1000
    if gross > 0 and stopped_kwh > MUCH_ABOVE_LAST * gross:
        warnings.append(
            f"For {hours.cut_out:,.0f} hours a year it blows above {curve.cut_out_ms:.3g} m/s, "
            f"where no power is counted; at the last power these would bring "
            f"{plainly(stopped_kwh, 2)} kWh. If the machine runs on there, state its cut_out_ms."
        )
    if gross <= 0:
        warnings.append(
            "The build makes no energy in this wind, so there is no cost per kWh and no payback."
        )
    idle_draw = float(idle_kwh_per_year(curve.idle_draw_w, hours.running / HOURS_PER_YEAR, count))
    net = float(gross) * kept - idle_draw
    if gross > 0 and net <= 0:
        warnings.append("The converters draw more in a year than the machines make.")
    rated_kwh = curve.rated_power_w * kwh_per_mean_w
    return Energy(
        count=count,
        gross_kwh_per_year=float(gross),
        fitted_gross_kwh_per_year=fitted,
        time_series_gross_kwh_per_year=from_record,
        from_readings=from_readings,
        beyond_last_kwh_per_year=above_last,
        idle_draw_kwh_per_year=idle_draw,
        net_kwh_per_year=net,
        inter_annual_low_kwh=float(calm_year) * kept - idle_draw,
        inter_annual_high_kwh=float(windy_year) * kept - idle_draw,
        capacity_factor=net / rated_kwh if rated_kwh > 0 else None,
        hours=hours,
        losses=losses,
        provenance=Provenance(
            source=curve.provenance.source,
            method="the curve at every reading (class, month) of the wind, mean times 8760 h "
            "(empirical distribution)"
            if from_readings
            else FITTED_METHOD,
            assumed=assumed_losses(losses, count),
            warnings=tuple(warnings),
        ),
    )
