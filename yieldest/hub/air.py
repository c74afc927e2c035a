"""Air density from elevation, temperature, pressure and humidity, by month where they are known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.hub.moist_air import moist_air_density
from yieldest.provenance import Finding, Provenance
from yieldest.units import ZERO_CELSIUS_K

_SEA_LEVEL_PRESSURE_PA = 101325.0
_SEA_LEVEL_TEMPERATURE_K = 288.15
_LAPSE_K_PER_M = 0.0065
GRAVITY_MS2 = 9.80665
_GAS_CONSTANT_DRY_AIR = 287.05287
_EARTH_RADIUS_M = 6356766.0

PRESSURE_DISAGREEMENT = 0.03
"""The weather moves pressure by some 3 %; a larger distance from the standard atmosphere means
that the record was reduced to sea level, or the elevation is wrong. Our choice."""

STANDARD_TEMPERATURE_UNCERTAINTY = 0.02
"""Relative standard uncertainty of density where the temperature is the standard atmosphere's: some
6 K of 288 K; our choice."""
KNOWN_TEMPERATURE_UNCERTAINTY = 0.007
"""The same where the mean temperature is known, to about 2 K; our choice."""

_MONTH_DAYS = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


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
    power = GRAVITY_MS2 / (_GAS_CONSTANT_DRY_AIR * _LAPSE_K_PER_M)
    return np.asarray(_SEA_LEVEL_PRESSURE_PA * ratio**power)


def gas_law_density(pressure_pa: npt.ArrayLike, temperature_k: npt.ArrayLike) -> FloatArray:
    """Return the density of dry air in kg/m3, p / (R T) with R = 287.05287 J/(kg K) (ISO 2533)."""
    return np.asarray(floats(pressure_pa) / (_GAS_CONSTANT_DRY_AIR * floats(temperature_k)))


def standard_density(elevation_m: npt.ArrayLike) -> FloatArray:
    """Return the density of the standard atmosphere in kg/m3 (ISO 2533), valid to 11 km."""
    return gas_law_density(standard_pressure_pa(elevation_m), standard_temperature_k(elevation_m))


@dataclass(frozen=True)
class MonthlyAir:
    """What a record knows of the air, month by month.

    Parameters
    ----------
    temperature_c, pressure_hpa, mean_cube : ndarray, shape (12,)
        Means of each calendar month, January first; NaN where unknown.
    """

    temperature_c: FloatArray
    pressure_hpa: FloatArray
    mean_cube: FloatArray


def monthly_air(
    time: npt.NDArray[np.datetime64],
    speed_ms: FloatArray,
    temperature_c: FloatArray,
    pressure_hpa: FloatArray | None = None,
) -> MonthlyAir:
    """Average temperature, pressure and cubed speed over each calendar month.

    Parameters
    ----------
    time : ndarray of datetime64, shape (n,)
    speed_ms, temperature_c, pressure_hpa : ndarray, shape (n,)
        NaN where missing.
    """
    month = time.astype("datetime64[M]").astype(np.int64) % 12

    def mean(values: FloatArray) -> FloatArray:
        known = np.isfinite(values)
        count = np.bincount(month[known], minlength=12)
        with np.errstate(invalid="ignore"):
            return np.bincount(month[known], values[known], 12) / count

    pressure = np.full(12, np.nan) if pressure_hpa is None else mean(pressure_hpa)
    return MonthlyAir(mean(temperature_c), pressure, mean(speed_ms**3))


@dataclass(frozen=True)
class Air:
    """The air that drives the rotor.

    Parameters
    ----------
    density_kg_m3 : float
        That the energy is computed with: by month it is weighted with the power in the wind.
    mean_density_kg_m3 : float
        Plain mean over the year.
    month_density_kg_m3 : tuple of 12 (float or None), or None
        January first; None where the months are not known.
    season_effect : float or None
        Share by which the windy months' air raises the energy above that with the plain mean.
    humidity_effect : float or None
        Share by which the water vapour changes density, and with it energy.
    standard_uncertainty : float
        Of the density, relative.
    provenance : Provenance
    """

    density_kg_m3: float
    mean_density_kg_m3: float
    month_density_kg_m3: tuple[float | None, ...] | None
    season_effect: float | None
    humidity_effect: float | None
    standard_uncertainty: float
    provenance: Provenance


@dataclass(frozen=True)
class PressureOutOfPlace(Finding):
    """The mean pressure is not what its elevation has, and was not used."""

    pressure_hpa: float
    elevation_m: float


@dataclass(frozen=True)
class StandardTemperature(Finding):
    """The standard atmosphere's temperature was taken, for none is known."""

    temperature_c: float
    altitude_m: float


