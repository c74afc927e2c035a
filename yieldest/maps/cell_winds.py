"""Wind distributions of many cells: fitted to gridded speeds, to frequency tables, or given."""

from __future__ import annotations

import functools
import itertools
import re
from collections.abc import Callable, Iterator

import dask.array
import numpy as np
import xarray as xr

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.maps.grid import Grid, bounds_of, dimension_of, on_cells
from yieldest.wind.censored_fit import fit_censored
from yieldest.wind.hidden_spread import LONG_S, spread_of_steady, spread_put_back
from yieldest.wind.histogram import Histogram
from yieldest.wind.power_sums import (
    SUMS,
    calm_readings,
    fit_power_sums,
    mean_of_power,
    moving_readings,
    power_sums,
)
from yieldest.wind.record_values import NEAR_A_MARK, SURELY_REPEATED
from yieldest.wind.weibull import mean_speed


@frozen_dataclass
class CellWinds:
    """The speed distributions of many cells at one height; the arrays may be lazy.

    Shape and scale are those of the speeds when it is not calm, NaN where a cell has none. The mean
    includes calms, and is that of the readings themselves where there are some; their number is
    None where there is no record. Left out are readings, or a cell's whole distribution, that no
    wind can be.
    """

    height_m: float
    shape: xr.DataArray
    scale_ms: xr.DataArray
    calm_share: xr.DataArray
    mean_speed_ms: xr.DataArray
    readings: xr.DataArray | None
    left_out: xr.DataArray


MOST_MS = 98.9
"""No mean over a grid cell comes near it; 99 and more are written for a missing value (99, 99.9,
999, 9999, 1e20). Our choice, below the highest gust ever measured."""
_MARKS = np.array([-99.99, -99.9, -99.0, 99.0, 99.9, 99.99])
"""Marks that may be below `MOST_MS` in other units than m/s, or as components."""
_HURRICANE_MS = 32.7
"""Beaufort 12 (WMO); a mark below it may be a wind; see `NEAR_A_MARK`."""
_STEADY = 0.3
"""Long means with a smaller standard deviation over the mean, whose own shape the sums do not bear,
are spread by their moments: most of their spread is what they hide."""
_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}
_TIME_UNIT = re.compile(r"(d|h|min|s)[a-z]* since ")
"""How times of an odd calendar, which stay numbers, say their unit (CF 4.4)."""
_MOST_SHAPE = 50.0
_MOST_FREQUENCY = 1e9
"""More hours or readings than any class of speeds has seen."""


@frozen_dataclass
class WindKind:
    """What a grid says of the wind: which variables, and how they become distributions.

    `distributions`, which can be pickled, takes a part of the grid to the distributions at each
    height, the lowest first.
    """

    source: str
    method: str
    variables: tuple[str, ...]
    distributions: Callable[[Grid], list[CellWinds]]


def wind_kind(grid: Grid, height_m: float | None) -> WindKind:
    """Find the wind in a grid; the height is for variables that do not say theirs."""
    from_sums = (
        "Weibull by maximum likelihood (Seguro & Lambert 2000) from power sums of the readings, "
        "calms kept as a share of their own"
    )
    by_components = f"speed as the root of the summed squares of the components; {from_sums}"
    of_classes = "Weibull by interval-censored maximum likelihood (Cohen 1965) on the classes"
    roles: dict[str, tuple[str, str, str | None, Fit]] = {
        "speed": ("wind speed", from_sums, None, _fitted),
        "eastward": ("wind components", by_components, "northward", _fitted),
        "shape": ("Weibull parameters", "Weibull shape and scale as given", "scale", _given),
        "frequency": ("frequencies of wind-speed classes", of_classes, None, _tabled),
    }
    role = next((each for each in roles if grid.all_of(each)), None)
    if role is None:
        raise InputError(
            f"{grid.name}: no variable has the CF standard name wind_speed, or eastward_wind and "
            "northward_wind, or a dimension of wind-speed classes, and none is called Weibull "
            f"shape; the variables are {grid.listing()}; say which one with --variable, such as "
            "--variable speed=NAME."
        )
    words, method, partner, fit = roles[role]
    names, partners, calms = (
        [] if each is None else [str(variable.name) for variable in grid.all_of(each)]
        for each in (role, partner, "calm_share" if role == "shape" else None)
    )
    if partner is not None and len(partners) != len(names):
        raise InputError(
            f"{grid.name}: {', '.join(names)} needs as many variables for {partner}, but "
            f"there {'is' if len(partners) == 1 else 'are'} {', '.join(partners) or 'none'}; say "
            f"which one with --variable {partner}=NAME."
        )
    if role == "shape" and not calms:
        method += "; no calms are given"
    return WindKind(
        f"{words} {' and '.join(f'“{name}”' for name in (*names, *partners))}",
        method,
        (*names, *partners, *calms),
        functools.partial(_by_height, names=names, partners=partners, height_m=height_m, fit=fit),
    )


