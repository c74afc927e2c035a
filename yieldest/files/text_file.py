"""Open a file, plain or packed, in whichever encoding, and never read without bounds."""

from __future__ import annotations

import codecs
import gzip
import io
import os
import re
import stat
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from itertools import zip_longest
from pathlib import Path
from typing import BinaryIO, TextIO, cast

from yieldest.errors import InputError
from yieldest.files.spreadsheet import sheet_as_text, sheets_in, workbook_and_sheet

Progress = Callable[[float], None]
"""Called now and then with the share of a file that has been read, from 0 to 1."""

HEAD_BYTES = 65536
"""How much of a file is looked at to tell its encoding."""
HIGHEST_PACKING = 50
"""Text never packs tighter than this by far; a packed file that does is not unpacked further."""
TELLING_BYTES = 80
"""A file that begins with so much plain text is a text, whatever follows; our choice."""
ALWAYS_UNPACKED_BYTES = 20 * 2**20
"""So much is unpacked whatever the packing."""
LONGEST_LINE = 1_000_000
"""Characters; a line of a table with more is none, and would fill the memory."""
_SOUND_PACKING = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
"""Members of an archive packed otherwise unpack without a bound (bzip2, LZMA)."""
_WEB = re.compile(r"(?:^|/)[A-Za-z][A-Za-z0-9+.-]+:/")

_BYTE_ORDER_MARKS = {
    codecs.BOM_UTF8: "utf-8-sig",
    codecs.BOM_UTF32_LE: "utf-32",  # begins as UTF-16 does, and so stands before it
    codecs.BOM_UTF32_BE: "utf-32",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}

_NAMES = {
    **dict.fromkeys(("utf-8", "utf-8-sig"), "UTF-8"),
    "cp1252": "UTF-8, nor in Latin-1 (Windows-1252)",  # of what is not UTF-8
}

