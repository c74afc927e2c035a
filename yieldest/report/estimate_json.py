"""An estimate as plain dictionaries for `--json`: stable keys, SI units in the names."""

from __future__ import annotations

from typing import Any

from yieldest.economics.evaluation import Cost
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.self_consumption import SelfConsumption
from yieldest.model.break_even import break_even, rotor_saving
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.model.inputs import BuildInputs, Inputs
from yieldest.model.quantities import quantities_of
from yieldest.model.site_wind import SiteWind
from yieldest.report.decision import decide
from yieldest.report.json_values import json_ready, picked, weibull
from yieldest.report.sentences.uncertainty import STEP_WORDS
from yieldest.report.sentences.words import sentences
from yieldest.report.wind_json import long_term_as_dictionary
from yieldest.uncertainty.next_measurement import Gain
from yieldest.uncertainty.result import BuildUncertainty, Uncertainty
from yieldest.uncertainty.uncertain_inputs import UncertainInput


def as_dictionary(estimate: Estimate, uncertainty: Uncertainty | None = None) -> dict[str, Any]:
    """Return an estimate as JSON-ready values in full precision; what cannot be had is None."""
    sure = [None] * len(estimate.builds) if uncertainty is None else uncertainty.builds
    decision = decide(estimate, uncertainty)
    return {
        "plan": {"title": estimate.title, "currency": estimate.currency},
        "wind": _wind(estimate.wind),
        "sites": [_site(first) for first in estimate.inputs.places.values()],
        "economics": _terms(estimate.terms),
        "builds": [
            {**_build(build, estimate.inputs), "uncertainty": None if of is None else _sure(of)}
            for build, of in zip(estimate.builds, sure, strict=True)
        ],
        "uncertainty": None if uncertainty is None else _uncertainty(uncertainty),
        "cost_by_number": json_ready(decision.by_number),
        "chosen": None if decision.chosen is None else decision.chosen.name,
        "verdict": list(decision.verdict),
        "pointers": [{"about": about, "text": text} for about, text in decision.pointers],
        **{
            kind: [
                *sentences(getattr(estimate, kind)),
                *(text for b in estimate.builds for text in sentences(getattr(b, kind), b.name)),
            ]
            for kind in ("warnings", "assumed")
        },
    }


def _site(first: BuildInputs) -> dict[str, Any]:
    """Return what a place is, from the first build that stands there."""
    place = first.place
    return {
        "name": place.site.name,
        "wind_measured_here": place.measured_here,
        "stated": place.site.model_dump(exclude={"name", "wind"}, exclude_unset=True),
        "wind": _wind(first.wind),
    }


def _wind(wind: SiteWind) -> dict[str, Any]:
    record, resource = wind.record, wind.resource
    distribution, shear = wind.distribution, wind.shear
    return {
        "source": distribution.provenance.source,
        "hours": None if record is None else record.data_recovery.hours,
        "data_recovery": None if record is None else record.data_recovery.share,
        "mean_speed_ms": distribution.mean_speed_ms if resource is None else resource.mean_speed_ms,
        "clock_mean_speed_ms": None if resource is None else resource.clock_mean_speed_ms,
        "mean_speed_standard_uncertainty_share": (
            None if resource is None else resource.uncertainty.mean_total
        ),
        "readings_left_out": None if resource is None else resource.quality_control.left_out,
        "measured_height_m": distribution.height_m,
        "weibull": weibull(distribution),
        "long_term": None if wind.long_term is None else long_term_as_dictionary(wind.long_term),
        "shear": None
        if shear is None
        else picked(
            shear,
            "exponent",
            heights_m="height_m",
            standard_uncertainty="exponent_uncertainty",
            exponent_by_sector_and_part_of_day="exponent_by_cell",
            readings_by_sector_and_part_of_day="readings_by_cell",
        ),
    }


def _self_consumption(found: SelfConsumption | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "share": found.used_share,
        **picked(
            found,
            *("made_kwh", "demand_kwh", "used_directly_kwh", "into_battery_kwh"),
            *("from_battery_kwh", "sold_kwh", "dumped_kwh"),
            *("hours_without_power", "days_without_power"),
        ),
        **picked(found.provenance, "source", "method"),
    }


def _terms(terms: EconomicTerms) -> dict[str, Any]:
    return {
        **picked(
            terms,
            *("discount_rate", "life_years", "price_per_kwh", "maintenance_share_per_year"),
            *("wage_per_hour", "self_consumption_share", "export_price_per_kwh"),
            *("real_price_escalation_per_year", "degradation_per_year", "grant", "grant_share"),
            *("nominal_discount_rate", "grid_carbon_kg_per_kwh"),
            inflation="price_inflation",
        ),
        "loan": None if terms.loan is None else terms.loan.model_dump(),
    }


