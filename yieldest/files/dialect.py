"""How a delimited text file is laid out: its heading, what parts its cells, what stands below."""

from __future__ import annotations

import csv
import re
from collections import Counter, deque
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import dropwhile, pairwise
from pathlib import Path
from typing import Annotated, NamedTuple

import numpy as np
from pydantic import Field, Strict

from yieldest.errors import InputError
from yieldest.files.text_file import (
    LONGEST_LINE,
    encoding_of,
    open_text,
    refuse_markup,
    skip_all_but,
)
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding
from yieldest.settings import DecimalMark, Settings, Words, key
from yieldest.units import SPELLINGS

DELIMITERS = {"\t": "tab", ";": "semicolon", "|": "pipe", ",": "comma", " ": "spaces"}
"""The delimiters that are recognised, the surest first: a comma may be in a number, a space in a
time."""

LONGEST_HEAD = 2000
"""Longer headings than this (characters) do not come again below; our choice."""
TAIL_CHARACTERS = 2**20
"""So much of the end of a file is looked at for lines below the data."""
MOST_LINES_BELOW = 1000
"""More lines of text than this below the data are no notes; our choice."""
_SHOWN = 60
RECOGNISED = "it is recognised"
_SAMPLE_LINES = 500
_LONGEST_HEADING = 500
_COMMENT = re.compile(r"\s*(#|%|//)")
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
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
    {spelling for spellings in SPELLINGS.values() for spelling in spellings}
    | {"deg", "degt", "degn", "deg n", "deg true", "degrees", "°", "°n", "%", "v", "volts", "mv"}
    | {"a", "amps", "ma", "w", "w/m2", "w/m^2", "watts", "kw", "ohm", "ohms", "rpm", "mm", "nmi"}
    | {"ft", "mi", "ts", "rn", "utc", "local", "date", "time", "yr", "mo", "dy", "hr", "mn", "h"}
    | {"min", "s", "hh:mm", "yyyy-mm-dd", "dd.mm.yyyy", "dd/mm/yyyy", "mm/dd/yyyy"}
    | {"yyyy-mm-dd hh:mm", "yyyy-mm-dd hh:mm:ss"}
)
STATISTIC_CELLS = frozenset({"smp", "avg", "std", "max", "min", "wvc", "tot", "mean", "sample"})


class LayoutOptions(Settings):
    """What can be stated about the layout of a text file; what is left out is recognised."""

    delimiter: Words | None = key("the character between cells", ";", left_out=RECOGNISED)
    decimal: DecimalMark | None = key("decimal mark", ",", left_out=RECOGNISED)
    encoding: str | None = key("encoding of the text", "latin-1", left_out=RECOGNISED)
    skip_lines: Annotated[int, Field(ge=0)] | None = key(
        "lines above the heading", 3, left_out=RECOGNISED
    )
    headings: Annotated[list[str], Strict(False)] | None = key(
        "the headings of a file that has none", ["time", "speed (m/s)"]
    )


class LinesBelowData(Finding):
    """Lines below the data, such as totals and notes, were set aside; `cut` is one cut short."""

    source: str
    first_line: int
    last_line: int
    lines: int
    shown: str
    cut: bool


@frozen_dataclass
class Layout:
    """How a delimited text file is laid out; lines count from 1."""

    encoding: str
    delimiter: str  # " " means runs of spaces
    decimal: str
    headings: tuple[str, ...]  # one for each cell of a line, all different
    units: tuple[str, ...]  # the cells of a units line below the heading, where there is one
    heading_line: int  # 0 where the headings were stated
    data_line: int  # from here on every line that is no blank or comment is data; 0: a data frame
    statistics: tuple[str, ...] = ()  # the cells of a line that says Avg, Max or such
    last_line: int | None = None  # None where the last of the file may hold data
    below: LinesBelowData | None = None
    head: tuple[str, ...] = ()  # the lines of the heading as they stand: loggers write them anew


class _Heading(NamedTuple):
    cells: list[str]
    line: int
    data_line: int
    units: Sequence[str] = ()
    statistics: Sequence[str] = ()


def carries_data(line: str, head: Sequence[str] = ()) -> bool:
    """Tell whether a line is neither blank nor a comment nor one of `head` (see `Layout`)."""
    return bool(line.strip()) and not _COMMENT.match(line) and line.strip() not in head


def split_line(line: str, delimiter: str) -> list[str]:
    """Part a line into stripped cells."""
    if delimiter == " ":
        return line.split()
    line = line.rstrip("\r\n")
    if '"' not in line:
        return [cell.strip() for cell in line.split(delimiter)] if line else []
    try:
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        # A cell beyond all measure (131,072 characters): its quotes mean nothing.
        cells = line.split(delimiter)
    return [cell.strip() for cell in cells]


