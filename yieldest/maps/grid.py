"""Gridded files, opened lazily, what their variables are by the CF conventions, and every cell."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import field
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.files.array_files import check_netcdf4, check_zarr, netcdf_engine, odd_calendar
from yieldest.files.text_file import there_is_none
from yieldest.frozen import frozen_dataclass
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

_TAILS = {
    "shape": re.compile(r"shape|[_\s]k$", re.IGNORECASE),
    "scale": re.compile(r"scale|[_\s]a$", re.IGNORECASE),
}
_AXES = {"T": "time", "Z": "height"}
_CONVERSION = {"speed": to_metres_per_second, "temperature": to_celsius, "pressure": to_hectopascal}
_UNEVEN = re.compile(r"(months?|years?) since ", re.IGNORECASE)
_USUAL_UNIT = {"speed": "m s-1", "temperature": "K", "pressure": "Pa"}


@frozen_dataclass
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
            if variable.name not in bounds and _plays(role, variable)
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

    def heights_m(self, variable: xr.DataArray) -> tuple[float, ...]:
        """Return the heights above ground that a variable holds for; none when it does not say."""
        dimension = dimension_of(variable, "height")
        coordinates = [
            coordinate
            for name, coordinate in variable.coords.items()
            if name == dimension
            or (
                (dimension is None and coordinate.ndim == 0)
                and "height" in (coordinate.attrs.get("standard_name"), name)
            )
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


def _plays(role: str, variable: xr.DataArray) -> bool:
    in_classes = dimension_of(variable, "wind_speed") is not None
    if role in STANDARD_NAMES:
        # A table of how often each speed blows may carry the standard name of what it counts.
        return variable.attrs.get("standard_name") in STANDARD_NAMES[role] and not in_classes
    if role == "frequency":
        return in_classes
    names = [str(variable.attrs.get("long_name", "")), str(variable.name)]
    words = " ".join(names).lower()
    if role == "calm_share":
        return "calm" in words
    return "weibull" in words and any(map(_TAILS[role].search, names))


def dimension_of(variable: xr.DataArray, meaning: str) -> str | None:
    """Return the dimension that is "time", "height" above ground or classes of "wind_speed"."""
    for name in variable.dims:
        if name in variable.coords:
            coordinate = variable.coords[name]
            if (
                coordinate.attrs.get("standard_name") == meaning
                or _AXES.get(coordinate.attrs.get("axis")) == meaning
                or (meaning == "time" and np.issubdtype(coordinate.dtype, np.datetime64))
            ):
                return str(name)
    return meaning if meaning in variable.dims else None


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
        engine = "zarr" if stores else "h5netcdf"
        with xr.open_dataset(first, engine=engine, decode_times=False) as raw:
            _refuse_uneven_times(first, raw)
            # Times of a calendar of its own are left as numbers: a map only names their months.
            times = odd_calendar(raw) is None
        if len(paths) == 1:
            data = xr.open_dataset(first, engine=engine, decode_coords="all", decode_times=times)
        else:
            data = xr.open_mfdataset(
                list(paths),
                engine=engine,
                decode_coords="all",
                decode_times=times,
                combine="by_coords",
                data_vars="minimal",
                coords="minimal",
                compat="override",
                join="exact",
            )
    except InputError:
        raise
    except Exception as error:  # damaged files make the libraries raise whatever they will
        raise InputError(
            f"{first}: this cannot be read as NetCDF or Zarr; check that it is a whole NetCDF-4 "
            "file or Zarr store, with times as the CF conventions write them, and that several "
            "files continue each other."
        ) from error
    name = first.name if len(paths) == 1 else f"{first.name} and {len(paths) - 1} more"
    stamps = [path.stat() for path in paths]
    stamp = " ".join(f"{each.st_mtime_ns} {each.st_size}" for each in stamps)
    return Grid(name, data, stated, stamp)


def _refuse_uneven_times(path: Path, raw: xr.Dataset) -> None:
    """Refuse times counted in months or years, which are of no one length."""
    for variable in raw.variables.values():
        units = str(variable.attrs.get("units", ""))
        if uneven := _UNEVEN.match(units):
            raise InputError(
                f"{path}: its times are in {units!r}, which are of no one length; write them as "
                f"'days since {units[uneven.end() :]}'."
            )


def unreadable(name: str) -> InputError:
    """Return what is said of a grid whose values cannot be read."""
    return InputError(f"{name}: the values cannot be read; is the file whole?")


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
