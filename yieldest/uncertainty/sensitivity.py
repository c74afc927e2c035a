"""Which inputs the uncertainty comes from: one-at-a-time swings, first-order shares."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from yieldest.arrays import FloatArray, number_or_none
from yieldest.uncertainty.propagation import Outcomes, columns, fewer, of_chain
from yieldest.uncertainty.uncertain_inputs import UncertainInput

FAR = 1.6448536269514722
"""Score that one case in twenty lies above, and one in twenty below the negative of."""
_BINS = 64
"""Bins that a variate is parted into; each must hold draws enough for a mean."""
_DRAWS = 8192
"""Draws that the shares are taken from, where there are more."""


@dataclass(frozen=True)
class Driver:
    """What one input does to one figure of a build.

    `low` and `high` are the figure when this input alone stands where one case in twenty is lower,
    and higher, and all others where the one-plan estimate has them. `share` is the first-order
    share of the variance, from 0 to 1: by how much the variance would fall, on the average, if this
    input were known. None where it cannot be had.
    """

    name: str
    low: float | None
    high: float | None
    share: float | None

    @property
    def swing(self) -> float:
        """Distance between `low` and `high`; 0 where it cannot be had."""
        return 0.0 if self.low is None or self.high is None else abs(self.high - self.low)


def swings(
    chain: Outcomes, inputs: Sequence[UncertainInput]
) -> dict[str, tuple[dict[str, float], dict[str, float]]]:
    """Return, for each input of a build, the figures at its low and at its high end.

    The bins of a curve, which err on their own, move one by one, and their effects add up by their
    squares.
    """
    central = {name: float(figure) for name, figure in chain.outcome({}).items()}
    found = {}
    for each in of_chain(chain, inputs):
        ends = each.distribution.at(np.array([-FAR, FAR]))
        # One row for each end of each bin; an input of a single variate is a single bin.
        rows = np.where(np.eye(each.variates, dtype=bool)[:, np.newaxis], ends[:, np.newaxis], 1.0)
        value = rows.reshape(-1, each.variates) if each.variates > 1 else ends
        figures = chain.outcome({each.name: value})
        low, high = {}, {}
        for name, figure in figures.items():
            away = np.broadcast_to(figure, 2 * each.variates).reshape(-1, 2) - central[name]
            length = np.sqrt((away**2).sum(axis=0)) * np.sign(away.sum(axis=0))
            low[name], high[name] = (float(central[name] + one) for one in length)
        found[each.name] = (low, high)
    return found


def first_order_shares(
    variates: FloatArray, figures: Mapping[str, FloatArray]
) -> dict[str, FloatArray]:
    """Return the share of each figure's variance that each input explains by itself.

    Parameters
    ----------
    variates : ndarray, shape (draws, variates)
    figures : mapping of str to ndarray, shape (draws,)

    Returns
    -------
    dict of str to ndarray, shape (variates,)
        By figure; NaN where it has no variance, or has no value in some draws.

    Notes
    -----
    Var(E[figure | input]) / Var(figure) (Saltelli et al., *Global Sensitivity Analysis: The
    Primer*, Wiley 2008, chapter 1), with the conditional mean taken over bins of equal count; what
    chance alone would put between the bin means is taken off (as in the adjusted coefficient of
    determination), so the share of an input without effect is 0 on the average, not above.
    """
    draws, inputs = variates.shape
    bins = min(_BINS, max(2, draws // 16))
    edges = np.arange(bins) * draws // bins
    counts = np.diff(np.append(edges, draws))
    shares = {name: np.full(inputs, np.nan) for name in figures}
    totals = {
        name: float(((figure - figure.mean()) ** 2).sum()) for name, figure in figures.items()
    }
    for column in range(inputs):
        order = np.argsort(variates[:, column])
        for name, figure in figures.items():
            if totals[name] > 0:
                means = np.add.reduceat(figure[order], edges) / counts
                between = float((counts * (means - figure.mean()) ** 2).sum())
                within = (totals[name] - between) / (draws - bins)
                shares[name][column] = (between - (bins - 1) * within) / totals[name]
    return shares


def drivers(
    chain: Outcomes,
    inputs: Sequence[UncertainInput],
    variates: FloatArray,
    found: Mapping[str, FloatArray],
) -> dict[str, tuple[Driver, ...]]:
    """Rank the inputs of a build by their share of the variance of each figure found by `run`."""
    column = columns(inputs)
    ends = swings(chain, inputs)
    shares = first_order_shares(
        fewer(variates, _DRAWS), {figure: fewer(values, _DRAWS) for figure, values in found.items()}
    )

    def driver(each: UncertainInput, figure: str) -> Driver:
        low, high = (number_or_none(end[figure]) for end in ends[each.name])
        # The bins of a curve are independent of each other, so their shares add up.
        share = float(shares[figure][column[each.name]].sum())
        return Driver(each.name, low, high, number_or_none(max(share, 0.0)))

    return {
        figure: tuple(
            sorted(
                (driver(each, figure) for each in of_chain(chain, inputs)),
                key=lambda one: (-(one.share or 0.0), -one.swing),
            )
        )
        for figure in found
    }