_NOTHING_STATED = LayoutOptions.unstated()


def layout_of(
    path: Path, options: LayoutOptions = _NOTHING_STATED, *, titled: bool = True
) -> Layout:
    """Find out how a file is laid out from its first 500 lines; what is stated is not looked for.

    Lines of other text may stand above the heading if the table is `titled`. An `InputError` says
    that the file is empty, or that no heading or no data are found.
    """
    encoding = options.encoding or encoding_of(path)
    skip_lines, headings = options.skip_lines, options.headings or []
    with open_text(path, encoding) as stream:
        # Of very long lines fewer are looked at.
        lines: list[tuple[int, str]] = []
        left = 2 * LONGEST_LINE
        while left > 0 and len(lines) < _SAMPLE_LINES and (line := stream.readline()):
            lines.append((len(lines) + 1, line))
            left -= len(line)
    refuse_markup(path, "".join(line for _, line in lines[:2]))
    below = [(number, line) for number, line in lines if number > (skip_lines or 0)]
    content = [(number, line) for number, line in below if carries_data(line)]
    if not content:
        raise InputError(f"{path}: the file is empty; a heading and data lines were expected.")
    by_name = {name: mark for mark, name in DELIMITERS.items()} | {"\\t": "\t"}
    headed_first = not headings and (skip_lines is not None or not titled)
    content = _below_titles(content, bare=skip_lines is None) if headed_first else content
    delimiter = by_name.get(options.delimiter or "", options.delimiter)
    if delimiter is None:
        delimiter = _delimiter(content, headed_first)
    elif len(delimiter) != 1 or delimiter.isalnum() or delimiter in "\r\n\"'.-+":
        raise InputError(
            f"{path}: delimiter is {options.delimiter!r}, but one character between cells was "
            f"expected, or one of {', '.join(DELIMITERS.values())}; mend it."
        )
    if headings:
        found = _Heading(headings, 0, content[0][0])
    elif headed_first:
        found = _first_heading(content, delimiter)
    else:
        found = _find_heading(path, below, content, delimiter)
    heading = found.cells
    if (longest := max(map(len, heading))) > _LONGEST_HEADING:
        raise InputError(
            f"{path}, line {found.line}: a heading has {longest:,} characters, where "
            f"{_LONGEST_HEADING} are the most; check the file and its delimiter."
        )
    data = [split_line(line, delimiter) for number, line in content if number >= found.data_line]
    if not data:
        raise InputError(f"{path}: there is a heading but no data line below it.")
    if len(data[0]) == len(heading) + 1 and not any(row[-1] for row in data if row):
        heading = [*heading, ""]  # every data line ends in a delimiter
    elif len(data[0]) == len(heading) - 1 and not heading[-1]:
        heading = heading[:-1]  # the heading alone ends in a delimiter
    if headings and len(data[0]) != len(heading):
        raise InputError(
            f"{path}, line {found.data_line}: {len(data[0])} cells, but {len(heading)} headings "
            "are stated; state one heading for each cell."
        )
    head = tuple(
        line.strip()
        for number, line in content
        if 0 < found.line <= number < found.data_line and len(line) <= LONGEST_HEAD
    )
    return Layout(
        encoding=encoding,
        delimiter=delimiter,
        decimal=options.decimal or _decimal(path, data, delimiter, titled),
        headings=_different(heading),
        units=tuple(found.units),
        heading_line=found.line,
        data_line=found.data_line,
        statistics=tuple(found.statistics),
        head=() if head and is_data(heading) else head,
    )


def _below_titles(content: list[tuple[int, str]], *, bare: bool) -> list[tuple[int, str]]:
    """Return the lines from the heading on.

    Text without any mark between cells may be the heading of one column: with `bare` it is passed
    over as a title where the first line of several cells is no data.
    """
    below = list(dropwhile(lambda row: _is_title(row[1], bare=bare), content))
    first = below[0][1] if below else ""
    mark = _most_frequent_mark(first)
    if bare and (mark not in first or is_data(split_line(first, mark))):
        return _below_titles(content, bare=False)
    return below or content


def _is_title(line: str, *, bare: bool) -> bool:
    """Tell whether a line has one cell filled, or none; `bare` where it may have no mark either."""
    line = re.sub(r"(?<=\d),(?=\d)", ".", line)
    mark = _most_frequent_mark(line)
    if mark not in line:
        return bare and not all(map(is_number, line.split()))
    return sum(map(bool, split_line(line, mark))) <= 1


