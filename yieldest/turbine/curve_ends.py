"""Where a curve begins and ends: cut-in, cut-out, and what is counted beyond the last point."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

import numpy as np
from pydantic import Field

from yieldest.errors import InputError
from yieldest.provenance import Finding, Findings
from yieldest.settings import HIGHEST_CUT_OUT_MS, CutSpeed, Positive, Settings, key
from yieldest.turbine.power_curve import Extrapolation, PowerCurve

EXTRAPOLATION_UNCERTAINTY = 0.20
"""Standard uncertainty of power nobody measured, as a share of it, on top of that of the last
point; our choice."""
FAR_BELOW, FAR_ABOVE, _KILOWATTS = 2.0, 20.0, 50.0
"""A curve that rises above rated power by the first factor, or stays below it by the second, is
asked about; one that rises by the third is refused. Our choice."""
_CUBE_STEP_MS = 0.25
"""Straight pieces of this width lie within 0.1 % of a cube above 6 m/s."""


class Ends(Settings):
    """What is stated about the ends of a curve."""

    cut_in_ms: Annotated[float, Field(ge=0, le=HIGHEST_CUT_OUT_MS)] | None = key(
        "no power below it", 3, unit="m/s", left_out="the first speed of the curve"
    )
    cut_out_ms: CutSpeed | None = key(
        "no power above it", 18, unit="m/s", left_out="the last speed of the curve"
    )
    extrapolation: Extrapolation | None = key(
        "what is counted between the last speed of the curve and cut_out_ms: the last power, "
        "nothing, or the cube law up to rated_power_w",
        "zero",
        left_out="hold, and that is said",
    )
    rated_power_w: Positive | None = key(
        "rated power of one machine", 500, unit="W", left_out="the highest power of the curve"
    )


class EndAssumed(Finding):
    """Above the last speed the last power is held so far, or none is counted; nobody says which."""

    name: str
    last_ms: float
    held_to_ms: float | None


class RatedPowerApart(Finding):
    """The stated rated power is far below or far above the highest power of the curve."""

    name: str
    rated_power_w: float
    highest_w: float


def place_ends(name: str, curve: PowerCurve, ends: Ends) -> PowerCurve:
    """Cut a curve off at, or stretch it to, cut-in and cut-out; what was done is its extrapolation.

    Without a cut-out no power is counted beyond the last point. With one above the last point, that
    is the last power ("hold", the default), nothing ("zero"), or the last power times the cube of
    the speed ratio up to the rated power ("cube law"). An `InputError` when cut-in and cut-out
    leave nothing, or a choice lacks the value it needs; `name` is the file, for messages.
    """
    speed, last = curve.speed_ms, curve.cut_out_ms
    first = curve.cut_in_ms if ends.cut_in_ms is None else ends.cut_in_ms
    end = last if ends.cut_out_ms is None else ends.cut_out_ms
    beyond = ends.extrapolation or ("zero" if ends.cut_out_ms is None else "hold")
    if ends.cut_out_ms is None and beyond != "zero":
        raise InputError(
            f"{name}: extrapolation is {beyond!r}, but up to which speed is not stated; state "
            "cut_out_ms."
        )
    if end > last and beyond == "cube law" and ends.rated_power_w is None:
        raise InputError(
            f"{name}: extrapolation is 'cube law', but up to which power is not stated; state "
            "rated_power_w."
        )
    if not first < end:
        raise InputError(
            f"{name}: the cut-in speed {first:g} m/s is not below the cut-out speed {end:g} m/s; "
            "mend cut_in_ms or cut_out_ms."
        )
    if first >= last or end <= speed[0]:
        raise InputError(
            f"{name}: cut-in {first:g} m/s and cut-out {end:g} m/s leave none of the curve, which "
            f"runs from {speed[0]:g} to {last:g} m/s; mend cut_in_ms or cut_out_ms."
        )
    assumed: tuple[EndAssumed, ...] = ()
    if ends.extrapolation is None and (ends.cut_out_ms is None or end > last):
        assumed = (EndAssumed(name, last, ends.cut_out_ms),)
    family = curve.family
    last_w = np.append([] if family is None else family.power_w[:, -1], curve.power_w[-1])
    most = np.ones_like(last_w)
    tail = np.array([] if end > last and beyond == "zero" else [end])
    if end > last and beyond == "cube law":
        # In every air up to the same rated power; a machine that is above it already is held.
        limit = np.full_like(last_w, ends.rated_power_w or 0.0)
        most = np.maximum(1.0, np.divide(limit, last_w, out=most, where=last_w > 0))
        reached = np.minimum(end, last * np.cbrt(most))
        steps = np.arange(last + _CUBE_STEP_MS, reached.max(), _CUBE_STEP_MS)
        tail = np.unique([*steps, *reached, end])
    inside = speed[(speed > first) & (speed < end)]
    curve = curve.at_speeds(np.unique(np.concatenate(([first], inside, tail))))
    *of_family, growth = np.minimum(
        most[:, np.newaxis], np.maximum(1.0, curve.speed_ms / last) ** 3
    )
    own, family = curve.power_uncertainty_w, curve.family
    if own is not None:
        added = (curve.speed_ms > last) * EXTRAPOLATION_UNCERTAINTY * growth * last_w[-1]
        own = np.hypot(own * growth, added)
    if family is not None:
        family = replace(family, power_w=family.power_w * np.array(of_family))
    power = curve.power_w * growth
    warnings = _rated_power_questioned(name, ends.rated_power_w, float(power.max()))
    return replace(
        curve,
        power_w=power,
        rated_power_w=ends.rated_power_w or float(power.max()),
        power_uncertainty_w=own,
        family=family,
        extrapolation=beyond if end > last else "zero",
        provenance=curve.provenance.adding(assumed=assumed, warnings=warnings),
    )


def _rated_power_questioned(name: str, rated_w: float | None, highest_w: float) -> Findings:
    """Ask about a rated power far from the curve; an `InputError` where no unit fits but kW."""
    if rated_w is None or highest_w <= 0 or 1 / FAR_ABOVE <= highest_w / rated_w <= FAR_BELOW:
        return ()
    if highest_w / rated_w > _KILOWATTS:
        raise InputError(
            f"{name}: rated_power_w is {rated_w:g} W, but the curve rises to {highest_w:.4g} W; if "
            f"kW are meant, write rated_power_w = {1000 * rated_w:g}."
        )
    return (RatedPowerApart(name, rated_w, highest_w),)
