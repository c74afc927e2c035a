"""One build of a plan: what it yields and costs, computed from what was read."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import field
from functools import cache, cached_property, partial

from yieldest.economics.bill_of_materials import BillOfMaterials
from yieldest.economics.evaluation import Cost
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.annual_energy import (
    AnnualEnergy,
    SpreadPutBack,
    TurbulenceEffect,
    WorkingYear,
    annual_energies,
    in_turbulence,
    spread_put_back,
)
from yieldest.energy.array_losses import ArrayFindings, MachineArray
from yieldest.energy.by_month import EnergyByMonth, energy_by_month
from yieldest.energy.losses import kept_share, losses_of
from yieldest.energy.self_consumption import SelfConsumption
from yieldest.frozen import frozen_dataclass, relabelled
from yieldest.hub.air import Air, air_at_hub
from yieldest.hub.extremes import ExtremeWinds, extreme_winds
from yieldest.model.array_of_build import machine_array_of, rose_of
from yieldest.model.hub_wind import HubWind, hub_wind, turbulence_intensity
from yieldest.model.inputs import OF_SEVERAL, OF_THE_BILL, BuildInputs
from yieldest.model.site_wind import SiteWind
from yieldest.plan.plausibility import questions_of_build
from yieldest.plan.site_table import Site
from yieldest.provenance import Finding, Findings, Provenance
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.distribution import LOW_MEAN_SPEED_MS, WindDistribution


class NoBill(Finding):
    """Nothing is known of the cost."""


class LowMeanWind(Finding):
    """The wind at the hub is below what is usually worth it."""

    hub_mean_speed_ms: float
    worth_from_ms: float


@frozen_dataclass
class BuildEstimate:
    """What one build yields and costs.

    Parameters
    ----------
    inputs : BuildInputs
    wind : HubWind
        The wind at the hub and the correction steps to it.
    air : Air
    curve : PowerCurve
        At the hub's air density.
    turbulence : TurbulenceEffect or None
        None when the turbulence intensity is not known.
    machines : MachineArray
        The layout and the wiring, for this and any smaller number of machines.
    energy : AnnualEnergy
    cost : Cost or None
        None without a bill.
    terms : EconomicTerms
        Those of the plan, with the share that is used of this build where it was reckoned; what is
        not used then earns the export price for the part of it that is sold.
    self_consumption : SelfConsumption or None
        None where the plan has no [demand], or nothing is made.
    """

    inputs: BuildInputs
    wind: HubWind
    air: Air
    curve: PowerCurve
    turbulence: TurbulenceEffect | None
    machines: MachineArray
    energy: AnnualEnergy
    cost: Cost | None
    terms: EconomicTerms = field(default_factory=cache(EconomicTerms.unstated))
    self_consumption: SelfConsumption | None = None

    @property
    def name(self) -> str:
        """The name that the plan gives the build."""
        return self.inputs.settings.name

    @property
    def place(self) -> str:
        """The name of the place where it stands; empty for the only one, if it has no name."""
        return self.inputs.place.name

    @property
    def bill(self) -> BillOfMaterials | None:
        """The parts bill, where the plan names one."""
        return self.inputs.bill

    @property
    def distribution(self) -> WindDistribution:
        """The wind-speed distribution at the hub."""
        return self.wind.distribution

    @cached_property
    def extreme_winds(self) -> ExtremeWinds:
        """How strong the strongest winds are, and what they ask of it."""
        return extreme_winds(
            self.distribution.mean_speed_ms,
            self.wind.factor,
            self.air.density_kg_m3,
            self.inputs.settings.area_m2,
            self.inputs.wind.record,
        )

    @cached_property
    def spread(self) -> SpreadPutBack | None:
        """What the spread within daily or coarser means is worth; None for finer readings."""
        hidden, readings = self.inputs.wind.hidden, self.wind.readings
        if hidden is None or readings is None:
            return None
        return spread_put_back(hidden, self.curve, readings)

    @cached_property
    def array_findings(self) -> ArrayFindings:
        """What was assumed for the losses of so many machines, and why they may be far off."""
        return self.machines.findings(self.machines.count)

    @property
    def by_month(self) -> EnergyByMonth | None:
        """When the net energy comes; None where no readings have times, or there is none."""
        readings, time = self.wind.readings, self.inputs.clock_time
        if readings is None or time is None:
            return None
        return energy_by_month(
            time,
            readings,
            self.curve,
            self.energy.net_kwh,
            in_utc=self.inputs.clock_in_utc,
            scarce_months=self.inputs.wind.scarce_months,
        )

    @property
    def height_method(self) -> str:
        """How the wind was carried to hub height."""
        return self.wind.height.provenance.method

    @property
    def assumed(self) -> Findings:
        """What was taken for granted about this build alone."""
        of_stages = (found for stage in self._stages for found in stage.assumed)
        return (*of_stages, *self.array_findings.assumed)

    @property
    def warnings(self) -> Findings:
        """What must be known of this build alone before its figures are trusted."""
        mean_ms = self.distribution.mean_speed_ms
        low = mean_ms < LOW_MEAN_SPEED_MS
        return (
            *questions_of_build(self.inputs.settings),
            *(found for stage in self._stages for found in stage.warnings),
            *self.extreme_winds.warnings,
            *(() if self.turbulence is None else (self.turbulence,)),
            *(() if self.spread is None else (self.spread,)),
            *self.array_findings.warnings,
            *(() if self.bill is not None else (NoBill(),)),
            *((LowMeanWind(mean_ms, LOW_MEAN_SPEED_MS),) if low else ()),
        )

    @property
    def _stages(self) -> tuple[Provenance, ...]:
        costed = (self.self_consumption, self.bill, self.cost)
        return (
            *self.wind.provenance,
            self.air.provenance,
            self.curve.provenance,
            self.energy.provenance,
            *(stage.provenance for stage in costed if stage is not None),
        )


_OF_THE_AIR = {
    *("elevation_m", "mean_temperature_c", "mean_pressure_hpa", "relative_humidity"),
    "turbulence_intensity",
}
"""Keys of a site that change nothing in the wind at its hubs."""
_OF_THE_WIRES = {"array", "cable", "converter"}


def energy_of_build(build: BuildInputs, like: BuildEstimate | None = None) -> BuildEstimate:
    """Compute what a build yields in the wind of its place, without its cost.

    Parameters
    ----------
    build : BuildInputs
    like : BuildEstimate, optional
        Of a variant of the build: what both share of wind, curve and wakes is not computed again.

    Raises
    ------
    InputError
        When the hub is where no height law holds.
    """
    (found,) = energies_of_builds([(build, like)])
    return found


def energies_of_builds(
    builds: Iterable[tuple[BuildInputs, BuildEstimate | None]],
) -> list[BuildEstimate]:
    """Return what `energy_of_build` says of n builds, the energy of all computed together."""
    found, begun = dict[int, BuildEstimate](), {}
    for place, (build, like) in enumerate(builds):
        if like is not None and _same_energy(build, like.inputs):
            found[place] = relabelled(like, inputs=build, cost=None)
        else:
            begun[place] = _to_the_year(build, like)
    energies = annual_energies([year for _, year in begun.values()])
    for (place, (finish, _)), energy in zip(begun.items(), energies, strict=True):
        found[place] = finish(energy=energy)
    return [found[place] for place in range(len(found))]


def _same_energy(build: BuildInputs, other: BuildInputs) -> bool:
    """Whether two builds differ at most in bill and terms."""
    alike = build.wind is other.wind and build.curve is other.curve and build.place == other.place
    return alike and build.settings.differs_in(other.settings) <= OF_THE_BILL


def _to_the_year(
    build: BuildInputs, like: BuildEstimate | None
) -> tuple[Callable[..., BuildEstimate], WorkingYear]:
    """Return what makes the estimate of a build from its energy, and what that follows from."""
    wind, settings, count = build.wind, build.settings, build.settings.count
    at_hub = _at_hub(build, like)
    air = _air(build.place.site, settings.hub_height_m, wind)
    curve, turbulence = _curve(build, at_hub, air, like)
    machines = _machines(build, at_hub, curve, like)
    losses = losses_of(settings.losses.stated, count, machines.losses(count))
    year = WorkingYear(
        at_hub.distribution, curve, losses, count, at_hub.readings, wind.yearly_spread
    )
    finish = partial(
        BuildEstimate,
        inputs=build,
        wind=at_hub,
        air=air,
        curve=curve,
        turbulence=turbulence,
        machines=machines,
        cost=None,
    )
    return finish, year


def _at_hub(build: BuildInputs, like: BuildEstimate | None) -> HubWind:
    """Return the wind at the hub, that of a variant where nothing on the way to it differs."""
    if like is not None:
        here, there = build.place, like.inputs.place
        if (
            build.wind is like.inputs.wind
            and build.settings.differs_in(like.inputs.settings) <= OF_SEVERAL
            and here.wind == there.wind
            and _same_but_for_air(here.site, there.site)
            and _same_but_for_air(here.mast, there.mast)
        ):
            return like.wind
    return hub_wind(build.place, build.settings, build.wind)


def _same_but_for_air(site: Site | None, other: Site | None) -> bool:
    if site is None or other is None:
        return site is other
    return site.differs_in(other) <= _OF_THE_AIR


def _curve(
    build: BuildInputs, at_hub: HubWind, air: Air, like: BuildEstimate | None
) -> tuple[PowerCurve, TurbulenceEffect | None]:
    """Return the curve in the air and the turbulence at the hub."""
    intensity = turbulence_intensity(build.place, build.wind.resource)
    if (
        like is not None
        and build.curve is like.inputs.curve
        and air.density_kg_m3 == like.air.density_kg_m3
    ):
        known = None if like.turbulence is None else like.turbulence.intensity
        if intensity == known and (known is None or at_hub is like.wind):
            return like.curve, like.turbulence
    curve = build.curve.at_density(air.density_kg_m3)
    if intensity is None:
        return curve, None
    return in_turbulence(curve, at_hub.distribution, intensity)


def _machines(
    build: BuildInputs, at_hub: HubWind, curve: PowerCurve, like: BuildEstimate | None
) -> MachineArray:
    """Return the machines, with the rose and the wakes of a variant where they are the same."""
    settings, highest_ms = build.settings, curve.cut_out_ms
    if like is not None and settings.differs_in(like.inputs.settings) & _OF_THE_WIRES:
        like = None
    if like is not None and at_hub is like.wind and highest_ms == like.curve.cut_out_ms:
        rose = like.machines.rose
    else:
        rose = rose_of(settings, at_hub.distribution, highest_ms, build.wind, at_hub.factor)
    if like is not None and curve is like.curve:
        return relabelled(like.machines, rose=rose, count=settings.count)
    return machine_array_of(settings, curve, rose)


def energy_of_more(build: BuildEstimate, count: int) -> float:
    """Return the net energy in kWh a year of a build with more machines than it has."""
    computed = relabelled(build.machines, count=count).losses(count)
    kept = kept_share(losses_of(build.inputs.settings.losses.stated, count, computed))
    energy = build.energy
    return (energy.gross_kwh * kept - energy.idle_draw_kwh) / energy.count * count


def _air(site: Site, hub_height_m: float, wind: SiteWind) -> Air:
    """Return the air at a hub; what the plan states of it goes before what the record measured."""
    temperature_c, pressure_hpa, months = site.mean_temperature_c, site.mean_pressure_hpa, None
    if temperature_c is None:
        temperature_c, months = wind.mean_temperature_c, wind.months
    if pressure_hpa is None:
        pressure_hpa = wind.mean_pressure_hpa
    return air_at_hub(
        site.elevation_m, hub_height_m, temperature_c, pressure_hpa, site.relative_humidity, months
    )
