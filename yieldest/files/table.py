"""Delimited text in, named columns out, with the line number of whatever is wrong."""

from __future__ import annotations

import io
import re
import sys
import unicodedata
import warnings
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from functools import cached_property, lru_cache
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple, TextIO

import numpy as np
import numpy.typing as npt
import pandas as pd

from yieldest.arrays import FloatArray, IntArray
from yieldest.errors import InputError
from yieldest.files.dialect import Layout, LayoutOptions, carries_data, layout_of, split_line
from yieldest.files.plain_stamps import Bytes, Times, leading_times
from yieldest.files.text_file import Progress, open_text
from yieldest.frozen import frozen_dataclass

_ENDLESS_EXPONENT = re.compile(r"[eE]\+?\d{5,}")
MOST_COLUMNS = 1000
"""A curve, a bill or a table of readings with more is none; our choice."""
MOST_LINES = 10_000
"""A curve, a bill or a converter's table with more is none; our choice."""
BLOCK_CHARACTERS = 2**21
"""Lines are checked about so many at a time: more would leave the cache, and fewer take longer to
hand from one to the other of the two threads that read."""

_MAY_BEGIN_NO_DATA = np.ones(256, dtype=bool)
"""The bytes that may begin a line without data: blanks, marks of comments, other alphabets."""
_MAY_BEGIN_NO_DATA[33:128] = False
_MAY_BEGIN_NO_DATA[list(b"#%/")] = True

_EXACT_NUMBERS = (
    {"float_precision": "round_trip"}
    if tuple(map(int, pd.__version__.split(".")[:2])) < (3, 1)
    else {}
)
"""How to ask for numbers exact to the last bit. Before 3.1 pandas has three ways to read a number,
of which only this one is exact and survives a cell such as 1e9999999999; since then all do."""


_LETTERS = str.maketrans({"ø": "o", "ł": "l", "ß": "ss", "æ": "ae", "œ": "oe"})


def folded(text: str) -> str:
    """Return a text in lower case without the accents of its letters."""
    apart = unicodedata.normalize("NFD", text.lower().translate(_LETTERS))
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


@lru_cache(maxsize=1024)
def plain_heading(heading: str) -> str:
    """Reduce a heading to lower-case words without accents, unit in brackets and "in" before it."""
    bare = folded(re.sub(r"[(\[][^()\[\]]*[)\]]", " ", heading))
    return re.sub(r"[^a-z0-9]+", " ", re.sub(r" in (?=\S+$)", " ", bare)).strip()


