"""The method of bins: readings sorted by wind speed, and the smooth curve through them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.turbine.meters import MeterUncertainty

BIN_WIDTH_MS = 0.5
"""IEC 61400-12-1: bins of 0.5 m/s centred on multiples of 0.5 m/s."""
_STRONG_SHARE = 0.05
_ENOUGH_TO_JUDGE = 3
"""Bins with fewer readings borrow the scatter of the others."""


@frozen_dataclass
class Bins:
    """Readings by wind-speed bin, shape (n,); only bins that hold a reading, in rising order.

    Speed and power are means with the standard deviation of the power, NaN in a bin with a single
    reading; `scatter_w` is the standard uncertainty of the mean from scatter (type A), `meters_w`
    that from the instruments (type B), common to all bins in sign. `relative_scatter` is the
    standard deviation as a share of the power over all bins that can tell.
    """

    centre_ms: FloatArray
    count: npt.NDArray[np.int64]
    speed_ms: FloatArray
    power_w: FloatArray
    standard_deviation_w: FloatArray
    scatter_w: FloatArray
    meters_w: FloatArray
    relative_scatter: float | None

    @property
    def uncertainty_w(self) -> FloatArray:
        """Combined standard uncertainty of each mean power, shape (n,)."""
        return np.asarray(np.hypot(self.scatter_w, self.meters_w))


def bin_number(speed_ms: npt.ArrayLike) -> npt.NDArray[np.int64]:
    """Return the number of each speed's bin: its centre is the number times 0.5 m/s."""
    return np.floor(floats(speed_ms) / BIN_WIDTH_MS + 0.5).astype(np.int64)


def bin_readings(
    speed_ms: FloatArray,
    power_w: FloatArray,
    uncertainty: MeterUncertainty,
    density_uncertainty: float,
) -> Bins:
    """Sort readings into bins.

    Speed and power, shape (m,), are normalised to the reference density, whose standard uncertainty
    is given as a share of it. An `InputError` when the readings fill fewer than two bins.

    Notes
    -----
    IEC 61400-12-1 (2005, section 8.2 and annex D; numbers from memory). Type A: s / sqrt(n) of the
    powers in the bin. Type B: u^2 = (power uncertainty P)^2 + (density uncertainty P)^2 +
    (c u_v)^2 with the sensitivity c the slope of the curve at the bin and u_v^2 = (speed
    uncertainty v)^2 + (constant)^2. The scatter of a bin with one or two readings is the pooled
    relative scatter of the others.
    """
    number, group, count = np.unique(bin_number(speed_ms), return_inverse=True, return_counts=True)
    if number.size < 2:
        raise InputError(
            f"the readings fill {number.size} wind-speed bin of {BIN_WIDTH_MS:g} m/s, and a curve "
            "needs two at least; read in more winds"
        )
    speed = np.bincount(group, speed_ms) / count
    power = np.bincount(group, power_w) / count
    squares = np.bincount(group, (power_w - power[group]) ** 2)
    deviation = np.sqrt(squares / np.where(count > 1, count - 1, np.nan))
    slope = np.gradient(power, speed)
    speed_uncertainty = np.hypot(uncertainty.speed * speed, uncertainty.speed_ms)
    meters = np.sqrt(
        (uncertainty.power * power) ** 2
        + (density_uncertainty * power) ** 2
        + (slope * speed_uncertainty) ** 2
    )
    scatter = _pooled_scatter(count, power, deviation)
    # When nothing is known of the scatter, as much as the whole reading is the careful guess.
    borrowed = np.abs(power) * (1.0 if scatter is None else scatter)
    spread = np.where(count >= _ENOUGH_TO_JUDGE, deviation, borrowed)
    return Bins(
        centre_ms=floats(number * BIN_WIDTH_MS),
        count=count,
        speed_ms=speed,
        power_w=power,
        standard_deviation_w=deviation,
        scatter_w=spread / np.sqrt(count),
        meters_w=meters,
        relative_scatter=scatter,
    )


def _pooled_scatter(
    count: npt.NDArray[np.int64], power_w: FloatArray, standard_deviation_w: FloatArray
) -> float | None:
    # Near cut-in the power hovers between nothing and something, which says nothing of stronger
    # winds, so bins below a twentieth of the highest are left aside.
    several = (count > 1) & (power_w > _STRONG_SHARE * power_w.max())
    if not several.any():
        return None
    freedom = (count - 1)[several]
    shares = standard_deviation_w[several] / power_w[several]
    return float(np.sqrt((freedom * shares**2).sum() / freedom.sum()))


IDLE_SHARE = 0.002
"""A bin counts as making power above this share of the highest bin; our choice."""
_CERTAIN = 2.0
"""And when its mean lies so many standard uncertainties above zero."""


