"""Cost per kWh against the number of machines, next to a single larger one."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from yieldest.arrays import floats, of_each
from yieldest.economics.bill_of_materials import BillOfMaterials
from yieldest.economics.cash_flow import cost_of_a_kwh
from yieldest.energy.losses import Loss, kept_share
from yieldest.frozen import frozen_dataclass
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate

EVERY_COUNT_UP_TO = 40
SOME_COUNTS = 20
"""For more machines than the first of these, about so many counts are computed."""
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

    The steps lead from one machine to the number that the plan states. The single one is the build
    of one larger machine, where the plan has one; from the number of each crossing on the other
    side is the cheaper one.
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
    highest, terms = build.energy.count, estimate.terms
    counts = np.arange(1, highest + 1)
    if highest > EVERY_COUNT_UP_TO:
        counts = np.unique(np.geomspace(1, highest, SOME_COUNTS).round().astype(int))
    net_kwh = floats([energy_of_count(build, count) for count in counts.tolist()])
    spent = bill.expenditure(counts, terms)
    sums = {
        "net_kwh_per_year": net_kwh,
        "capital_cost": floats(spent.capital_cost),
        "cost_per_kwh": cost_of_a_kwh(spent, net_kwh, terms),
    }
    each = zip(counts.tolist(), of_each(sums, counts.size), strict=True)
    steps = [CostOfNumber(count, **of_count) for count, of_count in each]
    larger = MUCH_LARGER * build.curve.rated_power_w
    singles = [
        one for one in estimate.builds if one.energy.count == 1 and one.curve.rated_power_w > larger
    ]
    single = max(singles, key=lambda one: one.curve.rated_power_w, default=None)
    of_single = None if single is None or single.cost is None else single.cost.cost_per_kwh
    crossings: list[int] = []
    if of_single is not None:
        cheaper = [s.cost_per_kwh is not None and s.cost_per_kwh < of_single for s in steps]
        turns = zip(steps[1:], pairwise(cheaper), strict=True)
        crossings = [step.count for step, (before, after) in turns if before != after]
    return CostByNumber(
        build.name,
        tuple(steps),
        None if single is None else single.name,
        of_single,
        tuple(crossings),
    )
