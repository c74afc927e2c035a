"""Read a wind record from a NetCDF file by its CF standard names."""

from __future__ import annotations

from collections.abc import Hashable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.files.array_files import check_netcdf4, netcdf_engine, odd_calendar
from yieldest.files.dialect import LayoutOptions
from yieldest.units import SPELLINGS, unit_of
from yieldest.wind.read_options import ReadOptions, Recognised
from yieldest.wind.record_values import Gathered, blank_marks, gathered_of_si, to_si

if TYPE_CHECKING:
    import xarray as xr

STANDARD_NAMES = {
    "speed": ("wind_speed",),
    "direction": ("wind_from_direction",),
    "temperature": ("air_temperature",),
    "pressure": ("air_pressure", "surface_air_pressure"),
    "gust": ("wind_speed_of_gust",),
    "east": ("eastward_wind", "x_wind"),
    "north": ("northward_wind", "y_wind"),
}
"""CF standard names (Climate and Forecast metadata conventions, standard name table) by role."""


_OF_TEXT = (
    *LayoutOptions.model_fields,
    *("standard_deviation_units", "date_order", "time_zone", "start", "interval_s", "sensor"),
    "average_s",
)
"""What is stated about text alone."""


def is_netcdf(path: Path) -> bool:
    """Tell from its first bytes whether a file is NetCDF, classic or 4."""
    return path.is_file() and netcdf_engine(path) is not None


def read_netcdf(path: Path, options: ReadOptions, height_m: float | None) -> Gathered:
    """Read speeds, or the components they are made of, at one point of a NetCDF file.

    One that is damaged, or has no wind, no time, no units, or several points, is refused.
    """
    import xarray as xr  # noqa: PLC0415  (slow to import, and few records are NetCDF)

    engine = netcdf_engine(path)
    try:
        if engine == "h5netcdf":
            check_netcdf4(path)
        with xr.open_dataset(path, engine=engine, decode_times=False) as opened:
            calendar = odd_calendar(opened)
            if calendar is not None:
                raise InputError(
                    f"{path}: its times are in the calendar {calendar!r}, which has days that were "
                    "never or lacks some; write it with times of the standard calendar."
                )
        with xr.open_dataset(path, engine=engine) as opened:
            data = opened.load()
    except InputError:
        raise
    except Exception as error:  # a damaged file makes the libraries raise whatever they will
        raise InputError(
            f"{path}: the NetCDF file cannot be read; is it whole, and are its times written as "
            "the CF conventions ask?"
        ) from error
    return gathered_of_dataset(path, data, options, height_m)


def gathered_of_dataset(
    path: Path, data: xr.Dataset, options: ReadOptions, height_m: float | None
) -> Gathered:
    """Return the speeds, or the components they are made of, at one point of a dataset.

    `columns` of the options names variables; `point` (from 1) and `height_m` choose where there are
    several.
    """
    of_text = [name for name in _OF_TEXT if getattr(options, name) not in (None, 0)]
    if of_text:
        raise InputError(
            f"{path}: {of_text[0]} belongs to a record of text, and this is none; leave it out."
        )
    if options.where:
        raise InputError(
            f"{path}, where: this has no rows of text to pick from; state point (on the "
            "command line --point) for one of several places."
        )
    stated = options.columns.stated
    found = [Recognised("source", "variables with CF standard names", "recognised")]
    variables = {
        role: name
        for role in STANDARD_NAMES
        if (name := _variable(path, data, role, options)) is not None
    }
    if "speed" not in variables and not {"east", "north"} <= variables.keys():
        raise InputError(
            f"{path}: no variable has the standard name wind_speed, or eastward_wind and "
            f"northward_wind; the variables are {', '.join(map(str, data.data_vars))}; state which "
            "is the speed."
        )
    first = data[variables.get("speed", variables.get("east", ""))]
    times = next(
        (
            coordinate
            for coordinate in first.coords.values()
            if coordinate.dims and np.issubdtype(coordinate.dtype, np.datetime64)
        ),
        None,
    )
    if times is None:
        raise InputError(
            f"{path}: variable {str(first.name)!r} has no time coordinate with units such as "
            "'hours since 1970-01-01'; add one."
        )
    if (missing := np.flatnonzero(np.isnat(times))).size:
        raise InputError(f"{path}: value {missing[0] + 1} of the time is missing; mend the file.")
    series: dict[str, FloatArray] = {}
    sensor_height_m: float | None = None
    for role, name in variables.items():
        line, height = _at_one_point(path, data[name], times.dims[0], options.point, height_m)
        if role in ("speed", "east"):
            sensor_height_m = height
        unit = _unit(path, data[name], role, options)
        as_role = "speed" if role in ("east", "north") else role
        line, marks = blank_marks(as_role, line, unit, options.marks)
        if marks:
            said = ", ".join(f"{mark} ({often:,} times)" for mark, often in marks.items())
            found.append(Recognised(f"missing {role}", said, "recognised"))
        series[role] = to_si(as_role, line, unit)
        found.append(Recognised(f"variable of {role}", name, "stated" if role in stated
                             else "by its standard name"))  # fmt: skip
        if unit != "deg":
            found.append(Recognised(f"unit of {role}", unit, "from the file"))
    east, north = series.pop("east", None), series.pop("north", None)
    if "speed" not in series and east is not None and north is not None:
        series["speed"] = np.hypot(east, north)
        # The direction the wind comes from lies opposite to the vector.
        series.setdefault("direction", np.degrees(np.arctan2(-east, -north)) % 360)
    found.append(Recognised("time zone", "UTC", "NetCDF time is UTC by the CF conventions"))
    time = times.to_numpy().astype("datetime64[ns]")
    return gathered_of_si(path, time, series, found, sensor_height_m)


