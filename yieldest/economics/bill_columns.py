"""The columns of a parts bill: how people head them, and what a heading says of their units."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import field

import numpy as np
import pandas as pd

from yieldest.arrays import FloatArray
from yieldest.defaults import WORKING_DAY
from yieldest.economics.prices import (
    CURRENCIES,
    HUNDREDTHS,
    PRICE,
    SIGNS,
    currencies_of,
    number_as_written,
)
from yieldest.errors import InputError
from yieldest.files.table import Table, folded
from yieldest.frozen import frozen_dataclass

LARGEST_AMOUNT = 1e12
"""No amount on a parts bill is larger; a slip of the keyboard is."""

NOTES = frozenset(
    ("note", "notes", "remark", "remarks", "comment", "comments", "supplier", "shop", "link", "url")
) | frozenset(("bemerkung", "bemerkungen", "lieferant", "pos", "remarque", "remarques", "notas"))
"""Headings that are passed over without a word."""

_BRACKETS = re.compile(r"[(\[]([^()\[\]]*)[)\]]")
_MARKS = re.compile(r"US\$|[^\W_]+|[^\w\s()\[\].,:;/'\u2019-]")
"""Words and signs of a heading."""
_WITH_UNIT = re.compile(r"(?P<number>.*[\d.,])\s*(?P<unit>[^\W\d_]+)\.?")
_SAY_NOTHING = frozenset(
    ("in", "per", "pro", "par", "por", "each", "est", "estimated", "approx", "about", "ca")
)
_PIECES = frozenset(
    ("piece", "pieces", "pc", "pcs", "unit", "units", "part", "item", "stk", "stuck", "st", "no")
) | frozenset(("m", "kg", "l", "single"))
"""Words in brackets that change no number."""
_TAX = frozenset(("vat", "tax", "taxes", "gst", "mwst", "ust", "tva", "iva", "btw", "moms"))
_BEFORE_TAX = frozenset(
    ("net", "netto", "nett", "ex", "exc", "excl", "excluding", "without", "before", "plus", "ht")
) | frozenset(("hors", "sans", "ohne", "zzgl", "exkl", "sin", "senza", "zonder", "uden", "utan"))
_WITH_TAX = frozenset(
    ("gross", "brutto", "bruto", "inc", "incl", "including", "with", "ttc", "inkl", "mit", "con")
)
_PRICES = frozenset(
    ("price", "prices", "preis", "preise", "prix", "precio", "precios", "prezzo", "prezzi")
) | frozenset(("prijs", "prijzen", "priser", "currency", "wahrung", "devise", "moneda", "valuta"))
"""What a title speaks of that says which currency the prices are in."""
_BETWEEN = ("all", "are", "is", "alle", "sind")
"""Words that may stand between these and the currency."""
_CODES = sorted(map(str.lower, CURRENCIES))
_MONEY_TAILS = (
    *("in", "kr", "pounds", "euro", "euros", *_CODES, *(f"in {code}" for code in _CODES)),
    *("net", "netto", "ht", "ex vat", "excl vat", "gross", "brutto", "ttc", "inc vat", "incl vat"),
)
"""What may stand behind the name of a column of money."""


@frozen_dataclass
class BillColumn:
    """A column of a bill: what it holds, how it may be headed, and the units of its heading.

    A unit has the factor to that of the field; with `named`, the heading must name one. `words` in
    brackets change nothing, and any other that is no unit is refused.
    """

    role: str
    names: tuple[str, ...]
    units: Mapping[str, float] = field(default_factory=dict)
    words: frozenset[str] = frozenset()
    named: bool = False
    signed: bool = False
    money: bool = False

    def find(self, table: Table) -> str | None:
        """Return its heading; a unit that must be named would go wrong unnoticed."""
        tails = (*self.units, *(_MONEY_TAILS if self.money else ()))
        heading = table.find(self.role, self.names, tails=tails, required=False)
        if heading is not None and self.named and self.unit(heading) is None:
            raise InputError(
                f"{table.path}: the heading {heading!r} does not name its unit; write it as "
                f"'{self.role} ({next(iter(self.units)).replace('kwh', 'kWh')})'."
            )
        return heading

    def unit(self, heading: str) -> str | None:
        """Return the last of its units that its heading names."""
        words = map(folded, reversed(_MARKS.findall(heading)))
        return next((word for word in words if word in self.units), None)

    def factor(self, heading: str) -> float:
        """Return what its numbers times make the unit of the field."""
        return self.units.get(self.unit(heading) or "", 1.0)

    def check(self, table: Table, heading: str, currency: str | None) -> None:
        """Refuse a heading with a unit that is not understood, or money that is not the plan's."""
        inside = set(_MARKS.findall(" ".join(_BRACKETS.findall(heading))))
        whole = hundredth = ""
        for mark in _MARKS.findall(heading):
            word, part = folded(mark), mark.lower() in HUNDREDTHS
            # Upkeep is kept as text, so its hundredths are not converted.
            codes = currencies_of(mark) if self.money and (not part or self.units) else ()
            known = word in self.units or word in self.words | _SAY_NOTHING
            if self.money:
                known |= bool(codes) or word in _TAX | _BEFORE_TAX | _WITH_TAX
                known |= currency is not None and mark.upper() == currency
            if not known and (
                mark in inside
                or mark in "%\N{PER MILLE SIGN}"
                or unicodedata.category(mark[0]) == "Sc"
            ):
                units = ["the currency"] * self.money + [u for u in self.units if len(u) > 1][:4]
                mend = f"name the unit as one of {', '.join(units)}, or " if units else ""
                raise InputError(
                    f"{table.path}: {mark!r} in the heading {heading!r} is not understood as a "
                    f"unit of the {self.role}; {mend}take it out and see that the numbers are "
                    "right without it."
                )
            if codes and currency is not None and currency not in codes:
                raise another_currency(f"{table.path}: the heading {heading!r}", currency)
            if codes and part:
                hundredth = mark
            elif codes:
                whole = mark
        if whole and hundredth:
            raise InputError(
                f"{table.path}: the heading {heading!r} names both {whole} and {hundredth}; leave "
                "the one that the numbers are in."
            )

    def before_tax(self, heading: str) -> bool | None:
        """Return whether its heading says that tax is not in its prices; None if nothing."""
        words = set(map(folded, _MARKS.findall(heading)))
        return bool(words & _BEFORE_TAX) if words & (_BEFORE_TAX | _WITH_TAX) else None

    def numbers(
        self, table: Table, heading: str, mark: str | None, currency: str | None
    ) -> FloatArray:
        """Return its values in the unit of the field, NaN where blank."""
        factor = self.factor(heading)
        values = np.array(
            [self._number(table, row, heading, mark, currency) for row in range(len(table.frame))]
        )
        for wrong, words in (
            (np.abs(values) > LARGEST_AMOUNT, "{1:g} in column {0!r} is beyond anything on a "
             "parts bill; mend it"),
            ((values < 0) & (not self.signed), "{1:g} in column {0!r} is below zero; mend it"),
        ):  # fmt: skip
            for row in np.flatnonzero(wrong):
                raise InputError(
                    f"{table.place(int(row))}: the {self.role} "
                    f"{words.format(heading, values[row])}."
                )
        return np.asarray(values * factor if factor >= 1 else values / (1 / factor))

    def _number(
        self, table: Table, row: int, heading: str, mark: str | None, currency: str | None
    ) -> float:
        """Return the number in a cell, refused where it can mean two things or is none."""
        cell = table.frame[heading].iloc[row]
        if pd.isna(cell):
            return np.nan
        if isinstance(cell, int | float):
            return float(cell)
        place, (text, share) = table.places[row], self._without_unit(str(cell), heading)
        match = price_in(text)
        signs = [] if match is None else [s for s in match.group("before", "after") if s]
        if self.money and "%" not in signs:
            for sign in signs:
                if currency is not None and currency not in (currencies_of(sign) or (sign,)):
                    raise InputError(
                        f"{place}: {str(cell)!r} in column {heading!r} is in another currency than "
                        f"the plan's {currency}; write every price in one currency."
                    )
                # A column of pence with 35p in it is in pence once.
                if self.factor(heading) == 1:
                    share = 0.01 if sign.lower() in HUNDREDTHS else share
                elif sign.lower() not in HUNDREDTHS:
                    raise InputError(
                        f"{place}: {str(cell)!r} in column {heading!r} is in another unit than its "
                        "heading; write it in that of the heading, or the sign on every price."
                    )
            signs = []
        allowed = not signs or (signs == ["%"] and "%" in self.units)
        found = number_as_written(match["number"], mark) if match is not None and allowed else ()
        if len(found) > 1:
            raise InputError(
                f"{place}: {str(cell)!r} in column {heading!r} can be {found[0]:g} or "
                f"{found[1]:g}, and no other number of the bill shows which mark is the decimal "
                f"one; write {found[0]:.2f} or {found[1]:g}."
            )
        if not found:
            units = (
                {} if self.money else {self.units[unit]: unit for unit in reversed([*self.units])}
            )
            behind = f" (a unit may follow: {', '.join(units.values())})" if units else ""
            raise InputError(
                f"{place}: {str(cell)!r} in column {heading!r} is not a number; write a plain "
                f"number, such as 1250 or 0.85{behind}, or leave it blank."
            )
        return found[0] * share

    def _without_unit(self, cell: str, heading: str) -> tuple[str, float]:
        """Return a cell such as "90 min" without its unit, and its factor to that of the heading.

        A unit or a word that is none of the column's stays there.
        """
        match = None if self.money else _WITH_UNIT.fullmatch(cell)
        word = "" if match is None else folded(match["unit"])
        if match is None or word not in (*self.units, *self.words):
            return cell, 1.0
        return match["number"], self.units.get(word, self.factor(heading)) / self.factor(heading)


