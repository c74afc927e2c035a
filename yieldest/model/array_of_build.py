"""From a build of a plan to what decides how its machines share the wind and the wires."""

from __future__ import annotations

import numpy as np

from yieldest.energy.array_losses import Layout, MachineArray
from yieldest.energy.cables import Cable, Converter
from yieldest.energy.wind_rose import SECTORS, Rose, rose_of_readings, rose_of_weibull
from yieldest.plan import Array, Build
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.wind_record import WindRecord


def machine_array_of(
    build: Build,
    distribution: WindDistribution,
    curve: PowerCurve,
    record: WindRecord | None,
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
    record : WindRecord or None
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
        layout=None if array is None else _layout(array),
        cables=tuple(
            Cable(
                cable.length_m,
                cable.cross_section_mm2,
                cable.voltage_v,
                cable.arrangement,
                cable.power_factor,
                cable.conductor_temperature_c,
                shared=cable.carries == "the array",
            )
            for cable in build.cable
        ),
        converters=tuple(
            Converter(converter.efficiency, converter.limit_w, converter.carries == "the array")
            for converter in build.converter
        ),
    )


def _layout(array: Array) -> Layout:
    places = array.coordinates_m
    return Layout(
        positions_m=None if places is None else np.array(places),
        bearing_deg=array.bearing_deg or 0.0,
        spacing_diameters=array.spacing_rotor_diameters or 0.0,
        row_spacing_diameters=array.row_spacing_rotor_diameters,
        columns=array.columns,
        array_efficiency=array.array_efficiency,
        array_efficiency_uncertainty=array.array_efficiency_uncertainty,
        evidence=array.evidence or "",
        wake_decay=array.wake_decay,
        thrust_coefficient=array.thrust_coefficient,
        sectors=array.sectors,
    )


def _rose(
    distribution: WindDistribution,
    highest_ms: float,
    record: WindRecord | None,
    factor: float,
    sectors: int,
) -> Rose:
    """Count the record by direction, or spread the distribution all round where it has none."""
    if record is not None and record.direction_deg is not None:
        known = np.isfinite(record.direction_deg) & np.isfinite(record.speed_ms)
        if known.any():
            speed = record.speed_ms * factor
            return rose_of_readings(speed, record.direction_deg, highest_ms, sectors)
    return rose_of_weibull(distribution.shape, distribution.scale_ms, None, highest_ms, sectors)