@frozen_dataclass
class Table:
    """Lines of a delimited text file as columns; the index counts its data lines from 0."""

    path: Path
    frame: pd.DataFrame
    layout: Layout

    def without_blank_rows(self) -> Table:
        """Return the table without the rows whose cells are all blank."""
        return replace(self, frame=self.frame[self.frame.notna().any(axis="columns")])

    def rising(self, column: str) -> Table:
        """Return the table with its last row first where the numbers of a column only fall."""
        numbers = numbers_in(self.frame[column])
        falls = bool((numbers[1:] < numbers[:-1]).all())
        return replace(self, frame=self.frame.iloc[::-1]) if falls else self

    @cached_property
    def headings(self) -> tuple[str, ...]:
        """The headings as they stand in the file."""
        return tuple(map(str, self.frame.columns))

    def place(self, row: int) -> str:
        """Return where row `row` (from 0) of the frame stands, for a message."""
        if not self.layout.data_line:
            return f"{self.path}, row {int(self.frame.index[row]) + 1}"
        return f"{self.path}, line {self._line(row)[0]}"

    @cached_property
    def places(self) -> list[str]:
        """Where each row stands, found in one pass, for tables of which every row is named."""
        if not self.layout.data_line:
            return [self.place(row) for row in range(len(self.frame))]
        numbers = [number for number, _ in _data_lines(self.path, self.layout)]
        return [f"{self.path}, line {numbers[at]}" for at in self.frame.index]

    def refuse(self, wrong: npt.NDArray[np.bool_], said: Callable[[int], str]) -> None:
        """Raise an `InputError` for the first row that is wrong, with what is said of it."""
        if wrong.any():
            row = int(np.argmax(wrong))
            raise InputError(f"{self.place(row)}: {said(row)}")

    def cell(self, row: int, column: str) -> str:
        """Return a cell as it stands in the file: the frame may hold what was made of it.

        A cell that a short line leaves out is blank.
        """
        if not self.layout.data_line:
            return str(self.frame[column].iloc[row])
        # A table of readings has its units put behind its headings.
        names = self.layout.headings if column in self.layout.headings else self.headings
        cells = dict(
            zip(names, split_line(self._line(row)[1], self.layout.delimiter), strict=False)
        )
        return cells.get(column, "")

    def _line(self, row: int) -> tuple[int, str]:
        """Return the number (from 1) and the text of the line that holds a row of the frame."""
        lines = _data_lines(self.path, self.layout)
        return next(islice(lines, int(self.frame.index[row]), None))

    def find(
        self,
        role: str,
        names: Sequence[str],
        stated: str | None = None,
        *,
        tails: Collection[str] = (),
        required: bool = True,
        how_to_state: str = "",
    ) -> str | None:
        """Return the heading that plays `role` (in words, for a message).

        Recognised are plain headings (see `plain_heading`), the surest first, and then each with
        one of `tails` behind it, such as a unit; where one is stated, no other is considered. An
        `InputError` says that the stated or a required column is not there, or that two columns
        answer, and where one could be stated.
        """
        have = ", ".join(map(repr, self.headings))
        if stated is not None:
            if stated not in self.headings:
                raise InputError(
                    f"{self.path}: there is no column {stated!r} for the {role}; the columns are "
                    f"{have}."
                )
            return stated
        called = defaultdict(list)
        for heading in self.headings:
            called[plain_heading(heading)].append(heading)
        for name in (*names, *(f"{name} {tail}" for name in names for tail in tails)):
            matches = called.get(name, [])
            if len(matches) > 1:
                mend = f"state which one ({how_to_state})" if how_to_state else "rename the others"
                raise InputError(
                    f"{self.path}: several columns could be the {role} ({', '.join(matches)}); "
                    f"{mend}."
                )
            if matches:
                return matches[0]
        if required:
            raise InputError(
                f"{self.path}: no column was recognised as the {role}; the columns are {have}; "
                f"name one {names[0]!r}, and put a # before any line above the headings."
            )
        return None

    def numbers(self, column: str) -> FloatArray:
        """Return a column as numbers, blanks as NaN; refuse the first text or infinity."""
        cells = self.frame[column]
        values = numbers_in(cells)
        wrong = (np.isnan(values) & cells.notna().to_numpy()) | np.isinf(values)
        self.refuse(
            wrong,
            lambda row: (
                f"{self.cell(row, column)!r} in column {column!r} is not a number; write a plain "
                "number, such as 1250 or 0.85, or leave it blank."
            ),
        )
        return values

    def texts(self, column: str) -> list[str]:
        """Return a column as stripped text, blanks as empty strings."""
        return ["" if pd.isna(cell) else str(cell).strip() for cell in self.frame[column]]


def table_of_frame(
    data: pd.DataFrame | pd.Series[Any], *, index: str, value: str = "speed (m/s)"
) -> Table:
    """Return a data frame or a series as a table with the headings that a file would have.

    An index of times or with a name, and that of a series, becomes the first column, unless it only
    counts the rows. `index` and `value` head an index and a series without names. An `InputError`
    says that two columns have one name.
    """
    frame = data.to_frame(data.name or value) if isinstance(data, pd.Series) else data
    counts = frame.index.equals(pd.RangeIndex(len(frame)))
    timed = isinstance(frame.index, pd.DatetimeIndex)
    if timed or frame.index.name is not None or (isinstance(data, pd.Series) and not counts):
        frame = frame.rename_axis(str(frame.index.name or index)).reset_index()
    headings = tuple(map(str, frame.columns))
    if len(set(headings)) < len(headings):
        raise InputError("data frame: two columns have one name; rename one of them.")
    frame = frame.set_axis(list(headings), axis=1).reset_index(drop=True)
    return Table(Path("data frame"), frame, Layout("", "", ".", headings, (), 0, 0))


def numbers_in(cells: pd.Series[Any]) -> FloatArray:
    """Return cells as numbers, NaN where they are none, in an array of their own."""
    if cells.dtype.kind == "O":
        # pandas (2.3) ends the whole process on exponents beyond its integers.
        cells = cells.where(~cells.astype(str).str.contains(_ENDLESS_EXPONENT))
    # The array of a frame may not be written into from pandas 3 on, and callers fill gaps in it.
    return pd.to_numeric(cells, errors="coerce").to_numpy(dtype=np.float64, copy=True)


