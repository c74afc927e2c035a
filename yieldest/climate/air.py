"""Air density from elevation, temperature and pressure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.provenance import Provenance

STANDARD_DENSITY_KG_M3 = 1.225
"""Density at sea level in the standard atmosphere (ISO 2533)."""

_SEA_LEVEL_PRESSURE_PA = 101325.0
_SEA_LEVEL_TEMPERATURE_K = 288.15
_LAPSE_K_PER_M = 0.0065
_GRAVITY_MS2 = 9.80665
_GAS_CONSTANT_DRY_AIR = 287.05287
_ZERO_CELSIUS_K = 273.15
_EARTH_RADIUS_M = 6356766.0

PRESSURE_DISAGREEMENT = 0.03
"""The weather moves pressure by some 3 %; a larger distance from the standard atmosphere means
that the record was reduced to sea level, or the elevation is wrong. Our choice."""


def standard_temperature_k(elevation_m: npt.ArrayLike) -> FloatArray:
    """Return the temperature of the standard atmosphere (ISO 2533), valid to 11 km.

    Parameters
    ----------
    elevation_m : array_like
        Geometric elevation above sea level; the standard's geopotential one follows from it.
    """
    elevation = floats(elevation_m)
    geopotential_m = _EARTH_RADIUS_M * elevation / (_EARTH_RADIUS_M + elevation)
    return np.asarray(_SEA_LEVEL_TEMPERATURE_K - _LAPSE_K_PER_M * geopotential_m)


def standard_pressure_pa(elevation_m: npt.ArrayLike) -> FloatArray:
    """Return the pressure of the standard atmosphere (ISO 2533), valid to 11 km.

    Parameters
    ----------
    elevation_m : array_like
        Geometric elevation above sea level.
    """
    ratio = standard_temperature_k(elevation_m) / _SEA_LEVEL_TEMPERATURE_K
    power = _GRAVITY_MS2 / (_GAS_CONSTANT_DRY_AIR * _LAPSE_K_PER_M)
    return np.asarray(_SEA_LEVEL_PRESSURE_PA * ratio**power)


def gas_law_density(pressure_pa: npt.ArrayLike, temperature_k: npt.ArrayLike) -> FloatArray:
    """Return the density of dry air in kg/m3, p / (R T) with R = 287.05287 J/(kg K) (ISO 2533)."""
    return np.asarray(floats(pressure_pa) / (_GAS_CONSTANT_DRY_AIR * floats(temperature_k)))


def standard_density(elevation_m: npt.ArrayLike) -> FloatArray:
    """Return the density of the standard atmosphere in kg/m3 (ISO 2533), valid to 11 km."""
    return gas_law_density(standard_pressure_pa(elevation_m), standard_temperature_k(elevation_m))


@dataclass(frozen=True)
class Air:
    """The air that drives the rotor.

    Parameters
    ----------
    density_kg_m3 : float
    provenance : Provenance
    """

    density_kg_m3: float
    provenance: Provenance


def air_at_hub(
    elevation_m: float,
    hub_height_m: float,
    temperature_c: float | None = None,
    pressure_hpa: float | None = None,
) -> Air:
    """Return the mean air density at the hub from what is known.

    Parameters
    ----------
    elevation_m : float
        Of the ground, above sea level.
    hub_height_m : float
        Above ground.
    temperature_c : float, optional
        Yearly mean; the standard atmosphere's where unknown.
    pressure_hpa : float, optional
        Mean pressure at the site (not reduced to sea level); the standard atmosphere's where
        unknown, or where it is more than 3 % away from it.
    """
    altitude_m = elevation_m + hub_height_m
    warnings: list[str] = []
    assumed: list[str] = []
    standard_pa = float(standard_pressure_pa(altitude_m))
    pressure_pa = standard_pa
    parts = ["pressure of the standard atmosphere"]
    if pressure_hpa is not None:
        # A station's barometer stands near the ground, and the hub is higher up.
        at_hub_pa = pressure_hpa * 100 * standard_pa / float(standard_pressure_pa(elevation_m))
        if abs(at_hub_pa / standard_pa - 1) > PRESSURE_DISAGREEMENT:
            warnings.append(
                f"The mean pressure {pressure_hpa:.0f} hPa is more than 3 % from what an elevation "
                f"of {elevation_m:g} m has; it may have been reduced to sea level, and was not "
                "used."
            )
        else:
            pressure_pa = at_hub_pa
            parts = ["measured pressure"]
    if temperature_c is None:
        temperature_k = float(standard_temperature_k(altitude_m))
        parts.append("temperature of the standard atmosphere (ISO 2533)")
        assumed.append(
            f"Mean temperature {temperature_k - _ZERO_CELSIUS_K:.0f} C at {altitude_m:.0f} m "
            "(standard atmosphere, ISO 2533), for none is known."
        )
    else:
        temperature_k = temperature_c + _ZERO_CELSIUS_K
        parts.append(f"mean temperature {temperature_c:.1f} C")
    return Air(
        density_kg_m3=float(gas_law_density(pressure_pa, temperature_k)),
        provenance=Provenance(
            "site", f"gas law with {' and '.join(parts)}", tuple(assumed), tuple(warnings)
        ),
    )
