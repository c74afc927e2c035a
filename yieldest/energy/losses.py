"""Losses between the gross and the net energy of a year."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

LOSS_CATEGORIES = {
    "availability": 0.05,
    "interaction": 0.0,
    "turbine_performance": 0.02,
    "electrical": 0.05,
    "environmental": 0.02,
    "curtailment": 0.0,
}
"""The loss categories of IEC 61400-15, with the share assumed where none is stated (common
practice for small machines, no source)."""

CROWDED_INTERACTION = 0.05
"""Interaction loss assumed for several machines where none is stated (common practice, no
source)."""


@dataclass(frozen=True)
class Loss:
    """One category of loss.

    Parameters
    ----------
    category : str
        A key of `LOSS_CATEGORIES`.
    share : float
        Of the energy that reaches this category, from 0 to 1.
    assumed : bool
        Whether nobody stated it.
    """

    category: str
    share: float
    assumed: bool


def losses_of(stated: Mapping[str, float | None], count: int) -> tuple[Loss, ...]:
    """Return every category with its stated or assumed share.

    Parameters
    ----------
    stated : mapping of str to float or None
        Category to share.
    count : int
        Number of machines; several of them disturb each other.
    """
    losses = []
    for category, default in LOSS_CATEGORIES.items():
        share = stated.get(category)
        if share is None:
            crowded = category == "interaction" and count > 1
            losses.append(Loss(category, CROWDED_INTERACTION if crowded else default, True))
        else:
            losses.append(Loss(category, share, False))
    return tuple(losses)


def kept_share(losses: tuple[Loss, ...]) -> float:
    """Return the share of energy left after all losses: the product of (1 - share)."""
    kept = 1.0
    for loss in losses:
        kept *= 1 - loss.share
    return kept