@frozen_dataclass
class SmoothCurve:
    """The curve through bins: cut-in, the bin centres above it, and the mean speed of the last bin.

    Cut-in is seen where there are readings below it. `moved_bins` were moved by more than their
    scatter explains, so that the curve rises to its peak and falls after it.
    """

    speed_ms: FloatArray
    power_w: FloatArray
    uncertainty_w: FloatArray
    cut_in_ms: float
    cut_in_seen: bool
    moved_bins: int


def rising_then_falling(power_w: FloatArray, weight: FloatArray) -> FloatArray:
    """Return the nearest values that rise to one peak and fall after it (weighted least squares).

    Isotonic regression on either side of every possible peak, the best one kept.
    """
    best, best_misfit = power_w, np.inf
    rising, falling = _rising(power_w, weight), _rising(power_w[::-1], weight[::-1])
    for peak in range(1, power_w.size + 1):
        fitted = np.concatenate((rising[peak], falling[power_w.size - peak][::-1]))
        misfit = float((weight * (fitted - power_w) ** 2).sum())
        if misfit < best_misfit:
            best, best_misfit = fitted, misfit
    return best


def _rising(value: FloatArray, weight: FloatArray) -> list[FloatArray]:
    """Return the nearest values that never fall to none, the first one, the first two, ... of all.

    The largest, over all starts up to a value, of the least weighted mean from there to any end
    from the value on (the max-min formula of Barlow, Bartholomew, Bremner & Brunk 1972,
    *Statistical Inference under Order Restrictions*).
    """
    moment, total = (np.append(0.0, np.cumsum(each)) for each in (weight * value, weight))
    start, end = np.triu_indices(value.size)
    mean = np.full((value.size, value.size), np.inf)
    mean[start, end] = (moment[end + 1] - moment[start]) / (total[end + 1] - total[start])

    def of_first(count: int) -> FloatArray:
        least = np.minimum.accumulate(mean[:count, :count][:, ::-1], axis=1)[:, ::-1]
        return np.maximum.accumulate(least, axis=0).diagonal()

    return [of_first(count) for count in range(value.size + 1)]


def smooth_curve(bins: Bins) -> SmoothCurve:
    """Draw the curve through bins.

    Notes
    -----
    Bins are weighted by their count; between them runs the monotone cubic of Fritsch & Carlson
    (1980, *SIAM J. Numer. Anal.* 17, 238-246), which never overshoots. Cut-in is where the straight
    line through the first two bins that make power reaches zero, not below the bin before them.
    """
    fitted = rising_then_falling(bins.power_w, bins.count.astype(np.float64))
    from scipy.interpolate import PchipInterpolator  # noqa: PLC0415 - slow to load

    through = PchipInterpolator(bins.speed_ms, fitted)
    cut_in_ms, seen = _cut_in(bins, fitted)
    last = float(bins.speed_ms[-1])
    centres = BIN_WIDTH_MS * np.arange(
        np.floor(cut_in_ms / BIN_WIDTH_MS), np.ceil(last / BIN_WIDTH_MS) + 1
    )
    # Points closer together than a tenth of a bin would make needlessly steep pieces.
    near = BIN_WIDTH_MS / 10
    inside = centres[(centres > cut_in_ms + near) & (centres < last - near)]
    speed = np.concatenate(([cut_in_ms], inside, [last]))
    power = np.maximum(0.0, through(speed))
    if seen:
        power[0] = 0.0
    slack = 1e-6 * float(np.abs(bins.power_w).max())
    return SmoothCurve(
        speed_ms=speed,
        power_w=power,
        uncertainty_w=np.interp(speed, bins.speed_ms, bins.uncertainty_w),
        cut_in_ms=cut_in_ms,
        cut_in_seen=seen,
        moved_bins=int((np.abs(fitted - bins.power_w) > 2 * bins.scatter_w + slack).sum()),
    )


def _cut_in(bins: Bins, fitted: FloatArray) -> tuple[float, bool]:
    peak = int(np.argmax(fitted))
    # A scatter that is borrowed from the others, or guessed, says nothing of power being there.
    certain = (bins.count < _ENOUGH_TO_JUDGE) | (fitted > _CERTAIN * bins.scatter_w)
    making = (fitted > IDLE_SHARE * fitted[peak]) & certain
    making[peak:] = True
    idle = np.flatnonzero(~making)
    if idle.size == 0:
        return float(bins.speed_ms[0]), False
    before, first = int(idle[-1]), int(idle[-1]) + 1
    speed = bins.speed_ms
    if first + 1 >= speed.size or fitted[first + 1] <= fitted[first]:
        return float(speed[before]), True
    slope = (fitted[first + 1] - fitted[first]) / (speed[first + 1] - speed[first])
    zero = speed[first] - fitted[first] / slope
    return float(np.clip(zero, speed[before], speed[first])), True
