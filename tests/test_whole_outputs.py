"""Outputs are whole, as they were, or absent: after kill -9, on full disks, in places not ours."""

import os
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from starter import starter

sys.path.insert(0, str(Path(__file__).parent / "fuzz"))
from rights import modes_can_bind

SLEEP = """
    import os, pathlib, sys, time
    from yieldest.cli import app as cli

    def wait(*_, **__):
        pathlib.Path("reached").touch()
        time.sleep(600)

    {stop} = wait
    sys.argv = {words!r}
    cli.main()
"""
RUN = "from yieldest.cli.app import main; main()"


@pytest.fixture(scope="module")
def yieldest():
    """Run the command in a folder and in a process of its own."""
    imports = (
        *("yieldest.model.check", "yieldest.report.write_report", "yieldest.maps.write_maps"),
        *("yieldest.maps.workers", "h5netcdf", "zarr"),
    )
    with starter(*imports, stdout=subprocess.DEVNULL) as start:
        yield start


@pytest.fixture(scope="module")
def folder(tmp_path_factory, yieldest):
    """A folder with a plan folder and a small grid."""
    folder = tmp_path_factory.mktemp("whole")
    assert yieldest(folder, "start", "yard").code == 0
    speeds = np.random.default_rng(5).weibull(2, (48, 2, 3)) * 6
    attributes = {"standard_name": "wind_speed", "units": "m s-1"}
    xr.Dataset(
        {"wind": (("time", "lat", "lon"), speeds, attributes)},
        {"time": pd.date_range("2024-01-01", periods=48, freq="h")},
    ).to_netcdf(folder / "grid.nc", engine="h5netcdf")
    return folder


def is_whole(path):
    if path.is_dir():
        return sorted(p.name for p in path.iterdir()) == [
            "bill.csv", "curve.csv", "plan.toml", "wind.csv",
        ]  # fmt: skip
    if path.suffix == ".nc":
        with xr.open_dataset(path, engine="h5netcdf") as maps:
            return bool(np.isfinite(maps["mean_speed"]).all())
    text = path.read_text(encoding="utf-8")
    return text.endswith("</html>" if path.suffix == ".html" else "\n") and text.count("\n") > 1


WRITES = {
    "page.html": ("report", "yard", "--set", "uncertainty.draws=0", "-o", "page.html"),
    "new.csv": ("estimate", "yard", "--draws", "0", "--out", "new.csv"),
    "maps.nc": ("map", "grid.nc", "--height", "10", "-o", "maps.nc"),
    "new-yard": ("start", "new-yard"),
}
STOPS = {
    "page.html": "os.fsync",
    "new.csv": "pathlib.Path.replace",
    "maps.nc": "pathlib.Path.replace",
    "new-yard": "pathlib.Path.rename",
}
"""Where a run is killed: before its output is on the disk, or before it has its name."""


def unfinished(folder):
    return sorted(p.name for p in folder.iterdir() if p.name.startswith(".yieldest"))


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is of POSIX")
@pytest.mark.parametrize(("name", "stop"), STOPS.items())
def test_a_run_that_is_killed_leaves_the_old_file_and_the_next_clears_up(
    yieldest, folder, name, stop
):
    target = folder / name
    old = not name.startswith("new-")
    if old:
        target.write_text("old")
    (folder / "reached").unlink(missing_ok=True)
    code = textwrap.dedent(SLEEP).format(stop=stop, words=["yieldest", *WRITES[name]])
    running = subprocess.Popen([sys.executable, "-c", code], cwd=folder)
    while not (folder / "reached").exists():
        assert running.poll() is None
        signal.sigtimedwait([], 0.02)
    running.send_signal(signal.SIGKILL)
    running.wait()
    assert target.read_text() == "old" if old else not target.exists()
    assert len(unfinished(folder)) == 1
    again = yieldest(folder, *WRITES[name])
    assert again.code == 0, again.err
    assert is_whole(target)
    assert unfinished(folder) == []


def test_a_run_does_not_clear_up_what_another_is_writing(tmp_path):
    from yieldest.files.whole_output import scratch_beside, write_whole  # noqa: PLC0415

    with scratch_beside(tmp_path / "slow.html") as scratch:
        (scratch / "made").write_text("half")
        write_whole(tmp_path / "quick.csv", "a\n1\n")
        assert (scratch / "made").read_text() == "half"
    assert [path.name for path in tmp_path.iterdir()] == ["quick.csv"]


