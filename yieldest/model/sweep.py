"""One plan estimated for many values of one key."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from yieldest.files.whole_output import csv_text
from yieldest.model.estimate import BuildEstimate, Estimate, estimate
from yieldest.plan import load_plan
from yieldest.plan.overrides import Override, Sweep

Row = dict[str, str | int | float | None]

MEASURES = (
    "capital_cost",
    "cost_per_kwh",
    "payback_years",
    "discounted_payback_years",
    "net_present_value",
    "internal_rate_of_return",
)


def sweep_plan(
    path: Path,
    overrides: Sequence[Override],
    sweep: Sweep,
    step_done: Callable[[], None] = lambda: None,
) -> list[Row]:
    """Estimate a plan for every value of a sweep.

    Parameters
    ----------
    path : Path
        The plan.
    overrides : sequence of Override
        Put over the plan every time.
    sweep : Sweep
    step_done : callable
        Called after each value.

    Returns
    -------
    list of dict
        A row for each value and build: the swept key, then as `rows_of`.

    Raises
    ------
    InputError
        When the plan cannot take a value, before anything is computed.
    """
    plans = [
        load_plan(path, [*overrides, Override(sweep.key, value, "--sweep")])
        for value in sweep.values
    ]
    rows: list[Row] = []
    for value, plan in zip(sweep.values, plans, strict=True):
        rows += [{sweep.key: value, **row} for row in rows_of(estimate(plan))]
        step_done()
    return rows


def rows_of(result: Estimate) -> list[Row]:
    """Return the main figures of each build: energy, and money in the plan's currency."""
    return [_row(build) for build in result.builds]


def _row(build: BuildEstimate) -> Row:
    row: Row = {
        "build": build.name,
        "count": build.energy.count,
        "net_kwh_per_year": build.energy.net_kwh_per_year,
    }
    for measure in MEASURES:
        row[measure] = None if build.cost is None else getattr(build.cost, measure)
    return row


def as_csv(rows: Sequence[Row]) -> str:
    """Write rows as CSV, a blank for what cannot be had; no cell can act as a formula."""
    return csv_text(list(rows[0]), [list(row.values()) for row in rows])
