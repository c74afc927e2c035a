"""Where a curve begins and ends: cut-in, cut-out, and what is counted beyond the last point."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
from pydantic import Field

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.provenance import Finding
from yieldest.settings import HIGHEST_CUT_OUT_MS, CutSpeed, Positive, Settings, key
from yieldest.turbine.power_curve import Extrapolation

EXTRAPOLATION_UNCERTAINTY = 0.20
"""Standard uncertainty of power nobody measured, as a share of it, on top of that of the last
point; our choice."""
_CUBE_STEP_MS = 0.25
"""Straight pieces of this width lie within 0.1 % of a cube above 6 m/s."""


@dataclass(frozen=True)
class Points:
    """The points of a curve before its ends are placed.

    Parameters
    ----------
    speed_ms : ndarray, shape (n,)
        Strictly increasing.
    power_w : ndarray, shape (m, n)
        One row for each air density.
    uncertainty_w, thrust_coefficient : ndarray, shape (n,), or None
    """

    speed_ms: FloatArray
    power_w: FloatArray
    uncertainty_w: FloatArray | None = None
    thrust_coefficient: FloatArray | None = None

    def at(self, speed_ms: FloatArray) -> Points:
        """Return the points at other speeds; zero power below the first, the last values held."""

        def interpolated(values: FloatArray | None) -> FloatArray | None:
            return None if values is None else np.interp(speed_ms, self.speed_ms, values)

        return Points(
            speed_ms,
            np.array([np.interp(speed_ms, self.speed_ms, row, left=0.0) for row in self.power_w]),
            interpolated(self.uncertainty_w),
            interpolated(self.thrust_coefficient),
        )


class Ends(Settings):
    """What is stated about the ends of a curve."""

    cut_in_ms: Annotated[
        Annotated[float, Field(ge=0, le=HIGHEST_CUT_OUT_MS)] | None,
        key("no power below it", 3, unit="m/s", left_out="the first speed of the curve"),
    ] = None
    cut_out_ms: Annotated[
        CutSpeed | None,
        key("no power above it", 18, unit="m/s", left_out="the last speed of the curve"),
    ] = None
    extrapolation: Annotated[
        Extrapolation | None,
        key(
            "what is counted between the last speed of the curve and cut_out_ms: the last power, "
            "nothing, or the cube law up to rated_power_w",
            "zero",
            left_out="hold, and that is said",
        ),
    ] = None
    rated_power_w: Annotated[
        Positive | None,
        key("rated power of one machine", 500, unit="W", left_out="the highest power of the curve"),
    ] = None


@dataclass(frozen=True)
class NothingAboveLast(Finding):
    """No power is counted above the last speed, for no cut-out is stated."""

    name: str
    last_ms: float


@dataclass(frozen=True)
class LastPowerHeld(Finding):
    """The last power is held up to the cut-out, for no extrapolation is stated."""

    name: str
    last_ms: float
    cut_out_ms: float


def place_ends(
    name: str, points: Points, ends: Ends
) -> tuple[Points, Extrapolation, tuple[Finding, ...]]:
    """Cut points off at, or stretch them to, cut-in and cut-out.

    Parameters
    ----------
    name : str
        The file, for messages.
    points : Points
    ends : Ends
        Without a cut-out no power is counted beyond the last point. With one above the last point,
        `extrapolation` says what is counted between: the last power ("hold", the default), nothing
        ("zero"), or the last power times the cube of the speed ratio up to the rated power
        ("cube law").

    Returns
    -------
    points : Points
    extrapolation : {"hold", "zero", "cube law"}
        What was done.
    assumed : tuple of Finding

    Raises
    ------
    InputError
        When cut-in and cut-out leave nothing, or a choice lacks the value it needs.
    """
    speed = points.speed_ms
    last = float(speed[-1])
    stretched = ends.cut_out_ms is not None and ends.cut_out_ms > last
    beyond, assumed = _choice(name, ends, last, stretched)
    first = float(speed[0]) if ends.cut_in_ms is None else ends.cut_in_ms
    end = last if ends.cut_out_ms is None else ends.cut_out_ms
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
    inside = speed[(speed > first) & (speed < end)]
    if not stretched:
        return points.at(np.concatenate(([first], inside, [end]))), beyond, assumed
    measured = points.at(np.concatenate(([first], inside)))
    if beyond == "zero":
        return measured, beyond, assumed
    return _stretched(measured, end, beyond, ends.rated_power_w), beyond, assumed


def _choice(
    name: str, ends: Ends, last: float, stretched: bool
) -> tuple[Extrapolation, tuple[Finding, ...]]:
    if ends.cut_out_ms is None:
        if ends.extrapolation in ("hold", "cube law"):
            raise InputError(
                f"{name}: extrapolation is {ends.extrapolation!r}, but up to which speed is not "
                "stated; state cut_out_ms."
            )
        if ends.extrapolation is None:
            return "zero", (NothingAboveLast(name, last),)
        return "zero", ()
    if not stretched:
        return "zero", ()
    if ends.extrapolation == "cube law" and ends.rated_power_w is None:
        raise InputError(
            f"{name}: extrapolation is 'cube law', but up to which power is not stated; state "
            "rated_power_w."
        )
    if ends.extrapolation is None:
        return "hold", (LastPowerHeld(name, last, ends.cut_out_ms),)
    return ends.extrapolation, ()


def _stretched(
    points: Points, end: float, beyond: Extrapolation, rated_power_w: float | None
) -> Points:
    last = float(points.speed_ms[-1])
    added = np.array([end])
    growth = np.ones(1)
    if beyond == "cube law" and rated_power_w is not None and points.power_w[0, -1] > 0:
        # A machine that is above its rated power already is held, not pulled down.
        most = max(1.0, rated_power_w / float(points.power_w[0, -1]))
        reached = min(end, last * float(np.cbrt(most)))
        steps = np.arange(last + _CUBE_STEP_MS, reached, _CUBE_STEP_MS)
        added = np.unique(np.concatenate((steps, [reached, end])))
        added = added[added > last]
        growth = np.minimum(most, (added / last) ** 3)
    power = points.power_w[:, -1:] * growth
    uncertainty = points.uncertainty_w
    if uncertainty is not None:
        more = np.hypot(uncertainty[-1] * growth, EXTRAPOLATION_UNCERTAINTY * power[0])
        uncertainty = np.concatenate((uncertainty, more))
    thrust = points.thrust_coefficient
    if thrust is not None:
        thrust = np.concatenate((thrust, np.full(added.size, thrust[-1])))
    return Points(
        np.concatenate((points.speed_ms, added)),
        np.concatenate((points.power_w, power), axis=1),
        uncertainty,
        thrust,
    )
