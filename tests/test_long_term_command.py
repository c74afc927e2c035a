"""A long record beside a short one on the command line and in Python, and what is said of it."""

import json

import irish
import numpy as np
import pandas as pd
import pytest
from airport import airport_year

import yieldest
from yieldest.errors import InputError
from yieldest.wind.data_recovery import GapsInRecord, MonthsMissing
from yieldest.wind.long_term.correction import AboutReference, LongRecord, long_term

DAYS = pd.DatetimeIndex(irish.TIME)
UNSOUND = "from 1969 on it reads -13 %"
"""Shannon; the tests of tests/test_long_term.py find the same year."""
PLAN = """title = "invented"
currency = "EUR"
[site]
elevation_m = 0
[wind]
record = "short.csv"
measured_height_m = 10
reference = { record = "SHA.csv" }
[[build]]
name = "invented"
hub_height_m = 12
curve = "curve.csv"
"""


def station(name, part=slice(None)):
    """Return the speeds of a station as a series."""
    knots = irish.SPEED[irish.STATIONS.index(name), part] / irish.KNOT
    return pd.Series(np.round(knots, 2), DAYS[part].rename("time"), name="speed (kn)")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("stations")
    heading, *lines = station("RPT", slice(3000, 3180)).to_csv().splitlines()
    # Out of order, and one of them twice: two warnings that stand before any of a reference.
    (folder / "short.csv").write_text("\n".join([heading, *lines[90:], *lines[:91]]))
    for name in ("SHA", "MUL"):
        station(name).to_csv(folder / f"{name}.csv")
    (folder / "curve.csv").write_text("speed (m/s),power (W)\n3,0\n6,200\n9,700\n12,1000\n20,1000")
    (folder / "plan.toml").write_text(PLAN)
    return folder


@pytest.fixture
def printed(run):
    """Return a function that returns what a command printed, on one line."""

    def printed_by(*words):
        ran = run(*words)
        assert ran.code == 0, ran.err
        return " ".join(ran.out.split())

    return printed_by


def test_wind_carries_a_record_to_the_years_of_references(folder, printed):
    files = [folder / f"{name}.csv" for name in ("SHA", "MUL")]
    command = ["wind", folder / "short.csv", "--reference", files[0], "--reference", files[1]]
    told = json.loads(printed(*command, "--json"))["long_term"]
    by_arrays = long_term(
        irish.TIME[3000:3180],
        station("RPT", slice(3000, 3180)).to_numpy() * irish.KNOT,
        [LongRecord(irish.TIME, station(name).to_numpy() * irish.KNOT) for name in ("SHA", "MUL")],
    )
    assert told["mean_speed_ms"] == pytest.approx(by_arrays.chosen.mean_ms, rel=1e-6)
    assert told["standard_uncertainty"] == pytest.approx(by_arrays.standard_uncertainty, rel=1e-6)
    answer, full = printed(*command), printed(*command, "--full")
    for text in (answer, full):
        assert f"mean {by_arrays.chosen.mean_ms:.2f} m/s (90 % range" in text
        assert UNSOUND in text
        assert f"Over the years of {files[0]}, weighed with {files[1]}: mean" in text
    alone = printed(*command[:4])
    assert f"Over the years of {files[0]}: mean" in alone
    assert "best linear prediction (chosen)" in full


def test_a_reference_of_years_to_come_is_doubted(folder, printed):
    later = station("MUL")
    record = station("RPT", slice(3000, 3180))
    years = pd.DateOffset(years=84)
    later.index, record.index = (DAYS + years).rename("time"), (record.index + years).rename("time")
    later.to_csv(folder / "later.csv")
    record.to_csv(folder / "now.csv")
    command = ["wind", folder / "now.csv", "--reference", folder / "later.csv"]
    doubted = f"{len(DAYS):d}, the first"
    for more in ((), ("--full",), ("--json",)):
        text = printed(*command, *more)
        assert "later.csv: readings dated after today" in text.replace("\\n", " ")
        assert doubted in text


def test_a_reference_goes_with_a_record_alone(folder, run):
    ran = run("wind", folder / "short.csv", "--table", "--reference", folder / "SHA.csv")
    assert ran.code == 2
    assert "--reference: for a record" in " ".join(ran.err.split())


@pytest.mark.parametrize(("rule", "apart"), [("MS", "31"), ("7D", "7")])
def test_a_reference_of_monthly_or_weekly_means_is_refused_by_its_name(folder, run, rule, apart):
    station("SHA").resample(rule).mean().to_csv(folder / "means.csv")
    said = f"means.csv: the reference has a reading every {apart} days"
    plan = folder / "means.toml"
    plan.write_text(PLAN.replace("SHA.csv", "means.csv"))
    beside = ("--reference", folder / "SHA.csv", "--reference", folder / "means.csv")
    for words in (
        ("wind", folder / "short.csv", *beside[2:]),
        ("wind", folder / "short.csv", *beside, "--json"),
        ("check", plan),
        ("estimate", plan),
    ):
        ran = run(*words)
        assert (ran.code, ran.out) == (2, ""), words
        assert said in " ".join(ran.err.split()), words


