"""The files of a record: which they are, how they are laid out, and what that was told by."""

from __future__ import annotations

import glob
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from yieldest.errors import InputError
from yieldest.files.dialect import DELIMITERS, MISSING_WORDS, Layout, layout_of, without_footer
from yieldest.files.spreadsheet import SUFFIXES
from yieldest.files.table import Table, read_blocks, table_of_frame
from yieldest.files.text_file import Progress
from yieldest.files.time_stamps import DATE_ORDERS
from yieldest.wind.read_options import ReadOptions, Recognised
from yieldest.wind.record_clock import Clock
from yieldest.wind.record_columns import CLOCK_ROLES, ChosenColumns, choose_columns
from yieldest.wind.record_values import numbers_of, words_of

_SUFFIXES = (".csv", ".txt", ".tsv", ".dat", ".log", ".gz", ".zip", *SUFFIXES)
_MOST_PASSED_OVER = 5
"""So many files that are not read are named."""
_ENCODINGS = {"utf-8-sig": "UTF-8", "cp1252": "Latin-1 (Windows-1252)"}
DIGITS_OF_A_TIME = 4
"""A text with fewer digits cannot be meant as a time with its date."""


@dataclass
class RecordFile:
    """One file of a record, or the data frame that it stands in instead."""

    path: Path
    layout: Layout
    columns: ChosenColumns
    table: Table | None = None

    def tables(
        self,
        columns: Iterable[str],
        text_columns: Iterable[str],
        rows: int,
        progress: Progress | None = None,
    ) -> Iterator[Table]:
        """Read some columns, some of them as text, so many rows at a time."""
        wanted, as_text = list(dict.fromkeys(columns)), list(text_columns)
        if self.table is None:
            names = self.columns.names
            time = None if {"date", "half_of_day"} & names.keys() else names.get("time")
            yield from read_blocks(self.path, self.layout, wanted, as_text, rows, progress, time)
            return
        frame = self.table.frame[wanted].copy()
        for name in as_text:
            if frame[name].dtype.kind != "M":
                frame[name] = frame[name].map(str, na_action="ignore")
        for start in range(0, len(frame), rows):
            yield replace(self.table, frame=frame.iloc[start : start + rows])


def frame_source(
    data: pd.DataFrame | pd.Series[Any], options: ReadOptions, height_m: float | None
) -> RecordFile:
    """Return a data frame as a file of a record; its index holds the times if it can.

    One without speed or time is refused.
    """
    table = table_of_frame(data, index="time", value="wind speed")
    known = {}
    if isinstance(data.index, pd.DatetimeIndex):
        known["time"] = str(table.frame.columns[0])
    if isinstance(data, pd.Series):
        known["speed"] = str(table.frame.columns[-1])
    columns = options.columns.model_copy(update={**known, **options.columns.stated})
    options = options.model_copy(update={"columns": columns})
    chosen = choose_columns(table.path, table.layout, options, height_m)
    return RecordFile(table.path, table.layout, chosen, table)


def files_of(path: Path) -> list[Path]:
    """Return the files that a path names: itself, those of a folder, or those that a glob matches.

    A folder or a glob without a record is refused.
    """
    if path.is_dir():
        files, _ = _in_folder(path)
        why = f"the folder holds no file that ends in {', '.join(_SUFFIXES)}; name the file itself."
    elif glob.has_magic(str(path)) and not path.exists():
        files = sorted(Path(name) for name in glob.glob(str(path)))  # noqa: PTH207
        why = "no file is called so; check the name and the folder."
    else:
        return [path]
    if not files:
        raise InputError(f"{path}: {why}")
    return files


def _in_folder(folder: Path) -> tuple[list[Path], list[Path]]:
    """Return the files of a folder by name: those of a record, and those with another ending."""
    # What begins so is hidden, or the mark of a program that has a sheet open.
    shown = (p for p in folder.iterdir() if p.is_file() and not p.name.startswith((".", "~$")))
    known: list[Path] = []
    others: list[Path] = []
    for path in sorted(shown):
        (known if path.suffix.lower() in _SUFFIXES else others).append(path)
    return known, others


