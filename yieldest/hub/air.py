"""Air density from elevation, temperature, pressure and humidity, by month where they are known."""

from __future__ import annotations

from functools import cached_property

import numpy as np
import numpy.typing as npt

from yieldest.arrays import BoolArray, FloatArray, TimeArray, floats, numbers_or_none
from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Findings, Provenance
from yieldest.units import ZERO_CELSIUS_K
from yieldest.wind.data_recovery import MONTH_DAYS, month_and_hour

_SEA_LEVEL_PRESSURE_PA = 101325.0
_SEA_LEVEL_TEMPERATURE_K = 288.15
_LAPSE_K_PER_M = 0.0065
GRAVITY_MS2 = 9.80665
_GAS_CONSTANT_DRY_AIR = 287.05287
_EARTH_RADIUS_M = 6356766.0
_GAS_CONSTANT = 8.314472
_MOLAR_MASS_DRY = 28.96546e-3
_MOLAR_MASS_WATER = 18.01528e-3

PRESSURE_DISAGREEMENT = 0.03
"""The weather moves pressure by some 3 %; a larger distance from the standard atmosphere means
that the record was reduced to sea level, or the elevation is wrong. Our choice."""

STANDARD_TEMPERATURE_UNCERTAINTY = 0.02
"""Relative standard uncertainty of density where the temperature is the standard atmosphere's: some
6 K of 288 K; our choice."""
KNOWN_TEMPERATURE_UNCERTAINTY = 0.007
"""The same where the mean temperature is known, to about 2 K; our choice."""


def standard_temperature_k(elevation_m: npt.ArrayLike) -> FloatArray:
    """Return the temperature of the standard atmosphere (ISO 2533), valid to 11 km.

    At a geometric elevation above sea level; the standard's geopotential one follows from it.
    """
    elevation = floats(elevation_m)
    geopotential_m = _EARTH_RADIUS_M * elevation / (_EARTH_RADIUS_M + elevation)
    return np.asarray(_SEA_LEVEL_TEMPERATURE_K - _LAPSE_K_PER_M * geopotential_m)


def standard_pressure_pa(elevation_m: npt.ArrayLike) -> FloatArray:
    """Return the pressure of the standard atmosphere (ISO 2533) at an elevation, valid to 11 km."""
    ratio = standard_temperature_k(elevation_m) / _SEA_LEVEL_TEMPERATURE_K
    power = GRAVITY_MS2 / (_GAS_CONSTANT_DRY_AIR * _LAPSE_K_PER_M)
    return np.asarray(_SEA_LEVEL_PRESSURE_PA * ratio**power)


def pressure_elevation_m(pressure_pa: npt.ArrayLike) -> FloatArray:
    """Return the elevation that has a pressure in the standard atmosphere (ISO 2533), to 11 km."""
    power = _GAS_CONSTANT_DRY_AIR * _LAPSE_K_PER_M / GRAVITY_MS2
    ratio = (floats(pressure_pa) / _SEA_LEVEL_PRESSURE_PA) ** power
    geopotential_m = _SEA_LEVEL_TEMPERATURE_K / _LAPSE_K_PER_M * (1 - ratio)
    return np.asarray(_EARTH_RADIUS_M * geopotential_m / (_EARTH_RADIUS_M - geopotential_m))


def gas_law_density(pressure_pa: npt.ArrayLike, temperature_k: npt.ArrayLike) -> FloatArray:
    """Return the density of dry air in kg/m3, p / (R T) with R = 287.05287 J/(kg K) (ISO 2533)."""
    return np.asarray(floats(pressure_pa) / (_GAS_CONSTANT_DRY_AIR * floats(temperature_k)))


def standard_density(elevation_m: npt.ArrayLike) -> FloatArray:
    """Return the density of the standard atmosphere in kg/m3 (ISO 2533), valid to 11 km."""
    return gas_law_density(standard_pressure_pa(elevation_m), standard_temperature_k(elevation_m))


def saturation_pressure_pa(temperature_k: npt.ArrayLike) -> FloatArray:
    """Return the vapour pressure of water at saturation, exp(A T2 + B T + C + D/T) (CIPM-2007)."""
    t = floats(temperature_k)
    return np.asarray(
        np.exp(1.2378847e-5 * t**2 - 1.9121316e-2 * t + 33.93711047 - 6.3431645e3 / t)
    )


