"""The uncertain inputs of an estimate: the registry that plan keys, draws and lists are made of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import field
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from yieldest.defaults import COMMON_PRACTICE, YEAR_TO_YEAR
from yieldest.energy.losses import ASSUMED_UNCERTAINTY, LOSS_CATEGORIES, STATED_UNCERTAINTY
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.settings import NotNegative, Settings, at_most_one, key
from yieldest.uncertainty.distributions import (
    CutOff,
    InputDistribution,
    ListedValues,
    Lognormal,
    Normal,
    Triangular,
    Uniform,
)

MEASUREMENT = "measurement"
HISTORICAL = "historical wind"
VERTICAL = "vertical extrapolation"
HORIZONTAL = "horizontal extrapolation"
COMING = "variability of the coming years"
PERFORMANCE = "plant performance"
MONEY = "economics"
CATEGORIES = (MEASUREMENT, HISTORICAL, VERTICAL, HORIZONTAL, COMING, PERFORMANCE, MONEY)
"""The categories of IEC 61400-15 (named from memory) and, beyond the standard, money."""

CURVE_CORRELATION = 0.8
"""Correlation between the errors of two bins of a curve (common practice, no source)."""
ALIKE_CORRELATION = 0.5
"""Correlation of the same kind of error in two builds (common practice, no source)."""
FARTHEST = 6.5
"""No draw is farther out, in standard normal variates: the Sobol points have 31 bits."""
ROUNDING = 1e-9
"""A standard uncertainty no larger is what the rounding of numbers leaves of none at all, and would
come and go with it."""


@frozen_dataclass
class ValueKind:
    """What the values of an input are: their unit, what they may be, and that in words."""

    unit: str
    low: float
    high: float
    words: str


SPREAD = "spread_within_interval"
FACTOR = ValueKind("factor", 0.01, 100.0, "a factor on what was computed (1 leaves it as it is)")
EXPONENT = ValueKind(
    "added to the exponent", -0.5, 0.5, "a number from -0.5 to 0.5 to add to the shear exponent"
)
LOSS_SHARE = ValueKind("share of the energy", -0.5, 1.0, "a share of the energy, from -0.5 to 1")
LIFE = ValueKind("years", 1.0, 100.0, "a life from 1 to 100 years")
RATE = ValueKind("rate per year", -0.5, 1.0, "a real rate per year from -0.5 to 1")
PRICE = ValueKind("money per kWh", 0.0, 1e6, "a price per kWh, 0 or more")


@frozen_dataclass
class UncertainQuantity:
    """A kind of uncertain input, by its key in the plan's table [uncertainty].

    `size` is the standard uncertainty where neither the plan nor a stage states one, relative but
    for a rate (common practice, no source), `size_if_assumed` where the value itself is assumed;
    `left_out` says what else then holds. `kind` is the distribution by default.
    """

    key: str
    category: str
    words: str
    values: ValueKind = FACTOR
    size: float | None = None
    size_if_assumed: float | None = None
    left_out: str = ""
    kind: type[Lognormal | Normal | Triangular] = Lognormal
    example: dict[str, Any] = field(default_factory=lambda: {"standard_uncertainty": 0.05})

    @property
    def left_out_words(self) -> str:
        """What holds where the plan states nothing."""
        return self.left_out or _percent(self.size or 0.0)

    def around(self, central: float, size: float) -> InputDistribution:
        """Return the usual distribution around what the estimate takes.

        The standard uncertainty is relative where the values are factors, else in their own unit.
        """
        if self.kind is Triangular and size > 0:
            reach = 6**0.5 * size  # of a symmetric triangle (JCGM 101:2008, 6.4.5)
            return Triangular(central - reach, central, central + reach)
        # Where the uncertainty is larger than the value, zero is no wall.
        if self.kind is Lognormal and size < central:
            return Lognormal(central, size / central)
        return Normal(central, size)


def _percent(share: float) -> str:
    return f"{100 * share:g} %"


_KINDS = (
    UncertainQuantity("stated_mean", MEASUREMENT, "mean speed as stated", size=0.10),
    UncertainQuantity("anemometer", MEASUREMENT, "calibration of the anemometer", size=0.03,
        example={"standard_uncertainty": 0.01}),
    UncertainQuantity("mounting", MEASUREMENT, "mounting of the anemometer", size=0.02),
    UncertainQuantity("rounding", MEASUREMENT, "rounding of the readings",
        left_out="from the record"),
    UncertainQuantity("fit", MEASUREMENT, "fit of the distribution to the readings",
        left_out="from the fit"),
    UncertainQuantity(SPREAD, MEASUREMENT, "wind within daily or coarser means",
        left_out="from finer readings of the record or the references, else 20 % of the spread"),
    UncertainQuantity("shape", HISTORICAL, "shape of the speed distribution", size=0.10,
        size_if_assumed=0.15, left_out="from the fit; 10 % where stated, 15 % where assumed"),
    UncertainQuantity("sampling", HISTORICAL, "weather of the days in the record",
        left_out="from the record"),
    UncertainQuantity("seasons", HISTORICAL, "seasons that the record lacks",
        left_out="from the record"),
    UncertainQuantity("past_years", HISTORICAL, "record's years against the long term",
        left_out=f"{YEAR_TO_YEAR} over the root of the years"),
    UncertainQuantity("long_term", HISTORICAL, "relation to the long-term reference",
        left_out="from the reference"),
    UncertainQuantity("shear_exponent", VERTICAL, "height step", EXPONENT, kind=Normal,
        left_out="from the height step"),
    UncertainQuantity("exposure", HORIZONTAL, "surroundings: obstacles, roof, terrain", size=0.03,
        left_out="3 %, and what obstacles and roof state"),
    UncertainQuantity("coming_years", COMING, "a year against the long term", kind=Normal,
        size=YEAR_TO_YEAR.value, left_out=f"{YEAR_TO_YEAR}, or what a reference shows"),
    UncertainQuantity("density", PERFORMANCE, "air density", kind=Normal,
        left_out="from the air"),
    UncertainQuantity("curve", PERFORMANCE, "power curve, all bins together",
        left_out="from the curve"),
    UncertainQuantity("curve_bins", PERFORMANCE, "power curve, bin by bin", kind=Normal,
        left_out="from the curve"),
    *(
        UncertainQuantity(f"losses.{each.key}", PERFORMANCE, f"{each.name} loss", LOSS_SHARE,
            left_out=f"{_percent(ASSUMED_UNCERTAINTY)} of an assumed loss, "
            f"{_percent(STATED_UNCERTAINTY)} of a stated one",
            example={"uniform": [0.0, 2 * each.example]})
        for each in LOSS_CATEGORIES.values()
    ),
    UncertainQuantity("prices", MONEY, "prices of the parts bill", size=0.10,
        example={"triangular": [0.9, 1.0, 1.3]}),
    UncertainQuantity("maintenance", MONEY, "upkeep", size=0.25, size_if_assumed=0.5,
        left_out="25 % where stated, 50 % where assumed", example={"standard_uncertainty": 0.3}),
    UncertainQuantity("life_years", MONEY, "life of the build", LIFE, kind=Triangular,
        size=0.4 / 6**0.5, left_out="a triangle that reaches 40 % to either side",
        example={"triangular": [8, 12, 20]}),
    UncertainQuantity("discount_rate", MONEY, "real discount rate", RATE, kind=Normal, size=0.01,
        left_out="0.01", example={"standard_uncertainty": 0.02}),
    UncertainQuantity("price_per_kwh", MONEY, "worth of a kWh", PRICE, size=0.10,
        example={"values": [0.28, 0.30, 0.45]}),
)  # fmt: skip
QUANTITIES = {quantity.key: quantity for quantity in _KINDS}
"""Every kind of uncertain input, by its key in the plan's table [uncertainty].

