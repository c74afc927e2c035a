"""Read a parts bill from a CSV file."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from yieldest.arrays import FloatArray, number_or_none
from yieldest.economics.bill_of_materials import BillItem, BillOfMaterials
from yieldest.economics.prices import plain_prices
from yieldest.errors import InputError
from yieldest.files.table import Table, plain_heading, read_table
from yieldest.provenance import Provenance

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
    "group": ("group", "kind"),
    "currency": ("currency",),
    "price breaks": ("price breaks", "price break"),
    "tax": ("tax percent", "tax"),
    "waste": ("waste percent", "waste"),
    "salvage": ("salvage percent", "salvage"),
    "scrap value": ("scrap value", "scrap"),
    "paid labour": ("paid labour", "paid labor", "hired labour"),
    "number of builds that share it": ("shared by", "shared by builds"),
    "upkeep": ("upkeep per year", "upkeep"),
    "embodied energy": ("embodied energy kwh", "embodied kwh", "embodied energy"),
    "embodied carbon": ("embodied carbon kg", "embodied carbon"),
}
_REQUIRED = ("item", "quantity", "unit price")
_UNIT_IN_HEADING = {
    "tax": ("%", "percent"),
    "waste": ("%", "percent"),
    "salvage": ("%", "percent"),
    "embodied energy": ("kwh",),
    "embodied carbon": ("kg",),
}
"""Columns whose heading must name the unit, for a wrong guess would go unnoticed."""

_SUMS = frozenset({"total", "totals", "sum", "subtotal", "grand total", "total cost", "in all"})
"""Items that are no parts: what a spreadsheet writes below them."""

SHORTEST_LIFE_YEARS = 0.5
LARGEST_AMOUNT = 1e12
"""No amount on a parts bill is larger; a slip of the keyboard is."""


def read_bill(path: Path, currency: str | None = None) -> BillOfMaterials:
    """Read a parts bill from a CSV file.

    Parameters
    ----------
    path : Path
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
    table = read_table(path).without_blank_rows()
    columns = {role: table.find(role, names, required=role in _REQUIRED)
               for role, names in _NAMES.items()}  # fmt: skip
    for role, units in _UNIT_IN_HEADING.items():
        heading = columns[role]
        if heading is not None and not any(unit in heading.lower() for unit in units):
            raise InputError(
                f"{path}: the heading {heading!r} does not name its unit; write it as "
                f"'{role} ({units[0].replace('kwh', 'kWh')})'."
            )
    _check_currency(table, columns["currency"], currency)
    for heading in filter(None, (columns["unit price"], columns["paid labour"])):
        prices = plain_prices(table.frame[heading], currency)
        table = replace(table, frame=table.frame.assign(**{heading: prices}))

    def amounts(role: str, default: float = 0.0) -> FloatArray:
        return _amounts(table, columns[role], role, default, required=role in _REQUIRED)

    names, groups = table.texts(str(columns["item"])), _texts(table, columns["group"])
    scopes, life = _scopes(table, columns["scope"]), amounts("life in years", np.nan)
    _check_lines(table, names, life)
    quantity, price, labour = amounts("quantity"), amounts("unit price"), amounts("labour hours")
    breaks = [_steps(table, row, text, "price breaks", "pieces:price")
              for row, text in enumerate(_texts(table, columns["price breaks"]))]  # fmt: skip
    tax, waste = amounts("tax") / 100, amounts("waste") / 100
    salvage = amounts("salvage", np.nan) / 100
    scrap = np.zeros(len(names))
    if columns["scrap value"] is not None:
        scrap = np.nan_to_num(table.numbers(columns["scrap value"]))
        _refuse_large(table, columns["scrap value"], scrap)
    paid, shared = amounts("paid labour"), amounts("number of builds that share it", 1.0)
    upkeep = [_upkeep(table, row, text)
              for row, text in enumerate(_texts(table, columns["upkeep"]))]  # fmt: skip
    energy, carbon = amounts("embodied energy", np.nan), amounts("embodied carbon", np.nan)
    for row in np.flatnonzero(shared < 1):
        raise InputError(
            f"{path}, line {table.line(int(row))}: {names[row]!r} is shared by {shared[row]:g} "
            "builds; write 1 or more, or leave it blank."
        )

    assumed = []
    if columns["scope"] is None:
        assumed.append(f"{path.name}: every item is needed per unit, for there is no scope column.")
    if np.isnan(life).any():
        assumed.append(
            f"{path.name}: {int(np.isnan(life).sum())} of {len(names)} items state no life and "
            "last as long as the build."
        )
    return BillOfMaterials(
        items=tuple(
            BillItem(
                name=names[row],
                quantity=float(quantity[row]),
                unit_price=float(price[row]),
                scope=scopes[row],
                life_years=number_or_none(life[row]),
                labour_hours=float(labour[row]),
                group=groups[row].lower(),
                price_breaks=breaks[row],
                tax_share=float(tax[row]),
                waste_share=float(waste[row]),
                salvage_share=number_or_none(salvage[row]),
                scrap_value=float(scrap[row]),
                paid_labour=float(paid[row]),
                shared_by=float(shared[row]),
                maintenance_per_year=upkeep[row][0],
                maintenance_in_years=upkeep[row][1],
                embodied_kwh=number_or_none(energy[row]),
                embodied_carbon_kg=number_or_none(carbon[row]),
            )
            for row in range(len(names))
        ),
        provenance=Provenance(
            str(path),
            "sum of the lines of the bill, with waste and tax",
            tuple(assumed),
            (
                *_unused(table, columns.values()),
                *_dearer_breaks(path, names, price, breaks),
            ),
        ),
    )


