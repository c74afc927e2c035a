"""Data frames, series, datasets and arrays stand wherever a file does, and mean the same."""

import doctest
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from yieldest.errors import InputError
from yieldest.wind.read_wind import read_wind
from yieldest.wind.summary_tables import read_frequency_table, read_monthly_means

HOURS = pd.date_range("2025-01-01", periods=200, freq="h")
RNG = np.random.default_rng(4)
FRAME = pd.DataFrame(
    {
        "speed (mph)": np.round(12 * RNG.weibull(2, 200), 1),
        "wind direction": RNG.integers(0, 360, 200),
        "temp (F)": np.round(RNG.normal(50, 9, 200), 1),
        "gust (mph)": np.round(20 + 12 * RNG.weibull(2, 200), 1),
        "remarks": "none",
    },
    index=HOURS,
)


def same(one, other):
    np.testing.assert_array_equal(one.time, other.time)
    for name in ("speed_ms", "direction_deg", "temperature_c", "gust_ms"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
    assert one.resolution_ms == other.resolution_ms


@pytest.fixture
def from_file(tmp_path):
    path = tmp_path / "wind.csv"
    FRAME.rename_axis("time").to_csv(path)
    return read_wind(path)


def test_a_frame_is_read_as_its_file_is(from_file):
    same(read_wind(FRAME), from_file)


def test_times_may_stand_in_a_column_as_times_or_as_text(from_file):
    frame = FRAME.rename_axis("time").reset_index()
    same(read_wind(frame), from_file)
    texts = frame.assign(time=frame["time"].dt.strftime("%d.%m.%Y %H:%M"))
    same(read_wind(texts, date_order="day first"), from_file)
    with pytest.raises(InputError, match="state date_order"):
        read_wind(texts)


def test_rows_picked_of_a_frame_keep_their_own_count():
    frame = FRAME.rename_axis("time").reset_index()
    picked = frame[frame["speed (mph)"] > 3]
    assert read_wind(picked).time.size == len(picked)


def test_missing_speeds_and_marks_of_a_frame_count_as_those_of_a_file(tmp_path):
    frame = FRAME.copy()
    frame.iloc[3, 0], frame.iloc[5, 0] = np.nan, -999
    frame.rename_axis("time").to_csv(tmp_path / "wind.csv")
    record = read_wind(frame)
    same(record, read_wind(tmp_path / "wind.csv"))
    assert np.flatnonzero(np.isnan(record.speed_ms)).tolist() == [3, 5]


def test_a_series_holds_speeds_whatever_its_name():
    series = FRAME["speed (mph)"].rename("roof")
    record = read_wind(series, units="mph", height_m=12)
    assert record.speed_ms == pytest.approx(0.44704 * series.to_numpy())
    with pytest.raises(InputError, match="does not say the speed unit"):
        read_wind(series)


def test_times_with_a_zone_become_utc_and_others_by_the_stated_zone():
    local = FRAME.tz_localize("Europe/Berlin")
    assert read_wind(local).time[0] == np.datetime64("2024-12-31T23:00")
    assert read_wind(FRAME, time_zone="Europe/Berlin").time[0] == np.datetime64("2024-12-31T23:00")


def test_the_hour_that_comes_twice_is_told_apart_by_the_order_of_the_rows():
    utc = pd.date_range("2025-10-25 20:00", periods=12, freq="h", tz="UTC")
    wall = utc.tz_convert("Europe/Berlin").tz_localize(None)
    series = pd.Series(np.arange(12.0) + 1, index=wall, name="speed (m/s)")
    record = read_wind(series, time_zone="Europe/Berlin")
    np.testing.assert_array_equal(record.time, utc.tz_localize(None).to_numpy("datetime64[ns]"))


def test_readings_of_a_frame_are_averaged_as_those_of_a_file(tmp_path):
    FRAME.rename_axis("time").to_csv(tmp_path / "wind.csv")
    same(read_wind(FRAME, average_s=86400), read_wind(tmp_path / "wind.csv", average_s=86400))


def test_rows_of_a_frame_are_picked_by_their_times():
    frame = FRAME.rename_axis("time")
    times = [str(each) for each in frame.index[[3, 8]]]
    record = read_wind(frame, where={"time": times})
    np.testing.assert_array_equal(record.time, frame.index[[3, 8]].to_numpy())
    with pytest.raises(InputError, match=f"no row has '2025' in column 'time', .* '{times[0]}'"):
        read_wind(frame.iloc[3:], where={"time": "2025"})


def test_one_station_of_a_frame_is_picked():
    both = pd.concat([FRAME.assign(station="HILL"), (FRAME * 1).assign(station="BAY")])
    with pytest.raises(InputError, match="several stations"):
        read_wind(both)
    assert read_wind(both, where={"station": "BAY"}).time.size == 200


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda f: f.assign(**{"speed (mph)": ["much", *f["speed (mph)"][1:]]}), "row 1: 'much'"),
        (lambda f: f.assign(**{"speed (mph)": [3, -4, *f["speed (mph)"][2:]]}), "row 2: -4"),
        (lambda f: f.drop(columns="speed (mph)"), "no column was recognised as the speed"),
        (lambda f: f.reset_index(drop=True), "no column was recognised as the time"),
        (lambda f: f.set_axis([pd.NaT, *f.index[1:]]), "row 1: the time in column"),
        (lambda f: f.iloc[:0], "no data line"),
        (lambda f: pd.concat([f, f], axis=1), "two columns have one name"),
    ],
)
def test_what_is_wrong_with_a_frame_is_named(change, said):
    with pytest.raises(InputError, match=said):
        read_wind(change(FRAME))