def another_currency(what: str, currency: str) -> InputError:
    """Return the refusal of words that name another currency than the plan's."""
    return InputError(
        f"{what} names another currency than the plan's {currency}; write the prices in "
        f"{currency}, or state the currency in the plan."
    )


def title_currencies(title: str) -> list[tuple[str, ...]]:
    """Return the codes of each currency that a title says the prices are in.

    Its code or sign stands behind "in", beside "prices" or "currency", or alone. "USD Ltd" is a
    name, and pounds without prices are a weight.

    Examples
    --------
    >>> title_currencies("Mast and rotor, prices in USD"), title_currencies("Parts of USD Ltd")
    ([('USD',)], [])
    """
    marks = [
        mark
        for mark in _MARKS.findall(title)
        if (mark[0].isalnum() or mark in SIGNS) and folded(mark) not in _BETWEEN
    ]
    words = [*map(folded, marks)]
    named = []
    for at, mark in enumerate(marks):
        beside = {*words[max(0, at - 1) : at], *words[at + 1 : at + 2]}
        if at and words[at - 1] in ("in", "en"):
            codes = () if mark.lower() in HUNDREDTHS else currencies_of(mark)
        elif len(marks) == 1 or beside & _PRICES:
            codes = SIGNS.get(mark) or ((mark,) if mark in CURRENCIES else ())
        else:
            continue
        if codes and (words[at] not in ("pound", "pounds") or _PRICES.intersection(words)):
            named.append(codes)
    return named


