"""Sentences, lists, tables and sections on the terminal."""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import groupby
from operator import itemgetter
from textwrap import wrap

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from yieldest.provenance import Finding
from yieldest.report.sentences.words import sentences
from yieldest.report.tables import Section, TableView, first_checks
from yieldest.units import raised

PLAIN_WIDTH = 100
SCREEN_LINES = 40
"""What the answers and the chart of a record or curve may take together; our choice."""
FEWEST_ROWS = 6
"""A chart with fewer shows nothing."""
_NARROW = 14
"""A column of words with no cell longer than this is not wrapped."""
_NAME = 20
"""A column of names with none longer than this has room before one of prose has."""
_GLUE = "\ue000"
_WITHIN_FIGURE = re.compile(r" (?=to |%)|(?<=\bto) |(?<=\bover) |(?<=\bbelow) ")
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(%|m/s|W/m2|W|kWh|h|m|min)(?![\w/]))")


def console() -> Console:
    """Return a console for standard output: 100 columns wide where nobody watches."""
    screen = Console(highlight=False, emoji=False)
    if not screen.is_terminal:
        screen.width = PLAIN_WIDTH
    return screen


def print_heading(text: str, screen: Console) -> None:
    """Print a heading, parted from what stands above it."""
    screen.print()
    screen.print(Text(text, style="bold"))


def print_list(heading: str, texts: Iterable[str], screen: Console) -> None:
    """Print a heading and a list under it, each text once; nothing when there is none."""
    items = list(dict.fromkeys(texts))
    if items and heading:
        print_heading(heading, screen)
    for item in items:
        print_text(item, screen, mark="- ")


def print_text(text: str, screen: Console, style: str = "", mark: str = "") -> None:
    """Print a text in lines, no number parted from its unit and no path at its hyphens.

    The first line stands behind a mark, the later ones under the first.
    """
    lines = wrap(
        _glued(text),
        screen.width,
        initial_indent=mark,
        subsequent_indent=" " * len(mark),
        break_on_hyphens=False,
    )
    screen.print(Text(raised("\n".join(lines).replace(_GLUE, " ")), style=style))


def _glued(text: str) -> str:
    """Return a text whose lines cannot end between a number and its unit."""
    return _BEFORE_UNIT.sub(_GLUE, text)


def print_answers(answers: Iterable[tuple[str, str]], screen: Console) -> int:
    """Print questions and their answers beside each other, and return how many lines that took.

    A question in a row is asked once.
    """
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True, style="bold")
    grid.add_column(overflow="fold")
    for question, several in groupby(answers, key=itemgetter(0)):
        for place, (_, answer) in enumerate(several):
            grid.add_row("" if place else question, Text(_glued(answer)))
    return _print_trimmed(grid, screen)


def rows_left(answers: int, around: int, most: int) -> int:
    """Return how many rows of a chart a screen has room for below its answers, `most` at most.

    `around` are the lines of title, headings and what stands below the chart.
    """
    return max(FEWEST_ROWS, min(most, SCREEN_LINES - answers - around))


def checks(warnings: Iterable[Finding | str], source: str) -> list[tuple[str, str]]:
    """Return the first warnings, without the name of the file, and how many more there are."""
    texts = []
    for each in sentences(warnings):
        text = each.removeprefix(source).lstrip(":, ")
        # The name of another file keeps its letters.
        texts.append(text if text == each else f"{text[0].upper()}{text[1:]}")
    return first_checks(texts)


