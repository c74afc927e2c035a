"""In a notebook: three lines to an estimate, and results that show themselves."""

import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pandas as pd
import pytest

import yieldest
from yieldest.report.estimate_json import as_dictionary

ROOT = Path(__file__).parents[1]


class Tags(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.names, self.text = [], ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.names.append(tag)
        assert not [name for name, _ in attrs if name not in {"scope"}]

    def handle_data(self, data):
        self.text += data


def test_three_lines_reach_an_estimate(demo_site):
    project = yieldest.load(str(demo_site / "plan.toml"))
    estimate = project.estimate()
    assert [build.name for build in estimate.builds] == [each.name for each in project.plan.build]


def test_the_height_that_is_stated_is_that_of_the_record():
    source = ROOT / "demo-sites" / "hill-yard" / "wind.csv.gz"
    assert yieldest.read_wind(source).height_m is None
    record = yieldest.read_wind(source, height_m=20)
    assert record.height_m == record.fit().height_m == 20


def test_importing_the_package_imports_nothing_heavy():
    code = "import sys, yieldest; print([m for m in ('pydantic', 'pandas') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_frame_holds_what_the_results_for_machines_hold(demo_scenarios):
    frame = demo_scenarios[1].to_frame()
    builds = as_dictionary(demo_scenarios[1])["builds"]
    assert frame.index.name == "build"
    assert list(frame.index) == [build["name"] for build in builds]
    assert frame["count"].dtype.kind == "i"
    for build in builds:
        for key in frame.columns:
            value = frame.loc[build["name"], key]
            if key in ("self_consumption_share", "hours_without_power"):  # of [demand], in a table
                assert build["self_consumption"] is None and pd.isna(value)
                continue
            assert pd.isna(value) if build[key] is None else value == build[key]


def test_dataset_has_units_on_everything(demo_scenarios):
    estimate = demo_scenarios[1]
    dataset = estimate.to_xarray()
    assert dataset.sizes == {"build": len(estimate.builds)}
    for variable in dataset.data_vars.values():
        assert variable.attrs["units"]
        assert variable.attrs["long_name"]
    assert dataset["cost_per_kwh"].attrs["units"] == "EUR kWh-1"
    assert dataset.attrs["title"] == estimate.title
    energy = dataset["net_kwh_per_year"].sel(build=estimate.builds[1].name).item()
    assert energy == estimate.builds[1].energy.net_kwh


def test_dataset_can_be_written_as_netcdf(demo_scenarios, tmp_path):
    xarray = pytest.importorskip("xarray")
    pytest.importorskip("h5netcdf")
    dataset = demo_scenarios[1].to_xarray()
    dataset.to_netcdf(tmp_path / "builds.nc", engine="h5netcdf")
    with xarray.open_dataset(tmp_path / "builds.nc", engine="h5netcdf") as back:
        xarray.testing.assert_allclose(back.load(), dataset)


def test_cards_show_the_figures_and_escape_every_name(hostile_yard, hostile):
    estimate = yieldest.load(hostile_yard).estimate()
    shown = Tags(estimate._repr_html_())
    assert {"table", "caption", "th", "td"} <= set(shown.names)
    assert not {"script", "img", "svg", "b"} & set(shown.names)
    assert hostile["first"] in shown.text
    assert "cost per kWh (€/kWh)" in shown.text
    build = estimate.builds[0]
    wind = Tags(build.distribution._repr_html_())
    assert f"{build.distribution.mean_speed_ms:.2f} m/s" in wind.text
    assert build.distribution.provenance.method in wind.text
    curve = Tags(build.curve._repr_html_())
    assert f"{build.curve.cut_in_ms:.3g} m/s" in curve.text
    assert hostile["file"] in curve.text
    assert not {"script", "img", "svg", "b"} & set(curve.names + wind.names)
