"""What each build of a plan makes and costs in every cell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from yieldest.arrays import FloatArray
from yieldest.energy.yearly import HOURS_PER_YEAR, mean_power_w
from yieldest.estimate import read_build_curve
from yieldest.grid.cells import by_parts, on_cells
from yieldest.grid.climates import CellClimates
from yieldest.grid.losses import DENSITIES_KG_M3, Kept, kept_of
from yieldest.grid.site import CellSites, density_at_hub, to_hub
from yieldest.money.bill import Outlay
from yieldest.money.billfile import read_bill
from yieldest.money.cost import flow_of, outlay_of
from yieldest.money.measures import cost_per_kwh, payback_years
from yieldest.money.terms import MoneyTerms, money_terms
from yieldest.plan import Build, Plan
from yieldest.provenance import Provenance
from yieldest.turbine.curve import PowerCurve


@dataclass(frozen=True)
class ReadBuild:
    """A build of a plan with its files read, which is done once for all cells.

    Parameters
    ----------
    build : Build
    curve : PowerCurve
    outlay : Outlay or None
        What the bill comes to by year; None without one.
    terms : MoneyTerms
    kept : Kept
    provenance : Provenance
    """

    build: Build
    curve: PowerCurve
    outlay: Outlay | None
    terms: MoneyTerms
    kept: Kept
    provenance: Provenance


def read_builds(plan: Plan, sites: CellSites) -> list[ReadBuild]:
    """Read the curves and bills of a plan.

    Parameters
    ----------
    plan : Plan
    sites : CellSites
        They tell whether the air is the same in every cell.

    Raises
    ------
    InputError
        When a file cannot be used.
    """
    terms = money_terms(**plan.money.model_dump())
    builds = []
    for build in plan.build:
        curve = read_build_curve(plan, build)
        density, _ = density_at_hub(sites, build.hub_height_m)
        at = (density,) if isinstance(density, float) else DENSITIES_KG_M3
        kept = kept_of(build, curve, at)
        bill = None if build.bill is None else read_bill(plan.file(build.bill), plan.currency)
        stages = [curve.provenance, terms.provenance]
        if bill is not None:
            stages.append(bill.provenance)
            if terms.item_lives_required:
                bill.require_lives()
        warnings = [warning for stage in stages for warning in stage.warnings]
        if bill is None:
            warnings.append("No bill is stated, so there is no cost per kWh and no payback.")
        assumed = [text for stage in stages for text in stage.assumed]
        assumed += kept.assumed
        warnings += kept.warnings
        builds.append(
            ReadBuild(
                build,
                curve,
                None if bill is None else outlay_of(bill, build.count, terms),
                terms,
                kept,
                Provenance(
                    curve.provenance.source,
                    "Weibull distribution through the straight pieces of the curve, in closed "
                    "form (incomplete gamma function); year of 8760 h",
                    tuple(assumed),
                    tuple(warnings),
                ),
            )
        )
    return builds


def build_maps(
    read: ReadBuild, climates: list[CellClimates], sites: CellSites
) -> tuple[dict[str, xr.DataArray], Provenance]:
    """Return what a build makes and costs in every cell.

    Parameters
    ----------
    read : ReadBuild
    climates : list of CellClimates
        At the heights of the grid.
    sites : CellSites

    Returns
    -------
    dict of str to xarray.DataArray
        By the names in `yieldest.grid.maps.ATTRIBUTES`.
    Provenance
    """
    hub, height = to_hub(climates, read.build.hub_height_m, sites)
    density, air = density_at_hub(sites, read.build.hub_height_m)
    maps = {
        "hub_mean_speed": hub.mean_speed_ms,
        "hub_weibull_shape": hub.shape,
        "hub_weibull_scale": hub.scale_ms,
        "air_density": xr.zeros_like(hub.scale_ms) + density,
    }
    net = on_cells(
        lambda *cell: by_parts(lambda *part: (net_kwh_per_year(read, *part),), *cell)[0],
        hub.shape,
        hub.scale_ms,
        hub.calm_share,
        density,
    )
    maps["net_energy"] = net
    rated_kwh = read.curve.rated_power_w * read.build.count * HOURS_PER_YEAR / 1000
    if rated_kwh > 0:
        # Where thin air takes power in proportion, it takes rated power too.
        proportional = read.build.density_correction == "power"
        ratio = density / read.curve.air_density_kg_m3 if proportional else 1.0
        maps["capacity_factor"] = net / (rated_kwh * ratio)
    if read.outlay is not None:
        priced = ["cost_per_kwh", "simple_payback", "discounted_payback"]
        costs = on_cells(
            lambda cell: by_parts(lambda part: cost_measures(read, part), cell), net, outputs=3
        )
        if read.terms.price_per_kwh is None:
            priced = priced[:1]
        maps.update(zip(priced, costs, strict=False))
    stages = (sites.provenance, height, air, read.provenance)
    return maps, Provenance(
        read.provenance.source,
        "; ".join(stage.method for stage in stages if stage.method),
        tuple(text for stage in stages for text in stage.assumed),
        tuple(text for stage in stages for text in stage.warnings),
    )


def net_kwh_per_year(
    read: ReadBuild,
    shape: FloatArray,
    scale_ms: FloatArray,
    calm_share: FloatArray,
    density_kg_m3: FloatArray,
) -> FloatArray:
    """Return the net energy of a year of all the machines of a build; the arrays broadcast.

    Notes
    -----
    The curve goes to the density of the cell by `PowerCurve.at_density`: power in proportion, or
    speeds by the cube root. For the latter the wind is moved instead of the curve, which is the
    same and needs no curve for each cell.
    """
    curve = read.curve
    ratio = density_kg_m3 / curve.air_density_kg_m3
    if read.build.density_correction == "speed":
        power_w = mean_power_w(shape, scale_ms * np.cbrt(ratio), curve.speed_ms, curve.power_w)
    else:
        power_w = ratio * mean_power_w(shape, scale_ms, curve.speed_ms, curve.power_w)
    kwh_per_mean_w = read.build.count * HOURS_PER_YEAR / 1000
    kept = read.kept.share(shape, scale_ms, density_kg_m3)
    return np.asarray((1 - calm_share) * power_w * kwh_per_mean_w * kept)


def cost_measures(read: ReadBuild, net_kwh: FloatArray) -> tuple[FloatArray, ...]:
    """Return cost per kWh, simple and discounted payback in years; NaN where there is none."""
    assert read.outlay is not None
    terms = read.terms
    flow = flow_of(read.outlay, net_kwh, terms)
    known = np.isfinite(net_kwh) & (net_kwh > 0)
    return (
        cost_per_kwh(flow.cost, flow.energy_kwh, terms.discount_rate),
        np.where(known, payback_years(flow.net), np.nan),
        np.where(known, payback_years(flow.net, terms.discount_rate), np.nan),
    )
