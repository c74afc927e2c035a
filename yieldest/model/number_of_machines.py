"""Cost per kWh against the number of machines, next to a single larger one."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from yieldest.economics.bill_of_materials import BillOfMaterials, expenditure_of
from yieldest.economics.cash_flow import cost_of_a_kwh
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.losses import Loss, kept_share
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate

EVERY_COUNT_UP_TO = 40
SOME_COUNTS = 20
"""For more machines than the first of these, about so many counts are computed."""
MUCH_LARGER = 1.2
"""Rated power over that of a small machine from which one counts as the larger one; our choice."""


@dataclass(frozen=True)
class CostOfNumber:
    """A build with another number of machines.

    Parameters
    ----------
    count : int
    net_kwh_per_year, capital_cost : float
    cost_per_kwh : float or None
    """

    count: int
    net_kwh_per_year: float
    capital_cost: float
    cost_per_kwh: float | None


@dataclass(frozen=True)
class CostByNumber:
    """Cost per kWh against the number of machines, next to a single larger one.

    Parameters
    ----------
    build : str
    steps : tuple of CostOfNumber
        From one machine to the number that the plan states.
    single : str or None
        The build of one larger machine, where the plan has one.
    single_cost_per_kwh : float or None
    crossings : tuple of int
        Numbers of machines from which on the other side is the cheaper one; empty when one side is
        cheaper for every number.
    """

    build: str
    steps: tuple[CostOfNumber, ...]
    single: str | None
    single_cost_per_kwh: float | None
    crossings: tuple[int, ...]


def cost_by_number(estimate: Estimate) -> tuple[CostByNumber, ...]:
    """Return cost per kWh against the number of machines for every build of several."""
    return tuple(
        _by_number(build, build.bill, _single_larger(estimate, build), estimate.terms)
        for build in estimate.builds
        if build.energy.count > 1 and build.bill is not None
    )


def energy_of_count(build: BuildEstimate, count: int) -> float:
    """Return the net energy in kWh a year of a build with another number of machines.

    Parameters
    ----------
    build : BuildEstimate
    count : int
        From 1 to the number of the plan. Wake and electrical losses are those of so many
        machines; a wake loss that was stated or assumed for all of them goes up by the same
        amount with each neighbour.
    """
    energy = build.energy
    computed = {loss.category: loss for loss in build.machines.compute(count).losses}

    def for_count(loss: Loss) -> Loss:
        if loss.category in computed:
            return computed[loss.category]
        if loss.category == "wake" and energy.count > 1:
            return replace(loss, share=loss.share * (count - 1) / (energy.count - 1))
        return loss

    kept = kept_share(tuple(for_count(loss) for loss in energy.losses))
    return energy.gross_kwh / energy.count * count * kept


def _by_number(
    build: BuildEstimate, bill: BillOfMaterials, single: BuildEstimate | None, terms: EconomicTerms
) -> CostByNumber:
    highest = build.energy.count
    counts = np.arange(1, highest + 1)
    if highest > EVERY_COUNT_UP_TO:
        counts = np.unique(np.geomspace(1, highest, SOME_COUNTS).round().astype(int))
    steps = []
    for count in counts.tolist():
        expenditure = expenditure_of(bill, count, terms)
        energy = energy_of_count(build, count)
        steps.append(
            CostOfNumber(
                count, energy, expenditure.capital_cost, cost_of_a_kwh(expenditure, energy, terms)
            )
        )
    of_single = None if single is None or single.cost is None else single.cost.cost_per_kwh
    crossings = []
    if of_single is not None:
        cheaper = [s.cost_per_kwh is not None and s.cost_per_kwh < of_single for s in steps]
        crossings = [steps[i].count for i in range(1, len(steps)) if cheaper[i] != cheaper[i - 1]]
    return CostByNumber(
        build=build.name,
        steps=tuple(steps),
        single=None if single is None else single.name,
        single_cost_per_kwh=of_single,
        crossings=tuple(crossings),
    )


def _single_larger(estimate: Estimate, build: BuildEstimate) -> BuildEstimate | None:
    """Return the largest single machine of the plan that is larger than those of a build."""
    singles = [
        other
        for other in estimate.builds
        if other.energy.count == 1
        and other.curve.rated_power_w > MUCH_LARGER * build.curve.rated_power_w
    ]
    return max(singles, key=lambda other: other.curve.rated_power_w, default=None)
