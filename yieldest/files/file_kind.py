"""Tell by its first bytes what a file is that holds no table, and what to do with it."""

from __future__ import annotations

from collections.abc import Sequence

_SAVE_AS_CSV = "open it in the program it belongs to and save the sheet as CSV"
_KINDS = (
    (b"%PDF", "a PDF", "copy the table out of it into a sheet, check it, and save that as CSV"),
    (
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
        "a spreadsheet (xls) or another office file",
        _SAVE_AS_CSV,
    ),
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
_MARKUP = (
    (("<!doctype html", "<html", "<table"), "a web page", "save the table itself as CSV"),
    (("<?xml", "<"), "XML", "export the table as CSV"),
    (("{", "["), "JSON", "export the table as CSV"),
)


def foreign_kind(head: bytes) -> str | None:
    """Say what a file is and what to do with it, where its first bytes tell that it is no table.

    Parameters
    ----------
    head : bytes
        The first kilobyte or more.

    Returns
    -------
    str or None
        "this is ...; do ...", or None for what may be a table.
    """
    for start, kind, advice in _KINDS:
        if head.startswith(start):
            return f"this is {kind}, not a table as text; {advice}"
    return None


def markup_kind(text: str) -> str | None:
    """Say what a text is and what to do with it, where it begins as markup does; else None."""
    begins = text.lstrip("\ufeff \t\r\n").lower()
    for starts, kind, advice in _MARKUP:
        # A logger may write "[m/s]" or "{...}" titles, but not with a whole table in one line.
        if begins.startswith(starts) and (kind != "JSON" or '"' in begins[:200]):
            return f"this is {kind}, not a table with one line per reading; {advice}"
    return None


def document_kind(members: Sequence[str]) -> str | None:
    """Say what a zip archive is that an office program wrote, by the names in it; else None."""
    for folder, kind in (("xl/", "a spreadsheet (xlsx)"), ("word/", "a word-processor document")):
        if any(name.startswith(folder) for name in members):
            return f"this is {kind}, not a table as text; {_SAVE_AS_CSV}"
    if "mimetype" in members and "content.xml" in members:
        return f"this is an OpenDocument file (ods or odt), not a table as text; {_SAVE_AS_CSV}"
    return None
