"""From the cells of a record to SI values: missing marks, units and limits."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import numpy as np
import numpy.typing as npt
import pandas as pd

from yieldest.arrays import FloatArray, some
from yieldest.errors import InputError
from yieldest.files.dialect import MISSING_WORDS
from yieldest.files.plain_stamps import Times
from yieldest.files.table import Table, numbers_in
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding
from yieldest.units import (
    BEAUFORT_WORDS,
    DIRECTION_FACTORS,
    SPEED_FACTORS,
    to_celsius,
    to_degrees,
    to_hectopascal,
    to_metres_per_second,
)
from yieldest.wind.read_options import Recognised

Flags = npt.NDArray[np.bool_]

HIGHEST_GUST_MS = 113.3
"""The highest gust ever measured near the ground, Barrow Island 1996 (World Meteorological
Organization, World Weather and WindDistribution Extremes Archive)."""

LIMITS = {
    "speed": (0.0, HIGHEST_GUST_MS),
    "standard_deviation": (0.0, HIGHEST_GUST_MS),
    "gust": (0.0, HIGHEST_GUST_MS),
    "direction": (0.0, 360.0),
    "temperature": (-90.0, 60.0),
    "pressure": (300.0, 1100.0),
}
"""The least and the most of each role in m/s, degrees, C and hPa. Temperatures and pressures are
the extremes ever measured (same archive), opened a little; the air of 6,000 m is within."""

ROUNDED_UP_DEG = 0.2
"""A full circle may be written so much too large, for radians have few decimals; our choice."""

NUMBER_MARKS = (
    *(-9999.0, -9999.9, -999.0, -999.9, -999.99, -99.0, -99.9, -99.99, -7999.0, -6999.0, -32768.0),
    *(99.0, 99.9, 99.99, 999.0, 999.9, 999.99, 9999.0, 9999.9, 9999.99, 99999.0, 32767.0),
)
"""Numbers that loggers and weather services write for a missing value."""
VARIABLE_DIRECTION = 990.0
"""Weather services write it for a wind that has no one direction (common practice, no source)."""

NEAR_A_MARK = 0.7
SURELY_REPEATED = 3
"""A possible value counts as a mark when it comes so often, and more often than all others above
this share of it together: of winds, the higher ones are the rarer. Our choice."""

DIRECTION_DOUBTED = 36.0
"""Directions above it are in degrees."""
FEWEST_DIRECTIONS = 50
"""From so many readings on a vane has shown more than a tenth of the circle; our choice."""

_POINTS = (
    *("n", "nne", "ne", "ene", "e", "ese", "se", "sse", "s", "ssw", "sw", "wsw", "w", "wnw"),
    *("nw", "nnw"),
)
COMPASS = {name: 22.5 * place for place, name in enumerate(_POINTS)}
"""The sixteen points of the compass in degrees; a vane that tells only these is coarse."""
_DIRECTION_WORDS = {**COMPASS, "north": 0.0, "east": 90.0, "south": 180.0, "west": 270.0}
_DIRECTION_WORDS |= dict.fromkeys(("calm", "variable", "vrb", "var"), np.nan)

_TYPESET = str.maketrans({"\u2212": "-", "\u2013": "-", "\u00a0": " ", "\u202f": " ",
                          "\u2009": " ", "\u2019": "'"})  # fmt: skip
_DASHES = re.compile(r"[-./*?_ ]+")
_PLAIN = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)")
_GROUPED = {
    ".": re.compile(r"[+-]?\d{1,3}(([, '])\d{3}(\2\d{3})*)(\.\d*)?"),
    ",": re.compile(r"[+-]?\d{1,3}(([. '])\d{3}(\2\d{3})*)(,\d*)?"),
}
"""Numbers with a mark between their thousands, by the decimal mark of the file."""

_STEPS = (5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)
_CHANCE = 1e-6
JUNK_SHARE, FEWEST_WITH_JUNK = 1e-3, 100
"""So small a share of the readings, and one in so many, may be no multiple of the step they are
rounded to: a junk value is no finer sensor. Our choice."""


class ValuesBeyondLimits(Finding):
    """Values of a role that no sensor can have measured count as missing."""

    source: str
    role: str
    lowest: float
    highest: float
    values: int


class DirectionsInDoubt(Finding):
    """Directions are so small that they may be in another unit than degrees; none was used."""

    source: str
    heading: str
    highest: float
    may_be: str


@frozen_dataclass
class Gathered:
    """What the rows of a record hold, in the order of the rows or of time; arrays of shape (n,)."""

    time: Times
    si: dict[str, FloatArray]  # by role
    step: tuple[float, str] | None  # rounding of the speeds, see `rounding_step`
    height_m: float | None  # of the sensor, where the file states it
    found: list[Recognised]
    warnings: list[Finding]
    beaufort: bool = False  # whether the speeds were Beaufort numbers
    mean_cube_m3_s3: float | None = None  # of the readings before averaging

    @property
    def impossible(self) -> Flags:
        """Which speeds are above `HIGHEST_GUST_MS`; they stand in `si` as they were read."""
        return self.si["speed"] > HIGHEST_GUST_MS

    def at(self, rows: Flags | npt.NDArray[np.intp]) -> Gathered:
        """Return some of the rows."""
        si = {role: column[rows] for role, column in self.si.items()}
        return replace(self, time=self.time[rows], si=si)


def numbers_of(
    table: Table,
    column: str,
    stated_marks: Sequence[str] | None = None,
    words: Mapping[str, float] = MappingProxyType({}),
) -> tuple[FloatArray, Counter[str]]:
    """Return a column as numbers, and how often which word or blank stood for one or for none.

    Cells of `MISSING_WORDS` and stated marks (None where a file has none) are NaN; `words` gives
    the numbers of other words in lower case, see `words_of`. The first cell that is neither number
    nor mark is refused.
    """
    cells = table.frame[column]
    blank = cells.isna().to_numpy()
    marks = Counter({"blank": int(blank.sum())} if blank.any() else {})
    if cells.dtype.kind in "fiu":
        values = cells.to_numpy(dtype=np.float64, na_value=np.nan)
    else:
        decimal = table.layout.decimal
        texts = plain = cells.astype(str).str.strip()
        if decimal != ".":
            # A point there is no decimal mark; see `_as_typed` for what else it may be.
            pointed = texts.str.contains(".", regex=False)
            plain = texts.str.replace(decimal, ".", regex=False).mask(pointed, "")
        values = numbers_in(plain)
        unread = np.isnan(values) & ~blank
        left = texts[unread]
        missing = MISSING_WORDS | {mark.lower() for mark in stated_marks or ()}
        meaning = {}
        for text, often in left.value_counts().items():
            word = str(text).lower()
            is_missing = word in missing or _DASHES.fullmatch(word) is not None
            if is_missing or word in words:
                meaning[text] = np.nan if is_missing else words[word]
                marks[str(text)] += int(often)
            else:
                meaning[text] = _as_typed(str(text), decimal)
        values[unread] = left.map(meaning)
    table.refuse(
        np.isinf(values),
        lambda row: (
            f"{table.cell(row, column)!r} in column {column!r} is not a number; write a plain "
            "number, or leave it blank."
            if stated_marks is None
            else f"{table.cell(row, column)!r} in column {column!r} is not a number; write a plain "
            "number, leave it blank, or state it as a missing mark (missing; on the command line "
            "--missing)."
        ),
    )
    return values, marks


def words_of(role: str, unit: str) -> Mapping[str, float]:
    """Return the words that stand for a number in the columns of a role, in the column's unit."""
    if role == "direction":
        return {word: at / DIRECTION_FACTORS[unit] for word, at in _DIRECTION_WORDS.items()}
    if role == "speed" and unit == "Beaufort":
        return {word: float(number) for number, word in enumerate(BEAUFORT_WORDS)}
    return {"calm": 0.0} if role == "speed" else {}


