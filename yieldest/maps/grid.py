"""Gridded files, opened lazily, what their variables are by the CF conventions, and every cell."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.files.array_files import check_netcdf4, check_zarr, netcdf_engine
from yieldest.files.text_file import there_is_none
from yieldest.units import to_celsius, to_hectopascal, to_metres_per_second, unit_of

STANDARD_NAMES = {
    "speed": ("wind_speed",),
    "eastward": ("eastward_wind", "x_wind"),
    "northward": ("northward_wind", "y_wind"),
    "elevation": ("surface_altitude",),
    "roughness": ("surface_roughness_length",),
    "temperature": ("air_temperature",),
    "pressure": ("surface_air_pressure", "air_pressure"),
}
"""Standard names (CF Standard Name Table) by the role that a variable plays here."""
ROLES = (*STANDARD_NAMES, "shape", "scale", "calm_share", "frequency")
"""What a variable can be; the last four have no standard name."""

_SHAPE_TAIL = re.compile(r"shape|[_\s]k$", re.IGNORECASE)
_SCALE_TAIL = re.compile(r"scale|[_\s]a$", re.IGNORECASE)
_CONVERSION = {"speed": to_metres_per_second, "temperature": to_celsius, "pressure": to_hectopascal}
_USUAL_UNIT = {"speed": "m s-1", "temperature": "K", "pressure": "Pa"}


@dataclass(frozen=True)
class Grid:
    """A gridded file, opened lazily, and what its variables are.

    `stated` is role to variable, as the user said; `stamp` changes when the file does.
    """

    name: str
    data: xr.Dataset
    stated: Mapping[str, str] = field(default_factory=dict)
    stamp: str = ""

    def all_of(self, role: str) -> list[xr.DataArray]:
        """Return every variable that plays a role; only the stated one where one is stated."""
        if role in self.stated:
            name = self.stated[role]
            if name not in self.data.data_vars:
                raise InputError(
                    f"{self.name}: there is no variable {name!r} for the {role}; the variables "
                    f"are {self.listing()}."
                )
            return [self.data[name]]
        bounds = {bounds_of(coordinate) for coordinate in self.data.coords.values()}
        return [
            variable
            for variable in self.data.data_vars.values()
            if variable.name not in bounds and _plays(role, variable, self)
        ]

    def one_of(self, role: str) -> xr.DataArray | None:
        """Return the variable that plays a role, or None; several are refused."""
        found = self.all_of(role)
        if len(found) > 1:
            names = ", ".join(repr(str(each.name)) for each in found)
            raise InputError(
                f"{self.name}: several variables could be the {role} ({names}); say which one "
                f"with --variable {role}=NAME."
            )
        return found[0] if found else None

    def listing(self) -> str:
        """Return the names of the variables for a message."""
        return ", ".join(repr(str(name)) for name in self.data.data_vars) or "none at all"

    def time_of(self, variable: xr.DataArray) -> str | None:
        """Return the time dimension of a variable, if it has one."""
        return _dimension(
            variable,
            lambda c: (
                c.attrs.get("standard_name") == "time"
                or c.attrs.get("axis") == "T"
                or np.issubdtype(c.dtype, np.datetime64)
            ),
            "time",
        )

    def height_dimension_of(self, variable: xr.DataArray) -> str | None:
        """Return the dimension of a variable that is height above ground, if it has one."""
        return _dimension(
            variable,
            lambda c: c.attrs.get("standard_name") == "height" or c.attrs.get("axis") == "Z",
            "height",
        )

    def class_dimension_of(self, variable: xr.DataArray) -> str | None:
        """Return the dimension of a variable that is classes of wind speed, if it has one."""
        return _dimension(
            variable, lambda c: c.attrs.get("standard_name") == "wind_speed", "wind_speed"
        )

    def heights_m(self, variable: xr.DataArray) -> tuple[float, ...]:
        """Return the heights above ground that a variable holds for; none when it does not say."""
        dimension = self.height_dimension_of(variable)
        if dimension is not None:
            if dimension not in variable.coords:
                return ()
            coordinates = [variable.coords[dimension]]
        else:
            coordinates = [
                coordinate
                for name, coordinate in variable.coords.items()
                if coordinate.ndim == 0
                and (coordinate.attrs.get("standard_name") == "height" or name == "height")
            ]
        for coordinate in coordinates:
            if coordinate.attrs.get("units", "m") not in ("m", "metre", "meter", "metres"):
                raise InputError(
                    f"{self.name}: the height {coordinate.name!r} is in "
                    f"{coordinate.attrs['units']!r}, but it should be in m."
                )
        return tuple(float(h) for c in coordinates for h in np.atleast_1d(c.to_numpy()))

    def in_si(self, variable: xr.DataArray, quantity: str) -> xr.DataArray:
        """Return a variable ("speed", "temperature", "pressure") in m/s, C or hPa, by its units."""
        stated = variable.attrs.get("units")
        if stated is None:
            raise InputError(
                f"{self.name}: the variable {str(variable.name)!r} has no attribute units, as the "
                f"CF conventions ask; give it one, such as {_USUAL_UNIT[quantity]!r}."
            )
        words = str(stated).replace("_", " ").replace("degree ", "degrees ")
        try:
            unit = unit_of(quantity, words)
        except InputError as error:
            raise InputError(f"{self.name}, variable {str(variable.name)!r}: {error}") from error
        if unit == "Beaufort":
            raise InputError(
                f"{self.name}: the variable {str(variable.name)!r} is in Beaufort, which a map is "
                "not made of; convert it to m/s first."
            )
        # The conversions are straight lines, and two points give them without loading anything.
        zero, one = (float(_CONVERSION[quantity](value, unit)) for value in (0.0, 1.0))
        return variable if (zero, one) == (0.0, 1.0) else variable * (one - zero) + zero


def bounds_of(coordinate: xr.DataArray) -> str | None:
    """Return the name of the variable that holds the bounds of a coordinate (CF 7.1), if any."""
    return coordinate.attrs.get("bounds") or coordinate.encoding.get("bounds")


def _plays(role: str, variable: xr.DataArray, grid: Grid) -> bool:
    if role in STANDARD_NAMES:
        fits = variable.attrs.get("standard_name") in STANDARD_NAMES[role]
        # A table of how often each speed blows may carry the standard name of what it counts.
        return fits and grid.class_dimension_of(variable) is None
    if role == "frequency":
        return grid.class_dimension_of(variable) is not None
    words = f"{variable.attrs.get('long_name', '')} {variable.name}"
    if role == "calm_share":
        return "calm" in words.lower()
    tail = _SHAPE_TAIL if role == "shape" else _SCALE_TAIL
    return "weibull" in words.lower() and any(
        tail.search(part) for part in (str(variable.attrs.get("long_name", "")), str(variable.name))
    )


def _dimension(
    variable: xr.DataArray, fits: Callable[[xr.DataArray], bool], fallback: str
) -> str | None:
    for name in variable.dims:
        if name in variable.coords and fits(variable.coords[name]):
            return str(name)
    return fallback if fallback in variable.dims else None


def open_grid(paths: Sequence[Path], stated: Mapping[str, str]) -> Grid:
    """Open a grid lazily: a Zarr store, or NetCDF files that continue each other in time or space.

    `stated` is role to variable, as the option --variable states it.
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