def print_table(view: TableView, screen: Console) -> None:
    """Print a table under its caption, units in a column of their own."""
    screen.print()
    if view.caption:
        screen.print(Text(view.caption, style="bold"))
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    units = any(row.unit for row in view.rows)
    marks = any(row.best is not None for row in view.rows)
    kept = _widths(view, screen.width, 2 * marks)
    table.add_column(
        Text(view.heads[0]),
        overflow="fold",
        no_wrap=not view.words and not kept,
        width=kept[0] if kept else None,
    )
    for place, head in enumerate(view.heads[1:]):
        longest = max((len(row.cells[place]) for row in view.rows), default=0)
        prose = view.words and longest > _NARROW
        bars = view.bars and place == len(view.heads) - 2
        table.add_column(
            Text(head),
            justify="left" if prose or bars else "right",
            overflow="fold",
            no_wrap=view.words and not prose and not kept,
            width=kept[place + 1] if kept else None,
        )
    if units:
        table.add_column("unit")
    for row in view.rows:
        cells = [
            _marked(_unbroken(cell, view) if kept else cell, place == row.best, screen, marks)
            for place, cell in enumerate(row.cells)
        ]
        # Where the best cells are bold, a whole bold row would hide them.
        style = "bold" if row.strong and not marks else ""
        label = Text(_unbroken(row.label, view) if kept else row.label)
        table.add_row(label, *cells, *([row.unit] if units else []), style=style)
    _print_trimmed(table, screen)


def _print_trimmed(table: Table, screen: Console) -> int:
    """Print a table without the spaces at the ends of its lines, and return how many there are."""
    with screen.capture() as captured:
        screen.print(table)
    lines = captured.get().splitlines()
    for line in lines:
        screen.out(raised(line.replace(_GLUE, " ").rstrip()), highlight=False)
    return len(lines)


def _widths(view: TableView, width: int, mark: int) -> list[int]:
    """Return how wide labels and columns must be to break no word and no range.

    Empty where all of it fits as it is, or where nothing helps.
    """
    columns = [[_unbroken(row.label, view) for row in view.rows]]
    for place in range(len(view.heads) - 1):
        columns.append([_unbroken(row.cells[place], view) for row in view.rows])
    marks = [0, *(mark for _ in columns[1:])]
    pairs = [*zip(columns, marks, strict=True)]
    wanted = [max(map(len, each), default=0) + more for each, more in pairs]
    parts = [max(map(_longest_part, each), default=0) + more for each, more in pairs]
    least = [max(_longest_part(head), part) for head, part in zip(view.heads, parts, strict=True)]
    units = max((len(row.unit) for row in view.rows), default=0)
    left = width - 2 * len(columns[1:]) - (2 + max(units, len("unit"))) * (units > 0)
    whole = sum(max(len(head), each) for head, each in zip(view.heads, wanted, strict=True))
    if view.bars or whole <= left or sum(least) > left:
        return []
    if view.words:
        # Short labels first, then room where most is written, so that the rows are few lines.
        written = [sum(map(len, each)) for each in columns]
        for _ in range(left - sum(least)):
            short = [i for i, most in enumerate(wanted) if least[i] < most]
            if short:
                names = [i for i in short if wanted[i] <= _NAME]
                least[max(names or short, key=lambda i: written[i] / least[i])] += 1
    # What lacks least first; a head may take several lines.
    for i in sorted(range(len(least)), key=lambda i: wanted[i] - least[i]):
        least[i] += max(0, min(wanted[i] - least[i], left - sum(least)))
    return least


def _longest_part(text: str) -> int:
    return max(map(len, text.split()), default=0)


def _unbroken(cell: str, view: TableView) -> str:
    """Return a cell that no line can end within a range of, or between number and unit."""
    return _glued(cell) if view.words else _range_kept(cell)


def _range_kept(cell: str) -> str:
    """Return a figure with its range behind it so that a line can end between the two only."""
    start = cell.find("(")
    figure, found = (cell[:start], cell[start:]) if start > 0 else (cell, "")
    return _WITHIN_FIGURE.sub(_GLUE, figure) + found.replace(" ", _GLUE)


def _marked(cell: str, is_best: bool, screen: Console, marks: bool) -> Text:
    """Mark the best cell: bold on a terminal, with a tick in plain text."""
    if not marks:
        return Text(cell)
    if screen.is_terminal:
        return Text(cell, style="bold" if is_best else "")
    return Text(f"{cell}{_GLUE}{'✓' if is_best else _GLUE}")


def print_section(section: Section, screen: Console) -> None:
    """Print a section as the page shows it."""
    if section.title:
        print_heading(section.title, screen)
    elif section.intro:
        screen.print()
    print_list("", section.intro, screen)
    for view in section.tables:
        print_table(view, screen)
    for notes in section.notes:
        print_list(notes.title, notes.texts, screen)