A new one is an entry here, and what takes its values in `yieldest.model.uncertain`.
"""

SPEED_FACTORS = tuple(
    quantity.key
    for quantity in QUANTITIES.values()
    if quantity.category in (MEASUREMENT, HISTORICAL) and quantity.key not in ("shape", SPREAD)
)
"""Those that multiply every speed on site."""


class StatedDistribution(Settings):
    """The distribution of one uncertain input, stated in one of these ways."""

    standard_uncertainty: NotNegative | None = key(
        "standard deviation: the 90 % range reaches 1.645 of it to either side", 0.01
    )
    distribution: Literal["normal", "lognormal"] | None = key(
        "with standard_uncertainty: its shape",
        "normal",
        left_out="the usual one of the input, see uncertainty.md",
    )
    triangular: Annotated[list[float], Field(min_length=3, max_length=3)] | None = key(
        "or the lowest, the most likely and the highest value", [0.8, 1.0, 1.1]
    )
    uniform: Annotated[list[float], Field(min_length=2, max_length=2)] | None = key(
        "or the lowest and the highest, all between as likely", [0.9, 1.1]
    )
    values: Annotated[list[float], Field(min_length=1)] | None = key(
        "or one of these; written twice it counts double", [0.9, 1.0, 1.0, 1.2]
    )

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        ways = ("standard_uncertainty", "triangular", "uniform", "values")
        at_most_one(self, *ways)
        if all(getattr(self, way) is None for way in ways):
            raise ValueError(f"there is no distribution; state one of {', '.join(ways)}")
        if self.distribution is not None and self.standard_uncertainty is None:
            raise ValueError("distribution belongs to standard_uncertainty; state it too")
        for way in ("triangular", "uniform"):
            bounds = getattr(self, way)
            if bounds is not None and (sorted(bounds) != bounds or bounds[0] == bounds[-1]):
                raise ValueError(f"{way} is {bounds}; write the lowest first and the highest last")
        return self

    def around(self, quantity: UncertainQuantity, central: float) -> InputDistribution:
        """Return the distribution of a quantity that the estimate takes as `central`."""
        if self.triangular is not None:
            return Triangular(*self.triangular)
        if self.uniform is not None:
            return Uniform(*self.uniform)
        if self.values is not None:
            return ListedValues(tuple(self.values))
        size, kind = self.standard_uncertainty or 0.0, quantity.values
        found: InputDistribution
        if self.distribution == "normal":
            found = Normal(central, size)
        elif self.distribution == "lognormal":
            if central <= 0:
                raise InputError(
                    f"uncertainty.{quantity.key}: the estimate takes {central:g}, and what is "
                    "lognormal lies above zero; write normal instead."
                )
            found = Lognormal(central, size / central)
        else:
            found = quantity.around(central, size)
        # A wide one reaches winds, prices and lives that cannot be.
        ends = found.at([-FARTHEST, FARTHEST])
        if kind.low <= ends[0] and ends[1] <= kind.high:
            return found
        return CutOff(found, kind.low, kind.high)

    def beyond(self, kind: ValueKind) -> float | None:
        """Return a value that an input of that kind cannot have; None where there is none."""
        stated = (*(self.triangular or ()), *(self.uniform or ()), *(self.values or ()))
        return next((value for value in stated if not kind.low <= value <= kind.high), None)


@frozen_dataclass
class UncertainInput:
    """One uncertain input, as drawn.

    The name is its own: that of the quantity, a key of `QUANTITIES`, with the build or file behind
    it where builds differ. One draw takes so many standard normal `variates`: one, or one for each
    bin of a curve bin by bin.
    """

    name: str
    quantity: str
    distribution: InputDistribution
    source: str
    by_plan: bool = False
    variates: int = 1

    @property
    def category(self) -> str:
        """The category of IEC 61400-15."""
        return QUANTITIES[self.quantity].category

    @property
    def words(self) -> str:
        """The input for people, with the build or file it belongs to."""
        return QUANTITIES[self.quantity].words + self.name.removeprefix(self.quantity)


@frozen_dataclass
class StandardUncertainty:
    """A standard uncertainty that a stage states of the quantity that the estimate takes `central`.

    The size is relative, but absolute for a loss, a life, a rate and an exponent; an input of size
    0 is drawn only where the plan states it. It is `of` a build, file or bill, or shared by all.
    """

    quantity: str
    size: float = 0.0
    source: str = ""
    central: float = 1.0
    of: str = ""
    variates: int = 1

    @property
    def name(self) -> str:
        """The name of the input."""
        return f"{self.quantity} ({self.of})" if self.of else self.quantity


def usual(
    quantity: str, central: float = 1.0, of: str = "", *, assumed: bool = False
) -> StandardUncertainty:
    """Return what is taken of a quantity where neither the plan nor a stage states its uncertainty.

    `assumed` says that the value itself is.
    """
    known = QUANTITIES[quantity]
    size = known.size_if_assumed if assumed else known.size
    assert size is not None, f"{quantity} has no default"
    times = 1.0 if known.values is RATE else central
    return StandardUncertainty(quantity, size * times, COMMON_PRACTICE, central, of)


def drawn(
    stated: Iterable[StandardUncertainty], by_plan: Mapping[str, StatedDistribution]
) -> tuple[UncertainInput, ...]:
    """Return the inputs to draw, each once, with what the plan states in the place of the rest.

    In the order of `QUANTITIES`, the curve's bins last: the first dimensions of a Sobol sequence
    are the most even, so the long tail of bins that matter little one by one comes behind.
    """
    inputs = {}
    for each in stated:
        known, of_plan = QUANTITIES[each.quantity], by_plan.get(each.quantity)
        if of_plan is not None:
            taken, source = of_plan.around(known, each.central), "the plan"
        elif each.size > ROUNDING:
            taken, source = known.around(each.central, each.size), each.source
        else:
            continue
        inputs[each.name] = UncertainInput(
            each.name, each.quantity, taken, source, of_plan is not None, each.variates
        )
    order = list(QUANTITIES)
    return tuple(
        sorted(inputs.values(), key=lambda one: (one.variates > 1, order.index(one.quantity)))
    )
