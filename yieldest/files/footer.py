"""Lines below the data of a text file, such as totals and notes: found, set aside and told of."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

from yieldest.files.dialect import Layout, carries_data, split_line
from yieldest.files.text_file import open_text

TAIL_CHARACTERS = 2**20
"""So much of the end of a file is looked at."""
MOST_LINES = 1000
"""More lines of text than this below the data are not a footer; our choice."""
_SHOWN = 60


def without_footer(path: Path, layout: Layout, holds_data: Callable[[list[str]], bool]) -> Layout:
    """Return a layout that ends with the last line of data, and says what stands below that.

    Parameters
    ----------
    path : Path
    layout : Layout
    holds_data : callable
        Tells from its cells whether a line may be one of data, with too many or too few cells
        perhaps. Only lines below the last of these are set aside.
    """
    lines, whole_end = _tail(path, layout)
    below: list[tuple[int, str]] = []
    cut = False
    last_line = None
    empty = False
    for number, line in reversed(lines):
        if not carries_data(line, layout.head):
            continue
        cells = split_line(line, layout.delimiter)
        if not any(cells):
            empty = True  # a spreadsheet saves the blank rows below its data as bare delimiters
        elif not whole_end and number == lines[-1][0] and len(cells) < len(layout.headings):
            cut = line.lstrip()[:1].isdigit()  # else it is a note, and whole
            below.append((number, line))
        elif holds_data(cells):
            last_line = number
            break
        else:
            below.append((number, line))
    if last_line is None or len(below) > MOST_LINES or not (below or empty):
        return layout
    told = _told(path, below[::-1], cut) if below else None
    return replace(layout, last_line=last_line, below=told)


def _tail(path: Path, layout: Layout) -> tuple[list[tuple[int, str]], bool]:
    """Return the last lines of data with their numbers, and whether the last has a line end."""
    before, kept = 0, ""
    with open_text(path, layout.encoding) as stream:
        while block := stream.read(TAIL_CHARACTERS):
            kept += block
            cut = kept.rfind("\n", 0, max(0, len(kept) - TAIL_CHARACTERS)) + 1
            before += kept.count("\n", 0, cut)
            kept = kept[cut:]
    numbered = enumerate(kept.split("\n"), start=before + 1)
    return [(n, line) for n, line in numbered if n >= layout.data_line], kept.endswith("\n")


def _told(path: Path, below: list[tuple[int, str]], cut: bool) -> str:
    """Name the lines below the data, and show the first of them."""
    number, line = below[0]
    shown = line.strip() if len(line.strip()) <= _SHOWN else f"{line.strip()[:_SHOWN]}..."
    if cut and len(below) == 1:
        return (
            f"{path}, line {number}: the last line, {shown!r}, is cut short, so it was set aside."
        )
    numbers = [n for n, _ in below]
    whole = all(after == before + 1 for before, after in pairwise(numbers))
    lines = f"line {number}" if len(numbers) == 1 else f"lines {number} to {numbers[-1]}"
    count = "" if whole else f" ({len(numbers)} of them)"
    verb = "holds no reading and was" if len(numbers) == 1 else "hold no readings and were"
    return f"{path}, {lines}{count}: below the data, {shown!r} {verb} set aside."
