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

PLAIN_WIDTH = 100
_NARROW = 14
"""A column of words with no cell longer than this is not wrapped."""
MOST_KEPT = 5
"""Tables of more columns may end a line within a range."""
_GLUE = "\ue000"
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(%|m/s|W/m2|W|kWh|h|m|min)(?![\w/]))")


def console() -> Console:
    """Return a console for standard output: 100 columns wide where nobody watches."""
    screen = Console(highlight=False)
    return screen if screen.is_terminal else Console(highlight=False, width=PLAIN_WIDTH)


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
        print_item("-", item, screen)


def print_item(mark: str, text: str, screen: Console) -> None:
    """Print a text behind its mark, later lines under the first."""
    print_text(text, screen, first=f"{mark} ", later=" " * (len(mark) + 1))


def print_text(
    text: str, screen: Console, style: str = "", first: str = "", later: str = ""
) -> None:
    """Print a text in lines, no number parted from its unit."""
    lines = wrap(_glued(text), screen.width, initial_indent=first, subsequent_indent=later)
    screen.print(Text("\n".join(lines).replace(_GLUE, " "), style=style))


def _glued(text: str) -> str:
    """Return a text whose lines cannot end between a number and its unit."""
    return _BEFORE_UNIT.sub(_GLUE, text)


def print_answers(answers: Iterable[tuple[str, str]], screen: Console) -> None:
    """Print questions and their answers beside each other, a question in a row asked once."""
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True, style="bold")
    grid.add_column(overflow="fold")
    for question, several in groupby(answers, key=itemgetter(0)):
        for place, (_, answer) in enumerate(several):
            grid.add_row("" if place else question, Text(_glued(answer)))
    _print_trimmed(grid, screen)


def checks(warnings: Iterable[Finding | str], source: str) -> list[tuple[str, str]]:
    """Return the first warnings, without the name of the file, and how many more there are."""
    texts = [
        f"{text[0].upper()}{text[1:]}"
        for text in (each.removeprefix(source).lstrip(":, ") for each in sentences(warnings))
    ]
    return first_checks(texts)


def print_table(view: TableView, screen: Console) -> None:
    """Print a table under its caption, units in a column of their own."""
    screen.print()
    if view.caption:
        screen.print(Text(view.caption, style="bold"))
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    units = any(row.unit for row in view.rows)
    marks = any(row.best is not None for row in view.rows)
    table.add_column(view.heads[0], overflow="fold", no_wrap=not view.words)
    kept = _ranges_kept(view, screen.width)
    for place, head in enumerate(view.heads[1:]):
        longest = max((len(row.cells[place]) for row in view.rows), default=0)
        prose = view.words and longest > _NARROW
        bars = view.bars and place == len(view.heads) - 2
        table.add_column(
            Text(head),
            justify="left" if prose or bars else "right",
            overflow="fold",
            no_wrap=view.words and not prose,
            min_width=kept[place] if kept else None,
        )
    if units:
        table.add_column("unit")
    for row in view.rows:
        cells = [
            _marked(_range_kept(cell) if kept else cell, place == row.best, screen, marks)
            for place, cell in enumerate(row.cells)
        ]
        # Where the best cells are bold, a whole bold row would hide them.
        style = "bold" if row.strong and not marks else ""
        table.add_row(Text(row.label), *cells, *([row.unit] if units else []), style=style)
    _print_trimmed(table, screen)


def _print_trimmed(table: Table, screen: Console) -> None:
    """Print a table without the spaces at the ends of its lines."""
    with screen.capture() as captured:
        screen.print(table)
    for line in captured.get().splitlines():
        screen.out(line.replace(_GLUE, " ").rstrip(), highlight=False)


def _ranges_kept(view: TableView, width: int) -> list[int]:
    """Return how wide each column must be to keep ranges whole; nothing where they do not fit."""
    if view.words or view.bars or len(view.heads) > MOST_KEPT:
        return []
    columns = zip(*(row.cells for row in view.rows), strict=True)
    widths = [
        2 + max(len(part) for cell in (*cells, "-") for part in _range_kept(cell).split())
        for cells in columns
    ]
    labels = max((len(row.label) for row in view.rows), default=0)
    units = max((len(row.unit) for row in view.rows), default=0)
    return widths if labels + units + sum(widths) + 2 * len(view.heads) <= width else []


def _range_kept(cell: str) -> str:
    """Return a figure with its range behind it so that a line can end between the two only."""
    start = cell.find("(")
    return cell[:start] + cell[start:].replace(" ", _GLUE) if start > 0 else cell


def _marked(cell: str, is_best: bool, screen: Console, marks: bool) -> Text:
    """Mark the best cell: bold on a terminal, with a tick in plain text."""
    if not marks:
        return Text(cell)
    if screen.is_terminal:
        return Text(cell, style="bold" if is_best else "")
    return Text(f"{cell}{_GLUE}{'✓' if is_best else _GLUE}")


def print_section(section: Section, screen: Console, *, full: bool = True) -> None:
    """Print a section, its lines first; the tables that are tucked away only in full."""
    if section.title:
        print_heading(section.title, screen)
    for line in section.lines:
        screen.print(Text(line))
    print_list("", section.intro, screen)
    for view in section.tables:
        if full or not view.tucked:
            print_table(view, screen)
    for notes in section.notes:
        print_list(notes.title, notes.texts, screen)
