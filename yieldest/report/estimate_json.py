"""An estimate as plain dictionaries for `--json`: stable keys, SI units in the names."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from yieldest.economics.terms import MoneyTerms
from yieldest.model.estimate import BuildEstimate, Estimate
from yieldest.model.number_of_machines import count_ladders
from yieldest.report.economics_json import money_of, terms_beyond
from yieldest.report.hub_text import (
    build_wind_as_dictionary,
    long_term_as_dictionary,
    shear_as_dictionary,
)
from yieldest.report.uncertainty_text import build_as_dictionary as build_doubt
from yieldest.report.uncertainty_text import plan_as_dictionary as plan_doubt
from yieldest.report.verdict import reasons, verdict
from yieldest.uncertainty.result import Doubt
from yieldest.wind.distribution import Climate


def as_dictionary(estimate: Estimate, doubt: Doubt | None = None) -> dict[str, Any]:
    """Return an estimate as JSON-ready values in full precision; what cannot be had is None."""
    sure = [None] * len(estimate.builds) if doubt is None else doubt.builds
    record, study = estimate.record, estimate.study
    terms = estimate.terms
    climate = estimate.climate
    return {
        "plan": {"title": estimate.title, "currency": estimate.currency},
        "wind": {
            "source": climate.provenance.source,
            "hours": None if record is None else record.coverage.hours,
            "coverage": None if record is None else record.coverage.share,
            "mean_speed_ms": climate.mean_speed_ms if study is None else study.mean_speed_ms,
            "clock_mean_speed_ms": None if study is None else study.clock_mean_speed_ms,
            "mean_speed_standard_uncertainty_share": (
                None if study is None else study.doubt.mean_total
            ),
            "readings_left_out": None if study is None else study.screening.left_out,
            "measured_height_m": climate.height_m,
            "weibull": {**_weibull(climate), "method": climate.provenance.method},
            "long_term": long_term_as_dictionary(estimate.long_term),
            "shear": shear_as_dictionary(estimate.shear),
        },
        "money": {
            "discount_rate": terms.discount_rate,
            "life_years": terms.life_years,
            "price_per_kwh": terms.price_per_kwh,
            "upkeep_share_per_year": terms.upkeep_share_per_year,
            "wage_per_hour": terms.wage_per_hour,
            **terms_beyond(terms),
        },
        "builds": [
            {**_build(build, terms), "doubt": None if of is None else build_doubt(of)}
            for build, of in zip(estimate.builds, sure, strict=True)
        ],
        "doubt": None if doubt is None else plan_doubt(doubt),
        "unit_counts": [asdict(ladder) for ladder in count_ladders(estimate)],
        "reasons": reasons(estimate),
        "verdict": verdict(estimate),
        "warnings": [
            *estimate.warnings,
            *(f"{build.name}: {text}" for build in estimate.builds for text in build.warnings),
        ],
        "assumed": [
            *estimate.assumed,
            *(f"{build.name}: {text}" for build in estimate.builds for text in build.assumed),
        ],
    }


def _weibull(climate: Climate) -> dict[str, float]:
    return {
        "shape": climate.shape,
        "scale_ms": climate.scale_ms,
        "calm_share": climate.calm_share,
    }


def _build(build: BuildEstimate, terms: MoneyTerms) -> dict[str, Any]:
    energy = build.energy
    return {
        "name": build.name,
        "count": energy.count,
        "hub_height_m": build.climate.height_m,
        "hub_mean_speed_ms": build.climate.mean_speed_ms,
        "height_method": build.height_method,
        "weibull": _weibull(build.climate),
        **build_wind_as_dictionary(build),
        "air_density_kg_m3": build.air.density_kg_m3,
        "air_density_method": build.air.provenance.method,
        "rated_power_w": build.curve.rated_power_w,
        "gross_kwh_per_year": energy.gross_kwh_per_year,
        "fitted_gross_kwh_per_year": energy.fitted_gross_kwh_per_year,
        "energy_from_readings": energy.from_readings,
        "record_gross_kwh_per_year": energy.record_gross_kwh_per_year,
        "curve_source": build.curve.provenance.source,
        "curve_method": build.curve.provenance.method,
        "curve_modelled": build.curve.modelled,
        "beyond_last": build.curve.beyond_last,
        "gross_kwh_beyond_last_per_year": energy.beyond_last_kwh_per_year,
        "idle_draw_kwh_per_year": energy.idle_draw_kwh_per_year,
        "energy_method": energy.provenance.method,
        "losses": [asdict(loss) for loss in energy.losses],
        "net_kwh_per_year": energy.net_kwh_per_year,
        "calm_year_net_kwh": energy.calm_year_kwh,
        "windy_year_net_kwh": energy.windy_year_kwh,
        "capacity_factor": energy.capacity_factor,
        "hours_per_year": asdict(energy.hours),
        **money_of(build, terms),
    }
