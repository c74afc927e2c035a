"""Numbers and prices as people write them: marks between thousands, and signs of currencies."""

from __future__ import annotations

import re
from collections.abc import Iterable

SIGNS: dict[str, tuple[str, ...]] = {
    "€": ("EUR",),
    "£": ("GBP",),
    "$": ("USD", "AUD", "CAD", "NZD", "HKD", "SGD", "MXN", "CLP", "COP", "ARS"),
    "¥": ("JPY", "CNY"),
    "₹": ("INR",),
    "₩": ("KRW",),
    "₦": ("NGN",),
    "US$": ("USD",),
    "kr": ("SEK", "NOK", "DKK", "ISK"),
    "zł": ("PLN",),
    "Kč": ("CZK",),
    **dict.fromkeys(("Fr.", "Fr", "SFr.", "sFr."), ("CHF",)),
    **dict.fromkeys(("Euro", "Euros", "euro", "euros"), ("EUR",)),
    **dict.fromkeys(("pound", "pounds", "Pounds"), ("GBP",)),
}
"""Signs of currencies, and the codes of ISO 4217 they stand for; one sign alone is the first's."""
CURRENCY_SIGNS = {codes[0]: sign for sign, codes in SIGNS.items() if len(sign) == 1}
"""By code, where the sign alone says which money it is; other codes are written out."""
CURRENCIES = frozenset(
    {code for codes in SIGNS.values() for code in codes}
    | {"BRL", "HUF", "RON", "BGN", "TRY", "ZAR", "KES", "THB", "ILS", "UAH", "PHP"}
)
_WITH_CENTS = tuple(sorted({*SIGNS["$"], "EUR", "ZAR", "KES"} - {"MXN", "CLP", "COP", "ARS"}))
HUNDREDTHS: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(("c", "ct", "cent", "cents", "¢"), _WITH_CENTS),
    **dict.fromkeys(("p", "pence", "penny"), ("GBP",)),
    **dict.fromkeys(("öre", "øre"), ("SEK", "NOK", "DKK")),
    **dict.fromkeys(("rp", "rappen"), ("CHF",)),
    **dict.fromkeys(("centime", "centimes"), ("CHF", "EUR")),
    **dict.fromkeys(("centimos", "céntimos", "centesimi"), ("EUR",)),
    **dict.fromkeys(("gr", "grosz", "grosze", "groszy"), ("PLN",)),
    **dict.fromkeys(("paise", "paisa"), ("INR",)),
    **dict.fromkeys(("centavo", "centavos"), ("ARS", "BRL", "CLP", "COP", "MXN", "PHP")),
}
"""What the hundredth of a currency is called, in lower case, and the codes that have it."""


def currencies_of(mark: str) -> tuple[str, ...]:
    """Return the codes that a sign, a code or a hundredth stands for; none where it is no money."""
    code = mark.upper()
    return (
        SIGNS.get(mark) or HUNDREDTHS.get(mark.lower()) or ((code,) if code in CURRENCIES else ())
    )


_SIGN = "|".join([*map(re.escape, SIGNS), "[A-Z]{3}"])
PRICE = re.compile(
    rf"(?P<before>{_SIGN})?\s*(?P<number>[+-]?(?:\d[\d.,'\u2019 ]*|[.,]\d+)(?:e[+-]?\d{{1,4}})?)"
    rf"(?P<dash>(?<=[.,])[-\N{{EN DASH}}\N{{EM DASH}}]{{1,2}})?"
    rf"\s*(?P<after>{_SIGN}|%|(?i:{'|'.join(HUNDREDTHS)}))?"
)
"""A number with what stands before and after it; a dash stands for no cents, as in "300.-"."""
_POINT_PROVED = re.compile(
    r"(?:\d{1,3}(?:,\d{3})+\.\d*|\d*\.(?!\d{3}$)\d*|(?:0|\d{4,})?\.\d{3}|\d{1,3}(?:,\d{3}){2,})"
)
_SWAPPED = str.maketrans(".,", ",.")


def decimal_mark(numbers: Iterable[str]) -> str | None:
    """Return the decimal mark that some of the numbers prove; None where none does, or two do."""
    proved = {mark for number in numbers for mark in _marks_of(number)}
    return proved.pop() if len(proved) == 1 else None


def _marks_of(number: str) -> set[str]:
    """Return the decimal mark that one number proves, if it does."""
    bare = number.lower().lstrip("+-").split("e")[0].replace(" ", "").replace("'", "")
    if not re.search(r"[.,]", bare):
        return set()
    swapped = bare.translate(_SWAPPED)
    return {mark for mark, text in ((".", bare), (",", swapped)) if _POINT_PROVED.fullmatch(text)}


def number_as_written(number: str, mark: str | None) -> tuple[float, ...]:
    """Return what a number can mean: one value, two where it is ambiguous, none if it is no number.

    Parameters
    ----------
    number : str
        Such as "1,150", "1 150.00", "1'150" or ".5".
    mark : {".", ","} or None
        The decimal mark that other numbers of the table prove.

    Examples
    --------
    >>> number_as_written("1.134,60", None), number_as_written("1,150", ".")
    ((1134.6,), (1150.0,))
    >>> number_as_written("1,150", None)
    (1150.0, 1.15)
    """
    text = re.sub(r"(?<=\d)[ '\u2019](?=\d{3}(?!\d))", "", number.strip().lower())
    own = _marks_of(text)
    ambiguous = not own and re.search(r"[.,]", text)
    readings = []
    for each in own or {mark or ".", "," if mark is None else mark}:
        plain = text if each == "." else text.translate(_SWAPPED)
        if ambiguous and not re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", plain):
            return ()
        if re.fullmatch(r"[+-]?\d{1,3}(,\d{3})+(\.\d*)?", plain):
            plain = plain.replace(",", "")
        if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", plain):
            return ()
        readings.append(float(plain))
    return tuple(sorted(set(readings), reverse=True))
