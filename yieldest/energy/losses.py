"""Losses between the gross and the net energy of a year."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats

LOSS_CATEGORIES = {
    "availability": 0.05,
    "wake": 0.0,
    "turbine_performance": 0.02,
    "electrical": 0.05,
    "environmental": 0.02,
    "curtailment": 0.0,
}
"""The loss categories of IEC 61400-15, with the share assumed where none is stated (common
practice for small machines, no source)."""

CROWDED_WAKE_LOSS = 0.05
"""WakeLoss loss assumed for several machines where none is stated (common practice, no
source)."""

STATED_UNCERTAINTY, ASSUMED_UNCERTAINTY = 0.25, 0.5
"""Standard uncertainty of a loss as a share of it, where somebody stated it and where nobody did
(common practice, no source)."""


@dataclass(frozen=True)
class Loss:
    """One category of loss.

    Parameters
    ----------
    category : str
        A key of `LOSS_CATEGORIES`.
    share : float
        Of the energy that reaches this category, below 1; below 0 where it is a gain.
    assumed : bool
        Whether nobody stated it.
    standard_uncertainty : float
        Of the share.
    method : str
        "stated", "assumed", or how it was computed.
    """

    category: str
    share: float
    assumed: bool
    standard_uncertainty: float
    method: str


def losses_of(
    stated: Mapping[str, float | None], count: int, computed: tuple[Loss, ...] = ()
) -> tuple[Loss, ...]:
    """Return every category with its computed, stated or assumed share.

    Parameters
    ----------
    stated : mapping of str to float or None
        Category to share.
    count : int
        Number of machines; several of them disturb each other.
    computed : tuple of Loss
        What the layout or the wiring gave; it stands before what is stated.
    """
    by_category = {loss.category: loss for loss in computed}
    losses = []
    for category, default in LOSS_CATEGORIES.items():
        share = stated.get(category)
        if category in by_category:
            loss = by_category[category]
        elif share is not None:
            loss = Loss(category, share, False, STATED_UNCERTAINTY * share, "stated")
        else:
            crowded = category == "wake" and count > 1
            share = CROWDED_WAKE_LOSS if crowded else default
            loss = Loss(category, share, True, ASSUMED_UNCERTAINTY * share, "assumed")
        losses.append(loss)
    return tuple(losses)


def assumed_in_words(losses: tuple[Loss, ...]) -> tuple[str, ...]:
    """Return a sentence for each loss that nobody stated or computed."""
    return tuple(
        f"{loss.category.replace('_', ' ').capitalize()} loss {100 * loss.share:.0f} % (common "
        "practice, no source)."
        for loss in losses
        if loss.assumed
    )


def kept_share(losses: tuple[Loss, ...]) -> float:
    """Return the share of energy left after all losses."""
    return float(kept_after([loss.share for loss in losses]))


def kept_after(shares: npt.ArrayLike) -> FloatArray:
    """Return the share of energy left, the product of (1 - share) over the last axis.

    Parameters
    ----------
    shares : array_like, shape (..., categories)
    """
    return np.asarray((1 - floats(shares)).prod(axis=-1))
