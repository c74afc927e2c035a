"""Standard normal variates for every input and draw: scrambled Sobol points, correlated."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.uncertainty.uncertain_inputs import UncertainInput

REPLICATES = 8
"""Scrambles that the draws are parted into: each is an estimate of its own, and how far they lie
apart says how far all of them together are to be trusted."""

_HALF_STEP = 2.0**-31
"""Half the grain of the Sobol points, which keeps them off 0, where the variate is infinite."""


@dataclass(frozen=True)
class Correlation:
    """How the errors of two quantities go together.

    The same quantity twice stands for what differs between builds, such as two bills. The
    coefficient is that of the normal variates (Gaussian copula), between -1 and 1.
    """

    first: str
    second: str
    coefficient: float


def columns(inputs: Sequence[UncertainInput]) -> dict[str, slice]:
    """Return the columns of the variates that belong to each input, by name."""
    ends = np.cumsum([each.variates for each in inputs])
    return {
        each.name: slice(int(end) - each.variates, int(end))
        for each, end in zip(inputs, ends, strict=True)
    }


def draw_variates(
    inputs: Sequence[UncertainInput], correlations: Sequence[Correlation], draws: int, seed: int
) -> FloatArray:
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
    ndarray, shape (draws, variates)
        Scramble after scramble.

    Raises
    ------
    InputError
        When no numbers can be correlated in such a way.

    Notes
    -----
    Sobol points (Joe & Kuo 2008, as in `scipy.stats.qmc`) with Owen's scrambling, through the
    inverse normal distribution; the Gaussian copula then mixes them by the Cholesky factor of the
    correlation matrix.
    """
    # It takes a third of a second, for which an estimate without draws need not wait.
    from scipy.stats import qmc  # noqa: PLC0415

    each = draws // REPLICATES
    total = sum(one.variates for one in inputs)
    power = int(np.ceil(np.log2(max(each, 2))))
    variates = np.empty((each * REPLICATES, total))
    for replicate in range(REPLICATES):
        sequence = qmc.Sobol(total, rng=np.random.default_rng([seed, replicate]))
        points = sequence.random_base2(power)[:each]
        variates[replicate * each : (replicate + 1) * each] = ndtri(points + _HALF_STEP)
    single = [one for one in inputs if one.variates == 1]
    matrix = _matrix(single, correlations)
    if not np.array_equal(matrix, np.eye(len(single))):
        try:
            factor = np.linalg.cholesky(matrix)
        except np.linalg.LinAlgError as error:
            raise InputError(
                "uncertainty.correlation: the coefficients contradict each other (if two inputs "
                "go with "
                "a third, they must go with one another); make them smaller."
            ) from error
        variates[:, : len(single)] = variates[:, : len(single)] @ factor.T
    return variates


def fewer(drawn: FloatArray, draws: int) -> FloatArray:
    """Return the first draws of every scramble, about `draws` in all, from those along axis 0."""
    each = drawn.reshape(REPLICATES, -1, *drawn.shape[1:])
    return each[:, : max(1, draws // REPLICATES)].reshape(-1, *drawn.shape[1:])


def _matrix(inputs: Sequence[UncertainInput], correlations: Sequence[Correlation]) -> FloatArray:
    matrix = np.eye(len(inputs))
    for correlation in correlations:
        for row, first in enumerate(inputs):
            for column, second in enumerate(inputs):
                pair = (first.quantity, second.quantity)
                wanted = (correlation.first, correlation.second)
                if row != column and (pair == wanted or pair[::-1] == wanted):
                    matrix[row, column] = correlation.coefficient
    return matrix
