"""The map command: files in, files out, whole or not at all; a stopped run; a killed worker."""

import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from concurrent.futures import ProcessPoolExecutor
from importlib.util import find_spec
from pathlib import Path

import dask.array
import numpy as np
import pandas as pd
import pytest
import xarray as xr
import zarr
from distributed import Client, LocalCluster

from yieldest.errors import InputError
from yieldest.maps import workers as grid_run
from yieldest.maps.blocks import part_of, regions_of
from yieldest.maps.grid import Grid, open_grid
from yieldest.maps.make_maps import maps_of, recipe_for
from yieldest.maps.map_pictures import RAMP
from yieldest.maps.workers import compute, workers
from yieldest.maps.write_maps import write_maps
from yieldest.plan import load_plan
from yieldest.report import terminal

HILL = Path(__file__).parents[1] / "demo-sites" / "hill-yard"
HOURS, CELLS = 2000, (6, 8)


def winds():
    """Invented hourly winds at 10 m; one cell without any."""
    rng = np.random.default_rng(11)
    speed = (6 * rng.weibull(2, (HOURS, *CELLS))).astype(np.float32)
    speed[:, 2, 3] = np.nan
    return xr.Dataset(
        {
            "wind": (
                ("time", "lat", "lon"),
                speed,
                {"standard_name": "wind_speed", "units": "m s-1"},
            )
        },
        coords={
            "time": pd.date_range("2023-01-01", periods=HOURS, freq="h"),
            "lat": ("lat", np.arange(50, 51.5, 0.25), {"standard_name": "latitude"}),
            "lon": ("lon", np.arange(8, 10, 0.25), {"standard_name": "longitude"}),
            "height": ((), 10.0, {"standard_name": "height", "units": "m"}),
        },
    )


@pytest.fixture(scope="module")
def stored(tmp_path_factory):
    """The same winds as one NetCDF file, as two, and as a Zarr store."""
    folder = tmp_path_factory.mktemp("winds")
    data = winds()
    piece = {"wind": {"chunksizes": (500, 3, 4), "zlib": True}}
    data.to_netcdf(folder / "winds.nc", engine="h5netcdf", encoding=piece)
    for number, part in enumerate((slice(0, 800), slice(800, HOURS))):
        data.isel(time=part).to_netcdf(folder / f"part{number}.nc", engine="h5netcdf")
    data.chunk({"time": 500, "lat": 3, "lon": 4}).to_zarr(folder / "winds.zarr", zarr_format=2)
    return folder


@pytest.fixture(scope="module")
def expected():
    grid = Grid("winds", winds())
    recipe = recipe_for(grid, load_plan(HILL), None)
    return maps_of(grid, recipe).compute()


def read(path):
    engine = "zarr" if path.suffix == ".zarr" else "h5netcdf"
    with xr.open_dataset(path, engine=engine) as data:
        return data.load()


@pytest.mark.parametrize("output", ["maps.nc", "maps.zarr"])
@pytest.mark.parametrize("source", ["winds.nc", "winds.zarr", "part*.nc"])
def test_every_store_holds_the_same_maps(run, stored, tmp_path, expected, source, output):
    sources = sorted(stored.glob(source))
    done = run("map", *sources, "--plan", HILL, "-o", tmp_path / output)
    assert done.code == 0, done.err
    assert done.err == ""
    # Only the names of files may be longer than the screen is wide.
    assert all(len(line) <= 100 or str(tmp_path) in line for line in done.out.splitlines())
    maps = read(tmp_path / output)
    assert set(maps.data_vars) == set(expected.data_vars)
    for name, array in expected.data_vars.items():
        found = maps[name].transpose(*array.dims)
        np.testing.assert_allclose(found, array, rtol=2e-6, err_msg=name)
        assert found.attrs["units"] == array.attrs["units"]
        for coordinate in ("lat", "lon"):
            assert found[coordinate].attrs["standard_name"].endswith("tude")
    assert list(maps["build"].to_numpy()) == ["one of 2.4 m", "eight of 0.9 m"]
    assert sources[0].name in maps.attrs["source"]
    assert "yieldest map" in maps.attrs["history"]
    assert [path.name for path in tmp_path.iterdir()] == [output]