_SAVE_AS_CSV = "open it in the program it belongs to and save the sheet as CSV"
_KINDS = (
    (b"%PDF", "a PDF", "copy the table out of it into a sheet, check it, and save that as CSV"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet (xls) or another office file", _SAVE_AS_CSV),
    (b"PK\x05\x06", "an empty zip archive", "pack the file again"),
    (b"\x89PNG", "a picture", "read the numbers off it into a CSV file"),
    (b"\xff\xd8\xff", "a picture", "read the numbers off it into a CSV file"),
    (b"GIF8", "a picture", "read the numbers off it into a CSV file"),
    (b"BZh", "packed with bzip2", "unpack it, or pack it with gzip"),
    (b"\xfd7zXZ\x00", "packed with xz", "unpack it, or pack it with gzip"),
    (b"\x28\xb5\x2f\xfd", "packed with zstd", "unpack it, or pack it with gzip"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", "unpack it"),
    (b"Rar!", "a rar archive", "unpack it"),
    (b"SQLite format 3\x00", "a database", "export the table as CSV"),
    (b"\x89HDF", "an HDF5 file", "give it as the wind record if it is NetCDF, else save it as CSV"),
    (b"CDF", "a NetCDF file", "give it as the wind record, or save the table as CSV"),
)
"""First bytes, what the file is, and what to do with it (the formats' own specifications)."""
_DOCUMENTS = {
    "xl/": "a spreadsheet of another kind (xlsb)",
    "word/": "a word-processor document",
    "content.xml": "an OpenDocument file, and no spreadsheet",
}
"""What a zip archive is that an office program wrote, by a name in it."""
_MARKUP = (
    (("<!doctype html", "<html", "<table"), "a web page", "save the table itself as CSV"),
    (("<?xml", "<"), "XML", "export the table as CSV"),
    (("{", "["), "JSON", "export the table as CSV"),
)


@contextmanager
def open_text(
    path: Path, encoding: str | None = None, progress: Progress | None = None
) -> Iterator[TextIO]:
    """Open a text file, gzip, or zip archive of one file, turning all trouble into `InputError`.

    The encoding is that which `encoding_of` finds, if none is given; `progress` is told the share
    of the file read so far.
    """
    if encoding is None:
        encoding = encoding_of(path)
    with _reading(path), ExitStack() as stack:
        stream = _open_unpacked(path, stack, progress)
        try:
            text = stack.enter_context(_BoundedLines(path, stream, encoding))
        except (LookupError, ValueError) as error:
            raise InputError(
                f"{path}: {encoding!r} is no text encoding; write utf-8, utf-16, latin-1 or such."
            ) from error
        try:
            yield text
        except UnicodeError as error:
            line = _first_stray_line(path, encoding)
            raise InputError(
                f"{path}{f', line {line}' if line else ''}: this is not text in "
                f"{_NAMES.get(encoding, encoding)}; save it as UTF-8."
            ) from error


def _first_stray_line(path: Path, encoding: str) -> int | None:
    """Return the first line with bytes that are no text in an encoding; None where none is told."""
    with ExitStack() as stack:
        kept, left_out = (
            _BoundedLines(path, _open_unpacked(path, stack, None), encoding, errors)
            for errors in ("replace", "ignore")
        )
        try:
            pairs = enumerate(zip_longest(kept, left_out), start=1)
            return next((number for number, (one, other) in pairs if one != other), None)
        except (UnicodeError, InputError):
            return None  # the mark is missing that must begin it, or it has no lines


def encoding_of(path: Path) -> str:
    """Return the encoding of a text file, told from its first 64 kB; refuse what is not text.

    It is one of UTF-8, -16 and -32, or "cp1252" (Latin-1 with the additions every desktop makes)
    for what is none of these. A guess by the statistics of letters does worse here:
    charset-normalizer (3.5) takes one degree sign or umlaut of Latin-1 among digits for Chinese or
    Japanese.
    """
    with _reading(path), ExitStack() as stack:
        head = _open_unpacked(path, stack, None).read(HEAD_BYTES)
    for start, kind, advice in _KINDS:
        if head.startswith(start):
            raise InputError(f"{path}: this is {kind}, not a table as text; {advice}.")
    for mark, name in _BYTE_ORDER_MARKS.items():
        if head.startswith(mark):
            return name
    if b"\0" in head:
        # Western text in UTF-16 has a zero in every other byte; no other text has any.
        for name, zeros in (("utf-16-le", head[1::2]), ("utf-16-be", head[::2])):
            if zeros.count(b"\0") > 0.9 * len(zeros):
                return name
        if head[:TELLING_BYTES].isascii() and b"\0" not in head[:TELLING_BYTES]:
            line = head[: head.index(b"\0")].count(b"\n") + 1
            raise InputError(
                f"{path}, line {line}: there are zero bytes in the text, as loggers leave them "
                "when the power fails; remove them."
            )
        raise InputError(
            f"{path}: this is not a text file; give a table as plain text (CSV) or NetCDF."
        )
    try:
        # The head may end inside a character: an incremental decoder does not mind.
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8-sig"


@contextmanager
def _reading(path: Path) -> Iterator[None]:
    try:
        yield
    except (EOFError, gzip.BadGzipFile, zlib.error) as error:
        raise InputError(f"{path}: the gzip data is damaged ({error}); pack it again.") from error
    except (zipfile.BadZipFile, NotImplementedError) as error:
        raise InputError(f"{path}: the zip archive is damaged ({error}); pack it again.") from error
    except UnicodeError as error:
        raise InputError(
            f"{path}: the archive holds a name that is not in UTF-8, as it says; pack it again."
        ) from error
    except OSError as error:
        raise InputError(
            f"{path}: the file cannot be read ({error.strerror or error}); check its rights."
        ) from error


def there_is_none(path: Path) -> InputError:
    """Return the error for a file that is not there; nothing is ever fetched from a network."""
    if _WEB.search(path.as_posix()):
        return InputError(
            f"{path}: web addresses are not opened; download the file and name it on this machine."
        )
    return InputError(f"{path}: there is no such file; check the name and the folder.")


def open_bytes(path: Path) -> BinaryIO:
    """Open a file as it is, if it is one: no folder, pipe or device, which might never end."""
    path, _ = workbook_and_sheet(path)
    with _reading(path):
        if not path.exists():
            raise there_is_none(path)
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            raise InputError(f"{path}: this is not a file; name the file itself.")
        if found.st_size == 0:
            # The kernel's own files have no size either, and some of them never end.
            raise InputError(f"{path}: the file is empty; a heading and data lines were expected.")
        held = 512 * getattr(found, "st_blocks", 0)
        if 0 < HIGHEST_PACKING * held < found.st_size > ALWAYS_UNPACKED_BYTES:
            raise InputError(
                f"{path}: nearly all of it is holes that nothing was ever written to; is it whole?"
            )
        # A pipe that takes the place of the file meanwhile must not be waited for.
        return os.fdopen(os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0)), "rb")


def refuse_markup(path: Path, text: str) -> None:
    """Refuse a text that begins as markup does, saying what it is and what to do with it."""
    begins = text.lstrip("\ufeff \t\r\n").lower()
    for starts, kind, advice in _MARKUP:
        # A logger may write "[m/s]" or "{...}" titles, but not with a whole table in one line.
        if begins.startswith(starts) and (kind != "JSON" or '"' in begins[:200]):
            raise InputError(
                f"{path}: this is {kind}, not a table with one line per reading; {advice}."
            )


def skip_all_but(stream: TextIO, last_bytes: int) -> bool:
    """Skip to the lines that begin in the last so many bytes; tell whether any were skipped.

    A packed text cannot be skipped, nor one whose line ends are not a single byte.
    """
    one = len("\n\n".encode(stream.encoding)) - len("\n".encode(stream.encoding)) == 1
    if not (one and stream.seekable()):
        return False
    size, begin = stream.buffer.seek(0, os.SEEK_END), 0
    if size > last_bytes:
        stream.buffer.seek(size - last_bytes)
        # A character may be cut there; the next line begins with a whole one.
        stream.buffer.readline()
        begin = stream.buffer.tell()
    skipped = 0 < begin < size
    stream.seek(begin if skipped else 0)
    return skipped


