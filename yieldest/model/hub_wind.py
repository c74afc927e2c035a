"""From the mast to the hub: height, obstacles and roof, step by step."""

from __future__ import annotations

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.energy.net_energy import SpeedSeries
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.hub.correction_steps import Step, WindCorrection, correction_steps, steps_uncertainty
from yieldest.hub.obstacles import (
    DEFAULT_ROUGHNESS_M,
    shelter,
    siting_warnings,
)
from yieldest.hub.rooftop import Roof, RoofStep, on_roof
from yieldest.hub.shear import measured_to_hub
from yieldest.model.site_wind import SiteWind
from yieldest.plan import Build, Place
from yieldest.plan.site_table import Site
from yieldest.provenance import Finding, Findings, Provenance
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.profile import (
    BLENDING_HEIGHT_M,
    GROUND_UNCERTAINTY,
    TERRAINS,
    HeightStep,
    over_other_ground,
    to_hub,
)
from yieldest.wind.resource import WindResource


class NoObstacle(Finding):
    """Nothing was taken to shelter the rotor."""


class MeasuredInTheOpen(Finding):
    """The anemometer was taken to stand clear of obstacles and roof."""


@frozen_dataclass
class HubWind:
    """The wind at a build's hub.

    Parameters
    ----------
    distribution : WindDistribution
    readings : SpeedSeries or None
        Those of the site carried to the hub.
    factor : float
        Mean speed at the hub over that at the height of measurement.
    height : HeightStep
    roof : RoofStep or None
    steps : tuple of Step
    standard_uncertainty : float
        Of the mean speed at the hub, relative.
    provenance : tuple of Provenance
    """

    distribution: WindDistribution
    readings: SpeedSeries | None
    factor: float
    height: HeightStep
    roof: RoofStep | None
    steps: tuple[Step, ...]
    standard_uncertainty: float
    provenance: tuple[Provenance, ...]


def hub_wind(place: Place, build: Build, wind: SiteWind) -> HubWind:
    """Carry the wind of a place to a build's hub: height, obstacles, roof.

    Raises
    ------
    InputError
        When the hub is below the roof, or a height law does not reach it.
    """
    site = place.site
    measured_m, hub_m = place.wind.measured_height_m, build.hub_height_m
    readings = wind.readings
    height, each = _to_height(place, build, wind)
    corrections = [_height_correction(height, measured_m, hub_m)]
    provenance = [height.provenance]
    measured_at_hub_site = bool(place.measured_here)
    mast = place.mast
    if mast is not None:
        ground = _to_other_ground(place, mast)
        each = each * ground.factor
        corrections += [ground] if ground.factor != 1 else []
    if site.obstacles or (mast is not None and mast.obstacles):
        lee, factors_or_none = shelter(
            site.obstacles,
            hub_m,
            run=_run_of(readings) * each,
            direction_deg=wind.direction_deg,
            anemometer_height_m=measured_m if measured_at_hub_site or mast else None,
            anemometer_obstacles=None if mast is None else mast.obstacles,
            roughness_length_m=_roughness(place),
        )
        each = each * (lee.factor if factors_or_none is None else factors_or_none)
        corrections.append(
            WindCorrection(
                "behind obstacles", lee.factor, lee.provenance.method, lee.standard_uncertainty
            )
        )
        provenance.append(lee.provenance)
    top = None
    roof = None
    if site.roof is not None:
        top = site.roof.top_m
        roof = _roof(place, build, site.roof, measured_at_hub_site)
        each = each * roof.factor
        corrections.append(
            WindCorrection(
                "above the roof", roof.factor, roof.provenance.method, roof.standard_uncertainty
            )
        )
        provenance.append(roof.provenance)
    provenance.append(
        Provenance("site", "", (), siting_warnings(build.rotor_bottom_m, site.obstacles, top))
    )
    factor = float(np.prod([correction.factor for correction in corrections]))
    steps = correction_steps(wind.start_ms, [*wind.corrections, *corrections])
    return HubWind(
        distribution=wind.distribution.raised(factor, hub_m),
        readings=None if readings is None else _carried(readings, each),
        factor=factor,
        height=height,
        roof=roof,
        steps=steps,
        standard_uncertainty=steps_uncertainty(steps),
        provenance=tuple(provenance),
    )