@pytest.mark.filterwarnings("ignore:Consolidated metadata:UserWarning")
@pytest.mark.parametrize("zarr_format", [2, 3])
def test_a_zarr_store_gives_its_coordinates_to_another(run, tmp_path, zarr_format):
    if zarr_format == 3 and zarr.__version__.startswith("2."):
        pytest.skip("this release of zarr writes no format 3")
    grid = winds().isel(time=slice(0, 300))
    grid["lat"].encoding = {"dtype": "int16", "scale_factor": 0.25, "_FillValue": -1}
    grid = grid.assign_coords(
        station=("lat", np.array(["Aa", "Bb", "Cc", "", "Invented Hill", "Zz"], dtype=object)),
        issued=((), np.datetime64("2022-12-31T18:00", "ns")),
    )
    grid["issued"].encoding = {"units": "minutes since 2000-01-01", "dtype": "int64"}
    grid.to_zarr(tmp_path / "winds.zarr", zarr_format=zarr_format)
    done = run("map", tmp_path / "winds.zarr", "-o", tmp_path / "maps.zarr")
    assert done.code == 0, done.err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["maps.zarr", "winds.zarr"]
    assert (tmp_path / "maps.zarr" / "lat" / ".zarray").exists()  # format 2, from either
    maps = read(tmp_path / "maps.zarr")
    for name in ("lat", "lon", "station", "issued"):
        np.testing.assert_array_equal(maps[name], grid[name], err_msg=name)
        assert maps[name].attrs == grid[name].attrs
    assert maps["lat"].encoding["scale_factor"] == 0.25
    assert maps["issued"].encoding["units"].startswith("minutes since 2000-01-01")


def test_the_screen_says_how_read_how_windy_what_pays_and_how_sure(run, stored, tmp_path, expected):
    asked = "map", stored / "winds.nc", "--plan", HILL, "-o", tmp_path / "maps.nc"
    first, full = run(*asked).out, run(*asked, "--full").out
    places = [first.index(f"\n{each}") for each in ("Read as", "How windy?", "What pays?",
              "How sure?", "Check", "Danger", "middle cell")]  # fmt: skip
    assert places == sorted(places)
    assert len(first.splitlines()) <= 40
    assert "“wind” in m s-1, 2,000 times from 2023-01-01 00:00" in " ".join(first.split())
    # The one cell without wind, and the cell where the first build makes most.
    energy = expected["net_energy"].isel(build=0)
    best = energy.isel(energy.argmax(...))
    assert f"most energy at lat {best.lat:g}, lon {best.lon:g}." in " ".join(first.split())
    assert "2.1 % of the cells have none" in " ".join(first.split())
    assert "Own labour costs nothing" in full
    assert "Own labour costs nothing" not in first
    assert run(*asked, "--json").json["builds"][0]["best_cell"] == {
        "lat": float(best.lat),
        "lon": float(best.lon),
    }


def test_a_single_point_is_a_map_of_one_cell(run, tmp_path):
    winds().isel(lat=1, lon=1).to_netcdf(tmp_path / "point.nc", engine="h5netcdf")
    told = run("map", tmp_path / "point.nc", "-o", tmp_path / "m.nc", "--height", 10, "--json").json
    shape = told["heights"][0]["weibull_shape"]
    assert (shape["cells_seen"], shape["cells_known"]) == (1, 1)
    assert shape["median"] == pytest.approx(float(read(tmp_path / "m.nc")["weibull_shape"][0]))


def test_the_screen_of_a_single_point_names_no_place(run, tmp_path):
    winds().isel(lat=1, lon=1).to_netcdf(tmp_path / "point.nc", engine="h5netcdf")
    asked = "map", tmp_path / "point.nc", "--plan", HILL, "-o", tmp_path / "m.nc"
    shown = " ".join(run(*asked).out.split())
    assert "“one of 2.4 m” is paid back within its life in 100 % of the cells with wind. " in shown
    assert "wind. It" not in shown
    assert "no energy" not in shown


