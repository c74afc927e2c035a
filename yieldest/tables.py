"""Delimited text in, named columns out, with the line number of whatever is wrong."""

from __future__ import annotations

import gzip
import io
import re
import warnings
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TextIO

import numpy as np
import pandas as pd

from yieldest.arrays import FloatArray
from yieldest.errors import InputError

_DELIMITERS = ",;\t"


@contextmanager
def open_text(path: Path) -> Iterator[TextIO]:
    """Open a plain or gzip text file, turning every reading trouble into an `InputError`."""
    try:
        if not path.exists():
            raise InputError(f"{path}: there is no such file; check the name and the folder.")
        if not path.is_file():
            raise InputError(f"{path}: this is not a file; name the file itself.")
        with path.open("rb") as raw:
            packed = raw.read(2) == b"\x1f\x8b"
            raw.seek(0)
            stream = gzip.GzipFile(fileobj=raw) if packed else raw
            with io.TextIOWrapper(stream, encoding="utf-8-sig", newline="") as text:
                yield text
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path}: byte {error.start} is not UTF-8 text; save the file as UTF-8 CSV."
        ) from error
    except (EOFError, gzip.BadGzipFile, zlib.error) as error:
        raise InputError(f"{path}: the gzip data is damaged ({error}); pack it again.") from error
    except OSError as error:
        raise InputError(
            f"{path}: the file cannot be read ({error.strerror or error}); check its rights."
        ) from error


def _carries_data(line: str) -> bool:
    stripped = line.strip()
    return bool(stripped) and not stripped.startswith("#")


def plain_heading(heading: str) -> str:
    """Reduce a heading to lower-case words, without its unit in brackets."""
    return re.sub(r"[^a-z0-9]+", " ", re.sub(r"[(\[].*?[)\]]", " ", heading).lower()).strip()


@dataclass(frozen=True)
class Table:
    """A delimited text file as columns.

    Parameters
    ----------
    path : Path
        The file, for messages.
    frame : pandas.DataFrame
        One row per data line.
    """

    path: Path
    frame: pd.DataFrame

    @cached_property
    def headings(self) -> tuple[str, ...]:
        """The headings as they stand in the file."""
        return tuple(str(name) for name in self.frame.columns)

    def line(self, row: int) -> int:
        """Return the line of the file (from 1) that holds data row `row` (from 0)."""
        with open_text(self.path) as text:
            data_lines = (n for n, line in enumerate(text, start=1) if _carries_data(line))
            return next(n for count, n in enumerate(data_lines) if count == row + 1)

    def find(
        self, role: str, names: Sequence[str], stated: str | None = None, *, required: bool = True
    ) -> str | None:
        """Return the heading that plays `role`.

        Parameters
        ----------
        role : str
            What the column is, in words for a message.
        names : sequence of str
            Plain headings (see `plain_heading`) that are recognised, the surest first.
        stated : str, optional
            The heading the user named; no other is then considered.
        required : bool
            Whether a missing column is an error.

        Raises
        ------
        InputError
            When the stated or a required column is not there, or two columns answer.
        """
        have = ", ".join(repr(heading) for heading in self.headings)
        if stated is not None:
            if stated not in self.headings:
                raise InputError(
                    f"{self.path}: there is no column {stated!r} for the {role}; the columns are "
                    f"{have}."
                )
            return stated
        for name in names:
            matches = [h for h in self.headings if plain_heading(h) == name]
            if len(matches) > 1:
                raise InputError(
                    f"{self.path}: several columns could be the {role} ({', '.join(matches)}); "
                    "state which one."
                )
            if matches:
                return matches[0]
        if required:
            raise InputError(
                f"{self.path}: no column was recognised as the {role}; the columns are {have}; "
                f"name one {names[0]!r} or state which it is."
            )
        return None

    def numbers(self, column: str) -> FloatArray:
        """Return a column as numbers, blanks as NaN.

        Raises
        ------
        InputError
            Naming the line of the first text or infinity.
        """
        cells = self.frame[column]
        values = pd.to_numeric(cells, errors="coerce").to_numpy(dtype=np.float64)
        wrong = (np.isnan(values) & cells.notna().to_numpy()) | np.isinf(values)
        if wrong.any():
            row = int(np.argmax(wrong))
            raise InputError(
                f"{self.path}, line {self.line(row)}: {str(cells.iloc[row])!r} in column "
                f"{column!r} is not a number; write a plain number or leave it blank."
            )
        return values

    def texts(self, column: str) -> list[str]:
        """Return a column as stripped text, blanks as empty strings."""
        return [
            "" if missing else str(cell).strip()
            for cell, missing in zip(self.frame[column], self.frame[column].isna(), strict=True)
        ]


def read_table(path: Path, dtypes: Mapping[str, type] | None = None) -> Table:
    """Read a delimited text file (comma, semicolon or tab; plain or gzip; `#` comment lines).

    Parameters
    ----------
    path : Path
        The file.
    dtypes : mapping of str to type, optional
        Types forced on columns, where recognising them would lose something.

    Raises
    ------
    InputError
        When the file cannot be read, is empty, or has a ragged line.
    """
    with open_text(path) as stream:
        # pandas would also cut a line at a "#" inside a cell, and "M8 bolt #3" is a fair item name.
        text = re.sub(r"(?m)^[ \t]*#.*(?:\n|$)", "", stream.read())
    if not text.strip():
        raise InputError(f"{path}: the file is empty; a heading and data lines were expected.")
    heading_line = text.lstrip().partition("\n")[0]
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", pd.errors.ParserWarning)
            frame = pd.read_csv(
                io.StringIO(text),
                sep=max(_DELIMITERS, key=heading_line.count),
                skipinitialspace=True,
                index_col=False,
                dtype=dict(dtypes or {}),
                low_memory=False,
            )
    except (pd.errors.ParserError, pd.errors.ParserWarning) as error:
        reason = " ".join(str(error).split())
        raise InputError(
            f"{path}: the lines do not all have the cells that the heading has ({reason}); "
            "give each line one cell per heading."
        ) from error
    if frame.empty:
        raise InputError(f"{path}: there is a heading but no data line below it.")
    frame.columns = [str(name).strip() for name in frame.columns]
    return Table(path, frame)
