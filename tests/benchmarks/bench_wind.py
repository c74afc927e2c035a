"""How quick the study of a wind record is: the censored fit, the bootstrap, the whole.

Run it as `python tests/benchmarks/bench_wind.py [--json FILE]`.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
from harness import Figure, best_of, report
from scipy import stats

sys.path.insert(0, str(Path(__file__).parents[1]))

from winds import KNOT_MS, by_airport_rules, record_of, slow_weibull, times

from yieldest.wind.censored_fit import fit_censored
from yieldest.wind.histogram import histogram_of
from yieldest.wind.mean_uncertainty import CLASSES_OF_DRAWS, draw_blocks
from yieldest.wind.resource import ResourceOptions, assess_record
from yieldest.wind.weibull import fit_maximum_likelihood
from yieldest.wind.weibull_fits import METHODS


def censored() -> list[Figure]:
    """Time the interval-censored fit of whole knots against scipy's and the plain one."""
    wind = slow_weibull(np.random.default_rng(1), 52_560, 2.0, 6.0, 144.0)
    speed = np.maximum(KNOT_MS, np.rint(wind / KNOT_MS) * KNOT_MS)
    histogram, class_of = histogram_of(speed, np.ones(speed.size), step_ms=KNOT_MS)
    between = np.column_stack([histogram.lower_ms[class_of], histogram.upper_ms[class_of]])
    data = stats.CensoredData(interval=between)
    theirs = best_of(lambda: stats.weibull_min.fit(data, floc=0), 3, time.process_time)
    their_shape = stats.weibull_min.fit(data, floc=0)[0]
    shape = float(fit_censored(histogram)[0])
    name = "interval-censored fit, 52,560 whole knots"
    ours = best_of(
        lambda: fit_censored(histogram_of(speed, np.ones(speed.size), step_ms=KNOT_MS)[0]),
        15,
        time.process_time,
    )
    return [
        Figure(
            name,
            ours,
            "scipy.stats.weibull_min.fit of CensoredData",
            theirs,
            "ratio <= 0.1",
            f"shape differs by {abs(shape / their_shape - 1):.1e} relative",
        ),
        Figure(
            name,
            ours,
            "maximum likelihood of the same",
            best_of(lambda: fit_maximum_likelihood(speed), 15, time.process_time),
            "ratio <= 1",
        ),
    ]


def bootstrap(decimals: int) -> Figure:
    """Time all fits to 200 draws of a year of 10-minute values against one plain fit of them."""
    speed = np.round(6 * np.random.default_rng(3).weibull(2, 52_560), decimals)
    weight = np.full(speed.size, 1 / 6)
    step_ms = 0.1 if decimals == 1 else None
    histogram, class_of = histogram_of(speed, weight, step_ms=step_ms)
    drawn, _ = draw_blocks(times(speed.size, minutes=10), class_of, weight, histogram.speed_ms.size)

    def all_fits() -> None:
        coarser, first = histogram.merged(CLASSES_OF_DRAWS)
        of_draws = coarser.weighted(np.add.reduceat(drawn, first, axis=-1))
        for method in METHODS.values():
            method.fit(of_draws)

    return Figure(
        f"all fits of 200 draws, {histogram.speed_ms.size} classes",
        best_of(all_fits, 5, time.process_time),
        "one fit of 52,560 values",
        best_of(lambda: fit_maximum_likelihood(speed), 15, time.process_time),
        "ratio <= 20",
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
            *censored(),
            bootstrap(1),
            bootstrap(2),
            study("study of an hourly year", 8_760, 60, "time < 0.5 s"),
            study("study of a 10-minute year", 52_560, 10, "time < 0.5 s"),
            study("study of a 1-minute year", 525_600, 1, "time < 2 s"),
        ]
    )
