"""The files of a record: which they are, how they are laid out, and what that was told by."""

from __future__ import annotations

import glob
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from yieldest.errors import InputError
from yieldest.layout import DELIMITERS, Layout, layout_of
from yieldest.record.columns import Columns, choose_columns
from yieldest.record.options import Finding, ReadOptions

_SUFFIXES = (".csv", ".txt", ".tsv", ".dat", ".log", ".gz", ".zip")
_ENCODINGS = {"utf-8-sig": "UTF-8", "cp1252": "Latin-1 (Windows-1252)"}


@dataclass
class Source:
    """One file of a record."""

    path: Path
    layout: Layout
    columns: Columns
    first_row: int = 0


def files_of(path: Path) -> list[Path]:
    """Return the files that a path names: itself, those of a folder, or those that a glob matches.

    Raises
    ------
    InputError
        When a folder or a glob holds no record.
    """
    if path.is_dir():
        files = sorted(p for p in path.iterdir() if p.is_file() and p.suffix.lower() in _SUFFIXES)
        if not files:
            raise InputError(
                f"{path}: the folder holds no file that ends in {', '.join(_SUFFIXES)}; name the "
                "file itself."
            )
        return files
    if glob.has_magic(str(path)) and not path.exists():
        files = sorted(Path(name) for name in glob.glob(str(path)))  # noqa: PTH207
        if not files:
            raise InputError(f"{path}: no file is called so; check the name and the folder.")
        return files
    return [path]


def sources_of(path: Path, options: ReadOptions) -> list[Source]:
    """Return the files that a path names with their layouts and columns.

    Raises
    ------
    InputError
        When a file cannot be read or has no speed or no time.
    """
    sources = []
    for file in files_of(path):
        layout = layout_of(
            file,
            encoding=options.encoding,
            delimiter=_delimiter(options.delimiter),
            decimal=options.decimal,
            skip_lines=options.skip_lines,
            headings=options.headings,
        )
        sources.append(Source(file, layout, choose_columns(file, layout, options)))
    return sources


def units_of(sources: Sequence[Source]) -> dict[str, str]:
    """Return the units of a record by role; each of its files must have the same."""
    units: dict[str, tuple[str, Path]] = {}
    for source in sources:
        for role, unit in source.columns.units.items():
            first, path = units.setdefault(role, (unit, source.path))
            if first != unit:
                raise InputError(
                    f"{source.path}: the {role} is in {unit}, but in {path} it is in {first}; the "
                    "files of one record must have the same units."
                )
    return {role: unit for role, (unit, _) in units.items()}


def layout_findings(sources: Sequence[Source], options: ReadOptions) -> list[Finding]:
    """Return what was recognised or stated about the files and their columns."""
    first = sources[0]
    layout = first.layout
    found = []
    if len(sources) > 1:
        names = f"{len(sources)}, {first.path.name} to {sources[-1].path.name}"
        found.append(Finding("files", names, "in the order of their names"))
    delimiter = DELIMITERS.get(layout.delimiter, layout.delimiter)
    heading = f"line {layout.heading_line}" if layout.heading_line else "none in the file"
    stated = options.headings or options.skip_lines is not None
    return [
        *found,
        Finding(
            "encoding", _ENCODINGS.get(layout.encoding, layout.encoding), _how(options.encoding)
        ),
        Finding("delimiter", delimiter, _how(options.delimiter)),
        Finding("decimal mark", layout.decimal, _how(options.decimal)),
        Finding("heading", heading, "stated" if stated else "recognised"),
        *first.columns.found,
    ]


def _how(stated: object) -> str:
    return "recognised" if stated is None else "stated"


def _delimiter(stated: str | None) -> str | None:
    """Let a delimiter be stated by its name."""
    by_name = {name: mark for mark, name in DELIMITERS.items()}
    return None if stated is None else by_name.get(stated, stated)
