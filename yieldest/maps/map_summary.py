"""What maps say in a few numbers, for JSON and for people."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from yieldest.arrays import percent, rounded
from yieldest.maps.cell_winds import MOST_MS
from yieldest.provenance import Finding
from yieldest.report.cautions import CAUTIONS
from yieldest.report.sentences.words import say, sentence
from yieldest.report.terminal import print_list, print_text
from yieldest.units import as_shown, in_reader_units, length

MOST_CELLS = 4_000_000
"""Of more cells every so-manieth is looked at."""

_OF_HEIGHT = {
    "mean_speed": "mean_speed_ms",
    "weibull_shape": "weibull_shape",
    "weibull_scale": "weibull_scale_ms",
    "calm_share": "calm_share",
}
_OF_BUILD = {
    "hub_mean_speed": "hub_mean_speed_ms",
    "air_density": "air_density_kg_m3",
    "net_energy": "net_kwh_per_year",
    "capacity_factor": "capacity_factor",
    "cost_per_kwh": "cost_per_kwh",
    "payback": "payback_years",
    "discounted_payback": "discounted_payback_years",
}


class LeftOutOfCells(Finding):
    """Readings (or whole distributions) of some cells cannot be a wind and were left out."""

    values: int
    cells: int
    of_cells: int


say(
    {
        LeftOutOfCells: f"Left out as below 0 or above {MOST_MS:g} m/s, which are marks for a "
        "missing value or wrong: {0.values:,}, in {0.cells:,} of {0.of_cells:,} cells; the map "
        "left_out counts them."
    }
)


def summary_of(maps: xr.Dataset, written: Path, pictures: Sequence[Path]) -> dict[str, Any]:
    """Return the spread over the cells of each map, JSON-ready.

    For each height and build: how many cells have a value, and the value that a tenth, half and
    nine tenths of them do not exceed; None where no cell has one.
    """
    cells = maps["weibull_shape"].isel(height=0)
    warnings = str(maps.attrs["warnings"]).splitlines()
    left_out = maps["left_out"].to_numpy()
    if left_out.any():
        found = LeftOutOfCells(int(left_out.sum()), int((left_out > 0).sum()), left_out.size)
        warnings.append(sentence(found))
    return {
        "written": str(written),
        "pictures": [str(path) for path in pictures],
        "cells": int(cells.size),
        "heights": [
            {"height_m": float(height), **_spreads(maps, _OF_HEIGHT, {"height": index})}
            for index, height in enumerate(maps["height"].to_numpy())
        ],
        "builds": [
            {"name": str(name), **_spreads(maps, _OF_BUILD, {"build": index})}
            for index, name in enumerate(maps["build"].to_numpy() if "build" in maps else ())
        ],
        "currency_per_kwh": maps["cost_per_kwh"].attrs["units"] if "cost_per_kwh" in maps else None,
        "method": str(maps.attrs["method"]).splitlines(),
        "assumed": str(maps.attrs["assumed"]).splitlines(),
        "warnings": warnings,
    }


def _spreads(maps: xr.Dataset, names: dict[str, str], layer: dict[str, int]) -> dict[str, Any]:
    return {key: _spread(maps[name].isel(layer)) for name, key in names.items() if name in maps}


def _spread(layer: xr.DataArray) -> dict[str, float | int | None]:
    stride = -(-layer.size // MOST_CELLS)
    # A single point has no dimension at all.
    thinned = {first: slice(None, None, stride) for first in layer.dims[:1]}
    values = layer.isel(thinned).to_numpy()
    known = values[np.isfinite(values)].astype(np.float64)
    spread: dict[str, float | int | None] = {"cells_seen": values.size, "cells_known": known.size}
    keys = ("tenth", "median", "nine_tenths")
    if known.size == 0:
        return {**spread, **dict.fromkeys(keys)}
    found = (float(value) for value in np.quantile(known, [0.1, 0.5, 0.9]))
    return {**spread, **dict(zip(keys, found, strict=True))}


_Rows = tuple[tuple[str, str, str], ...]
_HEIGHT_ROWS: _Rows = (
    ("mean wind", "mean_speed_ms", "m/s"),
    ("Weibull shape", "weibull_shape", ""),
    ("Weibull scale", "weibull_scale_ms", "m/s"),
)
_BUILD_ROWS: _Rows = (
    ("mean wind at the hub", "hub_mean_speed_ms", "m/s"),
    ("net energy", "net_kwh_per_year", "kWh/year"),
    ("capacity factor", "capacity_factor", ""),
    ("cost per kWh", "cost_per_kwh", "currency"),
    ("payback, replacements counted", "payback_years", "years"),
    ("discounted payback", "discounted_payback_years", "years"),
)


def print_map_summary(summary: dict[str, Any], screen: Console) -> None:
    """Print what to check, the spread over the cells, and how it was computed."""
    screen.print(
        Text(f"wrote {summary['written']}: {summary['cells']:,} cells", style="bold"),
        soft_wrap=True,
    )
    for path in summary["pictures"]:
        screen.print(Text(f"wrote {path}"), soft_wrap=True)
    print_text(
        "Of the cells, a tenth lie below the first value, half below the middle one and a tenth "
        "above the last; how sure a cell is, is not in them. Known: cells that have a value.",
        screen,
    )
    names = [build["name"] for build in summary["builds"]]
    print_list("Check this", _turned(summary["warnings"], names), screen)
    for height in summary["heights"]:
        screen.print()
        screen.print(_table(f"wind at {length(height['height_m'])}", height, _HEIGHT_ROWS))
    for build in summary["builds"]:
        screen.print()
        currency = summary["currency_per_kwh"]
        screen.print(_table(build["name"], build, _BUILD_ROWS, currency))
    for heading, texts in (
        ("How it was computed", summary["method"]),
        ("Assumed, for nobody stated it", summary["assumed"]),
        ("Take care", CAUTIONS),
    ):
        print_list(heading, _turned(texts, names), screen)


def _turned(texts: Iterable[str], names: Iterable[str]) -> list[str]:
    """Return texts in the units of the reader, but the name of a build in front as it is."""
    leads = [next((f"{n}: " for n in names if text.startswith(f"{n}: ")), "") for text in texts]
    return [
        lead + in_reader_units(text.removeprefix(lead))
        for lead, text in zip(leads, texts, strict=True)
    ]


def _table(title: str, spreads: dict[str, Any], rows: _Rows, currency: str | None = None) -> Table:
    """Return a table of those rows (label, key, unit) whose spread is there."""
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    table.add_column(Text(title), min_width=24)
    for heading in ("a tenth", "half", "nine tenths", "known"):
        table.add_column(heading, justify="right", min_width=8)
    table.add_column("unit")
    for label, key, unit in rows:
        if key in spreads:
            spread = spreads[key]
            write = percent if key == "capacity_factor" else rounded
            times, shown = as_shown(1.0, unit)
            values = (spread[share] for share in ("tenth", "median", "nine_tenths"))
            table.add_row(
                label,
                *(write(value if value is None else times * value) for value in values),
                percent(spread["cells_known"] / spread["cells_seen"], 3),
                str(currency) if unit == "currency" else shown,
            )
    return table
