"""What carries the wind of a cell to the hub, and the air it meets there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from yieldest.arrays import FloatArray
from yieldest.hub.air import (
    air_at_hub,
    gas_law_density,
    moist_air_density,
    standard_pressure_pa,
    standard_temperature_k,
)
from yieldest.hub.shear import shear_exponent
from yieldest.maps.cell_winds import CellWinds
from yieldest.maps.grid import Grid, on_cells
from yieldest.plan import Site
from yieldest.provenance import Finding, Findings, Provenance
from yieldest.report.sentences.words import sentence
from yieldest.units import ZERO_CELSIUS_K
from yieldest.wind.profile import distance_findings, log_law_factor, power_law_factor
from yieldest.wind.profile import to_hub as one_step


@dataclass(frozen=True)
class NoElevation(Finding):
    """Neither the grid nor the plan states an elevation; 0 m is taken."""


@dataclass(frozen=True)
class LeftOutOfMap(Finding):
    """Keys of the plan's site that hold for one place alone."""

    keys: tuple[str, ...]


@sentence.register
def _(finding: NoElevation) -> str:
    return "Elevation 0 m, for neither the grid nor site.elevation_m states it."


@sentence.register
def _(finding: LeftOutOfMap) -> str:
    return (
        f"What the plan states as {', '.join(f'site.{key}' for key in finding.keys)} belongs to "
        "one place and is left out of the map."
    )


@dataclass(frozen=True)
class CellSites:
    """What a grid says of the ground and the air (means over time), and else a plan."""

    elevation_m: xr.DataArray | None
    temperature_c: xr.DataArray | None
    pressure_hpa: xr.DataArray | None
    roughness_m: xr.DataArray | None
    stated: Site
    provenance: Provenance


def cell_sites(grid: Grid, site: Site) -> CellSites:
    """Gather elevation, air and roughness of a grid beside what a plan says of its site."""

    def still(role: str) -> xr.DataArray | None:
        """Return the mean of a variable over time, where it has any."""
        variable = grid.one_of(role)
        if variable is None:
            return None
        if role in ("temperature", "pressure"):
            variable = grid.in_si(variable, role)
        time = grid.time_of(variable)
        return variable if time is None else variable.mean(time)

    elevation = still("elevation")
    assumed: Findings = ()
    of_one_place = ["obstacles", "roof", "turbulence_intensity"]
    if elevation is not None:
        of_one_place += ["mean_temperature_c", "mean_pressure_hpa"]
    elif site.elevation_m is None:
        assumed = (NoElevation(),)
    left_out = tuple(key for key in of_one_place if getattr(site, key) not in (None, []))
    warnings: Findings = (LeftOutOfMap(left_out),) if left_out else ()
    return CellSites(
        elevation_m=elevation,
        temperature_c=still("temperature"),
        pressure_hpa=still("pressure"),
        roughness_m=still("roughness"),
        stated=site,
        provenance=Provenance(grid.name, "", assumed, warnings),
    )


def to_hub(
    distributions: list[CellWinds], hub_height_m: float, sites: CellSites
) -> tuple[CellWinds, Provenance]:
    """Carry the wind of every cell to hub height; the lowest distribution comes first.

    With two or more heights the exponent of the power law is that between the two of them that
    enclose the hub, or are nearest to it. With one the roughness of the grid serves, or what the
    plan states of the terrain.
    """
    nearest = min(distributions, key=lambda each: abs(np.log(each.height_m / hub_height_m)))
    if nearest.height_m == hub_height_m:
        return nearest, Provenance(sites.provenance.source, "the hub is at a height of the grid")
    site = sites.stated
    assumed: Findings = ()
    warnings: Findings = distance_findings(nearest.height_m, hub_height_m)
    factor: xr.DataArray | float
    if len(distributions) > 1:
        lower, upper = _around(distributions, hub_height_m)
        exponent = on_cells(
            lambda low, high: shear_exponent(
                [lower.height_m, upper.height_m], np.stack([low, high], axis=-1)
            ),
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
        step = one_step(
            nearest.height_m,
            hub_height_m,
            shear_exponent=site.shear_exponent,
            roughness_length_m=site.roughness_length_m,
            terrain=site.terrain,
            displacement_m=site.displacement_m,
        )
        factor, method = step.factor, step.provenance.method
        assumed, warnings = step.provenance.assumed, step.provenance.warnings
    raised = replace(
        nearest,
        height_m=hub_height_m,
        scale_ms=nearest.scale_ms * factor,
        mean_speed_ms=nearest.mean_speed_ms * factor,
    )
    return raised, Provenance(sites.provenance.source, method, assumed, warnings)


def _around(distributions: list[CellWinds], height_m: float) -> tuple[CellWinds, CellWinds]:
    """Return the two distributions whose heights enclose a height, or that are nearest to it."""
    upper = next(
        (number for number, each in enumerate(distributions) if each.height_m > height_m),
        len(distributions) - 1,
    )
    upper = max(1, upper)
    return distributions[upper - 1], distributions[upper]


def density_at_hub(
    sites: CellSites, hub_height_m: float
) -> tuple[xr.DataArray | float, Provenance]:
    """Return the mean air density at the hub of every cell in kg/m3.

    As `yieldest.hub.air.air_at_hub`, which serves where the grid says nothing; a pressure of the
    grid is that at the ground.
    """
    site = sites.stated
    of_grid = (sites.elevation_m, sites.temperature_c, sites.pressure_hpa)
    if all(each is None for each in of_grid):
        air = air_at_hub(
            site.elevation_m or 0.0,
            hub_height_m,
            site.mean_temperature_c,
            site.mean_pressure_hpa,
            site.relative_humidity,
        )
        return air.density_kg_m3, air.provenance
    here = sites.elevation_m is None
    elevation = (site.elevation_m or 0.0) if sites.elevation_m is None else sites.elevation_m
    warmth = site.mean_temperature_c if sites.temperature_c is None and here else None
    temperature = warmth if sites.temperature_c is None else sites.temperature_c

    def density(
        elevation_m: FloatArray, temperature_c: FloatArray, pressure_hpa: FloatArray
    ) -> FloatArray:
        altitude = elevation_m + hub_height_m
        pressure = standard_pressure_pa(altitude)
        if sites.pressure_hpa is not None:
            pressure = 100 * pressure_hpa * pressure / standard_pressure_pa(elevation_m)
        kelvin = standard_temperature_k(altitude)
        if temperature is not None:
            kelvin = temperature_c + ZERO_CELSIUS_K
        if site.relative_humidity is None:
            return gas_law_density(pressure, kelvin)
        return moist_air_density(pressure, kelvin, site.relative_humidity)

    found = on_cells(
        density,
        elevation,
        0.0 if temperature is None else temperature,
        0.0 if sites.pressure_hpa is None else sites.pressure_hpa,
    )
    parts = [
        "pressure of the standard atmosphere" if sites.pressure_hpa is None else "mean pressure",
        "temperature of the standard atmosphere (ISO 2533)"
        if temperature is None
        else "mean temperature",
        *([] if site.relative_humidity is None else ["relative humidity (CIPM-2007)"]),
    ]
    return found, Provenance(sites.provenance.source, f"gas law with {', '.join(parts)}")