def _run_of(readings: SpeedSeries | None) -> FloatArray:
    """Return how much each reading counts in the mean speed."""
    return np.zeros(0) if readings is None else readings.speed_ms * readings.weight


def _carried(readings: SpeedSeries, each: float | FloatArray) -> SpeedSeries:
    """Return the readings multiplied by their factor, or each by its own."""
    own = np.ravel(each)
    if (own == own[0]).all():
        return readings.scaled(float(own[0]))
    return SpeedSeries(readings.speed_ms * each, readings.weight)


def siting_assumptions(place: Place) -> Findings:
    """Return what the plan leaves open about the surroundings of a place."""
    site = place.site
    open_about_mast = (site.obstacles or site.roof) and place.measured_here is None
    return (
        *(() if site.obstacles else (NoObstacle(),)),
        *((MeasuredInTheOpen(),) if open_about_mast else ()),
    )


def turbulence_intensity(place: Place, resource: WindResource | None) -> float | None:
    """Return the turbulence intensity stated, else that measured, at 15 m/s where it can be."""
    if place.site.turbulence_intensity is not None:
        return place.site.turbulence_intensity
    if resource is None or resource.turbulence is None:
        return None
    measured = resource.turbulence
    return measured.mean if measured.at_15_ms is None else measured.at_15_ms


def _to_height(place: Place, build: Build, wind: SiteWind) -> tuple[HeightStep, float | FloatArray]:
    """Return the step to hub height, and the factor of the readings, or of each."""
    site = place.site
    measured_m, hub_m = place.wind.measured_height_m, build.hub_height_m
    if wind.shear is not None and wind.time is not None:
        run = _run_of(wind.readings)
        return measured_to_hub(wind.shear, measured_m, hub_m, wind.time, run, wind.direction_deg)
    height = to_hub(
        measured_m,
        hub_m,
        shear_exponent=site.shear_exponent,
        roughness_length_m=site.roughness_length_m,
        terrain=site.terrain,
        displacement_m=site.displacement_m,
    )
    return height, height.factor


def _height_correction(height: HeightStep, measured_m: float, hub_m: float) -> WindCorrection:
    method = f"{measured_m:g} m to {hub_m:g} m, {height.provenance.method}"
    if height.other_factor is not None and hub_m != measured_m:
        method += f"; {height.other_law} would give {height.other_factor:.3f}"
    return WindCorrection("to hub height", height.factor, method, height.standard_uncertainty)


def _to_other_ground(place: Place, mast: Site) -> WindCorrection:
    """Return the step from the ground at the mast to that of a place; 1 where they are alike."""
    measured_m, roof = place.wind.measured_height_m, mast.roof
    if roof is not None and measured_m < on_roof(roof, measured_m).disturbed_top_m:
        raise InputError(
            f"{place.plan_path}: the anemometer at {measured_m:g} m stood in the disturbed flow "
            f"over the roof of {mast.name!r}, and no formula carries that to {place.name!r}; give "
            f"{place.name!r} a wind of its own ([site.wind])."
        )
    here, there = place.site.height_law, mast.height_law
    alike = here == there or not here or not there
    factor = 1.0 if alike else over_other_ground(measured_m, there, here)
    return WindCorrection(
        "to other ground",
        factor,
        f"from {mast.name} up to {BLENDING_HEIGHT_M:g} m and down again (Wieringa 1986)",
        GROUND_UNCERTAINTY * abs(1 - factor),
    )


def _roughness(place: Place) -> float:
    if place.site.terrain is not None:
        return TERRAINS[place.site.terrain].roughness_length_m
    return place.site.roughness_length_m or DEFAULT_ROUGHNESS_M


def _roof(place: Place, build: Build, stated: Roof, measured_at_hub_site: bool) -> RoofStep:
    if build.hub_height_m <= stated.top_m:
        raise InputError(
            f"{place.plan_path}: the hub of {build.name!r} at {build.hub_height_m:g} m is not "
            f"above the roof at {stated.top_m:g} m; heights are above ground."
        )
    return on_roof(
        stated,
        build.hub_height_m,
        rotor_diameter_m=build.disc_diameter_m,
        rotor_height_m=build.rotor_height_m,
        anemometer_height_m=place.wind.measured_height_m if measured_at_hub_site else None,
    )