Fit = Callable[..., CellWinds]
"""Takes the grid, the height, the variable and its partner if there is one."""


def _by_height(
    grid: Grid, names: list[str], partners: list[str], height_m: float | None, fit: Fit
) -> list[CellWinds]:
    """Take variables apart by height and fit each."""
    distributions = []
    for together in zip(*filter(None, (names, partners)), strict=True):
        variables = [grid.data[name] for name in together]
        dimension = dimension_of(variables[0], "height")
        for index, height in enumerate(_heights_m(grid, variables[0], height_m)):
            at = {} if dimension is None else {dimension: index}
            layers = [variable.isel(at, drop=True) for variable in variables]
            distributions.append(fit(grid, height, *layers))
    distributions.sort(key=lambda distribution: distribution.height_m)
    heights = [distribution.height_m for distribution in distributions]
    if len(set(heights)) < len(heights):
        raise InputError(
            f"{grid.name}: two of the variables {', '.join(names)} are for the same height of "
            f"{max(heights, key=heights.count):g} m; say which one with --variable ROLE=NAME."
        )
    return distributions


def _heights_m(grid: Grid, variable: xr.DataArray, stated: float | None) -> tuple[float, ...]:
    heights = grid.heights_m(variable) or (() if stated is None else (stated,))
    if not heights:
        raise InputError(
            f"{grid.name}: the variable {variable.name!r} does not say its height above ground "
            "(a coordinate with standard_name height); state it with --height."
        )
    wrong = [each for each in heights if not 0 < each < np.inf]
    if wrong:
        raise InputError(
            f"{grid.name}: the variable {variable.name!r} is said to be at {wrong[0]:g} m, but a "
            "wind speed needs a number of metres above ground."
        )
    return heights if dimension_of(variable, "height") is not None else heights[:1]


def _fitted(
    grid: Grid, height_m: float, speed: xr.DataArray, northward: xr.DataArray | None = None
) -> CellWinds:
    """Fit the distribution of each cell to its readings."""
    time = dimension_of(speed, "time")
    if time is None:
        raise InputError(
            f"{grid.name}: the variable {speed.name!r} has no time dimension; a record of speeds, "
            "a table of frequencies or Weibull parameters is needed."
        )
    coarse_s = coarse_interval_s(speed)
    # Marks are numbers of the file's unit; in another they would pass for winds.
    marks = grid.in_si(xr.DataArray(_MARKS.astype(speed.dtype), attrs=speed.attrs), "speed")
    in_si = marks.to_numpy()[(marks > 0) & (marks <= MOST_MS)]
    high, low = in_si[in_si >= _HURRICANE_MS], in_si[in_si < _HURRICANE_MS]
    speed = grid.in_si(speed, "speed")
    if northward is not None:

        def combined(east: FloatArray, north: FloatArray) -> FloatArray:
            # No wind blows with one mark in both, however low it is.
            same = east == north
            marked = same & np.isin(east, marks) if same.any() else same
            return np.where(marked, np.inf, np.sqrt(east * east + north * north))

        speed = on_cells(combined, speed, grid.in_si(northward, "speed"))
        low = low[:0]
    elif high.size:
        speed = on_cells(lambda found: np.where(np.isin(found, high), np.inf, found), speed)

    def fit(summed: FloatArray) -> tuple[FloatArray, ...]:
        sums, left_out = summed[..., :SUMS], summed[..., SUMS]
        if low.size:
            of_marks, near = summed[..., SUMS + 1 : -1], summed[..., -1]
            often = moving_readings(of_marks)
            marked = (often >= SURELY_REPEATED) & (often > near) & (moving_readings(sums) > 0)
            sums = np.where(marked[..., np.newaxis], sums, sums + of_marks)
            left_out = left_out + np.where(marked, often, 0.0)
        moving, calm = moving_readings(sums), calm_readings(sums)
        fitted = fit_power_sums(sums)
        if coarse_s is not None:
            fitted = _steady_too(sums, spread_put_back(*fitted, coarse_s), coarse_s)
        return (*fitted, moving, calm, mean_of_power(sums, 1), left_out)

    shape, scale, moving, calm, mean, left_out = on_cells(
        fit, _summed(speed, time, low), core=["sum"], outputs=6
    )
    readings = moving + calm
    calm_share = calm / readings.where(readings > 0)
    return CellWinds(height_m, shape, scale, calm_share, mean, readings, left_out)


