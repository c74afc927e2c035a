"""The wind by direction, month, hour of day and year, and how gusty it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, number_or_none
from yieldest.wind.censored_fit import fit_above_start
from yieldest.wind.data_recovery import month_and_hour
from yieldest.wind.histogram import Histogram
from yieldest.wind.sectors import sector_index
from yieldest.wind.weibull_fits import METHODS, Fit, guarded

SECTORS = (8, 12, 16)
"""How many sectors a direction table may have."""
STEADY_FROM_MS = 4.0
"""Turbulence and gusts are told from here on, where machines begin to work; our choice."""
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


@dataclass(frozen=True)
class CountedReadings:
    """Readings, each with its class of a histogram.

    Parameters
    ----------
    time : ndarray of datetime64, shape (n,)
    class_of : ndarray of int, shape (n,)
    weight, duration_h : ndarray, shape (n,)
        Hours of a year, and hours by the clock, that each reading stands for.
    histogram : Histogram
        Of all the readings.
    """

    time: npt.NDArray[np.datetime64]
    class_of: npt.NDArray[np.int64]
    weight: FloatArray
    duration_h: FloatArray
    histogram: Histogram

    def split(
        self,
        names: tuple[str, ...],
        group_of: npt.NDArray[np.int64],
        fit: Callable[[Histogram], Fit],
    ) -> tuple[Group, ...]:
        """Split the readings into groups, and fit each.

        Parameters
        ----------
        names : tuple of str
            Of the groups.
        group_of : ndarray of int, shape (n,)
            Group of each reading; -1 for none.
        fit : callable
            One of `weibull_fits.METHODS`.
        """
        classes = self.histogram.speed_ms.size
        inside = group_of >= 0
        group, weight = group_of[inside], self.weight[inside]
        cell = group * classes + self.class_of[inside]
        counts = np.bincount(cell, weights=weight, minlength=len(names) * classes)
        parts = self.histogram.weighted(counts.reshape(len(names), classes))
        hours = np.bincount(group, weights=self.duration_h[inside], minlength=len(names))
        shapes, scales, _ = fit(parts)
        means, cubes = parts.moment(1), parts.moment(3)
        share = parts.weight.sum(axis=-1) / float(self.weight.sum())
        energy = np.nan_to_num(cubes) * share / float(self.histogram.moment(3))
        return tuple(
            Group(
                name=name,
                hours=float(hours[i]),
                share=float(share[i]),
                mean_speed_ms=number_or_none(means[i]),
                mean_cube_ms3=number_or_none(cubes[i]),
                energy_share=float(energy[i]),
                shape=number_or_none(shapes[i]),
                scale_ms=number_or_none(scales[i]),
            )
            for i, name in enumerate(names)
        )


def by_direction(
    readings: CountedReadings, direction_deg: FloatArray, sectors: int, method: str
) -> Directions:
    """Split the wind by direction.

    Parameters
    ----------
    readings : CountedReadings
    direction_deg : ndarray, shape (n,)
    sectors : int
    method : str
        A key of `weibull_fits.METHODS`; the censored fit is then made above the starting speed
        alone, for the sectors hold no calms.
    """
    fit = guarded(fit_above_start) if method == "interval-censored" else METHODS[method].fit
    zero = readings.histogram.speed_ms[readings.class_of] == 0
    sector = np.where(zero, -1, sector_index(direction_deg, sectors))
    names = tuple(f"{360 / sectors * i:g}" for i in range(sectors))
    weight, whole = readings.weight, float(readings.weight.sum())
    return Directions(
        sectors=readings.split(names, sector, fit),
        calm_share=float(weight[zero].sum() / whole),
        unknown_share=float(weight[~zero & (sector < 0)].sum() / whole),
    )


def by_time(readings: CountedReadings, method: str) -> tuple[tuple[Group, ...], ...]:
    """Split the wind by calendar month, hour of day and year.

    The years are counted by the clock, without weights: each is what it was.
    """
    month, hour = month_and_hour(readings.time)
    year = readings.time.astype("datetime64[Y]").astype(np.int64) + 1970
    years, year_of = np.unique(year, return_inverse=True)
    fit = METHODS[method].fit
    clock = np.bincount(
        readings.class_of,
        weights=readings.duration_h,
        minlength=readings.histogram.speed_ms.size,
    )
    by_clock = replace(
        readings, weight=readings.duration_h, histogram=readings.histogram.weighted(clock)
    )
    return (
        readings.split(tuple(str(m) for m in range(1, 13)), month, fit),
        readings.split(tuple(str(h) for h in range(24)), hour, fit),
        by_clock.split(tuple(str(y) for y in years), year_of.astype(np.int64), fit),
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
