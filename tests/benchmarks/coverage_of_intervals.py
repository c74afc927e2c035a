"""How often nine cases of ten hold the truth, from invented records through the whole chain.

Every site has a true long-term wind with seasons, calm and windy years and weather that lasts for
days. A logger with an anemometer of its own error writes the first months of it down; the plan
folder goes through reading, study, estimate and draws; and the truth is computed here, reading by
reading over twenty years. Run it as `python tests/benchmarks/coverage_of_intervals.py [SITES]`.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from scipy.signal import lfilter
from scipy.special import ndtr

from yieldest.model.estimate import estimate
from yieldest.model.uncertain import DEFAULT_CORRELATIONS, lined_up
from yieldest.plan import load_plan
from yieldest.uncertainty.propagation import draw_variates, run, summary

CURVE_MS = np.arange(3.0, 17.0)
CURVE_W = np.array([5, 30, 80, 160, 260, 390, 540, 700, 850, 950, 1000, 1000, 930, 800.0])
YEAR_HOURS, YEARS = 8760, 20
PLAN = """title = "invented"
currency = "EUR"
[site]
elevation_m = 100
mean_temperature_c = 9
[wind]
record = "wind.csv"
measured_height_m = 10
[[build]]
name = "invented"
hub_height_m = 15
curve = "curve.csv"
"""


def years_of_wind(draw: np.random.Generator) -> np.ndarray:
    """Return hourly speeds of twenty years at the mast, shape (years, hours)."""
    noise = lfilter([1], [1, -np.exp(-1 / 20)], draw.standard_normal(YEARS * YEAR_HOURS))
    level = np.clip(ndtr(noise / noise.std()), 1e-9, 1 - 1e-9)
    shape = draw.normal(2.0, 0.15)
    speed = (-np.log1p(-level)) ** (1 / shape) * draw.uniform(4.5, 7.5)
    phase = 2 * np.pi * np.arange(YEARS * YEAR_HOURS) / YEAR_HOURS + draw.uniform(0, 2 * np.pi)
    speed *= 1 + draw.uniform(0.05, 0.25) * np.cos(phase)
    return speed.reshape(YEARS, YEAR_HOURS) * (1 + 0.06 * draw.standard_normal((YEARS, 1)))


def true_kwh(draw: np.random.Generator, mast_ms: np.ndarray) -> np.ndarray:
    """Return the true net energy of every year, with the errors nobody measured."""
    up = 1.5 ** draw.normal(0.2, 0.08) * np.exp(0.03 * draw.standard_normal())
    own = np.sqrt(0.8) * draw.standard_normal() + np.sqrt(0.2) * draw.standard_normal(CURVE_W.size)
    power = np.maximum(CURVE_W * (1 + 0.1 * own), 0) * (1.212 / 1.225)
    kept = np.prod(
        [1 - share * np.exp(0.47 * draw.standard_normal()) for share in (0.05, 0.02, 0.05, 0.02)]
    )
    made = np.interp(mast_ms * up, CURVE_MS, power, left=0, right=0)
    return 8.76 * made.mean(axis=1) * kept


def held(draw: np.random.Generator, days: int, folder: Path) -> tuple[bool, bool]:
    """Return whether the ranges of one site hold a true year, and its mean of twenty years."""
    mast = years_of_wind(draw)
    kwh = true_kwh(draw, mast)
    read = mast[0, : days * 24] * np.exp(0.036 * draw.standard_normal())
    start = np.datetime64("2023-01-01T00")
    lines = [f"{start + hour},{speed:.1f}" for hour, speed in enumerate(read)]
    (folder / "wind.csv").write_text("\n".join(["time,speed (m/s)", *lines]), encoding="utf-8")
    table = [f"{speed:g},{power:g}" for speed, power in zip(CURVE_MS, CURVE_W, strict=True)]
    (folder / "curve.csv").write_text("\n".join(["speed (m/s),power (W)", *table]))
    (folder / "plan.toml").write_text(PLAN, encoding="utf-8")
    plan = load_plan(folder)
    whole = estimate(read(plan))
    inputs, (chain,) = lined_up(whole.inputs, whole.terms, whole.builds)
    variates = draw_variates(inputs, DEFAULT_CORRELATIONS, 2048, seed=1)
    found = run(chain, variates)
    year = summary("one_year_kwh", found["one_year_kwh"])
    mean = summary("life_kwh_per_year", found["life_kwh_per_year"])
    assert year.low is not None and year.high is not None
    assert mean.low is not None and mean.high is not None
    return year.low <= kwh[-1] <= year.high, mean.low <= kwh.mean() <= mean.high


def main() -> None:
    """Print the figures for records of a season and of a year."""
    sites = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    for days in (60, 365):
        started = time.perf_counter()
        draw = np.random.default_rng(days)
        with tempfile.TemporaryDirectory() as scratch:
            count = np.sum([held(draw, days, Path(scratch)) for _ in range(sites)], axis=0)
        print(
            f"{days:3d} days of record, {sites} sites: the 90 % interval held a true year in "
            f"{count[0]} and the mean of twenty years in {count[1]} "
            f"({time.perf_counter() - started:.0f} s)"
        )


if __name__ == "__main__":
    main()
