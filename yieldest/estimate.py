"""One plan in, one estimate out: the whole chain from the wind record to the payback."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from yieldest.arrays import FloatArray, floats
from yieldest.climate.air import Air, air_at_hub
from yieldest.climate.height import hub_factor
from yieldest.climate.site import (
    LOW_MEAN_SPEED_MS,
    Climate,
    climate_of_mean,
    climate_of_weibull,
)
from yieldest.climate.study import EMPIRICAL, StudyOptions, WindStudy, study_record
from yieldest.climate.summed import (
    climate_of_frequencies,
    climate_of_months,
    points_of_frequencies,
)
from yieldest.energy.joined import Joined
from yieldest.energy.losses import losses_of
from yieldest.energy.production import Energy, Readings, produce
from yieldest.joining import joined_of
from yieldest.money.bill import Bill
from yieldest.money.billfile import read_bill
from yieldest.money.cost import Cost, cost_of
from yieldest.money.terms import MoneyTerms, money_terms
from yieldest.plan import Build, Plan
from yieldest.provenance import Provenance
from yieldest.record.options import ReadOptions
from yieldest.record.read import Record, read_record
from yieldest.record.rules import screen_rules
from yieldest.record.summaries import (
    FrequencyTable,
    MonthlyMeans,
    read_frequency_table,
    read_monthly_means,
)
from yieldest.textfile import Progress
from yieldest.turbine.curve import PowerCurve, read_curve

ROOF_WARNING = (
    "The machine stands on a roof: the air there is disturbed and often slower than any height "
    "law says, vibration goes into the building, and the structure must be judged by a licensed "
    "engineer. Expect less than the figures below say."
)


@dataclass(frozen=True)
class BuildEstimate:
    """What one build yields and costs.

    Parameters
    ----------
    name : str
    climate : Climate
        At the hub.
    air : Air
    curve : PowerCurve
        At the hub's air density.
    height_method : str
    joined : Joined
        The layout and the wiring, for this and any smaller number of machines.
    energy : Energy
    bill : Bill or None
    cost : Cost or None
        None without a bill.
    assumed, warnings : tuple of str
        Of this build alone.
    """

    name: str
    climate: Climate
    air: Air
    curve: PowerCurve
    height_method: str
    joined: Joined
    energy: Energy
    bill: Bill | None
    cost: Cost | None
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Estimate:
    """What all the builds of a plan yield and cost.

    Parameters
    ----------
    title, currency : str
    record : Record or None
        After screening; None when the plan states the mean speed.
    study : WindStudy or None
        What the record says; None without one.
    climate : Climate
        At the height of measurement.
    terms : MoneyTerms
    builds : tuple of BuildEstimate
    assumed, warnings : tuple of str
        Of the site, the wind and the money terms; those of a build are with it.
    """

    title: str
    currency: str
    record: Record | None
    study: WindStudy | None
    climate: Climate
    terms: MoneyTerms
    builds: tuple[BuildEstimate, ...]
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]


def estimate(plan: Plan, progress: Progress | None = None) -> Estimate:
    """Reckon yearly energy, cost per kWh and payback for every build of a plan.

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
    study, climate, readings = _wind(plan, progress)
    record = None if study is None else study.record
    terms = money_terms(**plan.money.model_dump())
    assumed = [*climate.provenance.assumed, *terms.provenance.assumed]
    warnings = [
        *(record.provenance.warnings if record is not None else ()),
        *climate.provenance.warnings,
        *terms.provenance.warnings,
    ]
    if plan.site.elevation_m is None:
        assumed.insert(0, "Elevation 0 m, for site.elevation_m is not stated.")
    if plan.site.on_roof:
        warnings.append(ROOF_WARNING)
    return Estimate(
        title=plan.title,
        currency=plan.currency,
        record=record,
        study=study,
        climate=climate,
        terms=terms,
        builds=tuple(_build(plan, build, record, climate, readings, terms) for build in plan.build),
        assumed=tuple(assumed),
        warnings=tuple(warnings),
    )


def _wind(
    plan: Plan, progress: Progress | None
) -> tuple[WindStudy | None, Climate, Readings | None]:
    """Return the study of the record, the climate, and the readings as they were measured."""
    wind = plan.wind
    height_m = wind.measured_height_m
    if wind.record is None:
        return None, *_summed_wind(plan)
    study = study_record(
        read_plan_record(plan, progress),
        StudyOptions(
            rules=screen_rules(wind.screen.stated()),
            season_correction=wind.season_correction,
            fit=wind.fit,
            energy_error_limit=wind.energy_error_limit,
        ),
        None if wind.neighbour is None else read_neighbour(plan, wind.neighbour),
    )
    return study, study.climate(height_m), Readings(study.speed_ms, study.weight)


