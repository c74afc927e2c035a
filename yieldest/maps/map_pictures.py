"""Quick pictures of maps."""

from __future__ import annotations

import io
import re
from pathlib import Path

import matplotlib
import numpy as np
import xarray as xr
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import BoundaryNorm, LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from yieldest.files.whole_output import write_all
from yieldest.units import as_shown, length

RAMP = ("#f6ecd2", "#d9cf9f", "#9fbf9b", "#5f9f9f", "#3b7390", "#2b4a70", "#1e2443")
"""Pale sand to night blue: the lightness falls all the way, so that it is read by any eye and in
grey print."""
STEPS = 7
LONGEST_NAME = 100
"""Characters of the name of a build that go into the name of a file."""
MOST_CELLS = 2000
"""A picture shows no more along either side; of finer maps every so-manieth cell is drawn."""
PICTURED = {
    "net_energy": "Net energy in a year",
    "cost_per_kwh": "Cost per kWh",
    "payback": "Payback, replacements counted",
    "hub_mean_speed": "Mean wind at the hub",
    "mean_speed": "Mean wind",
}
"""The maps worth a picture, and its title."""


def write_pictures(maps: xr.Dataset, folder: Path) -> list[Path]:
    """Write a PNG picture for each map worth one, and for each build or height, into a folder."""
    pictures: dict[str, str | bytes] = {}
    for name, title in PICTURED.items():
        if name not in maps:
            continue
        array = maps[name]
        layer = str(array.dims[0])
        for index in range(array.sizes[layer]):
            values = array.isel({layer: index})
            label = values.coords[layer].item()
            of_height = layer == "height"
            owner = f"{label:g} m" if of_height else str(label)
            if values.ndim != 2 or not np.isfinite(values).any():
                continue
            # Nobody's settings, and a dollar in a name is no formula.
            with matplotlib.rc_context({**matplotlib.rcParamsDefault, "text.parse_math": False}):
                shown = length(label) if of_height else owner
                picture = _picture(values, f"{title}: {shown}")
            pictures[f"{name}-{_plain(owner)}.png"] = picture
    return write_all(folder, pictures)


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9.]+", "-", text.lower()).strip("-.")[:LONGEST_NAME]


def _picture(values: xr.DataArray, title: str) -> bytes:
    values = values.isel(
        {name: slice(None, None, -(-size // MOST_CELLS)) for name, size in values.sizes.items()}
    ).load()
    units = str(values.attrs.get("units", "")).replace("kW h", "kWh")
    times, units = as_shown(1.0, "m/s") if units == "m s-1" else (1.0, units)
    values = values.copy(data=times * values)
    down, across = (str(name) for name in values.dims)
    levels = np.asarray(MaxNLocator(STEPS).tick_values(*_span(values.to_numpy())))
    ramp = LinearSegmentedColormap.from_list("sand to night", RAMP, N=levels.size - 1)
    # What has no value shows the crosses behind it.
    colours = ramp.with_extremes(bad=(1, 1, 1, 0))
    figure = Figure(figsize=(7.0, 5.2), dpi=120, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    axes.set_facecolor("white")
    axes.patch.set(hatch="xx", edgecolor="#d0d0d0")
    drawn = axes.pcolormesh(
        _places(values, across),
        _places(values, down),
        np.ma.masked_invalid(values.to_numpy()),
        cmap=colours,
        norm=BoundaryNorm(levels, colours.N, extend="neither"),
        shading="nearest",
    )
    axes.set_title(title, loc="left", fontsize=11)
    axes.set_xlabel(_axis_label(values, across))
    axes.set_ylabel(_axis_label(values, down))
    bar = figure.colorbar(drawn, ax=axes, spacing="proportional", shrink=0.9)
    bar.set_label(units)
    axes.annotate(
        "crossed out: no value", (1, 0), (0, -34), "axes fraction", "offset points", ha="right",
        va="top", fontsize=7, color="#666666",
    )  # fmt: skip
    stream = io.BytesIO()
    figure.savefig(stream)
    return stream.getvalue()


def _span(values: np.ndarray) -> tuple[float, float]:
    """Return what the colours span: all but the outermost hundredth at each end."""
    low, high = np.nanpercentile(values, [1, 99])
    return (low, high) if high > low else (low - 0.5, high + 0.5)


def _places(values: xr.DataArray, dimension: str) -> np.ndarray:
    if dimension in values.coords:
        return np.asarray(values.coords[dimension].to_numpy())
    return np.arange(values.sizes[dimension])


def _axis_label(values: xr.DataArray, dimension: str) -> str:
    attributes = values.coords[dimension].attrs if dimension in values.coords else {}
    name = attributes.get("long_name") or attributes.get("standard_name") or dimension
    units = str(attributes.get("units", "")).replace("degrees_", "degrees ")
    return f"{name.replace('_', ' ')} ({units})" if units else str(name)
