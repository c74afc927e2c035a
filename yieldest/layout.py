"""How a delimited text file is laid out: where its heading is, what parts its cells."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import dropwhile, islice
from pathlib import Path
from typing import TextIO

from yieldest.errors import InputError
from yieldest.textfile import LONGEST_LINE, encoding_of, open_text

DELIMITERS = {"\t": "tab", ";": "semicolon", "|": "pipe", ",": "comma", " ": "spaces"}
"""The delimiters that are recognised, the surest first: a comma may be in a number, a space in a
time."""

MISSING_WORDS = frozenset(
    {"", "na", "n/a", "#n/a", "nan", "-nan", "null", "none", "nil", "missing", "m", "x", "-", "--"}
    | {"---", "----", "-----", "...", "?", "*", "**", "***", "/", "//", "///", "////"}
)
"""Cells, in lower case, that stand for a value that is not there."""

_SAMPLE_LINES = 500
_SAMPLE_CHARACTERS = 2 * LONGEST_LINE
"""Of very long lines fewer are looked at."""
_LONGEST_HEADING = 500
_COMMENT = re.compile(r"\s*(#|%|//)")
_ONE_CELL = re.compile(r'(?=.*[,;|\t])[,;|\s]*("[^"]*"|[^,;|\t"]*)[,;|\s]*')
"""A line of a spreadsheet with one cell filled, or none: a title, no heading."""
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_DATE = re.compile(r"\d{1,8}[-/.:T ](\d|[A-Za-z]{3})")
_UNIT_CELLS = frozenset(
    {"m/s", "m/sec", "meters/second", "metres/second", "mps", "ms-1", "m s-1", "mph", "km/h"}
    | {"kmh", "kph", "kn", "kt", "kts", "knots", "ft/s", "fps", "bft", "beaufort"}
    | {
        "deg",
        "degt",
        "degrees",
        "°",
        "deg c",
        "deg f",
        "degc",
        "c",
        "°c",
        "f",
        "degf",
        "°f",
        "k",
        "hpa",
    }
    | {"mbar", "mb", "pa", "kpa", "inhg", "mmhg", "%", "v", "volts", "w", "w/m2", "w/m^2", "mm"}
    | {"mv", "a", "amps", "ma", "watts", "kw", "ohm", "ohms", "rpm"}
    | {"ts", "rn", "utc", "local", "yyyy-mm-dd hh:mm", "yyyy-mm-dd hh:mm:ss", "yr", "mo", "dy"}
    | {"hr", "mn", "h", "min", "s", "hh:mm", "yyyy-mm-dd", "dd.mm.yyyy", "dd/mm/yyyy", "hpa"}
    | {"mm/dd/yyyy", "date", "time", "nmi", "ft", "mi"}
)
_STATISTIC_CELLS = frozenset({"smp", "avg", "std", "max", "min", "wvc", "tot", "mean", "sample"})


@dataclass(frozen=True)
class Layout:
    """How a delimited text file is laid out.

    Parameters
    ----------
    encoding, delimiter, decimal : str
        The delimiter " " means runs of spaces.
    headings : tuple of str
        One for each cell of a line, all different.
    units : tuple of str
        The cells of a units line below the heading; empty where there is none.
    heading_line : int
        Line (from 1) of the heading; 0 where the headings were stated.
    data_line : int
        Line from which on every line that is neither blank nor a comment holds data.
    """

    encoding: str
    delimiter: str
    decimal: str
    headings: tuple[str, ...]
    units: tuple[str, ...]
    heading_line: int
    data_line: int


def is_comment(line: str) -> bool:
    """Tell whether a line is a comment: # or % or // at its start."""
    return _COMMENT.match(line) is not None


def carries_data(line: str) -> bool:
    """Tell whether a line is neither blank nor a comment."""
    return bool(line.strip()) and not is_comment(line)


def split_line(line: str, delimiter: str) -> list[str]:
    """Part a line into stripped cells."""
    if delimiter == " ":
        return line.split()
    line = line.rstrip("\r\n")
    try:
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        # A cell beyond all measure (131,072 characters): its quotes mean nothing.
        cells = line.split(delimiter)
    return [cell.strip() for cell in cells]


