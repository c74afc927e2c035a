"""Every example in `--help`, in README.md and in docs/ runs as it stands."""

import gzip
import re
import shlex
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from yieldest.cli import app
from yieldest.cli.help_format import EXAMPLE, paragraphs

ROOT = Path(__file__).parents[1]
COMMANDS = list(app.COMMANDS)
PAGES = ["README.md", "demo-sites/README.md", *(f"docs/{p.name}" for p in ROOT.glob("docs/*.md"))]
PAGES.remove("docs/commands.md")  # it is made of the help, whose examples are run already

NOT_RUN = {
    "--scheduler tcp://HOST:8786": "it needs a cluster of machines",
    "--figures pictures": "it takes half a minute, and the help of report has its like",
}
"""Parts of commands on the pages that are not run, and why."""
LONG = ("report",)
"""Commands that are run with few draws, as the page of a demo site takes long with all."""


def commands_on(page):
    """Return the commands that stand on lines of their own on a page, as one line each."""
    text = (ROOT / page).read_text(encoding="utf-8").replace("\\\n", " ")
    names = "|".join(COMMANDS)
    found = re.findall(rf"^(?: {{4}})?(yieldest (?:{names}) .*)$", text, re.MULTILINE)
    return [" ".join(line.split()) for line in found if not any(part in line for part in NOT_RUN)]


IN_HELP = {
    example
    for command in app.COMMANDS.values()
    for example in paragraphs(command.function.__doc__)[1]
}
ON_PAGES = sorted({line for page in PAGES for line in commands_on(page)} - IN_HELP)


@pytest.fixture(scope="module")
def workplace(tmp_path_factory):
    """A folder with the demo sites and the files that a reader of the examples has at hand."""
    folder = tmp_path_factory.mktemp("work")
    shutil.copytree(ROOT / "demo-sites", folder / "demo-sites")
    shutil.copytree(ROOT / "yieldest" / "templates", folder / "my-yard")
    shutil.copy(folder / "demo-sites" / "hill-yard" / "readings-0.9m.csv", folder / "readings.csv")
    for name, site_file in (("mast", "wind"), ("airport", "harbour")):
        packed = folder / "demo-sites" / "fishing-quay" / f"{site_file}.csv.gz"
        (folder / f"{name}.csv").write_bytes(gzip.decompress(packed.read_bytes()))
    winds = invented_winds()
    winds.to_netcdf(folder / "winds.nc", engine="h5netcdf")
    winds.to_zarr(folder / "winds.zarr", zarr_format=2)
    return folder


def invented_winds():
    """Return two weeks of invented hourly winds at 10 m over six cells."""
    speed = 6 * np.random.default_rng(5).weibull(2, (336, 2, 3))
    return xr.Dataset(
        {"wind": (("time", "y", "x"), speed, {"standard_name": "wind_speed", "units": "m s-1"})},
        coords={
            "time": pd.date_range("2023-03-01", periods=336, freq="h"),
            "height": ((), 10.0, {"standard_name": "height", "units": "m"}),
        },
    )


@pytest.fixture
def try_out(run, workplace, monkeypatch):
    """Run a command as it is written, in a folder where its files are."""

    def try_command(line):
        monkeypatch.chdir(workplace)
        name, *arguments = shlex.split(line, comments=True)
        assert name == "yieldest"
        if arguments[0] == "start":
            shutil.rmtree(arguments[1], ignore_errors=True)
        fewer = ["--set", "uncertainty.draws=512"] if arguments[0] in LONG else []
        return run(*arguments, *fewer)

    return try_command


def examples_of(run, *command):
    """Return the examples in the help of a command, wrapped lines joined."""
    paragraphs = run(*command, "--help").out.split("\n\n")
    lines = "\n".join(part for part in paragraphs if EXAMPLE in part).splitlines()
    joined = []
    for line in lines:
        if line.strip().startswith(EXAMPLE):
            joined.append(line.strip().removeprefix(EXAMPLE))
        elif joined:
            joined[-1] += f" {line.strip()}"
    return joined


@pytest.mark.parametrize("command", [(), *((name,) for name in COMMANDS)], ids=" ".join)
def test_every_example_in_the_help_runs(run, try_out, workplace, command):
    examples = examples_of(run, *command)
    assert examples
    for line in examples:
        assert line.split()[1] == command[0] if command else True
        shown = try_out(line)
        assert (shown.code, shown.err) == (0, ""), line
        assert shown.out, line
        for file in re.findall(r"(?:--out|-o) (\S+)", line):
            assert (workplace / file).exists(), line


@pytest.mark.parametrize("line", ON_PAGES)
def test_every_command_on_a_page_runs(run, try_out, line):
    shown = try_out(line)
    assert (shown.code, shown.err) == (0, "")
    assert shown.out


def test_the_pages_do_have_commands():
    assert len(ON_PAGES) > 12
    assert commands_on("README.md")
    assert all(any(part in (ROOT / page).read_text(encoding="utf-8") for page in PAGES)
               for part in NOT_RUN)  # fmt: skip


@pytest.mark.parametrize(
    "change",
    ["economics.discount_rate=0.03", "build.0.count=4", "build.eight of 0.9 m.count=4",
     "build.1.array.spacing_rotor_diameters=5", "site.roof={ edge_height_m = 6, width_m = 12, "
     "edge_distance_m = 5 }", "build.0.losses.availability=0.1", "uncertainty.anemometer={ "
     "standard_uncertainty = 0.01 }"],
)  # fmt: skip
def test_keys_as_they_are_written_for_set(run, workplace, change):
    assert run("check", workplace / "demo-sites" / "hill-yard", "--set", change).code == 0


def test_uncertainties_of_the_meters_in_the_help_are_those_assumed(run):
    from yieldest.defaults import (  # noqa: PLC0415 - the examples do without it
        ANEMOMETER,
        ANEMOMETER_CONSTANT,
        POWER_METERS,
    )

    shown = " ".join(run("curve", "--help").out.split())
    for words, default in (
        ("uncertainty of the power meters", POWER_METERS),
        ("uncertainty of the anemometer", ANEMOMETER),
        ("Constant part of the anemometer's standard uncertainty", ANEMOMETER_CONSTANT),
    ):
        assert f"{words}. [default: {default.value:g}]" in shown


def test_commands_stand_in_the_order_of_the_work(run):
    shown = run("--help").out.split("Commands:")[1].split("\n")
    assert [line.split()[0] for line in shown if line.strip()] == COMMANDS
    assert COMMANDS == ["start", "wind", "curve", "check", "estimate", "report", "map"]
    assert not any(line.endswith("...") for line in shown)


def test_the_version(run):
    from yieldest import __version__  # noqa: PLC0415

    assert run("--version").out == f"yieldest {__version__}\n"


@pytest.mark.parametrize("command", [(), *((name,) for name in COMMANDS)], ids=" ".join)
@pytest.mark.parametrize("columns", ["80", "140"])
def test_help_fits_and_says_where_to_read_more(run, monkeypatch, command, columns):
    monkeypatch.setenv("COLUMNS", columns)
    shown = run(*command, "--help").out
    assert max(map(len, shown.splitlines())) <= 100
    assert not re.search(r"<(path|list)", shown)  # no types of Python
    pages = re.findall(r"docs/[\w-]+\.md", shown)
    assert pages
    assert all((ROOT / page).is_file() for page in pages)