@pytest.mark.parametrize("output", ["maps.nc", "maps.zarr"])
def test_a_projected_grid_keeps_its_projection_and_latitudes(run, tmp_path, output):
    plane = winds().isel(time=slice(0, 300)).drop_vars(["lat", "lon"])
    plane = plane.rename(lat="y", lon="x").assign_coords(
        y=("y", 1000.0 * np.arange(6), {"standard_name": "projection_y_coordinate", "units": "m"}),
        x=("x", 1000.0 * np.arange(8), {"standard_name": "projection_x_coordinate", "units": "m"}),
        latitude=(("y", "x"), 50 + np.zeros(CELLS), {"standard_name": "latitude"}),
        crs=((), 0, {"grid_mapping_name": "lambert_azimuthal_equal_area"}),
    )
    plane["wind"].attrs["grid_mapping"] = "crs"
    plane.to_netcdf(tmp_path / "plane.nc", engine="h5netcdf")
    assert run("map", tmp_path / "plane.nc", "-o", tmp_path / output).code == 0
    maps = read(tmp_path / output)
    assert maps["mean_speed"].dims == ("height", "y", "x")
    assert maps["crs"].attrs["grid_mapping_name"] == "lambert_azimuthal_equal_area"
    shape = maps["weibull_shape"]
    assert "crs" in (shape.attrs.get("grid_mapping"), shape.encoding.get("grid_mapping"))
    np.testing.assert_array_equal(shape.coords["latitude"], plane["latitude"])


def test_json_tells_the_spread_with_stable_keys(run, stored, tmp_path, expected):
    done = run("map", stored / "winds.nc", "--plan", HILL, "-o", tmp_path / "m.nc", "--json")
    result = done.json
    assert result["cells"] == 48
    assert {"written", "heights", "builds", "method", "assumed", "warnings"} <= result.keys()
    energy = result["builds"][0]["net_kwh_per_year"]
    values = expected["net_energy"][0].to_numpy()
    assert energy["cells_known"] == 47
    assert energy["median"] == pytest.approx(float(np.nanmedian(values)), rel=1e-5)
    assert energy["tenth"] < energy["median"] < energy["nine_tenths"]


def test_without_a_plan_there_are_distributions_only(run, stored, tmp_path):
    done = run("map", stored / "winds.nc", "-o", tmp_path / "m.nc")
    assert done.code == 0
    assert set(read(tmp_path / "m.nc").data_vars) == {
        "weibull_shape", "weibull_scale", "calm_share", "mean_speed", "readings", "left_out",
    }  # fmt: skip


def test_pictures_are_drawn_for_each_build(run, stored, tmp_path):
    folder = tmp_path / "pictures"
    done = run(
        "map", stored / "winds.nc", "--plan", HILL, "-o", tmp_path / "m.nc", "--pictures", folder
    )
    drawn = sorted(path.name for path in folder.iterdir())
    assert "net_energy-one-of-2.4-m.png" in drawn
    assert "cost_per_kwh-eight-of-0.9-m.png" in drawn
    for path in folder.iterdir():
        assert path.read_bytes().startswith(b"\x89PNG")
        assert path.name in done.out


