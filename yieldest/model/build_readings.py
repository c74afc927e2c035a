"""The power curve of a build from the readings that its plan names."""

from __future__ import annotations

from yieldest.plan import Build, Plan
from yieldest.turbine.air_at_readings import AirAtTest
from yieldest.turbine.bins import POWER_DOUBT, SPEED_DOUBT, SPEED_DOUBT_MS, MeterDoubt
from yieldest.turbine.curve_ends import Ends
from yieldest.turbine.measured_curve import Machine, measure_curve
from yieldest.turbine.meters import Meters
from yieldest.turbine.power_curve import PowerCurve

_AIR_AND_DOUBT = {"elevation_m", "temperature_c", "power_doubt", "speed_doubt", "speed_doubt_ms"}


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
        columns=columns, **{key: notes[key] for key in notes if key not in _AIR_AND_DOUBT}
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
        doubt=meter_doubt(
            notes.get("power_doubt"), notes.get("speed_doubt"), notes.get("speed_doubt_ms")
        ),
        ends=ends,
    ).curve


def meter_doubt(
    power: float | None, speed: float | None, speed_ms: float | None
) -> MeterDoubt | None:
    """Return the stated doubts of the meters, ordinary ones beside them; None for none stated."""
    if power is None and speed is None and speed_ms is None:
        return None
    return MeterDoubt(
        POWER_DOUBT if power is None else power,
        SPEED_DOUBT if speed is None else speed,
        SPEED_DOUBT_MS if speed_ms is None else speed_ms,
    )
