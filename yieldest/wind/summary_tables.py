"""Read what is left of a record that others have summed up: a frequency table or monthly means."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.files.dialect import Layout, layout_of, without_footer
from yieldest.files.table import Table, read_blocks, table_of_frame
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Findings, Provenance
from yieldest.settings import options_of
from yieldest.units import BEAUFORT_EDGES_MS, to_metres_per_second, unit_in_heading
from yieldest.wind.read_options import TableOptions
from yieldest.wind.record_columns import (
    RECOGNISED_COLUMNS,
    SHARE_WORDS,
    choose_speed,
    parts_of,
    stated_columns,
    take_apart,
    unit_of_column,
)
from yieldest.wind.record_values import numbers_of

MONTHS = 12
YEAR_H = 8766.0
YEAR_OFF = 0.01
"""Hours that differ by a larger share from those of a year are told; our choice."""
CLOSED_GAP = 0.5
"""Gaps between all classes are closed when none is wider than this share of the step from class to
class: whole numbers leave such gaps (1 to 3, 4 to 6); our choice."""
OPEN_CLASS_MS = 250.0
"""Stands for the missing upper bound of the last Beaufort class: no wind gets there."""

_LOWER = (
    "from",
    "lower",
    "low",
    "above",
    "lower edge",
    "speed from",
    "wind speed from",
    "bin from",
)
_UPPER = ("to", "upper", "high", "up to", "upper edge", "speed to", "wind speed to", "bin to")
_CENTRE = (
    *(*RECOGNISED_COLUMNS["speed"], "centre", "center", "bin", "class", "speed bin"),
    *("speed class", "wind speed class", "wind class", "wind speed bin", "wind bin"),
)
_WEIGHT = (*SHARE_WORDS, "count", "number", "time", "h")
_CLASS = re.compile(r"(\d+(?:\.\d+)?) ?(?:-|\N{EN DASH}|to) ?(\d+(?:\.\d+)?)")
_MONTH = RECOGNISED_COLUMNS["month"]
_MONTH_NAMES = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


@frozen_dataclass
class FrequencyTable:
    """How much of the time the speed lay within each of several classes; arrays of shape (n,)."""

    lower_ms: FloatArray  # rising; each class begins where the one before ends, or later
    upper_ms: FloatArray
    share: FloatArray  # of time, together 1
    hours: float | None  # that the table covers, where it gives hours
    provenance: Provenance


@frozen_dataclass
class MonthlyMeans:
    """Twelve monthly means in m/s, January first."""

    speed_ms: FloatArray
    provenance: Provenance


class MiddlesOfClasses(Finding):
    """A column holds the middle of each class, which reaches half-way to its neighbours."""

    source: str
    heading: str


class HoursNotAYear(Finding):
    """The hours of a frequency table do not add up to those of a year, and were stretched to it."""

    source: str
    hours: float


class GapsClosed(Finding):
    """All classes end a little below the next, as rounded bounds do; they were made to meet."""

    source: str
    gap_ms: float


class GapBetweenClasses(Finding):
    """No class covers some speeds, so that no wind is counted there."""

    source: str
    from_ms: float
    to_ms: float


class SharesNotWhole(Finding):
    """The shares of a frequency table do not add up to the whole, and were stretched to it."""

    source: str
    heading: str
    total: float
    whole: float


def read_frequency_table(
    source: str | PathLike[str] | pd.DataFrame | pd.Series[Any],
    *,
    options: TableOptions | None = None,
    **stated: object,
) -> FrequencyTable:
    """Read a frequency table; `options`, or fields of them, state what is not to be recognised.

    It has two columns of class bounds, or one of class middles (or of Beaufort numbers), and one of
    hours, shares, percentages or counts. An `InputError` says that a column is missing, that
    classes overlap or do not rise, or that a share is missing or below zero.
    """
    options = options_of(TableOptions, options, stated)
    table, below = _table(source, "class", "share", options, (*_LOWER, *_CENTRE), _has_digits)
    path, layout = table.path, table.layout
    if options.sensor is not None or options.columns.stated:
        raise InputError(
            f"{path}: sensor and columns pick a column of speeds, and a frequency table has "
            "classes; leave them out, and head the columns from (m/s), to (m/s), percent."
        )
    lower_name, upper_name = _column(path, layout, _LOWER), _column(path, layout, _UPPER)
    centre_name = _column(path, layout, _CENTRE)
    weight_name = _column(path, layout, _WEIGHT)
    if weight_name is None or (centre_name is None and None in (lower_name, upper_name)):
        raise InputError(
            f"{path}: a frequency table needs a column of speeds (or two, from and to) and one of "
            f"hours or share; the columns are {', '.join(map(repr, layout.headings))}; head them, "
            "for example, from (m/s), to (m/s), percent."
        )
    table = table.rising(str(centre_name or lower_name))
    assumed: list[Finding] = []
    if lower_name is not None and upper_name is not None:
        unit = _one_unit(path, layout, lower_name, upper_name, options.units)
        lower = to_metres_per_second(_filled(table, lower_name), unit)
        upper = to_metres_per_second(_filled(table, upper_name), unit)
        speeds = f"classes from {lower_name!r} to {upper_name!r}"
    else:
        name = str(centre_name)
        unit, _ = unit_of_column(path, layout, "speed", name, options.units)
        speeds = f"classes of {name!r}"
        lower, upper, middles = _classes(table, name, unit)
        assumed += [MiddlesOfClasses(path.name, name)] * middles
    wrong = (upper <= lower) | (lower < 0)
    # A hair of overlap is rounding of a unit conversion.
    wrong[1:] |= lower[1:] < upper[:-1] - 1e-6
    table.refuse(
        wrong,
        lambda row: (
            f"the class from {lower[row]:.4g} to {upper[row]:.4g} m/s does not rise, or overlaps "
            "the one before; sort the lines and mend the bounds."
        ),
    )
    weight = _filled(table, weight_name)
    table.refuse(
        weight < 0,
        lambda row: f"{weight[row]:g} in column {weight_name!r} is below zero; mend the value.",
    )
    total = float(weight.sum())
    if total <= 0:
        raise InputError(f"{path}: column {weight_name!r} adds up to nothing.")
    lower, upper, gaps = _without_gaps(str(path), lower, upper)
    hours, warnings = _whole(path, take_apart(weight_name).base, weight_name, total)
    return FrequencyTable(
        lower_ms=lower,
        upper_ms=upper,
        share=weight / total,
        hours=hours,
        provenance=Provenance(
            str(path),
            f"{speeds} in {unit}, share of time from {weight_name!r}",
            tuple(assumed),
            (*below, *gaps, *warnings),
        ),
    )


def read_monthly_means(
    source: str | PathLike[str] | pd.DataFrame | pd.Series[Any],
    *,
    height_m: float | None = None,
    options: TableOptions | None = None,
    **stated: object,
) -> MonthlyMeans:
    """Read twelve monthly means; `options`, or fields of them, state what is not recognised.

    A column holds months (numbers or English names), and one mean speeds; of several heights the
    one nearest to `height_m` is taken. An `InputError` says that a month is missing or twice there,
    that its speed is not above zero, or that several columns could be the speed.
    """
    options = options_of(TableOptions, options, stated)
    table, below = _table(
        source,
        "month",
        "speed",
        options,
        _MONTH,
        lambda cell: _month(cell) > 0 or _has_digits(cell),
    )
    path, layout = table.path, table.layout
    columns = stated_columns(path, layout, options)
    more = columns.keys() - {"month", "speed"}
    if more:
        raise InputError(
            f"{path}: monthly means have no column of the {min(more)}; state those of the month "
            "and the speed alone."
        )
    month_name = columns.get("month", _column(path, layout, _MONTH))
    if month_name is None:
        raise InputError(
            f"{path}: monthly means need a column of months; the columns are "
            f"{', '.join(map(repr, layout.headings))}; name one 'month', or state which it is "
            "(columns.month in a plan, --column month=HEADING on the command line)."
        )
    speed_name = columns.get("speed")
    if speed_name is None:
        speed_name = choose_speed(path, layout, parts_of(layout), height_m, options.sensor)[0].text
    unit, _ = unit_of_column(path, layout, "speed", speed_name, options.units)
    speed = to_metres_per_second(_filled(table, speed_name), unit)
    means = np.full(MONTHS, np.nan)
    for row, text in enumerate(table.texts(month_name)):
        number = _month(text)
        if not 1 <= number <= MONTHS or np.isfinite(means[number - 1]):
            raise InputError(
                f"{table.place(row)}: {text!r} in column {month_name!r} is not a month "
                "(1 to 12, or its English name), or is there twice."
            )
        means[number - 1] = speed[row]
    if np.isnan(means).any():
        missing = int(np.argmax(np.isnan(means))) + 1
        raise InputError(f"{path}: month {missing} is missing; twelve monthly means are needed.")
    table.refuse(speed <= 0, lambda row: "a monthly mean must be above zero; mend the value.")
    method = f"monthly means of {speed_name!r} in {unit}"
    return MonthlyMeans(means, Provenance(str(path), method, warnings=below))


def _month(text: str) -> int:
    """Return the number that a cell gives as the month, 0 for a cell that gives none."""
    word = text.lower()
    if word[:3] in _MONTH_NAMES:
        return _MONTH_NAMES.index(word[:3]) + 1
    whole = word.removesuffix(".0")
    return int(whole) if whole.isdecimal() else 0


def _table(
    source: str | PathLike[str] | pd.DataFrame | pd.Series[Any],
    index: str,
    value: str,
    options: TableOptions,
    key_names: tuple[str, ...],
    is_key: Callable[[str], bool],
) -> tuple[Table, Findings]:
    """Read a table, setting aside and telling what stands below the last line with a key."""
    if isinstance(source, pd.DataFrame | pd.Series):
        return table_of_frame(source, index=index, value=value), ()
    path = Path(source)
    layout = layout_of(path, options)
    key = _column(path, layout, key_names)
    if key is not None:
        at = layout.headings.index(key)
        layout = without_footer(path, layout, lambda cells: at < len(cells) and is_key(cells[at]))
    table = next(read_blocks(path, layout, layout.headings, [], sys.maxsize))
    return table, () if layout.below is None else (layout.below,)


def _has_digits(cell: str) -> bool:
    # A last class written as "> 20" is no footer: it is named as what cannot be read.
    return any(map(str.isdigit, cell))


def _column(path: Path, layout: Layout, names: tuple[str, ...]) -> str | None:
    """Return the heading that is, without its unit, the first of these names to be there.

    Gusts, deviations and the like are passed over; an `InputError` says that several are called so.
    """
    if "%" in layout.headings and "percent" in names:
        return "%"
    parts = [part for part in parts_of(layout) if part.statistic in (None, "mean")]
    for name in names:
        found = [part.text for part in parts if part.base == name]
        if len(found) > 1:
            raise InputError(
                f"{path}: several columns could be the {name} ({', '.join(map(repr, found))}); "
                "keep one."
            )
        if found:
            return found[0]
    return None


def _filled(table: Table, name: str) -> FloatArray:
    """Return a column in which no cell may be blank."""
    values, _ = numbers_of(table, name)
    table.refuse(np.isnan(values), lambda row: f"column {name!r} is blank; fill it in.")
    return values


def _around(table: Table, name: str, middle: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the bounds of classes of which the middles are known."""
    if middle.size < 2:
        raise InputError(f"{table.path}: a frequency table needs two classes at least.")
    table.refuse(
        np.diff(middle, prepend=-np.inf) <= 0,
        lambda row: (
            f"the speed in column {name!r} does not lie above that of the line before; sort the "
            "lines by speed."
        ),
    )
    between = (middle[1:] + middle[:-1]) / 2
    first = max(0.0, 2 * float(middle[0]) - float(between[0]))
    last = 2 * float(middle[-1]) - float(between[-1])
    return np.concatenate(([first], between)), np.concatenate((between, [last]))


