"""Where the money of a build goes, how many machines it takes, and what would make it pay."""

from __future__ import annotations

import math
from collections.abc import Sequence

from yieldest.arrays import percent, rounded, whole
from yieldest.economics.bill_of_materials import NO_GROUP
from yieldest.model.break_even import break_even, rotor_saving
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.model.number_of_machines import CostByNumber, CostOfNumber
from yieldest.model.quantities import BY_KEY, in_currency
from yieldest.report.tables import Row, TableView, called
from yieldest.units import in_reader_units, number, speed_unit

BILL_DIGITS = 4
"""Of sums of a parts bill, so that they agree with each other in every table and sentence."""
MOST_ARRAYS = 3
_BY_NUMBER = ("net_kwh_per_year", "capital_cost", "cost_per_kwh")


def cost_sentences(build: BuildEstimate, estimate: Estimate) -> list[str]:
    """Return in words what a build's money goes on; empty where nothing is known or paid."""
    cost = build.cost
    if cost is None or cost.capital_cost <= 0:
        return []
    money, total = estimate.currency, cost.capital_cost
    groups = [
        f"{group} {in_currency(value, money, BILL_DIGITS)} ({100 * value / total:.0f} %)"
        for group, value in cost.by_group.items()
    ]
    items = [f"{item.name} {in_currency(item.cost, money, BILL_DIGITS)}" for item in cost.dearest]
    saving = rotor_saving(build)
    texts = [f"Most expensive: {', '.join(items)}."]
    if list(cost.by_group) != [NO_GROUP]:
        texts.insert(0, f"By group: {', '.join(groups)}.")
    if cost.grant:
        texts.append(f"A grant takes off {in_currency(cost.grant, money)}.")
    if saving is not None:
        free = in_currency(saving.cost_per_kwh_with_free_rotor, money, 2)
        ungrouped = (
            f", and {100 * saving.ungrouped_share:.0f} % belongs to no group"
            if saving.ungrouped_share
            else ""
        )
        texts.append(
            f"Mast, wiring and converter are {100 * saving.support_share:.0f} % of the cost and no "
            f"cheap rotor saves them; rotor and generator are {100 * saving.rotor_share:.0f} %"
            f"{ungrouped}. With both for nothing a kWh would still cost {free}."
        )
    if cost.with_loan is not None:
        loan = cost.with_loan
        texts.append(
            f"With the loan: {in_currency(loan.own_money, money)} of own money at once, then "
            f"{in_currency(loan.payment_nominal, money)} a year (nominal, in the money of each "
            f"year); net present value {in_currency(loan.net_present_value, money)} (real)."
        )
    if cost.nominal is not None:
        texts.append(
            f"Nominal, in the money of each year: discount rate "
            f"{percent(cost.nominal.discount_rate)}, rate of return "
            f"{percent(cost.nominal.internal_rate_of_return)}; the net present value is the "
            "same as in real terms."
        )
    return texts


def by_number_table(by_number: CostByNumber, estimate: Estimate) -> TableView:
    """Return the cost per kWh by number of machines."""
    heads = ["machines", *(BY_KEY[key].named(estimate.currency) for key in _BY_NUMBER)]
    if by_number.single is not None:
        heads.append(f"than {called(estimate, by_number.single)}")
    rows = []
    for step in _some(by_number):
        cheaper = (
            step.cost_per_kwh is not None
            and by_number.single_cost_per_kwh is not None
            and step.cost_per_kwh < by_number.single_cost_per_kwh
        )
        cells = (
            rounded(step.net_kwh_per_year, 3),
            whole(step.capital_cost, BILL_DIGITS),
            rounded(step.cost_per_kwh),
            "cheaper" if cheaper else "",
        )
        rows.append(Row(f"{step.count}", cells[: len(heads) - 1]))
    return TableView(
        f"{called(estimate, by_number.build)}: cost per kWh by number of machines", heads, rows
    )


def _some(by_number: CostByNumber) -> list[CostOfNumber]:
    """Return at most a dozen steps, with the first, the last and every crossing among them."""
    steps = by_number.steps
    every = max(1, math.ceil((len(steps) - 1) / 10))
    return [
        step
        for i, step in enumerate(steps)
        if i % every == 0 or i == len(steps) - 1 or step.count in by_number.crossings
    ]