def price_in(cell: object) -> re.Match[str] | None:
    """Return a number and its currency as a cell writes them."""
    return PRICE.fullmatch(
        re.sub(r"[\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}]", " ", str(cell)).strip()
    )


_PERCENT = {"%": 0.01, "percent": 0.01, "prozent": 0.01}
_HUNDREDTHS = dict.fromkeys(("cents", "pence", *map(folded, HUNDREDTHS)), 0.01)
_TAX_WORDS = ("vat", "mwst", "ust", "mehrwertsteuer", "tva", "iva", "btw", "moms")
NUMBERS = {
    "quantity": BillColumn(
        "quantity",
        (
            *("quantity", "qty", "count", "number", "pieces", "pcs", "no off", "number off"),
            *("menge", "anzahl", "stuck", "stuckzahl", "quantite", "qte", "cantidad", "cant"),
            *("unidades", "quantita", "q ta", "qta", "pezzi", "aantal", "antal", "antall"),
        ),
        words=_PIECES | {"machine", "turbine", "off"},
    ),
    "unit_price": BillColumn(
        "unit price",
        (
            *("unit price", "price each", "price per piece", "unit cost", "cost each", "each"),
            *("price per unit", "cost per unit", "price", "cost"),
            *("einzelpreis", "stuckpreis", "preis pro stuck", "preis je stuck", "preis"),
            *("prix unitaire", "prix a l unite", "prix", "precio unitario", "precio por unidad"),
            *("precio", "prezzo unitario", "prezzo", "stukprijs", "prijs per stuk"),
            *("eenheidsprijs", "prijs", "kosten", "cout unitaire", "cout", "coste", "costo"),
        ),
        _HUNDREDTHS,
        _PIECES,
        money=True,
    ),
    "life_years": BillColumn(
        "life in years",
        (
            *("life years", "life", "lifetime years", "lifetime", "life time", "years"),
            *("lebensdauer", "duree de vie", "vida util", "durata", "levensduur"),
        ),
        {
            **dict.fromkeys(("months", "month", "monate", "mois", "meses", "mesi"), 1 / 12),
            **dict.fromkeys(("years", "year", "yrs", "yr", "y", "a", "jahre", "jahren"), 1.0),
            **dict.fromkeys(("ans", "anos", "anni", "jaar"), 1.0),
        },
    ),
    "labour_hours": BillColumn(
        "labour hours",
        (
            *("labour hours", "labor hours", "my hours", "own hours", "labour", "labor", "hours"),
            *("arbeitsstunden", "arbeitszeit", "stunden", "heures de travail", "heures"),
            *("horas de trabajo", "horas", "ore di lavoro", "ore", "werkuren", "uren"),
        ),
        {
            **dict.fromkeys(("min", "mins", "minutes", "minuten"), 1 / 60),
            **dict.fromkeys(("days", "day", "tage", "jours", "dias", "giorni"), WORKING_DAY.value),
            **dict.fromkeys(("hours", "h", "hr", "hrs", "std", "stunden", "heures"), 1.0),
        },
        frozenset(("own", "my")),
    ),
    "tax_share": BillColumn("tax", ("tax percent", "tax", *_TAX_WORDS), _PERCENT, named=True),
    "waste_share": BillColumn("waste", ("waste percent", "waste"), _PERCENT, named=True),
    "salvage_share": BillColumn("salvage", ("salvage percent", "salvage"), _PERCENT, named=True),
    "scrap_value": BillColumn(
        "scrap value", ("scrap value", "scrap"), _HUNDREDTHS, _PIECES, signed=True, money=True
    ),
    "paid_labour": BillColumn(
        "paid labour", ("paid labour", "paid labor", "hired labour"), _HUNDREDTHS, money=True
    ),
    "shared_by": BillColumn(
        "number of builds that share it",
        ("shared by", "shared by builds"),
        words=frozenset(("builds", "machines")),
    ),
    "embodied_kwh": BillColumn(
        "embodied energy",
        ("embodied energy kwh", "embodied kwh", "embodied energy"),
        {"kwh": 1.0},
        _PIECES - {"m", "kg", "l"},
        named=True,
    ),
    "embodied_carbon_kg": BillColumn(
        "embodied carbon",
        ("embodied carbon kg", "embodied carbon"),
        {"kg": 1.0},
        _PIECES - {"m", "l"} | {"co2", "co2e", "co", "of"},
        named=True,
    ),
}
"""By the field of `BillItem` that they fill; a blank cell takes its default."""
LINE_TOTAL = BillColumn(
    "total of the line",
    (
        *("line total", "line cost", "total price", "total cost", "total", "totals", "amount"),
        *("sum", "in all", "gesamtpreis", "gesamt", "summe", "betrag", "prix total", "montant"),
        *("precio total", "importe", "totale", "prezzo totale", "importo", "totaal", "bedrag"),
        "cost",
    ),
    _HUNDREDTHS,
    signed=True,
    money=True,
)
TEXTS = {
    "name": BillColumn(
        "item",
        (
            *("item", "items", "part", "parts", "name", "component", "description", "what"),
            *("bit", "bits", "material", "materials", "product"),
            *("teil", "teile", "bauteil", "artikel", "bezeichnung", "beschreibung"),
            *("designation", "article", "piece", "articulo", "pieza", "descripcion", "concepto"),
            *("articolo", "descrizione", "componente", "onderdeel", "omschrijving"),
        ),
    ),
    "scope": BillColumn("scope", ("scope", "per", "for")),
    "group": BillColumn("group", ("group", "kind", "gruppe", "groupe", "grupo", "gruppo", "groep")),
    "currency": BillColumn("currency", ("currency", "wahrung", "devise", "moneda", "valuta")),
    "price_breaks": BillColumn(
        "price breaks", ("price breaks", "price break"), words=_PIECES | {"price", "from"}
    ),
    "maintenance": BillColumn(
        "upkeep", ("upkeep per year", "upkeep"), words=frozenset(("year", "annum", "a")), money=True
    ),
}
COLUMNS = {**TEXTS, **NUMBERS}
FREE_WORDED = ("name", "scope", "group", "currency")
"""Columns in whose headings brackets hold no unit."""
EITHER = re.compile(r"(cost|kosten|cout|coste|costo)( in)?( [a-z]{2,3})?")
"""Headings that may be of a piece or of the whole line, as plain headings."""
