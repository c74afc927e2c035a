"""What readings in bins show: gaps, thin bins, outliers, completeness, starting and stopping."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding
from yieldest.turbine.bins import BIN_WIDTH_MS, Bins, SmoothCurve, bin_number
from yieldest.turbine.readings import Readings

_FAR_OUT = 6.0
"""Readings so many robust standard deviations from the middle of their bin are named."""
_LEAST_SPREAD = 0.05
"""Readings of a bin may always differ by this share of its mean; our choice."""
_ENOUGH_TO_JUDGE = 5


class ThinBins(Finding):
    """Bins hold fewer than three readings, or between others none."""

    centre_ms: tuple[float, ...]
    empty: bool


class BinsMoved(Finding):
    """Bins were moved by more than their scatter explains."""

    count: int


class CutInNotSeen(Finding):
    """The machine made power in the lowest bin already."""

    cut_in_ms: float


class PowerBelowZero(Finding):
    """The machine drew power in some readings."""

    least_w: float


class FarFromTheOthers(Finding):
    """Readings lie far from the others of their bin; the first of them."""

    place: str
    power_w: float
    speed_ms: float
    others: int


def bin_warnings(readings: Readings, bins: Bins, smooth: SmoothCurve) -> tuple[Finding, ...]:
    """Find what a reader of bins and curve must know."""
    found: list[Finding] = []
    numbers = bin_number(bins.centre_ms)
    gaps = np.setdiff1d(np.arange(numbers[0], numbers[-1] + 1), numbers)
    if gaps.size:
        found.append(ThinBins(tuple((BIN_WIDTH_MS * gaps).tolist()), empty=True))
    thin = bins.centre_ms[bins.count < 3]
    if thin.size:
        found.append(ThinBins(tuple(thin.tolist()), empty=False))
    if smooth.moved_bins:
        found.append(BinsMoved(smooth.moved_bins))
    if not smooth.cut_in_seen and (readings.power_w > 0).any():
        found.append(CutInNotSeen(smooth.cut_in_ms))
    if (readings.power_w < 0).any():
        found.append(PowerBelowZero(float(readings.power_w.min())))
    far = _far_out(readings, bins)
    if far.size:
        first = int(far[0])
        power_w, speed_ms = float(readings.power_w[first]), float(readings.speed_ms[first])
        found.append(FarFromTheOthers(readings.place(first), power_w, speed_ms, far.size - 1))
    return tuple(found)


def _far_out(readings: Readings, bins: Bins) -> npt.NDArray[np.intp]:
    """Return the readings that lie far from the middle of their bin."""
    of_bin = np.searchsorted(bin_number(bins.centre_ms), bin_number(readings.speed_ms))
    away = np.abs(readings.power_w - _medians(readings.power_w, of_bin)[of_bin])
    # 1.4826 times the median deviation is the standard deviation of normal scatter; where
    # most readings are alike (idle bins), the width of the bin itself must still be allowed.
    scatter = 1.4826 * _medians(away, of_bin)
    slope = np.abs(np.gradient(bins.power_w, bins.speed_ms))
    least = np.maximum(BIN_WIDTH_MS * slope, _LEAST_SPREAD * bins.power_w)
    spread = np.maximum(scatter, least)
    return np.flatnonzero(
        (bins.count >= _ENOUGH_TO_JUDGE)[of_bin] & (away > _FAR_OUT * spread[of_bin])
    )


def _medians(values: FloatArray, of_bin: npt.NDArray[np.intp]) -> FloatArray:
    """Return the median in each bin; every bin has readings."""
    ordered = values[np.lexsort((values, of_bin))]
    last = np.cumsum(np.bincount(of_bin)) - 1
    first = np.append(0, last[:-1] + 1)
    return np.asarray((ordered[(first + last) // 2] + ordered[(first + last + 1) // 2]) / 2)


@frozen_dataclass
class Rule:
    """One rule and what was found."""

    standard: str
    requires: str
    found: str
    met: bool


_SMALL = "IEC 61400-12-1, small-turbine annex (source not checked)"
_LARGE = "IEC 61400-12-1 (source not checked)"


def completeness_rules(
    bins: Bins, cut_in_ms: float, averaging_s: float, interval_s: float | None
) -> tuple[Rule, ...]:
    """Hold readings against the rules of IEC 61400-12-1 on completeness.

    `averaging_s` is what each reading is a mean over; `interval_s` the time it stands for, None
    without times, when no rule on time can be met. Recalled from memory: the annex for small
    turbines asks for 1-minute means, 10 minutes in every bin from 1 m/s below cut-in to 14 m/s, and
    60 hours in all; the standard itself for 10-minute means, 30 minutes in every bin from 1 m/s
    below cut-in to 1.5 times the speed of 85 % of rated power, and 180 hours in all.
    """
    rated = 0.85 * float(bins.power_w.max())
    speed_85_ms = float(bins.centre_ms[int(np.argmax(bins.power_w >= rated))])
    from_ms = max(0.0, cut_in_ms - 1.0)
    rules = []
    for standard, mean_s, hours_needed, minutes_needed, top_ms in (
        (_SMALL, 60.0, 60.0, 10.0, 14.0),
        (_LARGE, 600.0, 180.0, 30.0, 1.5 * speed_85_ms),
    ):
        means = "glances" if averaging_s == 0 else f"{averaging_s:g} s"
        wanted = np.arange(np.ceil(from_ms / BIN_WIDTH_MS), np.floor(top_ms / BIN_WIDTH_MS) + 1)
        hours, full, found_hours, found_bins = 0.0, 0, "no times", "no times"
        if interval_s is not None:
            hours = float(bins.count.sum()) * interval_s / 3600
            enough = bins.count * interval_s / 60 >= minutes_needed
            full = int(np.isin(wanted, bin_number(bins.centre_ms[enough])).sum())
            found_hours, found_bins = f"{hours:.1f} h", f"{full} of {wanted.size} bins"
        in_bins = f"{minutes_needed:g} minutes in each bin from {from_ms:.1f} to {top_ms:.1f} m/s"
        rules += [
            Rule(standard, f"means over {mean_s:g} s", means, averaging_s == mean_s),
            Rule(standard, f"{hours_needed:g} hours in all", found_hours, hours >= hours_needed),
            Rule(standard, in_bins, found_bins, interval_s is not None and full == wanted.size),
        ]
    return tuple(rules)


_TURNING_SHARE = 0.02
"""Turning means more rpm (or power) than this share of the highest; our choice."""
_LEAST_EVENTS = 3
_STEADY_MS = 0.25
"""A change of wind below this is neither rising nor falling; our choice."""
_LEAST_CHANGES = 10


@frozen_dataclass
class Hysteresis:
    """What differs between rising and falling wind; None where the readings do not show it.

    Mean winds at which the machine starts and stops with their standard uncertainties, how often
    each was seen, judged by "rpm" or "power", and the power in falling wind over that in rising
    wind at the same speed, minus 1.
    """

    start_ms: float | None
    stop_ms: float | None
    start_uncertainty_ms: float | None
    stop_uncertainty_ms: float | None
    starts: int
    stops: int
    judged_by: str
    falling_excess: float | None
    falling_excess_uncertainty: float | None

    @property
    def shown(self) -> bool:
        """Whether starting and stopping differ by more than chance."""
        if self.start_ms is None or self.stop_ms is None:
            return False
        uncertainty = np.hypot(self.start_uncertainty_ms or 0.0, self.stop_uncertainty_ms or 0.0)
        return bool(self.start_ms - self.stop_ms > 2 * uncertainty)


def hysteresis_of(readings: Readings) -> Hysteresis:
    """Compare rising with falling wind, in readings that stand in the order of their times."""
    activity = readings.power_w if readings.rpm is None else np.nan_to_num(readings.rpm)
    turning = activity > _TURNING_SHARE * activity.max()
    speed = readings.speed_ms
    middle = (speed[1:] + speed[:-1]) / 2
    starts = middle[~turning[:-1] & turning[1:]]
    stops = middle[turning[:-1] & ~turning[1:]]
    start, start_uncertainty = _mean(starts)
    stop, stop_uncertainty = _mean(stops)
    excess, uncertainty = _falling_excess(speed, readings.power_w)
    return Hysteresis(
        start_ms=start,
        stop_ms=stop,
        start_uncertainty_ms=start_uncertainty,
        stop_uncertainty_ms=stop_uncertainty,
        starts=starts.size,
        stops=stops.size,
        judged_by="power" if readings.rpm is None else "rpm",
        falling_excess=excess,
        falling_excess_uncertainty=uncertainty,
    )


def _mean(events_ms: FloatArray) -> tuple[float | None, float | None]:
    if events_ms.size < _LEAST_EVENTS:
        return None, None
    return float(events_ms.mean()), float(events_ms.std(ddof=1) / np.sqrt(events_ms.size))


def _falling_excess(speed: FloatArray, power: FloatArray) -> tuple[float | None, float | None]:
    """Return the excess of power in falling wind over rising wind, compared bin by bin."""
    change = np.diff(speed)
    number, rest = bin_number(speed[1:]), power[1:]
    total = weight = variance = base = 0.0
    for here in np.unique(number):
        rising = rest[(number == here) & (change > _STEADY_MS)]
        falling = rest[(number == here) & (change < -_STEADY_MS)]
        if min(rising.size, falling.size) < _LEAST_EVENTS or rising.mean() <= 0:
            continue
        share = 1 / (1 / rising.size + 1 / falling.size)
        total += share * (falling.mean() - rising.mean())
        spread = rising.var(ddof=1) / rising.size + falling.var(ddof=1) / falling.size
        variance += share**2 * spread
        base += share * rising.mean()
        weight += share
    if weight < _LEAST_CHANGES:
        return None, None
    return float(total / base), float(np.sqrt(variance) / base)
