"""The power curve of a build, from whichever source its plan states."""

from __future__ import annotations

from typing import TYPE_CHECKING

from yieldest.frozen import frozen_dataclass
from yieldest.plan import Build, Plan
from yieldest.turbine.curve_file import CurveFile, curve_of_file, read_curve_file
from yieldest.turbine.generic_curve import generic_power_curve
from yieldest.turbine.load import TYPICAL, Conversion, as_measured, on_load, read_conversion
from yieldest.turbine.meters import Meters
from yieldest.turbine.power_curve import PowerCurve

if TYPE_CHECKING:
    from yieldest.turbine.readings import Readings

_OF_THE_FILE = {"curve", "readings", "meters"}
"""Keys of a build that say which file its curve is made from, and how that is read."""
_NOT_OF_THE_FILE = {
    "averaging_s",
    "elevation_m",
    "temperature_c",
    "power_uncertainty",
    "speed_uncertainty",
    "speed_uncertainty_ms",
}
"""Keys of the meters that only say what is made of readings once they are read."""


@frozen_dataclass
class BuildCurve:
    """The power curve of a build as its source gives it, with what the machine feeds.

    `source` is in the air it is stated for and on the load it was measured on; `conversion` is that
    of the file that the plan names, and `file` is what that of the curve or of the readings says,
    None without one.
    """

    settings: Build
    source: PowerCurve
    conversion: Conversion | None
    file: CurveFile | Readings | None = None

    def at_density(self, air_density_kg_m3: float) -> PowerCurve:
        """Return the curve for an air density and for the load that the machine will feed."""
        build = self.settings
        curve = self.source.at_density(air_density_kg_m3, build.density_correction)
        if build.load is None:
            return as_measured(build.name, curve)
        return on_load(build.name, curve, build.load, self.conversion)


def read_build_curve(plan: Plan, build: Build, like: BuildCurve | None = None) -> BuildCurve:
    """Read the files that the power curve of a build is made from.

    Parameters
    ----------
    plan : Plan
    build : Build
        Of that plan.
    like : BuildCurve, optional
        Of a variant of the build: the same file of a curve or of readings is not read again.
    """
    load = build.load
    conversion = None
    if load is not None and load.conversion not in (None, TYPICAL):
        conversion = read_conversion(plan.file(str(load.conversion)), load)
    if like is not None and _reads_alike(build, like.settings):
        file = like.file
    else:
        file = _read_file(plan, build)
    return BuildCurve(build, _source_curve(build, file), conversion, file)


def _reads_alike(build: Build, other: Build) -> bool:
    """Return whether two builds read the same file in the same way."""
    others = build.differs_in(other) & _OF_THE_FILE
    if others == {"meters"}:
        mine, its = build.meters or Meters(), other.meters or Meters()
        return mine.differs_in(its) <= _NOT_OF_THE_FILE
    return not others


def _read_file(plan: Plan, build: Build) -> CurveFile | Readings | None:
    if build.curve is not None:
        return read_curve_file(plan.file(build.curve))
    if build.readings is not None:
        # Most plans name a curve, and need not wait for what readings take.
        from yieldest.turbine.reading_file import read_readings  # noqa: PLC0415

        return read_readings(plan.file(build.readings), build.meters)
    return None


def _source_curve(build: Build, file: CurveFile | Readings | None) -> PowerCurve:
    """Return the power curve of a build as its source gives it."""
    if isinstance(file, CurveFile):
        return curve_of_file(
            file,
            ends=build,
            rotor_area_m2=build.area_m2,
            rotor_type=build.rotor_type,
            air_density_kg_m3=build.curve_air_density_kg_m3,
        )
    if file is not None:
        from yieldest.turbine.measured_curve import measure_curve  # noqa: PLC0415 - as above

        return measure_curve(
            file,
            build.meters,
            rotor_area_m2=build.area_m2,
            rotor_type=build.rotor_type,
            density_correction=build.density_correction,
            load=None if build.load is None else build.load.measured_on,
            air_density_kg_m3=build.curve_air_density_kg_m3,
            ends=build,
        ).curve
    # The plan lets no build through that lacks these; the types do not know.
    assert build.generic_curve is not None and build.area_m2 is not None
    assert build.cut_in_ms is not None and build.rated_power_w is not None
    return generic_power_curve(
        build.name,
        build.generic_curve,
        rotor_area_m2=build.area_m2,
        cut_in_ms=build.cut_in_ms,
        rated_power_w=build.rated_power_w,
        cut_out_ms=build.cut_out_ms,
        rotor_type=build.rotor_type,
    )
