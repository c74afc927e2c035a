"""The table [uncertainty]: how sure the inputs are, with a key for each of the registry."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from yieldest.energy.losses import LOSS_CATEGORIES
from yieldest.settings import Settings, key, with_keys
from yieldest.uncertainty.propagation import Correlation
from yieldest.uncertainty.uncertain_inputs import QUANTITIES, StatedDistribution

DEFAULT_DRAWS, FEWEST_DRAWS, MOST_DRAWS = 8_192, 512, 500_000
"""Draws: by default, the fewest that say anything, the most that memory bears."""


def _key_of(quantity: str) -> tuple[object, object]:
    """Return type and description of the key that states the distribution of an input."""
    known = QUANTITIES[quantity]
    said = key(known.words, known.example, unit=known.values.unit, left_out=known.left_out_words)
    return StatedDistribution | None, said


@with_keys({category: _key_of(f"losses.{category}") for category in LOSS_CATEGORIES})
class LossDistributions(Settings):
    """Distributions of the shares lost."""


@with_keys({name: _key_of(name) for name in QUANTITIES if not name.startswith("losses.")})
class UncertaintyTable(Settings):
    """How sure the inputs are; what is not stated here comes from the stages or is assumed."""

    draws: Annotated[int, Field(ge=0, le=MOST_DRAWS)] = key(
        f"worlds that are drawn: 0 for none, else {FEWEST_DRAWS} at least",
        50_000,
        default=DEFAULT_DRAWS,
    )
    seed: Annotated[int, Field(ge=0)] = key("another seed, another set of draws", 2, default=1)
    losses: LossDistributions = key(
        "distributions of the shares lost", default=LossDistributions.unstated()
    )
    correlation: list[Correlation] = key(
        "errors of two inputs that go together",
        left_out="the usual ones, see uncertainty.md",
        default=[],
    )

    @property
    def distributions(self) -> dict[str, StatedDistribution]:
        """What is stated, by input: losses as losses.electrical."""
        stated = {
            **{name: getattr(self, name) for name in type(self).model_fields},
            **{f"losses.{name}": distribution for name, distribution in self.losses},
        }
        return {
            name: distribution
            for name, distribution in stated.items()
            if isinstance(distribution, StatedDistribution)
        }

    @model_validator(mode="after")
    def _sense(self) -> Self:
        for quantity, distribution in self.distributions.items():
            kind = QUANTITIES[quantity].values
            value = distribution.beyond(kind)
            if value is not None:
                raise ValueError(f"{quantity}: {value:g} is not {kind.words}; mend the value")
        for one in self.correlation:
            for name in one.between:
                if name not in QUANTITIES:
                    raise ValueError(
                        f"correlation names {name!r}, which is no input; they are "
                        f"{', '.join(QUANTITIES)}"
                    )
        if 0 < self.draws < FEWEST_DRAWS:
            raise ValueError(f"draws is {self.draws}; state 0 for none, or {FEWEST_DRAWS} at least")
        return self
