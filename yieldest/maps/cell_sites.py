"""What carries the wind of a cell to the hub, and the air it meets there."""

from __future__ import annotations

import bisect
from dataclasses import replace

import numpy as np
import xarray as xr

from yieldest.arrays import FloatArray
from yieldest.frozen import frozen_dataclass
from yieldest.hub.air import (
    air_at_hub,
    gas_law_density,
    moist_air_density,
    standard_pressure_pa,
    standard_temperature_k,
)
from yieldest.hub.shear import shear_exponent
from yieldest.maps.cell_winds import CellWinds
from yieldest.maps.grid import Grid, dimension_of, on_cells
from yieldest.plan.site_table import Site
from yieldest.provenance import Finding, Findings, Provenance
from yieldest.report.sentences.words import say
from yieldest.units import ZERO_CELSIUS_K
from yieldest.wind.profile import distance_findings, log_law_factor, power_law_factor
from yieldest.wind.profile import to_hub as one_step
from yieldest.wind.record_values import LIMITS


class NoElevation(Finding):
    """Neither the grid nor the plan states an elevation; 0 m is taken."""


class LeftOutOfMap(Finding):
    """Keys of the plan's site that hold for one place alone."""

    keys: str


say(
    {
        NoElevation: "Elevation 0 m, for neither the grid nor site.elevation_m states it.",
        LeftOutOfMap: "What the plan states as {0.keys} belongs to one place and is left out of "
        "the map.",
    }
)


_LIMITS = {
    "elevation": (-430.0, 9000.0),
    "temperature": LIMITS["temperature"],
    "pressure": LIMITS["pressure"],
    "roughness": (1e-9, 10.0),
}
"""In m, C, hPa and m; a value beyond is a mark for a missing one, or wrong."""


@frozen_dataclass
class CellSites:
    """The ground and the air of each cell (means over time), or one number that is for all."""

    elevation_m: xr.DataArray | float
    temperature_c: xr.DataArray | float | None
    pressure_hpa: xr.DataArray | float | None
    roughness_m: xr.DataArray | None
    stated: Site
    provenance: Provenance


def cell_sites(grid: Grid, site: Site) -> CellSites:
    """Gather elevation, air and roughness of a grid, and else what a plan says of its site."""

    def still(role: str) -> xr.DataArray | None:
        """Return the mean of a variable over time, where it has any."""
        variable = grid.one_of(role)
        if variable is None:
            return None
        if role in ("temperature", "pressure"):
            variable = grid.in_si(variable, role)
        low, high = _LIMITS[role]
        variable = variable.where((variable >= low) & (variable <= high))
        time = dimension_of(variable, "time")
        return variable if time is None else variable.mean(time)

    elevation, temperature, pressure, roughness = map(
        still, ("elevation", "temperature", "pressure", "roughness")
    )
    of_one_place = ["obstacles", "roof", "turbulence_intensity"]
    for of_grid, keys in (
        (elevation, ("elevation_m", "mean_temperature_c", "mean_pressure_hpa")),
        (temperature, ("mean_temperature_c",)),
        (pressure, ("mean_pressure_hpa",)),
        (roughness, ("terrain", "roughness_length_m", "shear_exponent")),
    ):
        of_one_place += [key for key in keys if of_grid is not None and key not in of_one_place]
    left_out = [f"site.{key}" for key in of_one_place if getattr(site, key) not in (None, [])]
    nowhere = elevation is None and site.elevation_m is None
    warmth = site.mean_temperature_c if elevation is None else None
    weight = site.mean_pressure_hpa if elevation is None else None
    return CellSites(
        elevation_m=(site.elevation_m or 0.0) if elevation is None else elevation,
        temperature_c=warmth if temperature is None else temperature,
        pressure_hpa=weight if pressure is None else pressure,
        roughness_m=roughness,
        stated=site,
        provenance=Provenance(
            grid.name,
            "",
            (NoElevation(),) if nowhere else (),
            (LeftOutOfMap(", ".join(left_out)),) if left_out else (),
        ),
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
        heights = [each.height_m for each in distributions]
        above = min(max(1, bisect.bisect_right(heights, hub_height_m)), len(heights) - 1)
        lower, upper = distributions[above - 1 : above + 1]

        def power_law(low: FloatArray, high: FloatArray) -> FloatArray:
            exponent = shear_exponent([lower.height_m, upper.height_m], np.stack([low, high], -1))
            return power_law_factor(nearest.height_m, hub_height_m, exponent)

        factor = on_cells(power_law, lower.mean_speed_ms, upper.mean_speed_ms)
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


def density_at_hub(
    sites: CellSites, hub_height_m: float
) -> tuple[xr.DataArray | float, Provenance]:
    """Return the mean air density at the hub of every cell in kg/m3.

    As `yieldest.hub.air.air_at_hub`, which serves where the grid says nothing; a pressure of the
    grid is that at the ground.
    """
    site = sites.stated
    elevation, temperature, pressure = sites.elevation_m, sites.temperature_c, sites.pressure_hpa
    cells = xr.DataArray
    if not (
        isinstance(elevation, cells)
        or isinstance(temperature, cells)
        or isinstance(pressure, cells)
    ):
        air = air_at_hub(elevation, hub_height_m, temperature, pressure, site.relative_humidity)
        return air.density_kg_m3, air.provenance

    def density(
        elevation_m: FloatArray, temperature_c: FloatArray, pressure_hpa: FloatArray
    ) -> FloatArray:
        altitude = elevation_m + hub_height_m
        standard, pascal = standard_temperature_k(altitude), standard_pressure_pa(altitude)
        kelvin = standard if temperature is None else temperature_c + ZERO_CELSIUS_K
        if pressure is not None:
            pascal = 100 * pressure_hpa * pascal / standard_pressure_pa(elevation_m)
        if site.relative_humidity is None:
            return gas_law_density(pascal, kelvin)
        return moist_air_density(pascal, kelvin, site.relative_humidity)

    given = (0.0 if each is None else each for each in (temperature, pressure))
    parts = [
        "pressure of the standard atmosphere" if pressure is None else "mean pressure",
        "temperature of the standard atmosphere (ISO 2533)"
        if temperature is None
        else "mean temperature",
        *([] if site.relative_humidity is None else ["relative humidity (CIPM-2007)"]),
    ]
    return on_cells(density, elevation, *given), Provenance(
        sites.provenance.source, f"gas law with {', '.join(parts)}"
    )
