"""On which line of a plan a key stands, for the parser of TOML forgets it."""

from __future__ import annotations

import re


def line_of(text: str, location: tuple[int | str, ...]) -> str:
    """Find the line of a key, or of the section that should hold it.

    Parameters
    ----------
    text : str
        The plan.
    location : tuple of int or str
        The keys that lead there; entries of a list by their number from 0.

    Returns
    -------
    str
        Such as "line 7".

    Notes
    -----
    tomllib forgets lines, so this looks for table headings and "key =" at line starts; a key inside
    an inline table is reported by the line of that table.
    """
    best_depth, best_line = 0, 1
    tables: dict[tuple[str, ...], int] = {}
    here: tuple[int | str, ...] = ()
    for number, line in enumerate(text.splitlines(), start=1):
        heading = re.match(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]", line)
        entry = re.match(r"\s*([A-Za-z0-9_.\"'-]+)\s*=", line)
        if heading:
            names = tuple(name.strip("\"' ") for name in heading.group(2).split("."))
            if heading.group(1) == "[[":
                tables[names] = tables.get(names, -1) + 1
                # Tables within this one are counted from its own start.
                for inner in [t for t in tables if t[: len(names)] == names and t != names]:
                    del tables[inner]
            here = ()
            for depth, name in enumerate(names, start=1):
                here += (name, tables[names[:depth]]) if names[:depth] in tables else (name,)
            found = here
        elif entry:
            found = here + tuple(name.strip("\"'") for name in entry.group(1).split("."))
        else:
            continue
        depth = min(len(found), len(location))
        if location[:depth] == found[:depth] and depth > best_depth:
            best_depth, best_line = depth, number
    return f"line {best_line}"