def _as_typed(text: str, decimal: str) -> float:
    """Return a number with a typeset minus, or with marks between its thousands, else infinity."""
    plain = text.translate(_TYPESET)
    thousands = _GROUPED[decimal].fullmatch(plain)
    if thousands:
        plain = re.sub(rf"[^\d{re.escape(decimal)}+-]", "", plain)
    if decimal == "," and "." in plain:
        return np.inf  # neither thousands nor, where decimals have a comma, a decimal mark
    plain = plain.replace(decimal, ".")
    return float(plain) if _PLAIN.fullmatch(plain) else np.inf


def to_si(role: str, values: FloatArray, unit: str) -> FloatArray:
    """Convert the values of a role to m/s, degrees, C or hPa."""
    if role == "direction":
        degrees, most = to_degrees(values, unit), LIMITS[role][1]
        rounded_up = (degrees > most) & (degrees <= most + ROUNDED_UP_DEG)
        return np.where(rounded_up, most, degrees) if rounded_up.any() else degrees
    converters = {"temperature": to_celsius, "pressure": to_hectopascal}
    return converters.get(role, to_metres_per_second)(values, unit)


def marks_of(role: str, stated_marks: Sequence[str]) -> list[float]:
    """Return the numbers that may mark a missing value of a role, those that are stated first."""
    stated = numbers_in(pd.Series(stated_marks, dtype=object))
    more = (VARIABLE_DIRECTION,) if role == "direction" else ()
    return [*dict.fromkeys([*stated[np.isfinite(stated)].tolist(), *NUMBER_MARKS, *more])]


