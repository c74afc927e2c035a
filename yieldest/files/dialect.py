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
from yieldest.files.cell_kinds import (
    STATISTIC_CELLS,
    holds_units,
    is_data,
    is_number,
    is_reading,
    readings_end,
)
from yieldest.files.file_kind import markup_kind
from yieldest.files.text_file import LONGEST_LINE, encoding_of, open_text

DELIMITERS = {"\t": "tab", ";": "semicolon", "|": "pipe", ",": "comma", " ": "spaces"}
"""The delimiters that are recognised, the surest first: a comma may be in a number, a space in a
time."""

LONGEST_HEAD = 2000
"""Longer headings than this (characters) do not come again below; our choice."""
_SAMPLE_LINES = 500
_SAMPLE_CHARACTERS = 2 * LONGEST_LINE
"""Of very long lines fewer are looked at."""
_LONGEST_HEADING = 500
_COMMENT = re.compile(r"\s*(#|%|//)")
_ONE_CELL = re.compile(r'(?=.*[,;|\t])[,;|\s]*("[^"]*"|[^,;|\t"]*)[,;|\s]*')
"""A line of a spreadsheet with one cell filled, or none: a title, no heading."""
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")


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
    statistics : tuple of str
        The cells of a line below the heading that says Avg, Max or such; empty without one.
    last_line : int or None
        The last line that may hold data; None where that is the last of the file.
    below : str or None
        What stands below that line, in words; None where nothing does.
    head : tuple of str
        The lines of heading, units and statistics as they stand, for loggers write them anew.
    """

    encoding: str
    delimiter: str
    decimal: str
    headings: tuple[str, ...]
    units: tuple[str, ...]
    heading_line: int
    data_line: int
    statistics: tuple[str, ...] = ()
    last_line: int | None = None
    below: str | None = None
    head: tuple[str, ...] = ()


def is_comment(line: str) -> bool:
    """Tell whether a line is a comment: # or % or // at its start."""
    return _COMMENT.match(line) is not None


def carries_data(line: str, head: Sequence[str] = ()) -> bool:
    """Tell whether a line is neither blank nor a comment nor one of `head` (see `Layout`)."""
    return bool(line.strip()) and not is_comment(line) and line.strip() not in head


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
    kind = markup_kind("".join(line for _, line in lines[:2]))
    if kind is not None:
        raise InputError(f"{path}: {kind}.")
    below = [(number, line) for number, line in lines if number > (skip_lines or 0)]
    content = [(number, line) for number, line in below if carries_data(line)]
    if not content:
        raise InputError(f"{path}: the file is empty; a heading and data lines were expected.")
    units: list[str] = []
    statistics: list[str] = []
    if headings:
        heading, heading_line, data_line = list(headings), 0, content[0][0]
        delimiter = delimiter or _delimiter(content)
    elif skip_lines is not None or not titled:
        below_title = dropwhile(lambda row: _ONE_CELL.fullmatch(row[1]), content)
        content = list(below_title) or content
        heading_line, text = content[0]
        delimiter = delimiter or _delimiter_of_heading(text, content)
        heading, data_line = split_line(text, delimiter), heading_line + 1
        if len(content) > 1 and holds_units(split_line(content[1][1], delimiter)):
            units, data_line = split_line(content[1][1], delimiter), content[1][0] + 1
    else:
        delimiter = delimiter or _delimiter(content)
        found = _find_heading(path, below, content, delimiter)
        heading, units, statistics, heading_line, data_line = found
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
    elif len(data[0]) == len(heading) - 1 and not heading[-1]:
        heading = heading[:-1]  # the heading alone ends in a delimiter
    if headings and len(data[0]) != len(heading):
        raise InputError(
            f"{path}, line {data_line}: {len(data[0])} cells, but {len(heading)} headings are "
            "stated; state one heading for each cell."
        )
    head = tuple(
        line.strip()
        for number, line in content
        if 0 < heading_line <= number < data_line and len(line) <= LONGEST_HEAD
    )
    return Layout(
        encoding=encoding,
        delimiter=delimiter,
        decimal=decimal or _decimal(path, data, delimiter, titled),
        headings=_different(heading),
        units=tuple(units),
        heading_line=heading_line,
        data_line=data_line,
        statistics=tuple(statistics),
        head=() if head and is_data(heading) else head,
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


_Heading = tuple[list[str], list[str], list[str], int, int]
"""Heading, units, statistics, line of the heading, first line of data."""


def _find_heading(
    path: Path, lines: list[tuple[int, str]], content: list[tuple[int, str]], delimiter: str
) -> _Heading:
    """Walk up from the last data line to the heading."""
    rows = [(number, split_line(line, delimiter)) for number, line in content]
    data = [cells for _, cells in rows[: readings_end([cells for _, cells in rows])]
            if is_data(cells)]  # fmt: skip
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
            raise _no_heading(path, rows, first, width, delimiter)
        heading, units, statistics, heading_line, _ = found
        return heading, units, statistics, heading_line, first
    return found


def _no_heading(
    path: Path, rows: list[tuple[int, list[str]]], first: int, width: int, delimiter: str
) -> InputError:
    """Say that no heading was found, and what the line that looks like one lacks."""
    text = [(number, cells) for number, cells in rows if number < first and not is_data(cells)]
    if not text or len(text[-1][1]) == 1:
        return InputError(
            f"{path}, line {first}: no heading line was found above this, the first line of data; "
            "write one, such as time;speed (m/s), or state the headings (headings; on the command "
            "line --headings A,B,C)."
        )
    number, cells = text[-1]
    why = {
        " ": "does a heading, or a time, have a space in it?",
        ",": "do the numbers have decimal commas? Then save the file with semicolons.",
    }.get(delimiter, "mend the heading.")
    return InputError(
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
    fitting = [
        index
        for index, (_, cells) in enumerate(rows)
        if _fits(cells, width, ends) and not is_data(cells)
    ]
    if not fitting:
        return None
    runs = [
        [cells for _, cells in rows[start + 1 : end] if len(cells) == width]
        for start, end in zip(fitting, [*fitting[1:], len(rows)], strict=True)
    ]
    # Lines such as "Elevation;120" above a heading look like data, so the first heading over real
    # readings counts, else the one over most lines.
    real = [sum(map(is_reading, run)) >= min(3, max(1, len(run))) for run in runs]
    chosen = (
        real.index(True) if any(real) else max(range(len(runs)), key=lambda n: (len(runs[n]), n))
    )
    at = fitting[chosen]
    after = rows[at][0] + 1
    units: list[str] = []
    statistics: list[str] = []
    if at > 0 and all(cell.lower() in STATISTIC_CELLS or not cell for cell in rows[at][1]):
        statistics = rows[at][1]
        at -= 1
    if at > 0 and len(rows[at - 1][1]) == len(rows[at][1]) and holds_units(rows[at][1]):
        units = rows[at][1]
        at -= 1
    return rows[at][1], units, statistics, rows[at][0], after


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
