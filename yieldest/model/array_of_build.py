"""From a build of a plan to what decides how its machines share the wind and the wires."""

from __future__ import annotations

from yieldest.energy.array_losses import MachineArray
from yieldest.energy.wakes import SECTORS, Rose, rose_of_weibull
from yieldest.model.site_wind import SiteWind
from yieldest.plan import Build
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.distribution import WindDistribution


def machine_array_of(
    build: Build,
    distribution: WindDistribution,
    curve: PowerCurve,
    wind: SiteWind | None,
    factor: float,
) -> MachineArray:
    """Gather what decides the wake and the electrical losses of a build.

    Parameters
    ----------
    build : Build
    distribution : WindDistribution
        At the hub.
    curve : PowerCurve
        At the density of the hub.
    wind : SiteWind or None
        The directions of its record are used where it has them.
    factor : float
        Mean speed at the hub over that at the height of measurement.
    """
    array = build.array
    sectors = SECTORS if array is None else array.sectors
    return MachineArray(
        rose=_rose(distribution, curve.cut_out_ms, wind, factor, sectors),
        curve=curve,
        rotor_width_m=build.width_m,
        vertical_axis=build.rotor_width_m is not None,
        count=build.count,
        array=array,
        cables=build.cable,
        converters=build.converter,
    )


def _rose(
    distribution: WindDistribution,
    highest_ms: float,
    wind: SiteWind | None,
    factor: float,
    sectors: int,
) -> Rose:
    """Count the record by direction, or spread the distribution all round where it has none."""
    readings = None if wind is None else wind.in_sectors(sectors)
    if wind is not None and readings is not None:
        return readings.rose(wind.long_term_factor * factor, highest_ms)
    return rose_of_weibull(distribution.shape, distribution.scale_ms, highest_ms, sectors)