def blank_marks(
    role: str, values: FloatArray, unit: str, stated_marks: Sequence[str]
) -> tuple[FloatArray, Counter[str]]:
    """Replace numbers that mark a missing value by NaN, and count them.

    A stated mark counts whatever its value; one of `NUMBER_MARKS` when its value is beyond what can
    be measured, or when it comes three times at least and more often than all other values near or
    beyond it. Values are in the unit of the file.
    """
    counts: Counter[str] = Counter()
    stated = numbers_in(pd.Series(stated_marks, dtype=object))
    low, high = LIMITS[role]
    known = values[some(np.isfinite(values))]
    least, most = known.min(initial=np.inf), known.max(initial=-np.inf)
    for mark in marks_of(role, stated_marks):
        if not least <= mark <= most:
            continue
        hit = values == mark
        often = int(hit.sum())
        if not often:
            continue
        if mark not in stated and low <= to_si(role, np.array(mark), unit) <= high:
            if role == "direction":
                continue
            others = np.abs(known[known != mark])
            others = others[~np.isin(others, np.abs(NUMBER_MARKS))]
            near = int((others > NEAR_A_MARK * abs(mark)).sum())
            surely = others.size > 0 and often >= SURELY_REPEATED and often > near
            if not surely:
                continue
        values, known = np.where(hit, np.nan, values), known[known != mark]
        counts[f"{mark:g}"] += often
    return values, counts


def unit_doubted(distinct: FloatArray) -> str | None:
    """Return the unit that a record's different directions, shape (n,), seem to be in, if any.

    Up to 2 pi they are radians, whole numbers up to 8 octants, and up to 36 tens of degrees.
    """
    highest = distinct.max(initial=0.0)
    whole = (distinct == np.round(distinct)).all()
    for unit, most, fewest, wholes in (
        ("octants", 8.0, 6, True),
        ("tens of degrees", DIRECTION_DOUBTED, 20, True),
        ("rad", 2 * np.pi + 0.01, 20, False),
    ):
        if highest <= most and distinct.size >= fewest and whole == wholes:
            return unit
    return None


