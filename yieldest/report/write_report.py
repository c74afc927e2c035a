"""Make the report of a plan: the estimate, the grid, the charts, the page and the files."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import zip_longest
from pathlib import Path

from yieldest.files.whole_output import csv_text, refuse_inputs, write_all, write_whole
from yieldest.model.estimate import Estimate
from yieldest.model.estimate import estimate as compute
from yieldest.model.inputs import input_files, read
from yieldest.model.scenarios import BuildGrid, what_if
from yieldest.plan import Plan
from yieldest.report.chart import Chart, drawn
from yieldest.report.economics_charts import flow_chart, groups_chart, units_chart
from yieldest.report.energy_charts import curve_chart, drivers_chart, ranges_chart, steps_chart
from yieldest.report.page import page_of
from yieldest.report.palette import BUILD_STYLES
from yieldest.report.svg import picture
from yieldest.report.wind_charts import (
    distribution_chart,
    month_hour_chart,
    rose_chart,
    steps_to_hub_chart,
)
from yieldest.uncertainty.result import Uncertainty

FORMATS = ("png", "svg", "pdf")


def charts_of(
    estimate: Estimate, uncertainty: Uncertainty | None, grids: Sequence[BuildGrid]
) -> dict[str, list[Chart]]:
    """Return the charts by the section of the page that they stand in."""
    wind = [distribution_chart(estimate.distribution, estimate.wind.readings)]
    if estimate.resource is not None:
        resource = estimate.resource
        wind += _there(rose_chart(resource.directions), month_hour_chart(resource.record))
    return {
        "uncertainty": [] if uncertainty is None else _uncertainty(uncertainty, estimate.currency),
        "energy": [steps_chart(style, build) for style, build in drawn(estimate.builds)],
        "steps-to-hub": [steps_to_hub_chart(estimate.builds)],
        "wind": wind,
        "curve": [curve_chart(estimate.builds)],
        "economics": _there(
            groups_chart(estimate), flow_chart(estimate), units_chart(estimate, grids)
        ),
    }


def chart_files(charts: Sequence[Chart], done: Callable[[str], None]) -> dict[str, bytes | str]:
    """Return every chart as picture files and as a CSV file of its numbers.

    Parameters
    ----------
    charts : sequence of Chart
    done : callable
        Is told the name of each chart when it is done.
    """
    files: dict[str, bytes | str] = {}
    for chart in charts:
        figure = chart.figure(titled=True)
        for form in FORMATS:
            files[f"{chart.name}.{form}"] = picture(figure, form)
        rows = zip_longest(*chart.numbers.values())
        files[f"{chart.name}.csv"] = csv_text(list(chart.numbers), rows)
        done(chart.name)
    return files


def _uncertainty(uncertainty: Uncertainty, currency: str) -> list[Chart]:
    drivers = (
        drivers_chart(uncertainty, style, build, currency)
        for style, build in zip(BUILD_STYLES, uncertainty.builds, strict=False)
    )
    return [ranges_chart(uncertainty), *_there(*drivers)]


def _there(*charts: Chart | None) -> list[Chart]:
    return [chart for chart in charts if chart is not None]


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
