"""Sheets of a workbook (xlsx, ods) as tab-delimited text, for every reader of tables.

An xlsx is read and written with openpyxl, which goes through a sheet row by row; readers that hold
a sheet as one full rectangle take gigabytes for a single cell far out. Nothing in a workbook is
run: of a formula the value is taken that was saved with it. An ods is read by its standard (ISO/IEC
26300, OpenDocument 1.2, part 1, section 9).
"""

from __future__ import annotations

import csv
import importlib
import io
import re
import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, BinaryIO

from yieldest.errors import InputError

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from openpyxl.cell import Cell

MOST_CELLS = 5_000_000
"""Of one sheet: ten years by the hour in fifty columns; our choice."""
MOST_ROWS = 2**20
"""Of one sheet, as the programs that write them allow."""
SUFFIXES = (".xlsx", ".xlsm", ".ods")
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_ODS = b"application/vnd.oasis.opendocument.spreadsheet"
_DURATION = re.compile(r"PT(\d+)H(\d+)M(\d+)(?:[.,]\d+)?S")

Row = tuple[str, ...]
Sheets = Iterator[tuple[str, Iterable[Row]]]


def workbook_and_sheet(path: Path) -> tuple[Path, str | None]:
    """Part "bench.xlsx#Parts" into the workbook and the name of the sheet, if that is meant."""
    base, mark, sheet = str(path).rpartition("#")
    if mark and Path(base).suffix.lower() in SUFFIXES and not path.exists():
        return Path(base), sheet
    return path, None


def sheets_in(archive: zipfile.ZipFile) -> Callable[[Path, BinaryIO], Sheets] | None:
    """Return what reads the sheets of a zip archive; None if it is no workbook."""
    names = archive.namelist()
    if "xl/workbook.xml" in names:
        return _xlsx_sheets
    if "mimetype" in names and archive.getinfo("mimetype").file_size < 200:
        return _ods_sheets if archive.read("mimetype").startswith(_ODS) else None
    return None


def sheet_as_text(path: Path, sheets: Sheets, wanted: str | None) -> str:
    """Return a sheet as tab-delimited text, a line for each row.

    It is that of the name, or the first with numbers in it. An `InputError` when there is none, or
    it is larger than any table.
    """
    seen = []
    try:
        for name, rows in sheets:
            seen.append(name)
            if wanted is not None and name.strip().lower() != wanted.strip().lower():
                continue
            lines = list(_bounded(path, name, rows))
            if wanted is not None or any(
                re.match(r"[-+.]?\d", cell) for row in lines for cell in row
            ):
                return _as_text(lines)
    except (InputError, MemoryError):
        raise
    except Exception as error:
        # Whatever the reader stumbles over, in a file that somebody else wrote.
        raise InputError(
            f"{path}: the workbook is damaged ({error}); save it again in the program it belongs "
            "to, or save the sheet as CSV."
        ) from error
    known = ", ".join(map(repr, seen)) or "none"
    if wanted is None:
        raise InputError(f"{path}: no sheet holds any number; its sheets are {known}.")
    raise InputError(f"{path}: there is no sheet {wanted!r}; the sheets are {known}.")


def write_xlsx(
    path: Path,
    rows: Sequence[Sequence[object]],
    notes: Mapping[str, str],
    to: BinaryIO | None = None,
) -> None:
    """Write one sheet, with a note on each heading that has one, to `path` or into a stream.

    An `InputError` says how to install what it takes.
    """
    openpyxl = _openpyxl(path, "write")
    from openpyxl.comments import Comment  # noqa: PLC0415 - optional

    book = openpyxl.Workbook()
    sheet = book.active
    for at, row in enumerate(rows, start=1):
        for column, value in enumerate(row, start=1):
            cell = sheet.cell(at, column, value)
            if note := notes.get(str(value)):
                cell.comment = Comment(note, "yieldest", height=90, width=260)
    for column in sheet.columns:
        widths = [len(str(cell.value or "")) for cell in column if len(str(cell.value or "")) < 50]
        sheet.column_dimensions[column[0].column_letter].width = 3 + max(widths, default=8)
    book.save(path if to is None else to)


def _openpyxl(path: Path, what: str) -> ModuleType:
    try:
        return importlib.import_module("openpyxl")
    except ImportError as error:
        raise InputError(
            f"{path}: to {what} an xlsx spreadsheet openpyxl is needed; install it with "
            "pip install 'yieldest[spreadsheets]', or save the sheet as CSV."
        ) from error


def _too_large(path: Path, name: str) -> InputError:
    return InputError(
        f"{path}: the sheet {name!r} has more than {MOST_CELLS:,} cells or {MOST_ROWS:,} rows, "
        "blank ones counted; save the table that is meant as CSV."
    )


