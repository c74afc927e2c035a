"""Make the report of a plan: the estimate, the scenarios, the charts, the page and the files."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import zip_longest
from pathlib import Path

from yieldest.files.whole_output import (
    csv_text,
    refuse_inputs,
    refuse_place,
    write_all,
    write_whole,
)
from yieldest.model.estimate import Estimate
from yieldest.model.estimate import estimate as compute
from yieldest.model.inputs import input_files, read
from yieldest.model.number_of_machines import CostByNumber
from yieldest.model.scenarios import BuildScenarios, scenarios_of
from yieldest.model.site_wind import SiteWind
from yieldest.plan import Plan
from yieldest.report.chart import Chart, drawn
from yieldest.report.decision import decide
from yieldest.report.economics_charts import flow_chart, groups_chart, parts_chart, units_chart
from yieldest.report.energy_charts import (
    curve_chart,
    day_chart,
    drivers_chart,
    losses_chart,
    months_chart,
)
from yieldest.report.page import page_of
from yieldest.report.palette import BUILD_STYLES
from yieldest.report.svg import picture
from yieldest.report.uncertainty_text import FIGURE_WORDS
from yieldest.report.wind_charts import (
    distribution_chart,
    month_hour_chart,
    rose_chart,
    steps_to_hub_chart,
)
from yieldest.uncertainty.result import Uncertainty
from yieldest.units import shown_in

FORMATS = ("svg", "pdf", "png")


def charts_of(
    estimate: Estimate,
    uncertainty: Uncertainty | None,
    scenarios: Sequence[BuildScenarios],
    by_number: Sequence[CostByNumber],
) -> dict[str, list[Chart]]:
    """Return the charts by the section of the page that they stand in, the first two open."""
    winds = estimate.inputs.winds.items()
    wind = [chart for places, one in winds for chart in _of_wind(one, places, len(winds) > 1)]
    drivers: list[Chart | None] = []
    if uncertainty is not None:
        # Of a single build both its cost and its energy, or half a row would be empty.
        most = 1 + (len(uncertainty.builds) == 1)
        for (style, _), build in zip(drawn(estimate.builds), uncertainty.builds, strict=False):
            for goal in [each for each in FIGURE_WORDS if each in build.drivers][:most]:
                drivers.append(drivers_chart(uncertainty, style, build, goal, estimate.currency))
    energy = _there(months_chart(estimate), day_chart(estimate))
    machine = [curve_chart(estimate.builds), *_there(losses_chart(estimate.builds))]
    if not energy:  # without readings nobody knows when it comes, but from which winds
        energy, machine = machine, []
    return {
        "answer": _there(flow_chart(estimate, scenarios)),
        "energy": energy,
        "wind": [*wind, steps_to_hub_chart(estimate.builds)],
        "machine": machine,
        "money": _there(
            groups_chart(estimate), units_chart(estimate, by_number), parts_chart(estimate)
        ),
        "uncertainty": _there(*drivers),
    }


def _of_wind(wind: SiteWind, places: str, named: bool) -> list[Chart]:
    charts = [distribution_chart(wind)]
    if wind.resource is not None:
        charts += _there(
            month_hour_chart(wind.resource.record), rose_chart(wind.resource.directions)
        )
    if not named:
        return charts
    mark = re.sub(r"\W+", "-", places.lower())
    return [
        replace(each, name=f"{each.name}-{mark}", title=f"{each.title}: {places}")
        for each in charts
    ]


def chart_files(charts: Sequence[Chart], done: Callable[[str], None]) -> dict[str, bytes | str]:
    """Return every chart as picture files and as a CSV file of its numbers; `done` is told each."""
    files: dict[str, bytes | str] = {}
    for chart in charts:
        figure = chart.figure(titled=True)
        for form in FORMATS:
            files[f"{chart.name}.{form}"] = picture(figure, form)
            figure.set_layout_engine("none")  # what has its place once keeps it
        rows = zip_longest(*chart.numbers.values())
        files[f"{chart.name}.csv"] = csv_text(list(chart.numbers), rows)
        done(chart.name)
    return files


def _there(*charts: Chart | None) -> list[Chart]:
    return [chart for chart in charts if chart is not None]


def write_report(
    plan: Plan,
    page: Path,
    figures: Path | None,
    done: Callable[[str], None],
    changes: Sequence[str] = (),
) -> list[Path]:
    """Write the page of a plan and, into a folder if one is named, every chart as files.

    A page that is there is replaced. `done` is told in a few words what was just done; the changes
    are what `--set` put over the plan, for the page to say. Returns the files written. An
    `InputError` when a file of the plan cannot be used, or a file cannot be written.
    """
    inputs = input_files(plan)
    refuse_inputs(page, inputs)
    refuse_place(page)
    estimate = compute(read(plan))
    done("estimate")
    uncertainty = None
    if plan.uncertainty.draws:
        uncertainty = estimate.uncertainty()
        done("draws")
    scenarios = []
    for number, build in enumerate(plan.build[: len(BUILD_STYLES)]):
        scenarios.append(scenarios_of(estimate, number, uncertainty))
        done(f"scenarios of {build.name}")
    with shown_in(plan.units):
        decision = decide(estimate, uncertainty)
        charts = charts_of(estimate, uncertainty, scenarios, decision.by_number)
        html = page_of(plan, estimate, uncertainty, decision, scenarios, charts, changes, done)
        every = [chart for some in charts.values() for chart in some]
        files = {} if figures is None else chart_files(every, done)
    # Pictures first: a page is not written when they cannot be.
    written = []
    if figures is not None:
        for name in files:
            refuse_inputs(figures / name, inputs)
        written = write_all(figures, files)
    write_whole(page, html)
    return [page, *written]