def test_the_colours_darken_all_the_way():
    """Relative luminance by WCAG 2: what falls steadily is told apart without colour vision."""
    channels = np.array([[int(c[i : i + 2], 16) / 255 for i in (1, 3, 5)] for c in RAMP])
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    luminance = linear @ [0.2126, 0.7152, 0.0722]
    assert (np.diff(luminance) < -0.02).all()


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["no.nc", "-o", "m.nc"], ["no.nc", "no such file"]),
        (["text.nc", "-o", "m.nc"], ["text.nc", "NetCDF"]),
        (["winds.nc", "-o", "m.tif"], ["m.tif", ".nc", ".zarr"]),
        (["winds.nc", "-o", "nowhere/m.nc"], ["nowhere", "make it first"]),
        (["winds.nc", "-o", "m.nc", "--variable", "wind"], ["wind", "ROLE=NAME"]),
        (["winds.nc", "-o", "m.nc", "--variable", "speed=gust"], ["winds.nc", "'gust'"]),
        (["winds.nc", "winds.zarr", "-o", "m.nc"], ["winds.zarr", "folder"]),
        (["winds.nc", "-o", "m.nc", "--plan", "no.toml"], ["no.toml"]),
        (["winds.nc", "-o", "m.nc", "--scheduler", "127.0.0.1:9"], ["127.0.0.1:9", "scheduler"]),
    ],
)
def test_bad_input_is_one_sentence_and_leaves_no_file(
    run, stored, tmp_path, monkeypatch, arguments, named
):
    monkeypatch.setattr("yieldest.maps.workers.CONNECT_SECONDS", 1)
    for name in ("winds.nc", "winds.zarr"):
        (tmp_path / name).symlink_to(stored / name)
    (tmp_path / "text.nc").write_text("no grid\n")
    before = sorted(path.name for path in tmp_path.iterdir())
    monkeypatch.chdir(tmp_path)
    refused = run("map", *arguments)
    assert refused.code == 2
    assert refused.out == ""
    assert len(refused.err.strip().splitlines()) == 1
    for words in named:
        assert words in refused.err
    assert sorted(path.name for path in tmp_path.iterdir()) == before


@pytest.mark.parametrize("name", ["m.nc", "m.zarr"])
def test_a_refused_map_leaves_nothing_behind(run, tmp_path, name):
    winds().drop_vars("height").to_netcdf(tmp_path / "winds.nc", engine="h5netcdf")
    refused = run("map", tmp_path / "winds.nc", "-o", tmp_path / name)
    assert refused.code == 2
    assert "--height" in refused.err
    assert [path.name for path in tmp_path.iterdir()] == ["winds.nc"]


def test_an_existing_store_is_left_alone(run, stored, tmp_path):
    (tmp_path / "m.zarr").mkdir()
    refused = run("map", stored / "winds.nc", "-o", tmp_path / "m.zarr")
    assert refused.code == 2
    assert "already" in refused.err
    assert list((tmp_path / "m.zarr").iterdir()) == []


def test_without_the_libraries_one_sentence_says_how_to_get_them(
    run, stored, tmp_path, monkeypatch
):
    monkeypatch.setattr(
        "yieldest.cli.map_command.find_spec",
        lambda name: None if name == "zarr" else find_spec(name),
    )
    refused = run("map", stored / "winds.nc", "-o", tmp_path / "m.nc")
    assert refused.code == 2
    assert "zarr" in refused.err
    assert "yieldest[grid]" in refused.err


class StoppedError(Exception):
    """Stands for the power cut."""


def prepared(path, blocks_in_region=4):
    grid = open_grid([path], {})
    recipe = recipe_for(grid, load_plan(HILL), None)
    # Blocks as small as the stored pieces, so that there is something to stop between.
    blocks = Grid(grid.name, grid.data.chunk({"time": 500, "lat": 3, "lon": 2}), {}, grid.stamp)
    return blocks, recipe, regions_of(blocks, recipe, blocks_in_region)


def no_progress(done, every):
    """Tell nobody."""


def written(grid, recipe, regions, path, progress=no_progress):
    """Write maps region by region; return the regions that were worked on."""
    worked_on = []

    def maps(wanted):
        for region in wanted:
            worked_on.append(region)
            yield compute(part_of(grid, region), recipe)

    write_maps(grid, recipe, regions, maps, path, progress, "test")
    return worked_on


def stop_after(regions_done):
    reports = []

    def progress(done, every):
        reports.append((done, every))
        if len(reports) == regions_done:
            raise StoppedError

    return reports, progress