def _bounded(path: Path, name: str, rows: Iterable[Row]) -> Iterator[Row]:
    """Yield the rows without the blank cells at their ends, as long as they are a table's."""
    cells = 0
    for number, row in enumerate(rows, start=1):
        cells += 1 + len(row)
        if cells > MOST_CELLS or number > MOST_ROWS:
            raise _too_large(path, name)
        filled = len(row)
        while filled and not row[filled - 1]:
            filled -= 1
        yield row[:filled]


def _as_text(lines: list[Row]) -> str:
    """Write rows as lines with as many cells each; a remark stays as it is."""
    width = max(map(len, lines))
    if len(lines) * width > MOST_CELLS:
        width = max(len(row) for row in lines if len(lines) * len(row) <= MOST_CELLS)
    written = io.StringIO()
    writer = csv.writer(written, delimiter="\t", lineterminator="\n")
    for row in lines:
        if not row:
            written.write("\n")
        elif row[0].startswith("#"):
            written.write(" ".join(row) + "\n")
        else:
            writer.writerow([*row, *[""] * (width - len(row))])
    return written.getvalue()


def _xlsx_sheets(path: Path, raw: BinaryIO) -> Sheets:
    openpyxl = _openpyxl(path, "read")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of what it leaves out: pictures, rules for input
        book = openpyxl.load_workbook(raw, read_only=True, data_only=True, keep_links=False)
        for sheet in book.worksheets:
            if sheet.sheet_state == "visible":
                sheet.reset_dimensions()
                yield sheet.title, (tuple(map(_xlsx_cell, row)) for row in sheet.iter_rows())


def _xlsx_cell(cell: Cell) -> str:
    """Write a cell of an xlsx as text, a share in per cent as such."""
    value = cell.value
    if isinstance(value, bool) or value is None:
        return "" if value is None else str(value).upper()
    if isinstance(value, int | float):
        share = "%" in (cell.number_format or "")
        return f"{100 * value:.12g}%" if share else repr(value).removesuffix(".0")
    if isinstance(value, datetime):
        value = (value + timedelta(milliseconds=10)).replace(microsecond=0)
        dated = value.time() == time() and "h" not in (cell.number_format or "").lower()
        return value.date().isoformat() if dated else value.isoformat(" ")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return _clock(round(value.total_seconds()))
    return " ".join(str(value).split())


def _clock(seconds: int) -> str:
    return f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"


def _ods_sheets(path: Path, raw: BinaryIO) -> Sheets:
    from xml.etree.ElementTree import iterparse  # noqa: PLC0415 - few files are workbooks

    with zipfile.ZipFile(raw) as archive, archive.open("content.xml") as stream:
        name, size, blank = "", 0, 0
        rows: list[Row] = []
        for event, element in iterparse(stream, events=("start", "end")):
            if event == "start" and element.tag == f"{_TABLE}table":
                name, rows, size, blank = element.get(f"{_TABLE}name", ""), [], 0, 0
            elif event == "end" and element.tag == f"{_TABLE}table-row":
                row = _ods_row(element)
                often = min(int(element.get(f"{_TABLE}number-rows-repeated", 1)), MOST_ROWS + 1)
                element.clear()
                if not row:
                    # The last one often stands for all that the sheet could have.
                    blank += often
                    continue
                size += blank + often * (1 + len(row))
                if size > MOST_CELLS:
                    raise _too_large(path, name)
                rows += [*[()] * blank, *[row] * often]
                blank = 0
            elif event == "end" and element.tag == f"{_TABLE}table":
                yield name, rows


def _ods_row(row: Element) -> Row:
    cells: list[str] = []
    blank = 0
    for cell in row:
        if cell.tag not in (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell"):
            continue
        often = min(int(cell.get(f"{_TABLE}number-columns-repeated", 1)), MOST_CELLS)
        text = _ods_cell(cell)
        if not text:
            blank += often
            continue
        if len(cells) + blank + often > MOST_CELLS:
            raise ValueError("a row has millions of cells")
        cells += [*[""] * blank, *[text] * often]
        blank = 0
    return tuple(cells)


def _ods_cell(cell: Element) -> str:
    kind = cell.get(f"{_OFFICE}value-type")
    value = cell.get(f"{_OFFICE}value", "")
    if kind in ("float", "currency"):
        return value
    if kind == "percentage":
        return f"{100 * float(value):.12g}%"
    if kind == "date":
        return cell.get(f"{_OFFICE}date-value", "").replace("T", " ")
    if kind == "time":
        found = _DURATION.fullmatch(cell.get(f"{_OFFICE}time-value", ""))
        if found is not None:
            hours, minutes, seconds = map(int, found.groups())
            return _clock(3600 * hours + 60 * minutes + seconds)
    texts = (" ".join(part.itertext()) for part in cell if part.tag == f"{_TEXT}p")
    return " ".join(" ".join(texts).split())
