"""Draws (scrambled Sobol points, correlated) through the whole chain, and what they say."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Annotated, Protocol

import numpy as np
from pydantic import Field
from scipy.special import ndtri

from yieldest.arrays import FloatArray, floats, number_or_none
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.settings import Settings, key
from yieldest.uncertainty.sobol import scrambled_sobol
from yieldest.uncertainty.uncertain_inputs import UncertainInput

REPLICATES = 8
"""Scrambles that the draws are parted into: each is an estimate of its own, and how far they lie
apart says how far all of them together are to be trusted."""

_HALF_STEP = 2.0**-31
"""Half the grain of the Sobol points, which keeps them off 0, where the variate is infinite."""


Variates = Mapping[str, FloatArray]
"""Standard normal numbers by the name of the input, shape (draws,), or (draws, bins) for a curve
bin by bin."""


class Correlation(Settings):
    """How the errors of two inputs go together."""

    # The same input twice stands for what differs between builds, such as two bills; the
    # coefficient is that of the normal variates (Gaussian copula).
    between: Annotated[list[str], Field(min_length=2, max_length=2)] = key(
        "two inputs, by their keys in [uncertainty]", ["prices", "maintenance"], default=...
    )
    coefficient: Annotated[float, Field(gt=-1, lt=1)] = key(
        "1 would be in step, -1 against each other", 0.6, default=...
    )


def draw_variates(
    inputs: Sequence[UncertainInput], correlations: Sequence[Correlation], draws: int, seed: int
) -> Variates:
    """Draw standard normal variates.

    Parameters
    ----------
    inputs : sequence of UncertainInput
        Those of a single variate first.
    correlations : sequence of Correlation
        A later one stands instead of an earlier one for the same quantities.
    draws : int
        A multiple of `REPLICATES`.
    seed : int

    Returns
    -------
    Variates
        Scramble after scramble, by the name of the input.

    Raises
    ------
    InputError
        When no numbers can be correlated in such a way.

    Notes
    -----
    Scrambled Sobol points, through the
    inverse normal distribution; the Gaussian copula then mixes them by the Cholesky factor of the
    correlation matrix.
    """
    each = draws // REPLICATES
    total = sum(one.variates for one in inputs)
    power = int(np.ceil(np.log2(max(each, 2))))
    variates = np.empty((total, each * REPLICATES))
    for replicate in range(REPLICATES):
        points = scrambled_sobol(total, power, np.random.default_rng([seed, replicate]))
        mine = variates[:, replicate * each : (replicate + 1) * each]
        ndtri(points[:, :each] + _HALF_STEP, out=mine)
    factor = mixing(inputs, correlations)
    if factor is not None:
        variates[: len(factor)] = factor @ variates[: len(factor)]
    ends = np.cumsum([one.variates for one in inputs])
    parts = np.split(variates, ends[:-1])
    return {
        one.name: part.T if one.variates > 1 else part[0]
        for one, part in zip(inputs, parts, strict=True)
    }


def fewer(drawn: FloatArray, draws: int) -> FloatArray:
    """Return the first draws of every scramble, about `draws` in all, from those along axis 0."""
    each = drawn.reshape(REPLICATES, -1, *drawn.shape[1:])
    return each[:, : max(1, draws // REPLICATES)].reshape(-1, *drawn.shape[1:])


def mixing(
    inputs: Sequence[UncertainInput], correlations: Sequence[Correlation]
) -> FloatArray | None:
    """Return what mixes independent variates so that they are correlated; None where none are.

    Raises
    ------
    InputError
        When no numbers can be correlated in such a way.
    """
    single = [one for one in inputs if one.variates == 1]
    matrix = np.eye(len(single))
    for correlation in correlations:
        for row, first in enumerate(single):
            for column, second in enumerate(single):
                pair = (first.quantity, second.quantity)
                if row != column and sorted(pair) == sorted(correlation.between):
                    matrix[row, column] = correlation.coefficient
    if np.array_equal(matrix, np.eye(len(single))):
        return None
    try:
        return floats(np.linalg.cholesky(matrix))
    except np.linalg.LinAlgError as error:
        raise InputError(
            "uncertainty.correlation: the coefficients contradict each other (if two inputs go "
            "with a third, they must go with one another); make them smaller."
        ) from error


EXCEEDANCE = {"p50": 0.50, "p75": 0.75, "p90": 0.90, "p99": 0.99}
"""Share of the cases in which one does at least as well."""
MORE_IS_BETTER = ("one_year_kwh", "life_kwh_per_year", "net_present_value")
TOLERANCE = 0.01
"""A standard error of P50 and P90 below this share of them is enough, for they are shown with two
digits; our choice."""

_CHUNK = 4096
"""Draws that go through the chain at a time, so that what they need stays in the cache."""
_FEWEST_PER_SCRAMBLE = 64


class Outcomes(Protocol):
    """What the figures of one build follow from: a function of its uncertain inputs."""

    @property
    def name(self) -> str:
        """The build."""

    @property
    def inputs(self) -> Mapping[str, UncertainInput]:
        """The inputs that are drawn for this build, by quantity."""

    def outcome(self, values: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
        """Return the figures, shape (...), for values of inputs by quantity that broadcast.

        An input left out has its central value; a curve bin by bin has shape (..., bins).
        """


@frozen_dataclass
class Range:
    """What the draws say of one figure; None where it is never reached in so many cases.

    One does at least as well as P90 in 90 % of the cases: of an energy or a present value that much
    or more, of a cost or a payback that much or less. One case in twenty lies below `low` and one
    above `high`. There is no standard uncertainty where some cases have no value.
    """

    p50: float | None
    p75: float | None
    p90: float | None
    p99: float | None
    low: float | None
    high: float | None
    standard_uncertainty: float | None


@frozen_dataclass
class Convergence:
    """Whether the draws suffice.

    The standard error is the largest of any P50 and P90 of energy and cost, as a share of it, from
    how far the scrambles lie apart; from `enough_draws` on it stays below `TOLERANCE` (None where
    all were too few).
    """

    draws: int
    standard_error: float
    enough_draws: int | None


def run(
    chain: Outcomes, variates: Variates, step: Callable[[int], None] = lambda done: None
) -> dict[str, FloatArray]:
    """Carry draws through the chain of one build; return each figure, shape (draws,).

    `step` is told how many draws were done.
    """
    draws = len(next(iter(variates.values())))
    parts: dict[str, list[FloatArray]] = {}
    for start in range(0, draws, _CHUNK):
        some = slice(start, min(start + _CHUNK, draws))
        values = {
            quantity: each.distribution.at(variates[each.name][some])
            for quantity, each in chain.inputs.items()
        }
        for figure, found in chain.outcome(values).items():
            parts.setdefault(figure, []).append(np.broadcast_to(found, some.stop - start))
        step(some.stop - start)
    return {figure: np.concatenate(part) for figure, part in parts.items()}


def summary(figure: str, found: FloatArray) -> Range:
    """Return the range of one figure.

    NaN, for a payback that never comes or the cost of no energy, is worse than any value.
    """
    levels = {"low": 0.05, "high": 0.95}
    for point, share in EXCEEDANCE.items():
        levels[point] = 1 - share if figure in MORE_IS_BETTER else share
    ordered = ordered_for(found, list(levels.values()))  # NaN last
    return Range(
        **{name: number_or_none(quantile(ordered, level)) for name, level in levels.items()},
        standard_uncertainty=number_or_none(found.std()),
    )


def ordered_for(values: FloatArray, levels: Sequence[float]) -> FloatArray:
    """Return values with those around some quantiles where they are when all are sorted.

    Along the last axis; to sort all takes twice as long.
    """
    size = values.shape[-1]
    places = {place for level in levels for place in _around(level, size)}
    return np.asarray(np.partition(values, sorted(places), axis=-1))


def quantile(ordered: FloatArray, level: float) -> FloatArray:
    """Return a quantile of values from `ordered_for`, with straight lines between them.

    Not `numpy.quantile`, which knows no values that come last because they are NaN.
    """
    size = ordered.shape[-1]
    below, above = _around(level, size)
    lower, upper = ordered[..., below], ordered[..., above]
    return np.asarray(lower + (level * (size - 1) - below) * (upper - lower))


def _around(level: float, size: int) -> tuple[int, int]:
    """Return the places of the values between which a quantile lies."""
    below = int(level * (size - 1))
    return below, min(below + 1, size - 1)


def convergence(found: Sequence[Mapping[str, FloatArray]]) -> Convergence:
    """Judge whether the draws suffice, from how far the scrambles of each build lie apart."""
    draws = found[0]["one_year_kwh"].size
    each = draws // REPLICATES
    sizes = [each]
    while sizes[0] // 2 >= _FEWEST_PER_SCRAMBLE:
        sizes.insert(0, sizes[0] // 2)
    errors = [max(_errors(build, size) for build in found) for size in sizes]
    enough = None
    for size, error in zip(reversed(sizes), reversed(errors), strict=True):
        if error > TOLERANCE:
            break
        enough = size * REPLICATES
    return Convergence(draws, errors[-1], enough)


def _errors(found: Mapping[str, FloatArray], size: int) -> float:
    """Return the largest relative standard error when only `size` draws of a scramble are used."""
    largest = 0.0
    for figure in ("one_year_kwh", "life_kwh_per_year", "cost_per_kwh"):
        if figure in found:
            levels = (0.5, 0.1 if figure in MORE_IS_BETTER else 0.9)
            scrambles = ordered_for(found[figure].reshape(REPLICATES, -1)[:, :size], levels)
            for level in levels:
                points = quantile(scrambles, level)
                if points.min() > 0:  # False for NaN too
                    error = float(points.std(ddof=1) / points.mean()) / REPLICATES**0.5
                    largest = max(largest, error)
    return largest
