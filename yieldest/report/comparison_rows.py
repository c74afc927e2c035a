"""The builds side by side, as rows of text."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from yieldest.html_repr import html_table
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.report.sentences.words import sentences
from yieldest.report.side_by_side import Line, better, lines_of
from yieldest.report.wording import percent, rounded

_MARK = re.compile(r" \[\d+\]")


def without_marks(text: str) -> str:
    """Take out the marks [1], [2] that on the terminal point to the list of methods."""
    return _MARK.sub("", text)


@dataclass(frozen=True)
class Row:
    """One line of a table: what, in which unit, and a cell per column."""

    label: str
    unit: str
    cells: tuple[str, ...]
    strong: bool = False


@dataclass(frozen=True)
class TableView:
    """A table of the page: a head for every column, that of the labels first.

    Parameters
    ----------
    caption : str
    heads : sequence of str
    rows : sequence of Row
    words : bool
        Whether the cells are words rather than numbers.
    tucked : bool
        Whether it is opened only by who wants it.
    """

    caption: str
    heads: Sequence[str]
    rows: Sequence[Row]
    words: bool = False
    tucked: bool = False


def build_rows(estimate: Estimate) -> list[Row]:
    """Return the lines that compare the builds; the better one of a line is marked in words."""

    def row(label: str, unit: str, cell: Callable[[BuildEstimate], str]) -> Row:
        return Row(label, unit, tuple(cell(build) for build in estimate.builds))

    rows = [
        row("machines", "", lambda b: f"{b.energy.count}"),
        row("hub height", "m", lambda b: f"{b.distribution.height_m:g}"),
        row("mean wind at the hub", "m/s", lambda b: f"{b.distribution.mean_speed_ms:.1f}"),
        row("capacity factor", "", lambda b: percent(b.energy.capacity_factor)),
        row("hours making power", "h/year", lambda b: rounded(b.energy.hours.generating)),
        row(
            "energy of each machine",
            "kWh/year",
            lambda b: rounded(b.energy.net_kwh / b.energy.count),
        ),
    ]
    for line in lines_of(estimate):
        best = better(line, estimate.builds)
        cells = [line.text(build) for build in estimate.builds]
        if best is not None:
            cells[best] = f"better {cells[best]}"
        rows.append(Row(without_marks(line.label).strip(), line.unit, tuple(cells), _is_main(line)))
    return rows


def _is_main(line: Line) -> bool:
    return line.label.startswith(("net energy", "cost per kWh", "simple payback"))


def labelled(row: Row) -> str:
    """Return the label of a row with its unit."""
    return f"{row.label} ({row.unit})" if row.unit else row.label


def estimate_card(estimate: Estimate) -> str:
    """Return the builds side by side for a notebook, the warnings below."""
    warnings = [
        *sentences(estimate.warnings),
        *(text for build in estimate.builds for text in sentences(build.warnings, build.name)),
    ]
    return html_table(
        estimate.title,
        [(labelled(row), *row.cells) for row in build_rows(estimate)],
        warnings,
        [build.name for build in estimate.builds],
    )


def uncertainty_rows(estimate: Estimate) -> list[Row]:
    """Return the lines that say how far the energy may be off."""
    builds: Sequence[BuildEstimate] = estimate.builds

    def row(label: str, cell: Callable[[BuildEstimate], float | None]) -> Row:
        return Row(label, "kWh/year", tuple(rounded(cell(build)) for build in builds))

    rows = [
        row("net energy in a calm year", lambda b: b.energy.inter_annual_low_kwh),
        row("net energy in a usual year", lambda b: b.energy.net_kwh),
        row("net energy in a windy year", lambda b: b.energy.inter_annual_high_kwh),
        row("gross energy from the fitted wind", lambda b: b.energy.fitted_gross_kwh),
    ]
    if any(build.energy.time_series_gross_kwh is not None for build in builds):
        rows.append(
            row(
                "gross energy from the time series",
                lambda b: b.energy.time_series_gross_kwh,
            )
        )
    return rows
