"""The wind of a plan at the height of measurement, carried to the long term where it can be."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray
from yieldest.energy.annual_energy import Readings
from yieldest.files.text_file import Progress
from yieldest.hub.correction_steps import WindCorrection
from yieldest.hub.shear import MeasuredShear, measured_shear
from yieldest.model.wind_files import (
    read_also,
    read_neighbour,
    read_plan_frequencies,
    read_plan_months,
    read_plan_record,
    read_reference,
)
from yieldest.plan import Plan, Reference
from yieldest.provenance import Findings, Provenance
from yieldest.wind.data_recovery import data_recovery_of, data_recovery_warnings
from yieldest.wind.distribution import (
    WindDistribution,
    distribution_of_mean,
    distribution_of_weibull,
)
from yieldest.wind.from_summaries import (
    distribution_of_frequencies,
    distribution_of_months,
    points_of_frequencies,
)
from yieldest.wind.long_term.correction import LongTermCorrection, long_term
from yieldest.wind.quality_rules import QualityRules, quality_rules
from yieldest.wind.resource import EMPIRICAL, ResourceOptions, WindResource, assess_record
from yieldest.wind.wind_record import WindRecord


@dataclass(frozen=True)
class SiteWind:
    """The wind at the height of measurement.

    Parameters
    ----------
    study : WindResource or None
        Of the measured record; None without one.
    distribution : WindDistribution
        Over the reference's years where there is one.
    readings : Readings or None
        That the distribution was fitted to; None for a stated mean or distribution.
    time : ndarray of datetime64, shape (n,), or None
        Of the readings; None where they are a table's.
    direction_deg : ndarray, shape (n,), or None
    long_term : LongTermCorrection or None
    shear : MeasuredShear or None
    start_ms : float
        Mean speed as measured or stated.
    corrections : tuple of WindCorrection
        From there to the distribution's mean.
    provenance : tuple of Provenance
    """

    study: WindResource | None
    distribution: WindDistribution
    readings: Readings | None
    time: npt.NDArray[np.datetime64] | None
    direction_deg: FloatArray | None
    long_term: LongTermCorrection | None
    shear: MeasuredShear | None
    start_ms: float
    corrections: tuple[WindCorrection, ...]
    provenance: tuple[Provenance, ...]

    @property
    def long_term_factor(self) -> float:
        """Long-term mean over the mean as measured."""
        return self.corrections[0].factor

    @property
    def record(self) -> WindRecord | None:
        """The measured record after quality_control."""
        return None if self.study is None else self.study.record


def site_wind(plan: Plan, progress: Progress | None = None) -> SiteWind:
    """Read the wind of a plan, and carry it to the years of a reference where there is one.

    Parameters
    ----------
    plan : Plan
    progress : callable, optional
        Told now and then the share of the record read so far.

    Raises
    ------
    InputError
        When a file cannot be used.
    """
    if plan.wind.record is None:
        return _stated_wind(plan)
    wind = plan.wind
    options = ResourceOptions(
        rules=quality_rules(wind.quality_control.stated()),
        season_correction=wind.season_correction,
        fit=wind.fit,
        energy_error_limit=wind.energy_error_limit,
    )
    neighbour = None if wind.neighbour is None else read_neighbour(plan, wind.neighbour)
    study = years = assess_record(read_plan_record(plan, progress), options, neighbour)
    record = study.record
    provenance = [record.provenance]
    over_years = None
    if wind.reference is None:
        evened = f"; readings weighted by month and hour, {study.season.reason}"
        correction = WindCorrection(
            "to the long term",
            study.mean_speed_ms / study.clock_mean_speed_ms,
            f"{record.data_recovery.hours / 24:.0f} days of readings without a reference"
            f"{evened if study.season.used else ', taken at face value'}",
            study.uncertainty.mean_total,
        )
    else:
        over_years, warnings = _over_years(plan, wind.reference, record)
        years = assess_record(
            _record_of_years(record, over_years),
            replace(options, rules=_NO_RULES, season_correction=False),
        )
        # The reference makes up for the seasons that the record lacks.
        made_up = data_recovery_warnings(record.data_recovery)
        provenance = [
            replace(
                record.provenance,
                warnings=tuple(t for t in record.provenance.warnings if t not in made_up),
            ),
            over_years.provenance,
            Provenance(over_years.provenance.source, "", (), warnings),
        ]
        correction = WindCorrection(
            "to the long term",
            years.mean_speed_ms / study.clock_mean_speed_ms,
            over_years.provenance.method,
            over_years.standard_uncertainty,
        )
    distribution = years.distribution(wind.measured_height_m)
    off = distribution.mean_speed_ms / years.mean_speed_ms
    fitted = WindCorrection(
        "to a distribution", off, distribution.provenance.method, float(abs(off - 1) / np.sqrt(3))
    )
    kept = years.record
    used = np.isfinite(kept.speed_ms) & (years.season.weight > 0)
    return SiteWind(
        study=study,
        distribution=distribution,
        readings=Readings(years.speed_ms, years.weight),
        time=kept.time[used],
        direction_deg=None if kept.direction_deg is None else kept.direction_deg[used],
        long_term=over_years,
        shear=_shear(plan, record) if wind.other_heights else None,
        start_ms=study.clock_mean_speed_ms,
        corrections=(correction, fitted),
        provenance=(*provenance, distribution.provenance),
    )


_NO_RULES = QualityRules(
    impossible_ms=None,
    sensor_top_ms=None,
    spike_factor=None,
    stuck_hours=None,
    frozen_hours=None,
    calm_hours=None,
    repeated=None,
    disordered=None,
    gap_intervals=None,
    interval_readings=None,
    threshold_share=None,
    rounding_share=None,
)
"""A record of years that was computed, not measured, has no sensor faults to look for."""


def _stated_wind(plan: Plan) -> SiteWind:
    """Return the wind of a plan that has no record."""
    distribution, readings = _summed_wind(plan)
    stated = WindCorrection("as stated", 1.0, distribution.provenance.method, None)
    return SiteWind(
        None,
        distribution,
        readings,
        None,
        None,
        None,
        None,
        distribution.mean_speed_ms,
        (stated,),
        (distribution.provenance,),
    )


def _summed_wind(plan: Plan) -> tuple[WindDistribution, Readings | None]:
    wind = plan.wind
    height_m, shape = wind.measured_height_m, wind.weibull_shape
    if wind.weibull_scale_ms is not None and shape is not None:
        return distribution_of_weibull(shape, wind.weibull_scale_ms, height_m), None
    if wind.mean_speed_ms is not None:
        return distribution_of_mean(wind.mean_speed_ms, shape, height_m), None
    limit: float | None = 0.0 if wind.fit == EMPIRICAL else wind.energy_error_limit
    if wind.frequency_table is not None:
        table = read_plan_frequencies(plan)
        distribution = distribution_of_frequencies(table, height_m)
        limit = None if wind.fit == "interval-censored" else limit
        return replace(distribution, reading_limit=limit), Readings(
            *points_of_frequencies(table, distribution)
        )
    distribution, speed_ms, share = distribution_of_months(read_plan_months(plan), shape, height_m)
    return replace(distribution, reading_limit=limit), Readings(speed_ms, share)


def _over_years(
    plan: Plan, stated: Reference, record: WindRecord
) -> tuple[LongTermCorrection, Findings]:
    reference = read_reference(plan, stated)
    found = long_term(
        record.time,
        record.speed_ms,
        reference.time,
        reference.speed_ms,
        reference.direction_deg,
        record.direction_deg,
        stated.record,
        reference.resolution_ms,
    )
    return found, reference.provenance.warnings


def _record_of_years(measured: WindRecord, over_years: LongTermCorrection) -> WindRecord:
    known = np.isfinite(over_years.direction_deg)
    return WindRecord(
        time=over_years.time,
        speed_ms=over_years.speed_ms,
        direction_deg=over_years.direction_deg if known.any() else None,
        temperature_c=None,
        pressure_hpa=None,
        data_recovery=data_recovery_of(over_years.time, np.isfinite(over_years.speed_ms)),
        provenance=replace(over_years.provenance, source=measured.provenance.source),
    )


def _shear(plan: Plan, measured: WindRecord) -> MeasuredShear:
    heights, speeds = [plan.wind.measured_height_m], [measured.speed_ms]
    for also in plan.wind.other_heights:
        other = read_also(plan, also)
        speed = np.full(measured.time.size, np.nan)
        _, here, there = np.intersect1d(measured.time, other.time, return_indices=True)
        speed[here] = other.speed_ms[there]
        heights.append(also.height_m)
        speeds.append(speed)
    return measured_shear(measured.time, heights, np.stack(speeds), measured.direction_deg)
