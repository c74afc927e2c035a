"""Which readings of a record cannot be believed: one array function per kind of trouble.

Throughout, `speed_ms` has the shape (n,) and is NaN where missing; `joined`, bool of shape
(n - 1,), says whether the next reading follows without a gap; `runs` are those of the same speeds;
`hours` is the time a run must last. What is found is bool of shape (n,).
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from yieldest.arrays import BoolArray, FloatArray, IntArray, floats, pieces, places, some
from yieldest.frozen import frozen_dataclass
from yieldest.wind.record import Record

SHORTEST_STUCK_READINGS = 3
"""Two like readings in a row are never called stuck; our choice."""
MOST_SORTED = 200_000
"""The quarters of the speeds are told by about so many of them; our choice."""
CHANCE = 0.01
"""A run so long that chance makes it in one of a hundred such records is stuck; our choice."""
CALM_PATIENCE = 4.0
"""A frozen calm that no vane confirms must last so many times longer; our choice."""


@frozen_dataclass
class Runs:
    """Stretches of two or more like readings: first reading and number of each, shape (r,)."""

    first: IntArray
    length: IntArray
    duration_h: FloatArray
    """Of every reading of the record, shape (n,)."""

    @cached_property
    def hours(self) -> FloatArray:
        """How long each lasts, shape (r,)."""
        # 180 minutes make three hours, whatever their sum lacks of them.
        return floats(self.over(np.add, self.duration_h)).round(9)

    def over(self, function: np.ufunc, values: npt.NDArray[np.generic]) -> npt.NDArray[Any]:
        """Return what a function of two makes of the values, shape (n,), within each run."""
        bounds = np.column_stack([self.first, self.first + self.length]).ravel()
        result: npt.NDArray[Any] = function.reduceat(values, bounds[bounds < values.size])[::2]
        return result

    def chosen(self, wanted: BoolArray) -> Runs:
        """Return some of the runs."""
        return Runs(self.first[wanted], self.length[wanted], self.duration_h)

    @property
    def readings(self) -> BoolArray:
        """The readings of all the runs, shape (n,)."""
        if not self.first.size:
            return np.zeros(self.duration_h.size, dtype=bool)
        change = np.zeros(self.duration_h.size + 1, dtype=np.int8)
        change[self.first] += 1
        change[self.first + self.length] -= 1
        return np.cumsum(change[:-1], dtype=np.int8).astype(bool)


def unchanging_runs(speed_ms: FloatArray, joined: BoolArray, duration_h: FloatArray) -> Runs:
    """Find the runs of two or more readings of the same speed without a gap, none missing."""
    same = (speed_ms[1:] == speed_ms[:-1]) & joined
    edges = np.flatnonzero(np.diff(same, prepend=False, append=False))
    return Runs(edges[::2], edges[1::2] - edges[::2] + 1, duration_h)


def spikes(speed_ms: FloatArray, joined: BoolArray, factor: float, excess_ms: float) -> BoolArray:
    """Find one or two readings in a row that stand out from the readings on both sides.

    A spike is at least `factor` times the higher neighbour, and `excess_ms` above it. A single zero
    between two neighbours above `excess_ms` is one too.
    """
    found = np.zeros(speed_ms.size, dtype=bool)
    earlier, later = speed_ms[:-1], speed_ms[1:]

    def stands_out(part: slice) -> BoolArray:
        to_calm = (later[part] == 0) & (earlier[part] > excess_ms)
        return np.asarray((later[part] > earlier[part] + excess_ms) | to_calm)

    # NaN compares as False everywhere, and so is never called a spike, nor beside one.
    may_be = 1 + places(later.size, stands_out)
    for width in (1, 2):
        at = may_be[may_be < speed_ms.size - width]
        before, after = speed_ms[at - 1], speed_ms[at + width]
        inner = np.stack([speed_ms[at + k] for k in range(width)])
        near = np.logical_and.reduce([joined[at - 1 + k] for k in range(width + 1)])
        higher = np.maximum(before, after)
        above = (inner > np.maximum(factor * higher, higher + excess_ms)).all(axis=0)
        if width == 1:
            above |= (inner[0] == 0) & (np.minimum(before, after) > excess_ms)
        for k in range(width):
            found[at[above & near] + k] = True
    return found


def stuck_length(speed_ms: FloatArray, joined: BoolArray) -> int:
    """Return how many like readings above zero in a row are too many to be chance.

    With p the share of neighbouring readings that are alike, n readings hold about n p^(L-1) runs
    of L or more; L is the least for which that is below 0.01 (a geometric run length; ours). As
    light winds repeat themselves more often, p is the highest of the four quarters of the speeds.
    """
    moving = joined & (speed_ms[1:] > 0) & (speed_ms[:-1] > 0)
    every = 1 + moving.size // MOST_SORTED
    sample = speed_ms[:-1:every][moving[::every]]
    if not sample.size:
        return SHORTEST_STUCK_READINGS
    limits = np.quantile(sample, [0.25, 0.5, 0.75])
    counted = np.zeros((2, limits.size + 1))
    for part in pieces(moving.size):
        used = some(moving[part])
        before, after = speed_ms[:-1][part][used], speed_ms[1:][part][used]
        for row, speeds in enumerate((before, before[before == after])):
            below = [np.count_nonzero(speeds <= limit) for limit in limits]
            counted[row] += np.diff([0, *below, speeds.size])
    in_quarters, alike_in_quarters = counted
    chance = float((alike_in_quarters / np.maximum(in_quarters, 1)).max())
    if not 0 < chance < 1:
        return SHORTEST_STUCK_READINGS
    length = 1 + np.log(CHANCE / in_quarters.sum()) / np.log(chance)
    return max(SHORTEST_STUCK_READINGS, int(np.ceil(length)))


def stuck(speed_ms: FloatArray, runs: Runs, shortest: int, hours: float) -> BoolArray:
    """Find runs above zero of at least `shortest` readings (see `stuck_length`) and `hours`."""
    still = (runs.length >= shortest) & (runs.hours >= hours)
    return runs.chosen(still).readings & (speed_ms > 0)


def frozen(
    record: Record,
    speed_ms: FloatArray,
    runs: Runs,
    shortest: int,
    cold: BoolArray,
    hours: float,
) -> BoolArray:
    """Find readings that do not change while it is `cold`, shape (n,), throughout.

    They must be at least `shortest` (see `stuck_length`). A vane that moves, or a spread within the
    interval, shows that nothing is frozen. A calm that no still vane confirms must last four times
    as long, for calm nights are often cold.
    """
    still = (runs.length >= shortest) & runs.over(np.logical_and, cold)
    vane_seen = np.zeros(still.size, dtype=bool)
    if record.direction_deg is not None:
        # These two pass over NaN, so that a run without any direction gives NaN.
        highest = runs.over(np.fmax, record.direction_deg)
        lowest = runs.over(np.fmin, record.direction_deg)
        vane_seen = highest == lowest
        still &= ~(highest > lowest)
    if record.standard_deviation_ms is not None:
        still &= runs.over(np.logical_and, ~(record.standard_deviation_ms > 0))
    calm = speed_ms[runs.first] == 0
    patience = np.where(calm & ~vane_seen, CALM_PATIENCE * hours, hours)
    return runs.chosen(still & (runs.hours >= patience)).readings


def contradicted_calms(
    speed_ms: FloatArray,
    runs: Runs,
    joined: BoolArray,
    hours: float,
    neighbour_ms: FloatArray | None,
) -> BoolArray:
    """Find long dead calms that begin and end in a wind above the mean, or a neighbour denies.

    `neighbour_ms` is the speed of another sensor at the same times, shape (n,); its mean during the
    calm must reach its mean over the whole record.
    """
    calms = runs.chosen((speed_ms[runs.first] == 0) & (runs.hours >= hours))
    if not calms.first.size:
        return calms.readings
    mean_ms = speed_ms.mean(where=np.isfinite(speed_ms))
    behind = calms.first + calms.length
    # A gap or an end of the record is no wind on that side.
    inside = (calms.first > 0) & (behind < speed_ms.size)
    before, after = calms.first - 1, np.minimum(behind, speed_ms.size - 1)
    denied = inside & joined[before] & (speed_ms[before] >= mean_ms)
    denied &= joined[after - 1] & (speed_ms[after] >= mean_ms)
    if neighbour_ms is not None:
        known = np.isfinite(neighbour_ms)
        seen = np.where(known, neighbour_ms, 0.0)
        total, count = calms.over(np.add, seen), calms.over(np.add, known.astype(np.float64))
        usual = seen.sum() / max(1, known.sum())
        # Half of the calm must be covered by the neighbour before it may deny it.
        denied |= (count >= calms.length / 2) & (total >= usual * count)
    return calms.chosen(denied).readings