def within_limits(role: str, values: FloatArray) -> tuple[FloatArray, int]:
    """Return SI values, those that no sensor can have measured as NaN, and how many these are."""
    low, high = LIMITS[role]
    beyond = (values < low) | (values > high)
    often = int(beyond.sum())
    return (np.where(beyond, np.nan, values) if often else values), often


def rounding_step(
    distinct: FloatArray, unit: str, readings: FloatArray | None = None
) -> tuple[float, str] | None:
    """Find the step of rounded speeds, in m/s and in words ("1 kn"); None if none is sure.

    The different speeds of a record, shape (n,), are in `unit`, a key of `SPEED_FACTORS`, and come
    so many times (once, where not said). Steps of every unit are tried, for a file in mph may have
    been made of whole knots. The largest step is taken of those that all speeds but one reading in
    a thousand are multiples of, within the decimals they are written with, when chance alone would
    do so less than once in a million.
    """
    known = np.isfinite(distinct) & (distinct > 0)
    speeds = distinct[known]
    if speeds.size == 0:
        return None
    count = np.ones(speeds.size) if readings is None else readings[known]
    total = count.sum()
    junk = max(JUNK_SHARE * total, float(total >= FEWEST_WITH_JUNK))

    def few(wrong: Flags) -> bool:
        return bool(count[wrong].sum() <= junk)

    decimals = next((n for n in range(7) if few(np.abs(np.round(speeds, n) - speeds) > 1e-9)), 6)
    slack = 0.501 * 10.0**-decimals
    own = SPEED_FACTORS[unit]
    best: tuple[float, str] | None = None
    for other, factor in SPEED_FACTORS.items():
        for step in _STEPS:
            size = step * factor / own
            # Factors of six digits, such as 1.15078 mph to the knot, are off by a millionth.
            tolerance = 1e-6 * size if other == unit else slack + 1e-6 * speeds
            off = np.abs(speeds / size - np.round(speeds / size)) * size
            wrong = off > tolerance
            if not few(wrong) or (best is not None and step * factor <= best[0]):
                continue
            by_chance = min(1.0, 2 * slack / size) ** (speeds.size - wrong.sum())
            # Every file is a multiple of its own last decimal: no chance is needed for that.
            if by_chance < _CHANCE or (other == unit and size <= 2 * slack):
                best = step * factor, f"{step:g} {other}"
    return best


def gathered_of_si(
    path: Path,
    time: Times,
    si: dict[str, FloatArray],
    found: list[Recognised],
    height_m: float | None = None,
) -> Gathered:
    """Judge values that a file gave in SI units, as those of every record are judged.

    Parameters
    ----------
    path : Path
        For messages.
    time : ndarray of datetime64[ns], shape (n,)
    si : dict of str to ndarray, shape (n,)
        By role ("speed", "direction", "temperature", "pressure", "standard_deviation", "gust"), in
        m/s, degrees, degrees Celsius and hPa; NaN where missing.
    found : list of Recognised
    height_m : float, optional
        Of the sensor, where the file states it.

    Raises
    ------
    InputError
        When a speed is below zero.
    """
    speed = si["speed"]
    if (speed < 0).any():
        at = int(np.argmax(speed < 0))
        raise InputError(
            f"{path}: value {at + 1} of the speed is {speed[at]:g} m/s, and a wind speed cannot be "
            "below zero; mend the value or mark it as missing."
        )
    kept = dict(si)
    warnings: list[Finding] = []
    for role, column in si.items():
        if role != "speed":
            kept[role], often = within_limits(role, column)
            if often:
                warnings.append(ValuesBeyondLimits(str(path), role, *LIMITS[role], often))
    distinct, count = np.unique(speed[np.isfinite(speed)], return_counts=True)
    step = rounding_step(distinct, "m/s", count.astype(np.float64))
    return Gathered(time, kept, step, height_m, found, warnings)