CELLS_AT_ONCE = 2**13
"""A power curve and a life of years multiply what a cell takes; so many fit into the cache."""


def on_cells(
    function: Callable[..., Any],
    *arrays: xr.DataArray | float,
    core: Sequence[str] = (),
    outputs: int = 1,
) -> Any:  # noqa: ANN401  (one array or several)
    """Apply an array function to every cell; it returns as many arrays as `outputs`.

    It takes one array for each of `arrays`, the dimensions in `core` last, and works along those.
    Arrays that have a dimension in `core` have all of them.
    """
    return xr.apply_ufunc(
        function,
        *arrays,
        input_core_dims=[
            [name for name in core if isinstance(array, xr.DataArray) and name in array.dims]
            for array in arrays
        ],
        output_core_dims=[[]] * outputs,
        dask="parallelized",
        output_dtypes=[np.float64] * outputs,
    )


def by_parts(
    function: Callable[..., tuple[FloatArray, ...]], *arrays: FloatArray
) -> tuple[FloatArray, ...]:
    """Call a function on some thousand cells at a time, so that its intermediate arrays stay small.

    It takes arrays of shape (n,) to a tuple of such; `arrays` broadcast, and so do the results.
    """
    flat = [each.ravel() for each in np.broadcast_arrays(*arrays)]
    shape = np.broadcast_shapes(*map(np.shape, arrays))
    parts = [
        function(*(each[start : start + CELLS_AT_ONCE] for each in flat))
        for start in range(0, max(1, flat[0].size), CELLS_AT_ONCE)
    ]
    return tuple(np.concatenate(each).reshape(shape) for each in zip(*parts, strict=True))
