"""Files out: whole or not at all, and CSV cells that no spreadsheet takes for a formula."""

from __future__ import annotations

import csv
import io
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from yieldest.errors import InputError
from yieldest.files.spreadsheet import workbook_and_sheet, write_xlsx

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

_SCRATCH = ".yieldest-unfinished-"

_FORMULA_STARTS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What makes a spreadsheet read a cell as a formula, in both widths (OWASP, *CSV Injection*)."""
_BREAKS = str.maketrans(dict.fromkeys("\t\r\n\x0b\x0c", " "))
"""A tab or a new line at the start of a cell can hide what follows; a cell is one line."""


@contextmanager
def scratch_beside(path: Path) -> Iterator[Path]:
    """Yield a new private folder beside `path`, to make there what is then renamed to `path`.

    It is beside the target, so that the last step is one rename within a file system, and is
    removed afterwards. Those that killed runs left behind are removed too: each run locks its own,
    and the lock goes when the run does. An `InputError` says that `path` is a folder, a link, a
    pipe or a device, that its folder is not there, or that writing fails.
    """
    refuse_place(path)
    try:
        _remove_leftovers(path.parent)
        with tempfile.TemporaryDirectory(
            dir=path.parent, prefix=_SCRATCH, ignore_cleanup_errors=True
        ) as name:
            scratch = Path(name)
            with _locked(scratch):
                yield scratch
    except OSError as error:
        raise _not_written(path, error) from error


def refuse_place(path: Path) -> None:
    """Refuse a folder, a link, a pipe or a device, and a place in a folder that is not there."""
    try:
        if path.is_dir() and not path.is_symlink():
            raise InputError(f"{path}: this is a folder; name a file.")
        # To rename over /dev/stdout, say, would take it from everybody.
        if path.is_symlink() or (path.exists() and not path.is_file()):
            raise InputError(f"{path}: this is a link, a pipe or a device; name a file.")
        if not path.parent.is_dir():
            raise InputError(
                f"{path}: the file cannot be written, for there is no folder {path.parent}; make "
                "it first."
            )
    except OSError as error:
        raise _not_written(path, error) from error


def _not_written(path: Path, error: OSError) -> InputError:
    return InputError(
        f"{path}: the file cannot be written ({error.strerror or error}); choose another place."
    )


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file so that it is there whole or not at all; one that was there is replaced.

    Text is written as UTF-8; bytes in the name of a file that are no text appear as escapes. An
    `InputError` says that the place cannot be written.
    """
    data = content.encode("utf-8", "backslashreplace") if isinstance(content, str) else content
    with scratch_beside(path) as scratch:
        made = scratch / "made"
        with made.open("wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        made.replace(path)


def write_table(path: Path, headings: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Write a table whole, as a spreadsheet where the name ends in .xlsx, else as CSV.

    An `InputError` says what else a name must not end in, how to install what a spreadsheet takes,
    or that the place cannot be written.
    """
    ending = path.suffix.lower()
    if ending in (".ods", ".xls", ".xlsm"):
        raise InputError(f"{path}: a table is written as .csv or .xlsx; end the name in one.")
    if ending != ".xlsx":
        write_whole(path, csv_text(headings, rows))
        return
    stream = io.BytesIO()
    safe = [[_safe(cell) for cell in row] for row in (headings, *rows)]
    write_xlsx(path, safe, {}, to=stream)
    write_whole(path, stream.getvalue())


def refuse_inputs(path: Path, inputs: Iterable[Path]) -> None:
    """Refuse to write over a file that is being read."""
    # Path.resolve would raise at a link that leads to itself.
    read = (workbook_and_sheet(each)[0] for each in inputs)
    if os.path.realpath(path) in map(os.path.realpath, read):
        raise InputError(f"{path}: this is one of the files that are read; name another.")


def write_all(folder: Path, files: Mapping[str, str | bytes]) -> list[Path]:
    """Write files into a folder, which is made when it is not there, and return their paths."""
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder}: this is a file; name a folder.")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise InputError(
            f"{folder}: the folder cannot be made ({error.strerror}); choose another place."
        ) from error
    for name, content in files.items():
        write_whole(folder / name, content)
    return [folder / name for name in files]


def csv_text(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a table as CSV text that is safe to open in a spreadsheet.

    Numbers are written in full precision, None as a blank; tabs and new lines within a text become
    spaces, and a text that a spreadsheet would take for a formula gets an apostrophe before it.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([_safe(heading) for heading in headings])
    writer.writerows([_safe(cell) for cell in row] for row in rows)
    return stream.getvalue()


def _safe(cell: object) -> object:
    if not isinstance(cell, str):
        return cell
    line = cell.translate(_BREAKS)
    return f"'{line}" if line.lstrip().startswith(_FORMULA_STARTS) else line


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Hold the lock of a folder, where the system has such locks; raise OSError if it is held."""
    if fcntl is None:
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    finally:
        os.close(handle)


def _remove_leftovers(folder: Path) -> None:
    if fcntl is None:
        return
    for left in folder.glob(f"{_SCRATCH}*"):
        if left.is_symlink() or not left.is_dir():
            continue
        # Held: another run is writing here at this moment.
        with suppress(OSError), _locked(left):
            shutil.rmtree(left, ignore_errors=True)
