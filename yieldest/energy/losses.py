"""Losses between the gross and the net energy of a year."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cached_property
from numbers import Real

from yieldest.defaults import COMMON_PRACTICE, Assumed, Default
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.settings import Settings, Share, key, with_keys

STATED_UNCERTAINTY, ASSUMED_UNCERTAINTY = 0.25, 0.5
"""Standard uncertainty of a loss as a share of it, where somebody stated it and where nobody did
(common practice, no source)."""


@frozen_dataclass
class LossCategory:
    """A category of loss, of which plan keys, uncertainty inputs, docs and tables are made.

    `key` stands in the plan, in `--json` and, after "losses.", for the uncertain input. The default
    share is taken where none is stated, another where several machines stand together;
    `computed_from` names what of a plan the share is computed from instead.
    """

    key: str
    words: str
    default_share: float
    example: float
    default_share_of_several: float | None = None
    computed_from: str = ""

    @property
    def name(self) -> str:
        """The key as words."""
        return self.key.replace("_", " ")

    def default(self, count: int) -> Default:
        """Return what is taken for so many machines where no share is stated."""
        return self._defaults[count > 1]

    @cached_property
    def _defaults(self) -> tuple[Default, Default]:
        """For one machine, and for several."""
        several = self.default_share_of_several
        words = f"{self.name.capitalize()} loss"
        lone, together = (
            Default(f"build.losses.{self.key}", words, share, "share", COMMON_PRACTICE)
            for share in (self.default_share, self.default_share if several is None else several)
        )
        return lone, together

    @property
    def left_out(self) -> str:
        """What holds where a plan states no share, in words."""
        words = f"{self.default_share:g} is assumed"
        if self.default_share_of_several is not None:
            words += f", {self.default_share_of_several:g} for several machines"
        if self.computed_from:
            words += f"; computed where there is {self.computed_from}"
        return words


LOSS_CATEGORIES = {
    category.key: category
    for category in (
        LossCategory("availability", "lost while the machine stands for repair", 0.05, 0.08),
        LossCategory(
            "wake", "lost because the machines disturb each other", 0.0, 0.1, 0.05, "an array"
        ),
        LossCategory(
            "turbine_performance", "lost because the machine does less than its curve", 0.02, 0.05
        ),
        LossCategory(
            "electrical",
            "lost in wires, inverter and charger",
            0.05,
            0.08,
            computed_from="a cable or converter",
        ),
        LossCategory("environmental", "lost by ice, dirt and worn blades", 0.02, 0.03),
        LossCategory("curtailment", "lost because it is switched off to spare others", 0.0, 0.02),
    )
}
"""The loss categories of IEC 61400-15 by key, in the order in which they are taken off; the shares
assumed are common practice for small machines, no source. A new category needs a line here only."""


@with_keys(
    {
        each.key: (
            Share | None,
            key(each.words, each.example, unit="share", left_out=each.left_out),
        )
        for each in LOSS_CATEGORIES.values()
    }
)
class LossShares(Settings):
    """Shares of energy lost, by the categories of IEC 61400-15."""

    @property
    def stated(self) -> dict[str, float]:
        """The shares that are stated, by category."""
        return {category: share for category, share in self if share is not None}


@frozen_dataclass
class Loss:
    """One category of loss, a key of `LOSS_CATEGORIES`.

    The share is that of the energy that reaches it, below 1, and below 0 where it is a gain. The
    method is "stated", "assumed", or how it was computed.
    """

    category: str
    share: float
    assumed: bool
    standard_uncertainty: float
    method: str

    @property
    def name(self) -> str:
        """The category as words."""
        return LOSS_CATEGORIES[self.category].name


def losses_of(
    stated: Mapping[str, float], count: int, computed: tuple[Loss, ...] = ()
) -> tuple[Loss, ...]:
    """Return every category with its computed, stated or assumed share.

    Parameters
    ----------
    stated : mapping of str to float
        Category to share.
    count : int
        Number of machines; several of them disturb each other.
    computed : tuple of Loss
        What the layout or the wiring gave; it stands before what is stated.

    Raises
    ------
    InputError
        When a category is not known, or a stated share is none from 0 to below 1.
    """
    for name, share in stated.items():
        if name not in LOSS_CATEGORIES:
            raise InputError(
                f"{name!r} is no category of loss; they are {', '.join(LOSS_CATEGORIES)}."
            )
        if not isinstance(share, Real) or not 0 <= share < 1:
            raise InputError(
                f"losses: {name} is {share!r}, but a share from 0 to below 1 was expected, such as "
                "0.05 for 5 %."
            )
    found = {}
    for name, category in LOSS_CATEGORIES.items():
        share = category.default(count).value
        found[name] = Loss(name, share, True, ASSUMED_UNCERTAINTY * share, "assumed")
    for name, share in stated.items():
        found[name] = Loss(name, share, False, STATED_UNCERTAINTY * share, "stated")
    return tuple((found | {loss.category: loss for loss in computed}).values())


def assumed_losses(losses: tuple[Loss, ...], count: int) -> tuple[Assumed, ...]:
    """Return a finding for each loss that nobody stated or computed."""
    return tuple(
        Assumed(LOSS_CATEGORIES[loss.category].default(count)) for loss in losses if loss.assumed
    )


def kept_share(losses: tuple[Loss, ...]) -> float:
    """Return the share of energy left after all losses."""
    return math.prod(1 - loss.share for loss in losses)