def _steady_too(
    sums: FloatArray, fitted: tuple[FloatArray, FloatArray], interval_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return shape and scale of long means, also where these differ too little for a fit."""
    # Of those above zero, as the fit is.
    moving = np.concatenate((sums[..., :-1], np.zeros_like(sums[..., -1:])), axis=-1)
    mean_ms = mean_of_power(moving, 1)
    with np.errstate(invalid="ignore"):
        between = np.maximum(mean_of_power(moving, 2) / mean_ms**2 - 1, 0.0)
    steady = np.isnan(fitted[0]) & (between < _STEADY**2) & (moving_readings(sums) >= 2)
    by_moments = spread_of_steady(mean_ms, between, interval_s)
    shape, scale = (np.where(steady, *each) for each in zip(by_moments, fitted, strict=True))
    return shape, scale


def usual_interval_s(speed: xr.DataArray) -> float | None:
    """Return the usual time from speed to speed; None where the times do not say it."""
    times = speed.coords.get(dimension_of(speed, "time"))
    if times is None or times.size < 2:
        return None
    unit = _TIME_UNIT.match(str(times.attrs.get("units", "")))
    if np.issubdtype(times.dtype, np.datetime64):
        second: object = np.timedelta64(1, "s")
    elif unit is not None and times.dtype.kind in "fiu":
        second = 1 / _SECONDS[unit[1]]
    else:
        return None
    return float(np.median(np.diff(np.sort(times.to_numpy())) / second))


def coarse_interval_s(speed: xr.DataArray) -> float | None:
    """Return the time between speeds that are means over a day or longer; None for finer ones.

    Cell methods "time: point" say that they are of one time, and hide nothing.
    """
    usual_s = usual_interval_s(speed)
    of_one_time = "time: point" in str(speed.attrs.get("cell_methods", ""))
    return usual_s if usual_s is not None and usual_s >= LONG_S and not of_one_time else None


def _summed(speed: xr.DataArray, time: str, low_marks_ms: FloatArray) -> xr.DataArray:
    """Sum powers over time, piece by piece, so that no cell's whole record need be in memory."""
    pieces = speed.chunksizes[time] if speed.chunks else (speed.sizes[time],)
    parts: Iterator[xr.DataArray] = (
        xr.apply_ufunc(
            _screened_sums,
            speed.isel({time: slice(end - length, end)}),
            kwargs={"low_marks_ms": low_marks_ms},
            input_core_dims=[[time]],
            output_core_dims=[["sum"]],
            dask="allowed",
        )
        for length, end in zip(pieces, itertools.accumulate(pieces), strict=True)
    )
    return functools.reduce(lambda total, part: total + part, parts)


def _screened_sums(
    speed_ms: FloatArray | dask.array.Array, low_marks_ms: FloatArray
) -> FloatArray | dask.array.Array:
    """Return the power sums of speeds in memory, or lazily of those in one piece of time.

    The number of speeds that no wind can be, and that are left out, comes last. Where there are
    marks that may be winds, the sums of those follow, and the number of other speeds near them:
    whether they are winds shows when all pieces of time are together. Leaving it to `apply_ufunc`
    would copy every block once more before it is summed.
    """
    if isinstance(speed_ms, dask.array.Array):
        length = (SUMS + 1) * (1 + (low_marks_ms.size > 0))
        lazy: dask.array.Array = dask.array.map_blocks(
            _screened_sums,
            speed_ms,
            low_marks_ms,
            dtype=np.float64,
            chunks=(*speed_ms.chunks[:-1], (length,)),
        )
        return lazy
    left_out = np.zeros((*speed_ms.shape[:-1], 1))
    # Which are wrong, where there are any at all, takes far longer to say.
    if np.fmin.reduce(speed_ms, axis=None) < 0 or np.fmax.reduce(speed_ms, axis=None) > MOST_MS:
        wrong = (speed_ms < 0) | (speed_ms > MOST_MS)
        left_out += wrong.sum(axis=-1, keepdims=True)
        speed_ms = np.where(wrong, np.nan, speed_ms)
    more = []
    if low_marks_ms.size:
        marked = np.isin(speed_ms, low_marks_ms)
        of_marks = power_sums(np.where(marked, speed_ms, np.nan))
        speed_ms = np.where(marked, np.nan, speed_ms)
        near = speed_ms > NEAR_A_MARK * low_marks_ms.min()
        more = [of_marks, near.sum(axis=-1, keepdims=True)]
    return np.concatenate((power_sums(speed_ms), left_out, *more), axis=-1)


def _tabled(grid: Grid, height_m: float, frequency: xr.DataArray) -> CellWinds:
    """Fit the distribution of each cell to how often each class of speeds blows there."""
    dimension = str(dimension_of(frequency, "wind_speed"))
    lower, upper = _class_bounds(grid, frequency, dimension)
    middle = (lower + upper) / 2

    def fit(weight: FloatArray) -> tuple[FloatArray, ...]:
        # A class that has as much as every other is a mark all through; NaN is not sound either.
        marked = (weight == weight[..., :1]).all(axis=-1, keepdims=True)
        fair = ((weight >= 0) & (weight < _MOST_FREQUENCY)).all(axis=-1, keepdims=True)
        sound = fair & ~(marked & (weight[..., :1] != 0) & (weight.shape[-1] > 1))
        histogram = Histogram(middle, lower, upper, np.where(sound, weight, 0.0), None, 0.0)
        left_out = (~sound & np.isfinite(weight).all(axis=-1, keepdims=True))[..., 0]
        return (*fit_censored(histogram), histogram.moment(1), left_out.astype(np.float64))

    shape, scale, calm, mean, left_out = on_cells(fit, frequency, core=[dimension], outputs=5)
    return CellWinds(height_m, shape, scale, calm, mean, None, left_out)


def _class_bounds(
    grid: Grid, frequency: xr.DataArray, dimension: str
) -> tuple[FloatArray, FloatArray]:
    """Return the bounds of the classes in m/s: as given, or half-way between the middles."""
    if dimension not in frequency.coords:
        raise InputError(
            f"{grid.name}: the dimension {dimension!r} has no coordinate that says the speed of "
            "each class; add one, with its bounds where the classes are uneven."
        )
    middles = frequency.coords[dimension]
    if middles.size < 2:
        raise InputError(
            f"{grid.name}: the dimension {dimension!r} of {frequency.name!r} is a single class of "
            "speeds, but a distribution needs at least two filled classes; use a finer table."
        )
    named = bounds_of(middles)
    if named in grid.data.variables:
        edges = grid.data[named].assign_attrs(units=middles.attrs.get("units"))
        lower, upper = np.moveaxis(grid.in_si(edges, "speed").to_numpy(), -1, 0)
    else:
        speed = grid.in_si(middles, "speed").to_numpy().astype(np.float64)
        inner = (speed[1:] + speed[:-1]) / 2
        lower = np.concatenate([[max(0.0, 2 * speed[0] - inner[0])], inner])
        upper = np.append(inner, 2 * speed[-1] - inner[-1])
    if not ((np.diff(lower) > 0).all() and (upper > lower).all() and lower[0] >= 0):
        raise InputError(
            f"{grid.name}: the speed classes of {dimension!r} do not rise from zero upwards; "
            "sort them."
        )
    return lower.astype(np.float64), upper.astype(np.float64)


def _given(grid: Grid, height_m: float, shape: xr.DataArray, scale: xr.DataArray) -> CellWinds:
    """Take the Weibull parameters that a grid gives; what cannot be one counts as missing."""
    scale = grid.in_si(scale, "speed")
    calm = grid.one_of("calm_share")
    share = xr.zeros_like(shape) if calm is None else calm
    if share.attrs.get("units") in ("%", "percent"):
        share = share / 100
    there = shape.notnull() & scale.notnull()
    sound = (shape > 0) & (shape < _MOST_SHAPE) & (scale > 0) & (scale <= MOST_MS)
    sound = sound & (share >= 0) & (share <= 1)
    shape, scale = (each.where(sound).astype(np.float64) for each in (shape, scale))
    share = share.where(sound)
    mean = on_cells(mean_speed, shape, scale) * (1 - share)
    left_out = (there & ~sound).astype(np.float64)
    return CellWinds(height_m, shape, scale, share, mean, None, left_out)
