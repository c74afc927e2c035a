"""The power curve of a build from the readings that its plan names."""

from __future__ import annotations

from yieldest.plan import Build, Plan
from yieldest.turbine.air_at_readings import AirAtTest
from yieldest.turbine.bins import (
    POWER_UNCERTAINTY,
    SPEED_UNCERTAINTY,
    SPEED_UNCERTAINTY_MS,
    MeterUncertainty,
)
from yieldest.turbine.curve_ends import Ends
from yieldest.turbine.measured_curve import Machine, measure_curve
from yieldest.turbine.meters import Meters
from yieldest.turbine.power_curve import PowerCurve

_AIR_AND_UNCERTAINTY = {
    "elevation_m",
    "temperature_c",
    "power_uncertainty",
    "speed_uncertainty",
    "speed_uncertainty_ms",
}


def measured_curve(plan: Plan, build: Build, readings: str, ends: Ends) -> PowerCurve:
    """Make the curve of a build from its readings.

    Raises
    ------
    InputError
        When the readings cannot be used.
    """
    notes = build.meters.model_dump(exclude_none=True) if build.meters is not None else {}
    columns = {role.replace("_", " "): name for role, name in notes.pop("columns", {}).items()}
    meters = Meters(
        columns=columns, **{key: notes[key] for key in notes if key not in _AIR_AND_UNCERTAINTY}
    )
    return measure_curve(
        plan.file(readings),
        meters,
        Machine(
            rotor_area_m2=build.area_m2,
            rotor_type=build.rotor_type,
            correction=build.density_correction,
            load=None if build.load is None else build.load.measured_on,
        ),
        air=AirAtTest(
            build.curve_air_density_kg_m3, notes.get("elevation_m"), notes.get("temperature_c")
        ),
        uncertainty=meter_uncertainty(
            notes.get("power_uncertainty"),
            notes.get("speed_uncertainty"),
            notes.get("speed_uncertainty_ms"),
        ),
        ends=ends,
    ).curve


def meter_uncertainty(
    power: float | None, speed: float | None, speed_ms: float | None
) -> MeterUncertainty | None:
    """Return the stated uncertainties of the meters, None where none is."""
    if power is None and speed is None and speed_ms is None:
        return None
    return MeterUncertainty(
        POWER_UNCERTAINTY if power is None else power,
        SPEED_UNCERTAINTY if speed is None else speed,
        SPEED_UNCERTAINTY_MS if speed_ms is None else speed_ms,
    )
