"""An estimate as plain dictionaries for `--json`: stable keys, SI units in the names."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from yieldest.economics.terms import EconomicTerms
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.model.number_of_machines import cost_by_number
from yieldest.report.economics_json import money_of, terms_beyond
from yieldest.report.hub_text import (
    build_wind_as_dictionary,
    long_term_as_dictionary,
    shear_as_dictionary,
)
from yieldest.report.sentences.words import sentences
from yieldest.report.uncertainty_text import build_as_dictionary as build_uncertainty
from yieldest.report.uncertainty_text import plan_as_dictionary as plan_uncertainty
from yieldest.report.verdict import reasons, verdict
from yieldest.uncertainty.result import Uncertainty
from yieldest.wind.distribution import WindDistribution


def as_dictionary(estimate: Estimate, uncertainty: Uncertainty | None = None) -> dict[str, Any]:
    """Return an estimate as JSON-ready values in full precision; what cannot be had is None."""
    sure = [None] * len(estimate.builds) if uncertainty is None else uncertainty.builds
    record, study = estimate.record, estimate.resource
    terms = estimate.terms
    distribution = estimate.distribution
    return {
        "plan": {"title": estimate.title, "currency": estimate.currency},
        "wind": {
            "source": distribution.provenance.source,
            "hours": None if record is None else record.data_recovery.hours,
            "data_recovery": None if record is None else record.data_recovery.share,
            "mean_speed_ms": distribution.mean_speed_ms if study is None else study.mean_speed_ms,
            "clock_mean_speed_ms": None if study is None else study.clock_mean_speed_ms,
            "mean_speed_standard_uncertainty_share": (
                None if study is None else study.uncertainty.mean_total
            ),
            "readings_left_out": None if study is None else study.quality_control.left_out,
            "measured_height_m": distribution.height_m,
            "weibull": {**_weibull(distribution), "method": distribution.provenance.method},
            "long_term": long_term_as_dictionary(estimate.long_term),
            "shear": shear_as_dictionary(estimate.shear),
        },
        "economics": {
            "discount_rate": terms.discount_rate,
            "life_years": terms.life_years,
            "price_per_kwh": terms.price_per_kwh,
            "maintenance_share_per_year": terms.maintenance_share_per_year,
            "wage_per_hour": terms.wage_per_hour,
            **terms_beyond(terms),
        },
        "builds": [
            {**_build(build, terms), "uncertainty": None if of is None else build_uncertainty(of)}
            for build, of in zip(estimate.builds, sure, strict=True)
        ],
        "uncertainty": None if uncertainty is None else plan_uncertainty(uncertainty),
        "cost_by_number": [asdict(ladder) for ladder in cost_by_number(estimate)],
        "reasons": reasons(estimate),
        "verdict": verdict(estimate),
        "warnings": [
            *sentences(estimate.warnings),
            *(text for build in estimate.builds for text in sentences(build.warnings, build.name)),
        ],
        "assumed": [
            *sentences(estimate.assumed),
            *(text for build in estimate.builds for text in sentences(build.assumed, build.name)),
        ],
    }


def _weibull(distribution: WindDistribution) -> dict[str, float]:
    return {
        "shape": distribution.shape,
        "scale_ms": distribution.scale_ms,
        "calm_share": distribution.calm_share,
    }


def _build(build: BuildEstimate, terms: EconomicTerms) -> dict[str, Any]:
    energy = build.energy
    return {
        "name": build.name,
        "count": energy.count,
        "hub_height_m": build.distribution.height_m,
        "hub_mean_speed_ms": build.distribution.mean_speed_ms,
        "height_method": build.height_method,
        "weibull": _weibull(build.distribution),
        **build_wind_as_dictionary(build),
        "air_density_kg_m3": build.air.density_kg_m3,
        "air_density_method": build.air.provenance.method,
        "rated_power_w": build.curve.rated_power_w,
        "gross_kwh_per_year": energy.gross_kwh,
        "fitted_gross_kwh_per_year": energy.fitted_gross_kwh,
        "energy_from_time_series": energy.from_time_series,
        "time_series_gross_kwh_per_year": energy.time_series_gross_kwh,
        "curve_source": build.curve.provenance.source,
        "curve_method": build.curve.provenance.method,
        "curve_modelled": build.curve.modelled,
        "extrapolation": build.curve.extrapolation,
        "gross_kwh_extrapolated_per_year": energy.beyond_last_kwh,
        "idle_draw_kwh_per_year": energy.idle_draw_kwh,
        "energy_method": energy.provenance.method,
        "losses": [asdict(loss) for loss in energy.losses],
        "net_kwh_per_year": energy.net_kwh,
        "inter_annual_low_net_kwh": energy.inter_annual_low_kwh,
        "inter_annual_high_net_kwh": energy.inter_annual_high_kwh,
        "capacity_factor": energy.capacity_factor,
        "hours_per_year": asdict(energy.hours),
        **money_of(build, terms),
    }
