"""How quick the draws are: 100,000 for two builds, against the one-plan estimate in a loop.

In processor seconds on one core, so that what else the machine does at the time does not count.
Run it as `python tests/benchmarks/bench_uncertainty.py [--json FILE]`.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path
from time import process_time

import numpy as np
from harness import Figure, best_of, report

from yieldest.model.estimate import estimate
from yieldest.model.inputs import read
from yieldest.model.uncertain import DEFAULT_CORRELATIONS, lined_up
from yieldest.plan import load_plan
from yieldest.uncertainty.propagation import convergence, draw_variates, run, summary

DEMO_SITE = Path(__file__).parents[2] / "demo-sites" / "hill-yard"
DRAWS = 100_000
LOOPS = 20


def light_plan(folder: Path) -> Path:
    """Copy the demo site with a stated mean speed: the quickest estimate there is to beat."""
    shutil.copytree(DEMO_SITE, folder, dirs_exist_ok=True)
    path = folder / "plan.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('record = "wind.csv.gz"', "mean_speed_ms = 5.3"), encoding="utf-8")
    return path


def figures() -> list[Figure]:
    """Time the draws of two builds, and all that is made of them."""
    plan = load_plan(DEMO_SITE)
    whole = estimate(read(plan))
    inputs, chains = lined_up(whole.inputs, whole.terms, whole.builds)

    def draw() -> None:
        variates = draw_variates(inputs, DEFAULT_CORRELATIONS, DRAWS, seed=1)
        found = [run(chain, variates) for chain in chains]
        convergence(found)
        for figures_of in found:
            for measure, values in figures_of.items():
                summary(measure, values)

    seconds = best_of(draw, 5, process_time)
    with tempfile.TemporaryDirectory() as scratch:
        light = load_plan(light_plan(Path(scratch)))
        loop = (
            best_of(lambda: [estimate(read(light)) for _ in range(LOOPS)], 3, process_time) / LOOPS
        )

    def chain_one_by_one() -> None:
        for _ in range(LOOPS):
            for chain in chains:
                chain.outcome({})

    one = best_of(chain_one_by_one, 5, process_time) / LOOPS
    central = [chain.outcome({})["one_year_kwh"] for chain in chains]
    off = max(
        abs(float(a) / b.energy.net_kwh - 1) for a, b in zip(central, whole.builds, strict=True)
    )
    usual = best_of(lambda: whole.uncertainty(seed=1), 3, process_time)
    return [
        Figure(
            f"{DRAWS:,} draws, two builds",
            seconds,
            "one-plan estimate in a loop",
            loop * DRAWS,
            "time < 0.5 s",
            f"central values {off:.0e} from the estimate's",
        ),
        Figure(
            f"{DRAWS:,} draws, two builds",
            seconds,
            "the bare chain in a loop",
            one * DRAWS,
            "(no target)",
            "without reading any file",
        ),
        Figure(
            f"all of uncertainty at {plan.uncertainty.draws:,} draws",
            usual,
            f"{DRAWS:,} draws, two builds",
            seconds,
            "(no target)",
            "drivers and next steps included",
        ),
    ]


if __name__ == "__main__":
    if hasattr(os, "sched_setaffinity"):  # one core, where the system lets itself be told
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    np.seterr(all="raise", under="ignore")
    report(figures())