def _build(build: BuildEstimate, inputs: Inputs) -> dict[str, Any]:
    energy, curve, wind, cost = build.energy, build.curve, build.wind, build.cost
    by_month = build.by_month
    return {
        "name": build.name,
        **{each.key: json_ready(each.value(build)) for each in quantities_of("json")},
        "height_method": build.height_method,
        "weibull": picked(build.distribution, "shape", "scale_ms", "calm_share"),
        "correction_steps": json_ready(wind.steps),
        "wind_standard_uncertainty": wind.standard_uncertainty,
        "height": {
            **picked(wind.height, "factor", "other_factor"),
            "other_law": wind.height.other_law or None,
        },
        "roof": None
        if wind.roof is None
        else picked(
            wind.roof, "above_edge_m", "above_ridge_m", "disturbed_top_m", "disturbed_share"
        ),
        "air": picked(
            build.air,
            *("mean_density_kg_m3", "month_density_kg_m3", "standard_uncertainty"),
            season_energy_effect="season_effect",
            humidity_energy_effect="humidity_effect",
        ),
        "air_density_method": build.air.provenance.method,
        "turbulence": None
        if build.turbulence is None
        else picked(build.turbulence, "intensity", "counted", energy_effect="effect"),
        "extreme_winds": picked(
            build.extreme_winds,
            *("site_class", "largest_reading_ms", "largest_is_gust", "fifty_year"),
            *("thrust_speed_ms", "thrust_n"),
        ),
        "curve_source": curve.provenance.source,
        "curve_method": curve.provenance.method,
        "extrapolation": curve.extrapolation,
        "energy_method": energy.provenance.method,
        "losses": json_ready(energy.losses),
        "net_kwh_by_month": None if by_month is None else json_ready(by_month.month_kwh),
        "net_power_w_by_hour_of_day": None if by_month is None else json_ready(by_month.hour_w),
        "hours_per_year": json_ready(energy.hours),
        "self_consumption": _self_consumption(build.self_consumption),
        **_money(cost),
        "break_even": json_ready(break_even(build, inputs)),
        "rotor_saving": json_ready(rotor_saving(build)),
    }


def _money(cost: Cost | None) -> dict[str, Any]:
    """Return what a build costs and earns but for the measures, in real terms unless nominal."""
    if cost is None:
        keys = ("cost_by_group", "dearest_items", "embodied", "cash_flow_real", "nominal")
        return dict.fromkeys((*keys, "with_loan"))
    spent = cost.expenditure
    upkeep = spent.maintenance_per_year + spent.maintenance_in_years[1:]
    return {
        **picked(
            cost,
            *("embodied", "nominal", "with_loan"),
            cost_by_group="by_group",
            dearest_items="dearest",
        ),
        "cash_flow_real": {
            **picked(cost.flow, "cost", "energy_kwh", "value", "net"),
            "replacements": spent.replacement_costs.tolist(),
            "upkeep": [0.0, *upkeep.tolist()],
        },
    }


def _uncertainty(uncertainty: Uncertainty) -> dict[str, Any]:
    """Return what holds for all builds."""
    return {
        **picked(uncertainty.convergence, "draws", "enough_draws", "standard_error"),
        "seed": uncertainty.seed,
        "inputs": [_input(each) for each in uncertainty.inputs],
        "correlations": [
            {"first": one.between[0], "second": one.between[1], "coefficient": one.coefficient}
            for one in uncertainty.correlations
        ],
    }


def _input(each: UncertainInput) -> dict[str, Any]:
    return {
        **picked(each, "name", "category", "words", "source", stated_in_plan="by_plan"),
        "distribution": str(each.distribution),
        "standard_uncertainty": each.distribution.standard_uncertainty,
    }


def _sure(build: BuildUncertainty) -> dict[str, Any]:
    """Return the uncertainty of one build."""
    return {
        **{measure: json_ready(held) for measure, held in build.ranges.items()},
        **picked(
            build,
            "drivers",
            chance_paid_back_within_life="probability_of_payback",
            chance_paid_back_with_interest="probability_that_it_pays",
            chance_cheaper_than_bought_kwh="probability_below_price",
            chance_better_than="beats",
        ),
        "next_steps": [_gain(gain) for gain in build.next_steps],
    }


def _gain(gain: Gain) -> dict[str, Any]:
    return {
        "step": STEP_WORDS[gain.step],
        **picked(
            gain,
            *("work_days", "figure"),
            interval_before="before",
            interval_after="after",
            narrowed_share="narrowed",
        ),
    }
