"""Opening gridded files: NetCDF, several of them, or a Zarr store."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import xarray as xr

from yieldest.errors import InputError
from yieldest.files.array_files import check_netcdf4, check_zarr, netcdf_engine
from yieldest.files.text_file import there_is_none
from yieldest.maps.variables import Grid


def open_grid(paths: Sequence[Path], stated: Mapping[str, str]) -> Grid:
    """Open a grid lazily.

    Parameters
    ----------
    paths : sequence of Path
        One Zarr store, or one or more NetCDF files that continue each other in time or space.
    stated : mapping of str to str
        Role to variable, as the option --variable states it.

    Raises
    ------
    InputError
        When a file is not there or cannot be read.
    """
    for path in paths:
        if not path.exists():
            raise there_is_none(path)
    first = paths[0]
    stores = [path for path in paths if path.is_dir()]
    if stores and len(paths) > 1:
        raise InputError(f"{stores[0]}: this is a folder; give one Zarr store, or NetCDF files.")
    try:
        for path in paths:
            if path.is_dir():
                check_zarr(path)
            elif netcdf_engine(path) == "h5netcdf":
                check_netcdf4(path)
        if stores:
            data = xr.open_zarr(first, chunks=None, decode_coords="all")
        elif len(paths) == 1:
            data = xr.open_dataset(first, engine="h5netcdf", decode_coords="all")
        else:
            data = xr.open_mfdataset(
                list(paths),
                engine="h5netcdf",
                decode_coords="all",
                combine="by_coords",
                data_vars="minimal",
                coords="minimal",
                compat="override",
                join="exact",
            )
    except InputError:
        raise
    except Exception as error:  # damaged files make the libraries raise whatever they will
        reason = " ".join(str(error).split())[:200]
        raise InputError(
            f"{first}: this cannot be read as NetCDF or Zarr ({reason}); check that it is a "
            "NetCDF-4 file or a Zarr store."
        ) from error
    name = first.name if len(paths) == 1 else f"{first.name} and {len(paths) - 1} more"
    stamps = [path.stat() for path in paths]
    stamp = " ".join(f"{each.st_mtime_ns} {each.st_size}" for each in stamps)
    return Grid(name, data, stated, stamp)