def air_at_hub(
    elevation_m: float,
    hub_height_m: float,
    temperature_c: float | None = None,
    pressure_hpa: float | None = None,
    relative_humidity: float | None = None,
    months: MonthlyAir | None = None,
) -> Air:
    """Return the air density at the hub from what is known.

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
    relative_humidity : float, optional
        From 0 to 1; dry air where unknown.
    months : MonthlyAir, optional
        Density is then computed month by month and weighted with days and mean cube of speed.
    """
    altitude_m = elevation_m + hub_height_m
    warnings: list[Finding] = []
    assumed: list[Finding] = []
    standard_pa = float(standard_pressure_pa(altitude_m))
    # A station's barometer stands near the ground, and the hub is higher up.
    to_hub = standard_pa / float(standard_pressure_pa(elevation_m))
    pressure_pa = standard_pa
    parts = ["pressure of the standard atmosphere"]
    if pressure_hpa is not None:
        at_hub_pa = pressure_hpa * 100 * to_hub
        if abs(at_hub_pa / standard_pa - 1) > PRESSURE_DISAGREEMENT:
            warnings.append(PressureOutOfPlace(pressure_hpa, elevation_m))
        else:
            pressure_pa = at_hub_pa
            parts = ["measured pressure"]
    uncertainty = KNOWN_TEMPERATURE_UNCERTAINTY
    if temperature_c is None:
        mean_c = float(standard_temperature_k(altitude_m)) - ZERO_CELSIUS_K
        uncertainty = STANDARD_TEMPERATURE_UNCERTAINTY
        parts.append("temperature of the standard atmosphere (ISO 2533)")
        assumed.append(StandardTemperature(mean_c, altitude_m))
    else:
        mean_c = temperature_c
        parts.append(f"mean temperature {temperature_c:.1f} C")
    density = float(_density(pressure_pa, mean_c, relative_humidity))
    humidity_effect = None
    if relative_humidity is not None:
        humidity_effect = density / float(_density(pressure_pa, mean_c, 0.0)) - 1
        parts.append(
            f"relative humidity {100 * relative_humidity:.0f} % (CIPM-2007; "
            f"{100 * humidity_effect:+.1f} %)"
        )
    by_month, mean_density, season_effect = None, density, None
    if months is not None and (known := _complete(months)).sum() > 1:
        monthly_pa = np.full(12, pressure_pa)
        if pressure_pa != standard_pa:
            measured = months.pressure_hpa * 100 * to_hub
            monthly_pa = np.where(np.isfinite(measured), measured, pressure_pa)
        density_of_month = _density(monthly_pa, months.temperature_c, relative_humidity)
        by_month = tuple(
            float(value) if is_known else None
            for value, is_known in zip(density_of_month, known, strict=True)
        )
        days = _MONTH_DAYS[known]
        mean_density = float(np.average(density_of_month[known], weights=days))
        density = float(np.average(density_of_month[known], weights=days * months.mean_cube[known]))
        season_effect = density / mean_density - 1
        parts.append(
            f"by month, weighted with the power in the wind ({100 * season_effect:+.1f} % energy "
            "against the plain mean)"
        )
    return Air(
        density,
        mean_density,
        by_month,
        season_effect,
        humidity_effect,
        uncertainty,
        Provenance(
            "site",
            f"gas law with {', '.join(parts)}; "
            f"{100 * (density / STANDARD_DENSITY_KG_M3 - 1):+.1f} % power against 1.225 kg/m3",
            tuple(assumed),
            tuple(warnings),
        ),
    )


def _complete(months: MonthlyAir) -> npt.NDArray[np.bool_]:
    return np.isfinite(months.temperature_c) & (np.nan_to_num(months.mean_cube) > 0)


def _density(
    pressure_pa: npt.ArrayLike, temperature_c: npt.ArrayLike, relative_humidity: float | None
) -> FloatArray:
    temperature_k = floats(temperature_c) + ZERO_CELSIUS_K
    if relative_humidity is None:
        return gas_law_density(pressure_pa, temperature_k)
    return moist_air_density(pressure_pa, temperature_k, relative_humidity)
