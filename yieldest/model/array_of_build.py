"""From a build of a plan to what decides how its machines share the wind and the wires."""

from __future__ import annotations

import numpy as np

from yieldest.energy.array_losses import MachineArray
from yieldest.energy.wakes import SECTORS, Rose, rose_of_readings, rose_of_weibull
from yieldest.plan import Build
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.record import Record


def machine_array_of(
    build: Build,
    distribution: WindDistribution,
    curve: PowerCurve,
    record: Record | None,
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
    record : Record or None
        At the height of measurement; its directions are used where it has them.
    factor : float
        Speed at the hub over speed in the record.
    """
    array = build.array
    sectors = SECTORS if array is None else array.sectors
    return MachineArray(
        rose=_rose(distribution, curve.cut_out_ms, record, factor, sectors),
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
    record: Record | None,
    factor: float,
    sectors: int,
) -> Rose:
    """Count the record by direction, or spread the distribution all round where it has none."""
    if record is not None and record.direction_deg is not None:
        known = np.isfinite(record.direction_deg) & np.isfinite(record.speed_ms)
        if known.any():
            speed = record.speed_ms * factor
            return rose_of_readings(speed, record.direction_deg, highest_ms, sectors)
    return rose_of_weibull(distribution.shape, distribution.scale_ms, highest_ms, sectors)