def _open_unpacked(path: Path, stack: ExitStack, progress: Progress | None) -> BinaryIO:
    """Open a file for reading unpacked bytes."""
    raw = stack.enter_context(open_bytes(path))
    size = max(1, os.fstat(raw.fileno()).st_size)
    start = raw.read(4)
    raw.seek(0)
    packed = raw
    if progress is not None:
        packed = _counted(raw, lambda count: progress(min(1.0, count / size)))
    if start[:2] == b"\x1f\x8b":
        unpacked: BinaryIO = cast(BinaryIO, stack.enter_context(gzip.GzipFile(fileobj=packed)))
    elif start == b"PK\x03\x04":
        sheet = _sheet_of(path, raw, size)
        if sheet is not None:
            return io.BytesIO(sheet)
        unpacked = _only_member(path, raw, stack)
    else:
        return packed

    def watch(count: int) -> None:
        if count > max(ALWAYS_UNPACKED_BYTES, HIGHEST_PACKING * size):
            raise _too_tightly_packed(path)

    return _counted(unpacked, watch)


_sheets: dict[tuple[str, int, int], bytes] = {}
"""The sheet that was read last as text, for a file is opened several times: by path, time, size."""


def _sheet_of(path: Path, raw: BinaryIO, size: int) -> bytes | None:
    """Return the sheet of a workbook that a path means as text; None if it is no workbook."""
    found = os.fstat(raw.fileno())
    known = (str(path), found.st_mtime_ns, found.st_size)
    if known in _sheets:
        return _sheets[known]
    with zipfile.ZipFile(raw) as archive:
        sheets = sheets_in(archive)
        if sheets is None:
            return None
        members = archive.infolist()
        # What a member unpacks to is cut where the archive says that it ends.
        if sum(one.file_size for one in members) > max(
            ALWAYS_UNPACKED_BYTES, HIGHEST_PACKING * size
        ):
            raise _too_tightly_packed(path)
        if any(one.flag_bits & 1 or one.compress_type not in _SOUND_PACKING for one in members):
            raise InputError(
                f"{path}: the workbook is locked or packed in another way than usual; save it "
                "again without a password, or save the sheet as CSV."
            )
    raw.seek(0)
    text = sheet_as_text(path, sheets(path, raw), workbook_and_sheet(path)[1]).encode()
    _sheets.clear()
    _sheets[known] = text
    return text


def _too_tightly_packed(path: Path) -> InputError:
    return InputError(
        f"{path}: unpacked it is more than {HIGHEST_PACKING} times as large as packed, which no "
        "such file is; unpack it yourself if you trust it."
    )


def _only_member(path: Path, raw: BinaryIO, stack: ExitStack) -> BinaryIO:
    archive = stack.enter_context(zipfile.ZipFile(raw))
    for start, kind in _DOCUMENTS.items():
        if any(name.startswith(start) for name in archive.namelist()):
            raise InputError(f"{path}: this is {kind}, not a table as text; {_SAVE_AS_CSV}.")
    # Some systems put notes of their own beside every file.
    members = [
        member
        for member in archive.infolist()
        if not member.is_dir()
        and not member.filename.startswith("__MACOSX/")
        and not Path(member.filename).name.startswith(".")
    ]
    if len(members) != 1:
        raise InputError(
            f"{path}: the archive holds {len(members)} files, where one was expected; unpack it "
            "and name the file, or the folder."
        )
    if members[0].flag_bits & 1:
        raise InputError(f"{path}: the archive is locked by a password; unpack it yourself.")
    if members[0].compress_type not in _SOUND_PACKING:
        raise InputError(
            f"{path}: the archive is packed in another way than zip's usual one (deflate); pack it "
            "again, or unpack it."
        )
    return cast(BinaryIO, stack.enter_context(archive.open(members[0])))


class _BoundedLines(io.TextIOWrapper):
    """Text whose lines have an end."""

    def __init__(self, path: Path, stream: BinaryIO, encoding: str, errors: str = "strict") -> None:
        super().__init__(stream, encoding=encoding, errors=errors)
        self._path = path

    def readline(self, size: int = -1) -> str:  # type: ignore[override]
        line = super().readline(LONGEST_LINE + 1)
        if len(line) > LONGEST_LINE:
            raise InputError(
                f"{self._path}: a line is longer than {LONGEST_LINE:,} characters, and no table "
                "has such lines; check that its lines end."
            )
        return line


class _Counting(io.RawIOBase):
    """Bytes that tell how many of them have been read."""

    def __init__(self, stream: BinaryIO, told: Callable[[int], None]) -> None:
        self._stream = stream
        self._told = told
        self._count = 0

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: bytearray) -> int:  # type: ignore[override]
        block = self._stream.read(len(buffer))
        buffer[: len(block)] = block
        self._count += len(block)
        self._told(self._count)
        return len(block)


def _counted(stream: BinaryIO, told: Callable[[int], None]) -> BinaryIO:
    return cast(BinaryIO, io.BufferedReader(_Counting(stream, told), buffer_size=2**20))
