"""Many draws through the whole chain, and what they say: ranges, chances, and if they suffice."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from yieldest.arrays import FloatArray, number_or_none
from yieldest.uncertainty.sampling import REPLICATES, columns
from yieldest.uncertainty.uncertain_inputs import UncertainInput

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
    def names(self) -> Mapping[str, str]:
        """The name of the input that plays each quantity for this build."""

    def outcome(self, values: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
        """Return the figures, shape (...), for values of inputs by name that broadcast.

        An input left out has its central value; a curve bin by bin has shape (..., bins).
        """


@dataclass(frozen=True)
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


@dataclass(frozen=True)
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
    chain: Outcomes,
    inputs: Sequence[UncertainInput],
    variates: FloatArray,
    step: Callable[[int], None] = lambda done: None,
) -> dict[str, FloatArray]:
    """Carry draws, shape (draws, variates), through the chain of one build, by figure.

    Inputs that are not among those drawn keep their central values. The columns of the variates are
    those of `inputs`, one after another; `step` is told how many draws were done.
    """
    column = columns(inputs)
    parts: dict[str, list[FloatArray]] = {}
    mine = [each for each in inputs if each.name in chain.names.values()]
    for start in range(0, len(variates), _CHUNK):
        some = variates[start : start + _CHUNK]
        values = {each.name: _values(each, some[:, column[each.name]]) for each in mine}
        for figure, found in chain.outcome(values).items():
            parts.setdefault(figure, []).append(np.broadcast_to(found, len(some)))
        step(len(some))
    return {figure: np.concatenate(part) for figure, part in parts.items()}


def _values(each: UncertainInput, variates: FloatArray) -> FloatArray:
    return each.distribution.at(variates if each.variates > 1 else variates[:, 0])


def summary(figure: str, found: FloatArray) -> Range:
    """Return the range of one figure.

    NaN, for a payback that never comes or the cost of no energy, is worse than any value.
    """
    ordered = np.sort(found)  # NaN last
    if figure in MORE_IS_BETTER:
        levels = {name: 1 - share for name, share in EXCEEDANCE.items()}
    else:
        levels = dict(EXCEEDANCE)
    points = {name: number_or_none(quantile(ordered, level)) for name, level in levels.items()}
    return Range(
        **points,
        low=number_or_none(quantile(ordered, 0.05)),
        high=number_or_none(quantile(ordered, 0.95)),
        standard_uncertainty=None if np.isnan(ordered[-1]) else float(found.std()),
    )


def quantile(ordered: FloatArray, level: float) -> FloatArray:
    """Return a quantile of values sorted along the last axis, with straight lines between them.

    Not `numpy.quantile`, which knows no values that come last because they are NaN.
    """
    place = level * (ordered.shape[-1] - 1)
    below = int(place)
    above = min(below + 1, ordered.shape[-1] - 1)
    lower, upper = ordered[..., below], ordered[..., above]
    return np.asarray(lower + (place - below) * (upper - lower))


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
            scrambles = np.sort(found[figure].reshape(REPLICATES, -1)[:, :size], axis=1)
            for level in (0.5, 0.1 if figure in MORE_IS_BETTER else 0.9):
                points = quantile(scrambles, level)
                if points.min() > 0:  # False for NaN too
                    error = float(points.std(ddof=1) / points.mean()) / REPLICATES**0.5
                    largest = max(largest, error)
    return largest
