"""A parts bill: what it comes to for a number of units, at first and over the years."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats, numbers_or_none, of_each
from yieldest.economics.cash_flow import (
    Expenditure,
    Nominal,
    Prices,
    WithLoan,
    cash_flow,
    grant_of,
    in_nominal_terms,
    with_loan,
)
from yieldest.economics.evaluation import Cost, Embodied, ItemCost, doubts_of, measures_of_flow
from yieldest.economics.measures import cost_per_kwh, present_value, quotient
from yieldest.economics.terms import EconomicTerms, terms_of_all
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.html_repr import html_table
from yieldest.provenance import Provenance
from yieldest.settings import options_of

if TYPE_CHECKING:
    import pandas as pd

OWN_LABOUR, PAID_LABOUR, NO_GROUP = "own labour", "paid labour", "(no group stated)"
"""The groups that the tool makes itself, beside those that the bill names."""

ROTOR_GROUPS = frozenset({"rotor", "generator"})
"""What a cheaper rotor can save; everything else on a bill it cannot."""
SUPPORT_GROUPS = frozenset({"mast", "wiring", "converter"})
"""What carries the rotor and brings its power to the house."""


@frozen_dataclass
class BillItem:
    """One line of a bill.

    Parameters
    ----------
    quantity : float
        Per unit, per array or per site, by `scope`, as are the sums of money and the own work.
    unit_price, paid_labour : float
        Before tax.
    scope : {"unit", "array", "site"}
    life_years : float or None
        None lasts as long as the machine.
    labour_hours : float
        Own work.
    group : str
        What the item belongs to, in lower case; "" where the bill does not say.
    price_breaks : tuple of (float, float)
        (pieces, price): from so many pieces bought together on, each costs so much.
    waste_share : float
        Pieces bought beyond those needed.
    salvage_share : float or None
        Share of the price that a piece brings at the end of the build; None brings its scrap value.
    scrap_value : float
        Money for a worn-out piece; below zero where it costs money to be rid of.
    shared_by : float
        Number of builds that share the line, as tools are.
    maintenance_per_year, maintenance_in_years : float, tuple of (int, float)
        Money each year, and in single years on top.
    embodied_kwh, embodied_carbon_kg : float or None
        Energy and carbon dioxide that making one piece took.
    """

    name: str
    quantity: float
    unit_price: float
    scope: str = "unit"
    life_years: float | None = None
    labour_hours: float = 0.0
    group: str = ""
    price_breaks: tuple[tuple[float, float], ...] = ()
    tax_share: float = 0.0
    waste_share: float = 0.0
    salvage_share: float | None = None
    scrap_value: float = 0.0
    paid_labour: float = 0.0
    shared_by: float = 1.0
    maintenance_per_year: float = 0.0
    maintenance_in_years: tuple[tuple[int, float], ...] = ()
    embodied_kwh: float | None = None
    embodied_carbon_kg: float | None = None

    def times(self, count: npt.ArrayLike) -> FloatArray:
        """Return how often the line is needed for `count` units, as this build's share of it."""
        return np.asarray(floats(count if self.scope == "unit" else 1) / self.shared_by)

    def pieces_bought(self, count: npt.ArrayLike) -> FloatArray:
        """Return the pieces bought for `count` units, waste included, whoever shares them."""
        return self.times(count) * self.shared_by * self.quantity * (1 + self.waste_share)

    def price_each(self, count: npt.ArrayLike) -> FloatArray:
        """Return the price of one piece, before tax, when buying for `count` units."""
        bought, price = self.pieces_bought(count), floats(self.unit_price)
        for pieces, less in self.price_breaks:
            price = np.where(bought >= pieces, less, price)
        return price

    def parts_cost(self, count: npt.ArrayLike) -> FloatArray:
        """Return what the pieces cost, with waste and tax."""
        bought = self.pieces_bought(count) / self.shared_by
        return np.asarray(bought * self.price_each(count) * (1 + self.tax_share))

    def paid_labour_cost(self, count: npt.ArrayLike) -> FloatArray:
        """Return what hired work costs, with tax."""
        return self.times(count) * self.paid_labour * (1 + self.tax_share)

    def own_hours(self, count: npt.ArrayLike) -> FloatArray:
        """Return the hours of own work."""
        return self.times(count) * self.labour_hours

    def cost(self, count: npt.ArrayLike, wage_per_hour: npt.ArrayLike) -> FloatArray:
        """Return what the line comes to for `count` units, all labour included."""
        own_labour = self.own_hours(count) * floats(wage_per_hour)
        return np.asarray(self.parts_cost(count) + self.paid_labour_cost(count) + own_labour)

    def replacement_years(self, life_years: int) -> list[int]:
        """Return the years in which the line is bought again within the life of a build.

        At the ends of years L, 2 L, ... for an item of life L, each rounded to a whole year, and
        never in the build's last year.
        """
        if self.life_years is None:
            return []
        turns = itertools.count(self.life_years, self.life_years)
        years = (max(1, round(turn)) for turn in turns)
        return list(itertools.takewhile(lambda year: year < life_years, years))