def sources_of(path: Path, options: ReadOptions, height_m: float | None = None) -> list[RecordFile]:
    """Return the files that a path names with their layouts and columns.

    A file that cannot be read, or has no speed or no time, is refused, and so are speeds from
    different heights.
    """
    sources = []
    for file in files_of(path):
        layout = layout_of(file, options)
        columns = choose_columns(file, layout, options, height_m)
        layout = without_footer(file, layout, _holds_data(file, layout, columns, options))
        if layout.below is not None:
            columns.warnings.append(layout.below)
        sources.append(RecordFile(file, layout, columns))
    first = sources[0]
    passed_over = _in_folder(path)[1] if path.is_dir() else []
    if passed_over:
        names = ", ".join(each.name for each in passed_over[:_MOST_PASSED_OVER])
        names += ", ..." * (len(passed_over) > _MOST_PASSED_OVER)
        first.columns.found.append(Recognised("files not read", names, "by their ending"))
    for source in sources[1:]:
        if source.columns.height_m != first.columns.height_m:
            raise InputError(
                f"{source.path}: the speed is {source.columns.names['speed']!r}, but in "
                f"{first.path} it is {first.columns.names['speed']!r}; the files of one record "
                "must be of the same height."
            )
    return sources


def _holds_data(
    path: Path, layout: Layout, columns: ChosenColumns, options: ReadOptions
) -> Callable[[list[str]], bool]:
    """Return what tells whether cells may be those of a reading.

    They may when they hold a time, or all the cells with a speed beside a missing or a spoilt time.
    Where the file has no times, all the cells and a speed make a reading.
    """
    clock = {role: name for role, name in columns.names.items() if role in CLOCK_ROLES}
    speed, words = columns.names["speed"], words_of("speed", columns.units["speed"])
    headings = list(layout.headings)
    places = [headings.index(name) for name in clock.values()]

    def reads(read: Callable[[Table], object], cells: list[str]) -> bool:
        row = [*cells, *[""] * len(headings)][: len(headings)]
        try:
            read(Table(path, pd.DataFrame([row], columns=headings), layout))
        except InputError:
            return False
        return True

    def holds_speed(cells: list[str]) -> bool:
        whole = len(cells) == len(headings)
        return whole and reads(lambda row: numbers_of(row, speed, options.marks, words), cells)

    def holds_time(cells: list[str]) -> bool:
        if max(places) >= len(cells):
            return False
        digits = sum(character.isdigit() for at in places for character in cells[at])
        missing = any(cells[at] and cells[at].lower() in MISSING_WORDS for at in places)
        if (missing or digits >= DIGITS_OF_A_TIME) and holds_speed(cells):
            return True
        orders = DATE_ORDERS if options.date_order is None else (options.date_order,)
        return digits > 0 and any(reads(Clock(clock, order).times, cells) for order in orders)

    return holds_time if options.start is None else holds_speed


def units_of(sources: Sequence[RecordFile]) -> dict[str, str]:
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


def layout_findings(sources: Sequence[RecordFile], options: ReadOptions) -> list[Recognised]:
    """Return what was recognised or stated about the files and their columns."""
    first, last = sources[0], sources[-1]
    layout = first.layout
    if first.table is not None:
        return [Recognised("source", "a data frame", "recognised"), *first.columns.found]
    found = []
    if len(sources) > 1:
        names = f"{len(sources)}, {first.path.name} to {last.path.name}"
        found.append(Recognised("files", names, "in the order of their names"))
    encoding = _ENCODINGS.get(layout.encoding, layout.encoding)
    delimiter = DELIMITERS.get(layout.delimiter, layout.delimiter)
    heading = f"line {layout.heading_line}" if layout.heading_line else "none in the file"
    headings = options.skip_lines if options.headings is None else options.headings
    for what, text, stated in (
        ("encoding", encoding, options.encoding),
        ("delimiter", delimiter, options.delimiter),
        ("decimal mark", layout.decimal, options.decimal),
        ("heading", heading, headings),
    ):
        found.append(Recognised(what, text, "recognised" if stated is None else "stated"))
    return found + first.columns.found