def dataset_of(source: object, options: ReadOptions) -> tuple[xr.Dataset, ReadOptions]:
    """Return a dataset or an array of speeds as a dataset, and the options with its variable."""
    import xarray as xr  # noqa: PLC0415

    if isinstance(source, xr.Dataset):
        return source, options
    if not isinstance(source, xr.DataArray):
        raise TypeError(
            f"source is a {type(source).__name__}, but a path, or a DataFrame or Series of pandas, "
            "or a Dataset or DataArray of xarray was expected"
        )
    name = str(source.name or "speed")
    columns = options.columns.model_copy(update={"speed": name})
    return source.to_dataset(name=name), options.model_copy(update={"columns": columns})


def _variable(path: Path, data: xr.Dataset, role: str, options: ReadOptions) -> str | None:
    stated = options.columns.stated.get(role)
    if stated is not None:
        if stated not in data:
            raise InputError(
                f"{path}: there is no variable {stated!r} for the {role}; the variables are "
                f"{', '.join(map(str, data.data_vars))}."
            )
        return stated
    for standard_name in STANDARD_NAMES[role]:
        names = [
            str(name)
            for name, variable in data.data_vars.items()
            if variable.attrs.get("standard_name") == standard_name
            # Monthly or daily extremes carry the same name.
            and not any(word in str(variable.attrs.get("cell_methods", ""))
                        for word in ("maximum", "minimum", "standard_deviation"))
        ]  # fmt: skip
        if len(names) > 1 and role in ("speed", "east", "north"):
            raise InputError(
                f"{path}: several variables have the standard name {standard_name} "
                f"({', '.join(names)}); state which one."
            )
        if len(names) == 1:
            return names[0]
    return None


def _at_one_point(
    path: Path, variable: xr.DataArray, time: Hashable, point: int | None, wanted_m: float | None
) -> tuple[FloatArray, float | None]:
    """Return the values of a variable along time at one height and point, and the height."""
    height_m = None
    vertical = next(
        (
            coordinate
            for name, coordinate in variable.coords.items()
            if coordinate.attrs.get("standard_name") == "height" or name == "height"
        ),
        None,
    )
    if vertical is not None:
        heights = np.atleast_1d(vertical.to_numpy().astype(np.float64))
        nearest = 0
        if heights.size > 1:
            if wanted_m is None:
                raise InputError(
                    f"{path}: the file has the heights "
                    f"{', '.join(f'{height:g}' for height in heights)} m; state the height to take."
                )
            nearest = int(np.argmin(np.abs(heights - wanted_m)))
        if vertical.dims:
            variable = variable.isel({vertical.dims[0]: nearest})
        height_m = float(heights[nearest])
    variable = variable.transpose(time, ...)
    points = variable.to_numpy().reshape(variable.sizes[time], -1).astype(np.float64)
    count = points.shape[1]
    if count > 1 and point is None:
        raise InputError(
            f"{path}: variable {str(variable.name)!r} has {count} points, and a record is of one; "
            "state the point to take, from 1."
        )
    point = point or 1
    if not 1 <= point <= count:
        raise InputError(f"{path}: point {point} was asked for, but the file has {count}.")
    return np.asarray(points[:, point - 1]), height_m


def _unit(path: Path, variable: xr.DataArray, role: str, options: ReadOptions) -> str:
    quantity = role if role in ("direction", "temperature", "pressure") else "speed"
    text = options.unit_stated(quantity) or variable.attrs.get("units")
    if role == "direction" and options.direction_units is None:
        # The conventions want degrees, which are spelt in more ways than anyone lists.
        return SPELLINGS[quantity].get(str(text).strip().lower(), "deg")
    if text is None:
        raise InputError(
            f"{path}: variable {str(variable.name)!r} has no units; state the {quantity} units."
        )
    try:
        return unit_of(quantity, str(text))
    except InputError as error:
        raise InputError(f"{path}, variable {str(variable.name)!r}: {error}") from error
