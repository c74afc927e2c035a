"""A parts bill: what it comes to for a number of units, at first and over the years."""

from __future__ import annotations

import itertools
from collections.abc import Collection
from dataclasses import replace
from heapq import nlargest
from typing import TYPE_CHECKING

import numpy as np

from yieldest.economics.cash_flow import (
    Expenditure,
    cash_flow,
    cost_of_a_kwh,
    grant_of,
    in_nominal_terms,
    with_loan,
)
from yieldest.economics.evaluation import Cost, Embodied, ItemCost, measures_of_flow
from yieldest.economics.measures import present_value
from yieldest.economics.terms import EconomicTerms
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

    def times(self, count: int) -> float:
        """Return how often the line is needed for `count` units, as this build's share of it."""
        return (count if self.scope == "unit" else 1) / self.shared_by

    def pieces_bought(self, count: int) -> float:
        """Return the pieces bought for `count` units, waste included, whoever shares them."""
        return self.times(count) * self.shared_by * self.quantity * (1 + self.waste_share)

    def price_each(self, count: int) -> float:
        """Return the price of one piece, before tax, when buying for `count` units."""
        bought = self.pieces_bought(count)
        reached = [price for pieces, price in self.price_breaks if bought >= pieces]
        return reached[-1] if reached else self.unit_price

    def parts_cost(self, count: int) -> float:
        """Return what the pieces cost, with waste and tax."""
        bought = self.pieces_bought(count) / self.shared_by
        return bought * self.price_each(count) * (1 + self.tax_share)

    def paid_labour_cost(self, count: int) -> float:
        """Return what hired work costs, with tax."""
        return self.times(count) * self.paid_labour * (1 + self.tax_share)

    def own_hours(self, count: int) -> float:
        """Return the hours of own work."""
        return self.times(count) * self.labour_hours

    def cost(self, count: int, wage_per_hour: float) -> float:
        """Return what the line comes to for `count` units, all labour included."""
        own_labour = self.own_hours(count) * wage_per_hour
        return self.parts_cost(count) + self.paid_labour_cost(count) + own_labour

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

    def capital_cost(self, count: int, wage_per_hour: float) -> float:
        """Return what all the lines come to for `count` units."""
        return sum(item.cost(count, wage_per_hour) for item in self.items)

    def labour_hours(self, count: int) -> float:
        """Return the hours of own work for `count` units."""
        return sum(item.own_hours(count) for item in self.items)

    def cost_by_group(self, count: int, wage_per_hour: float) -> dict[str, float]:
        """Return the capital cost by group, dearest first; labour in groups of its own."""
        sums: dict[str, float] = {}
        for item in self.items:
            for group, cost in (
                (item.group or NO_GROUP, item.parts_cost(count)),
                (PAID_LABOUR, item.paid_labour_cost(count)),
                (OWN_LABOUR, item.own_hours(count) * wage_per_hour),
            ):
                if cost:
                    sums[group] = sums.get(group, 0.0) + cost
        return dict(sorted(sums.items(), key=lambda entry: -entry[1]))

    def dearest(self, count: int, wage_per_hour: float) -> tuple[ItemCost, ...]:
        """Return the five items that cost most, dearest first."""
        total = self.capital_cost(count, wage_per_hour)
        costs = [(item.name, item.cost(count, wage_per_hour)) for item in self.items]
        five = nlargest(5, costs, key=lambda entry: entry[1])
        return tuple(ItemCost(name, cost, cost / total) for name, cost in five if cost > 0)

    def expenditure(
        self, count: int, terms: EconomicTerms, wage_per_hour: float | None = None
    ) -> Expenditure:
        """Return what is paid and got back by year.

        Real terms: an item bought again costs what it costs today, its labour included. At the end
        of the build each piece brings its salvage share of the price, or its scrap value where no
        share is stated. The terms' share of the capital cost for upkeep comes on top of what the
        bill states, where it is not merely assumed; a wage given stands instead of theirs.
        """
        wage = terms.wage_per_hour if wage_per_hour is None else wage_per_hour
        replacements, in_years = np.zeros((2, terms.life_years + 1))
        capital = self.capital_cost(count, wage)
        by_share = terms.states("maintenance_share_per_year") or not self.states_maintenance
        per_year = terms.maintenance_share_per_year * capital if by_share else 0.0
        salvage = 0.0
        for item in self.items:
            times = item.times(count)
            scrap = times * item.quantity * item.scrap_value
            for year in item.replacement_years(terms.life_years):
                replacements[year] += item.cost(count, wage) - scrap
            per_year += times * item.maintenance_per_year
            for year, paid in item.maintenance_in_years:
                if year <= terms.life_years:
                    in_years[year] += times * paid
            if item.salvage_share is None:
                salvage += scrap
            else:
                salvage += times * item.quantity * item.price_each(count) * item.salvage_share
        return Expenditure(capital, replacements, per_year, in_years, salvage)

    def embodied(self, count: int, life_years: int) -> Embodied:
        """Return the energy and carbon that making the parts took, replacements included."""

        def total(figures: list[float | None]) -> float | None:
            parts = [
                item.pieces_bought(count)
                / item.shared_by
                * figure
                * (1 + len(item.replacement_years(life_years)))
                for item, figure in zip(self.items, figures, strict=True)
                if figure is not None
            ]
            return sum(parts) if parts else None

        energy = [item.embodied_kwh for item in self.items]
        carbon = [item.embodied_carbon_kg for item in self.items]
        missing = (energy.count(None), carbon.count(None))
        return Embodied(len(self.items), total(energy), total(carbon), *missing)

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
        terms = options_of(EconomicTerms, terms, stated)
        if terms.item_life == "required":
            self.require_lives()
        wage, hours = terms.wage_per_hour, self.labour_hours(count)
        paid, unpaid = (self.expenditure(count, terms, each) for each in (wage, 0.0))
        flow = cash_flow(paid, net_kwh, terms)
        per_hour = None
        if hours > 0 and terms.price_per_kwh is not None:
            gain = present_value(cash_flow(unpaid, net_kwh, terms).net, terms.discount_rate)
            per_hour = float(gain) / hours
        embodied = self.embodied(count, terms.life_years)
        measures, found = measures_of_flow(flow, paid, net_kwh, terms)
        paybacks, gaps = embodied.paybacks(net_kwh, terms)
        return Cost(
            capital_cost=paid.capital_cost,
            capital_cost_without_wage=unpaid.capital_cost,
            grant=float(grant_of(np.asarray(paid.capital_cost), terms)),
            labour_hours=hours,
            maintenance_per_year=paid.first_year_upkeep,
            by_group=self.cost_by_group(count, wage),
            dearest=self.dearest(count, wage),
            expenditure=paid,
            flow=flow,
            cost_per_kwh_without_wage=cost_of_a_kwh(unpaid, net_kwh, terms),
            return_to_own_labour_per_hour=per_hour,
            embodied=embodied,
            with_loan=with_loan(flow, terms),
            nominal=in_nominal_terms(flow, terms),
            provenance=Provenance(
                self.provenance.source,
                "discounted whole-life cost over discounted energy (Short, Packey & Holt 1995)",
                warnings=(*found, *gaps),
            ),
            **measures,
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
