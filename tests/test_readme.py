"""The README holds: its commands run in their order, and the answer it shows is the answer."""

import re
import shlex
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

CLONE = Path(__file__).parents[1]
README = (CLONE / "README.md").read_text(encoding="utf-8")


def test_the_commands_for_your_own_site_run_in_their_order(run, tmp_path, monkeypatch):
    section = README.partition("\n## Your own site\n")[2].partition("\n## ")[0]
    commands = re.findall(r"^    yieldest (.*?)(?:\s+#.*)?$", section, re.MULTILINE)
    assert {line.split()[0] for line in commands} >= {"start", "wind", "estimate", "report", "map"}
    monkeypatch.chdir(tmp_path)
    # What the maker has already: readings, and a gridded record.
    shutil.copy(CLONE / "demo-sites" / "hill-yard" / "readings-0.9m.csv", "readings.csv")
    speed = 6 * np.random.default_rng(3).weibull(2, (500, 2, 2))
    xr.Dataset(
        {"wind": (("time", "y", "x"), speed, {"standard_name": "wind_speed", "units": "m s-1"})},
        coords={
            "time": pd.date_range("2025-01-01", periods=500, freq="h"),
            "height": ((), 10.0, {"standard_name": "height", "units": "m"}),
        },
    ).to_netcdf("winds.nc", engine="h5netcdf")
    for command in commands:
        ran = run(*shlex.split(command))
        assert ran.code == 0, f"yieldest {command}: {ran.err}"


def test_the_answer_shown_is_the_answer(run, monkeypatch):
    [shown] = re.findall(r"^```\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    monkeypatch.chdir(CLONE)
    printed = [line.rstrip() for line in run("estimate", "demo-sites/hill-yard").out.splitlines()]
    lines = shown.splitlines()
    assert printed[: len(lines)] == lines
