"""Density of moist air by the equation of the International Committee for Weights and Measures."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.units import ZERO_CELSIUS_K

_GAS_CONSTANT = 8.314472
_MOLAR_MASS_DRY = 28.96546e-3
_MOLAR_MASS_WATER = 18.01528e-3


def saturation_pressure_pa(temperature_k: npt.ArrayLike) -> FloatArray:
    """Return the vapour pressure of water at saturation, exp(A T2 + B T + C + D/T) (CIPM-2007)."""
    t = floats(temperature_k)
    return np.asarray(
        np.exp(1.2378847e-5 * t**2 - 1.9121316e-2 * t + 33.93711047 - 6.3431645e3 / t)
    )


def moist_air_density(
    pressure_pa: npt.ArrayLike, temperature_k: npt.ArrayLike, relative_humidity: npt.ArrayLike
) -> FloatArray:
    r"""Return the density of moist air in kg/m3.

    Parameters
    ----------
    pressure_pa, temperature_k : array_like
        All arguments broadcast.
    relative_humidity : array_like
        From 0 to 1.

    Notes
    -----
    CIPM-2007: Picard, Davis, Glaeser & Fujii, "Revised formula for the density of moist air",
    *Metrologia* 45 (2008) 149-155, with 0.04 % carbon dioxide (constants from memory):

    .. math:: \rho = \frac{p M_a}{Z R T}\left[1 - x_v\left(1 - \frac{M_v}{M_a}\right)\right]

    Stated for 600 to 1100 hPa and 15 to 27 C; outside, the vapour still matters far more than what
    the formula then misses.
    """
    p, t = floats(pressure_pa), floats(temperature_k)
    celsius = t - ZERO_CELSIUS_K
    enhancement = 1.00062 + 3.14e-8 * p + 5.6e-7 * celsius**2
    vapour = floats(relative_humidity) * enhancement * saturation_pressure_pa(t) / p
    compressibility = (
        1
        - p / t * (
            1.58123e-6 - 2.9331e-8 * celsius + 1.1043e-10 * celsius**2
            + (5.707e-6 - 2.051e-8 * celsius) * vapour
            + (1.9898e-4 - 2.376e-6 * celsius) * vapour**2
        )
        + (p / t) ** 2 * (1.83e-11 - 0.765e-8 * vapour**2)
    )  # fmt: skip
    dry = p * _MOLAR_MASS_DRY / (compressibility * _GAS_CONSTANT * t)
    return np.asarray(dry * (1 - vapour * (1 - _MOLAR_MASS_WATER / _MOLAR_MASS_DRY)))
