"""Where the money of a build goes, how many machines it takes, and what would make it pay."""

from __future__ import annotations

import math

from yieldest.arrays import percent, rounded, whole
from yieldest.economics.bill_of_materials import NO_GROUP
from yieldest.model.break_even import BreakEven, break_even, rotor_saving
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.model.number_of_machines import CostByNumber, CostOfNumber
from yieldest.model.quantities import BY_KEY
from yieldest.report.tables import Row, TableView

_BY_NUMBER = ("net_kwh_per_year", "capital_cost", "cost_per_kwh")


def cost_sentences(build: BuildEstimate, estimate: Estimate) -> list[str]:
    """Return in words what a build's money goes on; empty where nothing is known or paid."""
    cost = build.cost
    if cost is None or cost.capital_cost <= 0:
        return []
    money, total = estimate.currency, cost.capital_cost
    groups = [
        f"{group} {whole(value, 3)} ({100 * value / total:.0f} %)"
        for group, value in cost.by_group.items()
    ]
    items = [f"{item.name} {whole(item.cost, 3)}" for item in cost.dearest]
    saving = rotor_saving(build, estimate.terms)
    texts = [f"Dearest, {money}: {', '.join(items)}."]
    if list(cost.by_group) != [NO_GROUP]:
        texts.insert(0, f"By group, {money}: {', '.join(groups)}.")
    if cost.grant:
        texts.append(f"A grant takes off {rounded(cost.grant, 3)} {money}.")
    if saving is not None:
        free = rounded(saving.cost_per_kwh_with_free_rotor)
        ungrouped = (
            f", and {100 * saving.ungrouped_share:.0f} % belongs to no group"
            if saving.ungrouped_share
            else ""
        )
        texts.append(
            f"Mast, wiring and converter are {100 * saving.support_share:.0f} % of the cost and no "
            f"cheap rotor saves them; rotor and generator are {100 * saving.rotor_share:.0f} %"
            f"{ungrouped}. With both for nothing a kWh would still cost {free} {money}."
        )
    if cost.with_loan is not None:
        loan = cost.with_loan
        texts.append(
            f"With the loan: {rounded(loan.own_money, 3)} {money} of own money at once, then "
            f"{rounded(loan.payment_nominal, 3)} {money} a year (nominal, in the money of each "
            f"year); net present value {rounded(loan.net_present_value)} {money} (real)."
        )
    if cost.nominal is not None:
        texts.append(
            f"Nominal, in the money of each year: discount rate "
            f"{percent(cost.nominal.discount_rate)}, rate of return "
            f"{percent(cost.nominal.internal_rate_of_return)}; the net present value is the "
            "same as in real terms."
        )
    return texts


def by_number_table(by_number: CostByNumber, money: str) -> TableView:
    """Return the cost per kWh by number of machines."""
    rows = []
    for step in _some(by_number):
        cheaper = (
            step.cost_per_kwh is not None
            and by_number.single_cost_per_kwh is not None
            and step.cost_per_kwh < by_number.single_cost_per_kwh
        )
        cells = (
            rounded(step.net_kwh_per_year),
            whole(step.capital_cost, 4),
            rounded(step.cost_per_kwh),
            "cheaper" if cheaper else "",
        )
        rows.append(Row(f"{step.count}", cells))
    return TableView(
        f"{by_number.build}: cost per kWh by number of machines",
        ["machines", *(BY_KEY[key].named(money) for key in _BY_NUMBER), "than the single one"],
        rows,
    )


def by_number_sentences(by_number: CostByNumber, money: str) -> list[str]:
    """Say where many machines cross the single one, and that more are not always cheaper."""
    texts = [crossing_sentence(by_number, money)]
    priced = [step for step in by_number.steps if step.cost_per_kwh is not None]
    cheapest = min(priced, key=lambda step: step.cost_per_kwh or 0.0, default=None)
    if cheapest is not None and cheapest.count < by_number.steps[-1].count:
        texts.append(
            f"More are not always cheaper: of the numbers computed, {cheapest.count} make the "
            f"cheapest kWh, at {rounded(cheapest.cost_per_kwh)} {money}."
        )
    return texts


def _some(by_number: CostByNumber) -> list[CostOfNumber]:
    """Return at most a dozen steps, with the first, the last and every crossing among them."""
    steps = by_number.steps
    every = max(1, math.ceil((len(steps) - 1) / 10))
    return [
        step
        for i, step in enumerate(steps)
        if i % every == 0 or i == len(steps) - 1 or step.count in by_number.crossings
    ]


def crossing_sentence(by_number: CostByNumber, money: str) -> str:
    """Return in words where several small machines become cheaper than the larger one."""
    if by_number.single is None or by_number.single_cost_per_kwh is None:
        return "No single larger machine stands in the plan to set this against."
    single = f"{by_number.single} at {rounded(by_number.single_cost_per_kwh)} {money} a kWh"
    first = by_number.steps[0].cost_per_kwh
    begins_cheaper = first is not None and first < by_number.single_cost_per_kwh
    last = by_number.steps[-1].count
    if not by_number.crossings:
        which = "cheaper" if begins_cheaper else "never cheaper"
        return f"From 1 to {last} machines they are {which} than {single}."
    words = []
    for i, count in enumerate(by_number.crossings):
        cheaper = begins_cheaper == (i % 2 == 1)
        words.append(f"{'cheaper' if cheaper else 'dearer'} from {count} machines on")
    return f"Against {single}: {', '.join(words)}."


def break_even_sentences(estimate: Estimate) -> list[str]:
    """Return in words what each build would need to pay just so."""
    texts = []
    for build in estimate.builds:
        needed = break_even(build, estimate.terms)
        if needed is not None:
            texts.append(break_even_sentence(build.name, needed, estimate.currency))
    return texts


def break_even_sentence(name: str, needed: BreakEven, money: str) -> str:
    """Return in words what one build would need to pay just so."""
    wind, wind_now = needed.hub_mean_speed_ms, needed.present_hub_mean_speed_ms
    decimals = 2 if wind is not None and f"{wind:.1f}" == f"{wind_now:.1f}" else 1
    values = {
        "bill_cost": (
            "the whole bill",
            f"{_rather_than(needed.bill_cost, needed.present_bill_cost)} {money}",
        ),
        "machine_cost": (
            "rotor and generator alone",
            f"{rounded(needed.machine_cost)} rather than {rounded(needed.present_machine_cost)} "
            f"{money}",
        ),
        "hub_mean_speed_ms": (
            "mean wind at the hub",
            "-" if wind is None else f"{wind:.{decimals}f} rather than {wind_now:.{decimals}f} m/s",
        ),
        "price_per_kwh": (
            "a kWh worth",
            f"{_rather_than(needed.price_per_kwh, needed.present_price_per_kwh)} {money}"
            if needed.present_price_per_kwh is not None
            else f"{rounded(needed.price_per_kwh)} {money}",
        ),
    }
    parts = [
        f"{what} never ({needed.never[key]})" if key in needed.never else f"{what} {value}"
        for key, (what, value) in values.items()
        if key not in needed.unknown
    ]
    return f"{name}: {'; '.join(parts)}."


def _rather_than(needed: float | None, present: float) -> str:
    """Write two amounts, with a digit more where they would else read the same."""
    digits = 3 if rounded(needed) == rounded(present) else 2
    return f"{rounded(needed, digits)} rather than {rounded(present, digits)}"