@frozen_dataclass
class BillOfMaterials:
    """A parts bill: its items, and where they were read.

    Where it says of no item whether it is for each machine, `with_scopes` is the bill written out
    with what may be meant.
    """

    items: tuple[BillItem, ...]
    provenance: Provenance
    with_scopes: str = ""

    @property
    def states_maintenance(self) -> bool:
        """Whether any item states upkeep."""
        return any(item.maintenance_per_year or item.maintenance_in_years for item in self.items)

    @property
    def states_groups(self) -> bool:
        """Whether any item states its group."""
        return any(item.group for item in self.items)

    def without(self, groups: Collection[str]) -> BillOfMaterials:
        """Return the bill without the items of some groups."""
        return replace(self, items=tuple(item for item in self.items if item.group not in groups))

    def capital_cost(self, count: npt.ArrayLike, wage_per_hour: npt.ArrayLike) -> FloatArray:
        """Return what all the lines come to for `count` units."""
        return np.asarray(sum(item.cost(count, wage_per_hour) for item in self.items))

    def labour_hours(self, count: npt.ArrayLike) -> FloatArray:
        """Return the hours of own work for `count` units."""
        return np.asarray(sum(item.own_hours(count) for item in self.items))

    def cost_by_group(
        self, count: npt.ArrayLike, wage_per_hour: npt.ArrayLike
    ) -> dict[str, FloatArray]:
        """Return the capital cost by group; labour in groups of its own."""
        sums: dict[str, FloatArray] = {}
        for item in self.items:
            for group, cost in (
                (item.group or NO_GROUP, item.parts_cost(count)),
                (PAID_LABOUR, item.paid_labour_cost(count)),
                (OWN_LABOUR, item.own_hours(count) * floats(wage_per_hour)),
            ):
                if cost.any():
                    sums[group] = sums.get(group, 0.0) + cost
        return sums

    def expenditure(
        self,
        count: npt.ArrayLike,
        terms: EconomicTerms,
        wage_per_hour: npt.ArrayLike | None = None,
    ) -> Expenditure:
        """Return what is paid and got back by year.

        Real terms: an item bought again costs what it costs today, its labour included. At the end
        of the build each piece brings its salvage share of the price, or its scrap value where no
        share is stated. The terms' share of the capital cost for upkeep comes on top of what the
        bill states, where it is not merely assumed; a wage given stands instead of theirs. The
        counts, the wages and what of the terms matters here broadcast; the years are those of the
        longest life.
        """
        wage = floats(terms.wage_per_hour if wage_per_hour is None else wage_per_hour)
        life = np.asarray(terms.life_years)
        shape, longest = np.broadcast_shapes(np.shape(count), wage.shape, life.shape), life.max()
        replacements, in_years = np.zeros((2, *shape, longest + 1))
        capital = self.capital_cost(count, wage) + np.zeros(shape)
        by_share = terms.states("maintenance_share_per_year") or not self.states_maintenance
        per_year = (floats(terms.maintenance_share_per_year) if by_share else 0.0) * capital
        salvage = 0.0 * capital
        for item in self.items:
            times, cost = item.times(count), item.cost(count, wage)
            scrap = times * item.quantity * item.scrap_value
            for year in item.replacement_years(longest):
                replacements[..., year] += (cost - scrap) * (year < life)
            per_year = per_year + times * item.maintenance_per_year
            for year, paid in item.maintenance_in_years:
                if year <= longest:
                    in_years[..., year] += times * paid * (year <= life)
            if item.salvage_share is None:
                salvage = salvage + scrap
            else:
                price = item.price_each(count)
                salvage = salvage + times * item.quantity * price * item.salvage_share
        return Expenditure(capital, replacements, per_year, in_years, salvage)

    def dearest(
        self, counts: npt.ArrayLike, wage_per_hour: npt.ArrayLike
    ) -> list[tuple[ItemCost, ...]]:
        """Return for each of n counts the five items that cost most, dearest first."""
        costs = np.zeros((np.size(counts), len(self.items)))
        for place, item in enumerate(self.items):
            costs[:, place] = item.cost(counts, wage_per_hour)
        places = np.argsort(-costs, axis=-1, kind="stable")[:, :5]
        five = np.take_along_axis(costs, places, axis=-1)
        with np.errstate(invalid="ignore"):
            shares = five / costs.sum(axis=-1, keepdims=True)
        return [
            tuple(
                ItemCost(self.items[k].name, *sums)
                for k, *sums in zip(*of, strict=True)
                if sums[0] > 0
            )
            for of in zip(places.tolist(), five.tolist(), shares.tolist(), strict=True)
        ]

    def embodied(self, counts: npt.ArrayLike, life_years: npt.ArrayLike) -> list[Embodied]:
        """Return for each of n counts what making the parts took, replacements included."""
        size, life = np.size(counts), np.asarray(life_years)

        def total(figures: list[float | None]) -> list[float | None]:
            parts = [
                item.pieces_bought(counts)
                / item.shared_by
                * figure
                * (1 + sum(1 * (year < life) for year in item.replacement_years(life.max())))
                for item, figure in zip(self.items, figures, strict=True)
                if figure is not None
            ]
            return numbers_or_none(sum(parts) if parts else np.nan, size)

        energy = [item.embodied_kwh for item in self.items]
        carbon = [item.embodied_carbon_kg for item in self.items]
        missing = (energy.count(None), carbon.count(None))
        return [
            Embodied(len(self.items), *sums, *missing)
            for sums in zip(total(energy), total(carbon), strict=True)
        ]

    def require_scopes(self, count: int) -> None:
        """Raise an `InputError` where it matters which items are shared, and the bill is silent."""
        if count > 1 and self.with_scopes:
            raise InputError(
                f"{self.provenance.source}: there is no scope column, so it is open which parts "
                f"{count} machines share; paste the lines below over those of the bill and correct "
                'the last column, or state scope_default = "per unit" in the build if each machine '
                "needs every part.",
                self.with_scopes,
            )

    def require_lives(self) -> None:
        """Raise an `InputError` naming the first item that states no life."""
        for item in self.items:
            if item.life_years is None:
                raise InputError(
                    f"{self.provenance.source}: {item.name!r} states no life, and "
                    'economics.item_life = "required" asks for one; fill in its life in years.'
                )

    def evaluate(
        self,
        net_kwh: float,
        terms: EconomicTerms | None = None,
        *,
        count: int = 1,
        **stated: object,
    ) -> Cost:
        """Return what a build of `count` machines costs and earns.

        Parameters
        ----------
        net_kwh : float
            Of all the machines together, in the first year.
        terms : EconomicTerms, optional
        count : int
        **stated
            Keys of `EconomicTerms`, added to the terms.

        Raises
        ------
        InputError
            When a key of the terms is not known or cannot have its value, or when the terms ask
            for the life of every item and one states none.

        Examples
        --------
        >>> mast = BillItem("mast", quantity=1, unit_price=300)
        >>> rotor = BillItem("rotor", quantity=1, unit_price=500, life_years=8)
        >>> bill = BillOfMaterials((mast, rotor), Provenance("invented", "two items"))
        >>> cost = bill.evaluate(900, life_years=15, price_per_kwh=0.34)
        >>> round(cost.simple_payback_years, 2)
        2.76
        """
        (cost,) = self.evaluate_all([net_kwh], [options_of(EconomicTerms, terms, stated)], [count])
        return cost

    def evaluate_all(
        self, net_kwh: npt.ArrayLike, variants: Sequence[EconomicTerms], counts: npt.ArrayLike
    ) -> Iterator[Cost]:
        """Yield what `evaluate` says of n variants, computed together.

        Parameters
        ----------
        net_kwh, counts : array_like, shape (n,)
        variants : sequence of EconomicTerms
        """
        if any(each.item_life == "required" for each in variants):
            self.require_lives()
        terms, kwh = terms_of_all(variants), floats(net_kwh)
        wage, rate, hours = terms.wage_per_hour, terms.discount_rate, self.labour_hours(counts)
        prices = Prices(life_years=terms.life_years)
        paid, unpaid = (self.expenditure(counts, terms, each) for each in (wage, 0.0))
        flow, without = (cash_flow(each, kwh, terms, prices) for each in (paid, unpaid))
        measures, rates = measures_of_flow(flow, paid, kwh, terms)
        priced = terms.price_per_kwh is not None
        gain = present_value(without.net, rate) if priced else floats(np.nan)
        measures |= {
            "capital_cost": floats(paid.capital_cost),
            "capital_cost_without_wage": floats(unpaid.capital_cost),
            "grant": grant_of(floats(paid.capital_cost), terms),
            "labour_hours": hours,
            "maintenance_per_year": paid.first_year_upkeep,
            "cost_per_kwh_without_wage": cost_per_kwh(without.cost, without.energy_kwh, rate),
            "return_to_own_labour_per_hour": quotient(gain, hours),
        }
        of_loan, of_nominal = with_loan(flow, terms), in_nominal_terms(flow, terms)
        in_its_year = of_nominal.pop("flow", flow.net)
        groups = self.cost_by_group(counts, wage)
        size = kwh.size
        returns = np.broadcast_to(rates, kwh.shape).tolist()
        sums, by_group = of_each(measures, size), of_each(groups, size)
        loans, nominals = of_each(of_loan, size), of_each(of_nominal, size)
        dearest, embodied = self.dearest(counts, wage), self.embodied(counts, terms.life_years)
        for i, its in enumerate(variants):
            years, made = slice(its.life_years + 1), float(kwh[i])
            paybacks, gaps = embodied[i].paybacks(made, its)
            dear_first = sorted(by_group[i].items(), key=lambda entry: -entry[1])
            yield Cost(
                by_group={group: cost for group, cost in dear_first if cost},
                dearest=dearest[i],
                expenditure=paid.one(i, years),
                flow=flow.one(i, years),
                embodied=embodied[i],
                with_loan=WithLoan(**loans[i]) if of_loan else None,
                nominal=Nominal(flow=in_its_year[i, years], **nominals[i]) if of_nominal else None,
                provenance=Provenance(
                    self.provenance.source,
                    "discounted whole-life cost over discounted energy (Short, Packey & Holt 1995)",
                    warnings=(*doubts_of(sums[i], made, its, returns[i]), *gaps),
                ),
                **sums[i],
                **paybacks,
            )

    def to_frame(self) -> pd.DataFrame:
        """Return the items, a row for each."""
        import pandas as pd  # noqa: PLC0415 - slow to import, and not needed for the sums

        return pd.DataFrame([vars(item) for item in self.items])

    def _repr_html_(self) -> str:
        """Show the items in a notebook, with what each comes to for one machine."""
        return html_table(
            f"Parts bill, {len(self.items)} items, for one machine, own labour for nothing",
            [
                [one.name, f"{one.quantity:g}", f"{one.unit_price:.4g}", f"{one.cost(1, 0):.4g}"]
                for one in self.items
            ],
            heads=["quantity", "price each", "in all"],
        )
