"""Where the energy goes: from what the wind carries through the rotor down to what is left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from yieldest.energy.annual_energy import Energy, Readings
from yieldest.energy.closed_form import HOURS_PER_YEAR
from yieldest.turbine.plausibility import BETZ_LIMIT
from yieldest.turbine.power_curve import PowerCurve, power_in_wind_w
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.weibull import moment


@dataclass(frozen=True)
class EnergyStep:
    """What is left after one step.

    Parameters
    ----------
    name : str
        What the energy is after the step.
    left_kwh : float
        A year's energy of all machines after the step.
    lost_kwh : float
        What the step took; 0 for the first.
    assumed : bool
        Whether the share that is lost was assumed.
    """

    name: str
    left_kwh: float
    lost_kwh: float
    assumed: bool = False


def energy_steps(
    distribution: WindDistribution, curve: PowerCurve, energy: Energy, readings: Readings | None
) -> tuple[EnergyStep, ...]:
    """Return the way from the energy in the wind to the net energy of a year.

    Parameters
    ----------
    distribution : WindDistribution
        At the hub.
    curve : PowerCurve
        For the density at the hub.
    energy : Energy
        What the two make.
    readings : Readings or None
        At the hub; they give the energy in the wind where they gave that of the machine.

    Notes
    -----
    The wind through the swept area carries rho A mean(v^3) / 2, of which no rotor in free flow can
    take more than 16/27 (Betz 1920). Without a rotor area the way begins at the gross energy.
    """
    left: list[tuple[str, float, bool]] = []
    if curve.rotor_area_m2 is not None:
        if energy.from_readings and readings is not None:
            cube = float(np.average(readings.speed_ms**3, weights=readings.weight))
        else:
            cube = (1 - distribution.calm_share) * float(
                moment(distribution.shape, distribution.scale_ms, 3)
            )
        per_unit_cube = float(power_in_wind_w(1.0, curve.rotor_area_m2, curve.air_density_kg_m3))
        carried = per_unit_cube * cube * energy.count * HOURS_PER_YEAR / 1000
        left += [
            ("in the wind through the rotor", carried, False),
            ("what any rotor could take (Betz)", BETZ_LIMIT * carried, False),
        ]
    kept = energy.gross_kwh_per_year
    left.append(("what this curve makes of it (gross)", kept, False))
    for loss in energy.losses:
        if loss.share:
            kept *= 1 - loss.share
            left.append((f"after {loss.category.replace('_', ' ')}", kept, loss.assumed))
    before = [left[0][1], *(kwh for _, kwh, _ in left)]
    return tuple(
        EnergyStep(name, kwh, was - kwh, assumed)
        for (name, kwh, assumed), was in zip(left, before, strict=False)
    )
