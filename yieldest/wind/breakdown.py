"""The wind by direction, month, hour of day and year, and how gusty it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray
from yieldest.wind.censored_fit import fit_above_start
from yieldest.wind.data_recovery import month_and_hour
from yieldest.wind.histogram import Histogram
from yieldest.wind.sectors import sector_index
from yieldest.wind.weibull_fits import METHODS, Fit, guarded

SECTORS = (8, 12, 16)
"""How many sectors a direction table may have."""
STEADY_FROM_MS = 4.0
"""Turbulence and gusts are told from here on, where joined begin to work; our choice."""
TURBULENCE_CLASS_MS = 15.0
"""Speed at which the turbulence classes of IEC 61400-2 are defined."""
FEW = 10
"""A class with fewer readings has no turbulence of its own; our choice."""


@dataclass(frozen=True)
class Group:
    """The wind of one sector, month, hour or year.

    Parameters
    ----------
    name : str
    hours : float
        By the clock.
    share : float
        Of all the hours, calms included.
    mean_speed_ms, mean_cube_ms3 : float or None
        Of this group's readings; None without any.
    energy_share : float
        Part of the mean cube of the whole record that this group brings.
    shape, scale_ms : float or None
        By the fit chosen for the record; None where it cannot be used.
    """

    name: str
    hours: float
    share: float
    mean_speed_ms: float | None
    mean_cube_ms3: float | None
    energy_share: float
    shape: float | None
    scale_ms: float | None


@dataclass(frozen=True)
class Directions:
    """The wind by direction.

    Parameters
    ----------
    sectors : tuple of Group
        Clockwise; the first is centred on north. Calms are in none of them.
    calm_share : float
        Share of time at standstill: a vane means nothing then.
    unknown_share : float
        Share of time with wind but without direction.
    """

    sectors: tuple[Group, ...]
    calm_share: float
    unknown_share: float


@dataclass(frozen=True)
class Gustiness:
    """How unsteady the wind is within an interval.

    Parameters
    ----------
    readings : int
        Readings from 4 m/s up that it rests on.
    mean : float or None
        Mean turbulence intensity (standard deviation over mean speed), or mean gust factor (highest
        speed over mean speed).
    at_15_ms : float or None
        The same for readings within 1 m/s of 15 m/s; None with fewer than ten.
    highest_ms : float or None
        The highest gust; None for turbulence.
    by_class : tuple of (float, int, float, float)
        For each 1 m/s class with ten readings or more: its middle in m/s, readings, mean, and the
        value that 90 % are below.
    """

    readings: int
    mean: float | None
    at_15_ms: float | None
    highest_ms: float | None
    by_class: tuple[tuple[float, int, float, float], ...]


def grouped(
    names: tuple[str, ...],
    group_of: npt.NDArray[np.int64],
    class_of: npt.NDArray[np.int64],
    weight: FloatArray,
    duration_h: FloatArray,
    histogram: Histogram,
    fit: Callable[[Histogram], Fit],
) -> tuple[Group, ...]:
    """Split a histogram into groups of readings and fit each.

    Parameters
    ----------
    names : tuple of str
        Of the groups.
    group_of, class_of : ndarray of int, shape (n,)
        Group (-1: none) and class of each reading.
    weight, duration_h : ndarray, shape (n,)
        Hours of a year, and hours by the clock, that each reading stands for.
    histogram : Histogram
        Of all the readings.
    fit : callable
        One of `distribution.fit.METHODS`.
    """
    classes = histogram.speed_ms.size
    inside = group_of >= 0
    cell = group_of[inside] * classes + class_of[inside]
    counts = np.bincount(cell, weights=weight[inside], minlength=len(names) * classes)
    parts = histogram.weighted(counts.reshape(len(names), classes))
    hours = np.bincount(group_of[inside], weights=duration_h[inside], minlength=len(names))
    total = parts.weight.sum(axis=-1)
    shapes, scales, _ = fit(parts)
    means, cubes = parts.moment(1), parts.moment(3)
    whole = float(weight.sum())
    cube = float(histogram.moment(3))
    return tuple(
        Group(
            name=name,
            hours=float(hours[i]),
            share=float(total[i] / whole),
            mean_speed_ms=_known(means[i]),
            mean_cube_ms3=_known(cubes[i]),
            energy_share=float(np.nan_to_num(cubes[i]) * total[i] / whole / cube),
            shape=_known(shapes[i]),
            scale_ms=_known(scales[i]),
        )
        for i, name in enumerate(names)
    )


def by_direction(
    direction_deg: FloatArray,
    sectors: int,
    class_of: npt.NDArray[np.int64],
    weight: FloatArray,
    duration_h: FloatArray,
    histogram: Histogram,
    method: str,
) -> Directions:
    """Split the wind by direction.

    Parameters
    ----------
    direction_deg : ndarray, shape (n,)
    sectors : int
    class_of, weight, duration_h, histogram
        As for `grouped`.
    method : str
        A key of `distribution.fit.METHODS`; the censored fit is then made above the starting speed
        alone, for the sectors hold no calms.
    """
    fit = guarded(fit_above_start) if method == "interval-censored" else METHODS[method].fit
    zero = histogram.speed_ms[class_of] == 0
    sector = np.where(zero, -1, sector_index(direction_deg, sectors))
    names = tuple(f"{360 / sectors * i:g}" for i in range(sectors))
    whole = float(weight.sum())
    return Directions(
        sectors=grouped(names, sector, class_of, weight, duration_h, histogram, fit),
        calm_share=float(weight[zero].sum() / whole),
        unknown_share=float(weight[~zero & (sector < 0)].sum() / whole),
    )


def by_time(
    time: npt.NDArray[np.datetime64],
    class_of: npt.NDArray[np.int64],
    weight: FloatArray,
    duration_h: FloatArray,
    histogram: Histogram,
    method: str,
) -> tuple[tuple[Group, ...], tuple[Group, ...], tuple[Group, ...]]:
    """Split the wind by calendar month, hour of day and year; see `grouped`.

    The years are counted by the clock, without weights: each is what it was.
    """
    month, hour = month_and_hour(time)
    year = time.astype("datetime64[Y]").astype(np.int64) + 1970
    years, year_of = np.unique(year, return_inverse=True)
    fit = METHODS[method].fit
    rest = (class_of, weight, duration_h, histogram, fit)
    clock = histogram.weighted(
        np.bincount(class_of, weights=duration_h, minlength=histogram.speed_ms.size)
    )
    return (
        grouped(tuple(str(m) for m in range(1, 13)), month, *rest),
        grouped(tuple(str(h) for h in range(24)), hour, *rest),
        grouped(
            tuple(str(y) for y in years),
            year_of.astype(np.int64),
            class_of,
            duration_h,
            duration_h,
            clock,
            fit,
        ),
    )


def gustiness(value_ms: FloatArray, speed_ms: FloatArray, *, highest: bool) -> Gustiness:
    """Return turbulence intensity or gust factor from readings that carry them.

    Parameters
    ----------
    value_ms : ndarray, shape (n,)
        Standard deviation, or highest speed, within each interval; NaN where missing.
    speed_ms : ndarray, shape (n,)
        Mean speed of the interval.
    highest : bool
        Whether the values are highest speeds.

    Notes
    -----
    IEC 61400-1 and -2 define turbulence intensity as standard deviation over mean of 10 minutes; of
    other intervals it is another number.
    """
    used = (speed_ms >= STEADY_FROM_MS) & np.isfinite(value_ms)
    ratio, speed = value_ms[used] / speed_ms[used], speed_ms[used]
    near = np.abs(speed - TURBULENCE_CLASS_MS) <= 1
    number = np.floor(speed).astype(np.int64)
    classes = []
    for one in np.unique(number):
        inside = ratio[number == one]
        if inside.size >= FEW:
            classes.append(
                (
                    float(one) + 0.5,
                    int(inside.size),
                    float(inside.mean()),
                    float(np.quantile(inside, 0.9)),
                )
            )
    known = value_ms[np.isfinite(value_ms)]
    return Gustiness(
        readings=int(used.sum()),
        mean=float(ratio.mean()) if ratio.size else None,
        at_15_ms=float(ratio[near].mean()) if near.sum() >= FEW else None,
        highest_ms=float(known.max()) if highest and known.size else None,
        by_class=tuple(classes),
    )


def _known(value: np.float64) -> float | None:
    return float(value) if np.isfinite(value) else None
