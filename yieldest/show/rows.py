"""The builds side by side, as rows of text."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from yieldest.card import card
from yieldest.estimate import BuildEstimate, Estimate
from yieldest.show.words import NOT_KNOWN, percent, rounded


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
    """

    caption: str
    heads: Sequence[str]
    rows: Sequence[Row]
    words: bool = False


def build_rows(estimate: Estimate) -> list[Row]:
    """Return the lines that compare the builds."""
    money = estimate.currency

    def row(
        label: str, unit: str, cell: Callable[[BuildEstimate], str], *, strong: bool = False
    ) -> Row:
        return Row(label, unit, tuple(cell(build) for build in estimate.builds), strong)

    def of_cost(measure: str, digits: int = 2) -> Callable[[BuildEstimate], str]:
        return lambda build: (
            NOT_KNOWN if build.cost is None else rounded(getattr(build.cost, measure), digits)
        )

    return [
        row("machines", "", lambda b: f"{b.energy.count}"),
        row("hub height", "m", lambda b: f"{b.climate.height_m:g}"),
        row("mean wind at the hub", "m/s", lambda b: f"{b.climate.mean_speed_ms:.1f}"),
        row(
            "net energy",
            "kWh/year",
            lambda b: rounded(b.energy.net_kwh_per_year),
            strong=True,
        ),
        row(
            "each machine",
            "kWh/year",
            lambda b: rounded(b.energy.net_kwh_per_year / b.energy.count),
        ),
        row("capacity factor", "", lambda b: percent(b.energy.capacity_factor)),
        row("hours making power", "h/year", lambda b: rounded(b.energy.hours.running)),
        row("capital cost", money, of_cost("capital_cost", 3)),
        row("own labour", "hours", of_cost("labour_hours")),
        row("cost per kWh", f"{money}/kWh", of_cost("cost_per_kwh"), strong=True),
        row("simple payback", "years", of_cost("simple_payback_years"), strong=True),
        row("discounted payback", "years", of_cost("discounted_payback_years")),
        row("net present value", money, of_cost("net_present_value")),
        row(
            "internal rate of return",
            "per year",
            lambda b: percent(b.cost.internal_rate_of_return if b.cost else None),
        ),
    ]


def labelled(row: Row) -> str:
    """Return the label of a row with its unit."""
    return f"{row.label} ({row.unit})" if row.unit else row.label


def estimate_card(estimate: Estimate) -> str:
    """Return the builds side by side for a notebook, the warnings below."""
    warnings = [
        *estimate.warnings,
        *(f"{build.name}: {text}" for build in estimate.builds for text in build.warnings),
    ]
    return card(
        estimate.title,
        [(labelled(row), *row.cells) for row in build_rows(estimate)],
        warnings,
        [build.name for build in estimate.builds],
    )


def doubt_rows(estimate: Estimate) -> list[Row]:
    """Return the lines that say how far the energy may be off."""
    builds: Sequence[BuildEstimate] = estimate.builds

    def row(label: str, cell: Callable[[BuildEstimate], float | None]) -> Row:
        return Row(label, "kWh/year", tuple(rounded(cell(build)) for build in builds))

    rows = [
        row("net energy in a calm year", lambda b: b.energy.calm_year_kwh),
        row("net energy in a usual year", lambda b: b.energy.net_kwh_per_year),
        row("net energy in a windy year", lambda b: b.energy.windy_year_kwh),
        row("gross energy from the fitted wind", lambda b: b.energy.gross_kwh_per_year),
    ]
    if estimate.record is not None:
        rows.append(
            row("gross energy reading by reading", lambda b: b.energy.record_gross_kwh_per_year)
        )
    return rows
