"""The table [uncertainty]: how sure the inputs are."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator
from pydantic.fields import FieldInfo

from yieldest.defaults import YEAR_TO_YEAR
from yieldest.energy.losses import (
    ASSUMED_UNCERTAINTY,
    STATED_UNCERTAINTY,
    with_a_key_for_each_loss,
)
from yieldest.settings import NotNegative, Settings, at_most_one, key
from yieldest.uncertainty.uncertain_inputs import (
    ANEMOMETER,
    ASSUMED_MAINTENANCE,
    ASSUMED_SHAPE,
    DISCOUNT_RATE,
    EXPOSURE,
    LIFE_SHARE,
    MOUNTING,
    PRICE_PER_KWH,
    PRICES,
    QUANTITIES,
    STATED_MAINTENANCE,
    STATED_MEAN,
    STATED_SHAPE,
    StatedDistribution,
)

DEFAULT_DRAWS, FEWEST_DRAWS, MOST_DRAWS = 8_192, 512, 500_000
"""Draws: by default, the fewest that say anything, the most that memory bears."""


class DistributionOf(Settings):
    """The spread of one uncertain input, in one of these ways."""

    standard_uncertainty: Annotated[
        NotNegative | None,
        key("standard deviation: one case in three lies farther from the middle", 0.01),
    ] = None
    distribution: Annotated[
        Literal["normal", "lognormal"] | None,
        key(
            "with standard_uncertainty: its shape",
            "normal",
            left_out="the usual one of the input, see uncertainty.md",
        ),
    ] = None
    triangular: Annotated[
        Annotated[list[float], Field(min_length=3, max_length=3)] | None,
        key("or the lowest, the most likely and the highest value", [0.8, 1.0, 1.1]),
    ] = None
    uniform: Annotated[
        Annotated[list[float], Field(min_length=2, max_length=2)] | None,
        key("or the lowest and the highest, all between as likely", [0.9, 1.1]),
    ] = None
    values: Annotated[
        Annotated[list[float], Field(min_length=1)] | None,
        key("or one of these; written twice it counts double", [0.9, 1.0, 1.0, 1.2]),
    ] = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        ways = ("standard_uncertainty", "triangular", "uniform", "values")
        at_most_one(self, *ways)
        if all(getattr(self, way) is None for way in ways):
            raise ValueError(f"there is no spread; state one of {', '.join(ways)}")
        if self.distribution is not None and self.standard_uncertainty is None:
            raise ValueError("distribution belongs to standard_uncertainty; state it too")
        for way in ("triangular", "uniform"):
            bounds = getattr(self, way)
            if bounds is not None and (sorted(bounds) != bounds or bounds[0] == bounds[-1]):
                raise ValueError(f"{way} is {bounds}; write the lowest first and the highest last")
        return self


def _input(quantity: str, example: dict[str, object], left_out: str) -> FieldInfo:
    """Describe the spread of an input as the draws know it."""
    known = QUANTITIES[quantity]
    unit = "factor" if known.takes == "factor" else known.takes
    return key(known.words, example, unit=unit, left_out=left_out)


def _percent(share: float) -> str:
    return f"{100 * share:g} %"


_OWN = {"standard_uncertainty": 0.05}
_LOSS = (
    f"{_percent(ASSUMED_UNCERTAINTY)} of an assumed loss, "
    f"{_percent(STATED_UNCERTAINTY)} of a stated one"
)


@with_a_key_for_each_loss(
    lambda category: Annotated[
        DistributionOf | None,
        _input(f"losses.{category.key}", {"uniform": [0.0, 2 * category.example]}, _LOSS),
    ]
)
class LossDistributions(Settings):
    """Spreads of the shares lost."""


class Correlated(Settings):
    """How the errors of two inputs go together."""

    between: Annotated[
        Annotated[list[str], Field(min_length=2, max_length=2)],
        key("two inputs, by their keys in [uncertainty]", ["prices", "maintenance"]),
    ]
    coefficient: Annotated[
        Annotated[float, Field(gt=-1, lt=1)],
        key("1 would be in step, -1 against each other", 0.6),
    ]


class Uncertainty(Settings):
    """How sure the inputs are; what is not stated here comes from the stages or is assumed."""

    draws: Annotated[
        Annotated[int, Field(ge=0, le=MOST_DRAWS)],
        key(f"worlds that are drawn: 0 for none, else {FEWEST_DRAWS} at least", 50_000),
    ] = DEFAULT_DRAWS
    seed: Annotated[Annotated[int, Field(ge=0)], key("another seed, another set of draws", 2)] = 1
    stated_mean: Annotated[
        DistributionOf | None, _input("stated_mean", _OWN, _percent(STATED_MEAN))
    ] = None
    anemometer: Annotated[
        DistributionOf | None,
        _input("anemometer", {"standard_uncertainty": 0.01}, _percent(ANEMOMETER)),
    ] = None
    mounting: Annotated[
        DistributionOf | None,
        _input("mounting", {"standard_uncertainty": 0.05}, _percent(MOUNTING)),
    ] = None
    rounding: Annotated[DistributionOf | None, _input("rounding", _OWN, "from the record")] = None
    fit: Annotated[DistributionOf | None, _input("fit", _OWN, "from the fit")] = None
    sampling: Annotated[DistributionOf | None, _input("sampling", _OWN, "from the record")] = None
    seasons: Annotated[DistributionOf | None, _input("seasons", _OWN, "from the record")] = None
    past_years: Annotated[
        DistributionOf | None,
        _input("past_years", _OWN, f"{YEAR_TO_YEAR} over the root of the years"),
    ] = None
    long_term: Annotated[DistributionOf | None, _input("long_term", _OWN, "from the reference")] = (
        None
    )
    shape: Annotated[
        DistributionOf | None,
        _input(
            "shape",
            _OWN,
            f"from the fit; {_percent(STATED_SHAPE)} where stated, {_percent(ASSUMED_SHAPE)} where "
            "assumed",
        ),
    ] = None
    shear_exponent: Annotated[
        DistributionOf | None,
        _input("shear_exponent", {"standard_uncertainty": 0.05}, "from the height step"),
    ] = None
    exposure: Annotated[
        DistributionOf | None,
        _input("exposure", _OWN, f"{_percent(EXPOSURE)}, and what obstacles and roof state"),
    ] = None
    coming_years: Annotated[
        DistributionOf | None,
        _input("coming_years", _OWN, f"{YEAR_TO_YEAR}, or what a reference shows"),
    ] = None
    density: Annotated[DistributionOf | None, _input("density", _OWN, "from the air")] = None
    curve: Annotated[DistributionOf | None, _input("curve", _OWN, "from the curve")] = None
    curve_bins: Annotated[DistributionOf | None, _input("curve_bins", _OWN, "from the curve")] = (
        None
    )
    losses: Annotated[LossDistributions, key("spreads of the shares lost")] = LossDistributions()
    prices: Annotated[
        DistributionOf | None,
        _input("prices", {"triangular": [0.9, 1.0, 1.3]}, _percent(PRICES)),
    ] = None
    maintenance: Annotated[
        DistributionOf | None,
        _input(
            "maintenance",
            {"standard_uncertainty": 0.3},
            f"{_percent(STATED_MAINTENANCE)} where stated, {_percent(ASSUMED_MAINTENANCE)} where "
            "assumed",
        ),
    ] = None
    life_years: Annotated[
        DistributionOf | None,
        _input(
            "life_years",
            {"triangular": [8, 12, 20]},
            f"a triangle that reaches {_percent(LIFE_SHARE)} to either side",
        ),
    ] = None
    discount_rate: Annotated[
        DistributionOf | None,
        _input("discount_rate", {"standard_uncertainty": 0.02}, f"{DISCOUNT_RATE:g}"),
    ] = None
    price_per_kwh: Annotated[
        DistributionOf | None,
        _input("price_per_kwh", {"values": [0.28, 0.30, 0.45]}, _percent(PRICE_PER_KWH)),
    ] = None
    correlation: Annotated[
        list[Correlated],
        key("errors of two inputs that go together", left_out="the usual ones, see uncertainty.md"),
    ] = Field(default_factory=list)

    @property
    def spreads(self) -> dict[str, dict[str, Any]]:
        """What is stated, by input: losses as losses.electrical."""
        stated = {
            **{name: getattr(self, name) for name in type(self).model_fields},
            **{f"losses.{name}": spread for name, spread in self.losses},
        }
        return {
            name: spread.model_dump()
            for name, spread in stated.items()
            if isinstance(spread, DistributionOf)
        }

    @model_validator(mode="after")
    def _sense(self) -> Self:
        for quantity, spread in self.spreads.items():
            nonsense = StatedDistribution(**spread).nonsense(quantity)
            if nonsense is not None:
                raise ValueError(f"{quantity}: {nonsense}; mend the value")
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
