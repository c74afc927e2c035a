"""What each build of a plan makes and costs in every cell."""

from __future__ import annotations

import numpy as np
import xarray as xr
from scipy.interpolate import RectBivariateSpline

from yieldest.arrays import FloatArray, floats
from yieldest.economics.cash_flow import Expenditure
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.annual_energy import FITTED_METHOD
from yieldest.energy.losses import assumed_losses, kept_share, losses_of
from yieldest.energy.net_energy import HOURS_PER_YEAR, HubSpeeds, net_kwh_per_year
from yieldest.energy.wakes import speed_bins
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.maps.cell_sites import CellSites, density_at_hub, to_hub
from yieldest.maps.cell_winds import CellWinds
from yieldest.maps.grid import by_parts, on_cells
from yieldest.model.array_of_build import machine_array_of, rose_of
from yieldest.model.build_estimate import NoBill
from yieldest.model.chain import money_of
from yieldest.model.inputs import read_build
from yieldest.plan import Build, Plan
from yieldest.plan.plausibility import questions_of_build, questions_of_plan
from yieldest.provenance import Findings, Provenance
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.weibull import share_above

SHAPES = np.array([0.6, 0.8, 1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0, 6.5])
SCALES_MS = np.array(
    [1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 15.0, 25.0]
)
"""Distributions for which wakes and wires are weighed; between them a cubic spline in the
logarithms serves, to within some 0.00005 of the energy."""
DENSITIES_KG_M3 = (0.8, 1.05, 1.3)
"""Air densities for which a build is computed where cells differ in them; between them, and for the
few cells beyond, serves a parabola."""


@frozen_dataclass
class InAir:
    """A build in air of one density.

    Of its energy `fixed` is what the losses that are the same in every wind leave, and `machines`
    what wakes and wires do, by `SHAPES` and `SCALES_MS`; None where neither is computed.
    """

    density_kg_m3: float
    curve: PowerCurve
    fixed: float
    machines: FloatArray | None
    assumed: Findings
    warnings: Findings

    def kept(self, shape: FloatArray, scale_ms: FloatArray) -> FloatArray:
        """Return the share of energy kept in the distribution at the hub; the arrays broadcast."""
        shape, scale_ms = np.broadcast_arrays(shape, scale_ms)
        if self.machines is None:
            return np.full(shape.shape, self.fixed)
        k = np.log(np.clip(shape, SHAPES[0], SHAPES[-1]))
        a = np.log(np.clip(scale_ms, SCALES_MS[0], SCALES_MS[-1]))
        known = np.isfinite(k) & np.isfinite(a)
        spline = RectBivariateSpline(np.log(SHAPES), np.log(SCALES_MS), self.machines)
        machines = spline(np.where(known, k, 0.0), np.where(known, a, 0.0), grid=False)
        return np.where(known, self.fixed * machines, np.nan)


def in_air(build: Build, curve: PowerCurve, density_kg_m3: float) -> InAir:
    """Compute what a build keeps, once for all cells, with the curve in the air at the hub."""
    distribution = WindDistribution.weibull(2.0, 6.0, height_m=build.hub_height_m)
    machines = machine_array_of(build, curve, rose_of(build, distribution, curve.cut_out_ms))
    of_machines, found = machines.losses(build.count), machines.findings(build.count)
    losses = losses_of(build.losses.stated, build.count, of_machines)
    computed = {loss.category for loss in of_machines}
    share = None
    if computed:
        free_w, arrived_w = machines.powers_all_round(build.count)
        bins = speed_bins(curve.cut_out_ms)
        above = share_above(bins, SHAPES[:, np.newaxis, np.newaxis], SCALES_MS[:, np.newaxis])
        time = -np.diff(above, axis=-1)
        made = time @ free_w
        share = np.divide(time @ arrived_w, made, out=np.ones_like(made), where=made > 0)
    return InAir(
        density_kg_m3,
        curve,
        kept_share(tuple(loss for loss in losses if loss.category not in computed)),
        share,
        (*assumed_losses(losses, build.count), *found.assumed),
        found.warnings,
    )


@frozen_dataclass
class ReadBuild:
    """A build of a plan with its files read, which is done once for all cells.

    There is one air where all cells have the same; the expenditure is None without a bill.
    """

    build: Build
    airs: tuple[InAir, ...]
    expenditure: Expenditure | None
    terms: EconomicTerms
    provenance: Provenance


