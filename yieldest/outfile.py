"""Files out: whole or not at all, and CSV cells that no spreadsheet takes for a formula."""

from __future__ import annotations

import csv
import io
import os
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from yieldest.errors import InputError

_FORMULA_STARTS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What makes a spreadsheet read a cell as a formula, in both widths (OWASP, *CSV Injection*)."""
_BREAKS = str.maketrans(dict.fromkeys("\t\r\n\x0b\x0c", " "))
"""A tab or a new line at the start of a cell can hide what follows; a cell is one line."""


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file so that it is there whole or not at all; one that was there is replaced.

    Parameters
    ----------
    path : Path
    content : str or bytes
        Text is written as UTF-8.

    Raises
    ------
    InputError
        When the place cannot be written.
    """
    if path.is_dir():
        raise InputError(f"{path}: this is a folder; name a file.")
    if not path.parent.is_dir():
        raise InputError(
            f"{path}: the file cannot be written, for there is no folder {path.parent}; make it "
            "first."
        )
    data = content.encode("utf-8") if isinstance(content, str) else content
    beside: Path | None = None
    try:
        # Beside the target, so that the last step is one rename within a file system.
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".yieldest-")
        beside = Path(name)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        # A temporary file is private; the finished one has the rights that new files have here.
        beside.chmod(0o666 & ~_umask())
        beside.replace(path)
    except OSError as error:
        raise InputError(
            f"{path}: the file cannot be written ({error.strerror or error}); choose another place."
        ) from error
    finally:
        if beside is not None:
            beside.unlink(missing_ok=True)


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
    written = []
    for name, content in files.items():
        write_whole(folder / name, content)
        written.append(folder / name)
    return written


def csv_text(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a table as CSV text that is safe to open in a spreadsheet.

    Parameters
    ----------
    headings : sequence of str
    rows : iterable of sequences
        Numbers are written in full precision, None as a blank; tabs and new lines within a text
        become spaces, and a text that a spreadsheet would take for a formula gets an apostrophe
        before it.
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


def _umask() -> int:
    # The only way to read it is to set it.
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
