"""Readings counted by speed, with the bounds between which each may have been before rounding."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from yieldest.arrays import BoolArray, FloatArray, IntArray, PlaceArray, floats, pieces
from yieldest.frozen import frozen_dataclass

FINE_STEP_MS = 0.02
"""Readings without a known rounding step are counted in classes this wide; our choice."""
WIDEST_SPEED_MS = 250.0
"""Stands for the missing upper bound of an open class: no wind gets there."""


@frozen_dataclass
class Histogram:
    """How often each speed was read, in m classes."""

    speed_ms: FloatArray
    """Mean of the readings of each class, rising; shape (m,)."""
    lower_ms: FloatArray
    """Between which speeds the wind of each class may have been, shape (m,). Where the sensor
    stood still, from 0 to its starting speed."""
    upper_ms: FloatArray
    weight: FloatArray
    """Hours in each class, shape (..., m); leading axes are groups of readings or draws."""
    step_ms: float | None
    """Rounding step of the readings; None where none is known or the classes are uneven."""
    start_ms: float
    """Speed from which on the sensor turns; 0 where it has no visible threshold."""

    @property
    def share(self) -> FloatArray:
        """Share of time of each class, shape (..., m)."""
        total = self.weight.sum(axis=-1, keepdims=True)
        return np.asarray(self.weight / np.where(total > 0, total, np.nan))

    @property
    def still(self) -> BoolArray:
        """The classes in which the sensor stood still, shape (m,)."""
        return self.upper_ms <= self.start_ms

    def moment(self, order: int) -> FloatArray:
        """Return the mean of speed to a power from 1 to 3, freed of what rounding adds to it.

        Sheppard's corrections for moments about zero: h^2/12 from the second, h^2/4 times the mean
        from the third (Kendall & Stuart, *The Advanced Theory of Statistics*, vol. 1). They hold
        for the classes above the starting speed.
        """
        raw = self.share @ self.speed_ms**order
        if self.step_ms is None or order == 1:
            return np.asarray(raw)
        turning = np.where(self.still, 0.0, 1.0)
        below = self.share @ (turning * self.speed_ms ** (order - 2))
        factor = {2: 1 / 12, 3: 1 / 4}[order]
        return np.asarray(raw - factor * self.step_ms**2 * below)

    def shares_below(self, width_ms: float) -> tuple[FloatArray, FloatArray]:
        """Return bounds, shape (j,), and the share of time below each, shape (..., j).

        The upper bounds of classes about `width_ms` wide that cut no reading's own class.
        """
        step_ms = self.step_ms or 0.0
        width_ms = max(1, round(width_ms / step_ms)) * step_ms if step_ms else width_ms
        number = np.ceil((self.upper_ms - step_ms / 2) / width_ms - 1e-6)
        last = np.append(number[1:] != number[:-1], True)
        bounds = np.unique(self.upper_ms[last])
        return bounds, self.share @ (self.upper_ms[:, np.newaxis] <= bounds)

    def weighted(self, weight: npt.ArrayLike) -> Histogram:
        """Return the same classes with other weights, shape (..., m)."""
        return replace(self, weight=floats(weight))

    def merged(self, most: int) -> tuple[Histogram, IntArray]:
        """Return a histogram (m,) with neighbours in one class, and the first of each, shape (j,).

        So many that about `most` are left; where the sensor stood still, each stays its own.
        """
        still = int(self.still.sum())
        each = -(-(self.speed_ms.size - still) // most)
        first = np.concatenate(
            (np.arange(still), np.arange(still, self.speed_ms.size, max(1, each)))
        )
        if each <= 1:
            return self, first
        weight = np.add.reduceat(self.weight, first)
        speed = np.add.reduceat(self.weight * self.speed_ms, first) / weight
        upper = np.append(self.upper_ms[first[1:] - 1], self.upper_ms[-1])
        return replace(
            self,
            speed_ms=speed,
            lower_ms=self.lower_ms[first],
            upper_ms=upper,
            weight=weight,
            step_ms=None,
        ), first

    def counted(self, class_of: PlaceArray, weight: FloatArray) -> Histogram:
        """Return the same classes with readings counted by other weights, each of shape (n,)."""
        total = np.zeros(self.speed_ms.size + 1)
        for part in pieces(class_of.size):
            total += np.bincount(class_of[part], weight[part], total.size)
        return self.weighted(total[:-1])


def histogram_of(
    speed_ms: FloatArray,
    weight: FloatArray,
    *,
    step_ms: float | None = None,
    class_edges_ms: FloatArray | None = None,
    threshold_ms: float | None = None,
) -> tuple[Histogram, PlaceArray]:
    """Count readings by speed, and say the class of each, shape (n,).

    Readings that do not count have the number after that of the last class.

    Parameters
    ----------
    speed_ms, weight : ndarray, shape (n,)
        Speeds, none below zero, and the hours that each stands for. One that is NaN, or stands for
        none, does not count.
    step_ms : float, optional
        Step to which they were rounded.
    class_edges_ms : ndarray, optional
        Edges of uneven classes instead (Beaufort), the last one open.
    threshold_ms : float, optional
        Speed below which the sensor stands still. Where it is not stated and the record has zeros,
        it may lie anywhere up to the top of the lowest class above zero, which is then told from
        standstill no longer. Winds judged by eye (uneven classes) have no such threshold.
    """
    width = step_ms or FINE_STEP_MS
    highest_ms = float(np.fmax.reduce(speed_ms))
    size = 3 + (round(highest_ms / width) if class_edges_ms is None else class_edges_ms.size)
    label = np.empty(speed_ms.size, dtype=np.min_scalar_type(size))
    count, total, together = np.zeros((3, size))
    # Readings mostly count alike, and then their number is quicker to tell than the sum.
    alike = bool((weight == weight[:1]).all())
    for part in pieces(speed_ms.size):
        speed, hours = speed_ms[part], weight[part]
        speed = np.where(np.isfinite(speed) & (hours > 0), speed, -2 * width)
        if class_edges_ms is not None:
            number = np.searchsorted(class_edges_ms, speed, side="right")
        else:
            # A zero of a record in fine steps is a class of its own, not the slowest of the winds.
            number = np.rint(speed / width).astype(np.int64) + 2
            number[speed == 0] = 1
        label[part] = number
        count += np.bincount(number, minlength=size)
        if not alike:
            total += np.bincount(number, hours, size)
        together += np.bincount(number, speed, size)
    if alike:
        total = count * weight[0]
    filled = count > 0
    filled[0] = False  # those that do not count
    numbers = np.flatnonzero(filled) - 1
    if class_edges_ms is not None:
        edges = np.append(class_edges_ms, WIDEST_SPEED_MS)
        lower, upper = edges[numbers], edges[numbers + 1]
    else:
        lower = np.maximum(0.0, (numbers - 1.5) * width)
        upper = (np.maximum(numbers - 1, 0) + 0.5) * width
    mean = together[filled] / count[filled]
    start_ms = threshold_ms or 0.0
    if mean[0] == 0:
        seen = 1 if threshold_ms is None and class_edges_ms is None and mean.size > 1 else 0
        start_ms = max(start_ms, float(upper[seen]))
    still = (mean == 0) | (mean < start_ms)
    if not still.any():
        start_ms = 0.0
    lower = np.where(still, 0.0, np.maximum(lower, start_ms))
    upper = np.where(still, start_ms, np.maximum(upper, lower + 1e-9))
    class_of = np.cumsum(filled) - 1
    class_of[0] = mean.size
    for part in pieces(label.size):
        label[part] = np.take(class_of, label[part])
    return Histogram(mean, lower, upper, total[filled], step_ms, start_ms), label
