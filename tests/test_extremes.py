"""Site classes, yearly maxima and the thrust on a mast, against the standard and a library."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from winds import record_of

from yieldest.hub.extremes import (
    CLASSES,
    AboveEveryClass,
    extreme_winds,
    fifty_year_speed,
    gumbel_parameters,
    gumbel_return_speed_ms,
    site_class,
    thrust_n,
    yearly_maxima_ms,
)
from yieldest.report.sentences.words import sentences


def test_classes_of_the_standard():
    """IEC 61400-2, classes I to IV (from memory). Independent route: the standard sets the mean
    at 0.2 times the reference speed in every class."""
    assert [(mean, reference) for _, mean, reference in CLASSES] == [
        (10, 50),
        (8.5, 42.5),
        (7.5, 37.5),
        (6, 30),
    ]
    for _, mean, reference in CLASSES:
        assert mean == pytest.approx(0.2 * reference)


@pytest.mark.parametrize(
    ("mean", "reference", "name"),
    [(5.9, None, "IV"), (6.1, None, "III"), (5.0, 38.0, "II"), (9, 45, "I"), (10.1, None, None)],
)
def test_the_weakest_class_that_covers_both(mean, reference, name):
    assert site_class(mean, reference) == name


@given(st.floats(10, 40), st.floats(0.5, 5), st.floats(1.5, 500))
def test_return_speed_is_the_quantile(mode, spread, years):
    """scipy.stats.gumbel_r."""
    expected = stats.gumbel_r(mode, spread).ppf(1 - 1 / years)
    assert gumbel_return_speed_ms(mode, spread, years) == pytest.approx(expected)


def test_the_fit_finds_the_distribution_again_and_agrees_with_likelihood():
    """Against scipy's maximum likelihood, which is another method, on 4000 yearly maxima."""
    maxima = stats.gumbel_r(20, 2.5).rvs(4000, random_state=3)
    mode, spread = gumbel_parameters(maxima)
    assert (mode, spread) == (pytest.approx(20, abs=0.15), pytest.approx(2.5, abs=0.1))
    assert (mode, spread) == pytest.approx(stats.gumbel_r.fit(maxima), rel=0.02)


def test_probability_weighted_moments_by_hand():
    """Landwehr et al. 1979 for 20, 22, 27: b0 = 23, b1 = (0 + 22/2 + 27)/3 = 12.667, so the spread
    is 2.333/ln 2 = 3.366 and the mode 23 - 0.5772 * 3.366 = 21.06."""
    mode, spread = gumbel_parameters([27.0, 20.0, 22.0])
    assert spread == pytest.approx(3.366, abs=1e-3)
    assert mode == pytest.approx(21.057, abs=1e-3)


def test_the_interval_covers_the_truth():
    """Three hundred made-up sites with 15 yearly maxima each: the 90 % interval of the 50-year wind
    holds the truth for about 90 % of them."""
    truth = gumbel_return_speed_ms(20, 2.5, 50)
    random = np.random.default_rng(6)
    found = [fifty_year_speed(random.gumbel(20, 2.5, 15)) for _ in range(300)]
    inside = np.mean([f.low_ms <= truth <= f.high_ms for f in found])
    assert 0.86 < inside < 0.94
    assert np.median([f.speed_ms for f in found]) == pytest.approx(truth, rel=0.02)


def test_no_fifty_year_wind_from_few_years():
    assert fifty_year_speed(np.full(9, 20.0) + np.arange(9)) is None
    assert fifty_year_speed(np.full(10, 20.0) + np.arange(10)).years == 10


def test_yearly_maxima_count_full_years_only():
    time = np.arange("2018-01-01", "2021-07-01", dtype="datetime64[h]")
    speed = np.full(time.size, 5.0)
    speed[-100] = 20.0
    speed[-100 - 8766] = 25.0
    speed[3] = 99.0  # in the half year at the beginning
    assert yearly_maxima_ms(time, speed, 3600).tolist() == [20.0, 25.0, 5.0]


def test_thrust_by_hand():
    """rho A Ct v^2 / 2 with Ct = 8/9: 1.225 * 4 * 8/9 * 40^2 / 2 = 3484 N."""
    assert thrust_n(40.0, 4.0, 1.225) == pytest.approx(3484.4, abs=0.1)


def test_the_caution_names_speed_thrust_and_who_may_judge_it():
    strong = extreme_winds(5.0, 1.1, 1.225, 4.0)
    assert strong.site_class == "IV"
    assert strong.thrust_speed_ms == pytest.approx(42)
    (caution,) = strong.warnings
    for words in ("42 m/s", "3,800 N", "competent person under local codes"):
        assert words in sentences([caution])[0]
    assert extreme_winds(5.0, 1.1, 1.225, None).thrust_n is None
    stormy = extreme_winds(5.0, 1.1, 1.225, 4.0, record_of(np.linspace(0, 50, 1440)))
    assert stormy.thrust_speed_ms == pytest.approx(55)
    assert stormy.warnings[0].basis == "largest reading"
    assert extreme_winds(11.0, 1.0, 1.225, None).warnings == (AboveEveryClass(),)
