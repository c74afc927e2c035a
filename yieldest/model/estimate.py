"""One plan in, one estimate out: the whole chain from the wind record to the payback."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.economics.bill_file import read_bill
from yieldest.economics.bill_of_materials import BillOfMaterials
from yieldest.economics.evaluation import Cost, evaluate
from yieldest.economics.terms import EconomicTerms, economic_terms
from yieldest.energy.annual_energy import Energy, produce
from yieldest.energy.array_losses import MachineArray
from yieldest.energy.curve_in_turbulence import TurbulenceEffect, in_turbulence
from yieldest.energy.losses import losses_of
from yieldest.files.text_file import Progress
from yieldest.hub.air import Air, air_at_hub, monthly_air
from yieldest.hub.extremes import ExtremeWinds, extreme_winds
from yieldest.hub.shear import MeasuredShear
from yieldest.model.array_of_build import machine_array_of
from yieldest.model.build_curve import curve_at_hub
from yieldest.model.hub_wind import HubWind, hub_wind, siting_assumptions, turbulence_intensity
from yieldest.model.input_files import left_as_started
from yieldest.model.site_wind import SiteWind, site_wind
from yieldest.plan import Build, Plan
from yieldest.provenance import Findings, Provenance
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.distribution import LOW_MEAN_SPEED_MS, WindDistribution
from yieldest.wind.long_term.correction import LongTermCorrection
from yieldest.wind.resource import WindResource
from yieldest.wind.wind_record import WindRecord

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr


@dataclass(frozen=True)
class BuildEstimate:
    """What one build yields and costs.

    Parameters
    ----------
    name : str
    wind : HubWind
        The wind at the hub and the ladder to it.
    air : Air
    curve : PowerCurve
        At the hub's air density.
    turbulence : TurbulenceEffect or None
        None when the turbulence intensity is not known.
    extreme_winds : ExtremeWinds
    machines : MachineArray
        The layout and the wiring, for this and any smaller number of machines.
    energy : Energy
    bill : BillOfMaterials or None
    cost : Cost or None
        None without a bill.
    assumed, warnings : tuple of str
        Of this build alone.
    """

    name: str
    wind: HubWind
    air: Air
    curve: PowerCurve
    turbulence: TurbulenceEffect | None
    extreme_winds: ExtremeWinds
    machines: MachineArray
    energy: Energy
    bill: BillOfMaterials | None
    cost: Cost | None
    assumed: Findings
    warnings: Findings

    @property
    def distribution(self) -> WindDistribution:
        """The distribution at the hub."""
        return self.wind.distribution

    @property
    def height_method(self) -> str:
        """How the wind was carried to hub height."""
        return self.wind.height.provenance.method


@dataclass(frozen=True)
class Estimate:
    """What all the builds of a plan yield and cost.

    Parameters
    ----------
    title, currency : str
    wind : SiteWind
        Which the builds stand in.
    record : WindRecord or None
        After quality control; None when the plan states the mean speed.
    study : WindResource or None
        What the record says; None without one.
    distribution : WindDistribution
        At the height of measurement, over the long term where there is a reference.
    long_term : LongTermCorrection or None
    shear : MeasuredShear or None
        Where the plan names a second anemometer.
    terms : EconomicTerms
    builds : tuple of BuildEstimate
    assumed, warnings : tuple of str
        Of the site, the wind and the money terms; those of a build are with it.
    left_as_started : tuple of str
        Files that still hold the invented numbers of `yieldest start`.
    """

    title: str
    currency: str
    wind: SiteWind
    record: WindRecord | None
    study: WindResource | None
    distribution: WindDistribution
    long_term: LongTermCorrection | None
    shear: MeasuredShear | None
    terms: EconomicTerms
    builds: tuple[BuildEstimate, ...]
    assumed: Findings
    warnings: Findings
    left_as_started: tuple[str, ...]

    def to_frame(self) -> pd.DataFrame:
        """Return the builds as a table, a row for each, SI units in the names of the columns."""
        from yieldest.model.frames import frame_of  # noqa: PLC0415 - it imports this module

        return frame_of(self)

    def to_xarray(self) -> xr.Dataset:
        """Return the builds as a dataset along "build", with units, methods and provenance."""
        from yieldest.model.frames import dataset_of  # noqa: PLC0415 - it imports this module

        return dataset_of(self)

    def _repr_html_(self) -> str:
        """Show the builds side by side in a notebook."""
        from yieldest.report.comparison_rows import estimate_card  # noqa: PLC0415 - it imports this module

        return estimate_card(self)


def estimate(plan: Plan, progress: Progress | None = None) -> Estimate:
    """Compute yearly energy, cost per kWh and payback for every build of a plan.

    Parameters
    ----------
    plan : Plan
    progress : callable, optional
        Told now and then the share of the record read so far.

    Raises
    ------
    InputError
        When a file that the plan names cannot be used.
    """
    wind = site_wind(plan, progress)
    terms = economic_terms(**plan.economics.model_dump())
    stages = [*wind.provenance, terms.provenance]
    assumed = [text for stage in stages for text in stage.assumed] + siting_assumptions(plan)
    if plan.site.elevation_m is None:
        assumed.insert(0, "Elevation 0 m, for site.elevation_m is not stated.")
    return Estimate(
        title=plan.title,
        currency=plan.currency,
        wind=wind,
        record=wind.record,
        study=wind.study,
        distribution=wind.distribution,
        long_term=wind.long_term,
        shear=wind.shear,
        terms=terms,
        builds=tuple(compute_build(plan, build, wind, terms) for build in plan.build),
        assumed=tuple(assumed),
        warnings=tuple(text for stage in stages for text in stage.warnings),
        left_as_started=left_as_started(plan),
    )


def compute_build(
    plan: Plan,
    build: Build,
    wind: SiteWind,
    terms: EconomicTerms,
    source_curve: PowerCurve | None = None,
) -> BuildEstimate:
    """Compute one build of a plan, in the wind of its site and on its money terms.

    Parameters
    ----------
    plan : Plan
    build : Build
        Of that plan, or like one of it.
    wind : SiteWind
    terms : EconomicTerms
    source_curve : PowerCurve, optional
        From `read_build_curve`, where it was read already.

    Raises
    ------
    InputError
        When a file of the build cannot be used, or its hub is where no height law holds.
    """
    record = wind.record
    at_hub = hub_wind(plan, build, wind)
    distribution = at_hub.distribution
    air = _air(plan, build, record)
    curve = curve_at_hub(plan, build, air.density_kg_m3, source_curve)
    intensity, turbulence = turbulence_intensity(plan, wind.study), None
    if intensity is not None:
        curve, turbulence = in_turbulence(curve, distribution, intensity)
    machines = machine_array_of(
        build, distribution, curve, record, wind.long_term_factor * at_hub.factor
    )
    array_losses = machines.compute(build.count)
    energy = produce(
        distribution,
        curve,
        losses_of(build.losses.model_dump(), build.count, array_losses.losses),
        build.count,
        at_hub.readings,
    )
    strong = extreme_winds(
        distribution.mean_speed_ms,
        at_hub.factor,
        air.density_kg_m3,
        build.area_m2,
        time=None if record is None else record.time,
        speed_ms=None if record is None else record.speed_ms,
        gust_ms=None if record is None else record.gust_ms,
        interval_s=3600.0 if record is None else record.data_recovery.interval_s,
    )
    bill = None if build.bill is None else read_bill(plan.file(build.bill), plan.currency)
    cost = None if bill is None else evaluate(bill, build.count, energy.net_kwh_per_year, terms)
    stages: list[Provenance] = [*at_hub.provenance, air.provenance, curve.provenance]
    stages.append(energy.provenance)
    stages += [stage.provenance for stage in (bill, cost) if stage is not None]
    warnings = [warning for stage in stages for warning in stage.warnings]
    warnings += strong.warnings
    if turbulence is not None:
        warnings.append(turbulence.sentence)
    assumed = [text for stage in stages for text in stage.assumed]
    warnings += array_losses.warnings
    if array_losses.wake is not None:
        warnings += array_losses.wake.warnings
        assumed += array_losses.wake.assumed
    if bill is None:
        warnings.append("No bill is stated, so there is no cost per kWh and no payback.")
    if distribution.mean_speed_ms < LOW_MEAN_SPEED_MS:
        warnings.append(
            f"The mean wind at the hub is {distribution.mean_speed_ms:.1f} m/s; below "
            f"{LOW_MEAN_SPEED_MS:g} m/s small wind is seldom worth it (common practice, no source)."
        )
    return BuildEstimate(
        name=build.name,
        wind=at_hub,
        air=air,
        curve=curve,
        turbulence=turbulence,
        extreme_winds=strong,
        machines=machines,
        energy=energy,
        bill=bill,
        cost=cost,
        assumed=tuple(assumed),
        warnings=tuple(warnings),
    )


def _air(plan: Plan, build: Build, record: WindRecord | None) -> Air:
    site = plan.site
    months = None
    if record is not None and record.temperature_c is not None and site.mean_temperature_c is None:
        months = monthly_air(
            record.time, record.speed_ms, record.temperature_c, record.pressure_hpa
        )
    return air_at_hub(
        site.elevation_m or 0.0,
        build.hub_height_m,
        _known(site.mean_temperature_c, None if record is None else record.temperature_c),
        _known(site.mean_pressure_hpa, None if record is None else record.pressure_hpa),
        site.relative_humidity,
        months,
    )


def _known(stated: float | None, measured: FloatArray | None) -> float | None:
    """Prefer what the plan states, else the mean of what the record measured."""
    if stated is not None or measured is None or not np.isfinite(measured).any():
        return stated
    return float(np.nanmean(measured))