def how_many(numbers: Sequence[CostByNumber], estimate: Estimate) -> str:
    """Say in one sentence what number of machines is cheapest, however many builds have several."""
    if len(numbers) < 2:
        return "".join(by_number_sentence(each, estimate) for each in numbers)
    never = [
        each
        for each in numbers
        if each.single_cost_per_kwh is not None and not each.crossings and not _begins_cheaper(each)
    ]
    texts = []
    if never:
        singles = dict.fromkeys(called(estimate, str(each.single)) for each in never)
        texts.append(
            "of the numbers tried, up to those of the plan, none of "
            f"{_one_of([called(estimate, each.build) for each in never])} makes a cheaper kWh "
            f"than {_one_of([*singles])}"
        )
    cheapest = [
        (step.cost_per_kwh or 0.0, step.count, each)
        for each in numbers
        if (step := _cheapest(each)) is not None
    ]
    told = [
        f"{count} of {called(estimate, each.build)} ({in_currency(cost, estimate.currency, 2)}"
        f"{', still falling' if count == each.steps[-1].count else ''})"
        for cost, count, each in sorted(cheapest, key=lambda one: one[:2])[:MOST_ARRAYS]
    ]
    if told:
        texts.append(f"the cheapest kWh of each make {', '.join(told)}")
    if len(cheapest) > len(told):
        texts.append(f"{len(cheapest) - len(told)} more builds in --full")
    text = "; ".join(texts)
    return f"{text[0].upper()}{text[1:]}." if text else ""


def _one_of(names: Sequence[str]) -> str:
    return " or ".join(filter(None, [", ".join(names[:-1]), names[-1]]))


def _cheapest(by_number: CostByNumber) -> CostOfNumber | None:
    priced = [step for step in by_number.steps if step.cost_per_kwh is not None]
    return min(priced, key=lambda step: step.cost_per_kwh or 0.0, default=None)


def by_number_sentence(by_number: CostByNumber, estimate: Estimate) -> str:
    """Say where many machines cross the single one, and which of the numbers tried is cheapest."""
    who, last = called(estimate, by_number.build), by_number.steps[-1]
    tried = f"1 to {last.count} machines of {who}"
    if len(by_number.steps) < last.count:
        tried = f"{len(by_number.steps)} numbers tried from {tried}"
    texts, of_those = [], f"of {tried}, "
    if by_number.single is not None and by_number.single_cost_per_kwh is not None:
        single = called(estimate, by_number.single)
        if by_number.crossings:
            texts.append(f"against {single}, {who} is {_crossings(by_number)}")
        else:
            which = "all make" if _begins_cheaper(by_number) else "none makes"
            texts.append(f"of {tried} {which} a cheaper kWh than {single}")
            of_those = ""
    cheapest = _cheapest(by_number)
    if cheapest is not None:
        cost = in_currency(cheapest.cost_per_kwh, estimate.currency, 2)
        verb = "makes" if cheapest.count == 1 else "make"
        falling = f", and its cost still falls at {last.count}" if cheapest is last else ""
        texts.append(f"{of_those}{cheapest.count} {verb} the cheapest kWh ({cost}){falling}")
    text = "; ".join(texts)
    return f"{text[0].upper()}{text[1:]}." if text else ""


def _begins_cheaper(by_number: CostByNumber) -> bool:
    """Whether one machine alone makes a cheaper kWh than the larger one."""
    first = by_number.steps[0].cost_per_kwh
    return first is not None and first < (by_number.single_cost_per_kwh or 0.0)


def _crossings(by_number: CostByNumber) -> str:
    """Return in words from which numbers on several small machines are cheaper than the larger."""
    begins_cheaper = _begins_cheaper(by_number)
    words = []
    for i, count in enumerate(by_number.crossings):
        cheaper = begins_cheaper == (i % 2 == 1)
        words.append(f"{'cheaper' if cheaper else 'more expensive'} from {count} machines on")
    return ", ".join(words)


def break_even_sentence(build: BuildEstimate, estimate: Estimate) -> str:
    """Say what one thing changed would make the present value zero; empty without a bill."""
    found = break_even(build, estimate.inputs)
    if found is None:
        return ""
    money = estimate.currency
    now = {
        "bill_cost": found.present_bill_cost,
        "machine_cost": found.present_machine_cost,
        "hub_mean_speed_ms": found.present_hub_mean_speed_ms,
        "price_per_kwh": found.present_price_per_kwh,
    }
    parts: list[str] = []
    never: list[str] = []
    for key, present in now.items():
        needed = getattr(found, key)
        if key in found.unknown:
            continue
        if needed is None:
            never.append(in_reader_units(found.never[key]))
            continue
        digits = 3 if rounded(needed) == rounded(present) else 2
        if key.endswith("cost"):
            digits = BILL_DIGITS
        written = [
            number(value, "m/s", ".2f")
            if key == "hub_mean_speed_ms"
            else in_currency(value, money, digits)
            for value in (needed, present)
            if value is not None
        ]
        values = " (now ".join(written) + ")" * (len(written) - 1)
        parts.append(_CHANGED[key].format(values, speed_unit()))
    pays = (build.cost.net_present_value or 0.0) >= 0 if build.cost is not None else False
    verb = "just pays" if pays else "would just pay"
    ways = f" {verb} with {', or '.join(parts)}" if parts else ""
    text = "; ".join([ways, *never] if parts else never)
    return f"{called(estimate, build.name)}{'' if parts else ': '}{text}."


_CHANGED = {
    "bill_cost": "a bill of {}",
    "machine_cost": "rotor and generator for {}",
    "hub_mean_speed_ms": "a mean wind at the hub of {} {}",
    "price_per_kwh": "a kWh worth {}",
}
