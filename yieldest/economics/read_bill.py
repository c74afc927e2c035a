"""Read a parts bill from a CSV file or a data frame."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from yieldest.arrays import FloatArray
from yieldest.economics.bill_of_materials import BillItem, BillOfMaterials
from yieldest.errors import InputError
from yieldest.files.table import Table, plain_heading, read_table, table_of_frame
from yieldest.provenance import Finding, Provenance

SCOPES = {"unit": "unit", "per unit": "unit", "array": "array", "per array": "array",
          "site": "site", "per site": "site"}  # fmt: skip
"""What an item is bought for: each machine, the whole array, or the site; by how it is written."""

_SUMS = frozenset({"total", "totals", "sum", "subtotal", "grand total", "total cost", "in all"})
"""Items that are no parts: what a spreadsheet writes below them."""

SHORTEST_LIFE_YEARS = 0.5
LARGEST_AMOUNT = 1e12
"""No amount on a parts bill is larger; a slip of the keyboard is."""


@dataclass(frozen=True)
class EveryItemPerUnit(Finding):
    """The bill has no scope column, so every item is needed for each machine."""

    file: str


@dataclass(frozen=True)
class ItemsLastAsBuild(Finding):
    """Some items state no life, and last as long as the build."""

    file: str
    items_without_life: int
    items: int


@dataclass(frozen=True)
class BillColumnsNotUsed(Finding):
    """Columns were passed over; one with lives or hours would make a kWh cost more."""

    file: str
    headings: tuple[str, ...]


@dataclass(frozen=True)
class PriceRisesWithNumber(Finding):
    """The price breaks of an item make it cost more when more are bought."""

    file: str
    item: str


@dataclass(frozen=True)
class _Column:
    """A column of a bill: what it holds, how it may be headed, and the units one of which must."""

    role: str
    names: tuple[str, ...]
    units: tuple[str, ...] = ()
    per_cent: bool = False
    signed: bool = False

    def find(self, table: Table, *, required: bool = False) -> str | None:
        """Return its heading; a unit that must be named would go wrong unnoticed."""
        heading = table.find(self.role, self.names, required=required)
        if heading is None or not self.units:
            return heading
        if not any(unit in heading.lower() for unit in self.units):
            raise InputError(
                f"{table.path}: the heading {heading!r} does not name its unit; write it as "
                f"'{self.role} ({self.units[0].replace('kwh', 'kWh')})'."
            )
        return heading

    def numbers(self, table: Table, heading: str, *, required: bool = False) -> FloatArray:
        """Return its values as shares or amounts, NaN where blank."""
        values = table.numbers(heading)
        for wrong, words in (
            (np.isnan(values) & required, "is missing in column {0!r}; fill it in"),
            (np.abs(values) > LARGEST_AMOUNT, "{1:g} in column {0!r} is beyond anything on a "
             "parts bill; mend it"),
            ((values < 0) & (not self.signed), "{1:g} in column {0!r} is below zero; mend it"),
        ):  # fmt: skip
            for row in np.flatnonzero(wrong):
                raise InputError(
                    f"{table.place(int(row))}: the {self.role} "
                    f"{words.format(heading, values[row])}."
                )
        return values / 100 if self.per_cent else values


_PERCENT = ("%", "percent")
_NUMBERS = {
    "quantity": _Column("quantity", ("quantity", "qty", "count", "number")),
    "unit_price": _Column("unit price", ("unit price", "price", "price each", "price per piece")),
    "life_years": _Column("life in years", ("life years", "life", "lifetime years", "years")),
    "labour_hours": _Column("labour hours", ("labour hours", "labor hours", "labour", "hours")),
    "tax_share": _Column("tax", ("tax percent", "tax"), _PERCENT, per_cent=True),
    "waste_share": _Column("waste", ("waste percent", "waste"), _PERCENT, per_cent=True),
    "salvage_share": _Column("salvage", ("salvage percent", "salvage"), _PERCENT, per_cent=True),
    "scrap_value": _Column("scrap value", ("scrap value", "scrap"), signed=True),
    "paid_labour": _Column("paid labour", ("paid labour", "paid labor", "hired labour")),
    "shared_by": _Column("number of builds that share it", ("shared by", "shared by builds")),
    "embodied_kwh": _Column(
        "embodied energy", ("embodied energy kwh", "embodied kwh", "embodied energy"), ("kwh",)
    ),
    "embodied_carbon_kg": _Column(
        "embodied carbon", ("embodied carbon kg", "embodied carbon"), ("kg",)
    ),
}
"""By the field of `BillItem` that they fill; a blank cell takes its default."""
_TEXTS = {
    "name": _Column("item", ("item", "part", "name", "what")),
    "scope": _Column("scope", ("scope", "per", "for")),
    "group": _Column("group", ("group", "kind")),
    "currency": _Column("currency", ("currency",)),
    "price_breaks": _Column("price breaks", ("price breaks", "price break")),
    "maintenance": _Column("upkeep", ("upkeep per year", "upkeep")),
}
_REQUIRED = ("name", "quantity", "unit_price")


def read_bill(
    source: str | PathLike[str] | pd.DataFrame, currency: str | None = None
) -> BillOfMaterials:
    """Read a parts bill from a CSV file or a data frame.

    Parameters
    ----------
    source : path or DataFrame
        Columns item, quantity and unit price, and any of: scope (per unit, per array, per site; per
        unit where blank), life in years, labour hours, group, currency, price breaks
        ("10:8.50 50:7.20": from 10 pieces on 8.50 each), tax (%), waste (%), salvage (%), scrap
        value, paid labour, shared by, upkeep per year (a sum, or "5:60 10:60" for single years),
        embodied energy (kWh), embodied carbon (kg).
    currency : str, optional
        The plan's; a bill that states another is refused.

    Raises
    ------
    InputError
        When a column or a price is missing, a value is text or negative, the currency is mixed or
        not the plan's, or price breaks do not increase.
    """
    if isinstance(source, pd.DataFrame):
        table: Table = table_of_frame(source, index="item")
    else:
        table = read_table(Path(source)).without_blank_rows()
    columns = {
        field: column.find(table, required=field in _REQUIRED)
        for field, column in {**_TEXTS, **_NUMBERS}.items()
    }
    texts = {
        field: [""] * len(table.frame) if heading is None else table.texts(heading)
        for field, heading in columns.items()
        if field in _TEXTS
    }
    _check_currency(table, texts["currency"], currency)
    for priced in filter(None, (columns["unit_price"], columns["paid_labour"])):
        prices = plain_prices(table.frame[priced], currency)
        table = replace(table, frame=table.frame.assign(**{priced: prices}))
    numbers = {
        field: column.numbers(table, heading, required=field in _REQUIRED)
        for field, column in _NUMBERS.items()
        if (heading := columns[field]) is not None
    }
    items = tuple(
        _item(
            table,
            row,
            {field: cells[row] for field, cells in texts.items()},
            {
                field: float(values[row])
                for field, values in numbers.items()
                if not np.isnan(values[row])
            },
        )
        for row in range(len(table.frame))
    )
    file, lifeless = table.path.name, sum(item.life_years is None for item in items)
    assumed: list[Finding] = [] if columns["scope"] is not None else [EveryItemPerUnit(file)]
    if lifeless:
        assumed.append(ItemsLastAsBuild(file, lifeless, len(items)))
    unused = tuple(heading for heading in table.headings if heading not in columns.values())
    return BillOfMaterials(
        items,
        Provenance(
            str(table.path),
            "sum of the lines of the bill, with waste and tax",
            tuple(assumed),
            (
                *((BillColumnsNotUsed(file, unused),) if unused else ()),
                *(PriceRisesWithNumber(file, item.name) for item in items if _price_rises(item)),
            ),
        ),
    )


def _check_currency(table: Table, cells: Iterable[str], currency: str | None) -> None:
    expected, origin = currency, "the plan"
    for row, text in enumerate(cells):
        if not text:
            continue
        if expected is None:
            expected, origin = text.upper(), "an earlier line"
        if text.upper() != expected:
            raise InputError(
                f"{table.place(row)}: the currency is {text!r}, but {origin} says {expected!r}; "
                "write every price in one currency."
            )


def _item(table: Table, row: int, texts: dict[str, str], numbers: dict[str, float]) -> BillItem:
    """Return the item of a row, refused where it cannot be one."""
    name, scope, place = texts["name"], texts["scope"], table.place(row)
    if not name:
        raise InputError(f"{place}: the item has no name; name it.")
    if plain_heading(name) in _SUMS:
        raise InputError(
            f"{place}: {name!r} looks like a sum of other lines, which would then count twice; "
            "take the line out, or put a # before it."
        )
    if numbers.get("life_years", SHORTEST_LIFE_YEARS) < SHORTEST_LIFE_YEARS:
        raise InputError(
            f"{place}: {name!r} lives less than half a year; put it in the upkeep instead, or mend "
            "the life."
        )
    if scope and scope.lower() not in SCOPES:
        raise InputError(
            f"{place}: {scope!r} is not a scope; write per unit, per array or per site."
        )
    if numbers.get("shared_by", 1.0) < 1:
        raise InputError(
            f"{place}: {name!r} is shared by {numbers['shared_by']:g} builds; write 1 or more, or "
            "leave it blank."
        )
    per_year, in_years = _maintenance(place, texts["maintenance"])
    fields: dict[str, Any] = {
        "name": name,
        "scope": SCOPES[scope.lower()] if scope else "unit",
        "group": texts["group"].lower(),
        "price_breaks": _steps(place, texts["price_breaks"], "price breaks", "pieces:price"),
        "maintenance_per_year": per_year,
        "maintenance_in_years": in_years,
        **numbers,
    }
    return BillItem(**fields)


def _steps(place: str, text: str, what: str, form: str) -> tuple[tuple[float, float], ...]:
    """Read "10:8.50 50:7.20" as pairs whose first numbers increase."""
    pairs: list[tuple[float, float]] = []
    for word in text.split():
        match = re.fullmatch(r"(\d+(?:\.\d+)?):(\d+(?:\.\d+)?)", word)
        if match is None:
            raise InputError(
                f"{place}: {word!r} in the {what} is not of the form {form}, as in "
                "10:8.50 50:7.20; mend it."
            )
        pair = (float(match[1]), float(match[2]))
        if max(pair) > LARGEST_AMOUNT:
            raise InputError(
                f"{place}: {word!r} in the {what} is beyond anything on a parts bill; mend it."
            )
        if pairs and pair[0] <= pairs[-1][0]:
            raise InputError(
                f"{place}: in the {what} {pair[0]:g} does not lie above {pairs[-1][0]:g}; write "
                "them in increasing order."
            )
        pairs.append(pair)
    return tuple(pairs)


def _maintenance(place: str, text: str) -> tuple[float, tuple[tuple[int, float], ...]]:
    """Read upkeep as a sum for each year, or as year:sum pairs."""
    if ":" in text:
        pairs = _steps(place, text, "upkeep", "year:sum")
        for year, _ in pairs:
            if year < 1 or year != int(year):
                raise InputError(
                    f"{place}: the upkeep names year {year:g}; years are whole numbers from 1 on."
                )
        return 0.0, tuple((int(year), paid) for year, paid in pairs)
    if text and re.fullmatch(r"\d{1,12}(?:\.\d+)?", text) is None:
        raise InputError(
            f"{place}: the upkeep {text!r} is neither a sum for each year, zero or more, nor a "
            "list such as 5:60 10:60; mend it."
        )
    return float(text or 0), ()


def _price_rises(item: BillItem) -> bool:
    prices = [item.unit_price, *(price for _, price in item.price_breaks)]
    return any(later > sooner for sooner, later in pairwise(prices))


_SIGNS = {
    "€": {"EUR"},
    "£": {"GBP"},
    "$": {"USD", "AUD", "CAD", "NZD", "HKD", "SGD", "MXN", "CLP", "COP", "ARS"},
    "¥": {"JPY", "CNY"},
    "₹": {"INR"},
    "kr": {"SEK", "NOK", "DKK", "ISK"},
    "zł": {"PLN"},
    "Kč": {"CZK"},
    "Fr.": {"CHF"},
}
"""Signs of currencies, and the ISO 4217 codes they stand for."""
_SIGN = "|".join([*map(re.escape, _SIGNS), "[A-Z]{3}"])
_PRICE = re.compile(rf"(?P<a>{_SIGN})?\s*(?P<n>-?\d[\d.,]*)\s*(?P<b>{_SIGN})?")
_COMMA_IS_DECIMAL = re.compile(r"-?(\d+|\d{1,3}(\.\d{3})+),\d{1,2}")
_POINT_IS_DECIMAL = re.compile(r"-?\d{1,3}(,\d{3})+\.\d{1,2}")


def plain_prices(cells: pd.Series[Any], currency: str | None) -> pd.Series[Any]:
    """Take signs of the currency and marks between thousands off the prices of a column.

    Numbers are left alone, and so is a text that is no price in this currency (ISO 4217; None for
    any) or that can be read in two ways, such as "1,134".
    """
    if cells.dtype.kind != "O":
        return cells
    return cells.map(lambda cell: _plain(cell, currency), na_action="ignore")


def _plain(cell: object, currency: str | None) -> object:
    match = _PRICE.fullmatch(str(cell).replace("\N{NO-BREAK SPACE}", " ").strip())
    if match is None:
        return cell
    for sign in filter(None, (match["a"], match["b"])):
        if currency is not None and currency not in _SIGNS.get(sign, {sign}):
            return cell
    number = match["n"]
    if _COMMA_IS_DECIMAL.fullmatch(number):
        return number.replace(".", "").replace(",", ".")
    if _POINT_IS_DECIMAL.fullmatch(number):
        return number.replace(",", "")
    return number
