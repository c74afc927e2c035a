"""See that a NetCDF file or a Zarr store is what it seems, before a library opens it."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from yieldest.errors import InputError
from yieldest.files.text_file import ALWAYS_UNPACKED_BYTES, open_bytes, there_is_none

if TYPE_CHECKING:
    import xarray as xr

_CLASSIC = (b"CDF\x01", b"CDF\x02", b"CDF\x05")
_HDF5 = b"\x89HDF"
_SOUND_CODECS = frozenset(
    {"blosc", "gzip", "zlib", "zstd", "lz4", "shuffle", "delta", "fixedscaleoffset", "quantize"}
    | {"astype", "bitround", "packbits", "vlen-utf8", "vlen-bytes", "bytes", "transpose"}
    | {"crc32", "crc32c", "adler32", "fletcher32", "sharding_indexed"}
)
"""Ways of packing that give numbers and texts. Others run what they unpack (pickle), or unpack
without a bound (bzip2, LZMA)."""
_USUAL_CALENDARS = {"standard", "gregorian", "proleptic_gregorian", "none"}
_LARGEST_DESCRIPTION = 20_000_000
HIGHEST_CLAIM = 500
"""Bytes of numbers that are believed for a byte of file: winds pack to a quarter or so, but nearly
all of a map can be sea without any. Our choice."""
_POINTER_BYTES = 16


def netcdf_engine(path: Path) -> str | None:
    """Return xarray's engine for a NetCDF file, "scipy" or "h5netcdf"; None if it is none."""
    with open_bytes(path) as stream:
        start = stream.read(4)
    if start in _CLASSIC:
        return "scipy"
    return "h5netcdf" if start == _HDF5 else None


def odd_calendar(data: xr.Dataset) -> str | None:
    """Return a calendar other than the usual one that the times of a dataset, as stored, keep."""
    stated = (
        str(each.attrs.get("calendar", "standard")).lower() for each in data.variables.values()
    )
    return next((name for name in stated if name not in _USUAL_CALENDARS), None)


def check_netcdf4(path: Path) -> None:
    """Refuse a NetCDF-4 file that reaches into others, or claims far more than it can hold.

    h5py raises whatever it will at a damaged file.
    """
    import h5py  # noqa: PLC0415  (slow to import, and few files need it)

    claimed = 0

    def reaches_out(name: str | bytes, link: object) -> bool | None:
        nonlocal claimed
        if isinstance(link, h5py.ExternalLink):
            return True
        found = file.get(name)
        if not isinstance(found, h5py.Dataset):
            return None
        item = found.dtype.itemsize
        claimed += max(math.prod(found.shape or ()), math.prod(found.chunks or ())) * item
        return True if found.external or found.is_virtual else None

    with h5py.File(path, "r") as file:
        # h5py bears no exception in there; anything but None ends the visit.
        if file.visititems_links(reaches_out):
            raise InputError(
                f"{path}: parts of it are kept in other files, which are not followed; write it "
                "anew in one piece."
            )
    _refuse_claim(path, claimed, [path])


def check_zarr(folder: Path) -> None:
    """Refuse a Zarr store that could run code, never end, or claims far more than it can hold."""
    claimed: dict[str, int] = {}
    for file in _files_within(folder):
        if file.name not in (".zarray", ".zmetadata", "zarr.json"):
            continue
        size = file.stat().st_size
        if size > _LARGEST_DESCRIPTION:
            raise InputError(f"{file}: {size:,} bytes are too many to describe a Zarr store.")
        try:
            content = json.loads(file.read_text(encoding="utf-8"))
        except (ValueError, RecursionError) as error:
            raise InputError(f"{file}: the description of the Zarr store is damaged.") from error
        here = file.parent.relative_to(folder).as_posix()
        for name, array in _arrays_in(content, here):
            codecs = [array.get(key) for key in ("compressor", "filters", "codecs")]
            strange = next((code for code in _names_in(codecs) if code not in _SOUND_CODECS), None)
            if strange is not None:
                raise InputError(
                    f"{file}: {name!r} is packed by {strange!r}, which is not opened, for it could "
                    "run code or fill the memory; write the store anew with zlib, zstd or blosc."
                )
            claimed[name] = max(claimed.get(name, 0), _claim(array))
    _refuse_claim(folder, sum(claimed.values()), _files_within(folder))


def _refuse_claim(path: Path, claimed: int, files: Iterable[Path]) -> None:
    missing = claimed - ALWAYS_UNPACKED_BYTES
    for file in files:
        if missing <= 0:  # a store of a million files need not be measured to its end
            return
        missing -= HIGHEST_CLAIM * file.stat().st_size
    if missing > 0:
        raise InputError(
            f"{path}: it claims to hold {claimed / 1e6:,.0f} MB, more than {HIGHEST_CLAIM} times "
            "its size, which no wind record does; cut out the part that holds values."
        )


def _files_within(folder: Path) -> Iterator[Path]:
    with os.scandir(folder) as entries:
        for entry in entries:
            file = Path(entry.path)
            if entry.is_dir(follow_symlinks=False):
                yield from _files_within(file)
            elif entry.is_file():
                yield file
            elif not file.exists():
                raise there_is_none(file)
            else:
                raise InputError(f"{file}: this is not a file, and so no part of a Zarr store.")


def _arrays_in(content: object, here: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the arrays that a description, of one or of a whole store, describes."""
    if not isinstance(content, dict):
        return
    if "shape" in content:
        yield here, content
    parts = content.get("metadata")
    if parts is None:
        parts = (content.get("consolidated_metadata") or {}).get("metadata")
    if isinstance(parts, dict):
        for name, part in parts.items():
            yield from _arrays_in(
                part, f"{here}/{name.removesuffix('/.zarray')}".removeprefix("./")
            )


def _names_in(codecs: object) -> Iterator[str]:
    if isinstance(codecs, list):
        for part in codecs:
            yield from _names_in(part)
    elif isinstance(codecs, dict):
        name = codecs.get("id", codecs.get("name"))
        yield str(name).removeprefix("numcodecs.")
        inner = codecs.get("configuration")
        if isinstance(inner, dict):
            yield from _names_in([inner.get("codecs"), inner.get("index_codecs")])


def _claim(array: dict[str, Any]) -> int:
    """Return the bytes that an array, or one piece of it, would take unpacked."""
    try:
        item = np.dtype(array.get("dtype", array.get("data_type"))).itemsize
    except TypeError:
        item = _POINTER_BYTES
    grid = array.get("chunk_grid")
    pieces = array.get("chunks") or (grid["configuration"]["chunk_shape"] if grid else [])
    return int(max(math.prod(array["shape"]), math.prod(pieces)) * max(1, item))
