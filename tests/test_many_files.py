"""Records in several files, rows in any order, quick readings averaged, and the progress told."""

import gzip
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from winds import cut_into_blocks

from yieldest.errors import InputError
from yieldest.wind import record_rows as rows
from yieldest.wind.read_wind import RepeatedTimes, read_wind
from yieldest.wind.record_rows import (
    Averager,
    LinesBackInTime,
    ReadingsAtOneTime,
    ReadingsAveraged,
    ReadingsBeyondUsual,
)
from yieldest.wind.record_values import ValuesBeyondLimits

HEADING = "time,speed (km/h),wind direction (deg),temp (C)\n"


def lines_of(count, seed=1, interval_s=600):
    random = np.random.default_rng(seed)
    times = np.datetime64("2025-01-30T22:00:00") + np.arange(count) * interval_s
    speed = np.round(18 * random.weibull(2, count), 1)
    direction = random.integers(0, 360, count)
    temperature = np.round(random.normal(8, 3, count), 1)
    return [
        f"{time},{v},{angle},{t}\n"
        for time, v, angle, t in zip(times, speed, direction, temperature, strict=True)
    ]


def same(one, other):
    for name in ("time", "speed_ms", "direction_deg", "temperature_c"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
    assert one.resolution_ms == other.resolution_ms
    assert one.data_recovery.share == other.data_recovery.share
    assert one.data_recovery.month_share == other.data_recovery.month_share


LINES = lines_of(120)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    path = tmp_path_factory.mktemp("whole") / "wind.csv"
    path.write_text(HEADING + "".join(LINES))
    return read_wind(path)


@settings(max_examples=25, deadline=None)
@given(order=st.permutations(range(len(LINES))))
def test_the_order_of_rows_does_not_matter(tmp_path_factory, whole, order):
    path = tmp_path_factory.mktemp("shuffled") / "wind.csv"
    path.write_text(HEADING + "".join(LINES[n] for n in order))
    same(read_wind(path), whole)


@settings(max_examples=25, deadline=None)
@given(
    cuts=st.lists(st.integers(1, len(LINES) - 1), max_size=6, unique=True),
    block=st.integers(5, 150),
)
def test_splitting_a_file_does_not_matter(tmp_path_factory, whole, cuts, block):
    folder = tmp_path_factory.mktemp("parts")
    edges = [0, *sorted(cuts), len(LINES)]
    for number, (start, end) in enumerate(pairwise(edges)):
        (folder / f"part-{number:02d}.csv").write_text(HEADING + "".join(LINES[start:end]))
    with pytest.MonkeyPatch.context() as patch:
        cut_into_blocks(patch, block)
        same(read_wind(folder), whole)
        same(read_wind(folder / "part-*.csv"), whole)


@settings(max_examples=20, deadline=None)
@given(cut=st.integers(1, 39))
def test_splitting_decides_marks_and_date_order_alike(tmp_path_factory, cut):
    """Neither half need show by itself that 99.9 is a mark or that the day comes first."""
    lines = [f"{day:02d}/{month:02d}/2025,{4 + day / 10:.1f}\n" for month in (1, 2)
             for day in range(1, 21)]  # fmt: skip
    lines[3] = lines[3].replace(lines[3].split(",")[1], "99.9\n")
    lines[20] = lines[20].replace(lines[20].split(",")[1], "99.9\n")
    lines[39] = lines[39].replace(lines[39].split(",")[1], "99.9\n")
    heading = "date,speed (m/s)\n"
    folder = tmp_path_factory.mktemp("halves")
    (folder / "1.csv").write_text(heading + "".join(lines[:cut]))
    (folder / "2.csv").write_text(heading + "".join(lines[cut:]))
    record = read_wind(folder)
    assert np.isnan(record.speed_ms).sum() == 3
    assert record.time[20] == np.datetime64("2025-02-01")


def test_files_of_months_may_differ_in_columns_and_packing(tmp_path):
    (tmp_path / "01.csv").write_text(HEADING + "".join(LINES[:60]))
    bare = [",".join(line.split(",")[:2]) + "\n" for line in LINES[60:120]]
    packed = gzip.compress(("time;speed (km/h)\n" + "".join(bare).replace(",", ";")).encode())
    (tmp_path / "02.csv.gz").write_bytes(packed)
    (tmp_path / "notes.md").write_text("not a record")
    record = read_wind(tmp_path)
    assert record.time.size == 120
    assert np.isfinite(record.temperature_c).sum() == 60
    found = {part.what: part.found for part in record.found}
    assert found["files"] == "2, 01.csv to 02.csv.gz"


def test_a_folder_is_read_with_its_workbooks_and_what_is_not_read_is_listed(tmp_path):
    times = pd.date_range("2025-01-01", periods=48, freq="h")
    frame = pd.DataFrame({"time": times, "speed (m/s)": np.arange(48) / 4})
    frame[:20].to_csv(tmp_path / "a.csv", index=False)
    frame[20:].to_excel(tmp_path / "b.xlsx", index=False)
    for name in ("~$b.xlsx", ".hidden.csv"):
        (tmp_path / name).write_text("of a program")
    (tmp_path / "photo.jpg").write_bytes(b"no record")
    record = read_wind(tmp_path)
    assert record.speed_ms.tolist() == (np.arange(48) / 4).tolist()
    found = {one.what: one.found for one in record.found}
    assert found["files not read"] == "photo.jpg"


def test_wrong_values_are_named_in_the_right_file(tmp_path, monkeypatch):
    (tmp_path / "01.csv").write_text(HEADING + "".join(LINES[:50]))
    spoilt = [*LINES[50:100]]
    spoilt[7] = spoilt[7].split(",")[0] + ",-5,0,0\n"
    (tmp_path / "02.csv").write_text("# a note\n" + HEADING + "".join(spoilt))
    for block in (3, 1000):
        cut_into_blocks(monkeypatch, block)
        with pytest.raises(InputError, match=r"02\.csv, line 10: -5"):
            read_wind(tmp_path)


def test_files_of_one_record_must_agree_on_units(tmp_path):
    (tmp_path / "01.csv").write_text("time,speed (km/h)\n2025-01-01,5\n")
    (tmp_path / "02.csv").write_text("time,speed (mph)\n2025-01-02,5\n")
    with pytest.raises(InputError, match=r"02\.csv.*mph.*01\.csv.*km/h"):
        read_wind(tmp_path)


def test_repeats_and_disorder_are_kept_in_view(tmp_path):
    path = tmp_path / "wind.csv"
    path.write_text(HEADING + LINES[0] + LINES[2] + LINES[1] + LINES[2] + LINES[3])
    record = read_wind(path)
    assert record.time.size == 4
    assert record.repeated.astype("datetime64[m]").astype(str).tolist() == ["2025-01-30T22:20"]
    assert record.disordered.astype("datetime64[m]").astype(str).tolist() == ["2025-01-30T22:10"]
    assert RepeatedTimes(str(path), 1, 0) in record.provenance.warnings


def quick_record(path, seconds=7200):
    lines = lines_of(seconds, interval_s=1)
    path.write_text(HEADING + "".join(lines))
    speed = np.array([float(line.split(",")[1]) for line in lines]) / 3.6
    return lines, speed


@pytest.mark.parametrize("block", [500, 5000])
def test_quick_readings_beyond_a_bound_are_averaged(tmp_path, monkeypatch, block):
    path = tmp_path / "wind.csv"
    lines, speed = quick_record(path)
    assert read_wind(path).time.size == 7200
    cut_into_blocks(monkeypatch, block)
    monkeypatch.setattr(rows, "MANY_ROWS", 1000)
    record = read_wind(path)
    by_minute = speed.reshape(-1, 60)
    assert record.time.size == 120
    assert record.data_recovery.interval_s == 60
    assert record.speed_ms == pytest.approx(by_minute.mean(axis=1))
    assert record.standard_deviation_ms == pytest.approx(by_minute.std(axis=1))
    assert record.gust_ms == pytest.approx(by_minute.max(axis=1))
    # The mean cube of the readings themselves, which that of the averages falls short of.
    assert record.mean_cube_m3_s3 == pytest.approx((speed**3).mean(), rel=1e-12)
    assert (record.speed_ms**3).mean() < 0.9 * record.mean_cube_m3_s3
    (averaged,) = [f for f in record.provenance.warnings if isinstance(f, ReadingsAveraged)]
    assert (averaged.readings, averaged.interval_s) == (7200, 60)
    direction = np.radians([float(line.split(",")[2]) for line in lines[:60]])
    east, north = (speed[:60] * np.sin(direction)).sum(), (speed[:60] * np.cos(direction)).sum()
    assert record.direction_deg[0] == pytest.approx(np.degrees(np.arctan2(east, north)) % 360)
    temperature = np.array([float(line.split(",")[3]) for line in lines[:60]])
    assert record.temperature_c[0] == pytest.approx(temperature.mean())
    assert record.resolution_ms is None


def test_averaging_can_be_stated_and_forbidden(tmp_path, monkeypatch):
    path = tmp_path / "wind.csv"
    _, speed = quick_record(path)
    record = read_wind(path, average_s=600)
    assert record.speed_ms == pytest.approx(speed.reshape(-1, 600).mean(axis=1))
    monkeypatch.setattr(rows, "MANY_ROWS", 1000)
    assert read_wind(path, average_s=0).time.size == 7200
    slow = tmp_path / "slow.csv"
    slow.write_text(HEADING + "".join(lines_of(2000)))
    assert read_wind(slow).time.size == 2000


def test_averages_tell_of_repeats_disorder_and_impossible_speeds(tmp_path):
    path = tmp_path / "wind.csv"
    lines, _ = quick_record(path, 600)
    lines[5] = lines[5].split(",")[0] + ",999.5,0,0\n"
    path.write_text(HEADING + "".join([*lines, *lines[300:310]]))
    record = read_wind(path, average_s=60)
    assert {
        ReadingsBeyondUsual(str(path), 60, 10),
        LinesBackInTime(str(path), 1),
        ValuesBeyondLimits(str(path), "speed", 0, 113.3, 1),
    } <= set(record.provenance.warnings)


@pytest.mark.parametrize("block", [7, 50, 10_000])
def test_disorder_and_repeats_are_counted_alike_however_the_rows_are_cut(
    tmp_path, monkeypatch, block
):
    cut_into_blocks(monkeypatch, block)
    path = tmp_path / "wind.csv"
    lines, _ = quick_record(path, 600)
    lines[350:350] = [*lines[100:110], lines[349]]

    def counted(lines):
        path.write_text(HEADING + "".join(lines))
        warnings = read_wind(path, average_s=60).provenance.warnings
        kinds = (LinesBackInTime, ReadingsAtOneTime)
        return {
            type(w).__name__: w.lines if isinstance(w, LinesBackInTime) else w.readings
            for w in warnings
            if isinstance(w, kinds)
        }

    assert counted(lines)["LinesBackInTime"] == 1
    # A log that begins with the newest line has as many out of order.
    assert counted(lines[::-1])["LinesBackInTime"] == 1
    assert counted([*lines[:300], lines[299], *lines[300:350]]) == {"ReadingsAtOneTime": 1}


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0, 40), min_size=1, max_size=200), st.integers(1, 50), st.randoms())
def test_averages_do_not_depend_on_blocks_or_order(speeds, block, random):
    speed = np.array(speeds)
    time = np.datetime64("2025-01-01", "ns") + np.arange(speed.size) * np.timedelta64(7, "s")
    order = np.array(random.sample(range(speed.size), speed.size))
    at_once, piecewise = Averager(60), Averager(60)
    at_once.add(time, {"speed": speed})
    for start in range(0, speed.size, block):
        part = order[start : start + block]
        piecewise.add(time[part], {"speed": speed[part]})
    for one, other in zip(at_once.result()[:2], piecewise.result()[:2], strict=True):
        if isinstance(one, dict):
            for role, column in one.items():
                np.testing.assert_allclose(other[role], column, rtol=1e-9, atol=1e-6)
        else:
            np.testing.assert_array_equal(other, one)
    assert piecewise.cubes == pytest.approx((speed**3).sum())


def test_progress_rises_to_the_end(tmp_path, monkeypatch):
    cut_into_blocks(monkeypatch, 100)
    lines = lines_of(9000)
    for number in range(3):
        part = lines[3000 * number : 3000 * (number + 1)]
        (tmp_path / f"{number}.csv").write_text(HEADING + "".join(part))
    (tmp_path / "3.csv.gz").write_bytes(gzip.compress((HEADING + LINES[0]).encode()))
    told = []
    read_wind(tmp_path, progress=told.append)
    assert told == sorted(told)
    assert 0 < told[0] < told[-1] <= 1
    assert told[-1] == pytest.approx(1)