def test_a_stopped_zarr_run_goes_on_where_it_stopped(stored, tmp_path, expected):
    blocks, recipe, regions = prepared(stored / "winds.nc")
    assert len(regions) == 2
    target = tmp_path / "m.zarr"
    reports, progress = stop_after(1)
    with pytest.raises(StoppedError):
        written(blocks, recipe, regions, target, progress)
    assert not target.exists()
    reports, progress = stop_after(0)
    assert written(blocks, recipe, regions, target, progress) == [regions[1]]
    assert [done for done, _ in reports] == [24, 48]
    assert reports[-1] == (48, 48)
    for name, array in expected.data_vars.items():
        np.testing.assert_allclose(read(target)[name], array, rtol=2e-6)
    assert [path.name for path in tmp_path.iterdir()] == ["m.zarr"]


def test_a_stopped_run_of_other_maps_is_not_taken_up(stored, tmp_path, expected):
    blocks, recipe, regions = prepared(stored / "winds.nc")
    plan = load_plan(HILL)
    other = recipe_for(blocks, plan.model_copy(update={"build": plan.build[:1]}), None)
    _, progress = stop_after(1)
    with pytest.raises(StoppedError):
        written(blocks, other, regions, tmp_path / "m.zarr", progress)
    _, progress = stop_after(0)
    written(blocks, recipe, regions, tmp_path / "m.zarr", progress)
    np.testing.assert_allclose(
        read(tmp_path / "m.zarr")["net_energy"], expected["net_energy"], rtol=2e-6
    )


def test_two_runs_do_not_write_one_store(stored, tmp_path, expected):
    blocks, recipe, regions = prepared(stored / "winds.nc")
    refusals = []

    def progress(done, every):
        try:
            written(blocks, recipe, regions, tmp_path / "m.zarr")
        except InputError as refused:
            refusals.append(str(refused))

    written(blocks, recipe, regions, tmp_path / "m.zarr", progress)
    assert len(refusals) == 2
    assert all("another run is writing this store" in refused for refused in refusals)
    np.testing.assert_allclose(
        read(tmp_path / "m.zarr")["net_energy"], expected["net_energy"], rtol=2e-6
    )


def test_marks_are_counted_on_the_screen(run, tmp_path):
    data = winds()
    data["wind"][:5, 0, 0] = 1e20
    data.to_netcdf(tmp_path / "winds.nc", engine="h5netcdf")
    ran = run("map", tmp_path / "winds.nc", "-o", tmp_path / "m.nc", "--json")
    assert [text for text in ran.json["warnings"] if "5, in 1 of 48 cells" in text]


def test_a_stopped_netcdf_run_leaves_the_old_file(stored, tmp_path):
    target = tmp_path / "m.nc"
    target.write_bytes(b"old")
    blocks, recipe, regions = prepared(stored / "winds.nc")
    _, progress = stop_after(1)
    with pytest.raises(StoppedError):
        written(blocks, recipe, regions, target, progress)
    assert target.read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["m.nc"]


@pytest.fixture
def two_processes(monkeypatch):
    """Have every grid, however small, cut into blocks and worked on by two processes."""
    monkeypatch.setattr("yieldest.maps.blocks.LEAST_VALUES", 1)
    monkeypatch.setattr(grid_run, "PROCESSES_FROM", 0)
    monkeypatch.setattr(dask.system, "CPU_COUNT", 2)


def test_processes_make_the_same_maps_in_order(stored, tmp_path, expected, two_processes):
    blocks, recipe, _ = prepared(stored / "winds.nc")
    with workers(None, blocks, recipe) as work:
        assert len(multiprocessing.active_children()) == 2
        assert len(regions_of(blocks, recipe, work.blocks)) == 2
        regions = regions_of(blocks, recipe, 1)
        assert len(regions) > 2 * 2
        write_maps(blocks, recipe, regions, work.maps, tmp_path / "m.nc", no_progress, "test")
    assert multiprocessing.active_children() == []
    for name, array in expected.data_vars.items():
        np.testing.assert_allclose(read(tmp_path / "m.nc")[name], array, rtol=2e-6)


