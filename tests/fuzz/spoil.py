"""Spoil one file of a sound plan folder in one of many ways, the same for the same seed."""

from __future__ import annotations

import gzip
import io
import os
import random
import re
import zipfile
from collections.abc import Callable
from pathlib import Path

NASTY_CELLS: tuple[str, ...] = (
    "",
    "nan",
    "NaN",
    "inf",
    "-inf",
    "1e308",
    "-1e308",
    "1e-320",
    "9" * 400,
    "-0",
    "0",
    "-9999",
    "1,5",
    "1.5.2",
    "0x1F",
    "\uff11\uff12",
    "١٢",
    "=1+1",
    "\x00",
    "\ufffd",
    "'",
    '"',
    '""',
    "#",
    ";",
    "\t",
    "true",
    "null",
    "None",
    "2025-13-45",
    "24:00",
    "12/31/2025",
    "1e5",
    "-1",
    "1_000",
    "½",
    "🌬",
    "a" * 10_000,
    "[",
    "]]",
    "{",
    "../../etc/passwd",
    "%s",
    "{0}",
    "\\",
    "\r",
    "\u2028",
)


def spoil(path: Path, seed: int) -> str:
    """Change `path` and return the name of the way that was chosen."""
    chance = random.Random(seed)
    way = chance.choice(WAYS)
    way(path, chance)
    return way.__name__


def flip_bytes(path: Path, chance: random.Random) -> None:
    """Set some bytes to any value."""
    content = bytearray(path.read_bytes())
    for _ in range(chance.choice([1, 1, 2, 5, 50])):
        content[chance.randrange(len(content))] = chance.randrange(256)
    path.write_bytes(bytes(content))


def cut_off(path: Path, chance: random.Random) -> None:
    """Keep only the beginning, or only the end."""
    content = path.read_bytes()
    at = chance.randrange(len(content) + 1)
    path.write_bytes(content[:at] if chance.random() < 0.5 else content[at:])


def nasty_cell(path: Path, chance: random.Random) -> None:
    """Put a nasty text in place of a number, a word or a quoted text."""
    text = path.read_text(encoding="utf-8")
    places = list(re.finditer(r'[-+.\w]+|"[^"]*"', text))
    for place in sorted(chance.sample(places, min(len(places), chance.choice([1, 1, 3]))),
                        key=lambda match: -match.start()):  # fmt: skip
        text = text[: place.start()] + chance.choice(NASTY_CELLS) + text[place.end() :]
    path.write_text(text, encoding="utf-8", errors="replace", newline="")


def scale_number(path: Path, chance: random.Random) -> None:
    """Multiply a number by a very large, small or negative factor."""
    text = path.read_text(encoding="utf-8")
    place = chance.choice(list(re.finditer(r"\d+(\.\d+)?", text)))
    factor = chance.choice([-1, 0, 1e-12, 1e-3, 1e3, 1e12, 1e300])
    spoilt = text[: place.start()] + repr(float(place.group()) * factor) + text[place.end() :]
    path.write_text(spoilt, encoding="utf-8")


def drop_column(path: Path, chance: random.Random) -> None:
    """Take one column away from every line, or from one line."""
    lines = path.read_text(encoding="utf-8").splitlines()
    column = chance.randrange(4)
    chosen = range(len(lines)) if chance.random() < 0.5 else [chance.randrange(len(lines))]
    for number in chosen:
        cells = lines[number].split(",")
        if len(cells) > column:
            del cells[column]
        lines[number] = ",".join(cells)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def shuffle_lines(path: Path, chance: random.Random) -> None:
    """Put the lines in any order, some twice."""
    lines = path.read_text(encoding="utf-8").splitlines()
    lines += chance.sample(lines, min(len(lines), 3))
    chance.shuffle(lines)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def other_encoding(path: Path, chance: random.Random) -> None:
    """Write the text in another encoding, or with other line ends."""
    text = path.read_text(encoding="utf-8")
    kind = chance.choice(["utf-16", "utf-32", "latin-1", "utf-8-sig", "cp037", "cr", "nul"])
    if kind == "cr":
        path.write_bytes(text.replace("\n", "\r").encode())
    elif kind == "nul":
        path.write_bytes(text.replace("\n", "\n\x00").encode())
    else:
        path.write_bytes((text + "ü").encode(kind))


def packed(path: Path, chance: random.Random) -> None:
    """Pack the file, soundly or not, or put a bomb in its place."""
    content = path.read_bytes()
    kind = chance.choice(["gzip", "cut gzip", "zip", "two in a zip", "gzip bomb", "zip bomb"])
    if kind == "gzip":
        path.write_bytes(gzip.compress(content))
    elif kind == "cut gzip":
        path.write_bytes(gzip.compress(content)[: chance.randrange(4, 60)])
    elif kind == "gzip bomb":
        path.write_bytes(gzip.compress(b"1,2\n" * 100_000_000 if chance.random() < 0.02
                                       else b"1,2\n" * 5_000_000, 1))  # fmt: skip
    else:
        target = io.BytesIO()
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("a.csv", b"0" * 50_000_000 if kind == "zip bomb" else content)
            if kind == "two in a zip":
                archive.writestr("b.csv", content)
        path.write_bytes(target.getvalue())


def many_columns(path: Path, chance: random.Random) -> None:
    """Give the table a very wide heading."""
    wide = chance.choice([1000, 100_000, 1_000_000])
    path.write_text(",".join(["x"] * wide) + "\n" + ",".join(["1"] * wide) + "\n")


def no_file(path: Path, chance: random.Random) -> None:
    """Put something that is not a file in its place."""
    path.unlink()
    kind = chance.choice(["nothing", "folder", "pipe", "loop", "dangling", "device"])
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "loop":
        path.symlink_to(path.name)
    elif kind == "dangling":
        path.symlink_to("nowhere")
    elif kind == "device":
        path.symlink_to(chance.choice(["/dev/zero", "/dev/null"]))


def one_long_line(path: Path, chance: random.Random) -> None:
    """Take the line ends away, or quote without an end."""
    text = path.read_text(encoding="utf-8")
    path.write_text('"' + text if chance.random() < 0.5 else text.replace("\n", " "))


WAYS: tuple[Callable[[Path, random.Random], None], ...] = (
    *([flip_bytes] * 4),
    *([nasty_cell] * 8),
    *([scale_number] * 4),
    *([drop_column] * 2),
    cut_off,
    shuffle_lines,
    other_encoding,
    packed,
    many_columns,
    no_file,
    one_long_line,
)
"""The ways, each as often as it deserves."""
