"""What the cells of a line look like: numbers, readings, units, or neither."""

from __future__ import annotations

import re

MISSING_WORDS = frozenset(
    {"", "na", "n/a", "#n/a", "nan", "-nan", "null", "none", "nil", "missing", "m", "x", "-", "--"}
    | {"---", "----", "-----", "...", "?", "*", "**", "***", "/", "//", "///", "////"}
    | {"n.a.", "nd", "n.d.", "no data", "nodata", "msng", "undefined", "err", "error"}
    | {"#value!", "#div/0!", "#ref!", "#num!", "#name?", "#null!"}
)
"""Cells, in lower case, that stand for a value that is not there."""

NUMBERS_OF_A_READING = 3
"""So many numbers in a line make a reading, with or without a time; our choice."""
LONGEST_NUMBER = 100
"""No number has so many digits; our choice."""

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_DATE = re.compile(r"\d{1,8}[-/.:T ](\d|[A-Za-z]{3})")
_UNIT_CELLS = frozenset(
    {"m/s", "m/sec", "meters/second", "metres/second", "mps", "ms-1", "m s-1", "mph", "km/h"}
    | {"kmh", "kph", "kn", "kt", "kts", "knots", "ft/s", "fps", "bft", "beaufort"}
    | {"deg", "degt", "degn", "deg n", "deg true", "degrees", "°", "°n", "deg c", "deg f", "degc"}
    | {"degf", "c", "°c", "f", "°f", "k", "hpa"}
    | {"mbar", "mb", "pa", "kpa", "inhg", "mmhg", "%", "v", "volts", "w", "w/m2", "w/m^2", "mm"}
    | {"mv", "a", "amps", "ma", "watts", "kw", "ohm", "ohms", "rpm"}
    | {"ts", "rn", "utc", "local", "yyyy-mm-dd hh:mm", "yyyy-mm-dd hh:mm:ss", "yr", "mo", "dy"}
    | {"hr", "mn", "h", "min", "s", "hh:mm", "yyyy-mm-dd", "dd.mm.yyyy", "dd/mm/yyyy", "hpa"}
    | {"mm/dd/yyyy", "date", "time", "nmi", "ft", "mi"}
)
STATISTIC_CELLS = frozenset({"smp", "avg", "std", "max", "min", "wvc", "tot", "mean", "sample"})


def is_data(cells: list[str]) -> bool:
    """Tell whether any cell is a number or a date, or all are marks of missing values."""
    return any(is_number(cell) or _DATE.match(cell) for cell in cells) or all(
        cell.lower() in MISSING_WORDS for cell in cells
    )


def is_reading(cells: list[str]) -> bool:
    """Tell whether cells are a time with something beside it, or three numbers."""
    numbers = 0
    for cell in cells:
        if is_number(cell):
            numbers += 1
        elif _DATE.match(cell) and len(cells) > 1:
            return True
        if numbers == NUMBERS_OF_A_READING:
            return True
    return False


def is_number(cell: str) -> bool:
    """Tell whether a cell is a number, with a decimal point or a decimal comma."""
    return len(cell) <= LONGEST_NUMBER and _NUMBER.fullmatch(cell) is not None


def readings_end(rows: list[list[str]]) -> int:
    """Return how many rows there are up to the last one that is surely a reading."""
    last = next((n for n in range(len(rows) - 1, -1, -1) if is_reading(rows[n])), None)
    return len(rows) if last is None else last + 1


def holds_units(cells: list[str]) -> bool:
    """Tell whether a line below a heading names units and nothing else."""
    plain = [cell.strip("()[] ").lower() for cell in cells]
    return (
        any(plain)
        and all(cell in _UNIT_CELLS or cell in MISSING_WORDS for cell in plain)
        and (any(cell in _UNIT_CELLS for cell in plain))
    )
