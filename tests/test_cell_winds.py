"""The fit from power sums: the one-site fit, for every cell and from parts of a record."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import stats

from yieldest.energy.closed_form import mean_power_w
from yieldest.wind.power_sums import (
    calm_readings,
    fit_power_sums,
    mean_of_power,
    moving_readings,
    power_sums,
)
from yieldest.wind.weibull import fit_maximum_likelihood

CURVE = (np.array([3.0, 5.0, 8.0, 11.0, 14.0, 18.0]), np.array([0.0, 60, 260, 600, 780, 800.0]))


def winds(shape, scale, cells=4, readings=8760, seed=7):
    return scale * np.random.default_rng(seed).weibull(shape, (cells, readings))


def rounded(step):
    speed = np.round(winds(1.9, 6.0) / step) * step
    return np.where(speed == 0, np.nan, speed)


def two_regimes():
    speed = winds(2.0, 2.0)
    speed[:, ::2] += 10
    return speed


RECORDS = {
    **{f"shape {shape}": winds(shape, 7.0) for shape in (1.0, 1.3, 1.6, 2.0, 2.5, 3.0, 4.0, 6.0)},
    "light": winds(2.0, 2.0),
    "strong": winds(2.0, 14.0),
    "whole m/s": rounded(1.0),
    "whole knots": rounded(1852 / 3600),
    "tenths": rounded(0.1),
    "thirty readings": winds(2.0, 7.0, readings=30),
    "two regimes": two_regimes(),
}


@pytest.mark.parametrize("name", RECORDS)
def test_power_sums_give_the_fit_of_the_readings_themselves(name):
    speed = RECORDS[name]
    shape, scale = fit_power_sums(power_sums(speed))
    own_shape, own_scale = fit_maximum_likelihood(speed)
    np.testing.assert_allclose(shape, own_shape, rtol=5e-6)
    np.testing.assert_allclose(scale, own_scale, rtol=5e-6)
    np.testing.assert_allclose(
        mean_power_w(shape, scale, *CURVE), mean_power_w(own_shape, own_scale, *CURVE), rtol=1e-5
    )


def test_power_sums_agree_with_a_general_reference():
    """scipy.stats: the maximum of the likelihood by another route, a simplex search."""
    speed = winds(1.8, 6.5, cells=1)
    their_shape, _, their_scale = stats.weibull_min.fit(speed[0], floc=0)
    shape, scale = fit_power_sums(power_sums(speed))
    assert shape[0] == pytest.approx(their_shape, rel=1e-4)
    assert scale[0] == pytest.approx(their_scale, rel=1e-4)


@settings(deadline=None, max_examples=60)
@example(shape=5.0, scale=1.0, readings=207, seed=1680)
@given(
    shape=st.floats(1.0, 6.0),
    scale=st.floats(1.0, 20.0),
    readings=st.integers(50, 3000),
    seed=st.integers(0, 2**32 - 1),
)
def test_any_weibull_record_is_fitted_as_by_itself(shape, scale, readings, seed):
    speed = winds(shape, scale, 3, readings, seed)
    own_shape, own_scale = fit_maximum_likelihood(speed)
    found_shape, found_scale = fit_power_sums(power_sums(speed))
    # A short record may have any shape; the promise is for shapes from 1 to 6.
    told = (own_shape >= 1) & (own_shape <= 6)
    np.testing.assert_allclose(found_shape[told], own_shape[told], rtol=5e-6)
    np.testing.assert_allclose(found_scale[told], own_scale[told], rtol=5e-6)


@settings(deadline=None, max_examples=30)
@given(cuts=st.lists(st.integers(1, 999), max_size=4), seed=st.integers(0, 1000))
def test_sums_of_parts_add_up(cuts, seed):
    speed = winds(1.7, 6.0, 3, 1000, seed)
    speed[0, ::7], speed[1, ::5] = np.nan, 0
    parts = np.split(speed, sorted(set(cuts)), axis=-1)
    np.testing.assert_allclose(
        sum(power_sums(part) for part in parts), power_sums(speed), rtol=1e-6, atol=1e-4
    )


def test_a_piece_of_steady_wind_is_summed_in_double_precision():
    """From single precision a shape above 5 comes out wrong in the third digit and worse."""
    speed = winds(5.5, 7.0)
    own_shape, own_scale = fit_maximum_likelihood(speed)
    shape, scale = fit_power_sums(power_sums(speed))
    np.testing.assert_allclose(shape, own_shape, rtol=1e-7)
    np.testing.assert_allclose(scale, own_scale, rtol=1e-7)


def test_missing_and_calm_readings_are_counted_apart():
    speed = winds(2.0, 7.0, cells=5)
    speed[1, ::3], speed[2, ::4], speed[3], speed[4] = np.nan, 0, np.nan, 0
    sums = power_sums(speed)
    with np.errstate(invalid="ignore"):
        readings, calms = np.isfinite(speed).sum(-1), (speed == 0).sum(-1)
    np.testing.assert_array_equal(calm_readings(sums), calms)
    np.testing.assert_allclose(moving_readings(sums), readings - calms)
    shape, _ = fit_power_sums(sums)
    np.testing.assert_allclose(shape[:3], fit_maximum_likelihood(speed)[0][:3], rtol=1e-6)
    assert np.isnan(shape[3:]).all()
    for order in (1, 2, 3):
        expected = [np.nanmean(row**order) for row in speed[:3]]
        np.testing.assert_allclose(mean_of_power(sums, order)[:3], expected, rtol=1e-6)
    assert np.isnan(mean_of_power(sums, 1)[3])
    assert mean_of_power(sums, 1)[4] == 0


def test_a_constant_wind_and_a_single_reading_have_no_fit():
    for speed in (np.full((2, 50), 4.0), np.array([[5.0], [0.0]]), np.zeros((2, 0))):
        shape, scale = fit_power_sums(power_sums(speed))
        assert np.isnan(shape).all()
        assert np.isnan(scale).all()


def test_a_shape_beyond_the_sums_is_missing_rather_than_wrong():
    shape, scale = fit_power_sums(power_sums(winds(9.0, 7.0)))
    assert np.isnan(shape).all()
    assert np.isnan(scale).all()


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_any_memory_order_and_float_type_does(dtype):
    speed = winds(2.0, 7.0, cells=6, readings=700).astype(dtype)
    time_first = np.ascontiguousarray(speed.T).reshape(700, 2, 3)
    sums = power_sums(np.moveaxis(time_first, 0, -1))
    np.testing.assert_allclose(sums.reshape(6, -1), power_sums(speed.astype(float)), rtol=1e-12)