def _summed_wind(plan: Plan) -> tuple[Climate, Readings | None]:
    wind = plan.wind
    height_m, shape = wind.measured_height_m, wind.weibull_shape
    if wind.weibull_scale_ms is not None and shape is not None:
        return climate_of_weibull(shape, wind.weibull_scale_ms, height_m), None
    if wind.mean_speed_ms is not None:
        return climate_of_mean(wind.mean_speed_ms, shape, height_m), None
    limit: float | None = 0.0 if wind.fit == EMPIRICAL else wind.energy_error_limit
    if wind.frequency_table is not None:
        table = read_plan_frequencies(plan)
        climate = climate_of_frequencies(table, height_m)
        limit = None if wind.fit == "interval-censored" else limit
        return replace(climate, reading_limit=limit), Readings(
            *points_of_frequencies(table, climate)
        )
    climate, speed_ms, share = climate_of_months(read_plan_months(plan), shape, height_m)
    return replace(climate, reading_limit=limit), Readings(speed_ms, share)


def _build(
    plan: Plan,
    build: Build,
    record: Record | None,
    measured: Climate,
    readings: Readings | None,
    terms: MoneyTerms,
) -> BuildEstimate:
    site = plan.site
    factor, height = hub_factor(
        measured.height_m,
        build.hub_height_m,
        shear_exponent=site.shear_exponent,
        roughness_length_m=site.roughness_length_m,
        terrain=site.terrain,
        displacement_m=site.displacement_m,
    )
    climate = measured.raised(factor, build.hub_height_m)
    air = air_at_hub(
        site.elevation_m or 0.0,
        build.hub_height_m,
        _known(site.mean_temperature_c, None if record is None else record.temperature_c),
        _known(site.mean_pressure_hpa, None if record is None else record.pressure_hpa),
    )
    curve = read_build_curve(plan, build).at_density(air.density_kg_m3, build.density_correction)
    joined = joined_of(build, climate, curve, record, factor)
    joint = joined.reckon(build.count)
    energy = produce(
        climate,
        curve,
        losses_of(build.losses.model_dump(), build.count, joint.losses),
        build.count,
        None if readings is None else Readings(readings.speed_ms * factor, readings.weight),
    )
    bill = None if build.bill is None else read_bill(plan.file(build.bill), plan.currency)
    cost = None if bill is None else cost_of(bill, build.count, energy.net_kwh_per_year, terms)
    stages: list[Provenance] = [height, air.provenance, curve.provenance, energy.provenance]
    stages += [stage.provenance for stage in (bill, cost) if stage is not None]
    warnings = [warning for stage in stages for warning in stage.warnings]
    assumed = [text for stage in stages for text in stage.assumed]
    warnings += joint.warnings
    if joint.interaction is not None:
        warnings += joint.interaction.warnings
        assumed += joint.interaction.assumed
    if bill is None:
        warnings.append("No bill is stated, so there is no cost per kWh and no payback.")
    if climate.mean_speed_ms < LOW_MEAN_SPEED_MS:
        warnings.append(
            f"The mean wind at the hub is {climate.mean_speed_ms:.1f} m/s; below "
            f"{LOW_MEAN_SPEED_MS:g} m/s small wind is seldom worth it (common practice, no source)."
        )
    return BuildEstimate(
        name=build.name,
        climate=climate,
        air=air,
        curve=curve,
        height_method=height.method,
        joined=joined,
        energy=energy,
        bill=bill,
        cost=cost,
        assumed=tuple(assumed),
        warnings=tuple(warnings),
    )


def read_plan_record(plan: Plan, progress: Progress | None = None) -> Record:
    """Read the wind record of a plan as the plan describes it."""
    return read_record(
        plan.file(str(plan.wind.record)), ReadOptions(**plan.wind.read_options()), progress
    )


def read_neighbour(plan: Plan, name: str) -> Record:
    """Read the record of another sensor near by, with columns and units of its own."""
    zone = plan.wind.time_zone
    return read_record(plan.file(name), ReadOptions(time_zone=zone))


def read_plan_frequencies(plan: Plan) -> FrequencyTable:
    """Read the frequency table of a plan."""
    options = ReadOptions(**plan.wind.read_options())
    return read_frequency_table(plan.file(str(plan.wind.frequency_table)), options)


def read_plan_months(plan: Plan) -> MonthlyMeans:
    """Read the twelve monthly means of a plan, from a file or from the plan itself."""
    stated = plan.wind.monthly_means_ms
    if stated is not None:
        return MonthlyMeans(floats(stated), Provenance("wind.monthly_means_ms", "monthly means"))
    options = ReadOptions(**plan.wind.read_options())
    return read_monthly_means(plan.file(str(plan.wind.monthly_means)), options)


def read_build_curve(plan: Plan, build: Build) -> PowerCurve:
    """Read the power curve of a build as the plan describes it."""
    return read_curve(
        plan.file(build.curve),
        cut_in_ms=build.cut_in_ms,
        cut_out_ms=build.cut_out_ms,
        rated_power_w=build.rated_power_w,
        rotor_area_m2=build.area_m2,
        rotor_type=build.rotor_type,
        air_density_kg_m3=build.curve_air_density_kg_m3,
    )


def _known(stated: float | None, measured: FloatArray | None) -> float | None:
    """Prefer what the plan states, else the mean of what the record measured."""
    if stated is not None or measured is None or not np.isfinite(measured).any():
        return stated
    return float(np.nanmean(measured))
