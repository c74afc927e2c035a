"""Make the report of a plan: the estimate, the grid, the charts, the page and the files."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from yieldest.files.whole_output import refuse_inputs, write_all, write_whole
from yieldest.model.estimate import estimate as compute
from yieldest.model.inputs import input_files, read
from yieldest.model.scenarios import what_if
from yieldest.plan import Plan
from yieldest.report.figures import chart_files, charts_of
from yieldest.report.page import page_of


def write_report(
    plan: Plan,
    page: Path,
    figures: Path | None,
    done: Callable[[str], None],
    changes: Sequence[str] = (),
) -> list[Path]:
    """Write the page of a plan, and its figures when a folder is named.

    Parameters
    ----------
    plan : Plan
    page : Path
        The HTML file; one that is there is replaced.
    figures : Path or None
        A folder for every chart as PNG, SVG, PDF and CSV.
    done : callable
        Is told in a few words what was just done.
    changes : sequence of str
        What `--set` put over the plan, for the page to say.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    InputError
        When a file of the plan cannot be used, or a file cannot be written.
    """
    inputs = input_files(plan)
    refuse_inputs(page, inputs)
    estimate = compute(read(plan))
    done("estimate")
    uncertainty = None
    if plan.uncertainty.draws:
        uncertainty = estimate.uncertainty()
        done("draws")
    grids = []
    for number, build in enumerate(plan.build):
        grids.append(what_if(estimate, number))
        done(f"grid of {build.name}")
    charts = charts_of(estimate, uncertainty, grids)
    html = page_of(plan, estimate, uncertainty, grids, charts, changes, done)
    # Pictures first: a page is not written when they cannot be.
    written = []
    if figures is not None:
        every = [chart for some in charts.values() for chart in some]
        files = chart_files(every, done)
        for name in files:
            refuse_inputs(figures / name, inputs)
        written = write_all(figures, files)
    write_whole(page, html)
    return [page, *written]
