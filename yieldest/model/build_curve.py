"""The power curve of a build, from whichever source its plan states."""

from __future__ import annotations

from yieldest.plan import Build, LoadNotes, Plan
from yieldest.turbine.curve_ends import Ends
from yieldest.turbine.curve_file import read_power_curve
from yieldest.turbine.generic_curve import generic_power_curve
from yieldest.turbine.load import (
    Conversion,
    as_measured,
    measured_load,
    on_load,
    read_conversion,
    typical_conversion,
)
from yieldest.turbine.power_curve import PowerCurve

TYPICAL = "typical"
"""The word in place of a file for which an ordinary converter is taken."""


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
    ends = Ends(build.cut_in_ms, build.cut_out_ms, build.extrapolation, build.rated_power_w)
    if build.curve is not None:
        return read_power_curve(
            plan.file(build.curve),
            ends=ends,
            rotor_area_m2=build.area_m2,
            rotor_type=build.rotor_type,
            air_density_kg_m3=build.curve_air_density_kg_m3,
        )
    if build.readings is not None:
        # Most plans name a curve, and need not wait for what readings take.
        from yieldest.model.build_readings import measured_curve  # noqa: PLC0415

        return measured_curve(plan, build, build.readings, ends)
    return _stand_in(build)


def _stand_in(build: Build) -> PowerCurve:
    # The plan lets no build through that lacks these; the types do not know.
    stated = build.generic_curve
    if (
        stated is None
        or build.area_m2 is None
        or build.cut_in_ms is None
        or build.rated_power_w is None
    ):
        raise ValueError("a build without a curve passed the plan")
    return generic_power_curve(
        build.name,
        rotor_area_m2=build.area_m2,
        power_coefficient=stated.power_coefficient,
        cut_in_ms=build.cut_in_ms,
        rated_power_w=build.rated_power_w,
        furling_ms=stated.furling_ms,
        cut_out_ms=build.cut_out_ms,
        rotor_type=build.rotor_type,
        relative_uncertainty=stated.uncertainty,
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