def read_table(path: Path, *, as_text: bool = False, most_lines: int = MOST_LINES) -> Table:
    """Read a whole delimited text file whose first line, but for comments, is the heading.

    With `as_text` every cell stays as it is written. An `InputError` says that the file is empty,
    has too many columns or more than `most_lines`, or a line with more cells than the heading.
    """
    layout = layout_of(path, LayoutOptions(decimal="." if as_text else None), titled=False)
    if len(layout.headings) > MOST_COLUMNS:
        raise InputError(
            f"{path}: {len(layout.headings)} columns are more than such a table has; check the "
            "file and its delimiter."
        )
    with open_text(path, layout.encoding) as stream:
        lines = list(islice(stream, layout.data_line - 1, layout.data_line + most_lines))
    if len(lines) > most_lines:
        raise InputError(
            f"{path}: more than {most_lines:,} lines are more than such a table has; check that it "
            "is the right file."
        )
    text = io.StringIO(_no_data_line(layout).sub("", "".join(lines)))
    with _parting(path, layout, short_lines=True), warnings.catch_warnings():
        warnings.simplefilter("error", pd.errors.ParserWarning)
        frame = pd.read_csv(text, dtype=str if as_text else None, **_style(layout))
    return Table(path, frame, layout)


def read_blocks(
    path: Path,
    layout: Layout,
    columns: Sequence[str],
    text_columns: Sequence[str],
    rows: int,
    progress: Progress | None = None,
    time_column: str | None = None,
) -> Iterator[Table]:
    """Read some columns of a delimited text file, some of them as text, some rows at a time.

    A table ends with the block of the file that brings it to so many `rows`. In one whose lines all
    begin with a plain ISO 8601 stamp, `time_column` is of times, if it is the first column.
    `progress` is told the share of the file read so far. An `InputError` names a line that has more
    or fewer cells than the heading.
    """
    timed = time_column in columns and time_column == layout.headings[0]
    with (
        open_text(path, layout.encoding, progress) as stream,
        ThreadPoolExecutor(1) as thread,
        _parting(path, layout),
    ):
        for _ in range(layout.data_line - 1):
            next(stream)
        first = 0
        checked = _checked(path, layout, stream, timed=timed)
        for blocks in _made_ahead(thread, _batched(checked, rows)):
            times = [block.times for block in blocks if block.times is not None]
            plain = bool(times) and len(times) == len(blocks)
            wanted = [name for name in columns if not (plain and name == time_column)]
            with warnings.catch_warnings():
                warnings.simplefilter("error", pd.errors.ParserWarning)
                frame = pd.read_csv(
                    io.BytesIO(b"".join(block.signs.data for block in blocks)),
                    usecols=wanted,
                    dtype=dict.fromkeys(set(text_columns).intersection(wanted), str),
                    keep_default_na=False,
                    na_values=[""],
                    **_style(layout, spaced=any(block.spaced for block in blocks)),
                )
            if plain:
                frame[time_column] = np.concatenate(times)
            frame.index = pd.RangeIndex(first, first + len(frame))
            first += len(frame)
            yield Table(path, frame, layout)


def _style(layout: Layout, *, spaced: bool = True) -> dict[str, Any]:
    return {
        "sep": r"\s+" if layout.delimiter == " " else layout.delimiter,
        "decimal": layout.decimal,
        "header": None,
        "names": list(layout.headings),
        "skipinitialspace": spaced,  # pandas takes a third less time where it need not look
        "index_col": False,
        "low_memory": False,
        **_EXACT_NUMBERS,
    }


class _Block(NamedTuple):
    """Whole lines of data, and the times that they begin with where all do."""

    signs: Bytes
    rows: int
    spaced: bool  # whether blanks may stand before cells
    times: Times | None


def _batched(blocks: Iterator[_Block], rows: int) -> Iterator[list[_Block]]:
    """Gather blocks until they have so many rows; without any block there is one empty batch."""
    batch, none = list[_Block](), True
    for block in blocks:
        batch.append(block)
        if sum(one.rows for one in batch) >= rows:
            yield batch
            batch, none = [], False
    if batch or none:
        yield batch


