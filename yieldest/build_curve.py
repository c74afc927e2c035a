"""The power curve of a build, from whichever source its plan states."""

from __future__ import annotations

from yieldest.plan import Build, LoadNotes, Plan
from yieldest.turbine.air_at_test import AirAtTest
from yieldest.turbine.bins import POWER_DOUBT, SPEED_DOUBT, SPEED_DOUBT_MS, MeterDoubt
from yieldest.turbine.curve import PowerCurve
from yieldest.turbine.ends import Ends
from yieldest.turbine.files import read_curve
from yieldest.turbine.load import (
    Conversion,
    as_measured,
    measured_load,
    on_load,
    read_conversion,
    typical_conversion,
)
from yieldest.turbine.measured import Machine, measure_curve
from yieldest.turbine.meters import Meters
from yieldest.turbine.stand_in import stand_in_curve

TYPICAL = "typical"
"""The word in place of a file for which an ordinary converter is taken."""
_AIR_AND_DOUBT = {"elevation_m", "temperature_c", "power_doubt", "speed_doubt", "speed_doubt_ms"}


def curve_at_hub(
    plan: Plan, build: Build, air_density_kg_m3: float, source: PowerCurve | None = None
) -> PowerCurve:
    """Return the curve of a build for an air density and for the load it will feed.

    Parameters
    ----------
    plan : Plan
    build : Build
        Of that plan.
    air_density_kg_m3 : float
    source : PowerCurve, optional
        From `read_build_curve`, where it was read already.

    Raises
    ------
    InputError
        When a file cannot be used, or what the plan states cannot be.
    """
    if source is None:
        source = read_build_curve(plan, build)
    curve = source.at_density(air_density_kg_m3, build.density_correction)
    load = build.load
    if load is None:
        return as_measured(build.name, curve)
    return on_load(
        build.name,
        curve,
        load.kind,
        measured_load(build.name, curve, load.measured_on),
        _conversion(plan, build, load, curve.rated_power_w),
        load.idle_draw_w,
    )


def read_build_curve(plan: Plan, build: Build) -> PowerCurve:
    """Read the power curve of a build as its source gives it."""
    ends = Ends(build.cut_in_ms, build.cut_out_ms, build.beyond_last, build.rated_power_w)
    if build.curve is not None:
        return read_curve(
            plan.file(build.curve),
            ends=ends,
            rotor_area_m2=build.area_m2,
            rotor_type=build.rotor_type,
            air_density_kg_m3=build.curve_air_density_kg_m3,
        )
    if build.readings is not None:
        return _measured(plan, build, build.readings, ends)
    return _stand_in(build)


def _measured(plan: Plan, build: Build, readings: str, ends: Ends) -> PowerCurve:
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


def _stand_in(build: Build) -> PowerCurve:
    # The plan lets no build through that lacks these; the types do not know.
    stated = build.stand_in
    if (
        stated is None
        or build.area_m2 is None
        or build.cut_in_ms is None
        or build.rated_power_w is None
    ):
        raise ValueError("a build without a curve passed the plan")
    return stand_in_curve(
        build.name,
        rotor_area_m2=build.area_m2,
        power_coefficient=stated.power_coefficient,
        cut_in_ms=build.cut_in_ms,
        rated_power_w=build.rated_power_w,
        furling_ms=stated.furling_ms,
        cut_out_ms=build.cut_out_ms,
        rotor_type=build.rotor_type,
        relative_doubt=stated.doubt,
    )


def _conversion(
    plan: Plan, build: Build, load: LoadNotes, rated_power_w: float
) -> Conversion | None:
    if load.conversion is None:
        return None
    if load.conversion == TYPICAL:
        return typical_conversion(
            build.name,
            load.kind,
            rated_power_w,
            load.battery_volts,
            load.no_load_draw_w,
            load.start_up_w,
        )
    return read_conversion(plan.file(load.conversion), load.no_load_draw_w, load.start_up_w)