WRITES_TOO = {
    **WRITES,
    "maps.zarr": ("map", "grid.nc", "--height", "10", "-o", "maps.zarr"),
    "flagged.csv.gz": ("wind", "yard/wind.csv", "--out", "flagged.csv.gz"),
}


def refused(ran):
    return ran.code == 2 and not ran.out and len(ran.err.strip().splitlines()) == 1


@pytest.mark.skipif(os.name != "posix", reason="limits on files are of POSIX")
@pytest.mark.parametrize("name", WRITES_TOO)
def test_a_full_disk_is_one_sentence_and_leaves_what_was_there(yieldest, folder, tmp_path, name):
    place = tmp_path / name
    words = [str(place) if word == name else word for word in WRITES_TOO[name]]
    old = place.suffix in (".html", ".csv", ".nc")
    if old:
        place.write_text("old")
    ran = yieldest(folder, *words, before="little_room")
    assert refused(ran), ran.err
    assert "File too large" in ran.err
    assert place.read_text() == "old" if old else not place.exists()
    # An unfinished Zarr store is kept on purpose: the next run goes on with it.
    left = {path.name for path in tmp_path.iterdir()} - {name, "maps.zarr.part"}
    assert left == set()


@pytest.mark.skipif(not modes_can_bind(), reason="file modes do not bind here")
@pytest.mark.parametrize("name", ["new.csv", "new-yard", "maps.nc", "maps.zarr"])
def test_a_read_only_folder_is_one_sentence(yieldest, folder, tmp_path, name):
    place = tmp_path / name
    words = [str(place) if word == name else word for word in WRITES_TOO[name]]
    tmp_path.chmod(0o555)
    try:
        ran = yieldest(folder, *words, before="let_modes_bind")
    finally:
        tmp_path.chmod(0o755)
    assert refused(ran), ran.err
    assert "Permission denied" in ran.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not modes_can_bind(), reason="file modes do not bind here")
@pytest.mark.parametrize("file", ["plan.toml", "wind.csv", "curve.csv", "bill.csv"])
def test_an_unreadable_file_is_one_sentence(yieldest, folder, file):
    path = folder / "yard" / file
    path.chmod(0)
    try:
        ran = yieldest(folder, "estimate", "yard", before="let_modes_bind")
    finally:
        path.chmod(0o644)
    assert refused(ran), ran.err
    assert file in ran.err
    assert "Permission denied" in ran.err


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full")
@pytest.mark.parametrize("words", [("check", "yard"), ("estimate", "yard", "--json"), ("--help",)])
def test_output_that_finds_no_room_is_one_sentence(folder, words):
    with Path("/dev/full").open("w") as full:
        ran = subprocess.run(
            [sys.executable, "-c", RUN, *words],
            cwd=folder, stdout=full, stderr=subprocess.PIPE, text=True, check=False,
        )  # fmt: skip
    assert ran.returncode == 2
    assert ran.stderr == (
        "yieldest: the output cannot be written (No space left on device); make room for it.\n"
    )


@pytest.mark.parametrize("kind", ["link", "dangling link", "device", "pipe"])
def test_links_pipes_and_devices_are_not_written_over(run, yard, tmp_path, kind):
    place, beside = tmp_path / "out.csv", tmp_path / "beside.csv"
    if kind == "pipe":
        os.mkfifo(place)
    elif kind == "device":
        place = Path(os.devnull)
    else:
        place.symlink_to(beside)
    if kind == "link":
        beside.write_text("kept")
    ran = run("estimate", yard, "--draws", 0, "--out", place)
    assert ran.code == 2
    assert "a link, a pipe or a device" in ran.err
    assert not place.is_file() or beside.read_text() == "kept"
    assert beside.exists() == (kind == "link")


@pytest.mark.parametrize(
    ("command", "reads"),
    [
        (("estimate", "{}", "--draws", "0", "--out"), "wind.csv"),
        (("estimate", "{}", "--sweep", "build.1.count=1:2:2", "--out"), "bill.csv"),
        (("report", "{}", "-o"), "plan.toml"),
        (("wind", "{}/wind.csv", "--out"), "wind.csv"),
    ],
)
def test_no_input_is_written_over(run, yard, command, reads):
    before = (yard / reads).read_bytes()
    ran = run(*(word.format(yard) for word in command), yard / reads)
    assert ran.code == 2
    assert "one of the files that are read" in ran.err
    assert (yard / reads).read_bytes() == before
