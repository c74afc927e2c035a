"""Every figure of a build once: key, words, unit, digits, what is better, and where it stands."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Literal

from yieldest.arrays import NOT_KNOWN, percent, rounded, whole
from yieldest.economics.prices import CURRENCY_SIGNS
from yieldest.economics.terms import EconomicTerms
from yieldest.frozen import frozen_dataclass
from yieldest.model.build_estimate import BuildEstimate
from yieldest.units import as_shown, number

Value = str | int | float | bool | None
View = Literal["decision", "energy", "money", "notebook", "years", "frame", "json", "csv", "sweep"]
"""The first screen (decision), the tables in full (energy, money, years), those of a notebook, data
frames, the results for machines, the CSV file, and the rows of a sweep."""
NEVER = "never"
NONE = "none"


def _always(terms: EconomicTerms) -> bool:
    return True


def _with_wage(terms: EconomicTerms) -> bool:
    return bool(terms.wage_per_hour)


def _partly_used(terms: EconomicTerms) -> bool:
    return terms.self_consumption_share < 1


@frozen_dataclass
class Quantity:
    """A figure of a build: a key of `--json`, a line of the tables, a column of a data frame.

    Parameters
    ----------
    key : str
        SI unit in the name.
    words : str
        Of its line in the tables; indented where it says more of the line above.
    unit : str
        With {currency} in its place; a share is written in per cent.
    value : callable
        The figure of a build; None where it cannot be had.
    where : frozenset of View
    meaning : str
        In words, for whoever reads the figure without the tables; `words` where left out.
    digits : int
        Significant digits in tables.
    form : str
        A format instead of significant digits.
    better : "higher", "lower" or None
    said : mapping of bool to str
        What is written for yes and no.
    rare : bool
        Whether its line is left out where no build has any of it.
    lacking : str
        What is written of a build with a cost and energy but no such figure.
    shown : callable
        Whether it is worth a line on these terms.
    strong : bool
        Whether it is what most readers look for.
    """

    key: str
    words: str
    unit: str
    value: Callable[[BuildEstimate], Value]
    where: frozenset[View]
    meaning: str = ""
    digits: int = 2
    form: str = ""
    better: Literal["higher", "lower"] | None = None
    said: Mapping[bool, str] | None = None
    rare: bool = False
    lacking: str = ""
    shown: Callable[[EconomicTerms], bool] = _always
    strong: bool = False

    @property
    def never(self) -> bool:
        """Whether a build with a cost and energy but no such figure never has it."""
        return self.lacking == NEVER

    def unit_in(self, currency: str) -> str:
        """Return the unit as tables write it, in the units of the reader."""
        unit = as_shown(0.0, self.unit)[1]
        return unit.format(currency=sign_of(currency)).removeprefix("share").strip()

    def named(self, currency: str) -> str:
        """Return words and unit, for the head of a column or a line without one for units."""
        unit = self.unit_in(currency)
        return f"{self.words.strip()} ({unit})" if unit else self.words.strip()

    def written(self, value: Value) -> str:
        """Write a value, rounded to what is known."""
        if value is None or isinstance(value, str):
            return value or NOT_KNOWN
        if self.said is not None:
            return self.said[bool(value)]
        if self.form:
            return number(value, self.unit, self.form)
        if self.unit.startswith("share"):
            return percent(value, self.digits)
        return (whole if self.digits > 2 else rounded)(value, self.digits)

    def amount(self, value: float | None, currency: str) -> str:
        """Write a sum of money in a sentence, in the digits of the tables."""
        return in_currency(value, currency, self.digits)

    def text(self, build: BuildEstimate, terms: EconomicTerms) -> str:
        """Write the figure of a build."""
        value = self.value(build)
        earns = build.cost is not None and build.energy.net_kwh > 0
        if value is None and self.lacking and terms.price_per_kwh is not None and earns:
            return self.lacking
        return self.written(value)


def drawn_as(key: str) -> str:
    """Return what the draws call the figure that a quantity's 90 % range is of."""
    return "one_year_kwh" if key == "net_kwh_per_year" else key


