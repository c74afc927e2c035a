"""Prices as people write them in a spreadsheet, as plain numbers."""

from __future__ import annotations

import re
from typing import Any

import pandas as pd

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

    Parameters
    ----------
    cells : Series
        Numbers are left alone, and so is a text that is no price in this currency or that can be
        read in two ways, such as "1,134".
    currency : str or None
        ISO 4217 code that the prices are in; None for any.
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