def _unused(table: Table, used: Iterable[str | None]) -> list[str]:
    """Name the columns that were passed over: one with lives or hours would make a kWh dearer."""
    unused = set(table.headings) - set(used)
    if not unused:
        return []
    names = ", ".join(repr(heading) for heading in table.headings if heading in unused)
    return [
        f"{table.path.name}: columns not used: {names}; if one holds a scope, a life or hours of "
        "work, head it as docs/bill.md says."
    ]


def _texts(table: Table, column: str | None) -> list[str]:
    return [""] * len(table.frame) if column is None else table.texts(column)


def _check_currency(table: Table, column: str | None, currency: str | None) -> None:
    expected, origin = currency, "the plan"
    for row, text in enumerate(_texts(table, column)):
        if not text:
            continue
        if expected is None:
            expected, origin = text.upper(), "an earlier line"
        if text.upper() != expected:
            raise InputError(
                f"{table.path}, line {table.line(row)}: the currency is {text!r}, but {origin} "
                f"says {expected!r}; write every price in one currency."
            )


def _check_lines(table: Table, names: list[str], life: FloatArray) -> None:
    for row, name in enumerate(names):
        if not name:
            raise InputError(
                f"{table.path}, line {table.line(row)}: the item has no name; name it."
            )
        if plain_heading(name) in _SUMS:
            raise InputError(
                f"{table.path}, line {table.line(row)}: {name!r} looks like a sum of other lines, "
                "which would then count twice; take the line out, or put a # before it."
            )
        if life[row] < SHORTEST_LIFE_YEARS:
            raise InputError(
                f"{table.path}, line {table.line(row)}: {name!r} lives less than half a year; put "
                "it in the upkeep instead, or mend the life."
            )


def _amounts(
    table: Table, column: str | None, what: str, default: float, *, required: bool
) -> FloatArray:
    if column is None:
        return np.full(len(table.frame), default)
    values = table.numbers(column)
    if required and np.isnan(values).any():
        row = int(np.argmax(np.isnan(values)))
        raise InputError(
            f"{table.path}, line {table.line(row)}: the {what} is missing in column {column!r}; "
            "fill it in."
        )
    _refuse_large(table, column, values)
    if (values < 0).any():
        row = int(np.argmax(values < 0))
        raise InputError(
            f"{table.path}, line {table.line(row)}: the {what} {values[row]:g} in column "
            f"{column!r} is below zero; mend it."
        )
    return np.where(np.isnan(values), default, values)


def _refuse_large(table: Table, column: str, values: FloatArray) -> None:
    large = np.abs(values) > LARGEST_AMOUNT
    if large.any():
        row = int(np.argmax(large))
        raise InputError(
            f"{table.path}, line {table.line(row)}: {values[row]:g} in column {column!r} is beyond "
            "anything on a parts bill; mend it."
        )


def _scopes(table: Table, column: str | None) -> list[str]:
    scopes = []
    for row, text in enumerate(_texts(table, column)):
        if text and text.lower() not in SCOPES:
            raise InputError(
                f"{table.path}, line {table.line(row)}: {text!r} in column {column!r} is not a "
                "scope; write per unit, per array or per site."
            )
        scopes.append(SCOPES[text.lower()] if text else "unit")
    return scopes


def _steps(
    table: Table, row: int, text: str, what: str, form: str
) -> tuple[tuple[float, float], ...]:
    """Read "10:8.50 50:7.20" as pairs whose first numbers increase."""
    pairs: list[tuple[float, float]] = []
    for word in text.split():
        match = re.fullmatch(r"(\d+(?:\.\d+)?):(\d+(?:\.\d+)?)", word)
        if match is None:
            raise InputError(
                f"{table.path}, line {table.line(row)}: {word!r} in the {what} is not of the form "
                f"{form}, as in 10:8.50 50:7.20; mend it."
            )
        pair = (float(match[1]), float(match[2]))
        if max(pair) > LARGEST_AMOUNT:
            raise InputError(
                f"{table.path}, line {table.line(row)}: {word!r} in the {what} is beyond anything "
                "on a parts bill; mend it."
            )
        if pairs and pair[0] <= pairs[-1][0]:
            raise InputError(
                f"{table.path}, line {table.line(row)}: in the {what} {pair[0]:g} does not lie "
                f"above {pairs[-1][0]:g}; write them in increasing order."
            )
        pairs.append(pair)
    return tuple(pairs)


def _upkeep(table: Table, row: int, text: str) -> tuple[float, tuple[tuple[int, float], ...]]:
    """Read upkeep as a sum for each year, or as year:sum pairs."""
    if ":" in text:
        pairs = _steps(table, row, text, "upkeep", "year:sum")
        for year, _ in pairs:
            if year < 1 or year != int(year):
                raise InputError(
                    f"{table.path}, line {table.line(row)}: the upkeep names year {year:g}; years "
                    "are whole numbers from 1 on."
                )
        return 0.0, tuple((int(year), paid) for year, paid in pairs)
    if not text:
        return 0.0, ()
    if re.fullmatch(r"\d{1,12}(?:\.\d+)?", text) is None:
        raise InputError(
            f"{table.path}, line {table.line(row)}: the upkeep {text!r} is neither a sum for each "
            "year, zero or more, nor a list such as 5:60 10:60; mend it."
        )
    return float(text), ()


def _dearer_breaks(
    path: Path,
    names: list[str],
    prices: FloatArray,
    breaks: list[tuple[tuple[float, float], ...]],
) -> list[str]:
    return [
        f"{path.name}: the price of {name!r} goes up when more are bought; look at its price "
        "breaks."
        for name, price, steps in zip(names, prices, breaks, strict=True)
        if any(later > sooner for sooner, later in pairwise([price, *(step[1] for step in steps)]))
    ]
