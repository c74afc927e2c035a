"""The answer in three sentences."""

from __future__ import annotations

from yieldest.estimate import BuildEstimate, Estimate
from yieldest.show.words import rounded


def answer_of(estimate: Estimate) -> tuple[str, str, str]:
    """Return what is made, what a kWh costs, and whether and when it comes back."""
    best = _cheapest(estimate.builds)
    energy = best.energy
    made = (
        f"{_named(best)} makes about {rounded(energy.net_kwh_per_year)} kWh a year, "
        f"{rounded(energy.calm_year_kwh)} in a calm year and {rounded(energy.windy_year_kwh)} in a "
        "windy one."
    )
    return made, _price(best, estimate), _payback(best, estimate)


def _cheapest(builds: tuple[BuildEstimate, ...]) -> BuildEstimate:
    costs = [
        float("inf") if build.cost is None or build.cost.cost_per_kwh is None
        else build.cost.cost_per_kwh
        for build in builds
    ]  # fmt: skip
    return builds[costs.index(min(costs))]


def _named(build: BuildEstimate) -> str:
    return f"“{build.name}”"


def _price(best: BuildEstimate, estimate: Estimate) -> str:
    if best.cost is None:
        return "What a kWh costs cannot be said, for there is no bill."
    if best.cost.cost_per_kwh is None:
        return "What a kWh costs cannot be said, for none is made."
    sentence = (
        f"A kWh from it costs {rounded(best.cost.cost_per_kwh)} {estimate.currency} over "
        f"{estimate.terms.life_years} years"
    )
    dearer = [
        f"from {_named(build)} {rounded(build.cost.cost_per_kwh)}"
        for build in estimate.builds
        if build is not best and build.cost is not None and build.cost.cost_per_kwh is not None
    ]
    if dearer:
        sentence += ", " + ", ".join(dearer[:3])
    if estimate.terms.price_per_kwh is not None:
        sentence += f"; it is worth {estimate.terms.price_per_kwh:g} {estimate.currency}"
    return sentence + "."


def _payback(best: BuildEstimate, estimate: Estimate) -> str:
    terms, cost = estimate.terms, best.cost
    if cost is None or cost.cost_per_kwh is None:
        return "So nothing can be said of payback."
    if terms.price_per_kwh is None or cost.net_present_value is None:
        return "Whether it pays cannot be said, for the worth of a kWh is not stated."
    if cost.simple_payback_years is None:
        return f"It is never paid back within {terms.life_years} years: not worth it for the money."
    if cost.net_present_value < 0:
        return (
            f"It is paid back after {rounded(cost.simple_payback_years)} years, but at "
            f"{terms.discount_rate:.1%} a year the money would do better elsewhere."
        )
    return (
        f"It is paid back after {rounded(cost.simple_payback_years)} years and leaves "
        f"{rounded(cost.net_present_value)} {estimate.currency} of today's money after "
        f"{terms.life_years}."
    )
