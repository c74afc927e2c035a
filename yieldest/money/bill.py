"""A parts bill: reading it, and what it comes to for a number of units."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.provenance import Provenance
from yieldest.tables import Table, read_table

SCOPES = {"unit": "unit", "per unit": "unit", "array": "array", "per array": "array",
          "site": "site", "per site": "site"}  # fmt: skip
"""What an item is bought for: each machine, the whole array, or the site; by how it is written."""

_NAMES = {
    "item": ("item", "part", "name", "what"),
    "quantity": ("quantity", "qty", "count", "number"),
    "unit price": ("unit price", "price", "price each", "price per piece"),
    "scope": ("scope", "per", "for"),
    "life in years": ("life years", "life", "lifetime years", "years"),
    "labour hours": ("labour hours", "labor hours", "labour", "hours"),
}


@dataclass(frozen=True)
class BillItem:
    """One line of a bill.

    Parameters
    ----------
    name : str
    quantity : float
        Per unit, per array or per site, by `scope`.
    unit_price : float
    scope : {"unit", "array", "site"}
    life_years : float or None
        None lasts as long as the machine.
    labour_hours : float
        Own work, for the whole line at its scope.
    """

    name: str
    quantity: float
    unit_price: float
    scope: str
    life_years: float | None
    labour_hours: float

    def times(self, count: int) -> int:
        """Return how often the line is needed for `count` units."""
        return count if self.scope == "unit" else 1

    def cost(self, count: int, wage_per_hour: float) -> float:
        """Return what the line comes to for `count` units, labour at a wage included."""
        return self.times(count) * (
            self.quantity * self.unit_price + self.labour_hours * wage_per_hour
        )


@dataclass(frozen=True)
class Bill:
    """A parts bill.

    Parameters
    ----------
    items : tuple of BillItem
    provenance : Provenance
    """

    items: tuple[BillItem, ...]
    provenance: Provenance

    def capital_cost(self, count: int, wage_per_hour: float) -> float:
        """Return what all the lines come to for `count` units."""
        return sum(item.cost(count, wage_per_hour) for item in self.items)

    def labour_hours(self, count: int) -> float:
        """Return the hours of own work for `count` units."""
        return sum(item.times(count) * item.labour_hours for item in self.items)

    def replacement_costs(
        self, count: int, wage_per_hour: float, life_years: int
    ) -> tuple[float, ...]:
        """Return the cost of replacements in each year 0 to `life_years`.

        Parameters
        ----------
        count : int
        wage_per_hour : float
        life_years : int
            Of the build. Nothing is replaced in its last year.

        Notes
        -----
        An item of life L is bought again at the ends of years L, 2 L, ..., each rounded to the
        nearest whole year, at today's price (real terms), its labour included.
        """
        costs = [0.0] * (life_years + 1)
        for item in self.items:
            if item.life_years is not None:
                turn = item.life_years
                while round(turn) < life_years:
                    costs[max(1, round(turn))] += item.cost(count, wage_per_hour)
                    turn += item.life_years
        return tuple(costs)


def read_bill(path: Path) -> Bill:
    """Read a parts bill from a CSV file.

    Parameters
    ----------
    path : Path
        Columns item, quantity, unit price, and optionally scope (per unit, per array, per site;
        per unit where blank), life in years, labour hours.

    Raises
    ------
    InputError
        When a column or a price is missing, or a value is text or negative.
    """
    table = read_table(path)
    columns = {
        role: table.find(role, names, required=role in ("item", "quantity", "unit price"))
        for role, names in _NAMES.items()
    }
    items = table.texts(str(columns["item"]))
    quantity = _amounts(table, str(columns["quantity"]), "the quantity", required=True)
    price = _amounts(table, str(columns["unit price"]), "the price", required=True)
    life = _amounts(table, columns["life in years"], "the life")
    labour = _amounts(table, columns["labour hours"], "the labour")
    scopes = _scopes(table, columns["scope"])
    for row, name in enumerate(items):
        if not name:
            raise InputError(f"{path}, line {table.line(row)}: the item has no name; name it.")
        if life[row] < 0.5:
            raise InputError(
                f"{path}, line {table.line(row)}: {name!r} lives less than half a year; put it in "
                "the upkeep instead, or mend the life."
            )
    assumed = []
    if columns["scope"] is None:
        assumed.append(f"{path.name}: every item is needed per unit, for there is no scope column.")
    if np.isnan(life).any():
        assumed.append(
            f"{path.name}: {int(np.isnan(life).sum())} of {len(items)} items state no life and "
            "last as long as the build."
        )
    return Bill(
        items=tuple(
            BillItem(
                name=items[row],
                quantity=float(quantity[row]),
                unit_price=float(price[row]),
                scope=scopes[row],
                life_years=None if np.isnan(life[row]) else float(life[row]),
                labour_hours=0.0 if np.isnan(labour[row]) else float(labour[row]),
            )
            for row in range(len(items))
        ),
        provenance=Provenance(str(path), "sum of the lines of the bill", tuple(assumed)),
    )


def _amounts(table: Table, column: str | None, what: str, *, required: bool = False) -> FloatArray:
    if column is None:
        return np.full(len(table.frame), np.nan)
    values = table.numbers(column)
    for row in np.flatnonzero(np.isnan(values) if required else values < 0):
        raise InputError(
            f"{table.path}, line {table.line(int(row))}: {what} is "
            f"{'missing' if required else 'below zero'} in column {column!r}; fill it in."
        )
    for row in np.flatnonzero(values < 0):
        raise InputError(
            f"{table.path}, line {table.line(int(row))}: {what} {values[row]:g} in column "
            f"{column!r} is below zero; mend it."
        )
    return values


def _scopes(table: Table, column: str | None) -> list[str]:
    if column is None:
        return ["unit"] * len(table.frame)
    scopes = []
    for row, text in enumerate(table.texts(column)):
        if text and text.lower() not in SCOPES:
            raise InputError(
                f"{table.path}, line {table.line(row)}: {text!r} in column {column!r} is not a "
                "scope; write per unit, per array or per site."
            )
        scopes.append(SCOPES[text.lower()] if text else "unit")
    return scopes