def _classes(table: Table, name: str, unit: str) -> tuple[FloatArray, FloatArray, bool]:
    """Return the bounds of the classes of one column, and whether it holds their middles."""
    if unit == "Beaufort":
        return *_beaufort_classes(table, name, _filled(table, name)), False
    bounds = [_CLASS.fullmatch(text) for text in table.texts(name)]
    if all(bounds):
        each = np.array([match.groups() for match in bounds if match], dtype=np.float64)
        lower, upper = to_metres_per_second(each, unit).T
        return lower, upper, False
    return *_around(table, name, to_metres_per_second(_filled(table, name), unit)), True


def _beaufort_classes(
    table: Table, name: str, numbers: FloatArray
) -> tuple[FloatArray, FloatArray]:
    wrong = (numbers != np.round(numbers)) | (numbers < 0) | (numbers >= BEAUFORT_EDGES_MS.size)
    table.refuse(
        wrong,
        lambda row: f"{numbers[row]:g} in column {name!r} is not a Beaufort number from 0 to 12.",
    )
    edges = np.append(BEAUFORT_EDGES_MS, OPEN_CLASS_MS)
    index = numbers.astype(np.int64)
    return edges[index], edges[index + 1]


def _one_unit(path: Path, layout: Layout, lower: str, upper: str, stated: str | None) -> str:
    """Return the unit of both bounds of the classes; refuse two."""
    said = [name for name in (lower, upper) if stated or unit_in_heading("speed", name)]
    units = {unit_of_column(path, layout, "speed", name, stated)[0] for name in said or [lower]}
    if len(units) > 1:
        raise InputError(
            f"{path}: {lower!r} and {upper!r} are in different units; write both in one."
        )
    return units.pop()