def test_the_command_gives_a_large_grid_to_processes(
    run, stored, tmp_path, expected, two_processes, monkeypatch
):
    given = []
    submit = ProcessPoolExecutor.submit
    monkeypatch.setattr(
        ProcessPoolExecutor, "submit", lambda *args: given.append(args[1]) or submit(*args)
    )
    arguments = [stored / "winds.zarr", "--plan", HILL, "--out", tmp_path / "m.zarr"]
    run("map", *arguments)
    assert grid_run._part in given
    for name, array in expected.data_vars.items():
        np.testing.assert_allclose(read(tmp_path / "m.zarr")[name], array, rtol=2e-6)


def test_a_process_that_is_killed_is_one_sentence_and_the_run_goes_on(
    stored, tmp_path, expected, two_processes
):
    blocks, recipe, _ = prepared(stored / "winds.nc")

    def killing(done, every):
        for child in multiprocessing.active_children():
            child.kill()

    target, killed = tmp_path / "m.zarr", "give the same command again"
    # More than are given out at once, or all might be done when the first has been written.
    regions = regions_of(blocks, recipe, 1)
    with pytest.raises(InputError, match=killed), workers(None, blocks, recipe) as work:
        write_maps(blocks, recipe, regions, work.maps, target, killing, "test")
    assert 0 < len(written(blocks, recipe, regions, target)) < len(regions)
    np.testing.assert_allclose(
        read(tmp_path / "m.zarr")["net_energy"], expected["net_energy"], rtol=2e-6
    )


def test_what_a_process_cannot_read_is_one_sentence(run, stored, tmp_path, two_processes):
    shutil.copytree(stored / "winds.zarr", tmp_path / "winds.zarr")
    (tmp_path / "winds.zarr" / "wind" / "0.0.0").write_bytes(b"no winds")
    refused = run("map", tmp_path / "winds.zarr", "--out", tmp_path / "m.nc")
    assert refused.code == 2
    assert "winds.zarr: the values cannot be read" in refused.err
    assert [path.name for path in tmp_path.iterdir()] == ["winds.zarr"]


ABANDONED = """
import dask, multiprocessing, sys, time
from dataclasses import replace
from pathlib import Path
from yieldest.maps import workers as run
from yieldest.maps.make_maps import recipe_for
from yieldest.maps.grid import open_grid

if __name__ == "__main__":
    run.PROCESSES_FROM, dask.system.CPU_COUNT = 0, 2
    grid = open_grid([Path(sys.argv[1])], {})
    recipe = recipe_for(grid, None, None)
    grid = replace(grid, data=grid.data.chunk({"lat": 3, "lon": 2}))
    with run.workers(None, grid, recipe) as work:
        next(work.maps([{"lat": slice(0, 3), "lon": slice(0, 4)}]))
        print(*(child.pid for child in multiprocessing.active_children()), flush=True)
        time.sleep(600)
"""


def test_processes_end_with_the_one_that_gave_them_work(stored, tmp_path):
    script = tmp_path / "abandoned.py"
    script.write_text(ABANDONED)
    command = [sys.executable, script, stored / "winds.nc"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as parent:
        children = [int(pid) for pid in parent.stdout.readline().split()]
        assert len(children) == 2
        assert all(alive(pid) for pid in children)
        parent.kill()
    for _ in range(500):
        if not any(alive(pid) for pid in children):
            return
        time.sleep(0.02)
    pytest.fail("they are still there after ten seconds")


def alive(pid):
    """Tell whether there is such a process that is not merely waiting to be forgotten."""
    try:
        status = Path(f"/proc/{pid}/stat").read_text()
    except FileNotFoundError:
        return False
    return status.rpartition(")")[2].split()[0] != "Z"


@pytest.fixture(scope="module")
def cluster():
    with LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        processes=True,
        host="127.0.0.1",
        dashboard_address="127.0.0.1:0",
        silence_logs="CRITICAL",
    ) as cluster:
        yield cluster