def sign_of(currency: str) -> str:
    """Return the sign of a currency, where it alone says which money it is, or else its code."""
    return CURRENCY_SIGNS.get(currency, currency)


def in_currency(value: float | None, currency: str, digits: int = 3) -> str:
    """Write an amount of money as people do: its sign in front, or else its code behind."""
    if value is None:
        return NOT_KNOWN
    amount = (whole if digits > 2 else rounded)(abs(value), digits)
    minus = "-" * (value < 0)
    sign = CURRENCY_SIGNS.get(currency)
    return f"{minus}{amount} {currency}" if sign is None else f"{minus}{sign}{amount}"


@frozen_dataclass
class Line:
    """A figure of all builds as the tables write it; `best` is the place of the best, if one is."""

    quantity: Quantity
    texts: tuple[str, ...]
    best: int | None


def quantities_of(view: View) -> Iterator[Quantity]:
    """Return what stands in a view, in order."""
    return (each for each in QUANTITIES if view in each.where)


def had_by(builds: Sequence[BuildEstimate], view: View) -> list[Quantity]:
    """Return what stands in a view and any of the builds has, or is said never to have."""
    return [
        each
        for each in quantities_of(view)
        if each.never or any(each.value(build) is not None for build in builds)
    ]


def lines_of(view: View, builds: Sequence[BuildEstimate], terms: EconomicTerms) -> list[Line]:
    """Return the lines of a table, without those that no build has a figure for."""
    lines = []
    for quantity in quantities_of(view):
        values = [quantity.value(build) for build in builds]
        texts = tuple(quantity.text(build, terms) for build in builds)
        had = any(values) if quantity.rare else any(value is not None for value in values)
        if quantity.shown(terms) and (had or quantity.lacking in texts):
            lines.append(Line(quantity, texts, _best(quantity, values, texts)))
    return lines


def _best(quantity: Quantity, values: Sequence[Value], texts: tuple[str, ...]) -> int | None:
    """Return which build is best, by what is printed; None where that is alike."""
    known = {i: value for i, value in enumerate(values) if isinstance(value, int | float)}
    if quantity.better is None or not known or len(values) < 2:
        return None
    best = (max if quantity.better == "higher" else min)(known, key=lambda i: known[i])
    return None if texts.count(texts[best]) > 1 else best


def _in(*views: View) -> frozenset[View]:
    return frozenset(views)


_MAIN = _in("money", "notebook", "frame", "json", "csv", "sweep")


def _of_cost(
    key: str,
    words: str,
    unit: str,
    meaning: str = "",
    where: frozenset[View] = _in("money", "notebook", "frame", "json"),
    better: Literal["higher", "lower"] | None = "lower",
    **more: object,
) -> Quantity:
    """Return a measure of money: a field of `Cost`, by its name."""

    def value(build: BuildEstimate) -> float | None:
        found: float | None = None if build.cost is None else getattr(build.cost, key)
        return found

    return Quantity(key, words, unit, value, where, meaning, better=better, **more)  # type: ignore[arg-type]


