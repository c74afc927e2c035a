"""Read a parts bill from a CSV file, a spreadsheet or a data frame."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from itertools import islice, pairwise
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from yieldest.arrays import FloatArray
from yieldest.defaults import WORKING_DAY, Assumed
from yieldest.economics.bill_columns import (
    COLUMNS,
    EITHER,
    FREE_WORDED,
    LARGEST_AMOUNT,
    LINE_TOTAL,
    NOTES,
    NUMBERS,
    TEXTS,
    another_currency,
    price_in,
    title_currencies,
)
from yieldest.economics.bill_of_materials import BillItem, BillOfMaterials
from yieldest.economics.prices import decimal_mark
from yieldest.errors import InputError
from yieldest.files.dialect import carries_data, split_line
from yieldest.files.table import Table, plain_heading, read_table, table_of_frame
from yieldest.files.text_file import open_text
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Provenance

SCOPES = {
    f"{each}{one}": scope
    for scope, ones in {
        "unit": ("unit", "machine", "turbine"), "array": ("array",), "site": ("site",)
    }.items()
    for one in ones
    for each in ("", "per ", "each ")
}  # fmt: skip
"""What an item is bought for: each machine, the whole array, or the site; by how it is written."""

_SUMS = re.compile(
    r"((sub|grand|net|gross|cart|order|netto|brutto|sous|final) ?)?(total|sum)s?"
    r"( (of|for|in|all|costs?|prices?|parts|materials?|labour|before|after|without|with|net|gross"
    r"|ex|excl|excluding|incl?|including|general|parcial|partiel|ht|ttc|due|eur|gbp|usd)\b.*)?"
    r"|(zwischen|end|gesamt|netto|brutto|rechnungs|teil)(summe|betrag)( .*)?|summe( .*)?"
    r"|gesamt(kosten|preis)?( .*)?|insgesamt|in all|parts total|montant total( .*)?|somme|razem"
    r"|suma( (czesciowa|parcial|total))?|importe total|subtotale|totale( (parziale|generale))?"
    r"|(sub)?totaal( .*)?|(del|slut)?summa( .*)?|soma( (parcial|total))?|i alt|ialt"
)
"""Items that are no parts: what a spreadsheet writes below them, as plain headings."""
_TAXES = re.compile(
    r"(plus |zzgl |inkl |incl |sales )?(\d+ )*(vat|mwst|ust|mehrwertsteuer|umsatzsteuer|tva|iva|btw"
    r"|moms|mva|gst|sales tax|value added tax|tax)\b.*"
)
_DISCOUNTS = re.compile(
    r"\b(discount|rebate|rabatt|skonto|remise|rabais|descuento|sconto|korting|desconto)\b"
)
_CARRIAGE = re.compile(
    r"\b(shipping|delivery|postage|carriage|freight|p p|p and p|versand(kosten)?|lieferung|porto"
    r"|fracht|livraison|frais de port|port|envio|portes|spedizione|verzend(ing|kosten)|frakt)\b"
)
"""Lines with a price and no quantity: taxes and discounts are no parts, carriage is one piece."""
_ONCE = re.compile(
    r"charge|controller|inverter|converter|rectifier|batter|dump|grid|meter|cable|trench|wiring"
    r"|breaker|switchboard|wechselrichter|laderegler|akku|kabel"
)
"""Items that several machines mostly have in common, for a proposal."""
_OF_THE_SITE = re.compile(
    r"tool|lathe|drill|jig|mould|mold|crane|permit|fee|survey|transport|engineer|werkzeug|kran|"
    + _CARRIAGE.pattern
)

SHORTEST_LIFE_YEARS = 0.5


class EveryItemPerUnit(Finding):
    """The bill has no scope column, so every item is needed for each machine."""

    file: str


class SumApart(Finding):
    """A sum on the bill, which is not counted, is not what its lines come to."""

    place: str
    name: str
    stated: float
    computed: float


class ItemsLastAsBuild(Finding):
    """Some items state no life, and last as long as the build."""

    file: str
    items_without_life: int
    items: int


class CarriageCountedOnce(Finding):
    """A line for carriage states no quantity and is taken as one piece."""

    place: str
    name: str
    scope: str


class PricesBeforeTax(Finding):
    """A heading says that its prices are without tax, and the bill has no column for the tax."""

    file: str
    heading: str


class BillColumnsNotUsed(Finding):
    """Columns were passed over; one with lives or hours would make a kWh cost more."""

    file: str
    headings: tuple[str, ...]


class PriceRisesWithNumber(Finding):
    """The price breaks of an item make it cost more when more are bought."""

    file: str
    item: str


def read_bill(
    source: str | PathLike[str] | pd.DataFrame,
    currency: str | None = None,
    scope_default: str | None = None,
) -> BillOfMaterials:
    """Read a parts bill from a CSV file, a spreadsheet or a data frame.

    Parameters
    ----------
    source : path or DataFrame
        Columns item, quantity and unit price (or the total of the line), and any of: scope (per
        unit, per array, per site), life in years (or months), labour hours (or min, days), group,
        currency, price breaks ("10:8.50 50:7.20": from 10 pieces on 8.50 each), tax (%), waste (%),
        salvage (%), scrap value, paid labour, shared by, upkeep per year (a sum, or "5:60 10:60"
        for single years), embodied energy (kWh), embodied carbon (kg).
    currency : str, optional
        The plan's; a bill that states another is refused.
    scope_default : {"per unit", "per array", "per site"}, optional
        What an item is for whose line does not say.

    Raises
    ------
    InputError
        When a column or a price is missing, a value is text, negative or can be read in two ways,
        the currency is mixed or not the plan's, or price breaks do not increase.
    """
    if isinstance(source, pd.DataFrame):
        table: Table = table_of_frame(source, index="item")
    else:
        table = read_table(Path(source), as_text=True).without_blank_rows()
    if currency is not None and table.layout.heading_line > 1:
        _check_titles(table, currency)
    columns, total = _find_columns(table, currency)
    table, sums = _without_sums(table, columns["name"])
    table, carriage = _with_carriage(table, columns, total)
    texts = {
        name: [""] * len(table.frame) if heading is None else table.texts(heading)
        for name in TEXTS
        for heading in (columns[name],)
    }
    _check_currency(table, texts["currency"], currency)
    numbers, apart = _numbers(table, sums, columns, total, currency)
    default = "unit" if scope_default is None else SCOPES[scope_default]
    items = tuple(
        _item(
            table.places[row],
            {name: cells[row] for name, cells in texts.items()},
            {name: float(each) for name, cells in numbers.items() if (each := cells[row]) == each},
            default,
        )
        for row in range(len(table.frame))
    )
    file, lifeless = table.path.name, sum(item.life_years is None for item in items)
    assumed: list[Finding] = []
    open_scope = columns["scope"] is None and scope_default is None
    if open_scope:
        assumed.append(EveryItemPerUnit(file))
    if lifeless:
        assumed.append(ItemsLastAsBuild(file, lifeless, len(items)))
    hours = columns["labour_hours"]
    if hours and NUMBERS["labour_hours"].factor(hours) == WORKING_DAY.value:
        assumed.append(Assumed(WORKING_DAY))
    assumed += [
        CarriageCountedOnce(table.place(row), items[row].name, items[row].scope) for row in carriage
    ]
    return BillOfMaterials(
        items,
        Provenance(
            str(table.path),
            "sum of the lines of the bill, with waste and tax",
            tuple(assumed),
            (
                *_not_used(table, (*columns.values(), total)),
                *_without_tax(table, columns, total),
                *apart,
                *(PriceRisesWithNumber(file, item.name) for item in items if _price_rises(item)),
            ),
        ),
        _with_scopes(table, items) if open_scope else "",
    )


def _not_used(table: Table, used: Collection[str | None]) -> list[Finding]:
    """Return the columns that are passed over, but for notes."""
    unused = tuple(h for h in table.headings if h not in used and plain_heading(h) not in NOTES)
    return [BillColumnsNotUsed(table.path.name, unused)] if unused else []


def _find_columns(table: Table, currency: str | None) -> tuple[dict[str, str | None], str | None]:
    """Return the headings by field, and that of the totals of lines."""
    columns = {name: column.find(table) for name, column in COLUMNS.items()}
    free = replace(table, frame=table.frame.drop(columns=list(filter(None, columns.values()))))
    total = LINE_TOTAL.find(free)
    needed = ("name", "quantity", *(() if total else ("unit_price",)))
    if missing := [COLUMNS[name].role for name in needed if columns[name] is None]:
        raise InputError(
            f"{table.path}: no column was recognised as the {' or the '.join(missing)}; the "
            f"columns are {', '.join(map(repr, table.headings))}; head them so (docs/bill.md has "
            "other words), and put a # before any line above the headings."
        )
    for name, heading in (*columns.items(), ("total", total)):
        if heading is not None and name not in FREE_WORDED:
            COLUMNS.get(name, LINE_TOTAL).check(table, heading, currency)
    return columns, total


def _numbers(
    table: Table,
    sums: Table,
    columns: Mapping[str, str | None],
    total: str | None,
    currency: str | None,
) -> tuple[dict[str, FloatArray], list[Finding]]:
    """Return the numbers of the items by field, and the sums that are apart from them."""
    numeric = [(name, heading) for name in NUMBERS if (heading := columns[name]) is not None]
    mark = decimal_mark(
        match["number"]
        for heading in (*(heading for _, heading in numeric), *filter(None, (total,)))
        for cell in table.texts(heading)
        if (match := price_in(cell))
    )
    numbers = {
        name: NUMBERS[name].numbers(table, heading, mark, currency) for name, heading in numeric
    }
    priced = _Priced(table, sums, columns["unit_price"], total, mark, currency)
    numbers["unit_price"], apart = priced.prices(numbers)
    for name, heading in (
        ("quantity", columns["quantity"]),
        ("unit_price", columns["unit_price"] or total),
    ):
        for row in np.flatnonzero(np.isnan(numbers[name])):
            raise InputError(
                f"{table.place(int(row))}: the {NUMBERS[name].role} is missing in column "
                f"{heading!r}; fill it in."
            )
    return numbers, apart


def _without_sums(table: Table, heading: str | None) -> tuple[Table, Table]:
    """Part the lines that are parts from those that are sums of them."""
    names = table.texts(str(heading))
    others = table.frame.drop(columns=[heading])
    others = others.astype(object).where(others.notna(), "").astype(str)
    is_sum = np.array(
        [
            any(_SUMS.fullmatch(plain_heading(text)) for text in ([name] if name else cells))
            for name, cells in zip(names, others.to_numpy().tolist(), strict=True)
        ],
        dtype=bool,
    )
    return replace(table, frame=table.frame[~is_sum]), replace(table, frame=table.frame[is_sum])


def _with_carriage(
    table: Table, columns: Mapping[str, str | None], total: str | None
) -> tuple[Table, list[int]]:
    """Return the table with one piece on the lines of carriage without a quantity, and those lines.

    An `InputError` says what to do with a line of tax, or one that takes something off.
    """
    quantity, once = str(columns["quantity"]), []
    frame = table.frame.astype({quantity: object})
    texts = {heading: table.texts(heading) for heading in table.headings}
    for row, stated in enumerate(texts[quantity]):
        label = texts[str(columns["name"])][row] or next(
            (c[row] for c in texts.values() if c[row]), ""
        )
        plain = plain_heading(label)
        prices = [texts[heading][row] for heading in (columns["unit_price"], total) if heading]
        lessens = any(price.startswith(("-", "\N{MINUS SIGN}")) for price in prices)
        if _DISCOUNTS.search(plain) and (not stated or lessens):
            raise InputError(
                f"{table.place(row)}: {label!r} is no part but takes off the lines above; lower "
                "their prices by it, and take the line out."
            )
        if stated and not any(price.endswith("%") for price in prices):
            continue
        if _TAXES.fullmatch(plain):
            raise InputError(
                f"{table.place(row)}: {label!r} is no part but a tax on the lines above; take the "
                "line out and add a column 'tax (%)' with its rate on each line, or write the "
                "prices with tax in them."
            )
        if not stated and any(prices) and _CARRIAGE.search(plain):
            frame.iloc[row, table.headings.index(quantity)] = "1"
            once.append(row)
    return replace(table, frame=frame), once


def _without_tax(
    table: Table, columns: Mapping[str, str | None], total: str | None
) -> list[Finding]:
    """Return the heading of prices before tax where no column states the tax.

    An `InputError` says that tax would be added to prices which hold it.
    """
    heading, tax = str(columns["unit_price"] or total), columns["tax_share"]
    before = LINE_TOTAL.before_tax(heading)
    if before is False and tax is not None:
        raise InputError(
            f"{table.path}: the prices under {heading!r} have the tax in them, and {tax!r} would "
            "add it once more; take that column out, or write the prices without tax."
        )
    return [PricesBeforeTax(table.path.name, heading)] if before and tax is None else []


@frozen_dataclass
class _Priced:
    """What a bill says of its prices: columns of single prices and of totals, and sums below."""

    table: Table
    sums: Table
    unit_price: str | None
    total: str | None
    mark: str | None
    currency: str | None

    def prices(self, numbers: Mapping[str, FloatArray]) -> tuple[FloatArray, list[Finding]]:
        """Return the price of a piece on each line, and the sums that are not what lines come to.

        A column headed "cost" with no other beside it may hold either; the sums below tell, else
        it is refused.
        """
        quantity, kept = numbers["quantity"], self.table
        if self.total is not None:
            totals = LINE_TOTAL.numbers(kept, self.total, self.mark, self.currency)
        if self.unit_price is None:
            per_piece = np.divide(totals, quantity, out=np.zeros_like(totals), where=quantity != 0)
            return np.where(np.isnan(totals), np.nan, per_piece), self._apart(totals, numbers)
        prices = numbers["unit_price"]
        if self.total is not None:
            alone = np.isnan(prices) & (quantity > 0)
            prices = np.where(alone, totals / np.where(alone, quantity, 1), prices)
        each = quantity * prices
        if self.total is not None:
            return prices, self._lines_apart(each, totals, numbers) or self._apart(each, numbers)
        either = EITHER.fullmatch(plain_heading(self.unit_price))
        if not either or np.all(np.isin(quantity, (0, 1)) | np.isnan(each)):
            return prices, self._apart(each, numbers)
        apart_each, apart_line = (self._apart(lines, numbers) for lines in (each, prices))
        if len(self.sums.frame) and bool(apart_each) != bool(apart_line):
            if apart_line:
                return prices, []
            return np.divide(prices, quantity, out=np.zeros_like(each), where=quantity != 0), []
        raise InputError(
            f"{kept.path}: {self.unit_price!r} can be the price of one piece (the parts then come "
            f"to {np.nansum(each):.2f}) or of the whole line ({np.nansum(prices):.2f}); head it "
            "'unit price' or 'line total'."
        )

    def _taxed(self, lines: FloatArray, numbers: Mapping[str, FloatArray]) -> list[FloatArray]:
        """Return what the lines come to, plain, and with tax and waste."""
        shares = [np.nan_to_num(numbers.get(f"{name}_share", 0.0)) for name in ("tax", "waste")]
        return [lines, lines * (1 + shares[0]), lines * (1 + shares[0]) * (1 + shares[1])]

    def _lines_apart(
        self, lines: FloatArray, totals: FloatArray, numbers: Mapping[str, FloatArray]
    ) -> list[Finding]:
        """Return the first line whose total is not its quantity times its price."""
        near = [np.isclose(totals, one, 0.005, 0.01) for one in self._taxed(lines, numbers)]
        wrong = np.flatnonzero(~np.any(near, axis=0) & ~np.isnan(totals) & ~np.isnan(lines))
        return [
            SumApart(self.table.place(row), str(self.total), float(totals[row]), float(lines[row]))
            for row in wrong[:1].tolist()
        ]

    def _apart(self, lines: FloatArray, numbers: Mapping[str, FloatArray]) -> list[Finding]:
        """Return the sums that are neither those of all lines above nor since the last sum."""
        found: list[Finding] = []
        at, before = self.table.frame.index.to_numpy(), -1
        for row in range(len(self.sums.frame)):
            index = int(self.sums.frame.index[row])
            one = replace(self.sums, frame=self.sums.frame.iloc[[row]])
            cells = [h for h in filter(None, (self.total, self.unit_price)) if one.texts(h)[0]]
            if cells:
                stated = LINE_TOTAL.numbers(one, cells[0], self.mark, self.currency)[0]
                sums = [
                    np.nansum(each[(at < index) & (at > start)])
                    for each in self._taxed(lines, numbers)
                    for start in (before, -1)
                ]
                if not np.isclose(stated, sums, 0.005, 0.01).any():
                    name = next(filter(None, (t for h in one.headings for t in one.texts(h))))
                    found.append(SumApart(one.place(0), name, float(stated), float(sums[1])))
            before = index
        return found


_MOST_LINES_SHOWN = 60


def _with_scopes(table: Table, items: tuple[BillItem, ...]) -> str:
    """Write the first lines of a bill out with a scope that may be meant, to be pasted."""
    written = io.StringIO()
    delimiter = table.layout.delimiter.strip(" ") or ","
    writer = csv.writer(written, delimiter=delimiter, lineterminator="\n")
    writer.writerow([*table.headings, "scope"])
    rows = table.frame.astype(object).where(table.frame.notna(), "").to_numpy().tolist()
    for cells, item in zip(rows, items, strict=True):
        words = f"{item.group} {item.name}".lower()
        where = "site" if _OF_THE_SITE.search(words) else "unit"
        writer.writerow([*cells, "per array" if _ONCE.search(words) else f"per {where}"])
    lines = written.getvalue().splitlines(keepends=True)
    more = len(lines) - _MOST_LINES_SHOWN
    return "".join(lines[:_MOST_LINES_SHOWN]) + (f"... and {more:,} likewise\n" if more > 0 else "")


def _check_titles(table: Table, currency: str) -> None:
    """Refuse a line above the heading that says that the prices are in another currency."""
    layout = table.layout
    with open_text(table.path, layout.encoding) as stream:
        above = [*enumerate(islice(stream, layout.heading_line - 1), start=1)]
    for number, line in above:
        title = " ".join(filter(None, split_line(line, layout.delimiter)))
        named = title_currencies(title) if carries_data(line) else []
        if named and not any(currency in codes for codes in named):
            raise another_currency(f"{table.path}, line {number}: the title {title!r}", currency)


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


def _item(
    place: str, texts: dict[str, str], numbers: dict[str, float], scope_default: str
) -> BillItem:
    """Return the item of a row, refused where it cannot be one."""
    name, scope = texts["name"], texts["scope"]
    if not name:
        raise InputError(f"{place}: the item has no name; name it.")
    price, scrap = numbers["unit_price"], numbers.get("scrap_value", 0.0)
    if scrap > price > 0:
        raise InputError(
            f"{place}: the scrap value of {name!r}, {scrap:g}, is above its price of {price:g}; "
            "mend one of them."
        )
    if numbers.get("salvage_share", 0.0) > 1:
        raise InputError(
            f"{place}: {name!r} brings {100 * numbers['salvage_share']:g} % of its price at the "
            "end; write at most 100 %."
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
        "scope": SCOPES[scope.lower()] if scope else scope_default,
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
