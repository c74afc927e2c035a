"""The answer in three sentences: what is made, what a kWh costs, whether it pays."""

from __future__ import annotations

from yieldest.arrays import rounded
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.report.uncertainty_text import between
from yieldest.report.verdict import whether_it_pays
from yieldest.uncertainty.result import Uncertainty

MOST_NAMED = 3
"""So many other builds are named beside the cheapest; the table has them all."""


def answer_of(estimate: Estimate, uncertainty: Uncertainty | None) -> tuple[str, str, str]:
    """Return the answer, of the build with the cheapest kWh or else of the first."""
    best = min(estimate.builds, key=_cost_per_kwh)
    made = _made(best) if uncertainty is None else _made_in_nine_of_ten(best, uncertainty)
    return made, _price(best, estimate), whether_it_pays(estimate)[0]


def _cost_per_kwh(build: BuildEstimate) -> float:
    cost = None if build.cost is None else build.cost.cost_per_kwh
    return float("inf") if cost is None else cost


def _made(best: BuildEstimate) -> str:
    energy = best.energy
    return (
        f"“{best.name}” makes about {rounded(energy.net_kwh)} kWh a year, "
        f"{rounded(energy.inter_annual_low_kwh)} in a calm year and "
        f"{rounded(energy.inter_annual_high_kwh)} in a "
        "windy one."
    )


def _made_in_nine_of_ten(best: BuildEstimate, uncertainty: Uncertainty) -> str:
    held = next(build for build in uncertainty.builds if build.name == best.name)
    return (
        f"“{best.name}” makes about {rounded(best.energy.net_kwh)} kWh a year; in nine "
        f"years of ten {between(held.ranges['one_year_kwh'])}, everything uncertain counted."
    )


def _price(best: BuildEstimate, estimate: Estimate) -> str:
    terms, currency = estimate.terms, estimate.currency
    if best.cost is None:
        return "What a kWh costs cannot be said, for there is no bill."
    if best.cost.cost_per_kwh is None:
        return "What a kWh costs cannot be said, for none is made."
    sentence = (
        f"A kWh from it costs {rounded(best.cost.cost_per_kwh)} {currency} over "
        f"{terms.life_years} years"
    )
    others = [
        f"from “{build.name}” {rounded(build.cost.cost_per_kwh)}"
        for build in estimate.builds
        if build is not best and build.cost is not None and build.cost.cost_per_kwh is not None
    ]
    if others:
        sentence += ", " + ", ".join(others[:MOST_NAMED])
    if terms.price_per_kwh is None:
        return f"{sentence}."
    if best.cost.cost_per_used_kwh is not None and terms.self_consumption_share < 1:
        rest = "sold" if terms.export_price_per_kwh > 0 else "worth nothing"
        sentence += (
            f"; a used one costs {rounded(best.cost.cost_per_used_kwh)} and is worth "
            f"{terms.price_per_kwh:g} {currency}, and "
            f"{100 * (1 - terms.self_consumption_share):.0f} % of them "
            f"are {rest}"
        )
    else:
        sentence += f"; it is worth {terms.price_per_kwh:g} {currency}"
    return f"{sentence}."
