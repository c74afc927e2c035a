"""Cost per kWh against the number of machines, next to a single larger one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from yieldest.arrays import IntArray, floats, of_each
from yieldest.economics.bill_of_materials import BillOfMaterials
from yieldest.economics.cash_flow import cost_of_a_kwh
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.losses import Loss, kept_share
from yieldest.frozen import frozen_dataclass
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate

EVERY_COUNT_UP_TO = 40
SOME_COUNTS = 20
"""For more machines than the first of these, about so many counts are tried at first."""
MUCH_LARGER = 1.2
"""Rated power over that of a small machine from which one counts as the larger one; our choice."""


@frozen_dataclass
class CostOfNumber:
    """A build with another number of machines; no cost of a kWh where there is no energy."""

    count: int
    net_kwh_per_year: float
    capital_cost: float
    cost_per_kwh: float | None


@frozen_dataclass
class CostByNumber:
    """Cost per kWh against the number of machines, next to a single larger one.

    The steps lead from one machine to the number that the plan states: every number, or of many
    some, with those next to each crossing and to the cheapest among them. The single one is the
    build of one larger machine, where the plan has one; from the number of each crossing on the
    other side is the cheaper one.
    """

    build: str
    steps: tuple[CostOfNumber, ...]
    single: str | None
    single_cost_per_kwh: float | None
    crossings: tuple[int, ...]


def cost_by_number(estimate: Estimate) -> tuple[CostByNumber, ...]:
    """Return cost per kWh against the number of machines for every build of several."""
    return tuple(
        _by_number(build, build.bill, estimate)
        for build in estimate.builds
        if build.energy.count > 1 and build.bill is not None
    )


def energy_of_count(build: BuildEstimate, count: int) -> float:
    """Return the net energy in kWh a year of a build with another number of machines.

    From 1 to the number of the plan. Wake and electrical losses are those of so many machines; a
    wake loss that was stated or assumed for all of them goes up by the same amount with each
    neighbour.
    """
    energy = build.energy
    computed = {loss.category: loss for loss in build.machines.losses(count)}

    def for_count(loss: Loss) -> Loss:
        if loss.category in computed:
            return computed[loss.category]
        if loss.category == "wake" and energy.count > 1:
            return replace(loss, share=loss.share * (count - 1) / (energy.count - 1))
        return loss

    kept = kept_share(tuple(for_count(loss) for loss in energy.losses))
    return (energy.gross_kwh * kept - energy.idle_draw_kwh) / energy.count * count


def _by_number(build: BuildEstimate, bill: BillOfMaterials, estimate: Estimate) -> CostByNumber:
    highest = build.energy.count
    counts = np.arange(1, highest + 1)
    if highest > EVERY_COUNT_UP_TO:
        counts = np.unique(np.geomspace(1, highest, SOME_COUNTS).round().astype(int))
    larger = MUCH_LARGER * build.curve.rated_power_w
    singles = [
        one for one in estimate.builds if one.energy.count == 1 and one.curve.rated_power_w > larger
    ]
    single = max(singles, key=lambda one: one.curve.rated_power_w, default=None)
    of_single = None if single is None or single.cost is None else single.cost.cost_per_kwh
    steps: list[CostOfNumber] = []
    while counts.size:
        steps = sorted(
            [*steps, *_costed(counts, build, bill, estimate.terms)], key=lambda step: step.count
        )
        turns = _crossings(steps, of_single)
        counts = _untried(steps, turns)
    return CostByNumber(
        build.name,
        tuple(steps),
        None if single is None else single.name,
        of_single,
        tuple(steps[i].count for i in turns),
    )


def _costed(
    counts: IntArray, build: BuildEstimate, bill: BillOfMaterials, terms: EconomicTerms
) -> list[CostOfNumber]:
    net_kwh = floats([energy_of_count(build, count) for count in counts.tolist()])
    spent = bill.expenditure(counts, terms)
    sums = {
        "net_kwh_per_year": net_kwh,
        "capital_cost": floats(spent.capital_cost),
        "cost_per_kwh": cost_of_a_kwh(spent, net_kwh, terms),
    }
    each = zip(counts.tolist(), of_each(sums, counts.size), strict=True)
    return [CostOfNumber(count, **of_count) for count, of_count in each]


def _crossings(steps: Sequence[CostOfNumber], of_single: float | None) -> list[int]:
    """Return the places of the steps from which on the other side is the cheaper one."""
    if of_single is None:
        return []
    cheaper = [s.cost_per_kwh is not None and s.cost_per_kwh < of_single for s in steps]
    return [i for i in range(1, len(steps)) if cheaper[i] != cheaper[i - 1]]


def _untried(steps: Sequence[CostOfNumber], crossings: Sequence[int]) -> IntArray:
    """Return numbers that narrow the gaps which a crossing or the cheapest number may lie in.

    The middle of each, and the neighbours of the cheapest: where both are more expensive, as where
    the cost falls up to the last, no other wakes need be computed.
    """
    counts = [step.count for step in steps]
    costs = [math.inf if step.cost_per_kwh is None else step.cost_per_kwh for step in steps]
    cheapest = costs.index(min(costs))
    ends = {cheapest, cheapest + 1, *crossings} - {0, len(steps)}
    wanted = {(counts[i - 1] + counts[i]) // 2 for i in ends}
    wanted |= {counts[cheapest] - 1, counts[cheapest] + 1} - {0, counts[-1] + 1}
    return np.array(sorted(wanted.difference(counts)), dtype=int)
