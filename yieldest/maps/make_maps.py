"""A gridded record and a plan into maps, with their attributes and where they come from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import xarray as xr
from dask.base import compute

from yieldest import __version__
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.maps.build_maps import ReadBuild, build_maps, read_builds
from yieldest.maps.cell_sites import CellSites, cell_sites
from yieldest.maps.cell_winds import (
    MOST_MS,
    CellWinds,
    WindKind,
    coarse_interval_s,
    usual_interval_s,
    wind_kind,
)
from yieldest.maps.grid import Grid, dimension_of, unreadable
from yieldest.plan import Place, Plan
from yieldest.provenance import Finding, Findings, Provenance
from yieldest.report.sentences.words import say, sentences
from yieldest.wind.data_recovery import SPARSE_S, SparseReadings
from yieldest.wind.hidden_spread import stated_spread
from yieldest.wind.quality_control import QualityRules
from yieldest.wind.record_values import rounding_step

CONVENTIONS = "CF-1.11"
HEIGHT_ATTRIBUTES = {"standard_name": "height", "units": "m", "positive": "up", "axis": "Z"}

ATTRIBUTES: dict[str, dict[str, str]] = {
    "weibull_shape": {"long_name": "Weibull shape of the wind speed", "units": "1"},
    "weibull_scale": {"long_name": "Weibull scale of the wind speed", "units": "m s-1"},
    "calm_share": {"long_name": "share of time without any wind", "units": "1"},
    "mean_speed": {"standard_name": "wind_speed", "long_name": "mean wind speed", "units": "m s-1"},
    "readings": {"long_name": "number of readings", "units": "1"},
    "left_out": {
        "long_name": f"left out: readings below 0 or above {MOST_MS:g} m/s, or a distribution that "
        "none can be",
        "units": "1",
    },
    "hub_mean_speed": {
        "standard_name": "wind_speed",
        "long_name": "mean wind speed at the hub",
        "units": "m s-1",
    },
    "hub_weibull_shape": {"long_name": "Weibull shape of the wind speed at the hub", "units": "1"},
    "hub_weibull_scale": {
        "long_name": "Weibull scale of the wind speed at the hub",
        "units": "m s-1",
    },
    "air_density": {
        "standard_name": "air_density",
        "long_name": "mean air density at the hub",
        "units": "kg m-3",
    },
    "net_energy": {"long_name": "net energy in a year of 8760 h, all machines", "units": "kW h"},
    "capacity_factor": {"long_name": "net energy over rated power all year round", "units": "1"},
    "cost_per_kwh": {
        "long_name": "cost per kWh: discounted whole-life cost over discounted energy"
    },
    "payback": {"long_name": "payback, replacements counted; missing where never", "units": "year"},
    "discounted_payback": {"long_name": "discounted payback; missing where never", "units": "year"},
}
"""Attributes of the maps by name, following the CF conventions; a cost has its currency too."""


class CellsAreNoSites(Finding):
    """A cell knows nothing of what stands inside it."""


class TimesUnknown(Finding):
    """The readings have no times, so whether they make up whole years is not known."""


class StepUnknown(Finding):
    """How far apart the readings are is not known, so nothing was put back of what means hide."""


class MonthsMissingOnMap(Finding):
    """The readings cover only some months of the year."""

    months: int


class SpreadPutBackOnMap(Finding):
    """The speeds are means over a day or longer, and the stated spread within was put back."""

    interval_hours: float
    spread: float


class CoarseSteps(Finding):
    """The speeds are rounded to steps that are coarse beside their spread."""

    step_ms: float


say(
    {
        SpreadPutBackOnMap: "The speeds are means over {0.interval_hours:.3g} h, which hide how "
        "the wind rose and fell within; {0.spread:.0%} of the mean (standard deviation; three "
        "airports and six stations elsewhere) was put back in every cell, where it may be a fifth "
        "more or less. Where each is a reading at one time, give the variable the cell methods "
        "“time: point”.",
        CoarseSteps: "The speeds are rounded to steps of {0.step_ms:.2g} m/s, coarse beside their "
        "spread, and no correction is made for it: calms and the mean cube may be off.",
        CellsAreNoSites: "A cell knows nothing of the trees, houses and hills inside it: use the "
        "map to find where to measure, and measure there before building.",
        TimesUnknown: "The time of the readings is not known, so whether they make up whole years "
        "is not.",
        StepUnknown: "How far apart the readings are is not known: if they are means over a day "
        "or longer, they hide how the wind rose and fell within, and the energy is far too small; "
        "give the time units as the CF conventions write them, such as “days since 2000-01-01”.",
        MonthsMissingOnMap: "The readings cover {0.months} of the 12 months of a year; the missing "
        "months may be windier or calmer, and no correction is made for them.",
    }
)


@frozen_dataclass
class Recipe:
    """How a grid becomes maps: all that is the same for every cell; warnings are of the wind."""

    kind: WindKind
    plan: Plan | None
    builds: tuple[ReadBuild, ...]
    warnings: Findings


def recipe_for(grid: Grid, plan: Plan | None, height_m: float | None) -> Recipe:
    """Find the wind in a grid and read the files of a plan, if there is one.

    The height is that of variables that do not say theirs, by default the plan's measured height.
    """
    place = None if plan is None else _only_place(plan)
    if height_m is None and place is not None:
        height_m = place.wind.measured_height_m
    kind = wind_kind(grid, height_m)
    _refuse_unusable(grid, kind)
    sites = None if place is None else cell_sites(grid, place.site)
    builds = () if plan is None or sites is None else tuple(read_builds(plan, sites))
    return Recipe(kind, plan, builds, (*_of_time(grid, kind), *_of_rounding(grid, kind)))


def _refuse_unusable(grid: Grid, kind: WindKind) -> None:
    """Refuse winds that are no numbers, hold nothing, lie nowhere, or lie along what maps have."""
    for name in kind.variables:
        variable = grid.data[name]
        empty = [str(each) for each, size in variable.sizes.items() if size == 0]
        if empty:
            raise InputError(
                f"{grid.name}: the dimension {empty[0]!r} of {name!r} has no values; check how the "
                "grid was cut."
            )
        if variable.dtype.kind not in "fiu":
            raise InputError(
                f"{grid.name}: {name!r} holds {variable.dtype}, and no numbers; say which variable "
                "is the wind with --variable ROLE=NAME."
            )
        for dimension in variable.dims:
            if dimension in variable.coords:
                _refuse_unplaced(grid, variable.coords[dimension])
        here = {str(each) for each in (*variable.coords, *variable.dims)}
        taken = here & {"build", "sum", *ATTRIBUTES}
        if taken:
            raise InputError(
                f"{grid.name}: {name!r} has a dimension or coordinate called {min(taken)!r}, as "
                "maps do; give it another name."
            )


def _refuse_unplaced(grid: Grid, coordinate: xr.DataArray) -> None:
    """Refuse a coordinate of places, heights or times that are none."""
    values = coordinate.to_numpy()
    if values.dtype.kind in "fmM" and not (known := np.isfinite(values)).all():
        first = int(np.argmin(known))
        raise InputError(
            f"{grid.name}: value {first + 1} of the coordinate {coordinate.name!r} is "
            f"{values[first]}, and so says nothing; put in the right one, or cut that part out of "
            "the grid."
        )


def _only_place(plan: Plan) -> Place:
    """Return the place whose terrain holds for every cell, or refuse a plan of several."""
    if len(plan.places) > 1:
        names = ", ".join(repr(place.name) for place in plan.places)
        raise InputError(
            f"{plan.path}: a map takes terrain and air for all its cells from one place, and the "
            f"plan has {names}; make a copy of it that keeps one [[site]] and its builds."
        )
    return plan.places[0]


def cell_dimensions(grid: Grid, recipe: Recipe) -> list[str]:
    """Return the dimensions of the wind that are neither time, height nor speed classes."""
    wind = grid.data[recipe.kind.variables[0]]
    others = (
        dimension_of(wind, "time"),
        dimension_of(wind, "height"),
        dimension_of(wind, "wind_speed"),
    )
    return [str(name) for name in wind.dims if name not in others]


def maps_of(grid: Grid, recipe: Recipe) -> xr.Dataset:
    """Return the maps of a grid, lazy where the grid is, as float32 with attributes.

    The distributions are by height and the rest by build, beside the dimensions of the cells.
    Missing cells are NaN.
    """
    maps, provenances = _maps_of_winds(grid, recipe, *_winds_and_sites(grid, recipe))
    return _described(maps, grid, recipe, provenances)


def computed_maps(grid: Grid, recipe: Recipe) -> xr.Dataset:
    """Return the maps of a grid, computed, as float32 with attributes."""
    maps, provenances = _computed(grid, recipe)
    return _described(maps, grid, recipe, provenances)


def computed_values(grid: Grid, recipe: Recipe) -> xr.Dataset:
    """Return the maps of a grid, computed, without attributes: to word them loads many modules."""
    return _computed(grid, recipe)[0]


def outline_of(grid: Grid, recipe: Recipe) -> xr.Dataset:
    """Return the maps of a grid but for their values, which are left blank.

    They are laid out as those of a single cell, without wind, of which nothing need be read.
    """
    cells = cell_dimensions(grid, recipe)
    corner = grid.data.isel({name: slice(0, 1) for name in cells})
    still = {
        name: np.broadcast_to(np.zeros((), array.dtype), array.shape)
        for name, array in corner.data_vars.items()
    }
    maps = maps_of(replace(grid, data=corner.copy(data=still)), recipe)
    along = {name: array.dims for name, array in maps.data_vars.items()}
    blank = np.full((), np.nan, np.float32)
    shapes = {
        name: [grid.data.sizes[each] if each in cells else maps.sizes[each] for each in dims]
        for name, dims in along.items()
    }
    return xr.Dataset(
        {
            name: (along[name], np.broadcast_to(blank, shape), maps[name].attrs)
            for name, shape in shapes.items()
        },
        {
            name: array if set(array.dims).isdisjoint(cells) else grid.data.coords[name]
            for name, array in maps.coords.items()
        },
        {**maps.attrs, "comment": _read_as(grid, recipe)},
    )


def _winds_and_sites(grid: Grid, recipe: Recipe) -> tuple[list[CellWinds], CellSites | None]:
    """Return what is to be read from a grid for its maps, lazy where the grid is."""
    plan = recipe.plan
    sites = None if plan is None else cell_sites(grid, _only_place(plan).site)
    return recipe.kind.distributions(grid), sites


def _computed(grid: Grid, recipe: Recipe) -> tuple[xr.Dataset, list[Provenance]]:
    """Return the maps of a grid, computed, and the provenances of the wind and of each build.

    dask reads the grid and fits the winds. For the many steps from there, each of next to no work,
    it would take longer than they do.
    """
    winds, sites = compute(*_winds_and_sites(grid, recipe))
    maps, provenances = _maps_of_winds(grid, recipe, winds, sites)
    return maps.compute(), provenances


def _maps_of_winds(
    grid: Grid, recipe: Recipe, distributions: list[CellWinds], sites: CellSites | None
) -> tuple[xr.Dataset, list[Provenance]]:
    maps = _distribution_maps(distributions)
    provenances = [
        Provenance(f"{grid.name}: {recipe.kind.source}", recipe.kind.method, (), recipe.warnings)
    ]
    if sites is not None:
        each = [build_maps(read, distributions, sites) for read in recipe.builds]
        names = [read.build.name for read in recipe.builds]
        index = xr.DataArray(names, dims="build", attrs={"long_name": "build"}, name="build")
        blank = each[0][0]["net_energy"]
        for name in ATTRIBUTES:
            if any(name in maps_of_build for maps_of_build, _ in each):
                layers = [
                    maps_of_build.get(name, xr.full_like(blank, np.nan))
                    for maps_of_build, _ in each
                ]
                maps[name] = xr.concat(layers, dim=index, coords="minimal", compat="override")
        provenances += [provenance for _, provenance in each]
    return xr.Dataset({name: array.astype(np.float32) for name, array in maps.items()}), provenances


def _described(
    maps: xr.Dataset, grid: Grid, recipe: Recipe, provenances: list[Provenance]
) -> xr.Dataset:
    """Give maps their attributes."""
    projection = _projection(grid.data[recipe.kind.variables[0]])
    for key, array in maps.data_vars.items():
        array.attrs = {**ATTRIBUTES[str(key)], **projection}
        if key == "cost_per_kwh" and recipe.plan is not None:
            array.attrs["units"] = f"{recipe.plan.currency}/kWh"
    maps.attrs = _global_attributes(recipe, provenances) | {"comment": _read_as(grid, recipe)}
    return maps


def _read_as(grid: Grid, recipe: Recipe) -> str:
    """Say which variables were taken for the wind, and how many times and cells they have."""
    variable = grid.data[recipe.kind.variables[0]]
    unit, time = variable.attrs.get("units"), dimension_of(variable, "time")
    text = recipe.kind.source + (f" in {unit}" if unit else "")
    if time is not None:
        text += f", {variable.sizes[time]:,} times"
        if time in variable.coords and np.issubdtype(variable[time].dtype, np.datetime64):
            ends = variable[time][[0, -1]].to_numpy().astype("datetime64[m]")
            text += f" from {' to '.join(str(end).replace('T', ' ') for end in ends)}"
    sizes = [variable.sizes[name] for name in cell_dimensions(grid, recipe)]
    return f"{text[0].upper()}{text[1:]}; {int(np.prod(sizes)):,} cells."


def _projection(wind: xr.DataArray) -> dict[str, str]:
    """Return the attribute that names the map projection (CF 5.6) of a variable, if it has one."""
    name = wind.attrs.get("grid_mapping") or wind.encoding.get("grid_mapping")
    return {} if name is None else {"grid_mapping": str(name)}


def _distribution_maps(distributions: list[CellWinds]) -> dict[str, xr.DataArray]:
    heights = xr.DataArray(
        [distribution.height_m for distribution in distributions],
        dims="height",
        attrs=HEIGHT_ATTRIBUTES,
        name="height",
    )

    def stacked(layers: list[xr.DataArray]) -> xr.DataArray:
        bare = [layer.drop_vars("height", errors="ignore") for layer in layers]
        return xr.concat(bare, dim=heights, coords="minimal", compat="override")

    fields = {
        "weibull_shape": "shape",
        "weibull_scale": "scale_ms",
        "calm_share": "calm_share",
        "mean_speed": "mean_speed_ms",
        "left_out": "left_out",
    }
    maps = {
        name: stacked([getattr(distribution, field) for distribution in distributions])
        for name, field in fields.items()
    }
    readings = [
        distribution.readings for distribution in distributions if distribution.readings is not None
    ]
    if readings:
        maps["readings"] = stacked(readings)
    return maps


def _global_attributes(recipe: Recipe, provenances: list[Provenance]) -> dict[str, str]:
    wind = provenances[0]
    builds = list(zip(recipe.builds, provenances[1:], strict=True))
    methods = [
        f"wind: {wind.method}",
        *(f"{read.build.name}: {provenance.method}" for read, provenance in builds),
    ]
    if any(read.expenditure is not None for read, _ in builds):
        methods.append(
            "cost per kWh: discounted whole-life cost over discounted energy (Short, Packey & Holt "
            "1995); payback: until the balance stays above zero, replacements included"
        )

    def lines(found: Iterable[str]) -> str:
        return "\n".join(dict.fromkeys(found))

    of_builds = [(read.build.name, provenance) for read, provenance in builds]
    of_cells: Findings = (CellsAreNoSites(),) if builds else ()
    return {
        "Conventions": CONVENTIONS,
        "title": "Wind distribution" if recipe.plan is None else recipe.plan.title,
        "source": wind.source,
        "institution": f"made with yieldest {__version__}",
        "method": "\n".join(methods),
        "assumed": lines(text for name, p in of_builds for text in sentences(p.assumed, name)),
        "warnings": lines(
            [
                *sentences((*wind.warnings, *of_cells)),
                *(text for name, p in of_builds for text in sentences(p.warnings, name)),
            ]
        ),
    }


def _of_rounding(grid: Grid, kind: WindKind) -> Findings:
    """Warn of speeds in coarse steps, told from a sample, as quality control does of a record."""
    speed = grid.data[kind.variables[0]]
    if len(kind.variables) > 1 or dimension_of(speed, "time") is None:
        return ()
    sample = grid.in_si(
        speed.isel(
            {
                name: slice(None, 200 if name == dimension_of(speed, "time") else 3)
                for name in speed.dims
            }
        ),
        "speed",
    )
    try:
        values = sample.to_numpy().astype(np.float64)
    except (OSError, RuntimeError) as error:
        raise unreadable(grid.name) from error
    values = values[(values >= 0) & (values <= MOST_MS)]
    step = rounding_step(np.unique(values.round(6)), "m/s")
    if step is None or values.size == 0 or step[0] <= QualityRules().rounding_share * values.std():
        return ()
    return (CoarseSteps(step[0]),)


def _of_time(grid: Grid, kind: WindKind) -> Findings:
    """Warn of a record that is not a whole year."""
    variable = grid.data[kind.variables[0]]
    dimension = dimension_of(variable, "time")
    if dimension is None:
        return ()
    times = variable.coords.get(dimension)
    found: list[Finding] = []
    if times is None or not np.issubdtype(times.dtype, np.datetime64):
        found.append(TimesUnknown())
    else:
        months = np.unique(times.to_index().month).size
        if months < 12:
            found.append(MonthsMissingOnMap(int(months)))
    usual_s, coarse_s = usual_interval_s(variable), coarse_interval_s(variable)
    if coarse_s is not None:
        found.append(SpreadPutBackOnMap(coarse_s / 3600, stated_spread(coarse_s)[0]))
    elif usual_s is None and variable.sizes[dimension] > 1:
        found.append(StepUnknown())
    elif usual_s is not None and usual_s >= SPARSE_S:
        found.append(SparseReadings(usual_s / 3600))
    return tuple(found)