def test_an_unsound_reference_is_named_in_the_answer_of_an_estimate(folder, printed):
    assert UNSOUND in printed("estimate", folder)


def test_frames_and_series_stand_for_references_as_for_files(folder):
    record = yieldest.read_wind(folder / "short.csv")
    from_files = yieldest.to_long_term(record, folder / "SHA.csv", folder / "MUL.csv")
    series, frame = station("SHA"), station("MUL").to_frame()
    found = yieldest.to_long_term(record, series, frame, units="kn")
    assert found.chosen == from_files.chosen
    np.testing.assert_array_equal(found.speed_ms, from_files.speed_ms)
    read = yieldest.to_long_term(record, yieldest.read_wind(series, units="kn"), frame)
    assert read.chosen == from_files.chosen
    with pytest.raises(InputError, match="give one long record"):
        yieldest.to_long_term(record)


@pytest.mark.parametrize("name", [None, "airport"])
def test_a_series_that_does_not_say_its_unit_is_in_metres_per_second(folder, name):
    record = yieldest.read_wind(folder / "short.csv")
    bare = (station("SHA") * irish.KNOT).rename(name)
    found = yieldest.to_long_term(record, bare)
    by_record = yieldest.to_long_term(record, yieldest.WindRecord.from_series(bare))
    assert found.chosen.mean_ms == pytest.approx(by_record.chosen.mean_ms, rel=1e-9)


def test_what_is_said_of_a_reference_has_its_name_and_stands_behind_the_records_own(
    folder, printed
):
    """A reference of daily means with one day of six left out and most of February."""
    time, stations = airport_year()
    times = pd.DatetimeIndex(time, name="time")
    near, here = (pd.Series(stations[n][0], times, name="speed (m/s)") for n in ("LGA", "JFK"))
    days = near.resample("D").mean()
    left = (np.arange(len(days)) % 6 > 0) & ((days.index.month != 2) | (days.index.day > 24))
    days[left].round(2).to_csv(folder / "near.csv")
    here[100 * 24 : 160 * 24].round(2).to_csv(folder / "here.csv")
    found = yieldest.to_long_term(yieldest.read_wind(folder / "here.csv"), folder / "near.csv")
    name = str(folder / "near.csv")
    months, gaps = [each for each in found.provenance.warnings if isinstance(each, AboutReference)]
    assert months == AboutReference(name, MonthsMissing((2,)))
    assert isinstance(gaps.found, GapsInRecord)
    command = ("wind", folder / "here.csv", "--reference", folder / "near.csv")
    own, of_reference = "The record spans 60 days", f"{name}: less than half of February"
    said = json.loads(printed(*command, "--json"))["warnings"]
    assert [each[: len(own)] for each in said].count(own) == 1
    assert [each[: len(of_reference)] for each in said].count(of_reference) == 1
    first_screen, full = printed(*command), printed(*command, "--full")
    plan = folder / "near.toml"
    plan.write_text(PLAN.replace("SHA.csv", "near.csv").replace("short.csv", "here.csv"))
    estimate = printed("estimate", plan, "--full")
    assert f"Check {own}" in first_screen
    for text in (first_screen, full):
        assert text.index(own) < text.index("near.csv: less than half of February")
    assert "near.csv: less than half of February" in estimate
    for text in (*said, first_screen, full, estimate):
        assert "24 h apart" not in text


def test_power_in_the_wind_of_daily_means_has_what_they_hide(folder, printed):
    """By hand: of the cubes of the means alone, less than what the points of each day hold."""
    told = json.loads(printed("wind", folder / "short.csv", "--json"))
    record = yieldest.read_wind(folder / "short.csv")
    assert told["mean_cube_m3_s3"] == pytest.approx((record.speed_ms**3).mean(), rel=0.01)
    hidden = told["mean_cube_with_hidden_spread_m3_s3"] / told["mean_cube_m3_s3"]
    # E[(1 + x)^3] = 1 + 3 s^2 + skewness s^3, with s = 0.39 at the mean wind and less above it.
    assert 1.2 < hidden < 1 + 3 * 0.39**2 + 0.1
    power = told["wind_power_density_w_m2"]
    assert power == pytest.approx(1.225 / 2 * told["mean_cube_with_hidden_spread_m3_s3"])
    assert f"{power:.0f} W/m² in the wind. The means over 24 h alone hold" in printed(
        "wind", folder / "short.csv"
    )
