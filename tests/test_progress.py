"""A watcher sees how far long work is; a pipe sees nothing of it."""

import io
import sys

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from yieldest.report.progress import making


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.fixture
def watched(monkeypatch):
    """Make standard error a terminal from here on, and return what it shows."""

    def watch():
        # By the test itself: pytest lays its own stream there when a test begins.
        monkeypatch.setattr(sys, "stderr", Terminal())
        return sys.stderr.getvalue

    monkeypatch.setenv("TERM", "xterm")
    return watch


@pytest.fixture
def winds(tmp_path):
    """A gridded record of four cells."""
    path = tmp_path / "winds.nc"
    speed = 6 * np.random.default_rng(3).weibull(2, (100, 2, 2))
    xr.Dataset(
        {"wind": (("time", "y", "x"), speed, {"standard_name": "wind_speed", "units": "m s-1"})},
        coords={
            "time": pd.date_range("2025-01-01", periods=100, freq="h"),
            "height": ((), 10.0, {"standard_name": "height", "units": "m"}),
        },
    ).to_netcdf(path, engine="h5netcdf")
    return path


def commands(yard, winds):
    return {
        ("reading the wind record", "draws"): ("estimate", yard, "--draws", 512),
        ("reading the wind record",): ("check", yard),
        ("estimating",): ("estimate", yard, "--sweep", "economics.discount_rate=0:0.1:3"),
        ("cells",): ("map", winds, "--plan", yard, "-o", winds.with_name("maps.nc")),
    }


def test_a_watcher_sees_bars(run, yard, winds, watched):
    for words, command in commands(yard, winds).items():
        shown = watched()
        ran = run(*command)
        assert ran.code == 0
        for word in words:
            assert word in shown()


def test_a_pipe_sees_no_bars(run, yard, winds):
    for command in commands(yard, winds).values():
        assert run(*command).err == ""


def test_a_watcher_sees_what_was_done_last(watched):
    shown = watched()
    with making("the page") as done:
        done("charts")
    assert "making the page: charts done" in shown()
