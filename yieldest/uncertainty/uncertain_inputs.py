"""The uncertain inputs of an estimate: their categories, default spreads and sources."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from yieldest.energy.losses import LOSS_CATEGORIES
from yieldest.errors import InputError
from yieldest.uncertainty.distributions import (
    InputDistribution,
    Lognormal,
    Normal,
    Triangular,
    Uniform,
    Values,
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

OUR_CHOICE = "our choice"
COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Quantity:
    """A kind of uncertain input.

    Parameters
    ----------
    category : str
        One of `CATEGORIES`.
    words : str
        For people.
    takes : str
        What the values of a stated spread are: a factor on what was computed, or a unit.
    kind : type
        Distribution by default.
    """

    category: str
    words: str
    takes: str = "factor"
    kind: type[Lognormal | Normal | Triangular] = Lognormal


QUANTITIES: dict[str, Quantity] = {
    "stated_mean": Quantity(MEASUREMENT, "mean speed as stated"),
    "anemometer": Quantity(MEASUREMENT, "calibration of the anemometer"),
    "mounting": Quantity(MEASUREMENT, "mounting of the anemometer"),
    "rounding": Quantity(MEASUREMENT, "rounding of the readings"),
    "fit": Quantity(MEASUREMENT, "fit of the distribution to the readings"),
    "shape": Quantity(HISTORICAL, "shape of the speed distribution"),
    "sampling": Quantity(HISTORICAL, "weather of the days in the record"),
    "seasons": Quantity(HISTORICAL, "seasons that the record lacks"),
    "past_years": Quantity(HISTORICAL, "record's years against the long term"),
    "long_term": Quantity(HISTORICAL, "relation to the long-term reference"),
    "shear_exponent": Quantity(VERTICAL, "height step", "added to the exponent", Normal),
    "exposure": Quantity(HORIZONTAL, "surroundings: obstacles, roof, terrain"),
    "coming_years": Quantity(COMING, "a year against the long term", kind=Normal),
    "density": Quantity(PERFORMANCE, "air density", kind=Normal),
    "curve": Quantity(PERFORMANCE, "power curve, all bins together"),
    "curve_bins": Quantity(PERFORMANCE, "power curve, bin by bin", kind=Normal),
    **{
        f"losses.{category.key}": Quantity(
            PERFORMANCE, f"{category.name} loss", "share of the energy"
        )
        for category in LOSS_CATEGORIES.values()
    },
    "prices": Quantity(MONEY, "prices of the parts bill"),
    "maintenance": Quantity(MONEY, "upkeep"),
    "life_years": Quantity(MONEY, "life of the build", "years", Triangular),
    "discount_rate": Quantity(MONEY, "real discount rate", "rate per year", Normal),
    "price_per_kwh": Quantity(MONEY, "worth of a kWh", "money per kWh"),
}
"""Every kind of uncertain input, by its key in the plan's [uncertainty] section."""

SPEED_FACTORS = (
    "stated_mean",
    "anemometer",
    "mounting",
    "rounding",
    "fit",
    "sampling",
    "seasons",
    "past_years",
    "long_term",
)
"""Those that multiply every speed on site."""

ANEMOMETER = 0.03
MOUNTING = 0.02
STATED_MEAN = 0.10
ASSUMED_SHAPE, STATED_SHAPE = 0.15, 0.10
EXPOSURE = 0.03
PRICES = 0.10
ASSUMED_MAINTENANCE, STATED_MAINTENANCE = 0.5, 0.25
PRICE_PER_KWH = 0.10
DISCOUNT_RATE = 0.01
LIFE_SHARE = 0.4
CURVE_CORRELATION = 0.8
ALIKE_CORRELATION = 0.5
"""Defaults, relative standard uncertainties but for: the discount rate (absolute), the life (a
triangle that reaches so far to either side), the correlation between the errors of two bins of a
curve, and that between the same kind of error in two builds (all common practice, no source)."""


@dataclass(frozen=True)
class Stated:
    """A standard uncertainty that a stage states.

    Parameters
    ----------
    size : float
        Relative, but absolute for a loss, a life, a rate and an exponent.
    source : str
    """

    size: float
    source: str


@dataclass(frozen=True)
class Input:
    """One uncertain input, as drawn.

    Parameters
    ----------
    name : str
        Its own; that of the quantity, with the build or file behind it where builds differ.
    quantity : str
        A key of `QUANTITIES`.
    spread : InputDistribution
    source : str
    by_plan : bool
        Whether the plan states the spread.
    scores : int
        Standard normal numbers that one draw takes: one for each bin of a curve bin by bin.
    """

    name: str
    quantity: str
    spread: InputDistribution
    source: str
    by_plan: bool = False
    scores: int = 1

    @property
    def category(self) -> str:
        """The category of IEC 61400-15."""
        return QUANTITIES[self.quantity].category

    @property
    def words(self) -> str:
        """The input for people, with the build or file it belongs to."""
        return QUANTITIES[self.quantity].words + self.name.removeprefix(self.quantity)


