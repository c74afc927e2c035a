"""The money of an estimate as plain dictionaries for `--json`."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from yieldest.economics.evaluation import Cost
from yieldest.economics.terms import EconomicTerms
from yieldest.model.break_even import break_even, rotor_saving
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.quantities import ECONOMIC_MEASURES


def terms_beyond(terms: EconomicTerms) -> dict[str, Any]:
    """Return the money terms that few plans state."""
    return {
        "self_consumption_share": terms.self_consumption_share,
        "export_price_per_kwh": terms.export_price_per_kwh,
        "real_price_escalation_per_year": terms.real_price_escalation_per_year,
        "degradation_per_year": terms.degradation_per_year,
        "grant": terms.grant,
        "grant_share": terms.grant_share,
        "inflation": terms.price_inflation,
        "nominal_discount_rate": terms.nominal_discount_rate,
        "loan": None if terms.loan is None else terms.loan.model_dump(),
        "grid_carbon_kg_per_kwh": terms.grid_carbon_kg_per_kwh,
    }


def money_of(build: BuildEstimate, terms: EconomicTerms) -> dict[str, Any]:
    """Return what a build costs, earns and would need, in real terms but where it says nominal."""
    cost = build.cost
    measures = {
        each.key: None if cost is None else getattr(cost, each.key) for each in ECONOMIC_MEASURES
    }
    needed, saving = break_even(build, terms), rotor_saving(build, terms)
    return {
        **measures,
        "cost_by_group": None if cost is None else cost.by_group,
        "dearest_items": None if cost is None else [asdict(item) for item in cost.dearest],
        "embodied": None if cost is None else asdict(cost.embodied),
        "cash_flow_real": None if cost is None else _flow(cost),
        "nominal": None
        if cost is None or cost.nominal is None
        else {**asdict(cost.nominal), "flow": cost.nominal.flow.tolist()},
        "with_loan": None if cost is None or cost.with_loan is None else asdict(cost.with_loan),
        "break_even": None if needed is None else asdict(needed),
        "rotor_saving": None if saving is None else asdict(saving),
    }


def _flow(cost: Cost) -> dict[str, list[float]]:
    """Return the sums of years 0, 1, ... in today's money."""
    return {
        "cost": cost.flow.cost.tolist(),
        "energy_kwh": cost.flow.energy_kwh.tolist(),
        "value": cost.flow.value.tolist(),
        "net": cost.flow.net.tolist(),
        "replacements": cost.expenditure.replacement_costs.tolist(),
        "upkeep": [
            0.0,
            *(
                cost.expenditure.maintenance_per_year + cost.expenditure.maintenance_in_years[1:]
            ).tolist(),
        ],
    }