def _most_frequent_mark(line: str) -> str:
    return max((mark for mark in DELIMITERS if mark != " "), key=line.count)


def _first_heading(content: list[tuple[int, str]], delimiter: str) -> _Heading:
    """Return the first line, with the units that may stand below it."""
    (line, text), *rest = content
    units = split_line(rest[0][1], delimiter) if rest else []
    if holds_units(units):
        return _Heading(split_line(text, delimiter), line, rest[0][0] + 1, units)
    return _Heading(split_line(text, delimiter), line, line + 1)


def _delimiter(content: list[tuple[int, str]], headed_first: bool) -> str:
    """Choose the delimiter that gives most data lines the same number of cells as a heading.

    Where the first line is the heading, it alone tells.
    """
    if headed_first:
        text = content[0][1]
        best = _most_frequent_mark(text)
        if best in text:
            return best
    lines = [line.strip() for _, line in content]
    alone = sum(map(is_number, lines))
    if 2 * alone >= len(lines) and not any(mark in lines[0] for mark in ",;\t|"):
        return ";"  # one number a line, perhaps with a decimal comma: nothing to part
    fallback = None
    for mark in DELIMITERS:
        rows = [split_line(line, mark) for line in lines]
        end = readings_end(rows)
        counts = Counter(map(len, rows[max(0, end - 50) : end]))
        cells, often = counts.most_common(1)[0]
        if cells < 2 or often < min(50, end) / 2:
            continue
        ends = lines[end - 1].endswith(mark)
        for row in rows:
            if _fits(row, cells, ends) and not is_data(row):
                return mark
        fallback = fallback or mark
    return fallback or ","


def _find_heading(
    path: Path, lines: list[tuple[int, str]], content: list[tuple[int, str]], delimiter: str
) -> _Heading:
    """Walk up from the last data line to the heading."""
    rows = [(number, split_line(line, delimiter)) for number, line in content]
    readings = [cells for _, cells in rows]
    data = [cells for cells in readings[: readings_end(readings)] if is_data(cells)]
    if not data:
        raise InputError(
            f"{path}: there is a heading but no data line below it; give one line per reading."
        )
    width = Counter(map(len, data[-50:])).most_common(1)[0][0]
    ends = all(not cells[-1] for cells in data[-50:] if len(cells) == width)
    found = _heading_among(rows, width, ends)
    if found is not None:
        return found
    # Some loggers write the heading as a comment.
    first = next(number for number, cells in rows if len(cells) == width)
    comments = [
        (number, split_line(_COMMENT.sub("", line), delimiter))
        for number, line in lines
        if number < first and _COMMENT.match(line)
    ]
    found = _heading_among(comments, width, ends)
    if found is not None:
        return found._replace(data_line=first)
    text = [(number, cells) for number, cells in rows if number < first and not is_data(cells)]
    if not text or len(text[-1][1]) == 1:
        raise InputError(
            f"{path}, line {first}: no heading line was found above this, the first line of data; "
            "write one, such as time;speed (m/s), or state the headings (headings; on the command "
            "line --headings A,B,C)."
        )
    number, cells = text[-1]
    why = {
        " ": "does a heading, or a time, have a space in it?",
        ",": "do the numbers have decimal commas? Then save the file with semicolons.",
    }.get(delimiter, "mend the heading.")
    raise InputError(
        f"{path}, line {number}: the heading has {len(cells)} cells, parted by "
        f"{DELIMITERS.get(delimiter, delimiter)}, but the lines below it have {width}; {why} Or "
        f"state headings for all {width} and skip_lines = {number} (on the command line --headings "
        f"A,B,C --skip-lines {number})."
    )


def _fits(cells: list[str], width: int, ends: bool) -> bool:
    """Tell whether cells can be a heading; `ends` where data lines end in a delimiter."""
    return (
        len(cells) == width
        or (ends and len(cells) == width - 1)
        or (len(cells) == width + 1 and not cells[-1])
    )