def moist_air_density(
    pressure_pa: npt.ArrayLike, temperature_k: npt.ArrayLike, relative_humidity: npt.ArrayLike
) -> FloatArray:
    r"""Return the density of moist air in kg/m3; the humidity is from 0 to 1, all broadcast.

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


@frozen_dataclass
class MonthlyAir:
    """Means of each calendar month, January first, shape (12,); NaN where unknown."""

    temperature_c: FloatArray
    pressure_hpa: FloatArray
    mean_cube: FloatArray

    @cached_property
    def known(self) -> BoolArray:
        """Months in which the wind blew and the temperature is known."""
        return np.isfinite(self.temperature_c) & (np.nan_to_num(self.mean_cube) > 0)

    @property
    def power_weight(self) -> FloatArray:
        """Days times mean cube of each month, with the mean of the others where it is unknown."""
        cube = np.where(self.known, self.mean_cube, self.mean_cube[self.known].mean())
        return np.asarray(MONTH_DAYS * cube)


def monthly_air(
    time: TimeArray,
    speed_ms: FloatArray,
    temperature_c: FloatArray,
    pressure_hpa: FloatArray | None = None,
) -> MonthlyAir:
    """Average n readings of temperature, pressure and cubed speed over each calendar month.

    All of shape (n,), NaN where missing.
    """
    month, _ = month_and_hour(time)

    def mean(values: FloatArray) -> FloatArray:
        known = np.isfinite(values)
        count = np.bincount(month[known], minlength=12)
        with np.errstate(invalid="ignore"):
            return np.bincount(month[known], values[known], 12) / count

    pressure = np.full(12, np.nan) if pressure_hpa is None else mean(pressure_hpa)
    return MonthlyAir(mean(temperature_c), pressure, mean(speed_ms**3))


@frozen_dataclass
class Air:
    """The air that drives the rotor."""

    density_kg_m3: float
    """That the energy is computed with: by month it is weighted with the power in the wind."""
    mean_density_kg_m3: float
    """Plain mean over the year."""
    month_density_kg_m3: tuple[float | None, ...] | None
    """January first; None where the months are not known."""
    season_effect: float | None
    """Share by which the windy months' air raises the energy above that with the plain mean."""
    humidity_effect: float | None
    """Share by which the water vapour changes density, and with it energy."""
    standard_uncertainty: float
    """Of the density, relative."""
    provenance: Provenance


class PressureOutOfPlace(Finding):
    """The mean pressure is not what its elevation has, and was not used."""

    pressure_hpa: float
    elevation_m: float


class StandardTemperature(Finding):
    """The standard atmosphere's temperature was taken for so many months, for none is known."""

    temperature_c: float
    altitude_m: float
    months: int


