"""Quality control: each test finds what was put there, and leaves honest wind alone."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from winds import record_of, slow_weibull, times

from yieldest.errors import InputError
from yieldest.wind.data_recovery import data_recovery_of, steps_of
from yieldest.wind.quality_control import QualityRules, control_quality
from yieldest.wind.suspect_readings import stuck_length

LEAVING_OUT = ("impossible", "sensor_top", "spike", "stuck", "frozen", "contradicted_calm")


def honest(hours=4000, seed=1):
    """Return an hourly wind to a tenth of a metre per second, with nothing wrong in it."""
    return slow_weibull(np.random.default_rng(seed), hours, 2.0, 6.0, 24.0).round(1)


def found(quality_control):
    return {test.name: test for test in quality_control.tests}


@pytest.mark.parametrize("seed", range(4))
def test_honest_wind_is_left_alone(seed):
    cold = np.full(4000, -5.0)
    quality_control = control_quality(
        record_of(honest(seed=seed), temperature_c=cold), QualityRules()
    )
    assert quality_control.left_out == 0
    assert all(found(quality_control)[name].count == 0 for name in LEAVING_OUT)


def test_impossible_and_beyond_the_sensor():
    speed = honest()
    speed[100], speed[200] = 250.0, 90.0
    tests = found(control_quality(record_of(speed), QualityRules()))
    assert tests["impossible"].count == 1
    assert tests["impossible"].first_times == ("2025-01-05 04:00:00",)
    assert tests["impossible"].first_speeds_ms == (250.0,)
    assert tests["sensor_top"].count == 1
    assert tests["spike"].count == 0  # already gone


def test_effects_are_those_of_leaving_out():
    speed = honest()
    speed[100] = 250.0
    test = found(control_quality(record_of(speed), QualityRules()))["impossible"]
    rest = np.delete(speed, 100)
    assert test.mean_effect == pytest.approx(rest.mean() / speed.mean() - 1)
    assert test.cube_effect == pytest.approx((rest**3).mean() / (speed**3).mean() - 1)


def test_spikes_of_one_and_two_readings_and_a_lone_zero():
    speed = np.full(200, 5.0) + 0.1 * (np.arange(200) % 7)
    speed[50], speed[80:82] = 40.0, 35.0
    speed[120:123] = 12.0, 0.0, 13.0
    quality_control = control_quality(record_of(speed), QualityRules())
    spikes = quality_control.flags[[t.name for t in quality_control.tests].index("spike")]
    assert list(np.flatnonzero(spikes)) == [50, 80, 81, 121]
    assert np.isnan(quality_control.record.speed_ms[[50, 80, 81, 121]]).all()
    assert np.isfinite(quality_control.original.speed_ms).all()


def test_a_storm_that_stays_is_no_spike():
    speed = honest()
    speed[300:306] = [8.0, 24.0, 28.0, 26.0, 20.0, 9.0]
    assert found(control_quality(record_of(speed), QualityRules()))["spike"].count == 0


def test_a_stuck_sensor():
    speed = honest()
    speed[700:740] = 4.3
    quality_control = control_quality(record_of(speed), QualityRules())
    stuck = found(quality_control)["stuck"]
    assert 40 <= stuck.count <= 42  # a neighbour may be alike by chance
    assert np.isnan(quality_control.record.speed_ms[700:740]).all()


@pytest.mark.parametrize(("minutes", "count"), [(1, 180), (7, 26), (10, 18), (20, 9)])
def test_three_hours_are_so_many_readings_whatever_their_sum(minutes, count):
    speed = np.random.default_rng(4).uniform(4, 8, 2000)
    time = times(2000, minutes=minutes)
    for readings, expected in ((count, count), (count - 1, 0)):
        same = speed.copy()
        same[500 : 500 + readings] = 5.0
        test = found(control_quality(record_of(same, time), QualityRules()))["stuck"]
        assert test.count == expected


def test_whole_knots_that_repeat_by_chance_are_not_stuck():
    speed = slow_weibull(np.random.default_rng(3), 8760, 2.0, 6.0, 24.0)
    knots = np.rint(speed / 0.5144) * 0.5144
    assert found(control_quality(record_of(knots), QualityRules()))["stuck"].count == 0


@pytest.mark.parametrize("seed", range(3))
def test_cold_does_not_freeze_a_wind_in_whole_metres_per_second(seed):
    wind = slow_weibull(np.random.default_rng(seed), 12_000, 2.0, 4.0, 60.0).round(0)
    record = record_of(wind, temperature_c=np.full(wind.size, -5.0))
    assert found(control_quality(record, QualityRules()))["frozen"].count == 0
    wind[4000:4200] = 6.0
    record = record_of(wind, temperature_c=np.full(wind.size, -5.0))
    rules = QualityRules(stuck_hours=False)
    assert 198 < found(control_quality(record, rules))["frozen"].count < 210


def test_a_frozen_sensor_needs_frost_and_a_still_vane():
    speed, direction = honest(), np.arange(4000.0) % 360
    speed[1000:1030] = 0.0
    direction[1000:1030] = 210.0
    for temperature, expected in ((-4.0, 30), (3.0, 0)):
        record = record_of(speed, temperature_c=np.full(4000, temperature), direction_deg=direction)
        assert (
            found(control_quality(record, QualityRules(calm_hours=False)))["frozen"].count
            == expected
        )
    turning = record_of(
        speed, temperature_c=np.full(4000, -4.0), direction_deg=np.arange(4000.0) % 360
    )
    assert found(control_quality(turning, QualityRules(calm_hours=False)))["frozen"].count == 0


def test_a_calm_night_of_frost_without_a_vane_is_believed():
    speed = honest()
    speed[1000:1010] = 0.0
    record = record_of(speed, temperature_c=np.full(4000, -4.0))
    assert found(control_quality(record, QualityRules(calm_hours=False)))["frozen"].count == 0


def test_a_dead_calm_between_strong_winds_is_contradicted():
    speed = honest()
    speed[498:500], speed[500:510], speed[510:512] = 9.0, 0.0, 9.0
    quality_control = control_quality(record_of(speed), QualityRules())
    assert found(quality_control)["contradicted_calm"].count == 10
    assert quality_control.left_out == 10


def test_a_calm_is_contradicted_by_a_neighbour_with_its_usual_wind():
    speed = honest()
    speed[497:520] = [1.0, 0.5, 0.2, *[0.0] * 17, 0.2, 0.5, 1.0]
    neighbour = honest(seed=2)
    assert found(control_quality(record_of(speed), QualityRules()))["contradicted_calm"].count == 0
    for during, expected in ((9.0, 17), (0.3, 0)):
        neighbour[495:525] = during
        quality_control = control_quality(record_of(speed), QualityRules(), neighbour)
        assert found(quality_control)["contradicted_calm"].count == expected


def test_gaps_and_changes_of_interval_are_noted_and_counted_by_the_clock():
    time = np.concatenate(
        [times(600, minutes=10), times(300, "2025-01-05T04:00"), times(100, "2025-02-01")]
    )
    speed = honest(1000)
    quality_control = control_quality(record_of(speed, time), QualityRules())
    tests = found(quality_control)
    assert tests["interval"].count == 1
    assert tests["interval"].first_times == ("2025-01-05 04:00:00",)
    assert tests["gap"].count == 1
    assert quality_control.left_out == 0
    assert quality_control.record.data_recovery.hours == pytest.approx(600 / 6 + 400)


def test_a_gap_switched_off_says_so():
    time = np.concatenate([times(100), times(100, "2025-02-01")])
    test = found(control_quality(record_of(honest(200), time), QualityRules(gap_intervals=False)))[
        "gap"
    ]
    assert not test.on
    assert test.count == 0


def test_threshold_and_rounding_are_noted_with_their_effect():
    speed = slow_weibull(np.random.default_rng(5), 8000, 2.0, 6.0, 24.0)
    seen = np.where(speed < 1.5, 0.0, np.rint(speed / 0.5144) * 0.5144)
    tests = found(control_quality(record_of(seen, resolution_ms=0.5144), QualityRules()))
    below, rounded = tests["below_threshold"], tests["rounded"]
    assert below.count == (seen == 0).sum()
    assert not below.leaves_out
    true_gain = speed.mean() / seen.mean() - 1
    assert below.mean_effect == pytest.approx(true_gain, rel=0.4)
    assert rounded.count == 8000
    # Sheppard: rounding of the same winds, without the threshold.
    fine = np.rint(speed / 0.5144) * 0.5144
    assert rounded.cube_effect == pytest.approx(
        (speed**3).mean() / (fine**3).mean() - 1, abs=0.0015
    )


@pytest.mark.parametrize("name", LEAVING_OUT)
def test_each_test_can_be_switched_off(name):
    speed = honest()
    speed[100], speed[200], speed[300] = 250.0, 90.0, 60.0
    speed[700:740] = 4.3
    speed[498:500], speed[500:530], speed[530:532] = 9.0, 0.0, 9.0
    record = record_of(speed, temperature_c=np.full(4000, -5.0))
    rule = {
        "impossible": "impossible_ms",
        "sensor_top": "sensor_top_ms",
        "spike": "spike_factor",
        "stuck": "stuck_hours",
        "frozen": "frozen_hours",
        "contradicted_calm": "calm_hours",
    }[name]
    assert found(control_quality(record, QualityRules()))[name].count > 0
    off = found(control_quality(record, QualityRules(**{rule: False})))[name]
    assert not off.on
    assert off.count == 0


def test_a_threshold_that_is_not_a_test_cannot_be_off():
    with pytest.raises(ValidationError, match="spike_excess_ms"):
        QualityRules(spike_excess_ms=False)


def test_a_record_that_screening_empties_is_refused():
    with pytest.raises(InputError, match="leaves no speed"):
        control_quality(record_of(np.full(50, 200.0)), QualityRules())


def test_one_reading_can_be_screened():
    assert control_quality(record_of([4.0]), QualityRules()).left_out == 0


def test_drifting_clocks_make_no_gaps():
    jitter = np.random.default_rng(6).integers(-40, 40, 500) * np.timedelta64(1, "s")
    time = times(500, minutes=10) + jitter
    steps = steps_of(time)
    assert steps.joined.all()
    assert steps.changed.size == 0
    coverage = data_recovery_of(time, np.ones(500, bool))
    assert coverage.share == pytest.approx(1.0, abs=0.05)


@given(
    st.lists(st.sampled_from([600, 600, 600, 610, 1200, 3000]), min_size=1, max_size=40),
    st.sampled_from([1.0, 1.5, 3.0]),
)
def test_gaps_and_durations_follow_from_the_median_step(steps_s, gap_intervals):
    time = np.datetime64("2025-01-01", "ns") + np.cumsum([0, *steps_s]) * np.timedelta64(1, "s")
    steps = steps_of(time, gap_intervals, steady_readings=100)
    usual_s = float(np.median(steps_s))
    assert steps.interval_s == usual_s
    np.testing.assert_array_equal(steps.usual_s, np.full(time.size, usual_s))
    np.testing.assert_array_equal(steps.joined, np.array(steps_s) <= gap_intervals * usual_s)
    hours = np.append(np.minimum(steps_s, usual_s), usual_s) / 3600
    np.testing.assert_allclose(steps.duration_h, hours, rtol=1e-15)


def test_the_quarters_of_a_long_record_are_told_by_a_part_of_it(monkeypatch):
    random = np.random.default_rng(11)
    speed = slow_weibull(random, 120_000, 2.0, 6.0, 60.0).round(1)
    joined = random.random(speed.size - 1) < 0.99
    exact = stuck_length(speed, joined)
    monkeypatch.setattr("yieldest.wind.suspect_readings.MOST_SORTED", 5_000)
    assert abs(stuck_length(speed, joined) - exact) <= 1
