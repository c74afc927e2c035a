"""Whether a reference is of one piece: tests of its yearly means for a step or a drift."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding

LEAST_YEARS = 10
"""Fewer yearly means cannot tell a step from chance (Alexandersson & Moberg 1997 tabulate from
ten on)."""
LEVEL = 0.05
_CRITICAL = (
    (10, 20, 30, 40, 50, 70, 100),
    (5.70, 6.95, 7.65, 8.10, 8.45, 8.80, 9.15),
)
"""Values, and statistics that chance exceeds in 5 % of series; Alexandersson & Moberg, *Int. J.
Climatology* 17 (1997) 25-34, from memory, and confirmed by simulation in the tests."""


class StepInReference(Finding):
    """The level of the reference changes from one year on, by itself or against the others."""

    source: str
    year: int
    """The first of the new level."""
    change: float
    """Of the mean speed, relative."""
    tests: tuple[str, ...]
    """That found it: "standard normal homogeneity", "Pettitt"."""
    against_others: bool


class DriftInReference(Finding):
    """The level of the reference drifts over its years, by itself or against the others."""

    source: str
    first_year: int
    last_year: int
    change_per_decade: float
    """Of the mean speed, relative."""
    tests: tuple[str, ...]
    """As those of a step: a drift exceeds them too."""
    against_others: bool


class StepsNotSought(Finding):
    """The reference has too few full years to be tested for steps."""

    source: str
    least_years: int


@frozen_dataclass
class StepTest:
    """The likeliest step in a series of n values, and whether chance would make it."""

    first_after: int
    """Index of the first value after the step."""
    statistic: float
    found: bool
    """Whether chance alone would exceed the statistic in less than 5 % of series."""


def standard_normal_homogeneity(values: FloatArray) -> StepTest:
    """Look for the step that best divides a series (n,) into two levels.

    Notes
    -----
    T = max over k of k z1^2 + (n - k) z2^2 with the standardised means before and after
    (Alexandersson, *J. Climatology* 6 (1986) 661-675).
    """
    n = values.size
    spread = float(values.std(ddof=1))
    if spread == 0:
        return StepTest(n, 0.0, False)
    total = np.cumsum((values - values.mean()) / spread)[:-1]
    before = np.arange(1, n)
    statistic = total**2 / before + total**2 / (n - before)
    best = int(np.argmax(statistic))
    critical = float(np.interp(n, *_CRITICAL))
    return StepTest(best + 1, float(statistic[best]), bool(statistic[best] > critical))


def pettitt(values: FloatArray) -> StepTest:
    """Look for the step in the ranks of a series (n,).

    Notes
    -----
    K = max over k of abs(U_k) with U_k = 2 sum of the first k ranks - k (n + 1); chance exceeds it
    with probability 2 exp(-6 K^2 / (n^3 + n^2)) (Pettitt, *Applied Statistics* 28 (1979) 126-135).
    """
    n = values.size
    rank = np.argsort(np.argsort(values)) + 1.0
    sums = np.abs(2 * np.cumsum(rank) - np.arange(1, n + 1) * (n + 1))[:-1]
    best = int(np.argmax(sums))
    chance = 2 * np.exp(-6 * sums[best] ** 2 / (n**3 + n**2))
    return StepTest(best + 1, float(sums[best]), bool(chance < LEVEL))


Years = tuple[FloatArray, FloatArray]
"""Full calendar years and the logarithms of their means, each of shape (n,)."""


def steps_of(sources: Sequence[str], yearly: Sequence[Years]) -> list[Finding]:
    """Test every reference by itself and against the mean of the others.

    Both tests exceed their limits for a drift too: the step or the straight line is named, by the
    smaller sum of squares that it leaves.
    """
    found: list[Finding] = []
    for source, own in zip(sources, yearly, strict=True):
        others = [other for other in yearly if other is not own]
        series = [(False, own)] + ([(True, _against(own, others))] if others else [])
        for against_others, (year, level) in series:
            if year.size < LEAST_YEARS:
                found.append(StepsNotSought(source, LEAST_YEARS))
                break
            tests = {
                "standard normal homogeneity": standard_normal_homogeneity(level),
                "Pettitt": pettitt(level),
            }
            named = tuple(name for name, test in tests.items() if test.found)
            if named:
                first = tests[named[0]].first_after
                found.append(_named(source, year, level, first, named, against_others))
    return found


def _named(
    source: str,
    year: FloatArray,
    level: FloatArray,
    first: int,
    tests: tuple[str, ...],
    against_others: bool,
) -> Finding:
    """Return the step that was found, or the drift that fits the years better."""
    before, after = level[:first], level[first:]
    left_by_step = before.size * before.var() + after.size * after.var()
    slope, at_zero = np.polyfit(year, level, 1)
    if ((level - slope * year - at_zero) ** 2).sum() < left_by_step:
        ends = int(year[0]), int(year[-1])
        return DriftInReference(source, *ends, float(np.expm1(10 * slope)), tests, against_others)
    change = float(np.expm1(after.mean() - before.mean()))
    return StepInReference(source, int(year[first]), change, tests, against_others)


def _against(own: Years, others: Sequence[Years]) -> Years:
    """Return the years that all have, and how far the one is above the mean of the others."""
    year = own[0][np.all([np.isin(own[0], other[0]) for other in others], axis=0)]
    levels = [level[np.isin(years, year)] for years, level in (own, *others)]
    return year, levels[0] - np.mean(levels[1:], axis=0)
