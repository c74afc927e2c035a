"""A power curve in turbulence stronger than it was measured in: what it takes, and what not."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from yieldest.energy.closed_form import mean_power_w
from yieldest.hub.turbulence import added_intensity, curve_in_turbulence
from yieldest.provenance import Finding
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.distribution import WindDistribution


@dataclass(frozen=True)
class TurbulenceEffect(Finding):
    """What turbulence does to the energy of a build.

    The intensity is that of the site (standard deviation of the speed over its mean); the effect is
    the share by which the gross energy changes if the machine follows every gust. Only a loss is
    counted.
    """

    intensity: float
    effect: float
    counted: bool


def in_turbulence(
    curve: PowerCurve, distribution: WindDistribution, intensity: float
) -> tuple[PowerCurve, TurbulenceEffect]:
    """Blur a curve by the turbulence it was not measured in, where that takes energy.

    The curve comes back as it was where turbulence would add energy: a small rotor does not follow
    the gusts that a formula counts, so a gain on paper is not earned.
    """
    speed, power = curve_in_turbulence(
        curve.speed_ms, curve.power_w, float(added_intensity(intensity))
    )
    before = float(
        mean_power_w(distribution.shape, distribution.scale_ms, curve.speed_ms, curve.power_w)
    )
    after = float(mean_power_w(distribution.shape, distribution.scale_ms, speed, power))
    effect = after / before - 1 if before > 0 else 0.0
    counted = effect < 0
    if counted:
        thrust, uncertainty = curve.thrust_coefficient, curve.power_uncertainty_w
        curve = replace(
            curve,
            speed_ms=speed,
            power_w=power,
            thrust_coefficient=(
                None if thrust is None else np.interp(speed, curve.speed_ms, thrust)
            ),
            power_uncertainty_w=None
            if uncertainty is None
            else np.interp(speed, curve.speed_ms, uncertainty),
            family=None,
        )
    return curve, TurbulenceEffect(intensity, effect, counted)
