"""Weights by month and hour: a whole year from an uneven one."""

import numpy as np
import pytest
from winds import record_of, slow_weibull, times

from yieldest.wind.data_recovery import data_recovery_of, month_and_hour
from yieldest.wind.resource import ResourceOptions, assess_record
from yieldest.wind.seasons import season_weights


def seasonal_year(years=1):
    """Return hourly winds of whole years: windy winters, windy afternoons."""
    time = times(8760 * years)
    month, hour = month_and_hour(time)
    swing = 1 + 0.3 * np.cos(2 * np.pi * (month - 0.5) / 12)
    swing = swing * (1 + 0.2 * np.cos(2 * np.pi * (hour - 15) / 24))
    wind = slow_weibull(np.random.default_rng(1), time.size, 2.0, 6.0, 24.0)
    return time, wind * swing


def weights_without(gone):
    time, _ = seasonal_year()
    return season_weights(time, np.ones(time.size), ~gone(time))


def test_an_even_year_needs_no_weights():
    weights = weights_without(lambda time: np.zeros(time.size, bool))
    assert not weights.used
    assert np.all(weights.weight == 1.0)


def test_weights_add_up_to_a_year_in_each_month_and_hour():
    time, _ = seasonal_year()
    month, hour = month_and_hour(time)
    gone = ((month == 0) & (np.arange(time.size) < 400)) | ((month == 6) & (hour < 6))
    gone &= np.random.default_rng(2).random(time.size) < 0.7
    weights = season_weights(time, np.ones(time.size), ~gone)
    assert weights.used
    assert weights.weight.sum() == pytest.approx(8760)
    by_month = np.bincount(month, weights=weights.weight)
    assert by_month == pytest.approx(24 * np.bincount(month) / 24)
    assert np.all(weights.weight[gone] == 0)


def test_correction_brings_the_mean_of_an_uneven_record_back():
    time, speed = seasonal_year(2)
    truth = speed.mean()
    month, _ = month_and_hour(time)
    windy_lost = (month < 3) & (np.random.default_rng(3).random(time.size) < 0.7)
    record = record_of(np.where(windy_lost, np.nan, speed), time)
    study = assess_record(record, ResourceOptions())
    assert study.season.used
    assert study.clock_mean_speed_ms / truth - 1 < -0.03
    assert study.mean_speed_ms / truth - 1 == pytest.approx(0, abs=0.012)
    by_clock = assess_record(record, ResourceOptions(season_correction=False))
    assert by_clock.mean_speed_ms == pytest.approx(study.clock_mean_speed_ms)


def test_fourteen_months_count_the_doubled_winter_once():
    time, speed = seasonal_year(2)
    keep = time < np.datetime64("2026-03-01")
    study = assess_record(record_of(speed[keep], time[keep]), ResourceOptions())
    assert study.season.used
    shares = {group.name: group.share for group in study.months}
    assert shares["1"] == pytest.approx(31 / 365, rel=1e-6)
    assert study.clock_mean_speed_ms > study.mean_speed_ms


def test_a_missing_month_is_filled_from_both_sides():
    weights = weights_without(lambda time: month_and_hour(time)[0] == 4)
    time, _ = seasonal_year()
    month, _ = month_and_hour(time)
    by_month = np.bincount(month, weights=weights.weight)
    assert weights.used
    assert by_month[4] == 0
    assert by_month[3] == pytest.approx(30 * 24 + 31 * 12)
    assert by_month[5] == pytest.approx(30 * 24 + 31 * 12)
    assert "May" in weights.reason


def test_half_a_year_cannot_be_corrected():
    weights = weights_without(lambda time: month_and_hour(time)[0] >= 6)
    assert not weights.used
    assert "Jul" in weights.reason


def test_missing_seasons_widen_the_stated_uncertainty():
    time, speed = seasonal_year()
    whole = assess_record(record_of(speed, time), ResourceOptions())
    half = assess_record(record_of(speed[:4380], time[:4380]), ResourceOptions())
    weeks = assess_record(record_of(speed[:500], time[:500]), ResourceOptions())
    uncertainties = [study.uncertainty.mean_season for study in (whole, half, weeks)]
    assert uncertainties[0] == 0
    assert 0 < uncertainties[1] < uncertainties[2] < 0.2 / np.sqrt(2) + 1e-9
    # Half a year missing, swing 20 %: 0.2 / sqrt 2 * sin(pi/2) / (pi/2).
    assert uncertainties[1] == pytest.approx(0.2 / np.sqrt(2) * 2 / np.pi, rel=0.05)


def test_coverage_by_month_and_hour():
    time, _ = seasonal_year()
    month, hour = month_and_hour(time)
    coverage = data_recovery_of(time, ~((month == 2) & (hour == 5)))
    assert coverage.month_hour_share.shape == (12, 24)
    assert coverage.month_hour_share[2, 5] == 0
    assert coverage.month_hour_share[2, 6] == pytest.approx(1)
    assert coverage.month_share[2] == pytest.approx(23 / 24)


def test_three_readings_a_day_cover_the_day():
    time = times(3 * 365, minutes=480)
    coverage = data_recovery_of(time, np.ones(time.size, bool))
    assert coverage.share == pytest.approx(1)
    assert coverage.month_hour_share == pytest.approx(np.ones((12, 24)))
