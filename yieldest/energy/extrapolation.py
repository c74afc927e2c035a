"""The part of the energy that rests on winds above the last point anybody measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.energy.closed_form import HOURS_PER_YEAR, mean_power_w
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.distribution import RAYLEIGH_SHAPE
from yieldest.wind.weibull import scale_of_mean

USUAL_MEANS_MS = np.arange(3.0, 8.0)
"""Mean winds at the hub between which small machines stand."""


def mean_power_beyond_w(
    shape: npt.ArrayLike, scale_ms: npt.ArrayLike, curve: PowerCurve
) -> FloatArray:
    """Return the part of the mean power that comes from above the last measured speed.

    Parameters
    ----------
    shape, scale_ms : array_like
        Weibull shape and scale in m/s; they broadcast.
    curve : PowerCurve

    Returns
    -------
    ndarray
        In W, without calms.
    """
    start = max(curve.last_measured_ms, curve.cut_in_ms)
    if start >= curve.cut_out_ms:
        return np.zeros(np.broadcast_shapes(np.shape(shape), np.shape(scale_ms)))
    speed = np.concatenate(([start], curve.speed_ms[curve.speed_ms > start]))
    return mean_power_w(shape, floats(scale_ms), speed, curve.power_at(speed))


@dataclass(frozen=True)
class UsualYears:
    """Yearly energy of one machine, before losses, at round mean winds (Rayleigh).

    Parameters
    ----------
    mean_ms, energy_kwh, uncertainty_kwh, beyond_kwh : ndarray, shape (n,)
        Mean wind at the hub, energy, its standard uncertainty from the curve alone (all points
        wrong in the same sense), and the part from above the last measured speed.
    """

    mean_ms: FloatArray
    energy_kwh: FloatArray
    uncertainty_kwh: FloatArray
    beyond_kwh: FloatArray


def usual_years(curve: PowerCurve) -> UsualYears:
    """Return what a curve yields at round mean winds.

    Notes
    -----
    IEC 61400-12-1 states annual energy at Rayleigh means of whole m/s, the measured and the
    extrapolated part apart.
    """
    scale = scale_of_mean(USUAL_MEANS_MS, RAYLEIGH_SHAPE)
    hours = HOURS_PER_YEAR / 1000
    return UsualYears(
        mean_ms=USUAL_MEANS_MS,
        energy_kwh=hours * mean_power_w(RAYLEIGH_SHAPE, scale, curve.speed_ms, curve.power_w),
        uncertainty_kwh=hours
        * mean_power_w(RAYLEIGH_SHAPE, scale, curve.speed_ms, curve.uncertainty_w),
        beyond_kwh=hours * mean_power_beyond_w(RAYLEIGH_SHAPE, scale, curve),
    )
