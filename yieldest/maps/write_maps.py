"""Maps onto the disk: NetCDF whole or not at all, Zarr so that a stopped run can go on."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import h5netcdf
import numpy as np
import xarray as xr

if sys.platform != "win32":
    import fcntl

from yieldest.errors import InputError
from yieldest.files.whole_output import scratch_beside
from yieldest.maps.blocks import Region, cells_in
from yieldest.maps.grid import Grid, bounds_of
from yieldest.maps.make_maps import Recipe, outline_of
from yieldest.maps.workers import Maps, Progress

FINISHED = "finished.json"
"""File in an unfinished Zarr store that lists the regions that are done."""
SPARE_BYTES = 1_000_000
"""For all that stands in a NetCDF map beside its values."""
STORED_SIDE = 256
"""Longest side of a stored piece of a NetCDF map."""
_PACKING = frozenset({"compressor", "compressors", "filters", "serializer", "shards"})
"""What xarray keeps of how a Zarr store packs an array."""

Outlined = Callable[[], xr.Dataset]
"""Lays maps out, without their values."""


def write_maps(
    grid: Grid,
    recipe: Recipe,
    regions: Sequence[Region],
    maps: Maps,
    path: Path,
    progress: Progress,
    command: str,
) -> None:
    """Compute the maps of a grid in blocks and write them, to a path ending in .nc or .zarr.

    The command is for the history of the file; another ending, a folder that is not there or a Zarr
    store that is there already is refused.
    """
    if not path.parent.is_dir():
        raise InputError(f"{path}: the folder {path.parent} is not there; make it first.")

    # Called when those who compute have been given work, for they need not wait for it.
    def outlined() -> xr.Dataset:
        when = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        return outline_of(grid, recipe).assign_attrs(history=f"{when} {command}")

    if path.suffix == ".nc":
        _write_netcdf(outlined, regions, maps, path, progress)
    elif path.suffix == ".zarr":
        try:
            _write_zarr(outlined, regions, maps, path, progress, _mark(grid, recipe, regions))
        except OSError as error:
            raise InputError(
                f"{path}: the store cannot be written ({error.strerror or error}); make room, and "
                "the same command goes on where this one stopped."
            ) from error
    else:
        raise InputError(f"{path}: the name should end in .nc (NetCDF) or .zarr (Zarr).")


def _write_netcdf(
    outlined: Outlined,
    regions: Sequence[Region],
    maps: Maps,
    path: Path,
    progress: Progress,
) -> None:
    every = sum(map(cells_in, regions))
    done = 0
    with scratch_beside(path) as scratch:
        unfinished = scratch / path.name
        computed = maps(regions)
        outline = outlined()
        _refuse_lack_of_room(unfinished, outline)
        outline.drop_vars(list(outline.data_vars)).to_netcdf(unfinished, engine="h5netcdf")
        with h5netcdf.File(unfinished, "r+") as file:
            for name, size in outline.sizes.items():
                if name not in file.dimensions:
                    file.dimensions[str(name)] = size
            for name, array in outline.data_vars.items():
                stored = file.create_variable(
                    str(name),
                    array.dims,
                    array.dtype,
                    chunks=tuple(min(size, STORED_SIDE) for size in array.shape),
                    compression="gzip",
                    compression_opts=1,
                    fillvalue=np.float32(np.nan),
                )
                for key, value in _attributes_with_coordinates(array).items():
                    stored.attrs[key] = value
            for region, here in zip(regions, computed, strict=True):
                _put(here, file.variables, region)
                done += cells_in(region)
                progress(done, every)
        unfinished.replace(path)


def _attributes_with_coordinates(array: xr.DataArray) -> dict[str, Any]:
    """Name the auxiliary coordinates (two-dimensional latitudes, say), as CF 5.2 asks."""
    others = {bounds_of(each) for each in array.coords.values()} | {array.attrs.get("grid_mapping")}
    auxiliary = [str(name) for name in array.coords if name not in {*array.dims, *others}]
    return {**array.attrs, **({"coordinates": " ".join(auxiliary)} if auxiliary else {})}


def _refuse_lack_of_room(path: Path, outline: xr.Dataset) -> None:
    """Refuse maps that might not find room: a full disk makes the HDF5 library fall over."""
    needed = sum(array.nbytes for array in outline.variables.values()) + SPARE_BYTES
    try:
        with tempfile.TemporaryFile(dir=path.parent) as reserve:
            if hasattr(os, "posix_fallocate"):
                os.posix_fallocate(reserve.fileno(), 0, needed)
            elif shutil.disk_usage(path.parent).free < needed:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    except OSError as error:
        raise InputError(
            f"{path}: the maps may take up to {needed / 1e6:,.1f} MB, and there is no room for "
            f"them ({error.strerror}); choose another place."
        ) from error


def _write_zarr(
    outlined: Outlined,
    regions: Sequence[Region],
    maps: Maps,
    path: Path,
    progress: Progress,
    mark: str,
) -> None:
    unfinished = path.with_name(f"{path.name}.part")
    with _alone_in(unfinished, path):
        try:
            _write_unfinished(outlined, regions, maps, unfinished, progress, mark)
        finally:
            # In a store without anything there is nothing to go on with.
            if not any(unfinished.iterdir()):
                unfinished.rmdir()
        unfinished.rename(path)


@contextmanager
def _alone_in(unfinished: Path, path: Path) -> Iterator[None]:
    """Have an unfinished store to oneself; refuse one that is finished or being written."""
    if path.exists() or path.is_symlink():
        raise InputError(f"{path}: there is such a store already; remove it, or name another.")
    unfinished.mkdir(exist_ok=True)
    if sys.platform == "win32":
        yield
        return
    folder = os.open(unfinished, os.O_RDONLY)
    try:
        fcntl.flock(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    except BlockingIOError as error:
        raise InputError(
            f"{path}: another run is writing this store; wait for it, or name another."
        ) from error
    finally:
        os.close(folder)


def _write_unfinished(
    outlined: Outlined,
    regions: Sequence[Region],
    maps: Maps,
    unfinished: Path,
    progress: Progress,
    mark: str,
) -> None:
    finished = _finished(unfinished, mark)
    left = [number for number in range(len(regions)) if number not in (finished or ())]
    computed = maps(regions[each] for each in left)
    outline = outlined()
    if finished is None:
        for old in unfinished.iterdir():
            shutil.rmtree(old) if old.is_dir() else old.unlink()
        _lay_out(outline, regions[0], unfinished)
        finished = []
        _note(unfinished, mark, finished)
    every = sum(map(cells_in, regions))
    if finished:
        progress(sum(cells_in(regions[each]) for each in finished), every)
    import zarr  # noqa: PLC0415 - takes time, and a NetCDF map does without

    group = zarr.open_group(unfinished, mode="r+")
    stored = {str(name): group[str(name)] for name in outline.data_vars}
    for number, here in zip(left, computed, strict=True):
        _put(here, stored, regions[number])
        finished.append(number)
        _note(unfinished, mark, finished)
        progress(sum(cells_in(regions[each]) for each in finished), every)
    (unfinished / FINISHED).unlink()


def _put(maps: xr.Dataset, arrays: Mapping[str, Any], region: Region) -> None:
    """Write the maps of a region into its part of the stored arrays."""
    for name, array in maps.data_vars.items():
        where = tuple(region.get(str(dim), slice(None)) for dim in array.dims)
        arrays[str(name)][where] = array.to_numpy()


def _lay_out(outline: xr.Dataset, region: Region, store: Path) -> None:
    """Write everything but the values, each region being a stored piece of its own."""
    import zarr  # noqa: PLC0415 - takes time, and a NetCDF map does without

    # Version 2 is what most readers of maps know, and has strings for the names of builds.
    coordinates = outline.drop_vars(list(outline.data_vars)).load()
    for coordinate in coordinates.variables.values():
        # Version 2 cannot pack as version 3 does, nor pack texts again that have been unpacked.
        kept = coordinate.encoding.items()
        coordinate.encoding = {key: value for key, value in kept if key not in _PACKING}
    coordinates.to_zarr(store, zarr_format=2, consolidated=False)
    group = zarr.open_group(store, mode="r+")
    for name, array in outline.data_vars.items():
        pieces = tuple(
            region[str(dim)].stop if str(dim) in region else size
            for dim, size in array.sizes.items()
        )
        stored = group.create(
            str(name), shape=array.shape, chunks=pieces, dtype=array.dtype, fill_value=np.nan
        )
        dimensions = {"_ARRAY_DIMENSIONS": [str(dim) for dim in array.dims]}
        stored.attrs.put({**_attributes_with_coordinates(array), **dimensions})
    zarr.consolidate_metadata(store)


def _mark(grid: Grid, recipe: Recipe, regions: Sequence[Region]) -> str:
    """Return what two runs must have in common to be one."""
    content = {
        "grid": [grid.name, dict(grid.data.sizes), dict(grid.stated), grid.stamp],
        "wind": [recipe.kind.source, recipe.kind.method],
        "plan": None if recipe.plan is None else recipe.plan.model_dump(exclude={"path"}),
        "builds": [asdict(read) for read in recipe.builds],
        "regions": [[str(span) for span in region.values()] for region in regions],
    }
    text = json.dumps(content, default=_plain, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(value: object) -> object:
    return value.tolist() if isinstance(value, np.ndarray) else str(value)


def _finished(store: Path, mark: str) -> list[int] | None:
    """Return the regions that an earlier run of the same maps finished, or None."""
    try:
        noted = json.loads((store / FINISHED).read_text(encoding="utf-8"))
    except (OSError, json.JSONDecodeError):
        return None
    return list(noted["regions"]) if noted["mark"] == mark else None


def _note(store: Path, mark: str, finished: list[int]) -> None:
    new = store / f"{FINISHED}.new"
    new.write_text(json.dumps({"mark": mark, "regions": finished}), encoding="utf-8")
    new.replace(store / FINISHED)
