"""Strong winds: site class, largest gust, the wind of fifty years, and the thrust on the rotor."""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, TimeArray, floats
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Findings
from yieldest.wind.record import Record

CLASSES = (("I", 10.0, 50.0), ("II", 8.5, 42.5), ("III", 7.5, 37.5), ("IV", 6.0, 30.0))
"""IEC 61400-2: class, mean speed at the hub and reference speed in m/s (from memory; the mean is
0.2 times the reference speed throughout, as the standard says)."""
GUST_FACTOR = 1.4
"""Extreme 3-second gust over the reference speed, a 10-minute mean (IEC 61400-2, from memory)."""

RETURN_YEARS = 50.0
LEAST_MAXIMA = 10
"""Fewer yearly maxima do not carry a 50-year estimate; our choice."""
FULL_YEAR_SHARE = 0.8
"""A year counts when this share of it has readings; our choice."""
COVERAGE = 0.90
RESAMPLES = 2000

LOADED_THRUST_COEFFICIENT = 8 / 9
"""Thrust coefficient of a rotor loaded at the Betz optimum (momentum theory)."""

TEN_MINUTES_S = 600.0

_EULER = 0.5772156649015329
_YEAR_S = 365.25 * 86400


def site_class(mean_speed_ms: float, reference_speed_ms: float | None) -> str | None:
    """Return the weakest IEC 61400-2 class that covers a site; None when none does.

    By the yearly mean at the hub and the 50-year 10-minute mean there; where that is unknown, the
    yearly mean alone decides.
    """
    for name, mean, reference in reversed(CLASSES):
        if mean_speed_ms <= mean and (reference_speed_ms or 0.0) <= reference:
            return name
    return None


