"""Mean power of a curve in a Weibull distribution, and its time at a power, in closed form."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import gammainc

from yieldest.arrays import FloatArray, floats
from yieldest.wind.weibull import mean_speed, share_above

_RULES = {most: np.polynomial.legendre.leggauss(n) for most, n in ((1.08, 5), (1.13, 6), (1.26, 8))}
"""Points and weights by the ratio of the two speeds of a piece: up to it they err by less than
4e-12 for shapes from 0.6 to 6. Wider pieces are halved, the widest not."""
_NARROW = max(_RULES)
_MANY = 300
"""From so many sites or draws on the quadrature is worth its overhead."""


def mean_power_w(
    shape: npt.ArrayLike,
    scale_ms: npt.ArrayLike,
    node_speed_ms: npt.ArrayLike,
    node_power_w: npt.ArrayLike,
) -> FloatArray:
    r"""Return the mean power of a piecewise-linear curve in a Weibull distribution.

    Parameters
    ----------
    shape, scale_ms : array_like, shape (...)
        Weibull shape k and scale A in m/s.
    node_speed_ms, node_power_w : array_like, shape (..., n)
        Speeds, increasing along the last axis, and powers; between them the curve is straight,
        outside them it is zero. Leading axes broadcast with those of `shape`.

    Returns
    -------
    ndarray, shape (...)
        Mean power in W, without calms: multiply by 1 minus the share of calms.

    Notes
    -----
    With S(v) = exp(-(v/A)^k) the share of time above v, integration by parts gives

    .. math:: \bar P = P_1 S(v_1) - P_n S(v_n)
              + \sum_i \frac{P_{i+1} - P_i}{v_{i+1} - v_i} \int_{v_i}^{v_{i+1}} S(v)\,dv

    and the integral of S from 0 to v is A Gamma(1 + 1/k) times the regularised lower incomplete
    gamma function of 1/k at (v/A)^k (by substitution; calculus, no other source). That function is
    slow, so for many sites or draws all but the widest pieces are integrated by Gauss-Legendre
    quadrature, which agrees with it to 1e-12.
    """
    k, a = floats(shape), floats(scale_ms)
    speed, power = floats(node_speed_ms), floats(node_power_w)
    rise = power[..., 1:] - power[..., :-1]
    if np.broadcast(k, a, speed[..., 0]).size < _MANY:
        k, a = k[..., np.newaxis], a[..., np.newaxis]
        reduced = (speed / a) ** k
        above = np.exp(-reduced)
        integral = mean_speed(k, a) * gammainc(1 / k, reduced)
        # Slices rather than np.diff: a single site spends its time in the calls, not in the sums.
        share = (integral[..., 1:] - integral[..., :-1]) / (speed[..., 1:] - speed[..., :-1])
        inner = (rise * share).sum(axis=-1)
        return np.asarray(inner + power[..., 0] * above[..., 0] - power[..., -1] * above[..., -1])
    # Piece by piece, for so what all the draws or sites need of one stays in the nearest memory.
    mean_w = power[..., 0] * share_above(speed[..., 0], k, a)
    mean_w = mean_w - power[..., -1] * share_above(speed[..., -1], k, a)
    by_scale = -np.exp(-k * np.log(a))
    for i in range(speed.shape[-1] - 1):
        low, high = speed[..., i], speed[..., i + 1]
        mean_w += rise[..., i] * _mean_share_above(k, a, by_scale, low, high)
    return np.asarray(mean_w)


def _mean_share_above(
    k: FloatArray, a: FloatArray, by_scale: FloatArray, low: FloatArray, high: FloatArray
) -> FloatArray:
    """Return the mean share of time above the speeds of a piece of the curve, given -A^-k too."""
    ratio = np.divide(high, low, out=np.full(low.shape, np.inf), where=low > 0).max()
    if ratio > _NARROW**4:
        whole = gammainc(1 / k, (high / a) ** k) - gammainc(1 / k, (low / a) ** k)
        return np.asarray(mean_speed(k, a) * whole / (high - low))
    if ratio > _NARROW:
        middle = np.sqrt(low * high)
        lower = _mean_share_above(k, a, by_scale, low, middle) * (middle - low)
        upper = _mean_share_above(k, a, by_scale, middle, high) * (high - middle)
        return np.asarray((lower + upper) / (high - low))
    points, weights = next(rule for most, rule in _RULES.items() if ratio <= most)
    mean = np.zeros(np.broadcast_shapes(a.shape, by_scale.shape, low.shape))
    for point, weight in zip(points, weights, strict=True):
        # Of v^k and A^k apart, for one shape may have many scales.
        above = np.exp(k * np.log(low + (high - low) * ((1 + point) / 2))) * by_scale
        np.exp(above, out=above)
        above *= weight / 2
        mean += above
    return mean


def share_at_power(
    shape: npt.ArrayLike,
    scale_ms: npt.ArrayLike,
    node_speed_ms: npt.ArrayLike,
    node_power_w: npt.ArrayLike,
    level_w: float,
) -> FloatArray:
    """Return the share of time in which the curve gives more than `level_w` (0) or at least it.

    The arguments broadcast as those of `mean_power_w`. "More than" and "at least" differ in single
    speeds, which take no time, but for level stretches: at level 0 those do not count.
    """
    k = floats(shape)[..., np.newaxis]
    a = floats(scale_ms)[..., np.newaxis]
    start, end, reached = stretches_at_power(floats(node_speed_ms), floats(node_power_w), level_w)
    share = np.where(reached, share_above(start, k, a) - share_above(end, k, a), 0.0)
    return np.asarray(share.sum(axis=-1))


def stretches_at_power(
    speed: FloatArray, power: FloatArray, level_w: float
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_]]:
    """Return from which speed to which each piece of a curve reaches a power, and if it does.

    The curve's points have shape (..., n), its pieces (..., n - 1); they broadcast. A level of 0
    asks where there is any power at all.
    """
    left, right = power[..., :-1], power[..., 1:]
    reached_left = left > 0 if level_w == 0 else left >= level_w
    reached_right = right > 0 if level_w == 0 else right >= level_w
    width = np.diff(speed, axis=-1)
    rise = np.where(right == left, 1.0, right - left)
    with np.errstate(over="ignore"):  # a rise of next to nothing is clipped to a whole width
        crossing = speed[..., :-1] + width * np.clip((level_w - left) / rise, 0, 1)
    start = np.where(reached_left, speed[..., :-1], crossing)
    end = np.where(reached_right, speed[..., 1:], crossing)
    return start, end, reached_left | reached_right
