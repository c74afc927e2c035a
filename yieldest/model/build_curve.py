"""The power curve of a build, from whichever source its plan states."""

from __future__ import annotations

from dataclasses import dataclass

from yieldest.plan import Build, Plan
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


@dataclass(frozen=True)
class BuildCurve:
    """The power curve of a build as its source gives it, with what the machine feeds.

    Parameters
    ----------
    settings : Build
    source : PowerCurve
        In the air it is stated for, on the load it was measured on.
    conversion : Conversion or None
        From the file that the plan names; None without one.
    """

    settings: Build
    source: PowerCurve
    conversion: Conversion | None

    def at_density(self, air_density_kg_m3: float) -> PowerCurve:
        """Return the curve for an air density and for the load that the machine will feed.

        Parameters
        ----------
        air_density_kg_m3 : float

        Raises
        ------
        InputError
            When what the plan states of the load cannot be.
        """
        build, load = self.settings, self.settings.load
        curve = self.source.at_density(air_density_kg_m3, build.density_correction)
        if load is None:
            return as_measured(build.name, curve)
        conversion = self.conversion
        if load.conversion == TYPICAL:
            conversion = typical_conversion(
                build.name,
                load.kind,
                curve.rated_power_w,
                load.battery_volts,
                load.no_load_draw_w,
                load.start_up_w,
            )
        return on_load(
            build.name,
            curve,
            load.kind,
            measured_load(build.name, curve, load.measured_on),
            conversion,
            load.idle_draw_w,
        )


def read_build_curve(plan: Plan, build: Build) -> BuildCurve:
    """Read the files that the power curve of a build is made from.

    Raises
    ------
    InputError
        When a file cannot be used.
    """
    load = build.load
    conversion = None
    if load is not None and load.conversion not in (None, TYPICAL):
        path = plan.file(str(load.conversion))
        conversion = read_conversion(path, load.no_load_draw_w, load.start_up_w)
    return BuildCurve(build, _source_curve(plan, build), conversion)


def _source_curve(plan: Plan, build: Build) -> PowerCurve:
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
