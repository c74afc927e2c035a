"""Gross and net energy of a year: where wind, power curve and losses meet, whatever the axes.

The wind is a fitted distribution, or the time series of a record, taken value by value.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.defaults import RAYLEIGH_SHAPE
from yieldest.energy.closed_form import mean_power_w, share_at_power, stretches_at_power
from yieldest.frozen import frozen_dataclass, relabelled
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.resource import ResourceOptions, assess_record
from yieldest.wind.weibull import scale_of_mean, share_above
from yieldest.wind.wind_record import ONLY_IMPOSSIBLE, WindRecord, at_its_height

HOURS_PER_YEAR = 8760.0
"""Hours in a year of 365 days, the year of IEC 61400-12-1."""
USUAL_MEANS_MS = np.arange(3.0, 8.0)
"""Mean winds at the hub between which small machines stand."""
RATED_SHARE = 0.99
"""A machine counts as at rated power from this share of it on; our choice."""


@frozen_dataclass
class SpeedSeries:
    """The wind speeds of a record, carried to the hub.

    Parameters
    ----------
    read_ms, weight : ndarray, shape (n,)
        Finite speeds, and how much each counts.
    factor : float
        Above 0; every speed is multiplied by it.
    """

    read_ms: FloatArray
    weight: FloatArray
    factor: float = 1.0

    @classmethod
    def of_record(
        cls,
        record: WindRecord,
        hub_height_m: float,
        *,
        season_correction: bool = True,
        **law: Any,  # noqa: ANN401 - passed on
    ) -> SpeedSeries:
        """Carry the readings of a record to a hub, for the energy of the readings themselves.

        They count as in `WindRecord.fit`: by month and hour where these are there unevenly, and
        with the spread within daily or coarser means put back.

        Parameters
        ----------
        record : WindRecord
        hub_height_m : float
        season_correction : bool
            Whether months and hours that are there unevenly are evened out.
        **law
            As for `WindDistribution.at_height`, such as ``roughness_m``.

        Raises
        ------
        InputError
            When the record cannot be fitted, or as `WindDistribution.at_height`.
        """
        resource = assess_record(record, ResourceOptions(ONLY_IMPOSSIBLE, season_correction))
        speed_ms, weight, _ = resource.energy_speeds
        measured = at_its_height(resource)
        hub = measured.at_height(hub_height_m, **law)
        return cls(speed_ms, weight, hub.scale_ms / measured.scale_ms)

    @cached_property
    def speed_ms(self) -> FloatArray:
        """The speeds, multiplied."""
        return self.read_ms if self.factor == 1 else self.read_ms * self.factor

    @cached_property
    def _sorted(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """As read, in rising order, with the sums of weight, and of weight times speed, below."""
        order = np.argsort(self.read_ms)
        speed, share = self.read_ms[order], self.weight[order] / self.weight.sum()
        weight_below, run_below = (
            np.concatenate(([0.0], np.cumsum(each))) for each in (share, share * speed)
        )
        return speed, weight_below, run_below

    def scaled(self, by: float) -> SpeedSeries:
        """Return every speed multiplied by something above 0."""
        return self.at_factor(self.factor * by)

    def at_factor(self, factor: float) -> SpeedSeries:
        """Return the speeds as read, multiplied by a factor; what is sorted stays sorted."""
        found = SpeedSeries(self.read_ms, self.weight, factor)
        vars(found)["_sorted"] = self._sorted
        return found

    def mean_power_w(
        self, factor: npt.ArrayLike, node_speed_ms: npt.ArrayLike, node_power_w: npt.ArrayLike
    ) -> FloatArray:
        """Return the mean power of a piecewise-linear curve.

        Parameters
        ----------
        factor : array_like, shape (...)
            Every speed is multiplied by it first.
        node_speed_ms, node_power_w : array_like, shape (..., n)
            As for `closed_form.mean_power_w`; a value at the first or the last speed counts.

        Returns
        -------
        ndarray, shape (...)

        Notes
        -----
        On a straight piece the power of a sum is the sum of the powers, so the sums of weight and
        of weight times speed between its ends are enough: no draw visits every value.
        """
        sorted_ms, weight_below, run_below = self._sorted
        by = self.factor * floats(factor)[..., np.newaxis]
        speed, power = floats(node_speed_ms), floats(node_power_w)
        ends = speed / by
        last = np.nextafter(ends[..., -1:], np.inf)
        place = np.searchsorted(sorted_ms, np.concatenate((ends[..., :-1], last), axis=-1))
        weight, run = (
            sums[place[..., 1:]] - sums[place[..., :-1]] for sums in (weight_below, run_below)
        )
        low = speed[..., :-1]
        slope = (power[..., 1:] - power[..., :-1]) / (speed[..., 1:] - low)
        pieces = power[..., :-1] * weight + slope * (by * run - low * weight)
        return np.asarray(pieces.sum(axis=-1))

    def share_at_power(
        self,
        factor: npt.ArrayLike,
        node_speed_ms: npt.ArrayLike,
        node_power_w: npt.ArrayLike,
        level_w: float,
    ) -> FloatArray:
        """Return the share of the time at a power, as `closed_form.share_at_power`."""
        sorted_ms, weight_below, _ = self._sorted
        by = self.factor * floats(factor)[..., np.newaxis]
        power = floats(node_power_w)
        start, end, reached = stretches_at_power(floats(node_speed_ms), power, level_w)
        start, end = start / by, end / by
        # A value on a point of the curve belongs to the piece above it, on the last to that below;
        # where the point gives no power it belongs to none.
        if level_w == 0:
            start = np.where(power[..., :-1] > 0, start, np.nextafter(start, np.inf))
        last = np.arange(end.shape[-1]) == end.shape[-1] - 1
        end = np.where(last & (power[..., 1:] > 0), np.nextafter(end, np.inf), end)
        below = weight_below[np.searchsorted(sorted_ms, np.stack(np.broadcast_arrays(start, end)))]
        return np.asarray(np.where(reached, below[1] - below[0], 0.0).sum(axis=-1))

    def share_above(self, factor: npt.ArrayLike, speed_ms: npt.ArrayLike) -> FloatArray:
        """Return the share of the time above a speed."""
        sorted_ms, weight_below, _ = self._sorted
        by = self.factor * floats(factor)
        place = np.searchsorted(sorted_ms, floats(speed_ms) / by, side="right")
        return np.asarray(weight_below[-1] - weight_below[place])


@frozen_dataclass
class YearlyHours:
    """How a machine spends the 8760 hours of a year.

    Too little wind for power, making power (of which `at_rated` at 99 % of rated power or more),
    and above the cut-out speed.
    """

    without_output: float
    generating: float
    at_rated: float
    cut_out: float


@frozen_dataclass
class HubSpeeds:
    """The wind speeds at a hub: of one site, of many draws or of many cells.

    Parameters
    ----------
    shape, scale_ms, calm_share : array_like, shape (...)
        Of the fitted distribution; they broadcast.
    series : SpeedSeries or None
        A time series that stands instead of it.
    factor : array_like, shape (...)
        What every speed of the series is multiplied by.
    """

    shape: npt.ArrayLike
    scale_ms: npt.ArrayLike
    calm_share: npt.ArrayLike
    series: SpeedSeries | None = None
    factor: npt.ArrayLike = 1.0

    def scaled(self, by: npt.ArrayLike) -> HubSpeeds:
        """Return the wind with every speed multiplied."""
        factor = floats(by)
        return relabelled(
            self, scale_ms=floats(self.scale_ms) * factor, factor=floats(self.factor) * factor
        )

    def gross_kwh(
        self, speed_ms: npt.ArrayLike, power_w: npt.ArrayLike, count: npt.ArrayLike
    ) -> FloatArray:
        """Return the energy of a year before losses, shape (...), for nodes of shape (..., n)."""
        if self.series is None:
            windy = 1 - floats(self.calm_share)
            mean_w = windy * mean_power_w(self.shape, self.scale_ms, speed_ms, power_w)
        else:
            mean_w = self.series.mean_power_w(self.factor, speed_ms, power_w)
        return np.asarray(mean_w * (floats(count) * HOURS_PER_YEAR / 1000))

    def beyond_kwh(self, curve: PowerCurve, count: int) -> FloatArray:
        """Return the part of that from above the last measured speed of a curve, shape (...)."""
        start = max(np.nextafter(curve.last_measured_ms, np.inf), curve.cut_in_ms)
        speed = np.concatenate(([start], curve.speed_ms[curve.speed_ms > start]))
        return self.gross_kwh(speed, curve.power_at(speed), count)

    def share_at_power(
        self, speed_ms: npt.ArrayLike, power_w: npt.ArrayLike, level_w: float = 0.0
    ) -> FloatArray:
        """Return the share of the year in which a curve gives a power (0: any), shape (...)."""
        if self.series is None:
            windy = share_at_power(self.shape, self.scale_ms, speed_ms, power_w, level_w)
            return np.asarray((1 - floats(self.calm_share)) * windy)
        return self.series.share_at_power(self.factor, speed_ms, power_w, level_w)

    def yearly_hours(self, curve: PowerCurve) -> YearlyHours:
        """Return how a machine spends the hours of a year at one site."""
        rated_w, at_rated = curve.rated_power_w, 0.0
        if self.series is None:
            above = share_above(curve.cut_out_ms, self.shape, self.scale_ms)
            above = (1 - floats(self.calm_share)) * above
        else:
            above = self.series.share_above(self.factor, curve.cut_out_ms)
        cut_out = HOURS_PER_YEAR * float(above)
        nodes = (curve.speed_ms, curve.power_w)
        generating = HOURS_PER_YEAR * float(self.share_at_power(*nodes))
        if rated_w > 0:
            at_rated = HOURS_PER_YEAR * float(self.share_at_power(*nodes, RATED_SHARE * rated_w))
        return YearlyHours(HOURS_PER_YEAR - generating - cut_out, generating, at_rated, cut_out)


def draw_without_output_kwh(
    idle_draw_w: npt.ArrayLike, share_generating: npt.ArrayLike, count: int
) -> FloatArray:
    """Return what converters draw in a year while their machines make nothing (they broadcast)."""
    hours = HOURS_PER_YEAR * (1 - floats(share_generating))
    return np.asarray(floats(idle_draw_w) * hours * (count / 1000))


def net_kwh_per_year(
    wind: HubSpeeds,
    speed_ms: npt.ArrayLike,
    power_w: npt.ArrayLike,
    kept: npt.ArrayLike,
    idle_draw_w: float,
    count: int,
) -> FloatArray:
    """Return the energy of a year after losses and what the converters draw without wind.

    The nodes of the power curve of one machine have shape (..., n); `kept` is the share of the
    gross energy that the losses leave, shape (...).
    """
    net = wind.gross_kwh(speed_ms, power_w, count) * floats(kept)
    if idle_draw_w == 0:
        return np.asarray(net)
    generating = wind.share_at_power(speed_ms, power_w)
    return np.asarray(net - draw_without_output_kwh(idle_draw_w, generating, count))


@frozen_dataclass
class UsualYears:
    """Yearly energy of one machine, before losses, at round mean winds at the hub (Rayleigh).

    The standard uncertainty is that from the curve alone, all points wrong in the same sense;
    `beyond_kwh` is the part from above the last measured speed. Shapes are (n,).
    """

    mean_ms: FloatArray
    energy_kwh: FloatArray
    uncertainty_kwh: FloatArray
    beyond_kwh: FloatArray


def usual_years(curve: PowerCurve) -> UsualYears:
    """Return what a curve yields at round mean winds.

    IEC 61400-12-1 states annual energy at Rayleigh means of whole m/s, the measured and the
    extrapolated part apart.
    """
    shape = RAYLEIGH_SHAPE.value
    wind = HubSpeeds(shape, scale_of_mean(USUAL_MEANS_MS, shape), 0.0)
    energy, uncertainty = (
        wind.gross_kwh(curve.speed_ms, each, 1) for each in (curve.power_w, curve.uncertainty_w)
    )
    return UsualYears(USUAL_MEANS_MS, energy, uncertainty, wind.beyond_kwh(curve, 1))
