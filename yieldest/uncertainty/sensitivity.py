"""Which inputs the uncertainty comes from: one-at-a-time swings, first-order shares."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from yieldest.arrays import FloatArray, number_or_none
from yieldest.frozen import frozen_dataclass
from yieldest.uncertainty.propagation import Outcomes, Variates, fewer

FAR = 1.6448536269514722
"""Score that one case in twenty lies above, and one in twenty below the negative of."""
_BINS = 64
"""Bins that a variate is parted into; each must hold draws enough for a mean."""
_DRAWS = 8192
"""Draws that the shares are taken from, where there are more."""


@frozen_dataclass
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


def first_order_shares(
    variates: FloatArray, figures: Mapping[str, FloatArray]
) -> dict[str, FloatArray]:
    """Return the share of each figure's variance that each input explains by itself.

    Of variates of shape (draws, variates) and figures of shape (draws,); the shares have shape
    (variates,), NaN where a figure has no variance, or no value in some draws.

    Notes
    -----
    Var(E[figure | input]) / Var(figure) (Saltelli et al., *Global Sensitivity Analysis: The
    Primer*, Wiley 2008, chapter 1), with the conditional mean taken over bins of equal count; what
    chance alone would put between the bin means is taken off (as in the adjusted coefficient of
    determination), so the share of an input without effect is 0 on the average, not above.
    """
    draws = len(variates)
    bins = min(_BINS, max(2, draws // 16))
    edges = np.arange(bins) * draws // bins
    counts = np.diff(np.append(edges, draws))
    off = np.stack(list(figures.values()))
    off = off - off.mean(axis=1, keepdims=True)
    total = (off**2).sum(axis=1, keepdims=True)
    means = [
        np.add.reduceat(off[:, order], edges, axis=1) / counts
        for order in np.argsort(variates, axis=0).T
    ]
    between = np.stack([(counts * mean**2).sum(axis=1) for mean in means], axis=1)
    within = (total - between) / (draws - bins)
    varies = np.where(total > 0, total, np.nan)
    return dict(zip(figures, (between - (bins - 1) * within) / varies, strict=True))


def drivers(
    chain: Outcomes, variates: Variates, found: Mapping[str, FloatArray]
) -> dict[str, tuple[Driver, ...]]:
    """Rank the inputs of a build by their share of the variance of each figure found by `run`."""
    inputs = chain.inputs
    central = chain.outcome({})
    ends = {quantity: _ends(chain, quantity, central) for quantity in inputs}
    columns = np.column_stack([fewer(variates[each.name], _DRAWS) for each in inputs.values()])
    figures = {figure: fewer(values, _DRAWS) for figure, values in found.items()}
    first = np.cumsum([0, *(each.variates for each in inputs.values())])[:-1]
    ranked = {}
    for figure, shares in first_order_shares(columns, figures).items():
        # The bins of a curve are independent of each other, so their shares add up.
        of_inputs = np.maximum(np.add.reduceat(shares, first), 0.0)
        found_of = []
        for (quantity, each), share in zip(inputs.items(), of_inputs, strict=True):
            low, high = map(number_or_none, ends[quantity][figure])
            found_of.append(Driver(each.name, low, high, number_or_none(share)))
        ranked[figure] = by_share(found_of)
    return ranked


def by_share(found: Sequence[Driver]) -> tuple[Driver, ...]:
    """Put drivers in order by share, then swing; what only rounding tells apart stays in order."""
    widest = max((one.swing for one in found), default=0.0) or 1.0
    digits = 9
    return tuple(
        sorted(
            found,
            key=lambda one: (-round(one.share or 0.0, digits), -round(one.swing / widest, digits)),
        )
    )


def _ends(
    chain: Outcomes, quantity: str, central: Mapping[str, FloatArray]
) -> dict[str, FloatArray]:
    """Return each figure with one input at its low and at its high end, shape (2,).

    The bins of a curve, which err on their own, move one by one, and their effects add up by their
    squares.
    """
    each = chain.inputs[quantity]
    values = each.distribution.at(np.array([-FAR, FAR]))
    if each.variates > 1:
        # One row for each end of each bin.
        alone = np.eye(each.variates, dtype=bool)[:, np.newaxis]
        values = np.where(alone, values[:, np.newaxis], 1.0).reshape(-1, each.variates)
    ends = {}
    for figure, found in chain.outcome({quantity: values}).items():
        away = np.broadcast_to(found, 2 * each.variates).reshape(-1, 2) - central[figure]
        length = np.sqrt((away**2).sum(axis=0)) * np.sign(away.sum(axis=0))
        ends[figure] = central[figure] + length
    return ends
