"""How quick the study of a wind record is: the censored fit, the bootstrap, the whole.

Run it as `python tests/benchmarks/bench_wind.py [--json FILE]`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from harness import Figure, best_of, report
from scipy import stats

sys.path.insert(0, str(Path(__file__).parents[1]))

from winds import KNOT_MS, by_airport_rules, record_of, slow_weibull, times

from yieldest.wind.censored_fit import fit_censored
from yieldest.wind.histogram import histogram_of
from yieldest.wind.resource import ResourceOptions, assess_record


def censored() -> Figure:
    """Time the interval-censored fit against the general fit of scipy on a year of whole knots."""
    wind = slow_weibull(np.random.default_rng(1), 8760, 2.0, 6.0, 24.0)
    speed = np.maximum(KNOT_MS, np.rint(wind / KNOT_MS) * KNOT_MS)
    histogram, class_of = histogram_of(speed, np.ones(speed.size), step_ms=KNOT_MS)
    between = np.column_stack([histogram.lower_ms[class_of], histogram.upper_ms[class_of]])
    data = stats.CensoredData(interval=between)
    theirs = best_of(lambda: stats.weibull_min.fit(data, floc=0), 3)
    their_shape = stats.weibull_min.fit(data, floc=0)[0]
    shape = float(fit_censored(histogram)[0])
    return Figure(
        "interval-censored fit, 8,760 whole knots",
        best_of(lambda: fit_censored(histogram_of(speed, np.ones(speed.size), step_ms=KNOT_MS)[0])),
        "scipy.stats.weibull_min.fit of CensoredData",
        theirs,
        "ratio <= 0.1",
        f"shape differs by {abs(shape / their_shape - 1):.1e} relative",
    )


def study(name: str, count: int, minutes: int, target: str) -> Figure:
    """Time quality_control, weights, six fits with 200 bootstrap draws, and all tables."""
    wind = slow_weibull(np.random.default_rng(2), count, 2.0, 6.0, 24 * 60 / minutes)
    record = record_of(by_airport_rules(wind), times(count, minutes=minutes), resolution_ms=KNOT_MS)
    return Figure(
        name,
        best_of(lambda: assess_record(record, ResourceOptions()), 3),
        "sorting the speeds",
        best_of(lambda: np.sort(record.speed_ms)),
        target,
    )


if __name__ == "__main__":
    report(
        [
            censored(),
            study("study of an hourly year", 8_760, 60, "time < 0.5 s"),
            study("study of a 10-minute year", 52_560, 10, "time < 0.5 s"),
            study("study of a 1-minute year", 525_600, 1, "time < 2 s"),
        ]
    )
