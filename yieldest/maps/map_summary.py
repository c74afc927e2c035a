"""What maps say in a few numbers, for JSON and for people."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from rich.console import Console
from rich.text import Text

from yieldest.arrays import NOT_KNOWN, FloatArray, number_or_none, percent, rounded
from yieldest.maps.cell_winds import MOST_MS
from yieldest.maps.make_maps import CellsAreNoSites
from yieldest.model.quantities import BY_KEY
from yieldest.provenance import Finding
from yieldest.report.cautions import CAUTIONS, IN_SHORT
from yieldest.report.sentences.words import say, sentence
from yieldest.report.tables import Row, TableView, first_checks
from yieldest.report.terminal import print_answers, print_list, print_table, print_text
from yieldest.units import as_shown, in_reader_units, length, speed

MOST_CELLS = 4_000_000
"""Of more cells every so-manieth is looked at."""
_SHARES = ("tenth", "median", "nine_tenths")
_BEST_BY = ("mean_speed", "net_energy")

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
    nine tenths of them do not exceed, and the cell with most wind or energy; None where no cell has
    a value, and for paybacks where that many are never paid back.
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
        "read_as": str(maps.attrs["comment"]),
        "heights": [
            {
                "height_m": float(height),
                **_spreads(maps, _OF_HEIGHT, {"height": index}),
            }
            for index, height in enumerate(maps["height"].to_numpy())
        ],
        "builds": [
            {
                "name": str(name),
                **_spreads(maps, _OF_BUILD, {"build": index}),
            }
            for index, name in enumerate(maps["build"].to_numpy() if "build" in maps else ())
        ],
        "currency_per_kwh": maps["cost_per_kwh"].attrs["units"] if "cost_per_kwh" in maps else None,
        "method": str(maps.attrs["method"]).splitlines(),
        "assumed": str(maps.attrs["assumed"]).splitlines(),
        "warnings": warnings,
    }


def _spreads(maps: xr.Dataset, names: dict[str, str], at: dict[str, int]) -> dict[str, Any]:
    """Return the spread of each map of a height or build, and the cell with most wind or energy."""
    found: dict[str, Any] = {}
    for name, key in names.items():
        if name in maps:
            layer = _thinned(maps[name].isel(at)).load()
            windy = None
            if key in BY_KEY and BY_KEY[key].never:
                windy = found["net_kwh_per_year"]["cells_known"]
            found[key] = _spread(layer.to_numpy(), windy)
            if name in _BEST_BY:
                found["best_cell"] = _best_cell(layer)
    return found


def _thinned(layer: xr.DataArray) -> xr.DataArray:
    stride = -(-layer.size // MOST_CELLS)
    # A single point has no dimension at all.
    return layer.isel({first: slice(None, None, stride) for first in layer.dims[:1]})


def _spread(values: FloatArray, windy: int | None) -> dict[str, float | int | None]:
    """Return the spread of a layer; of so many `windy` cells those without a value have never."""
    known = values[np.isfinite(values)].astype(np.float64)
    spread: dict[str, float | int | None] = {"cells_seen": values.size, "cells_known": known.size}
    if known.size == 0:
        return {**spread, **dict.fromkeys(_SHARES)}
    never = 0 if windy is None else windy - known.size
    found = np.quantile(
        np.append(known, np.full(never, np.inf)),
        [0.1, 0.5, 0.9],
        # Nothing lies between a year and never.
        method="linear" if windy is None else "inverted_cdf",
    )
    return {**spread, **dict(zip(_SHARES, map(number_or_none, found), strict=True))}


def _best_cell(layer: xr.DataArray) -> dict[str, Any] | None:
    """Return the coordinates of the cell with the highest value, as far as it has any."""
    if not layer.notnull().any():
        return None
    best = layer.isel(layer.argmax(...))
    return {str(name): best[name].item() for name in layer.dims if name in layer.coords}


_HEIGHT_WORDS = {
    "mean_speed_ms": ("mean wind", "m/s"),
    "weibull_shape": ("Weibull shape", ""),
    "weibull_scale_ms": ("Weibull scale", "m/s"),
}
"""What each spread at a height is called, and its unit; those of builds are quantities."""
_NOT_SHOWN = "air_density_kg_m3"


def print_map_summary(summary: dict[str, Any], screen: Console, *, full: bool = False) -> None:
    """Print what the maps say on one screen; with `full`, how it was computed and all the rest."""
    names = [build["name"] for build in summary["builds"]]
    warnings, no_sites = _turned(summary["warnings"], names), sentence(CellsAreNoSites())
    for path in (summary["written"], *summary["pictures"]):
        screen.print(Text(f"wrote {path}", style="bold"), soft_wrap=True)
    heights = {f"wind at {length(each['height_m'])}": each for each in summary["heights"]}
    builds = {build["name"]: build for build in summary["builds"]}
    answers = [
        ("Read as", in_reader_units(summary["read_as"])),
        *(("How windy?", _how_windy(name, each)) for name, each in heights.items()),
        *(("What pays?", _what_pays(name, each)) for name, each in builds.items()),
        ("How sure?", f"A map does not say: it holds middle figures only. {no_sites}"),
    ]
    if not full:
        answers += first_checks([text for text in warnings if text != no_sites])
        if summary["assumed"]:
            answers.append(("On trust", f"{len(summary['assumed'])} assumptions, all in --full."))
        answers += [("Danger", f"{IN_SHORT}.")] * bool(builds)
    print_answers([each for each in answers if each[1]], screen)
    if full or not builds:
        print_table(_table(heights, _rows_of_heights()), screen)
    if builds:
        print_table(_table(builds, _rows_of_builds(summary["currency_per_kwh"])), screen)
    if not full:
        print_text("Methods, assumptions, all warnings, cautions: --full.", screen)
        return
    for heading, texts in (
        ("Check this", warnings),
        ("How it was computed", _turned(summary["method"], names)),
        ("Assumed, for nobody stated it", _turned(summary["assumed"], names)),
        ("Take care", CAUTIONS),
    ):
        print_list(heading, texts, screen)


def _how_windy(name: str, spreads: dict[str, Any]) -> str:
    """Say in a sentence how windy the cells are at a height, and where most."""
    spread = spreads["mean_speed_ms"]
    if spread["median"] is None:
        return f"No cell has a {name}."
    low, middle, high = (speed(spread[share], ".2f") for share in _SHARES)
    blank = spread["cells_seen"] - spread["cells_known"]
    without = f" {percent(blank / spread['cells_seen'])} of the cells have none." if blank else ""
    return (
        f"Half of the cells have a mean {name} above {middle}, a tenth below {low}, a tenth above "
        f"{high}. {_best('Most wind', spreads)}{without}"
    )


def _what_pays(name: str, spreads: dict[str, Any]) -> str:
    """Say in a sentence where a build makes most, and in how many cells it is paid back."""
    windy = spreads["net_kwh_per_year"]["cells_known"]
    if not windy:
        return f"“{name}” makes no energy in any cell."
    said = []
    if "payback_years" in spreads:
        share = percent(spreads["payback_years"]["cells_known"] / windy)
        said.append(f"is paid back within its life in {share} of the cells with wind.")
    # A single cell has no place on the map.
    if best := _best("makes most energy", spreads):
        said.append(best)
    return f"“{name}” {' It '.join(said)}" if said else ""


def _best(what: str, spreads: dict[str, Any]) -> str:
    """Say where a value is highest."""
    place = spreads["best_cell"]
    if place is None:
        return ""
    where = ", ".join(
        f"{name} {value:.6g}" if isinstance(value, float) else f"{name} {value}"
        for name, value in place.items()
    )
    return f"{what} at {where}." if where else ""


def _turned(texts: Iterable[str], names: Iterable[str]) -> list[str]:
    """Return texts in the units of the reader, but the name of a build in front as it is."""
    leads = [next((f"{n}: " for n in names if text.startswith(f"{n}: ")), "") for text in texts]
    return [
        lead + in_reader_units(text.removeprefix(lead))
        for lead, text in zip(leads, texts, strict=True)
    ]


_Rows = dict[str, tuple[str, str, str]]
"""Label, unit, and what stands for a lacking value, by key."""


def _rows_of_heights() -> _Rows:
    return {
        key: (f"{words} ({as_shown(0.0, unit)[1]})" if unit else words, unit, NOT_KNOWN)
        for key, (words, unit) in _HEIGHT_WORDS.items()
    }


def _rows_of_builds(currency_per_kwh: str | None) -> _Rows:
    currency = (currency_per_kwh or "").removesuffix("/kWh")
    shown = (BY_KEY[key] for key in _OF_BUILD.values() if key != _NOT_SHOWN)
    return {
        each.key: (each.named(currency), each.unit, each.lacking or NOT_KNOWN) for each in shown
    }


def _table(columns: dict[str, dict[str, Any]], rows: _Rows) -> TableView:
    """Return the spreads of heights or builds side by side."""
    shown = []
    for key, (label, unit, lacking) in rows.items():
        spreads = [each.get(key) for each in columns.values()]
        if any(spreads):
            shown.append(Row(label, tuple(_cell(each, unit, lacking) for each in spreads)))
    return TableView("", ["middle cell (80 % of the cells within)", *columns], shown)


def _cell(spread: dict[str, Any] | None, unit: str, lacking: str) -> str:
    """Write the median over the cells, and in brackets what a tenth and nine tenths lie below."""
    if spread is None or spread["cells_known"] == 0:
        return lacking
    write = percent if unit == "share" else rounded
    times = as_shown(1.0, unit)[0]
    low, middle, high = (
        lacking if spread[share] is None else write(times * spread[share], 3) for share in _SHARES
    )
    return f"{middle} ({low} to {high})"
