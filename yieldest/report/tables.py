"""Tables and sections, built once; the terminal and the page each draw them in their way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from yieldest.frozen import frozen_dataclass
from yieldest.model.estimate import Estimate
from yieldest.model.quantities import View, lines_of

MOST_CHECKS = 2
"""So many warnings stand on a first screen; the others are counted."""


@frozen_dataclass
class Row:
    """One line of a table: what, a cell per column, the unit, and the place of the best cell."""

    label: str
    cells: tuple[str, ...]
    unit: str = ""
    strong: bool = False
    best: int | None = None


@frozen_dataclass
class TableView:
    """A table: a head for every column, that of the labels first.

    Its cells may be `words` rather than numbers, and its last column `bars` drawn in signs, from
    the left.
    """

    caption: str
    heads: Sequence[str]
    rows: Sequence[Row]
    words: bool = False
    bars: bool = False

    def spelled_out(self) -> list[Row]:
        """Return the rows with unit and, where indented, what they belong to in their labels."""
        rows, of = [], ""
        for row in self.rows:
            label = row.label.strip()
            if not row.label.startswith(" "):
                of = label
                if not any(row.cells):
                    continue
            elif of:
                label = f"{of}, {label}"
            label = f"{label} ({row.unit})" if row.unit else label
            rows.append(replace(row, label=label, unit=""))
        return rows


@frozen_dataclass
class Notes:
    """A list of sentences under a heading; those that warn are marked."""

    title: str
    texts: Sequence[str]
    warn: bool = False


@frozen_dataclass
class Section:
    """Sentences, tables and notes under one heading."""

    title: str = ""
    intro: Sequence[str] = ()
    tables: Sequence[TableView] = ()
    notes: Sequence[Notes] = ()


def first_checks(texts: Sequence[str]) -> list[tuple[str, str]]:
    """Return the first of several things to check for a screen, and how many more there are."""
    first, more = [*texts[:MOST_CHECKS]], len(texts) - MOST_CHECKS
    if more > 0:
        first[-1] = f"{first[-1]} ({more} more to check in --full.)"
    return [("Check", text) for text in first]


def called(estimate: Estimate, build: str) -> str:
    """Return how sentences call a build: A to Z by its place in the plan, or quoted if alone."""
    if len(estimate.builds) == 1:
        return f"“{build}”"
    turn, rest = divmod([each.name for each in estimate.builds].index(build), 26)
    return chr(ord("A") + rest) + (str(turn + 1) if turn else "")


def build_heads(estimate: Estimate) -> list[str]:
    """Return the heads of columns of builds: letter, name and, of several places, which."""
    several = len(estimate.plan.sites) > 1
    heads = [f"{b.name} ({b.place})" if several else b.name for b in estimate.builds]
    if len(heads) == 1:
        return heads
    letters = (called(estimate, build.name) for build in estimate.builds)
    return [f"{letter}: {head}" for letter, head in zip(letters, heads, strict=True)]


def builds_table(caption: str, view: View, estimate: Estimate) -> TableView:
    """Return what stands in a view of the registry, a column for each build."""
    lines = lines_of(view, estimate.builds, estimate.terms)
    rows = [
        Row(
            line.quantity.words,
            line.texts,
            line.quantity.unit_in(estimate.currency),
            line.quantity.strong,
            line.best,
        )
        for line in lines
    ]
    return TableView(caption, ["", *build_heads(estimate)], rows)
