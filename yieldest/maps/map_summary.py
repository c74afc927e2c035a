"""What maps say in a few numbers, for JSON and for people."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from yieldest.arrays import percent, rounded
from yieldest.report.cautions import CAUTIONS
from yieldest.report.terminal import print_list

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


def summary_of(maps: xr.Dataset, written: Path, pictures: Sequence[Path]) -> dict[str, Any]:
    """Return the spread over the cells of each map, JSON-ready.

    For each height and build: how many cells have a value, and the value that a tenth, half and
    nine tenths of them do not exceed; None where no cell has one.
    """
    cells = maps["weibull_shape"].isel(height=0)
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
        "warnings": str(maps.attrs["warnings"]).splitlines(),
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


_ROWS = (
    ("mean wind at the hub", "hub_mean_speed_ms", "m/s"),
    ("net energy", "net_kwh_per_year", "kWh/year"),
    ("capacity factor", "capacity_factor", ""),
    ("cost per kWh", "cost_per_kwh", "currency"),
    ("payback", "payback_years", "years"),
    ("discounted payback", "discounted_payback_years", "years"),
)


def print_map_summary(summary: dict[str, Any], screen: Console) -> None:
    """Print the spread over the cells, and what to know before trusting it."""
    screen.print(
        Text(f"wrote {summary['written']}: {summary['cells']:,} cells", style="bold"),
        soft_wrap=True,
    )
    for path in summary["pictures"]:
        screen.print(Text(f"wrote {path}"), soft_wrap=True)
    screen.print(
        "Below are the values that 10 %, 50 % and 90 % of the cells do not exceed, and the share "
        "of cells where one is known."
    )
    for height in summary["heights"]:
        screen.print()
        screen.print(_of_height(height))
    for build in summary["builds"]:
        screen.print()
        screen.print(_of_build(build, summary["currency_per_kwh"]))
    for heading, texts in (
        ("How it was computed", summary["method"]),
        ("Assumed, for nobody stated it", summary["assumed"]),
        ("Be warned", summary["warnings"]),
        ("Take care", CAUTIONS),
    ):
        print_list(heading, texts, screen)


def _of_height(height: dict[str, Any]) -> Table:
    table = _table(f"wind at {height['height_m']:g} m")
    _add(table, "mean wind", height["mean_speed_ms"], "m/s")
    _add(table, "Weibull shape", height["weibull_shape"], "")
    _add(table, "Weibull scale", height["weibull_scale_ms"], "m/s")
    return table


def _of_build(build: dict[str, Any], currency: str | None) -> Table:
    table = _table(build["name"])
    for label, key, unit in _ROWS:
        if key in build:
            _add(table, label, build[key], str(currency) if unit == "currency" else unit)
    return table


def _table(title: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    table.add_column(Text(title), min_width=24)
    for heading in ("10 %", "50 %", "90 %", "known"):
        table.add_column(heading, justify="right", min_width=8)
    table.add_column("unit")
    return table


def _add(table: Table, label: str, spread: dict[str, Any], unit: str) -> None:
    write = percent if label == "capacity factor" else rounded
    seen, known = spread["cells_seen"], spread["cells_known"]
    table.add_row(
        label,
        *(write(spread[key]) for key in ("tenth", "median", "nine_tenths")),
        percent(known / seen, 3),
        unit,
    )