def layout_of(
    path: Path,
    *,
    encoding: str | None = None,
    delimiter: str | None = None,
    decimal: str | None = None,
    skip_lines: int | None = None,
    headings: Sequence[str] = (),
    titled: bool = True,
) -> Layout:
    """Find out how a file is laid out from its first 500 lines.

    Parameters
    ----------
    path : Path
    encoding, delimiter, decimal, skip_lines, headings : optional
        Whatever is stated is not looked for. `skip_lines` counts the lines above the heading.
    titled : bool
        Whether lines of other text may stand above the heading.

    Raises
    ------
    InputError
        When the file is empty, or no heading or no data are found.
    """
    encoding = encoding or encoding_of(path)
    with open_text(path, encoding) as stream:
        lines = list(enumerate(_sample(stream), start=1))
    below = [(number, line) for number, line in lines if number > (skip_lines or 0)]
    content = [(number, line) for number, line in below if carries_data(line)]
    if not content:
        raise InputError(f"{path}: the file is empty; a heading and data lines were expected.")
    units: list[str] = []
    if headings:
        heading, heading_line, data_line = list(headings), 0, content[0][0]
        delimiter = delimiter or _delimiter(content)
    elif skip_lines is not None or not titled:
        below_title = dropwhile(lambda row: _ONE_CELL.fullmatch(row[1]), content)
        content = list(below_title) or content
        heading_line, text = content[0]
        delimiter = delimiter or _delimiter_of_heading(text, content)
        heading, data_line = split_line(text, delimiter), heading_line + 1
        if len(content) > 1 and _holds_units(split_line(content[1][1], delimiter)):
            units, data_line = split_line(content[1][1], delimiter), content[1][0] + 1
    else:
        delimiter = delimiter or _delimiter(content)
        heading, units, heading_line, data_line = _find_heading(path, below, content, delimiter)
    longest = max(map(len, heading))
    if longest > _LONGEST_HEADING:
        raise InputError(
            f"{path}, line {heading_line}: a heading has {longest:,} characters, where "
            f"{_LONGEST_HEADING} are the most; check the file and its delimiter."
        )
    data = [split_line(line, delimiter) for number, line in content if number >= data_line]
    if not data:
        raise InputError(f"{path}: there is a heading but no data line below it.")
    if len(data[0]) == len(heading) + 1 and not any(row[-1] for row in data if row):
        heading = [*heading, ""]  # every data line ends in a delimiter
    if headings and len(data[0]) != len(heading):
        raise InputError(
            f"{path}, line {data_line}: {len(data[0])} cells, but {len(heading)} headings are "
            "stated; state one heading for each cell."
        )
    return Layout(
        encoding=encoding,
        delimiter=delimiter,
        decimal=decimal or _decimal(path, data, delimiter),
        headings=_different(heading),
        units=tuple(units),
        heading_line=heading_line,
        data_line=data_line,
    )


def _sample(stream: TextIO) -> Iterator[str]:
    characters = 0
    for line in islice(stream, _SAMPLE_LINES):
        yield line
        characters += len(line)
        if characters > _SAMPLE_CHARACTERS:
            return


def _delimiter_of_heading(heading: str, content: list[tuple[int, str]]) -> str:
    best = max(DELIMITERS, key=lambda mark: heading.count(mark) if mark != " " else 0)
    return best if best in heading else _delimiter(content)


def _delimiter(content: list[tuple[int, str]]) -> str:
    """Choose the delimiter that gives most data lines the same number of cells as a heading."""
    lines = [line.strip() for _, line in content]
    alone = sum(_NUMBER.fullmatch(line) is not None for line in lines)
    if 2 * alone >= len(lines) and not any(mark in lines[0] for mark in ",;\t|"):
        return ";"  # one number a line, perhaps with a decimal comma: nothing to part
    fallback = None
    for mark in DELIMITERS:
        counts = Counter(len(split_line(line, mark)) for line in lines[-50:])
        cells, often = counts.most_common(1)[0]
        if cells < 2 or often < min(50, len(lines)) / 2:
            continue
        ends = lines[-1].endswith(mark)
        for line in lines:
            row = split_line(line, mark)
            if _fits(row, cells, ends) and not _is_data(row):
                return mark
        fallback = fallback or mark
    return fallback or ","


def _is_data(cells: list[str]) -> bool:
    """Tell whether any cell is a number or a date, or all are marks of missing values."""
    return any(_NUMBER.fullmatch(cell) or _DATE.match(cell) for cell in cells) or all(
        cell.lower() in MISSING_WORDS for cell in cells
    )