def test_the_command_works_on_a_cluster(run, stored, tmp_path, expected, cluster):
    done = run(
        "map", stored / "winds.nc", "--plan", HILL, "-o", tmp_path / "m.nc",
        "--scheduler", cluster.scheduler_address,
    )  # fmt: skip
    assert done.code == 0, done.err
    for name, array in expected.data_vars.items():
        np.testing.assert_allclose(read(tmp_path / "m.nc")[name], array, rtol=2e-6)


def slowly(block):
    time.sleep(0.15)
    return block


def kill_one_at_work(address, killed):
    """End a worker, without warning, while it has work in hand."""
    with Client(address) as client:
        pids = client.run(os.getpid)
        for _ in range(600):
            for worker, tasks in client.processing().items():
                if tasks and worker in pids:
                    os.kill(pids[worker], signal.SIGKILL)
                    killed.append(worker)
                    return
            time.sleep(0.01)


def test_a_worker_killed_in_the_middle_changes_nothing(tmp_path, expected, cluster):
    data = winds()
    slow = dask.array.from_array(data["wind"].to_numpy(), chunks=(500, 3, 2)).map_blocks(slowly)
    grid = Grid("winds", data.assign(wind=data["wind"].copy(data=slow)))
    recipe = recipe_for(grid, load_plan(HILL), None)
    killed = []
    with workers(cluster.scheduler_address, grid, recipe) as work:
        regions = regions_of(grid, recipe, work.blocks)
        killer = threading.Thread(target=kill_one_at_work, args=(cluster.scheduler_address, killed))
        killer.start()
        write_maps(grid, recipe, regions, work.maps, tmp_path / "m.zarr", no_progress, "test")
        killer.join()
    assert len(killed) == 1
    for name, array in expected.data_vars.items():
        np.testing.assert_allclose(read(tmp_path / "m.zarr")[name], array, rtol=2e-6)


@pytest.fixture
def classes(tmp_path):
    """A grid of how often each class of speeds blows, from a quiet plain to a windy ridge."""
    edges = np.arange(0, 31.0)
    above = np.exp(-((edges / np.array([[2.0, 3.0, 4.0], [5.0, 6.0, 7.0]])[..., None]) ** 2))
    bounds = {"standard_name": "wind_speed", "units": "m s-1", "bounds": "edges"}
    data = xr.Dataset(
        {
            "share": (("lat", "lon", "class"), -8760 * np.diff(above), {"units": "h"}),
            "edges": (("class", "two"), np.stack([edges[:-1], edges[1:]], -1)),
        },
        {"class": ("class", edges[:-1] + 0.5, bounds), "height": winds()["height"]},
    )
    data.to_netcdf(tmp_path / "classes.nc", engine="h5netcdf")
    return tmp_path / "classes.nc"


@pytest.mark.parametrize("width", [80, 100])
def test_the_screen_of_a_table_of_classes_counts_the_cells_that_never_pay(
    run, classes, tmp_path, monkeypatch, width
):
    monkeypatch.setattr(terminal, "PLAIN_WIDTH", width)
    asked = "map", classes, "--plan", HILL, "-o", tmp_path / "maps.nc"
    lines = run(*asked).out.splitlines()
    assert len(lines) <= 40
    assert all(len(line) <= width or "wrote" in line for line in lines)
    shown = " ".join(" ".join(lines).split())
    assert "Frequencies of wind-speed classes “share” in h; 6 cells" in shown
    paid = read(tmp_path / "maps.nc")["payback"].isel(build=0).to_numpy().ravel()
    assert f"in {100 * np.isfinite(paid).mean():.0f} % of the cells with wind" in shown
    first = run(*asked, "--json").json["builds"][0]
    never = np.sort(np.where(np.isfinite(paid), paid, np.inf))
    assert np.isinf(never).any()
    assert first["payback_years"]["median"] == pytest.approx(never[2])
    assert first["payback_years"]["nine_tenths"] is None
    assert first["discounted_payback_years"]["median"] is None or (
        first["discounted_payback_years"]["median"] >= first["payback_years"]["median"]
    )
    assert "to never)" in shown