def test_a_dataset_is_read_as_its_file_is(tmp_path):
    speed = xr.DataArray(
        FRAME["speed (mph)"].to_numpy() * 0.44704,
        coords={"time": HOURS},
        name="ws",
        attrs={"standard_name": "wind_speed", "units": "m s-1"},
    )
    data = speed.to_dataset()
    data.to_netcdf(tmp_path / "wind.nc", engine="h5netcdf")
    from_file = read_wind(tmp_path / "wind.nc")
    for source in (data, speed):
        record = read_wind(source)
        np.testing.assert_array_equal(record.time, from_file.time)
        np.testing.assert_array_equal(record.speed_ms, from_file.speed_ms)


def test_a_bare_array_needs_its_unit_stated():
    array = xr.DataArray(np.full(48, 10.0), coords={"time": HOURS[:48]})
    with pytest.raises(InputError, match="has no units"):
        read_wind(array)
    assert read_wind(array, units="kn").speed_ms == pytest.approx(np.full(48, 10 * 1852 / 3600))


def test_what_is_no_source_is_a_type_error():
    with pytest.raises(TypeError, match="list"):
        read_wind([1.0, 2.0])


@pytest.mark.parametrize("stated", [{"unit": "mph"}, {"columns": {"spede": "x"}}, {"point": 0}])
def test_an_option_that_is_none_is_refused(stated):
    with pytest.raises(InputError, match=next(iter(stated))):
        read_wind(FRAME, **stated)


def test_a_frequency_table_may_be_a_frame_or_a_series():
    frame = pd.DataFrame({"from (m/s)": [0, 4, 8], "to (m/s)": [4, 8, 12], "percent": [50, 40, 10]})
    table = read_frequency_table(frame)
    assert table.share == pytest.approx([0.5, 0.4, 0.1])
    series = pd.Series([0.5, 0.4, 0.1], index=pd.Index([2.0, 6.0, 10.0], name="bin (m/s)"))
    middles = read_frequency_table(series)
    assert middles.upper_ms == pytest.approx(table.upper_ms)
    assert middles.share == pytest.approx(table.share)


def test_twelve_monthly_means_may_be_a_series():
    series = pd.Series(np.linspace(6, 4, 12), index=range(1, 13), name="speed (kn)")
    assert read_monthly_means(series).speed_ms == pytest.approx(series * 1852 / 3600)
    with pytest.raises(InputError, match=r"row 2: '1(\.0)?' in"):
        read_monthly_means(series.set_axis([1, 1, *range(3, 13)]))


def test_the_examples_of_the_page_run():
    page = Path(__file__).parents[1] / "docs" / "records.md"
    failed, tried = doctest.testfile(str(page), module_relative=False, encoding="utf-8")
    assert tried >= 7
    assert failed == 0
