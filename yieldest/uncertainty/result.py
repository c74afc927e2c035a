"""The uncertainty of all builds of a plan, from the inputs to what to measure next."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, field
from typing import TYPE_CHECKING

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.uncertainty.next_measurement import Gain, MeasurementStep, gains
from yieldest.uncertainty.propagation import (
    MORE_IS_BETTER,
    REPLICATES,
    Convergence,
    Correlation,
    Outcomes,
    Range,
    Variates,
    convergence,
    draw_variates,
    ordered_for,
    quantile,
    run,
    summary,
)
from yieldest.uncertainty.sensitivity import Driver, drivers
from yieldest.uncertainty.uncertain_inputs import UncertainInput

if TYPE_CHECKING:
    import pandas as pd

DRIVEN = ("life_kwh_per_year", "one_year_kwh", "cost_per_kwh", "net_present_value")
"""The figures that drivers are ranked for."""
COMPARED = ("life_kwh_per_year", "cost_per_kwh", "net_present_value")
"""The figures in which builds are set against each other."""


@frozen_dataclass
class BuildUncertainty:
    """How sure the figures of one build are.

    Parameters
    ----------
    name : str
    outcomes : mapping of str to ndarray, shape (draws,)
        The draws of each figure; NaN for a payback that never comes and the cost of no energy.
    ranges : dict of str to Range
    probability_of_payback, probability_that_it_pays : float or None
        That it pays back within its life, simply and at the discount rate; None without a price.
    probability_below_price : float or None
        That a kWh of it that is used costs less than a bought one.
    beats : dict of str to dict of str to float
        For each other build and each of `COMPARED`, the probability of doing better.
    drivers : dict of str to tuple of Driver
        By figure, the largest share of the variance first.
    next_steps : tuple of Gain
        What narrows the cost per kWh (or without a bill the energy) the most for a day of work.
    """

    name: str
    outcomes: Mapping[str, FloatArray] = field(repr=False, compare=False)
    ranges: dict[str, Range]
    probability_of_payback: float | None
    probability_that_it_pays: float | None
    probability_below_price: float | None
    beats: dict[str, dict[str, float]]
    drivers: dict[str, tuple[Driver, ...]]
    next_steps: tuple[Gain, ...]

    def interval(self, figure: str, coverage: float = 0.90) -> tuple[float, float]:
        """Return the coverage interval of a figure, as many cases below it as above (JCGM 101).

        Parameters
        ----------
        figure : str
            A key of `outcomes`, such as "cost_per_kwh".
        coverage : float
            Share of the cases that lie within, between 0 and 1.

        Returns
        -------
        low, high : float
            NaN where a figure has no value in so many cases, such as a payback that never comes.

        Raises
        ------
        InputError
            When the build has no such figure, or the coverage is not between 0 and 1.
        """
        tail = (1 - _between_0_and_1("coverage", coverage)) / 2
        return self._quantile(figure, tail), self._quantile(figure, 1 - tail)

    def exceeded_with(self, figure: str, probability: float) -> float:
        """Return what is reached or bettered with a probability: P90 with 0.90.

        An energy or a present value is exceeded with the probability, a cost or a payback is not.
        NaN where it is never reached in so many cases; an InputError as of `interval`.
        """
        level = _between_0_and_1("probability", probability)
        return self._quantile(figure, 1 - level if figure in MORE_IS_BETTER else level)

    def _quantile(self, figure: str, level: float) -> float:
        if figure not in self.outcomes:
            raise InputError(
                f"{self.name} has no {figure!r}; its figures are {', '.join(self.outcomes)}."
            )
        return float(quantile(ordered_for(self.outcomes[figure], [level]), level))


def _between_0_and_1(name: str, value: float) -> float:
    if not 0 < value < 1:
        raise InputError(f"{name} {value:g}: it lies between 0 and 1; write 0.9 for 90 %.")
    return value


@frozen_dataclass
class Uncertainty:
    """How sure the figures of a plan are; the correlations are those between inputs drawn."""

    seed: int
    convergence: Convergence
    inputs: tuple[UncertainInput, ...]
    correlations: tuple[Correlation, ...]
    builds: tuple[BuildUncertainty, ...]

    def __getitem__(self, build: str) -> BuildUncertainty:
        """Return the uncertainty of a build by its name; KeyError where there is none."""
        return {each.name: each for each in self.builds}[build]

    def interval(
        self, figure: str, coverage: float = 0.90, build: str | None = None
    ) -> tuple[float, float]:
        """Return the `BuildUncertainty.interval` of a build, the first where none is named."""
        return (self.builds[0] if build is None else self[build]).interval(figure, coverage)

    def to_frame(self) -> pd.DataFrame:
        """Return the fields of `Range` as columns, a row for each build and figure."""
        # The rest of the package is in use long before a frame is wanted.
        import pandas as pd  # noqa: PLC0415

        rows = {
            (build.name, figure): asdict(range_)
            for build in self.builds
            for figure, range_ in build.ranges.items()
        }
        frame = pd.DataFrame.from_dict(rows, orient="index", dtype=float)
        frame.index = pd.MultiIndex.from_tuples(rows, names=["build", "figure"])
        return frame


def uncertainty_of(
    chains: Sequence[Outcomes],
    inputs: Sequence[UncertainInput],
    *,
    price_per_kwh: float | None,
    correlations: Sequence[Correlation],
    steps: Sequence[MeasurementStep],
    draws: int,
    seed: int,
    step: Callable[[int], None] = lambda done: None,
) -> Uncertainty:
    """Carry the uncertainty of the inputs to the figures of every build.

    The builds share the inputs and their draws, so comparisons are fair; the draws are rounded up
    to a multiple of `REPLICATES`. The price of a bought kWh serves where no input draws it; `step`
    is told how many draws of a build were done. Correlations that contradict each other are
    refused.
    """
    draws = -(-draws // REPLICATES) * REPLICATES
    variates = draw_variates(inputs, correlations, draws, seed)
    found = {chain.name: run(chain, variates, step) for chain in chains}
    quantities = Counter(each.quantity for each in inputs)
    return Uncertainty(
        seed=seed,
        convergence=convergence(list(found.values())),
        inputs=tuple(inputs),
        correlations=tuple(one for one in correlations if Counter(one.between) <= quantities),
        builds=tuple(_build(chain, found, variates, price_per_kwh, steps) for chain in chains),
    )


def _build(
    chain: Outcomes,
    found: Mapping[str, Mapping[str, FloatArray]],
    variates: Variates,
    price_per_kwh: float | None,
    steps: Sequence[MeasurementStep],
) -> BuildUncertainty:
    """Return how sure the figures of one build are, from the draws of all by name."""
    mine = found[chain.name]
    paid_back = pays = below_price = None
    if "net_present_value" in mine:
        paid_back = float(np.isfinite(mine["payback_years"]).mean())
        pays = float(np.isfinite(mine["discounted_payback_years"]).mean())
        price: FloatArray | float | None = price_per_kwh
        if "price_per_kwh" in chain.inputs:
            drawn = chain.inputs["price_per_kwh"]
            price = drawn.distribution.at(variates[drawn.name])
        used_kwh = mine.get("cost_per_used_kwh", mine["cost_per_kwh"])
        below_price = None if price is None else float((used_kwh < price).mean())
    goal = "cost_per_kwh" if "cost_per_kwh" in mine else "life_kwh_per_year"
    return BuildUncertainty(
        name=chain.name,
        outcomes=mine,
        ranges={figure: summary(figure, values) for figure, values in mine.items()},
        probability_of_payback=paid_back,
        probability_that_it_pays=pays,
        probability_below_price=below_price,
        beats={
            name: {
                figure: probability_of_doing_better(figure, mine[figure], theirs[figure])
                for figure in COMPARED
                if figure in mine and figure in theirs
            }
            for name, theirs in found.items()
            if name != chain.name
        },
        drivers=drivers(chain, variates, {key: mine[key] for key in DRIVEN if key in mine}),
        next_steps=gains(chain, variates, steps, goal),
    )


def probability_of_doing_better(figure: str, mine: FloatArray, other: FloatArray) -> float:
    """Return the share of the draws, the same for both, in which one build beats another.

    NaN is worse than any value, and a draw in which both have none counts for neither.
    """
    better = mine > other if figure in MORE_IS_BETTER else mine < other
    return float((better | (np.isnan(other) & ~np.isnan(mine))).mean())