def read_builds(plan: Plan, sites: CellSites) -> list[ReadBuild]:
    """Read the curves and bills of a plan; the sites tell whether all cells have the same air."""
    terms = plan.economics
    if plan.demand is not None:
        raise InputError(
            f"{plan.path}: demand is reckoned over the hours of one record, and a map has none; "
            "leave it out and state economics.self_consumption_share."
        )
    builds = []
    for build in plan.build:
        as_read, bill = read_build(plan, build)
        density, _ = density_at_hub(sites, build.hub_height_m)
        airs = tuple(
            in_air(build, as_read.at_density(at), at)
            for at in ((density,) if isinstance(density, float) else DENSITIES_KG_M3)
        )
        usual = airs[len(airs) // 2]
        curve = usual.curve.provenance
        stages = [curve, terms.provenance, *([] if bill is None else [bill.provenance])]
        if bill is not None and terms.item_life == "required":
            bill.require_lives()
        warnings = [
            *(*questions_of_plan(plan), *questions_of_build(build)),
            *(found for stage in stages for found in stage.warnings),
        ]
        provenance = Provenance(
            curve.source,
            f"{curve.method}; {FITTED_METHOD}",
            (*(found for stage in stages for found in stage.assumed), *usual.assumed),
            (*warnings, *([NoBill()] if bill is None else []), *usual.warnings),
        )
        expenditure = None if bill is None else bill.expenditure(build.count, terms)
        builds.append(ReadBuild(build, airs, expenditure, terms, provenance))
    return builds


def build_maps(
    read: ReadBuild, distributions: list[CellWinds], sites: CellSites
) -> tuple[dict[str, xr.DataArray], Provenance]:
    """Return what a build makes and costs in every cell, by the names in `make_maps.ATTRIBUTES`."""
    hub, height = to_hub(distributions, read.build.hub_height_m, sites)
    density, air = density_at_hub(sites, read.build.hub_height_m)
    net, full = on_cells(
        lambda *cell: by_parts(lambda *part: energy_measures(read, *part), *cell),
        hub.shape,
        hub.scale_ms,
        hub.calm_share,
        density,
        outputs=2,
    )
    maps = {
        "hub_mean_speed": hub.mean_speed_ms,
        "hub_weibull_shape": hub.shape,
        "hub_weibull_scale": hub.scale_ms,
        "air_density": xr.zeros_like(hub.scale_ms) + density,
        "net_energy": net,
        "capacity_factor": net / full.where(full > 0),
    }
    if read.expenditure is not None:
        priced = ["cost_per_kwh", "payback", "discounted_payback"]
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


def energy_measures(
    read: ReadBuild,
    shape: FloatArray,
    scale_ms: FloatArray,
    calm_share: FloatArray,
    density_kg_m3: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return the net energy of a year, and that of rated power all year round, both in kWh.

    Distribution and air are those at the hub; the arrays broadcast.
    """
    count = read.build.count
    net = full = np.zeros(())
    for air in read.airs:
        curve = air.curve
        wind = HubSpeeds(shape, scale_ms, calm_share)
        if read.build.density_correction == "speed":
            # Moving the wind one way is moving the curve the other, exactly.
            wind = wind.scaled(np.cbrt(density_kg_m3 / air.density_kg_m3))
        kept = air.kept(shape, floats(wind.scale_ms))
        made = net_kwh_per_year(wind, curve.speed_ms, curve.power_w, kept, curve.idle_draw_w, count)
        # Lagrange's weight of this density among those computed; 1 where it is the only one.
        weight = np.ones(np.shape(density_kg_m3))
        for other in (each.density_kg_m3 for each in read.airs if each is not air):
            weight = weight * (density_kg_m3 - other) / (air.density_kg_m3 - other)
        net = net + weight * made
        full = full + weight * count * curve.rated_power_w * HOURS_PER_YEAR / 1000
    return net, np.broadcast_to(full, net.shape)


def cost_measures(read: ReadBuild, net_kwh: FloatArray) -> tuple[FloatArray, ...]:
    """Return cost per kWh, payback and discounted payback in years; NaN where there is none."""
    assert read.expenditure is not None
    terms = read.terms
    found = money_of(read.expenditure, net_kwh, terms)
    known = np.isfinite(net_kwh) & (net_kwh > 0)
    never = np.full(net_kwh.shape, np.nan)
    paybacks = (found.get(key, never) for key in ("payback_years", "discounted_payback_years"))
    return (found["cost_per_kwh"], *(np.where(known, years, np.nan) for years in paybacks))