def _made_ahead(
    thread: ThreadPoolExecutor, batches: Iterator[list[_Block]]
) -> Iterator[list[_Block]]:
    """Yield batches, the next of which is made in a thread while one is in use."""
    coming = thread.submit(next, batches, None)
    while (batch := coming.result()) is not None:
        coming = thread.submit(next, batches, None)
        yield batch


def _checked(path: Path, layout: Layout, stream: TextIO, *, timed: bool) -> Iterator[_Block]:
    """Yield the lines that carry data in blocks, seeing to it that each has all its cells."""
    between = len(layout.headings) - 1
    no_data_line = _no_data_line(layout)
    left = sys.maxsize if layout.last_line is None else layout.last_line - layout.data_line + 1
    while left > 0 and (block := stream.read(BLOCK_CHARACTERS)):
        if not block.endswith("\n"):
            block += stream.readline()
        if layout.last_line is not None:
            lines = block.split("\n")
            block = "\n".join(lines[:left]) + "\n" * (len(lines) > left)
            left -= len(lines) - 1
        signs, ends = _signs(block)
        # Looking at every line is slow, and hardly a block has such lines.
        begins = signs[np.append(0, ends[:-1] + 1)]
        if _MAY_BEGIN_NO_DATA[begins].any() or any(line in block for line in layout.head):
            block = no_data_line.sub("", block)
            if not block:
                continue
            signs, ends = _signs(block)
        quoted = '"' in block
        if layout.delimiter == " ":
            bare = re.sub(r'"[^"\n]*"', "", block)
            even = all(len(line.split()) == between + 1 for line in bare.splitlines())
        elif quoted:
            bare = re.sub(r'"[^"\n]*"', "", block)
            even = bare.count(layout.delimiter) == ends.size * between
        else:
            even = np.count_nonzero(signs == ord(layout.delimiter)) == ends.size * between
        if not even:
            _refuse_ragged(path, layout)
        # Blanks part a stamp with a blank in two.
        plain = timed and even and not quoted and layout.delimiter != " "
        times = leading_times(signs, ends, layout.delimiter) if plain else None
        # Before the first sign stands the last one, which ends a line.
        before_blanks = signs[np.flatnonzero(signs == ord(" ")) - 1]
        spaced = np.isin(before_blanks, (ord("\n"), ord(layout.delimiter))).any()
        yield _Block(signs, ends.size, bool(spaced), times)


def _signs(block: str) -> tuple[Bytes, IntArray]:
    """Return lines as bytes, and the places of their ends."""
    signs = np.frombuffer((block if block.endswith("\n") else block + "\n").encode(), np.uint8)
    return signs, np.flatnonzero(signs == ord("\n"))


def _no_data_line(layout: Layout) -> re.Pattern[str]:
    """Return what finds the lines of `carries_data` that hold none, with their ends."""
    blank = r"[^\S\n]*"
    head = "".join(rf"|{re.escape(line)}{blank}" for line in layout.head)
    return re.compile(rf"^{blank}(?:(?:#|%|//).*{head})?(?:\n|\Z)", re.MULTILINE)


def _data_lines(path: Path, layout: Layout) -> Iterator[tuple[int, str]]:
    with open_text(path, layout.encoding) as stream:
        for number, line in enumerate(islice(stream, layout.last_line), start=1):
            if number >= layout.data_line and carries_data(line, layout.head):
                yield number, line


def _refuse_ragged(path: Path, layout: Layout, *, short_lines: bool = False) -> None:
    """Name the first line with a wrong number of cells, if there is one."""
    width = len(layout.headings)
    for number, line in _data_lines(path, layout):
        cells = len(split_line(line, layout.delimiter))
        if cells > width or (cells < width and not short_lines):
            raise InputError(
                f"{path}, line {number}: {cells} cell{'s' * (cells != 1)} where the heading has "
                f"{width}; give each line one cell per heading."
            )


@contextmanager
def _parting(path: Path, layout: Layout, *, short_lines: bool = False) -> Iterator[None]:
    """Say what is wrong with lines that pandas cannot part into cells."""
    try:
        yield
    except (pd.errors.ParserError, pd.errors.ParserWarning) as error:
        _refuse_ragged(path, layout, short_lines=short_lines)
        reason = " ".join(str(error).split())
        raise InputError(
            f"{path}: the lines cannot be parted into cells ({reason}); mend the file."
        ) from error
