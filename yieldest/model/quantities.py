"""Every measure of money once: its key, its label, its unit and when it is worth a line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from yieldest.economics.terms import EconomicTerms
from yieldest.model.build_estimate import BuildEstimate


def _always(terms: EconomicTerms) -> bool:
    return True


def _with_wage(terms: EconomicTerms) -> bool:
    return bool(terms.wage_per_hour)


def _partly_used(terms: EconomicTerms) -> bool:
    return terms.self_consumption_share < 1


@dataclass(frozen=True)
class EconomicMeasure:
    """A measure of money: a field of `Cost`, a key of `--json`, a line of the tables.

    Parameters
    ----------
    key : str
        Name of the field of `Cost`.
    name : str
        In words, for whoever reads the figures without the tables.
    label : str
        Of its line in the tables; empty for none. A number in brackets points to a method.
    unit : str
        With {currency} in its place; "share" is written in per cent.
    digits : int
    more_is_better, none_is_never : bool
        Whether a build with a cost and energy but no such figure never has it.
    shown : callable
        Whether it is worth a line on these terms.
    """

    key: str
    name: str
    label: str = ""
    unit: str = ""
    digits: int = 2
    more_is_better: bool = False
    none_is_never: bool = False
    shown: Callable[[EconomicTerms], bool] = _always

    def value(self, build: BuildEstimate) -> float | None:
        """Return the figure of a build; None without a bill, or where it cannot be had."""
        found: float | None = None if build.cost is None else getattr(build.cost, self.key)
        return found


ECONOMIC_MEASURES = (
    EconomicMeasure("capital_cost", "what the build costs", "capital cost [6]", "{currency}", 4),
    EconomicMeasure(
        "capital_cost_without_wage",
        "what the build costs, own labour for nothing",
        "  own labour for nothing",
        "{currency}",
        4,
        shown=_with_wage,
    ),
    EconomicMeasure("grant", "money given in year 0", unit="{currency}"),
    EconomicMeasure("labour_hours", "own work to build it", "own labour", "hours", 3),
    EconomicMeasure(
        "maintenance_per_year", "upkeep in the first year", "upkeep, first year", "{currency}/year"
    ),
    EconomicMeasure(
        "cost_per_kwh",
        "discounted whole-life cost over discounted energy",
        "cost per kWh [7]",
        "{currency}/kWh",
    ),
    EconomicMeasure(
        "cost_per_kwh_by_capital_recovery",
        "cost per kWh by the capital recovery factor",
        "  by recovery factor",
        "{currency}/kWh",
    ),
    EconomicMeasure(
        "cost_per_kwh_without_wage",
        "cost per kWh, own labour for nothing",
        "  own labour for nothing",
        "{currency}/kWh",
        shown=_with_wage,
    ),
    EconomicMeasure(
        "cost_per_used_kwh",
        "discounted cost less what sold kWh earn, over the discounted energy that is used",
        "cost per used kWh",
        "{currency}/kWh",
        shown=_partly_used,
    ),
    EconomicMeasure(
        "simple_payback_years",
        "capital cost after grants over what the first year saves",
        "simple payback",
        "years",
        none_is_never=True,
    ),
    EconomicMeasure(
        "payback_years",
        "payback, replacements counted",
        "payback [8]",
        "years",
        none_is_never=True,
    ),
    EconomicMeasure(
        "discounted_payback_years",
        "discounted payback",
        "discounted payback",
        "years",
        none_is_never=True,
    ),
    EconomicMeasure(
        "net_present_value",
        "net present value",
        "net present value",
        "{currency}",
        more_is_better=True,
    ),
    EconomicMeasure(
        "internal_rate_of_return",
        "internal rate of return per year",
        "rate of return",
        "share per year",
        more_is_better=True,
    ),
    EconomicMeasure(
        "benefit_cost_ratio",
        "present value of what is earned over that of what is paid",
        "benefit over cost",
        more_is_better=True,
    ),
    EconomicMeasure(
        "return_to_own_labour_per_hour",
        "what an hour of own work earns",
        "an own hour earns",
        "{currency}/hour",
        more_is_better=True,
    ),
    EconomicMeasure("energy_payback_years", "embodied energy paid back", "energy payback", "years"),
    EconomicMeasure("carbon_payback_years", "embodied carbon paid back", "carbon payback", "years"),
)
"""In the order of the tables; results for machines, tables and frames all read this list."""
