"""Fewer points for a power curve of many, with the same energy in every smooth distribution."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.polynomial.legendre import leggauss, legvander

from yieldest.arrays import FloatArray, IntArray, floats
from yieldest.turbine.power_curve import PowerCurve

if TYPE_CHECKING:
    from scipy.sparse import csr_array

THINNED_FROM = 500
"""Points that a curve keeps as they are: time and memory of the draws grow with them."""
_BLOCK_RATIO, _PIECES = 1.1, 10
"""Speeds at the ends of a block, one over the other, and the pieces that it keeps."""
_SLOW_MS = 0.5
"""Added to the speeds first: far below it blocks are of one width; no machine runs so low."""
_MOMENTS = 8
_FOR_BENDS = 100
"""Points kept besides, where the curve bends and jumps."""


def thinned(curve: PowerCurve) -> PowerCurve:
    """Return the curve with some 300 points in place of more than 500.

    The speeds kept are those of points of the curve. Their powers are the least change of its own
    with which, over each block of speeds, power times every polynomial of degree 7 has the same
    integral as before. In a block a Weibull density is nearly such a polynomial, so that energy
    differs by less than 1e-9 of it (shapes from 1.2 to 4; calculus, no other source).
    """
    speed, family = curve.speed_ms, curve.family
    if speed.size <= THINNED_FROM:
        return curve
    powers = curve.power_w[np.newaxis] if family is None else family.power_w
    running = np.flatnonzero((powers != 0).any(axis=0))
    if running.size == 0:
        return curve.at_speeds(speed[[0, -1]])
    # What gives no power below cut-in must not come to give some: that would be hours of output.
    first, end = max(0, running[0] - 1), min(running[-1] + 2, speed.size)
    speed, power = speed[first:end], curve.power_w[first:end]
    divisions = _divisions(speed)
    kept = np.unique(np.concatenate((divisions, _bends(speed, power))))
    edges = speed[np.unique(divisions[::_PIECES])]
    fewer, whole = _moments(speed[kept], edges).toarray(), _moments(speed, edges)
    places = np.unique(np.concatenate(([0], kept + first, [curve.speed_ms.size - 1])))
    moved = np.isin(places, kept[1:-1] + first)

    def matched(power_w: FloatArray) -> FloatArray:
        own, inner = power_w[places], power_w[first:end]
        lacking = whole @ inner - fewer @ inner[kept]
        own[moved] += np.linalg.lstsq(fewer[:, 1:-1], lacking, rcond=1e-12)[0]
        return floats(own)

    if family is not None:
        family = replace(family, power_w=np.array([matched(row) for row in family.power_w]))
    method = (
        f"straight lines between {places.size} points, with which the energy of the "
        f"{curve.speed_ms.size:,} points of the file is kept"
    )
    return replace(
        curve.at_speeds(curve.speed_ms[places]),
        power_w=matched(curve.power_w),
        family=family,
        provenance=replace(curve.provenance, method=method),
    )


def _divisions(speed: FloatArray) -> IntArray:
    """Return which points divide the speeds into blocks, wider with the speed, and those in pieces.

    Every tenth of them ends a block.
    """
    ends = np.log(speed[[0, -1]] + _SLOW_MS)
    pieces = _PIECES * int(np.ceil((ends[1] - ends[0]) / np.log(_BLOCK_RATIO)))
    inside = np.exp(np.linspace(ends[0], ends[1], pieces + 1)[1:-1]) - _SLOW_MS
    return np.concatenate(([0], np.searchsorted(speed, inside), [speed.size - 1]))


def _bends(speed: FloatArray, power: FloatArray) -> IntArray:
    """Return points that are the denser, the more the curve bends; a jump has both of its ends."""
    width = np.diff(speed)
    bend = np.abs(np.diff(np.diff(power) / width)) * np.minimum(width[1:], width[:-1])
    # Straight lines err by the second derivative times the square of their width.
    passed = np.concatenate(([0.0], np.cumsum(np.sqrt(bend)), [np.inf]))
    return np.searchsorted(passed, np.linspace(0, passed[-2], _FOR_BENDS))


def _moments(speed: FloatArray, edges: FloatArray) -> csr_array:
    """Return what turns powers at speeds into moments of the curve, _MOMENTS for each block."""
    from scipy.sparse import coo_array  # noqa: PLC0415 - slow to load

    places, weights = leggauss(_MOMENTS // 2 + 1)
    places, weights = (1 + places) / 2, weights / 2
    width = np.diff(speed)
    block = np.searchsorted(edges, speed[:-1], side="right") - 1
    start, length = edges[block], np.diff(edges)[block]
    along = ((speed[:-1] - start)[:, np.newaxis] + np.outer(width, places)) / length[:, np.newaxis]
    polynomials = legvander(2 * along - 1, _MOMENTS - 1) * weights[:, np.newaxis]
    polynomials *= (width / length)[:, np.newaxis, np.newaxis]
    right = np.einsum("ijk,j->ik", polynomials, places)
    values = np.stack((polynomials.sum(axis=1) - right, right))
    rows = np.broadcast_to(block[:, np.newaxis] * _MOMENTS + np.arange(_MOMENTS), values.shape)
    point = np.arange(width.size)
    columns = np.broadcast_to(np.stack((point, point + 1))[..., np.newaxis], values.shape)
    shape = ((edges.size - 1) * _MOMENTS, speed.size)
    return coo_array((values.ravel(), (rows.ravel(), columns.ravel())), shape=shape).tocsr()
