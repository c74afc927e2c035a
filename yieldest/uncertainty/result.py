"""The uncertainty of all builds of a plan, from the inputs to what to measure next."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.uncertainty.next_measurement import Gain, Measure, gains
from yieldest.uncertainty.propagation import (
    MORE_IS_BETTER,
    Convergence,
    Outcomes,
    Range,
    convergence,
    run,
    summary,
)
from yieldest.uncertainty.sampling import REPLICATES, Correlation, columns, draw_variates
from yieldest.uncertainty.sensitivity import Driver, drivers
from yieldest.uncertainty.uncertain_inputs import Input

DRIVEN = ("life_kwh_per_year", "one_year_kwh", "cost_per_kwh", "net_present_value")
"""The figures that drivers are ranked for."""
COMPARED = ("life_kwh_per_year", "cost_per_kwh", "net_present_value")
"""The figures in which builds are set against each other."""


@dataclass(frozen=True)
class BuildUncertainty:
    """How sure the figures of one build are.

    Parameters
    ----------
    name : str
    ranges : dict of str to Range
        By `Outcomes.outcome`.
    paid_back_within_life, paid_back_with_interest : float or None
        Chance that it pays back within its life, simply and at the discount rate; None without a
        price.
    below_price : float or None
        Chance that a kWh of it that is used costs less than a bought one.
    beats : dict of str to dict of str to float
        For each other build and each of `COMPARED`, the chance of doing better.
    drivers : dict of str to tuple of Driver
        By figure, the largest share of the variance first.
    next_steps : tuple of Gain
        What narrows the cost per kWh (or without a bill the energy) the most for a day of work.
    """

    name: str
    ranges: dict[str, Range]
    paid_back_within_life: float | None
    paid_back_with_interest: float | None
    below_price: float | None
    beats: dict[str, dict[str, float]]
    drivers: dict[str, tuple[Driver, ...]]
    next_steps: tuple[Gain, ...]


@dataclass(frozen=True)
class Uncertainty:
    """How sure the figures of a plan are.

    Parameters
    ----------
    seed : int
    convergence : Convergence
    inputs : tuple of Input
    correlations : tuple of Correlation
        Those between inputs that are drawn.
    builds : tuple of BuildUncertainty
    """

    seed: int
    convergence: Convergence
    inputs: tuple[Input, ...]
    correlations: tuple[Correlation, ...]
    builds: tuple[BuildUncertainty, ...]


def uncertainty_of(
    chains: Sequence[Outcomes],
    inputs: Sequence[Input],
    *,
    price_per_kwh: float | None,
    correlations: Sequence[Correlation],
    steps: Sequence[Measure],
    draws: int,
    seed: int,
    step: Callable[[int], None] = lambda done: None,
) -> Uncertainty:
    """Carry the uncertainty of the inputs to the figures of every build.

    Parameters
    ----------
    chains : sequence of Outcomes
    inputs : sequence of Input
        Shared by the builds, and so are their draws: comparisons are fair.
    price_per_kwh : float or None
        Of a bought kWh, where no input draws it.
    correlations : sequence of Correlation
    steps : sequence of Measure
    draws : int
        Rounded up to a multiple of `scores.REPLICATES`.
    seed : int
    step : callable, optional
        Told how many draws of a build were done.

    Raises
    ------
    InputError
        When the correlations contradict each other.
    """
    draws = -(-draws // REPLICATES) * REPLICATES
    scores = draw_variates(inputs, correlations, draws, seed)
    found = [run(chain, inputs, scores, step) for chain in chains]
    price = _price(inputs, scores, price_per_kwh)
    quantities = [each.quantity for each in inputs]
    return Uncertainty(
        seed=seed,
        convergence=convergence(found),
        inputs=tuple(inputs),
        correlations=tuple(
            one
            for one in correlations
            if (quantities.count(one.first) > 1 if one.first == one.second
                else {one.first, one.second} <= set(quantities))
        ),
        builds=tuple(
            _build(index, chains, found, inputs, scores, price, steps)
            for index in range(len(chains))
        ),
    )  # fmt: skip


def _build(
    index: int,
    chains: Sequence[Outcomes],
    found: Sequence[Mapping[str, FloatArray]],
    inputs: Sequence[Input],
    scores: FloatArray,
    price: FloatArray | float | None,
    steps: Sequence[Measure],
) -> BuildUncertainty:
    chain, mine = chains[index], found[index]
    measures = [measure for measure in DRIVEN if measure in mine]
    goal = "cost_per_kwh" if "cost_per_kwh" in mine else "life_kwh_per_year"
    known = "net_present_value" in mine
    return BuildUncertainty(
        name=chain.name,
        ranges={measure: summary(measure, values) for measure, values in mine.items()},
        paid_back_within_life=(float(np.isfinite(mine["payback_years"]).mean()) if known else None),
        paid_back_with_interest=(
            float(np.isfinite(mine["discounted_payback_years"]).mean()) if known else None
        ),
        below_price=(
            float((mine.get("cost_per_used_kwh", mine["cost_per_kwh"]) < price).mean())
            if known and price is not None
            else None
        ),
        beats={
            other.name: {
                measure: chance_of_doing_better(measure, mine[measure], theirs[measure])
                for measure in COMPARED
                if measure in mine and measure in theirs
            }
            for other, theirs in zip(chains, found, strict=True)
            if other is not chain
        },
        drivers=drivers(chain, inputs, scores, mine, measures),
        next_steps=gains(chain, inputs, scores, steps, goal),
    )


def _price(
    inputs: Sequence[Input], scores: FloatArray, price_per_kwh: float | None
) -> FloatArray | float | None:
    """Return the price of a bought kWh in every draw."""
    column = columns(inputs)
    for each in inputs:
        if each.quantity == "price_per_kwh":
            return each.spread.at(scores[:, column[each.name]][:, 0])
    return price_per_kwh


def chance_of_doing_better(measure: str, mine: FloatArray, other: FloatArray) -> float:
    """Return the share of the draws in which one build does better than another.

    Parameters
    ----------
    measure : str
        One of `Outcomes.outcome`.
    mine, other : ndarray, shape (draws,)
        From the same draws; NaN is worse than any value, and a draw in which both have none
        counts for neither.
    """
    if measure in MORE_IS_BETTER:
        return float((np.nan_to_num(mine, nan=-np.inf) > np.nan_to_num(other, nan=-np.inf)).mean())
    return float((np.nan_to_num(mine, nan=np.inf) < np.nan_to_num(other, nan=np.inf)).mean())