def _heading_among(rows: list[tuple[int, list[str]]], width: int, ends: bool) -> _Heading | None:
    """Return what the text line that fits says, and the line after it."""
    text = [_fits(cells, width, ends) and not is_data(cells) for _, cells in rows]
    fitting = np.flatnonzero(text).tolist()
    if not fitting:
        return None
    runs = [
        [cells for _, cells in rows[start + 1 : end] if len(cells) == width]
        for start, end in pairwise([*fitting, len(rows)])
    ]
    # Lines such as "Elevation;120" above a heading look like data, so the first heading over real
    # readings, or over three lines of bare numbers, counts, else the one over most lines.
    real = [
        sum(map(is_reading, run)) >= min(3, max(1, len(run)))
        or sum(len(cells) > 1 and all(map(is_number, cells)) for cells in run) >= 3
        for run in runs
    ]
    longest = max(range(len(runs)), key=lambda n: (len(runs[n]), n))
    at = fitting[real.index(True) if any(real) else longest]
    # A logger that started anew wrote its heading again.
    at = next(n for n in fitting if rows[n][1] == rows[at][1])
    after = rows[at][0] + 1
    units, statistics = [], []
    if at > 0 and all(cell.lower() in STATISTIC_CELLS or not cell for cell in rows[at][1]):
        statistics = rows[at][1]
        at -= 1
    if at > 0 and len(rows[at - 1][1]) == len(rows[at][1]) and holds_units(rows[at][1]):
        units = rows[at][1]
        at -= 1
    return _Heading(rows[at][1], rows[at][0], after, units, statistics)


def _decimal(path: Path, rows: list[list[str]], delimiter: str, titled: bool) -> str:
    first = {
        mark: cell
        for row in reversed(rows)
        for cell in reversed(row)
        for mark in ".,"
        if mark in cell and is_number(cell)
    }
    if delimiter == "," and "," in first:
        # In quotes, then: "5,2" has a decimal comma, but "1,013" may be a thousand and thirteen.
        quoted = [cell for row in rows for cell in row if "," in cell and is_number(cell)]
        if all(_THOUSANDS.fullmatch(cell) for cell in quoted):
            if "." in first or not titled:
                return "."  # in a bill or a curve the number itself is refused then
            raise InputError(
                f"{path}: {quoted[0]!r} may be a number of thousands or of thousandths; state "
                "decimal (on the command line --decimal)."
            )
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


def is_data(cells: list[str]) -> bool:
    """Tell whether any cell is a number or a date, or all are marks of missing values."""
    return any(is_number(cell) or _DATE.match(cell) for cell in cells) or all(
        cell.lower() in MISSING_WORDS for cell in cells
    )


def is_reading(cells: list[str]) -> bool:
    """Tell whether cells are a time with something beside it, or three numbers."""
    others = [cell for cell in cells if not is_number(cell)]
    return len(cells) - len(others) >= NUMBERS_OF_A_READING or (
        len(cells) > 1 and any(map(_DATE.match, others))
    )


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
    return not _UNIT_CELLS.isdisjoint(plain) and set(plain) <= _UNIT_CELLS | MISSING_WORDS


def without_footer(path: Path, layout: Layout, holds_data: Callable[[list[str]], bool]) -> Layout:
    """Return a layout that ends with the last line of data, and says what stands below that.

    `holds_data` tells from its cells whether a line may be one of data, with too many or too few
    cells perhaps. Only lines below the last of these are set aside.
    """
    lines, last, skipped = _tail(path, layout, skip=True)
    below: list[tuple[int, str]] = []
    cut = empty = False
    for back, line in enumerate(reversed(lines)):
        if not carries_data(line, layout.head):
            continue
        cells = split_line(line, layout.delimiter)
        short = len(cells) < len(layout.headings)
        if not any(cells):
            empty = True  # a spreadsheet saves the blank rows below its data as bare delimiters
            continue
        if back == 0 and short:
            cut = line.lstrip()[:1].isdigit()  # else it is a note, and whole
        elif holds_data(cells):
            break
        below.append((back, line))
    else:
        return layout
    if len(below) > MOST_LINES_BELOW or not (below or empty):
        return layout
    if skipped:
        _, last, _ = _tail(path, layout, skip=False)
    number = last - back
    if number < layout.data_line:
        return layout
    if not below:
        return replace(layout, last_line=number)
    (first_back, text), (last_back, _) = below[-1], below[0]
    shown = text.strip() if len(text.strip()) <= _SHOWN else f"{text.strip()[:_SHOWN]}..."
    cut = cut and len(below) == 1
    found = LinesBelowData(str(path), last - first_back, last - last_back, len(below), shown, cut)
    return replace(layout, last_line=number, below=found)


def _tail(path: Path, layout: Layout, *, skip: bool) -> tuple[list[str], int, bool]:
    """Return the last lines, how many were read, and whether others were skipped before them.

    The last line is empty where the one before has an end. With `skip` only the end of a long file
    is read, where it can be.
    """
    blocks, ends = deque[str](maxlen=2), 0
    with open_text(path, layout.encoding) as stream:
        skipped = skip and skip_all_but(stream, TAIL_CHARACTERS)
        while block := stream.read(TAIL_CHARACTERS):
            ends += block.count("\n")
            blocks.append(block)
    return "".join(blocks).split("\n"), ends + 1, skipped
