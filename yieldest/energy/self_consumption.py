"""Where each hour's energy goes: used at once, stored, sold or dumped."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

import numpy as np
import numpy.typing as npt
from pydantic import Field

from yieldest.arrays import FloatArray, TimeArray, floats
from yieldest.defaults import BATTERY_EFFICIENCY, Assumed
from yieldest.energy.demand import Demand, LoadProfile
from yieldest.energy.net_energy import HOURS_PER_YEAR, SpeedSeries
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Provenance
from yieldest.settings import Positive, Settings, key
from yieldest.turbine.power_curve import PowerCurve

LEVELS = np.array([0.1, 0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0, 5.0])
"""Energies over the net energy for which the share used is known; between them on straight
lines."""
_CENTRAL = 4
_NOTHING_KW = 1e-9


class Battery(Settings):
    """The table [battery]: what stores the energy that is not used at once."""

    capacity_kwh: Annotated[float, Field(ge=0, le=1e5)] = key(
        "what it holds between full and as empty as it may get", 5, unit="kWh", default=...
    )
    power_kw: Positive | None = key(
        "most that it takes or gives", 2.5, unit="kW", left_out="no limit"
    )
    efficiency: Annotated[float, Field(gt=0.1, le=1)] = key(
        "energy out over energy in, there and back",
        0.85,
        unit="share",
        left_out=f"{BATTERY_EFFICIENCY.value:g} is assumed",
        default=BATTERY_EFFICIENCY.value,
    )


@frozen_dataclass
class Dispatch:
    """Energy of each hour in kWh, shape (n, ...).

    made = used_directly + into_battery + sold + dumped, and
    demand = used_directly + from_battery + missing; `stored` is the content at the end of the hour.
    """

    used_directly: FloatArray
    into_battery: FloatArray
    from_battery: FloatArray
    sold: FloatArray
    dumped: FloatArray
    missing: FloatArray
    stored: FloatArray


def dispatch(
    made_kwh: npt.ArrayLike,
    demand_kwh: npt.ArrayLike,
    battery: Battery | None = None,
    *,
    export_limit_kw: float | None = None,
) -> Dispatch:
    """Return where the energy of each hour goes.

    First into the house, then into the battery, then into the mains up to the limit; the rest is
    dumped. What the house lacks comes from the battery. It begins empty, and loses the root of its
    efficiency each way.

    Parameters
    ----------
    made_kwh : array_like, shape (n, ...)
        Of consecutive hours; further axes are machines, draws or whatever is compared.
    demand_kwh : array_like, shape (n,) or (n, ...)
    battery : Battery, optional
    export_limit_kw : float, optional
        0 without mains; left out there is no limit.
    """
    made = floats(made_kwh)
    demand = floats(demand_kwh)
    demand = np.broadcast_to(
        demand.reshape(demand.shape + (1,) * (made.ndim - demand.ndim)), made.shape
    )
    direct = np.minimum(made, demand)
    surplus, lack = made - direct, demand - direct
    stored, into, out = np.zeros((3, *made.shape))
    if battery is not None and battery.capacity_kwh > 0:
        each_way = np.sqrt(battery.efficiency)
        most = np.inf if battery.power_kw is None else battery.power_kw
        wanted = np.minimum(surplus, most) * each_way - np.minimum(lack, most) / each_way
        content = np.zeros(made.shape[1:])
        for hour, change in enumerate(wanted):
            content = np.minimum(np.maximum(content + change, 0.0), battery.capacity_kwh)
            stored[hour] = content
        change = np.diff(stored, axis=0, prepend=0.0)
        into, out = np.maximum(change, 0.0) / each_way, np.maximum(-change, 0.0) * each_way
    left = np.maximum(surplus - into, 0.0)
    sold = left if export_limit_kw is None else np.minimum(left, export_limit_kw)
    return Dispatch(direct, into, out, sold, left - sold, np.maximum(lack - out, 0.0), stored)


class ProfileBeyondRecord(Finding):
    """The record is shorter than a year, so the hours are reckoned for its seasons alone."""

    days: float


class HouseByUtc(Finding):
    """The wind record is in UTC, and nobody states by which clock the house draws."""


@frozen_dataclass
class SelfConsumption:
    """What becomes of a year's net energy, in kWh, all machines together.

    Parameters
    ----------
    made_kwh, demand_kwh : float
    used_directly_kwh, into_battery_kwh, sold_kwh, dumped_kwh : float
        Together what is made.
    from_battery_kwh : float
        What the battery gave; the rest of what went in was lost there, or is still in it.
    hours_without_power, days_without_power : float or None
        In a year, hours in which the house lacks power and days with such an hour; None with mains.
    made_at_kwh, share_at : ndarray, shape (m,)
        Share used for other yearly energies.
    """

    made_kwh: float
    demand_kwh: float
    used_directly_kwh: float
    into_battery_kwh: float
    from_battery_kwh: float
    sold_kwh: float
    dumped_kwh: float
    hours_without_power: float | None
    days_without_power: float | None
    made_at_kwh: FloatArray
    share_at: FloatArray
    provenance: Provenance

    @property
    def used_share(self) -> float:
        """Share of what is made that replaces a bought kWh."""
        return (self.used_directly_kwh + self.from_battery_kwh) / self.made_kwh

    @property
    def sold_share_of_rest(self) -> float:
        """Share of the rest that is sold, not dumped or lost."""
        rest = self.made_kwh * (1 - self.used_share)
        return min(1.0, self.sold_kwh / rest) if rest > 0 else 0.0

    def used_share_of(self, made_kwh: npt.ArrayLike) -> FloatArray:
        """Return the share used of other yearly energies, of any shape."""
        return np.asarray(np.interp(floats(made_kwh), self.made_at_kwh, self.share_at))


def self_consumption(
    time: TimeArray,
    speeds: SpeedSeries,
    curve: PowerCurve,
    net_kwh: float,
    profile: LoadProfile,
    demand: Demand,
    battery: Battery | None,
) -> SelfConsumption:
    """Reckon a year's self-consumption hour by hour over a record.

    Parameters
    ----------
    time : ndarray of datetime64, shape (n,)
    speeds : SpeedSeries
        At the hub, at those times.
    curve : PowerCurve
        Of one machine at the hub.
    net_kwh : float
        Of a year, all machines; the hours are scaled to it, above zero.
    profile, demand, battery : LoadProfile, Demand, Battery or None

    Raises
    ------
    InputError
        When the curve makes nothing in the whole record.

    Notes
    -----
    The readings of an hour are averaged; those farther apart hold until the next. Hours without
    any are left out. Each counts with its weight, so that a year has its months in their due.
    """
    hours, power, weight = hourly(time, curve.power_at(speeds.speed_ms), speeds.weight)
    share = weight / weight.sum()
    mean = float(share @ np.maximum(power, 0.0))
    if mean <= 0:
        raise InputError(
            f"{curve.provenance.source}: in the hours of the record the machine makes nothing, so "
            "no load can be set against it; leave [demand] out."
        )
    made = np.maximum(power, 0.0) / mean * net_kwh / HOURS_PER_YEAR
    drawn = profile.at(hours)
    limit = 0.0 if demand.off_grid else demand.export_limit_kw
    found = dispatch(made[:, np.newaxis] * LEVELS, drawn, battery, export_limit_kw=limit)

    def of_year(each: FloatArray) -> FloatArray:
        return np.asarray(share @ each * HOURS_PER_YEAR)

    lacking = found.missing[:, _CENTRAL] > _NOTHING_KW
    dark_hours = dark_days = None
    if demand.off_grid:
        day = hours.astype("datetime64[D]")
        dark_hours = float(of_year(lacking.astype(float)))
        dark_days = 365 * np.unique(day[lacking]).size / np.unique(day).size
    used = of_year(found.used_directly + found.from_battery)
    assumed = profile.provenance.assumed
    if battery is not None and "efficiency" not in battery.model_fields_set:
        assumed = (*assumed, Assumed(BATTERY_EFFICIENCY))
    span = float((hours[-1] - hours[0]) / np.timedelta64(1, "D"))
    parts = ("used_directly", "into_battery", "from_battery", "sold", "dumped")
    return SelfConsumption(
        made_kwh=net_kwh,
        demand_kwh=float(of_year(drawn)),
        **{f"{part}_kwh": float(of_year(getattr(found, part)[:, _CENTRAL])) for part in parts},
        hours_without_power=dark_hours,
        days_without_power=dark_days,
        made_at_kwh=LEVELS * net_kwh,
        share_at=used / (LEVELS * net_kwh),
        provenance=Provenance(
            profile.provenance.source,
            "hour by hour over the record: used at once, then stored, then sold",
            assumed,
            (*profile.provenance.warnings, *((ProfileBeyondRecord(span),) if span < 330 else ())),
        ),
    )


def used_shares(
    powers: Sequence[tuple[TimeArray, FloatArray, FloatArray]],
    net_kwh: FloatArray,
    profile: LoadProfile,
    battery: Battery | None,
) -> FloatArray:
    """Return the share used of several machines in several numbers, as `self_consumption`.

    Parameters
    ----------
    powers : sequence of (ndarray, ndarray, ndarray), each shape (n,)
        Of each machine times, power in W and weights, as `hourly` takes them; the times are alike.
    net_kwh : ndarray, shape (machines, numbers)
        Of a year.
    profile, battery : LoadProfile, Battery or None

    Returns
    -------
    ndarray, shape (machines, numbers)
        NaN where nothing is made.
    """
    found = [hourly(*each) for each in powers]
    hours, _, weight = found[0]
    share = weight / weight.sum()
    power = np.stack([np.maximum(each, 0.0) for _, each, _ in found], axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        made = (power / (share @ power))[..., np.newaxis] * net_kwh / HOURS_PER_YEAR
    went = dispatch(made, profile.at(hours), battery)
    used = np.tensordot(share, went.used_directly + went.from_battery, 1) * HOURS_PER_YEAR
    return floats(np.divide(used, net_kwh, out=np.full(net_kwh.shape, np.nan), where=net_kwh > 0))


def hourly(
    time: TimeArray, values: FloatArray, weight: FloatArray
) -> tuple[TimeArray, FloatArray, FloatArray]:
    """Return the hours that readings cover, in order, with their mean value and weight."""
    order = np.argsort(time, kind="stable")
    time, values, weight = time[order], values[order], weight[order]
    steps = np.diff(time) / np.timedelta64(1, "h")
    steps = steps[steps > 0]
    held = max(1, round(float(np.median(steps)))) if steps.size else 1
    start = time.astype("datetime64[h]")
    if held > 1:
        start = (start[:, np.newaxis] + np.arange(held)).ravel()
        values, weight = np.repeat(values, held), np.repeat(weight, held)
    hours, inverse = np.unique(start, return_inverse=True)
    total, count, run = (
        np.bincount(inverse, each) for each in (weight, np.ones(inverse.size), values)
    )
    return hours, run / count, total / count
