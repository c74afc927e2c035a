"""Nothing in a plan or a record runs code, reaches a network or writes anywhere but the output."""

import csv
import gzip
import io
import json
import os
import pickle
import re
import shutil
import subprocess
import sys
import zipfile
import zlib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from yieldest.maps.grid import open_grid
from yieldest.wind.read_wind import read_wind

FUZZ = Path(__file__).parent / "fuzz"
WATCHED = """
import json, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from judge import Watch, ended_badly, load_everything
load_everything()
watch = Watch()
for line in sys.stdin:
    folder, commands = json.loads(line)
    ends = [ended_badly(words, Path(folder), writes, watch) for words, writes in commands]
    print(json.dumps(ends), flush=True)
"""
NASTY = "</script><script>alert(1)</script><img src=x onerror=alert(1)> {{ 7 * 7 }} $x^2$ {0} %s"
WEB = ("http://127.0.0.1:9/a.csv", "https://example.org/a.csv", "s3://bucket/a.csv", "ftp://a/b")


@pytest.fixture(scope="module")
def watched():
    """Run commands in a process that may neither connect, start a program nor write elsewhere."""
    with subprocess.Popen(
        [sys.executable, "-c", WATCHED, FUZZ],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip

        def ends_of(folder, *commands):
            print(json.dumps([str(folder), commands]), file=process.stdin, flush=True)
            return json.loads(process.stdout.readline())

        yield ends_of


def renamed(plan, name):
    text = re.sub(r'(?m)^title = ".*"', f"title = {json.dumps(name)}", plan.read_text())
    plan.write_text(re.sub(r'(?m)^name = ".*"', f"name = {json.dumps(name)}", text, count=1))


def test_hostile_names_do_nothing_but_stand_there(watched, yard, tmp_path):
    renamed(yard / "plan.toml", NASTY)
    # Settings of the drawing library that would start TeX, in the working folder.
    (tmp_path / "matplotlibrc").write_text("text.usetex: True\n")
    page = tmp_path / "page.html"
    report = ["report", "yard", "--set", "uncertainty.draws=0", "-o", "page.html"]
    assert watched(
        tmp_path,
        (["check", "yard", "--json"], []),
        (["estimate", "yard", "--draws", "0"], []),
        (report, ["page.html"]),
    ) == [None, None, None]
    text = page.read_text(encoding="utf-8")
    assert "{{ 7 * 7 }}" in text
    assert "<script>alert" not in text
    assert "<img src=x" not in text


def test_cells_of_a_csv_are_no_formulas(run, yard, tmp_path):
    renamed(yard / "plan.toml", "=HYPERLINK(1)")
    out = tmp_path / "out.csv"
    assert run("estimate", yard, "--draws", 0, "--out", out).code == 0
    rows = list(csv.reader(io.StringIO(out.read_text(encoding="utf-8"))))
    assert rows[1][0] == "'=HYPERLINK(1)"


@pytest.mark.parametrize("address", WEB)
@pytest.mark.parametrize("key", ["wind.record", "build.1.curve", "build.1.bill"])
def test_an_address_in_a_plan_is_not_opened(run, yard, key, address):
    ran = run("estimate", yard, "--draws", 0, "--set", f"{key}={address}")
    assert ran.code == 2
    assert "web addresses are not opened" in ran.err


@pytest.mark.parametrize("address", WEB)
def test_an_address_on_the_command_line_is_not_opened(run, tmp_path, address):
    for words in (
        ("wind", address),
        ("curve", address),
        ("check", address),
        ("map", address, "-o", tmp_path / "maps.nc"),
    ):
        ran = run(*words)
        assert ran.code == 2
        assert "web addresses are not opened" in ran.err


def test_addresses_and_climbing_names_reach_neither_network_nor_other_folders(
    watched, yard, tmp_path
):
    plan = (yard / "plan.toml").read_text()
    with zipfile.ZipFile(yard / "climb.zip", "w") as archive:
        archive.writestr("../../climbed.csv", (yard / "wind.csv").read_bytes())
    records = [*WEB, "climb.zip", "../yard/wind.csv", "/etc/passwd", "../../*", "$(id)", "|id"]
    commands = []
    for number, record in enumerate(records):
        text = re.sub(r'(?m)^record = ".*"', f'record = "{record}"', plan)
        (yard / f"{number}.toml").write_text(text)
        commands.append((["estimate", f"yard/{number}.toml", "--draws", "0", "--json"], []))
    assert watched(tmp_path, *commands) == [None] * len(records)


SPEED = {"standard_name": "wind_speed", "units": "m s-1"}
TIMES = {"time": pd.date_range("2024-01-01", periods=48, freq="h")}


def winds():
    speeds = np.random.default_rng(5).weibull(2, (48, 2, 3)) * 6
    return xr.Dataset({"wind": (("time", "lat", "lon"), speeds, SPEED)}, TIMES)


class Payload:
    def __reduce__(self):
        return os.mkdir, ("unpickled",)


@pytest.mark.parametrize("part", ["filters", "compressor"])
def test_a_zarr_store_is_never_unpickled(watched, tmp_path, part):
    store = tmp_path / "winds.zarr"
    winds().to_zarr(store, zarr_format=2, consolidated=False)
    described = store / "wind" / ".zarray"
    content = json.loads(described.read_text()) | {"filters": None, "compressor": None}
    pickled = {"id": "pickle", "protocol": 5}
    content[part] = [pickled] if part == "filters" else pickled
    described.write_text(json.dumps(content))
    for piece in (store / "wind").glob("[0-9]*"):
        piece.write_bytes(pickle.dumps(Payload()))
    assert watched(tmp_path, (["map", "winds.zarr", "--height", "10", "-o", "maps.nc"], [])) == [
        None
    ]
    with pytest.raises(ValueError, match="packed by 'pickle', which is not opened"):
        open_grid([store], {})


@pytest.mark.parametrize("kind", ["pipe", "device", "dangling"])
def test_a_zarr_store_of_pipes_and_devices_is_refused(run, tmp_path, kind):
    store = tmp_path / "winds.zarr"
    winds().to_zarr(store, zarr_format=2)
    piece = sorted((store / "wind").glob("[0-9]*"))[0]
    piece.unlink()
    if kind == "pipe":
        os.mkfifo(piece)
    else:
        piece.symlink_to("/dev/zero" if kind == "device" else "nowhere")
    ran = run("map", store, "--height", 10, "-o", tmp_path / "maps.nc")
    assert ran.code == 2
    assert str(piece) in ran.err


def test_what_claims_more_than_it_can_hold_is_refused(run, tmp_path):
    import h5py  # noqa: PLC0415

    grid, store = tmp_path / "grid.nc", tmp_path / "winds.zarr"
    with h5py.File(grid, "w") as file:
        made = file.create_dataset("wind", (10**6, 10**4), "f8", chunks=(100, 100))
        made.attrs.update(SPEED)
    winds().to_zarr(store, zarr_format=2)
    for described in (store / "wind" / ".zarray", store / ".zmetadata"):
        described.write_text(described.read_text().replace("48,", "480000000,"))
    for words in (("wind", grid), ("map", grid, "-o", tmp_path / "m.nc"),
                  ("map", store, "-o", tmp_path / "m.nc")):  # fmt: skip
        ran = run(*words)
        assert ran.code == 2
        assert "it claims to hold" in ran.err


def test_a_netcdf_file_that_reaches_into_others_is_refused(run, tmp_path):
    import h5py  # noqa: PLC0415

    linked, outside = tmp_path / "linked.nc", tmp_path / "outside.nc"
    with h5py.File(linked, "w") as file:
        file["wind"] = h5py.ExternalLink("other.nc", "wind")
    with h5py.File(outside, "w") as file:
        file.create_dataset("wind", (8,), "f8", external=[("/dev/zero", 0, 64)])
    for path in (linked, outside):
        ran = run("wind", path)
        assert ran.code == 2
        assert "kept in other files" in ran.err


def test_settings_of_others_cannot_make_a_record_unreadable(tmp_path):
    path = tmp_path / "wind.csv"
    path.write_text("time,wind (m/s)\n" + "".join(f"2024-01-{d:02},{d}\n" for d in range(1, 29)))
    assert read_wind(path).speed_ms.size == 28


def repeated(piece, times):
    """Return a raw deflate stream of `piece`, repeated without being packed anew."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    block = packer.compress(piece) + packer.flush(zlib.Z_FULL_FLUSH)
    return block * times + packer.flush()


@pytest.mark.parametrize(
    "piece", [b"1,2\n" * 250_000, b"1," * 500_000, b"x" * 10**6], ids=["lines", "cells", "letters"]
)
@pytest.mark.parametrize("file", ["wind.csv", "curve.csv", "bill.csv", "plan.toml"])
def test_a_packed_bomb_is_refused(run, yard, file, piece):
    head = b"\x1f\x8b\x08" + bytes(7)
    (yard / file).write_bytes(head + repeated(piece, 300) + bytes(8))
    ran = run("estimate", yard, "--draws", 0)
    assert ran.code == 2
    assert file in ran.err


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_archives_that_unpack_without_a_bound_are_refused(run, yard, tmp_path, method):
    path = tmp_path / "wind.zip"
    with zipfile.ZipFile(path, "w", method) as archive:
        archive.write(yard / "wind.csv", "wind.csv")
    ran = run("wind", path)
    assert ran.code == 2
    assert "deflate" in ran.err


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a = " + "[" * 19_000, "brackets stand too deep"),
        (".".join("a" * 200_000) + " = 1", "characters"),
        ("a = " + "9" * 5000, "a number is too long"),
        ('title = "\\u001b[2J"', "control character"),
        ("#" + "x" * 30_000, "characters"),
    ],
    ids=["deep", "dotted", "digits", "controls", "long"],
)
def test_a_plan_that_is_beyond_all_measure_is_refused(run, yard, text, message):
    (yard / "plan.toml").write_text(text)
    ran = run("check", yard)
    assert ran.code == 2
    assert message in ran.err
    assert len(ran.err) < 1200


@pytest.mark.parametrize(
    "tail", [" (" + " " * 3000 + "x", " " + "(" * 200_000, " " + "_a" * 90_000]
)
def test_headings_beyond_all_measure_are_refused_at_once(run, tmp_path, tail):
    path = tmp_path / "wind.csv"
    path.write_text(f"time,wind{tail}\n2024-01-01,3\n2024-01-02,4\n2024-01-03,4\n")
    ran = run("wind", path)
    assert ran.code == 2
    assert "a heading has" in ran.err


def test_a_line_without_an_end_is_refused(run, tmp_path):
    path = tmp_path / "wind.csv.gz"
    path.write_bytes(gzip.compress(b"time,wind (m/s)\n2024-01-01,3\n" + b"1," * 10**6))
    ran = run("wind", path)
    assert ran.code == 2
    assert "a line is longer than 1,000,000 characters" in ran.err


@pytest.mark.skipif(not Path("/proc/kmsg").exists(), reason="it is of Linux")
@pytest.mark.parametrize("path", ["/proc/kmsg", "/proc/self/pagemap", "/dev/zero", "/dev/stdin"])
def test_files_of_the_kernel_are_not_waited_for(run, path):
    ran = run("wind", path)
    assert ran.code == 2
    assert "the file is empty" in ran.err or "this is not a file" in ran.err


def test_a_link_to_a_record_may_be_read(run, yard, tmp_path):
    shutil.move(yard / "wind.csv", tmp_path / "elsewhere.csv")
    (yard / "wind.csv").symlink_to(tmp_path / "elsewhere.csv")
    assert run("check", yard).code == 0


def test_a_file_of_holes_is_refused_at_once(run, yard):
    with gzip.open(yard / "wind.csv.gz", "wb") as packed:
        packed.write((yard / "wind.csv").read_bytes())
    # gzip passes over zeros behind its data, however many terabytes of them.
    os.truncate(yard / "wind.csv.gz", 2**40)
    ran = run("wind", yard / "wind.csv.gz")
    assert ran.code == 2
    assert "holes" in ran.err


def test_months_too_uneven_for_any_distribution_are_refused(run, yard, tmp_path):
    months = tmp_path / "months.csv"
    rows = "".join(f"{month},{113 if month == 2 else 1e-6}\n" for month in range(1, 13))
    months.write_text(f"month,mean speed (m/s)\n{rows}")
    ran = run("wind", months, "--months")
    assert ran.code == 2
    assert "make no wind distribution" in ran.err


@pytest.mark.parametrize("size_m", [1e-320, 1e300])
@pytest.mark.parametrize(
    "key", ["wind.measured_height_m", "build.1.hub_height_m", "build.1.rotor_diameter_m"]
)
def test_sizes_beyond_all_measure_are_refused(run, yard, key, size_m):
    ran = run("estimate", yard, "--draws", 0, "--set", f"{key}={size_m}")
    assert ran.code == 2
    assert key in ran.err


def test_a_bill_of_thousands_of_groups_is_worked_and_drawn_by_its_largest(run, yard):
    """Each row is named where it stands, in one pass, and a chart sums what it cannot hold."""
    rows = "".join(f"part {at},1,{at},group {at},per unit\n" for at in range(1, 3001))
    head = "item,quantity,unit price,group,scope\n"
    (yard / "bill.csv").write_text(head + rows, encoding="utf-8")
    done = run("report", yard, "-o", yard / "page.html", "--set", "uncertainty.draws=0")
    assert done.code == 0, done.err
    page = (yard / "page.html").read_text(encoding="utf-8")
    assert "2,981 other groups" in page
    assert "group 2982<" in page
    assert "group 2981<" not in page


def test_a_table_to_paste_has_an_end(run, yard, edit):
    rows = "".join(f"part {at},1,{at}\n" for at in range(1000))
    (yard / "bill.csv").write_text(f"item,quantity,unit price\n{rows}", encoding="utf-8")
    edit(yard / "plan.toml", "# count = 1", "count = 2")
    refused = run("estimate", yard)
    assert refused.code == 2
    assert refused.err.splitlines()[-1] == "... and 941 likewise"
    assert len(refused.err.splitlines()) == 62


def test_more_builds_than_one_plan_compares_are_refused(run, yard):
    plan = yard / "plan.toml"
    text = plan.read_text(encoding="utf-8")
    build = text[text.index("[[build]]") : text.index("[economics]")]
    more = "".join(build.replace("one machine", f"machine {at}") for at in range(50))
    plan.write_text(text.replace("[economics]", f"{more}[economics]"), encoding="utf-8")
    refused = run("check", yard)
    assert refused.code == 2
    assert " builds are more than one plan compares, 50 at most" in refused.err
