"""From a build of a plan to what decides how its machines share the wind and the wires."""

from __future__ import annotations

from yieldest.energy.array_losses import MachineArray
from yieldest.energy.wakes import SECTORS, Rose, rose_of_weibull
from yieldest.model.site_wind import SiteWind
from yieldest.plan import Build
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.distribution import WindDistribution


def machine_array_of(build: Build, curve: PowerCurve, rose: Rose) -> MachineArray:
    """Gather what decides the wake and the electrical losses of a build.

    Parameters
    ----------
    build : Build
    curve : PowerCurve
        At the density of the hub.
    rose : Rose
        At the hub.
    """
    return MachineArray(
        rose=rose,
        curve=curve,
        rotor_width_m=build.width_m,
        vertical_axis=build.rotor_width_m is not None,
        count=build.count,
        array=build.array,
        cables=build.cable,
        converters=build.converter,
    )


def rose_of(
    build: Build,
    distribution: WindDistribution,
    highest_ms: float,
    wind: SiteWind | None = None,
    factor: float = 1.0,
) -> Rose:
    """Count the record by direction, or spread the distribution all round where it has none.

    Parameters
    ----------
    build : Build
    distribution : WindDistribution
        At the hub.
    highest_ms : float
        Wind that matters.
    wind : SiteWind, optional
        The directions of its record are used where it has them.
    factor : float
        Mean speed at the hub over that at the height of measurement.
    """
    sectors = SECTORS if build.array is None else build.array.sectors
    readings = None if wind is None else wind.in_sectors(sectors)
    if wind is not None and readings is not None:
        return readings.rose(wind.long_term_factor * factor, highest_ms)
    return rose_of_weibull(distribution.shape, distribution.scale_ms, highest_ms, sectors)
