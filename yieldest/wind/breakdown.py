"""The wind by direction, month, hour of day and year, and how gusty it is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property

import numpy as np
import numpy.typing as npt

from yieldest.arrays import (
    BoolArray,
    FloatArray,
    IntArray,
    PlaceArray,
    TimeArray,
    floats,
    number_or_none,
    pieces,
)
from yieldest.frozen import frozen_dataclass
from yieldest.wind.data_recovery import season_cell, years_of
from yieldest.wind.histogram import Histogram
from yieldest.wind.weibull_fits import Fit

SECTORS = (8, 12, 16)
"""How many sectors a direction table may have."""
DIRECTION_STEPS = (8, 16, 36)
"""Steps of the circle that directions are rounded to: points of the compass, tens of degrees."""
STEADY_FROM_MS = 4.0
"""Turbulence and gusts are told from here on, where machines begin to work; our choice."""
TURBULENCE_CLASS_MS = 15.0
"""Speed at which the turbulence classes of IEC 61400-2 are defined."""
FEW = 10
"""A class with fewer readings has no turbulence of its own; our choice."""


@frozen_dataclass
class Group:
    """The wind of one sector, month, hour or year; numbers that cannot be had are None."""

    name: str
    hours: float
    """By the clock."""
    share: float
    """Of all the hours, calms included."""
    mean_speed_ms: float | None
    mean_cube_m3_s3: float | None
    energy_share: float
    """Part of the mean cube of the whole record that this group brings."""
    shape: float | None
    """By the fit chosen for the record."""
    scale_ms: float | None


@frozen_dataclass
class Directions:
    """The wind by direction."""

    sectors: tuple[Group, ...]
    """Clockwise; the first is centred on north. Calms are in none of them."""
    calm_share: float
    """Share of time at standstill: a vane means nothing then."""
    unknown_share: float
    """Share of time with wind but without direction."""


@frozen_dataclass
class Gustiness:
    """How unsteady the wind is within an interval, from readings of 4 m/s or more."""

    readings: int
    mean: float | None
    """Mean turbulence intensity (standard deviation over mean speed), or mean gust factor (highest
    speed over mean speed)."""
    at_15_ms: float | None
    """The same for readings within 1 m/s of 15 m/s; None with fewer than ten."""
    highest_ms: float | None
    """The highest gust; None for turbulence."""
    by_class: tuple[tuple[float, int, float, float], ...]
    """For each 1 m/s class with ten readings or more: its middle in m/s, readings, mean, and the
    value that 90 % are below."""


@frozen_dataclass
class CountedReadings:
    """Readings in order of time, each with its class of a histogram of all; of shape (n,)."""

    time: TimeArray
    class_of: PlaceArray
    """One more than the last for those that do not count."""
    weight: FloatArray
    """Hours of a year that each reading stands for; `duration_h` by the clock."""
    duration_h: FloatArray
    histogram: Histogram

    @property
    def counted(self) -> BoolArray:
        """Which readings count."""
        return self.class_of < self.histogram.speed_ms.size

    def by_direction(self, direction_deg: FloatArray, sectors: int, fit: Fit) -> Directions:
        """Split the wind by direction, shape (n,); the fit is for sectors, which hold no calms."""
        steps = direction_steps(direction_deg, sectors)
        # The last group is that of no direction, -1.
        weight, hours = self._in_groups(
            lambda part: sector_index(direction_deg[part], steps), steps + 1
        )
        shared = shares_of_steps(steps, sectors)
        calm, whole = self.histogram.speed_ms == 0, self.histogram.weight.sum()
        windy = ~calm
        names = [f"{360 / sectors * i:g}" for i in range(sectors)]
        return Directions(
            sectors=_groups(
                names,
                self.histogram,
                shared @ weight[:-1] * windy,
                shared @ hours[:-1] * windy,
                fit,
            ),
            calm_share=float(weight[:, calm].sum() / whole),
            unknown_share=float(weight[-1, windy].sum() / whole),
        )

    def by_month(self, fit: Fit) -> tuple[Group, ...]:
        """Split the wind by calendar month."""
        weight, hours = (each.sum(axis=1) for each in self._by_season)
        return _groups(range(1, 13), self.histogram, weight, hours, fit)

    def by_hour(self, fit: Fit) -> tuple[Group, ...]:
        """Split the wind by hour of the day."""
        weight, hours = (each.sum(axis=0) for each in self._by_season)
        return _groups(range(24), self.histogram, weight, hours, fit)

    def by_year(self, fit: Fit) -> tuple[Group, ...]:
        """Split the wind by year; by the clock, without weights, for each is what it was."""
        years, begins = years_of(self.time)
        held = map(slice, begins[:-1], begins[1:])
        hours = np.stack(
            [self.histogram.counted(self.class_of[y], self.duration_h[y]).weight for y in held]
        )
        there = hours.any(axis=1)
        by_clock = self.histogram.weighted(hours.sum(axis=0))
        return _groups(years[there].tolist(), by_clock, hours[there], hours[there], fit)

    @cached_property
    def _by_season(self) -> tuple[FloatArray, FloatArray]:
        """Weight and hours by the clock, shape (12, 24, m), by month and hour of the day."""
        weight, hours = self._in_groups(lambda part: season_cell(self.time[part]), 288)
        return weight.reshape(12, 24, -1), hours.reshape(12, 24, -1)

    def _in_groups(
        self, group_of: Callable[[slice], PlaceArray], groups: int
    ) -> tuple[FloatArray, FloatArray]:
        """Return weight and hours by the clock of each class in each group, shape (groups, m)."""
        classes = self.histogram.speed_ms.size + 1
        weight = np.zeros(groups * classes)
        hours = weight if self.duration_h is self.weight else np.zeros(groups * classes)
        for part in pieces(self.time.size):
            cell = np.multiply(group_of(part), classes, dtype=np.int64)
            cell += self.class_of[part]
            np.add.at(weight, cell, self.weight[part])
            if hours is not weight:
                np.add.at(hours, cell, self.duration_h[part])
        return weight.reshape(groups, classes)[:, :-1], hours.reshape(groups, classes)[:, :-1]


def _groups(
    names: Sequence[object], whole: Histogram, weight: FloatArray, hours: FloatArray, fit: Fit
) -> tuple[Group, ...]:
    """Fit each group of a record by its weight, and tell its hours, in each class, (groups, m)."""
    parts = whole.weighted(weight)
    shapes, scales, _ = fit(parts)
    means, cubes = parts.moment(1), parts.moment(3)
    share = parts.weight.sum(axis=-1) / float(whole.weight.sum())
    energy = np.nan_to_num(cubes) * share / float(whole.moment(3))
    return tuple(
        Group(
            str(name),
            float(hours[i].sum()),
            float(share[i]),
            number_or_none(means[i]),
            number_or_none(cubes[i]),
            float(energy[i]),
            number_or_none(shapes[i]),
            number_or_none(scales[i]),
        )
        for i, name in enumerate(names)
    )


def sector_index(direction_deg: npt.ArrayLike, sectors: int) -> IntArray:
    """Return the number of each direction's sector, of any shape; -1 where it is NaN.

    Directions are clockwise from north, and sector 0 of the equal sectors is centred on north.
    """
    index = np.asarray(floats(direction_deg) * sectors)
    index /= 360
    index += 0.5
    np.floor(index, out=index)
    # Five times as quick as `np.mod`.
    index -= sectors * np.floor(index / sectors)
    index[np.isnan(index)] = -1
    return index.astype(np.int64)


def direction_steps(direction_deg: FloatArray, sectors: int) -> int:
    """Return into how many steps of the circle directions, shape (n,), are sorted for sectors.

    They are the sectors themselves, unless all directions were rounded to steps of which sectors
    would hold uneven numbers.
    """
    # Of others each sector holds as many whole steps.
    uneven = [n for n in DIRECTION_STEPS if n % sectors or n // sectors % 2 == 0]
    # A few readings tell it of most records.
    for readings in (direction_deg[:100], direction_deg):
        known = readings[np.isfinite(readings)]
        uneven = [n for n in uneven if not (known * n % 360).any()]
        if not uneven:
            return sectors
    # Without a reading at an odd step they may have been rounded to wider ones.
    return next((n for n in uneven if (known * n % 720).any()), sectors)


def shares_of_steps(steps: int, sectors: int) -> FloatArray:
    """Return the share of each step of the circle that lies in each sector, (sectors, steps).

    The first of both are centred on north. What was rounded to a step may have come from all of it.
    """
    circle = 2 * sectors * steps  # so that all bounds are whole numbers
    apart = 2 * steps * np.arange(sectors)[:, np.newaxis] - 2 * sectors * np.arange(steps)
    apart = np.minimum(apart % circle, -apart % circle)
    common = np.clip(sectors + steps - apart, 0, 2 * min(sectors, steps))
    return np.asarray(common / (2 * sectors))


def gustiness(value_ms: FloatArray, speed_ms: FloatArray, *, highest: bool) -> Gustiness:
    """Return turbulence intensity or gust factor from readings that carry them.

    `value_ms` is the standard deviation, or the `highest` speed, within each interval (NaN where
    missing), and `speed_ms` the mean, each of shape (n,). IEC 61400-1 and -2 define turbulence
    intensity as standard deviation over mean of 10 minutes; of other intervals it is another
    number.
    """
    used = (speed_ms >= STEADY_FROM_MS) & np.isfinite(value_ms)
    ratio, speed = value_ms[used] / speed_ms[used], speed_ms[used]
    near = np.abs(speed - TURBULENCE_CLASS_MS) <= 1
    number = np.floor(speed).astype(np.int64)
    ratios = {one + 0.5: ratio[number == one] for one in np.unique(number).tolist()}
    classes = tuple(
        (middle, inside.size, float(inside.mean()), float(np.quantile(inside, 0.9)))
        for middle, inside in ratios.items()
        if inside.size >= FEW
    )
    known = value_ms[np.isfinite(value_ms)]
    return Gustiness(
        readings=int(used.sum()),
        mean=float(ratio.mean()) if ratio.size else None,
        at_15_ms=float(ratio[near].mean()) if near.sum() >= FEW else None,
        highest_ms=float(known.max()) if highest and known.size else None,
        by_class=classes,
    )
