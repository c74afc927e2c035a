"""Several plans against each other: one table, a row for each build, and which is best."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from rich.console import Console

from yieldest.economics.terms import EconomicTerms
from yieldest.frozen import frozen_dataclass
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.model.frames import Figures, results_of
from yieldest.model.quantities import Quantity, had_by, in_currency
from yieldest.report.decision import started
from yieldest.report.estimate_json import as_dictionary
from yieldest.report.tables import Row, TableView
from yieldest.report.terminal import print_table, print_text
from yieldest.report.uncertainty_text import chance_words, range_of
from yieldest.uncertainty.result import BuildUncertainty, Uncertainty


@frozen_dataclass
class ComparedPlan:
    """A plan as estimated, and what the comparison calls it."""

    name: str
    estimate: Estimate
    uncertainty: Uncertainty | None

    def builds(self) -> Iterator[tuple[BuildEstimate, BuildUncertainty | None]]:
        """Return each build with its draws."""
        draws = [None] * len(self.estimate.builds)
        sure = draws if self.uncertainty is None else self.uncertainty.builds
        return zip(self.estimate.builds, sure, strict=True)


@frozen_dataclass
class Comparison:
    """Several plans; their money is ranked where it is of one currency."""

    plans: tuple[ComparedPlan, ...]

    @property
    def currencies(self) -> list[str]:
        """Those of the plans, each once."""
        return list(dict.fromkeys(each.estimate.currency for each in self.plans))

    @property
    def different_terms(self) -> list[str]:
        """Keys of [economics] that the plans do not share."""
        first, *others = (each.estimate.terms for each in self.plans)
        return [
            key
            for key in EconomicTerms.model_fields
            if any(getattr(other, key) != getattr(first, key) for other in others)
        ]

    @property
    def best(self) -> tuple[ComparedPlan, BuildEstimate, str] | None:
        """The plan and build that gains most, or else has the cheapest kWh, and by which of both.

        None where the currencies differ or no build has a cost.
        """
        if len(self.currencies) > 1:
            return None
        every = [(plan, build) for plan in self.plans for build in plan.estimate.builds]
        for key, sign in (("net_present_value", -1), ("cost_per_kwh", 1)):
            known = [
                (sign * value, i)
                for i, (_, build) in enumerate(every)
                if build.cost is not None and (value := getattr(build.cost, key)) is not None
            ]
            if known:
                return (*every[min(known)[1]], key)
        return None

    def rows(self) -> list[Figures]:
        """Return the main figures with their ranges, a row for each build of each plan."""
        several = len(self.plans) > 1
        return [
            {**({"plan": each.name} if several else {}), **row}
            for each in self.plans
            for row in results_of(each.estimate.builds, each.estimate.currency, each.uncertainty)
        ]

    def as_dictionary(self) -> dict[str, Any]:
        """Return it as JSON-ready values, each plan as `estimate --json` has it."""
        best = self.best
        return {
            "plans": [
                {
                    "name": each.name,
                    "path": str(each.estimate.plan.path),
                    **as_dictionary(each.estimate, each.uncertainty),
                }
                for each in self.plans
            ],
            "currencies": self.currencies,
            "different_terms": self.different_terms,
            "best": best and {"plan": best[0].name, "build": best[1].name, "by": best[2]},
        }


def plan_names(paths: Sequence[Path]) -> list[str]:
    """Return what to call plans: their folders or files, whole where two would be alike."""
    names = [
        (path.resolve().parent.name if path.name == "plan.toml" else path.stem) for path in paths
    ]
    whole = [str(path) for path in paths]
    return names if len(set(names)) == len(names) else whole


def verdict(compared: Comparison) -> list[str]:
    """Say which build of which plan is best, or why that cannot be said."""
    found = [f"{each.name}: {text}" for each in compared.plans for text in started(each.estimate)]
    best = compared.best
    if len(compared.currencies) > 1:
        found.append(
            f"The plans are in {' and '.join(compared.currencies)}, so their money is not ranked."
        )
    elif best is None:
        found.append("No build has a bill, so only their energy can be compared.")
    else:
        plan, build, key = best
        cost = build.cost
        assert cost is not None
        value = in_currency(getattr(cost, key), plan.estimate.currency)
        if key == "net_present_value" and (cost.net_present_value or 0.0) < 0:
            found.append("Make none of them for the money: all lose.")
        most = {
            "net_present_value": "has the highest net present value",
            "cost_per_kwh": "makes the cheapest kWh",
        }[key]
        found.append(f"“{build.name}” of {plan.name} {most}: {value}.")
    if compared.different_terms:
        keys = ", ".join(f"economics.{key}" for key in compared.different_terms)
        found.append(f"The plans differ in {keys}.")
    return found


def print_comparison(compared: Comparison, screen: Console) -> None:
    """Print the verdict and one table of all builds of all plans, figures that any has."""
    print_text(" ".join(verdict(compared)), screen, style="bold")
    one_currency = len(compared.currencies) == 1
    every = [(plan, *each) for plan in compared.plans for each in plan.builds()]
    had = had_by([build for _, build, _ in every], "sweep")
    shown = [each for each in had if each.key != "capital_cost"]
    best = compared.best
    place = None if best is None else [each.key for each in shown].index(best[2])
    rows = []
    for plan, build, draws in every:
        cells = [_cell(each, build, plan.estimate, draws, one_currency) for each in shown]
        if draws is not None:
            cells.append(chance_words(draws.probability_that_it_pays))
        is_best = best is not None and best[1] is build
        rows.append(
            Row(f"{plan.name}: {build.name}", tuple(cells), best=place if is_best else None)
        )
    heads = [each.named(compared.currencies[0]) if one_currency else each.words for each in shown]
    pays = ["probability that it pays"] if any(plan.uncertainty for plan in compared.plans) else []
    print_table(TableView("", ["plan: build", *heads, *pays], rows), screen)


def _cell(
    quantity: Quantity,
    build: BuildEstimate,
    estimate: Estimate,
    draws: BuildUncertainty | None,
    one_currency: bool,
) -> str:
    """Write a figure, the cost of a kWh with its 90 % range, money of several currencies signed."""
    text, value = quantity.text(build, estimate.terms), quantity.value(build)
    if not one_currency and "{currency}" in quantity.unit and isinstance(value, float):
        text = in_currency(value, estimate.currency, quantity.digits)
    if draws is None or quantity.key != "cost_per_kwh" or build.cost is None:
        return text
    return f"{text} ({range_of(draws, quantity.key)})"