def default_distribution(quantity: str, central: float, size: float) -> InputDistribution:
    """Return the usual distribution of a quantity around what the estimate takes.

    Parameters
    ----------
    quantity : str
        A key of `QUANTITIES`.
    central : float
    size : float
        Standard uncertainty: relative where the quantity is a factor, else in its own unit.
    """
    kind = QUANTITIES[quantity].kind
    if kind is Triangular and size > 0:
        reach = 6**0.5 * size  # of a symmetric triangle (JCGM 101:2008, 6.4.5)
        return Triangular(central - reach, central, central + reach)
    # Where the uncertainty is larger than the value, zero is no wall.
    if kind is Lognormal and size < central:
        return Lognormal(central, size / central)
    return Normal(central, size)


@dataclass(frozen=True)
class StatedDistribution:
    """A spread as the plan states it: exactly one of these.

    Parameters
    ----------
    standard_uncertainty : float or None
        Around what the estimate takes: relative where the quantity is a factor, else in its unit.
    distribution : {"normal", "lognormal"} or None
        With `standard_uncertainty`; None takes the usual one of the quantity.
    triangular : sequence of 3 float, or None
        Lowest, most likely, highest.
    uniform : sequence of 2 float, or None
    values : sequence of float, or None
    """

    standard_uncertainty: float | None = None
    distribution: str | None = None
    triangular: Sequence[float] | None = None
    uniform: Sequence[float] | None = None
    values: Sequence[float] | None = None

    def around(self, quantity: str, central: float) -> InputDistribution:
        """Return the distribution of a quantity that the estimate takes as `central`."""
        if self.triangular is not None:
            return Triangular(*self.triangular)
        if self.uniform is not None:
            return Uniform(*self.uniform)
        if self.values is not None:
            return Values(tuple(self.values))
        size = self.standard_uncertainty or 0.0
        if self.distribution == "normal":
            return Normal(central, size)
        if self.distribution == "lognormal":
            if central <= 0:
                raise InputError(
                    f"uncertainty.{quantity}: the estimate takes {central:g}, and what is "
                    "lognormal lies "
                    "above zero; write normal instead."
                )
            return Lognormal(central, size / central)
        return default_distribution(quantity, central, size)

    def nonsense(self, quantity: str) -> str | None:
        """Say which value is what the quantity cannot be; None where all can."""
        low, high, wish = _BOUNDS[QUANTITIES[quantity].takes]
        for value in (*(self.triangular or ()), *(self.uniform or ()), *(self.values or ())):
            if not low <= value <= high:
                return f"{value:g} is not {wish}"
        return None


_BOUNDS = {
    "factor": (0.01, 100.0, "a factor on what was computed (1 leaves it as it is)"),
    "added to the exponent": (-0.5, 0.5, "a number from -0.5 to 0.5 to add to the shear exponent"),
    "share of the energy": (-0.5, 1.0, "a share of the energy, from -0.5 to 1"),
    "years": (1.0, 100.0, "a life from 1 to 100 years"),
    "rate per year": (-0.5, 1.0, "a real rate per year from -0.5 to 1"),
    "money per kWh": (0.0, 1e6, "a price per kWh, 0 or more"),
}


class Gathered:
    """The inputs gathered so far, with what the plan states put in the place of the defaults.

    Parameters
    ----------
    by_plan : mapping of str to StatedDistribution
        By quantity.
    """

    def __init__(self, by_plan: Mapping[str, StatedDistribution]) -> None:
        self._by_plan = by_plan
        self._inputs: dict[str, Input] = {}

    def add(
        self, quantity: str, central: float, stated: Stated | None, of: str = "", scores: int = 1
    ) -> str:
        """Note an input, once for all who share it, and return its name.

        Parameters
        ----------
        quantity : str
        central : float
            What the one-plan estimate takes.
        stated : Stated or None
            The default spread. Without one, or with none to speak of, the input is drawn only
            where the plan states it.
        of : str
            The build, file or bill that the input belongs to; empty where all share it.
        scores : int
        """
        by_plan = self._by_plan.get(quantity)
        name = f"{quantity} ({of})" if of else quantity
        if by_plan is not None:
            spread = by_plan.around(quantity, central)
            self._inputs[name] = Input(name, quantity, spread, "the plan", True, scores)
        elif stated is not None and stated.size > 0:
            spread = default_distribution(quantity, central, stated.size)
            self._inputs[name] = Input(name, quantity, spread, stated.source, False, scores)
        return name

    @property
    def inputs(self) -> tuple[Input, ...]:
        """The inputs in the order of `QUANTITIES`, the curve's bins last.

        The first dimensions of a Sobol sequence are the most even, so the long tail of bins that
        matter little one by one comes behind.
        """
        order = list(QUANTITIES)
        return tuple(
            sorted(
                self._inputs.values(),
                key=lambda each: (each.scores > 1, order.index(each.quantity)),
            )
        )