QUANTITIES = (
    Quantity(
        "site", "place", "", lambda b: b.place or None, _in("frame", "json", "csv"),
        "name of the place where it stands", form="s",
    ),
    Quantity(
        "count", "machines", "", lambda b: b.energy.count,
        _in("energy", "notebook", "frame", "json", "csv"), "number of machines", form="d",
    ),
    Quantity(
        "hub_height_m", "hub height", "m", lambda b: b.distribution.height_m,
        _in("energy", "notebook", "frame", "json"), "height of the hub above ground", form="g",
    ),
    Quantity(
        "hub_mean_speed_ms", "mean wind at the hub", "m/s", lambda b: b.distribution.mean_speed_ms,
        _in("energy", "notebook", "frame", "json"), "mean wind speed at the hub", form=".2f",
    ),
    Quantity(
        "air_density_kg_m3", "air density", "kg/m3", lambda b: b.air.density_kg_m3,
        _in("energy", "frame", "json"), "mean air density at the hub", form=".3f",
    ),
    Quantity(
        "rated_power_w", "rated power of one machine", "W", lambda b: b.curve.rated_power_w,
        _in("frame", "json"), digits=3,
    ),
    Quantity(
        "gross_kwh_per_year", "gross energy", "kWh/year", lambda b: b.energy.gross_kwh,
        _in("frame", "json"), "energy of a year before losses, all machines", digits=3,
    ),
    Quantity(
        "fitted_gross_kwh_per_year", "gross energy, fitted wind", "kWh/year",
        lambda b: b.energy.fitted_gross_kwh, _in("energy", "years", "json"), digits=3,
    ),
    Quantity(
        "time_series_gross_kwh_per_year", "gross energy, from the readings themselves", "kWh/year",
        lambda b: b.energy.time_series_gross_kwh, _in("energy", "years", "json"),
        digits=3,
    ),
    Quantity(
        "energy_from_time_series", "  used below", "", lambda b: b.energy.from_time_series,
        _in("energy", "json"), said={True: "readings", False: "fit"},
    ),
    Quantity(
        "curve_modelled", "power curve", "", lambda b: b.curve.modelled,
        _in("decision", "energy", "json"),
        said={True: "modelled", False: "given"}, rare=True,
    ),
    Quantity(
        "gross_kwh_extrapolated_per_year", "  of it above the last measured wind", "kWh/year",
        lambda b: b.energy.extrapolated_kwh, _in("energy", "json"), rare=True,
    ),
    Quantity(
        "idle_draw_kwh_per_year", "  drawn while idle", "kWh/year",
        lambda b: b.energy.idle_draw_kwh, _in("energy", "json"), rare=True,
    ),
    Quantity(
        "net_kwh_per_year", "net energy", "kWh/year", lambda b: b.energy.net_kwh,
        _MAIN | _in("decision", "energy", "years"), "energy of a year after losses, all machines",
        digits=3, better="higher", strong=True,
    ),
    Quantity(
        "inter_annual_low_net_kwh", "  calm year (1 in 20 is calmer)", "kWh/year",
        lambda b: b.energy.inter_annual_low_kwh, _in("energy", "years", "frame", "json"),
        "net energy of a year calmer than all but 1 in 20", digits=3,
    ),
    Quantity(
        "inter_annual_high_net_kwh", "  windy year (1 in 20 is windier)", "kWh/year",
        lambda b: b.energy.inter_annual_high_kwh, _in("energy", "years", "frame", "json"),
        "net energy of a year windier than all but 1 in 20", digits=3,
    ),
    Quantity(
        "net_kwh_per_year_of_each", "  of each machine", "kWh/year",
        lambda b: b.energy.net_kwh / b.energy.count, _in("energy", "notebook"),
        "net energy of a year, one machine", digits=3,
    ),
    Quantity(
        "self_consumption_share", "  of it used by yourself", "share",
        lambda b: None if b.self_consumption is None else b.self_consumption.used_share,
        _in("decision", "energy", "frame", "csv", "sweep"),
        "share of the net energy that replaces a bought kWh, hour by hour", better="higher",
    ),
    Quantity(
        "hours_without_power", "hours the house lacks power", "h/year",
        lambda b: None if b.self_consumption is None else b.self_consumption.hours_without_power,
        _in("decision", "energy", "frame", "csv", "sweep"), form=",.0f", better="lower",
    ),
    Quantity(
        "capacity_factor", "capacity factor", "share", lambda b: b.energy.capacity_factor,
        _in("energy", "notebook", "frame", "json"), "net energy over rated power all year round",
    ),
    Quantity(
        "hours_without_output", "hours making no power", "h/year",
        lambda b: b.energy.hours.without_output, _in("energy"), form=",.0f",
    ),
    Quantity(
        "hours_generating", "hours making power", "h/year", lambda b: b.energy.hours.generating,
        _in("energy", "notebook"), form=",.0f",
    ),
    Quantity(
        "hours_at_rated_power", "  of these at rated power", "h/year",
        lambda b: b.energy.hours.at_rated, _in("energy"), form=",.0f",
    ),
    Quantity(
        "hours_above_cut_out", "hours above cut-out", "h/year", lambda b: b.energy.hours.cut_out,
        _in("energy"), form=",.0f",
    ),
    _of_cost(
        "capital_cost", "cost to build", "{currency}", "what the build costs",
        _MAIN | _in("decision"), digits=4,
    ),
    _of_cost(
        "capital_cost_without_wage", "  own labour for nothing", "{currency}",
        "what the build costs, own labour for nothing", digits=4, shown=_with_wage,
    ),
    _of_cost(
        "grant", "grant", "{currency}", "money given in year 0", _in("frame", "json"),
        better="higher",
    ),
    _of_cost(
        "labour_hours", "own work", "hours", "own work to build it",
        _in("decision", "money", "notebook", "frame", "json"), digits=3,
    ),
    _of_cost(
        "maintenance_per_year", "upkeep (O&M), first year", "{currency}/year",
        "upkeep in the first year", digits=3,
    ),
    _of_cost(
        "cost_per_kwh", "cost per kWh", "{currency}/kWh",
        "discounted whole-life cost over discounted energy", _MAIN | _in("decision"), strong=True,
    ),
    _of_cost(
        "cost_per_kwh_by_capital_recovery", "  by capital recovery factor", "{currency}/kWh",
        "cost per kWh by the capital recovery factor",
    ),
    _of_cost(
        "cost_per_kwh_without_wage", "  own labour for nothing", "{currency}/kWh",
        "cost per kWh, own labour for nothing", shown=_with_wage,
    ),
    _of_cost(
        "cost_per_used_kwh", "cost per used kWh", "{currency}/kWh",
        "discounted cost less what sold kWh earn, over the discounted energy that is used",
        _in("decision", "money", "notebook", "frame", "json"), shown=_partly_used,
    ),
    _of_cost(
        "simple_payback_years", "simple payback", "years",
        "capital cost after grants over what the first year saves", lacking=NEVER,
    ),
    _of_cost(
        "payback_years", "payback, replacements counted", "years", where=_MAIN | _in("decision"),
        lacking=NEVER, strong=True,
    ),
    _of_cost(
        "discounted_payback_years", "discounted payback", "years",
        where=_MAIN - _in("sweep"), lacking=NEVER,
    ),
    _of_cost(
        "net_present_value", "net present value", "{currency}", where=_MAIN | _in("decision"),
        digits=3, better="higher",
    ),
    _of_cost(
        "internal_rate_of_return", "rate of return", "share per year",
        "internal rate of return per year", _MAIN - _in("sweep"), better="higher",
        lacking=NONE,
    ),
    _of_cost(
        "benefit_cost_ratio", "benefit over cost", "",
        "present value of what is earned over that of what is paid", better="higher",
    ),
    _of_cost(
        "return_to_own_labour_per_hour", "an hour of your work earns", "{currency}/hour",
        "what an hour of own work earns", better="higher",
    ),
    _of_cost(
        "energy_payback_years", "energy payback", "years", "embodied energy paid back"
    ),
    _of_cost(
        "carbon_payback_years", "carbon payback", "years", "embodied carbon paid back"
    ),
)  # fmt: skip
"""In the order of the tables. A new figure needs a line here, and a field that holds it."""
BY_KEY = {each.key: each for each in QUANTITIES}
