"""What carries the wind of a cell to the hub, and the air it meets there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from yieldest.arrays import FloatArray
from yieldest.climate.air import gas_law_density, standard_pressure_pa, standard_temperature_k
from yieldest.climate.height import hub_factor, log_law_factor, power_law_factor
from yieldest.grid.cells import on_cells
from yieldest.grid.climates import CellClimates
from yieldest.grid.variables import Grid
from yieldest.plan import Site
from yieldest.provenance import Provenance

ZERO_CELSIUS_K = 273.15


@dataclass(frozen=True)
class CellSites:
    """What a grid or a plan says of the ground and the air; None where neither does.

    Parameters
    ----------
    elevation_m, temperature_c, pressure_hpa, roughness_m : xarray.DataArray, float or None
        Temperature and pressure are means over time.
    stated : Site
        Of the plan.
    provenance : Provenance
    """

    elevation_m: xr.DataArray | float
    temperature_c: xr.DataArray | float | None
    pressure_hpa: xr.DataArray | float | None
    roughness_m: xr.DataArray | None
    stated: Site
    provenance: Provenance


def cell_sites(grid: Grid, site: Site) -> CellSites:
    """Gather elevation, air and roughness: from the grid where it has them, else from the plan."""
    elevation = grid.one_of("elevation")
    roughness = grid.one_of("roughness")
    temperature, pressure = grid.one_of("temperature"), grid.one_of("pressure")
    found = [
        f"{role} from {str(variable.name)!r}"
        for role, variable in (
            ("elevation", elevation),
            ("roughness", roughness),
            ("temperature", temperature),
            ("pressure", pressure),
        )
        if variable is not None
    ]
    assumed = []
    if elevation is None and site.elevation_m is None:
        assumed.append("Elevation 0 m, for neither the grid nor site.elevation_m states it.")
    return CellSites(
        elevation_m=(site.elevation_m or 0.0) if elevation is None else _still(grid, elevation),
        temperature_c=site.mean_temperature_c
        if temperature is None
        else _still(grid, grid.in_si(temperature, "temperature")),
        pressure_hpa=site.mean_pressure_hpa
        if pressure is None
        else _still(grid, grid.in_si(pressure, "pressure")),
        roughness_m=None if roughness is None else _still(grid, roughness),
        stated=site,
        provenance=Provenance(grid.name, "; ".join(found), tuple(assumed)),
    )


def _still(grid: Grid, variable: xr.DataArray) -> xr.DataArray:
    time = grid.time_of(variable)
    return variable if time is None else variable.mean(time)


def to_hub(
    climates: list[CellClimates], hub_height_m: float, sites: CellSites
) -> tuple[CellClimates, Provenance]:
    """Carry the wind of every cell to hub height.

    Parameters
    ----------
    climates : list of CellClimates
        At one or more heights, the lowest first.
    hub_height_m : float
    sites : CellSites

    Returns
    -------
    CellClimates, Provenance
        With two or more heights the exponent of the power law is that between the two of them that
        enclose the hub, or are nearest to it. With one the roughness of the grid serves, or what
        the plan states of the terrain.
    """
    nearest = min(climates, key=lambda each: abs(np.log(each.height_m / hub_height_m)))
    if nearest.height_m == hub_height_m:
        return nearest, Provenance(sites.provenance.source, "the hub is at a height of the grid")
    site = sites.stated
    assumed: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    factor: xr.DataArray | float
    if len(climates) > 1:
        lower, upper = _around(climates, hub_height_m)
        exponent = on_cells(
            lambda low, high: _exponent(low, high, upper.height_m / lower.height_m),
            lower.mean_speed_ms,
            upper.mean_speed_ms,
        )
        factor = on_cells(
            lambda each: power_law_factor(nearest.height_m, hub_height_m, each), exponent
        )
        method = (
            f"power law from {nearest.height_m:g} m, exponent of each cell from its mean speeds at "
            f"{lower.height_m:g} m and {upper.height_m:g} m"
        )
    elif sites.roughness_m is not None:
        factor = on_cells(
            lambda each: log_law_factor(nearest.height_m, hub_height_m, each, site.displacement_m),
            sites.roughness_m,
        )
        method = f"log law from {nearest.height_m:g} m, roughness of each cell from the grid"
    else:
        factor, height = hub_factor(
            nearest.height_m,
            hub_height_m,
            shear_exponent=site.shear_exponent,
            roughness_length_m=site.roughness_length_m,
            terrain=site.terrain,
            displacement_m=site.displacement_m,
        )
        method, assumed, warnings = height.method, height.assumed, height.warnings
    raised = replace(
        nearest,
        height_m=hub_height_m,
        scale_ms=nearest.scale_ms * factor,
        mean_speed_ms=nearest.mean_speed_ms * factor,
    )
    return raised, Provenance(sites.provenance.source, method, assumed, warnings)


def _around(climates: list[CellClimates], height_m: float) -> tuple[CellClimates, CellClimates]:
    """Return the two climates whose heights enclose a height, or that are nearest to it."""
    upper = next(
        (number for number, each in enumerate(climates) if each.height_m > height_m),
        len(climates) - 1,
    )
    upper = max(1, upper)
    return climates[upper - 1], climates[upper]


def _exponent(lower_ms: FloatArray, upper_ms: FloatArray, height_ratio: float) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        exponent = np.log(upper_ms / lower_ms) / np.log(height_ratio)
    return np.where(np.isfinite(exponent), exponent, np.nan)


def density_at_hub(sites: CellSites, hub_height_m: float) -> tuple[xr.DataArray | float, str]:
    """Return the mean air density at the hub of every cell in kg/m3, and how it was found.

    Notes
    -----
    ISO 2533 for what is not known; a known pressure is that at the ground.
    """
    parts = [
        "pressure of the standard atmosphere" if sites.pressure_hpa is None else "mean pressure",
        "temperature of the standard atmosphere (ISO 2533)"
        if sites.temperature_c is None
        else "mean temperature",
    ]

    def density(
        elevation_m: FloatArray, temperature_c: FloatArray, pressure_hpa: FloatArray
    ) -> FloatArray:
        altitude = elevation_m + hub_height_m
        pressure = standard_pressure_pa(altitude)
        if sites.pressure_hpa is not None:
            pressure = 100 * pressure_hpa * pressure / standard_pressure_pa(elevation_m)
        known = sites.temperature_c is not None
        temperature = temperature_c + ZERO_CELSIUS_K if known else standard_temperature_k(altitude)
        return gas_law_density(pressure, temperature)

    found = on_cells(
        density,
        sites.elevation_m,
        0.0 if sites.temperature_c is None else sites.temperature_c,
        0.0 if sites.pressure_hpa is None else sites.pressure_hpa,
    )
    return found, f"gas law with {' and '.join(parts)}"
