"""How quick the main job is: start-up, estimate, fit, energy.

Run it as `python tests/benchmarks/bench_main_job.py [--json FILE]`.
"""

from __future__ import annotations

import itertools
import time
from pathlib import Path

import numpy as np
from harness import BARE_IMPORT, COMMAND, Figure, best_of, process_seconds, report
from scipy.integrate import quad
from scipy.stats import weibull_min

import yieldest
from yieldest.energy.closed_form import mean_power_w
from yieldest.turbine.curve_ends import Ends
from yieldest.turbine.curve_file import read_power_curve
from yieldest.wind.weibull import fit_maximum_likelihood

DEMO_SITE = Path(__file__).parents[2] / "demo-sites" / "hill-yard"


def startup() -> list[Figure]:
    """Time whole commands against the imports that none of them can do without."""
    bare = process_seconds(BARE_IMPORT)
    site = str(DEMO_SITE)
    commands = [
        ("estimate of a demo site", ["estimate", site], "ratio <= 2.0"),
        ("wind of a demo record", ["wind", f"{site}/wind.csv.gz"], "ratio <= 2.0"),
        ("curve of a demo machine", ["curve", f"{site}/curve-2.4m.csv"], "ratio <= 2.0"),
        ("check of a demo site", ["check", site], "ratio <= 1.5"),
    ]
    return [
        Figure(
            "yieldest --help", process_seconds(COMMAND, "--help"),
            "import typer", process_seconds("import typer"), "ratio <= 1.4",
        ),
        *(
            Figure(name, process_seconds(COMMAND, *arguments), "bare imports", bare, target)
            for name, arguments, target in commands
        ),
    ]  # fmt: skip


def sweep(key: str, first: float, last: float) -> Figure:
    """Time what a swept value takes above the first few, files already read."""
    estimate = yieldest.load(DEMO_SITE).estimate()

    def seconds(count: int) -> float:
        values = np.linspace(first, last, count)
        if key.endswith("count"):
            values = values.round().astype(int)
        return best_of(lambda: estimate.sweep(key, values).rows(), 5, time.process_time)

    few, many = 20, 120
    each = (seconds(many) - seconds(few)) / (many - few)
    return Figure(f"a value of --sweep {key}", each, "1 ms", 1e-3, "ratio <= 1")


def fit() -> Figure:
    """Time the fit against scipy's on a year of 10-minute values."""
    speed = weibull_min.rvs(1.9, scale=6.0, size=52_560, random_state=1)

    def likelihood(shape: float, scale: float) -> float:
        return float(weibull_min.logpdf(speed, shape, scale=scale).sum())

    ours = likelihood(*(float(value) for value in fit_maximum_likelihood(speed)))
    shape, _, scale = weibull_min.fit(speed, floc=0)
    short_of_scipy = (likelihood(shape, scale) - ours) / abs(ours)
    return Figure(
        "maximum likelihood, 52,560 values",
        best_of(lambda: fit_maximum_likelihood(speed), 15, time.process_time),
        "scipy.stats.weibull_min.fit",
        best_of(lambda: weibull_min.fit(speed, floc=0), 3, time.process_time),
        "ratio <= 0.0167 (60 times as quick)",
        f"log-likelihood short of scipy's by {short_of_scipy:.1e} relative (target 1e-9)",
    )


def energy(points: int) -> Figure:
    """Time the closed form against quad, segment by segment, on a curve of so many points."""
    curve = read_power_curve(DEMO_SITE / "curve-2.4m.csv", ends=Ends(cut_out_ms=20))
    speed = np.linspace(2.5, 20.0, points)
    power = curve.power_at(speed)
    shape, scale = 1.9, 6.0

    def by_quad() -> float:
        return sum(
            quad(
                lambda v: (
                    np.interp(v, speed, power)
                    * (shape / scale)
                    * (v / scale) ** (shape - 1)
                    * np.exp(-((v / scale) ** shape))
                ),
                low,
                high,
                epsrel=1e-9,
                epsabs=0,
            )[0]
            for low, high in itertools.pairwise(speed)
        )

    closed = float(mean_power_w(shape, scale, speed, power))
    calls = 200
    return Figure(
        f"closed-form energy, {points} points",
        best_of(lambda: [mean_power_w(shape, scale, speed, power) for _ in range(calls)]) / calls,
        "quad segment by segment, 1e-9",
        best_of(by_quad),
        "ratio <= 0.02",
        f"differs by {abs(closed / by_quad() - 1):.1e} relative (target 1e-9)",
    )


if __name__ == "__main__":
    # 36 points are the 0.5 m/s bins of IEC 61400-12-1 up to 20 m/s; 16 a maker's short table.
    swept = [
        sweep("economics.price_per_kwh", 0.15, 0.45),
        sweep("build.0.hub_height_m", 8, 20),
        sweep("build.1.hub_height_m", 8, 20),
        sweep("build.1.count", 1, 8),
        sweep("site.elevation_m", 0, 900),
        sweep("wind.measured_height_m", 6, 14),
        sweep("build.0.cut_out_ms", 12, 20),
        sweep("build.1.cut_out_ms", 12, 18),
    ]
    report([*startup(), *swept, fit(), energy(36), energy(16)])
