"""The air density at each reading, from whatever is known of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.errors import InputError
from yieldest.hub.air import gas_law_density, standard_pressure_pa
from yieldest.provenance import Finding
from yieldest.turbine.meters import Meters
from yieldest.turbine.readings import Readings
from yieldest.units import ZERO_CELSIUS_K

KNOWN_DENSITY_UNCERTAINTY = 0.01
"""Standard uncertainty of an air density that was stated or measured, as a share; our choice."""
ASSUMED_DENSITY_UNCERTAINTY = 0.04
"""Standard uncertainty of an air density nobody stated, as a share of it: some 350 m of height or
12 K of temperature; our choice."""


@dataclass(frozen=True)
class StandardAirAssumed(Finding):
    """The air of the readings was taken as 1.225 kg/m3."""


@dataclass(frozen=True)
class SeaLevelAssumed(Finding):
    """The readings were taken to be from sea level."""


@dataclass(frozen=True)
class TemperateAirAssumed(Finding):
    """The readings were taken to be from air of 15 C."""


def density_at_test(
    readings: Readings, meters: Meters, air_density_kg_m3: float | None
) -> tuple[FloatArray, float, Readings]:
    """Return the density at each reading, its relative uncertainty, and the readings annotated.

    The standard atmosphere stands in for whichever of pressure and temperature is not known.
    """
    ones = np.ones(readings.size)
    if air_density_kg_m3 is not None:
        return air_density_kg_m3 * ones, KNOWN_DENSITY_UNCERTAINTY, readings
    temperature, pressure = readings.temperature_c, readings.pressure_hpa
    if temperature is None and meters.temperature_c is not None:
        temperature = meters.temperature_c * ones
    if temperature is not None:
        known = temperature[np.isfinite(temperature)]
        temperature = np.where(
            np.isfinite(temperature), temperature, known.mean() if known.size else 15.0
        )
    if pressure is None and meters.elevation_m is not None:
        pressure = float(standard_pressure_pa(meters.elevation_m)) / 100 * ones
    if pressure is None and temperature is None:
        return (
            STANDARD_DENSITY_KG_M3 * ones,
            ASSUMED_DENSITY_UNCERTAINTY,
            readings.noting(assumed=(StandardAirAssumed(),)),
        )
    assumed: list[Finding] = []
    if pressure is None:
        pressure = float(standard_pressure_pa(0.0)) / 100 * ones
        assumed.append(SeaLevelAssumed())
    if temperature is None:
        temperature = 15.0 * ones
        assumed.append(TemperateAirAssumed())
    pressure = np.where(np.isfinite(pressure), pressure, np.nanmean(pressure))
    density = gas_law_density(100 * pressure, temperature + ZERO_CELSIUS_K)
    if (density < 0.5).any() or (density > 1.6).any():
        row = int(np.argmax((density < 0.5) | (density > 1.6)))
        raise InputError(
            f"{readings.place(row)}: temperature and pressure give an air density of "
            f"{density[row]:.3g} kg/m3, which no place has; mend them (C and hPa)."
        )
    return (
        density,
        ASSUMED_DENSITY_UNCERTAINTY if assumed else KNOWN_DENSITY_UNCERTAINTY,
        readings.noting(assumed=tuple(assumed)),
    )