def _without_gaps(
    source: str, lower: FloatArray, upper: FloatArray
) -> tuple[FloatArray, FloatArray, Findings]:
    """Close the gaps that rounding leaves between all classes; name the first of any other."""
    gap = lower[1:] - upper[:-1]
    open_ = gap > 1e-6
    if not open_.any():
        return lower, upper, ()
    if open_.all() and (gap <= CLOSED_GAP * np.diff(lower) + 1e-6).all():
        middle = upper[:-1] + gap / 2
        lower, upper = np.append(lower[:1], middle), np.append(middle, upper[-1] + gap[-1] / 2)
        return lower, upper, (GapsClosed(source, float(gap.max())),)
    at = int(np.argmax(open_))
    return lower, upper, (GapBetweenClasses(source, float(upper[at]), float(lower[at + 1])),)


def _whole(path: Path, base: str, name: str, total: float) -> tuple[float | None, Findings]:
    """Return the hours of a table, and a warning where its shares do not make a whole."""
    if base.startswith("h"):
        if abs(total - YEAR_H) > YEAR_OFF * YEAR_H:
            return total, (HoursNotAYear(str(path), total),)
        return total, ()
    if base in ("count", "number"):
        return None, ()
    whole = 100.0 if total > 2 else 1.0
    if abs(total - whole) > 0.01 * whole:
        return None, (SharesNotWhole(str(path), name, total, whole),)
    return None, ()
