"""What the sliders of the page turn: labels, ready results, and how far off in between."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from yieldest.arrays import NOT_KNOWN, rounded
from yieldest.model.estimate import Estimate
from yieldest.model.quantities import BY_KEY, NEVER, quantities_of
from yieldest.model.scenarios import Axis, BuildGrid, Surface
from yieldest.report.palette import BUILD_STYLES
from yieldest.report.tables import Row, TableView

_PRECISION = 7
"""Significant digits of the results in the page."""

_MOST_DIGITS = 3
"""Between the points of the grid no result is known to more digits."""
_AXES = {
    # key: label of the slider, how a value is said, the same by itself in a table, multiplied by
    "hub_height_m": ("hub height", "{} m", "hub at {} m", 1),
    "count": ("number of machines", "{}", "machines: {}", 1),
    "price_per_kwh": ("worth of a kWh", "{} {currency}", "a kWh worth {} {currency}", 1),
    "discount_rate": ("real discount rate", "{} % a year", "discount rate {} % a year", 100),
    "bill_scale": ("bill", "{} % of the plan's", "bill at {} % of the plan's", 100),
}


def slider_labels(grids: Sequence[BuildGrid]) -> list[dict[str, str]]:
    """Return key and label of every slider that some build needs."""
    needed = {axis.key for grid in grids for axis in grid.axes}
    return [{"key": key, "label": _AXES[key][0]} for key in _AXES if key in needed]


def outcome(currency: str) -> list[dict[str, str]]:
    """Return key and label of every result that the sliders move."""
    return [{"key": each.key, "label": each.named(currency)} for each in quantities_of("sliders")]


def payload(grids: Sequence[BuildGrid], currency: str) -> list[dict[str, Any]]:
    """Return the grids as values for JSON; what cannot be had is None."""
    return [
        {
            "axes": [
                {
                    "key": axis.key,
                    "values": axis.values.tolist(),
                    "stated": axis.stated_index,
                    "said": _AXES[axis.key][1].replace("{currency}", currency),
                    "times": _AXES[axis.key][3],
                    "whole": axis.key == "count",
                }
                for axis in grid.axes
            ],
            "surfaces": [
                {
                    "key": surface.key,
                    "over": list(surface.over),
                    "shape": list(surface.values.shape),
                    "stated": _short(_at(grid, surface, {})),
                    "values": [_short(value) for value in surface.values.ravel()],
                    "digits": min(_MOST_DIGITS, BY_KEY[surface.key].digits),
                    "none": _none(surface),
                }
                for surface in grid.surfaces
            ],
        }
        for grid in grids
    ]


def _none(surface: Surface) -> str:
    """Return what is shown where a result cannot be had."""
    return NEVER if BY_KEY[surface.key].never else NOT_KNOWN


def _short(value: float) -> float | None:
    return float(f"{value:.{_PRECISION}g}") if np.isfinite(value) else None


def _at(grid: BuildGrid, surface: Surface, changed: dict[str, int]) -> float:
    """Return a result with the plan's own values but for what is changed, by grid index."""
    index = {axis.key: axis.stated_index for axis in grid.axes} | changed
    return float(surface.values[tuple(index[key] for key in surface.over)])


def one_at_a_time(estimate: Estimate, grids: Sequence[BuildGrid]) -> list[TableView]:
    """Return a table for each build: each thing at its least and most, the rest as planned."""
    currency = estimate.currency
    tables = []
    for style, grid in zip(BUILD_STYLES, grids, strict=False):
        heads = ["changed", *(BY_KEY[each.key].named(currency) for each in grid.surfaces)]
        rows = [Row("nothing", _results(grid, {}), strong=True)]
        for axis in grid.axes:
            for place in (0, axis.values.size - 1):
                if place != axis.stated_index:
                    rows.append(
                        Row(_change(axis, place, currency), _results(grid, {axis.key: place}))
                    )
        caption = f"{style.letter}  {grid.name}: one thing changed, the rest as planned"
        tables.append(TableView(caption, heads, rows))
    return tables


def _change(axis: Axis, place: int, currency: str) -> str:
    _, _, said, times = _AXES[axis.key]
    return said.format(f"{axis.values[place] * times:.4g}", currency=currency)


def _results(grid: BuildGrid, changed: dict[str, int]) -> tuple[str, ...]:
    values = [(surface, _at(grid, surface, changed)) for surface in grid.surfaces]
    return tuple(
        BY_KEY[surface.key].written(value) if np.isfinite(value) else _none(surface)
        for surface, value in values
    )


def interpolation_note(grids: Sequence[BuildGrid], currency: str) -> str:
    """Return how far the results between grid points are off, as measured."""
    parts = []
    for each in quantities_of("sliders"):
        found = [surface for grid in grids if (surface := grid.surface(each.key)) is not None]
        worst = max((surface.worst_error for surface in found), default=0.0)
        usual = max((surface.usual_error for surface in found), default=0.0)
        if found and worst > 1e-9:
            parts.append(
                f"{each.words} {rounded(usual)} {each.unit_in(currency)} in the median and "
                f"{rounded(worst)} at most"
            )
    return (
        "Results are as computed at the points of a grid, and on straight lines between them. "
        f"Against {grids[0].checked} other points of each build, computed in full, these lines are "
        f"off by: {'; '.join(parts)} (the worse build each)."
    )
