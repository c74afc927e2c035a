"""Spoil one file of a sound plan folder in one of many ways, the same for the same seed."""

from __future__ import annotations

import gzip
import io
import os
import random
import re
import shutil
import socket
import struct
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path

MEGABYTE = 1_000_000
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
    "$\\frac{$",
    "[/b]",
    "\\u001b[2J",
    "</script><img src=x onerror=alert(1)>",
    "https://127.0.0.1/wind.csv",
    "/dev/zero",
    "*",
    "[[[[" * 2000,
    "99999999999999999999",
    "__import__('os').system('false')",
)


def spoil(path: Path, seed: int) -> str:
    """Change `path`, or a file in it, and return the name of the way that was chosen."""
    chance = random.Random(seed)
    if path.is_dir() and chance.random() < 0.9:
        path = chance.choice(sorted(file for file in path.rglob("*") if file.is_file()))
    way = chance.choice(WAYS) if path.is_file() else no_file
    try:
        way(path, chance)
    except UnicodeDecodeError:  # what spoils text cannot spoil this
        way = chance.choice((flip_bytes, cut_off, no_file))
        way(path, chance)
    return f"{way.__name__} of {path.name}"


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
    """Pack the file, soundly or not."""
    content = path.read_bytes()
    kind = chance.choice(["gzip", "cut", "zip", "two", "nested", "climbing", "bzip2", "lzma"])
    if kind in ("gzip", "cut"):
        whole = gzip.compress(content)
        path.write_bytes(whole if kind == "gzip" else whole[: chance.randrange(4, 60)])
        return
    methods = {"bzip2": zipfile.ZIP_BZIP2, "lzma": zipfile.ZIP_LZMA}
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", methods.get(kind, zipfile.ZIP_DEFLATED)) as archive:
        name = chance.choice(["../../up.csv", "/absolute.csv"]) if kind == "climbing" else "a"
        archive.writestr(name, content)
        if kind == "two":
            archive.writestr("b.csv", content)
    content = target.getvalue()
    if kind == "nested":
        target = io.BytesIO()
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("inner.zip", content)
        content = target.getvalue()
    path.write_bytes(content)


def bomb(path: Path, chance: random.Random) -> None:
    """Put a small packed file there that unpacks to hundreds of MB, or to a GB."""
    piece = chance.choice(
        [b"\0" * MEGABYTE, b"1," * (MEGABYTE // 2), b"1,2\n" * (MEGABYTE // 4), b"a" * MEGABYTE]
    )
    if chance.random() < 0.5:
        try:
            head = b"\n".join(path.read_bytes().splitlines()[:40])
            piece = (b"\n".join(head.splitlines()[-2:]) + b"\n") * (MEGABYTE // 60)
        except (IndexError, ValueError):
            head = b""
    else:
        head = b""
    times = chance.choice([300, 300, 300, 1000])
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    start = packer.compress(head + b"\n") + packer.flush(zlib.Z_FULL_FLUSH)
    # After a full flush a block stands for itself, and may be repeated.
    block = packer.compress(piece) + packer.flush(zlib.Z_FULL_FLUSH)
    stream = start + block * times + packer.flush()
    if chance.random() < 0.5:
        path.write_bytes(b"\x1f\x8b\x08" + bytes(7) + stream + bytes(8))
        return
    sizes = struct.pack("<LLL", 0, len(stream), chance.choice([1000, 2**32 - 2]))
    common = struct.pack("<HHHHH", 20, 0, 8, 0, 0) + sizes + struct.pack("<HH", 1, 0)
    local = b"PK\x03\x04" + common + b"a" + stream
    central = b"PK\x01\x02" + struct.pack("<H", 20) + common + bytes(14) + b"a"
    end = b"PK\x05\x06" + struct.pack("<HHHHLLH", 0, 0, 1, 1, len(central), len(local), 0)
    path.write_bytes(local + central + end)


def many_columns(path: Path, chance: random.Random) -> None:
    """Give the table a very wide heading."""
    wide = chance.choice([1000, 100_000, 1_000_000])
    path.write_text(",".join(["x"] * wide) + "\n" + ",".join(["1"] * wide) + "\n")


def no_file(path: Path, chance: random.Random) -> None:
    """Put something that is not a file in its place, or a file that cannot be read."""
    kind = chance.choice(
        (
            "nothing",
            "empty",
            "folder",
            "pipe",
            "socket",
            "loop",
            "dangling",
            "device",
            "kernel",
            "unreadable",
            "huge",
            "beside",
        )
    )
    if kind == "unreadable":
        path.chmod(0)
        return
    if kind == "huge":  # and nearly all of it a hole
        os.truncate(path if path.is_file() else next(path.glob("*.*")), 2**40)
        return
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink()
    if kind == "empty":
        path.touch()
    elif kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "socket":
        with socket.socket(socket.AF_UNIX) as made:
            made.bind(str(path))
    elif kind != "nothing":
        targets = {
            "loop": [path.name],
            "dangling": ["nowhere"],
            "device": ["/dev/zero", "/dev/null", "/dev/stdin", "/dev/full", "/dev/random"],
            "kernel": ["/proc/kmsg", "/proc/self/mem", "/proc/self/environ", "/proc/self/pagemap"],
            "beside": sorted(beside.name for beside in path.parent.iterdir()) or ["."],
        }
        path.symlink_to(chance.choice(targets[kind]))


def one_long_line(path: Path, chance: random.Random) -> None:
    """Take the line ends away, quote without an end, or repeat a line's text without end."""
    text = path.read_text(encoding="utf-8")
    kind = chance.choice(["unended quote", "one line", "long", "deep"])
    if kind == "long":
        word = chance.choice(["(", "( ", "a.", "1,", " ", '"', "x" * 50, "_a", "[["])
        at = chance.randrange(len(text) + 1)
        text = text[:at] + word * chance.choice([1000, 100_000]) + text[at:]
    elif kind == "deep":
        text += "deep = " + chance.choice(["[", "{a=", "[{a=["]) * chance.choice([300, 5000])
    elif kind == "one line":
        text = text.replace("\n", " ")
    else:
        text = '"' + text
    path.write_text(text, encoding="utf-8")


WAYS: tuple[Callable[[Path, random.Random], None], ...] = (
    *([flip_bytes] * 10),
    *([nasty_cell] * 20),
    *([scale_number] * 10),
    *([drop_column] * 5),
    *([cut_off] * 3),
    *([shuffle_lines] * 3),
    *([other_encoding] * 3),
    *([packed] * 3),
    bomb,
    many_columns,
    *([no_file] * 5),
    *([one_long_line] * 3),
)
"""The ways, each as often as it deserves."""