def air_at_hub(
    elevation_m: float | None,
    hub_height_m: float,
    temperature_c: float | None = None,
    pressure_hpa: float | None = None,
    relative_humidity: float | None = None,
    months: MonthlyAir | None = None,
) -> Air:
    """Return the air density at the hub from what is known.

    Parameters
    ----------
    elevation_m : float or None
        Of the ground above sea level. Where it is not known, that of the pressure where this is
        more than 3 % away from that of the sea level, else 0.
    hub_height_m : float
        Of the hub above ground.
    temperature_c : float, optional
        Yearly mean; the standard atmosphere's where unknown.
    pressure_hpa : float, optional
        Mean pressure at the site (not reduced to sea level); the standard atmosphere's where
        unknown, or where it is more than 3 % away from it.
    relative_humidity : float, optional
        From 0 to 1; dry air where unknown.
    months : MonthlyAir, optional
        Density is then computed month by month and weighted with days and mean cube of speed.
        Months without a temperature have the standard atmosphere's, and the usual cube.
    """
    if elevation_m is None:
        known_pa = _SEA_LEVEL_PRESSURE_PA if pressure_hpa is None else 100 * pressure_hpa
        of_land = abs(known_pa / _SEA_LEVEL_PRESSURE_PA - 1) > PRESSURE_DISAGREEMENT
        elevation_m = float(pressure_elevation_m(known_pa)) if of_land else 0.0
    altitude_m = elevation_m + hub_height_m
    warnings: Findings = ()
    standard_pa = float(standard_pressure_pa(altitude_m))
    # A station's barometer stands near the ground, and the hub is higher up.
    pa_per_hpa = 100 * standard_pa / float(standard_pressure_pa(elevation_m))
    pressure_pa, how = standard_pa, ["pressure of the standard atmosphere"]
    if pressure_hpa is not None:
        if abs(pressure_hpa * pa_per_hpa / standard_pa - 1) > PRESSURE_DISAGREEMENT:
            warnings = (PressureOutOfPlace(pressure_hpa, elevation_m),)
        else:
            pressure_pa, how = pressure_hpa * pa_per_hpa, ["measured pressure"]
    mean_c, month_c, taken = _temperatures_c(altitude_m, temperature_c, months)
    lacking = 0 if taken is None else taken.months
    if lacking == 12:
        how.append("temperature of the standard atmosphere (ISO 2533)")
    else:
        how.append(f"mean temperature {mean_c:.1f} C")
    density = float(_density(pressure_pa, mean_c, relative_humidity))
    mean_density, humidity_effect, by_month, season_effect = density, None, None, None
    if relative_humidity is not None:
        humidity_effect = density / float(_density(pressure_pa, mean_c, 0.0)) - 1
        vapour = f"CIPM-2007; {100 * humidity_effect:+.1f} %"
        how.append(f"relative humidity {100 * relative_humidity:.0f} % ({vapour})")
    if months is not None:
        own_pa = months.pressure_hpa * pa_per_hpa
        as_measured = np.isfinite(own_pa) & (pressure_pa != standard_pa)
        monthly_pa = np.where(as_measured, own_pa, pressure_pa)
        monthly = _density(monthly_pa, month_c, relative_humidity)
        if months.known.any():
            by_month = tuple(numbers_or_none(np.where(months.known, monthly, np.nan), 12))
            mean_density = float(np.average(monthly, weights=MONTH_DAYS))
            density = float(np.average(monthly, weights=months.power_weight))
            season_effect = density / mean_density - 1
            against = f"{100 * season_effect:+.1f} % energy against the plain mean"
            how.append(f"by month, weighted with the power in the wind ({against})")
    power = 100 * (density / STANDARD_DENSITY_KG_M3 - 1)
    method = f"gas law with {', '.join(how)}; {power:+.1f} % power against 1.225 kg/m3"
    ends = (KNOWN_TEMPERATURE_UNCERTAINTY, STANDARD_TEMPERATURE_UNCERTAINTY)
    return Air(
        density_kg_m3=density,
        mean_density_kg_m3=mean_density,
        month_density_kg_m3=by_month,
        season_effect=season_effect,
        humidity_effect=humidity_effect,
        standard_uncertainty=float(np.interp(lacking, (0, 12), ends)),
        provenance=Provenance("site", method, () if taken is None else (taken,), warnings),
    )


def _temperatures_c(
    altitude_m: float, temperature_c: float | None, months: MonthlyAir | None
) -> tuple[float, FloatArray, StandardTemperature | None]:
    """Return the mean of the year, that of each month, and what was taken where none is known."""
    standard_c = float(standard_temperature_k(altitude_m)) - ZERO_CELSIUS_K
    known_c = np.full(12, np.nan if temperature_c is None else temperature_c)
    if months is not None:
        known_c = months.temperature_c
    lacking = np.isnan(known_c)
    month_c = np.where(lacking, standard_c, known_c)
    mean_c = float(np.average(month_c, weights=MONTH_DAYS))
    if lacking.any():
        return mean_c, month_c, StandardTemperature(standard_c, altitude_m, int(lacking.sum()))
    return mean_c if temperature_c is None else temperature_c, month_c, None


def _density(
    pressure_pa: npt.ArrayLike, temperature_c: npt.ArrayLike, relative_humidity: float | None
) -> FloatArray:
    temperature_k = floats(temperature_c) + ZERO_CELSIUS_K
    if relative_humidity is None:
        return gas_law_density(pressure_pa, temperature_k)
    return moist_air_density(pressure_pa, temperature_k, relative_humidity)
