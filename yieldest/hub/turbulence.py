"""What turbulence does to a power curve that was measured in smoother flow."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from yieldest.arrays import FloatArray, floats

SMOOTH_INTENSITY = 0.10
"""Turbulence intensity in which a curve of unknown origin is taken to have been measured, an open
test site's (common practice, no source)."""


def added_intensity(
    site_intensity: npt.ArrayLike, curve_intensity: npt.ArrayLike = SMOOTH_INTENSITY
) -> FloatArray:
    """Return the turbulence intensity that the site adds to what is in the curve already.

    Variances of independent normal parts add: sqrt(site^2 - curve^2), or 0 for a smoother site.
    """
    more = floats(site_intensity) ** 2 - floats(curve_intensity) ** 2
    return np.sqrt(np.maximum(more, 0.0))


def power_in_turbulence_w(
    mean_speed_ms: npt.ArrayLike,
    intensity: npt.ArrayLike,
    node_speed_ms: npt.ArrayLike,
    node_power_w: npt.ArrayLike,
) -> FloatArray:
    r"""Return the mean power of a curve, in W, over speeds that vary normally about a mean.

    Means and intensities (standard deviation over mean; 0 gives the curve itself) broadcast. The
    curve, of nodes of shape (n,), is straight between them and zero outside.

    Notes
    -----
    For each straight piece P = p + q (v - m), with s = intensity times mean m,

    .. math:: \int P\,\varphi = p\,[\Phi(z)] - q\,s\,[\varphi(z)], \quad z = (v - m)/s

    between its ends (calculus). To second order it is P + s^2 P''/2: more power where the curve
    bends up, less at the knee below rated power. It supposes that the machine follows every gust
    at once (IEC 61400-12-1:2017, normalisation for turbulence, supposes the same).
    """
    mean = floats(mean_speed_ms)[..., np.newaxis]
    deviation = np.maximum(floats(intensity)[..., np.newaxis] * mean, 1e-9)
    speed, power = floats(node_speed_ms), floats(node_power_w)
    z = (speed - mean) / deviation
    below = ndtr(z)
    density = np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi)
    slope = np.diff(power) / np.diff(speed)
    at_mean = power[:-1] + slope * (mean - speed[:-1])
    pieces = at_mean * np.diff(below, axis=-1) - slope * deviation * np.diff(density, axis=-1)
    return np.asarray(pieces.sum(axis=-1))


def curve_in_turbulence(
    node_speed_ms: FloatArray, node_power_w: FloatArray, intensity: float, step_ms: float = 0.1
) -> tuple[FloatArray, FloatArray]:
    """Return the nodes of a curve, speed and power, as added turbulence blurs it.

    The new nodes, `step_ms` apart, reach from the first of the curve to its last: the little power
    that gusts bring below cut-in is not counted.
    """
    between = np.arange(node_speed_ms[0], node_speed_ms[-1], step_ms)
    speed = np.union1d(node_speed_ms, between)
    return speed, power_in_turbulence_w(speed, intensity, node_speed_ms, node_power_w)
