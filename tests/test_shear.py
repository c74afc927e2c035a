"""The shear exponent measured at several heights."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from yieldest.errors import InputError
from yieldest.hub.shear import DAY_PARTS, SECTORS, measured_shear, measured_to_hub
from yieldest.hub.shear import shear_exponent as exponent_of
from yieldest.wind.profile import log_law_factor, power_law_factor

TIME = np.arange("2025-01-01", "2025-04-01", dtype="datetime64[h]")
WIND = np.random.default_rng(3).weibull(2, TIME.size) * 6


@given(st.floats(-0.2, 0.6), st.floats(2, 50), st.floats(1.3, 4))
def test_the_exponent_of_a_power_law_is_found(exponent, height, ratio):
    heights = height * np.array([1.0, ratio, ratio**2])
    speeds = 5 * power_law_factor(height, heights, exponent)
    assert exponent_of(heights, speeds) == pytest.approx(exponent, abs=1e-9)
    assert exponent_of(heights[:2], speeds[:2]) == pytest.approx(exponent, abs=1e-9)


def test_the_exponent_of_a_log_law_lies_between_the_slopes_at_its_ends():
    found = exponent_of([10.0, 20.0], [1.0, log_law_factor(10, 20, 0.1)])
    assert 1 / np.log(20 / 0.1) < found < 1 / np.log(10 / 0.1)


def test_exponents_differ_by_direction_and_hour():
    direction = np.where(np.arange(TIME.size) % 2, 90.0, 270.0)
    hour = TIME.astype(int) % 24
    exponent = np.where(direction == 90, 0.1, 0.3) + np.where(hour < 6, 0.1, 0.0)
    shear = measured_shear(TIME, [5.0, 10.0], np.stack([WIND, WIND * 2.0**exponent]), direction)
    cells = shear.exponent_by_cell
    assert cells.shape == (SECTORS + 1, DAY_PARTS)
    assert cells[2, 0] == pytest.approx(0.2)
    assert cells[2, 2] == pytest.approx(0.1)
    assert cells[6, 0] == pytest.approx(0.4)
    assert cells[0, 0] == shear.exponent  # no wind came from the north
    np.testing.assert_allclose(shear.at(TIME, direction), exponent)
    step, factors = measured_to_hub(shear, 5.0, 15.0, TIME, WIND, direction)
    np.testing.assert_allclose(factors, 3.0**exponent)
    assert step.factor == pytest.approx((WIND * factors).sum() / WIND.sum())
    assert step.other_factor is not None
    assert "measured at 5, 10 m" in step.provenance.method
    assert step.standard_uncertainty > 0.03  # two anemometers 2 % apart, one octave


def test_light_winds_and_gaps_do_not_count():
    upper = np.where(WIND < 3, WIND * 3, WIND * 2**0.15)
    upper[5] = np.nan
    shear = measured_shear(TIME, [5.0, 10.0], np.stack([WIND, upper]), None)
    assert shear.exponent == pytest.approx(0.15)


def test_too_little_is_refused():
    with pytest.raises(InputError, match=r"too near each other"):
        measured_shear(TIME, [10.0, 11.0], np.stack([WIND, WIND]), None)
    with pytest.raises(InputError, match=r"only 0 readings"):
        measured_shear(TIME, [5.0, 10.0], np.stack([WIND * 0.01, WIND]), None)