def gumbel_parameters(yearly_maximum_ms: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Fit a Gumbel distribution to maxima of shape (..., years) by probability-weighted moments.

    Mode and spread (m/s), each of shape (...). Landwehr, Matalas & Wallis, *Water Resources
    Research* 15 (1979) 1055-1064: spread = (2 b1 - b0)/ln 2 and mode = b0 - 0.5772 spread, with
    b0 the mean and b1 the mean weighted with the rank from below, (i - 1)/(n - 1).
    """
    ordered = np.sort(floats(yearly_maximum_ms), axis=-1)
    years = ordered.shape[-1]
    mean = ordered.mean(axis=-1)
    weighted = (ordered * np.arange(years)).sum(axis=-1) / (years * (years - 1))
    spread = (2 * weighted - mean) / np.log(2)
    return np.asarray(mean - _EULER * spread), np.asarray(spread)


def gumbel_return_speed_ms(
    mode_ms: npt.ArrayLike, spread_ms: npt.ArrayLike, years: npt.ArrayLike
) -> FloatArray:
    """Return the speed exceeded once in so many years (above 1), mode - spread ln(-ln(1 - 1/T))."""
    return np.asarray(floats(mode_ms) - floats(spread_ms) * np.log(-np.log1p(-1 / floats(years))))


@frozen_dataclass
class FiftyYears:
    """The wind exceeded once in fifty years, with the ends of its 90 % interval."""

    speed_ms: float
    low_ms: float
    high_ms: float
    years: int
    """Yearly maxima it rests on."""


def fifty_year_speed(yearly_maximum_ms: FloatArray) -> FiftyYears | None:
    """Estimate the 50-year wind from yearly maxima; None when there are fewer than ten.

    Gumbel, *Statistics of Extremes*, Columbia University Press 1958. The interval is a parametric
    bootstrap: the error of estimates from samples of the fitted distribution, mirrored.
    """
    years = yearly_maximum_ms.size
    if years < LEAST_MAXIMA:
        return None
    mode, spread = gumbel_parameters(yearly_maximum_ms)
    speed = float(gumbel_return_speed_ms(mode, spread, RETURN_YEARS))
    drawn = np.random.default_rng(1).gumbel(mode, spread, size=(RESAMPLES, years))
    mode_drawn, spread_drawn = gumbel_parameters(drawn)
    # The error over the drawn spread hardly depends on the true parameters, which are unknown.
    error = (gumbel_return_speed_ms(mode_drawn, spread_drawn, RETURN_YEARS) - speed) / spread_drawn
    tail = (1 - COVERAGE) / 2
    below, above = np.quantile(error, [tail, 1 - tail])
    low, high = speed - float(above * spread), speed - float(below * spread)
    return FiftyYears(speed, low, high, years)


def yearly_maxima_ms(time: TimeArray, speed_ms: FloatArray, interval_s: float) -> FloatArray:
    """Return the largest speed of every year with readings, NaN where missing, for 80 % of it.

    Years are counted back from the end of the rising times, so that none is lost to the calendar;
    `interval_s` is the usual time between readings.
    """
    known = np.isfinite(speed_ms)
    if not known.any():
        return np.array([])
    seconds = time[known].astype("datetime64[s]").astype(np.int64)
    year = ((seconds[-1] - seconds) / _YEAR_S).astype(np.int64)
    full = np.bincount(year) * interval_s >= FULL_YEAR_SHARE * _YEAR_S
    maxima = np.full(full.size, -np.inf)
    np.maximum.at(maxima, year, speed_ms[known])
    return maxima[full]


def thrust_n(
    speed_ms: npt.ArrayLike, area_m2: npt.ArrayLike, air_density_kg_m3: npt.ArrayLike
) -> FloatArray:
    """Return the thrust of the wind on a rotor disc, rho A Ct v^2 / 2, in N.

    With the Ct of 8/9 of a rotor loaded as at the Betz optimum, which is what the mast feels when
    furling or braking fails.
    """
    pressure_pa = 0.5 * floats(air_density_kg_m3) * floats(speed_ms) ** 2
    return np.asarray(LOADED_THRUST_COEFFICIENT * floats(area_m2) * pressure_pa)


class LongMeans(Finding):
    """The 50-year wind is of means over more than ten minutes."""

    interval_s: float


class ThrustInGust(Finding):
    """The thrust on a rotor that cannot furl or brake, in a gust from a basis."""

    gust_ms: float
    basis: Literal["class", "fifty years", "largest reading"]
    site_class: str | None
    thrust_n: float


class AboveEveryClass(Finding):
    """The wind at the hub is stronger than every class."""


@frozen_dataclass
class ExtremeWinds:
    """What strong winds ask of a build."""

    site_class: str | None
    """Of IEC 61400-2; None when the site is stronger than every class."""
    largest_reading_ms: float | None
    """The largest gust in the record, or the largest reading where it holds no gusts, at the
    anemometer."""
    largest_is_gust: bool
    fifty_year: FiftyYears | None
    """At the hub."""
    thrust_speed_ms: float
    """Speed at the hub that the thrust is computed for."""
    thrust_n: float | None
    """On one rotor; None when its size is unknown."""
    warnings: Findings


def extreme_winds(
    hub_mean_ms: float,
    hub_factor: float,
    air_density_kg_m3: float,
    rotor_area_m2: float | None,
    record: Record | None = None,
) -> ExtremeWinds:
    """Judge a build's strong winds, with the record where there is one.

    `hub_mean_ms` is the long-term mean at the hub, `hub_factor` the speed there over that at the
    anemometer. The thrust is for the gust of 1.4 times the 50-year speed at the hub where that is
    known, else for that of the class.
    """
    largest, is_gust, fifty = None, False, None
    interval_s = 0.0
    if record is not None:
        interval_s, fastest_ms = record.data_recovery.interval_s, record.speed_ms
        if record.gust_ms is not None and np.isfinite(record.gust_ms).any():
            is_gust, fastest_ms = True, record.gust_ms
        largest = float(np.nanmax(fastest_ms))
        maxima = yearly_maxima_ms(record.time, record.speed_ms, interval_s)
        fifty = fifty_year_speed(maxima * hub_factor)
    basis: Literal["class", "fifty years", "largest reading"] = "fifty years"
    reference = None if fifty is None else fifty.speed_ms
    name = site_class(hub_mean_ms, reference)
    if reference is None:
        reference = next((v for n, _, v in CLASSES if n == name), CLASSES[0][2])
        basis = "class"
    gust = GUST_FACTOR * reference
    if largest is not None and largest * hub_factor > gust:
        gust, basis = largest * hub_factor, "largest reading"
    thrust = None
    warnings: list[Finding] = []
    if fifty is not None and interval_s > TEN_MINUTES_S:
        warnings.append(LongMeans(interval_s))
    if rotor_area_m2 is not None:
        thrust = float(thrust_n(gust, rotor_area_m2, air_density_kg_m3))
        warnings.append(ThrustInGust(gust, basis, name, thrust))
    if name is None:
        warnings.append(AboveEveryClass())
    return ExtremeWinds(name, largest, is_gust, fifty, gust, thrust, tuple(warnings))
