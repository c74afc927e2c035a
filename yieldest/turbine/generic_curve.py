"""A generic curve for a machine that nobody has measured yet: always labelled as modelled."""

from __future__ import annotations

import numpy as np

from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.errors import InputError
from yieldest.provenance import Finding, Provenance
from yieldest.settings import CutSpeed, Positive, Settings, Share, key
from yieldest.turbine.power_curve import MODELLED_UNCERTAINTY, CurveUncertaintyAssumed, PowerCurve
from yieldest.turbine.rotor import RotorType, judge_coefficient, power_in_wind_w

FURLING_WIDTH_MS = 5.0
"""A furling machine is taken to fall from rated power to none over this much wind; our choice, on
the careful side."""
_STEP_MS = 0.1
"""Straight pieces of this width lie within 0.1 % of a cube above 3 m/s."""


class GenericCurve(Settings):
    """A modelled curve for a machine nobody has measured."""

    power_coefficient: Positive = key(
        "share of the wind's power that arrives, from wind to wire; below 16/27", 0.2, default=...
    )
    furling_ms: CutSpeed | None = key(
        f"from here the power falls to nothing over {FURLING_WIDTH_MS:g} m/s",
        12,
        unit="m/s",
        left_out="the curve ends at cut_out_ms",
    )
    uncertainty: Share | None = key(
        "standard uncertainty of the power", 0.2, unit="share", left_out=f"{MODELLED_UNCERTAINTY:g}"
    )


class NeverRated(Finding):
    """The machine furls or stops below the speed of its rated power."""

    name: str
    rated_power_w: float
    needed_ms: float
    level_to_ms: float


class NobodyMeasured(Finding):
    """The curve is modelled from the rotor area."""

    name: str
    relative_uncertainty: float


def generic_power_curve(
    name: str,
    generic: GenericCurve,
    *,
    rotor_area_m2: float,
    cut_in_ms: float,
    rated_power_w: float,
    cut_out_ms: float | None = None,
    rotor_type: RotorType | None = None,
) -> PowerCurve:
    """Make a curve from a few round numbers; `name` is the build's, for messages.

    Raises
    ------
    InputError
        When the coefficient beats Betz, the speeds do not follow each other, or neither a cut-out
        nor a furling speed ends the curve.

    Notes
    -----
    P = rho A v^3 Cp / 2 at 1.225 kg/m3, level at rated power (definition of the coefficient). A
    real coefficient is lower near cut-in and near rated power, so the shape flatters both.
    """
    furling_ms = generic.furling_ms
    warnings = judge_coefficient(
        lambda: f"{name}: in generic_curve", generic.power_coefficient, rotor_type
    )
    if furling_ms is None and cut_out_ms is None:
        raise InputError(
            f"{name}: a generic curve must end somewhere; state furling_ms or cut_out_ms."
        )
    per_cube = generic.power_coefficient * float(
        power_in_wind_w(1.0, rotor_area_m2, STANDARD_DENSITY_KG_M3)
    )
    rated_ms = float(np.cbrt(rated_power_w / per_cube))
    level_to = furling_ms if furling_ms is not None else float(cut_out_ms or 0)
    end = cut_out_ms if cut_out_ms is not None else level_to + FURLING_WIDTH_MS
    if not cut_in_ms < level_to <= end:
        raise InputError(
            f"{name}: cut-in {cut_in_ms:g} m/s, furling and cut-out {end:g} m/s do not follow each "
            "other; mend cut_in_ms, furling_ms or cut_out_ms."
        )
    if rated_ms < cut_in_ms:
        raise InputError(
            f"{name}: rated power {rated_power_w:g} W is reached at {rated_ms:.2g} m/s, below the "
            f"cut-in of {cut_in_ms:g} m/s; mend rated_power_w (in W, not kW) or cut_in_ms."
        )
    if rated_ms > level_to:
        warnings.append(NeverRated(name, rated_power_w, rated_ms, level_to))
    speed = np.arange(cut_in_ms, min(rated_ms, level_to), _STEP_MS)
    speed = np.union1d(speed, [cut_in_ms, max(cut_in_ms, min(rated_ms, level_to)), level_to])
    power = np.minimum(rated_power_w, per_cube * speed**3)
    if furling_ms is not None and end > level_to:
        falls_to = max(0.0, 1 - (end - level_to) / FURLING_WIDTH_MS)
        fallen = np.unique([min(end, level_to + FURLING_WIDTH_MS), end])
        speed = np.concatenate((speed, fallen))
        power = np.concatenate((power, np.full(fallen.size, power[-1] * falls_to)))
    uncertainty = generic.uncertainty
    assumed: list[Finding] = []
    if uncertainty is None:
        uncertainty = MODELLED_UNCERTAINTY
        assumed.append(CurveUncertaintyAssumed(name, uncertainty))
    return PowerCurve(
        speed,
        power,
        rotor_area_m2,
        rated_power_w=rated_power_w,
        provenance=Provenance(
            source=f"{name}: generic_curve",
            method=f"modelled: rotor area {rotor_area_m2:.3g} m2 x power coefficient "
            f"{generic.power_coefficient:g} x cube of the speed, level at {rated_power_w:g} W",
            assumed=tuple(assumed),
            warnings=(NobodyMeasured(name, uncertainty), *warnings),
        ),
        relative_uncertainty=uncertainty,
        modelled=True,
    )
