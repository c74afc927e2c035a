"""Which readings of a record cannot be believed: one array function per kind of trouble.

Throughout, `speed_ms` has the shape (n,) and is NaN where missing; `joined`, bool of shape
(n - 1,), says whether the next reading follows without a gap; `runs` are those of the same speeds;
`hours` is the time a run must last. What is found is bool of shape (n,).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from yieldest.arrays import BoolArray, FloatArray, IntArray
from yieldest.wind.record import Record

SHORTEST_STUCK_READINGS = 3
"""Two like readings in a row are never called stuck; our choice."""
CHANCE = 0.01
"""A run so long that chance makes it in one of a hundred such records is stuck; our choice."""
CALM_PATIENCE = 4.0
"""A frozen calm that no vane confirms must last so many times longer; our choice."""


@dataclass(frozen=True)
class Runs:
    """Stretches of readings that do not change: first reading and number of each, shape (r,)."""

    first: IntArray
    length: IntArray
    hours: FloatArray

    def readings(self, chosen: BoolArray) -> BoolArray:
        """Return the readings of the chosen runs."""
        return np.repeat(chosen, self.length)

    def all_of(self, condition: BoolArray) -> BoolArray:
        """Return the runs in which every reading fulfils a condition."""
        return np.logical_and.reduceat(condition, self.first)


def unchanging_runs(speed_ms: FloatArray, joined: BoolArray, duration_s: FloatArray) -> Runs:
    """Cut a record into runs of the same speed without a gap; a missing speed is its own run."""
    breaks = (speed_ms[1:] != speed_ms[:-1]) | ~joined
    first = np.flatnonzero(np.concatenate(([True], breaks)))
    length = np.diff(np.append(first, speed_ms.size))
    return Runs(first, length, np.add.reduceat(duration_s, first) / 3600)


def spikes(speed_ms: FloatArray, joined: BoolArray, factor: float, excess_ms: float) -> BoolArray:
    """Find one or two readings in a row that stand out from the readings on both sides.

    A spike is at least `factor` times the higher neighbour, and `excess_ms` above it. A single zero
    between two neighbours above `excess_ms` is one too.
    """
    found = np.zeros(speed_ms.size, dtype=bool)
    for width in (1, 2):
        if speed_ms.size < width + 2:
            break
        before, after = speed_ms[: -width - 1], speed_ms[width + 1 :]
        inner = np.stack([speed_ms[1 + k : speed_ms.size - width + k] for k in range(width)])
        near = np.logical_and.reduce(
            [joined[k : speed_ms.size - 1 - width + k] for k in range(width + 1)]
        )
        # NaN on any side compares as False, and so is never called a spike.
        higher = np.maximum(before, after)
        above = (inner > np.maximum(factor * higher, higher + excess_ms)).all(axis=0)
        if width == 1:
            above |= (inner[0] == 0) & (np.minimum(before, after) > excess_ms)
        at = np.flatnonzero(above & near) + 1
        for k in range(width):
            found[at + k] = True
    return found


def stuck_length(speed_ms: FloatArray, joined: BoolArray) -> int:
    """Return how many like readings above zero in a row are too many to be chance.

    With p the share of neighbouring readings that are alike, n readings hold about n p^(L-1) runs
    of L or more; L is the least for which that is below 0.01 (a geometric run length; ours). As
    light winds repeat themselves more often, p is the highest of the four quarters of the speeds.
    """
    moving = joined & (speed_ms[1:] > 0) & (speed_ms[:-1] > 0)
    pairs = int(moving.sum())
    if pairs == 0:
        return SHORTEST_STUCK_READINGS
    before, alike = speed_ms[:-1][moving], (speed_ms[1:] == speed_ms[:-1])[moving]
    quarter = np.searchsorted(np.quantile(before, [0.25, 0.5, 0.75]), before)
    count = np.bincount(quarter, minlength=4)
    share = np.bincount(quarter, weights=alike, minlength=4) / np.maximum(count, 1)
    chance = float(share.max())
    if not 0 < chance < 1:
        return SHORTEST_STUCK_READINGS
    length = 1 + np.log(CHANCE / pairs) / np.log(chance)
    return max(SHORTEST_STUCK_READINGS, int(np.ceil(length)))


def stuck(speed_ms: FloatArray, runs: Runs, shortest: int, hours: float) -> BoolArray:
    """Find runs above zero of at least `shortest` readings (see `stuck_length`) and `hours`."""
    still = (runs.length >= shortest) & (runs.hours >= hours)
    return runs.readings(still) & (speed_ms > 0)


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
    still = (runs.length >= shortest) & runs.all_of(cold)
    vane_seen = np.zeros(still.size, dtype=bool)
    if record.direction_deg is not None:
        # These two pass over NaN, so that a run without any direction gives NaN.
        highest = np.fmax.reduceat(record.direction_deg, runs.first)
        lowest = np.fmin.reduceat(record.direction_deg, runs.first)
        vane_seen = highest == lowest
        still &= ~(highest > lowest)
    if record.standard_deviation_ms is not None:
        still &= runs.all_of(~(record.standard_deviation_ms > 0))
    calm = speed_ms[runs.first] == 0
    patience = np.where(calm & ~vane_seen, CALM_PATIENCE * hours, hours)
    return runs.readings(still & (runs.hours >= patience)) & np.isfinite(speed_ms)


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
    long_calm = (speed_ms[runs.first] == 0) & (runs.hours >= hours) & (runs.length >= 2)
    # A gap or an end of the record is no wind on that side.
    around_ms = np.concatenate(([np.nan], speed_ms, [np.nan]))
    linked = np.concatenate(([False], joined, [False]))
    after = runs.first + runs.length
    known_ms = speed_ms[np.isfinite(speed_ms)]
    mean_ms = known_ms.mean() if known_ms.size else np.inf
    denied = linked[runs.first] & (around_ms[runs.first] >= mean_ms)
    denied &= linked[after] & (around_ms[after + 1] >= mean_ms)
    if neighbour_ms is not None:
        known = np.isfinite(neighbour_ms)
        total = np.add.reduceat(np.where(known, neighbour_ms, 0.0), runs.first)
        count = np.add.reduceat(known.astype(np.float64), runs.first)
        usual = total.sum() / max(1.0, count.sum())
        # Half of the calm must be covered by the neighbour before it may deny it.
        denied |= (count >= runs.length / 2) & (total >= usual * count)
    return runs.readings(long_calm & denied)