def _is_reading(cells: list[str]) -> bool:
    """Tell whether cells are a time with something beside it, or three numbers."""
    numbers = sum(_NUMBER.fullmatch(cell) is not None for cell in cells)
    dates = sum(_NUMBER.fullmatch(cell) is None and bool(_DATE.match(cell)) for cell in cells)
    return numbers >= 3 or (dates > 0 and len(cells) > 1)


def _find_heading(
    path: Path, lines: list[tuple[int, str]], content: list[tuple[int, str]], delimiter: str
) -> tuple[list[str], list[str], int, int]:
    """Walk up from the last data line to the heading."""
    rows = [(number, split_line(line, delimiter)) for number, line in content]
    data = [cells for _, cells in rows if _is_data(cells)]
    if not data:
        raise InputError(
            f"{path}: there is a heading but no data line below it; give one line per reading."
        )
    width = Counter(map(len, data[-50:])).most_common(1)[0][0]
    ends = all(not cells[-1] for cells in data[-50:] if len(cells) == width)
    found = _heading_among(rows, width, ends)
    if found is None:
        # Some loggers write the heading as a comment.
        first = next(number for number, cells in rows if len(cells) == width)
        comments = [
            (number, split_line(_COMMENT.sub("", line), delimiter))
            for number, line in lines
            if number < first and is_comment(line)
        ]
        found = _heading_among(comments, width, ends)
        if found is None:
            raise InputError(
                f"{path}, line {first}: no heading line was found above this, the first line of "
                "data; write one, such as time;speed (m/s), or state the headings (headings; on "
                "the command line --headings)."
            )
        heading, units, heading_line, _ = found
        return heading, units, heading_line, first
    return found


def _fits(cells: list[str], width: int, ends: bool) -> bool:
    """Tell whether cells can be a heading; `ends` where data lines end in a delimiter."""
    return len(cells) == width or (ends and len(cells) == width - 1)


def _heading_among(
    rows: list[tuple[int, list[str]]], width: int, ends: bool
) -> tuple[list[str], list[str], int, int] | None:
    """Return heading, units, line of the heading, line after; of the text line that fits."""
    fitting = [
        index
        for index, (_, cells) in enumerate(rows)
        if _fits(cells, width, ends) and not _is_data(cells)
    ]
    if not fitting:
        return None
    runs = [
        [cells for _, cells in rows[start + 1 : end] if len(cells) == width]
        for start, end in zip(fitting, [*fitting[1:], len(rows)], strict=True)
    ]
    # Lines such as "Elevation;120" above a heading look like data, so the first heading over real
    # readings counts, else the one over most lines.
    real = [sum(map(_is_reading, run)) >= min(3, max(1, len(run))) for run in runs]
    chosen = (
        real.index(True) if any(real) else max(range(len(runs)), key=lambda n: (len(runs[n]), n))
    )
    at = fitting[chosen]
    after = rows[at][0] + 1
    units: list[str] = []
    if at > 0 and all(cell.lower() in _STATISTIC_CELLS or not cell for cell in rows[at][1]):
        at -= 1
    if at > 0 and len(rows[at - 1][1]) == len(rows[at][1]) and _holds_units(rows[at][1]):
        units = rows[at][1]
        at -= 1
    return rows[at][1], units, rows[at][0], after


def _holds_units(cells: list[str]) -> bool:
    """Tell whether a line below a heading names units and nothing else."""
    plain = [cell.strip("()[] ").lower() for cell in cells]
    return (
        any(plain)
        and all(cell in _UNIT_CELLS or cell in MISSING_WORDS for cell in plain)
        and (any(cell in _UNIT_CELLS for cell in plain))
    )


def _decimal(path: Path, rows: list[list[str]], delimiter: str) -> str:
    if delimiter == ",":
        return "."
    first = {
        mark: cell
        for row in reversed(rows)
        for cell in reversed(row)
        for mark in ".,"
        if mark in cell and _NUMBER.fullmatch(cell)
    }
    if len(first) == 2:
        raise InputError(
            f"{path}: {first['.']!r} has a decimal point and {first[',']!r} a decimal comma; write "
            "all numbers in one way, or state decimal (on the command line --decimal)."
        )
    return "," if "," in first else "."


def _different(headings: list[str]) -> tuple[str, ...]:
    """Put a number behind headings that occur more than once."""
    seen: Counter[str] = Counter()
    names = []
    for heading in headings:
        seen[heading] += 1
        names.append(heading if seen[heading] == 1 else f"{heading} ({seen[heading]})")
    return tuple(names)
