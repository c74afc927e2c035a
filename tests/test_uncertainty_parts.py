"""Distributions, variates, shares of variance and ranges, against closed forms and scipy.stats."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from yieldest.energy.closed_form import mean_power_w
from yieldest.energy.net_energy import SpeedSeries
from yieldest.errors import InputError
from yieldest.uncertainty.distributions import ListedValues, Lognormal, Normal, Triangular, Uniform
from yieldest.uncertainty.propagation import (
    REPLICATES,
    Correlation,
    convergence,
    draw_variates,
    fewer,
    ordered_for,
    quantile,
    summary,
)
from yieldest.uncertainty.result import probability_of_doing_better
from yieldest.uncertainty.sensitivity import Driver, by_share, first_order_shares
from yieldest.uncertainty.uncertain_inputs import (
    QUANTITIES,
    StandardUncertainty,
    UncertainInput,
    drawn,
)

variates = st.floats(-4, 4)


@given(variates, st.floats(-5, 5), st.floats(0.01, 3))
def test_quantiles_agree_with_scipy(variate, middle, size):
    """Against the quantile functions of scipy.stats."""
    level = stats.norm.cdf(variate)
    low, high = middle - size, middle + 2 * size
    expected = {
        Normal(middle, size): stats.norm.ppf(level, middle, size),
        Uniform(low, high): stats.uniform.ppf(level, low, high - low),
        Triangular(low, middle, high): stats.triang.ppf(level, 1 / 3, low, high - low),
    }
    for distribution, value in expected.items():
        assert distribution.at(variate) == pytest.approx(value, rel=1e-6, abs=1e-6 * size)


@pytest.mark.parametrize(
    ("distribution", "reference"),
    [
        (Normal(3.0, 0.5), stats.norm(3.0, 0.5)),
        (Lognormal(2.0, 0.4), stats.lognorm(math.sqrt(math.log(1.16)), scale=2.0)),
        (Uniform(1.0, 4.0), stats.uniform(1.0, 3.0)),
        (Triangular(1.0, 2.0, 6.0), stats.triang(0.2, 1.0, 5.0)),
    ],
)
def test_the_standard_uncertainty_is_that_of_scipy(distribution, reference):
    assert distribution.standard_uncertainty == pytest.approx(reference.std(), rel=1e-12)
    assert distribution.at(0.0) == pytest.approx(reference.median(), rel=1e-9)


def test_a_lognormal_relative_uncertainty_is_deviation_over_mean():
    reference = stats.lognorm(Lognormal(2.0, 0.4).sigma, scale=2.0)
    assert reference.std() / reference.mean() == pytest.approx(0.4, rel=1e-12)


@given(st.lists(st.floats(-100, 100), min_size=1, max_size=9), st.lists(variates, min_size=1))
def test_a_list_gives_its_own_values_and_each_as_often(values, at):
    drawn = ListedValues(tuple(values)).at(at)
    assert set(drawn) <= set(values)
    evenly = stats.norm.ppf((np.arange(len(values) * 100) + 0.5) / (len(values) * 100))
    counted = ListedValues(tuple(values)).at(evenly)
    assert sorted(counted) == sorted(np.repeat(values, 100))


@given(st.sampled_from(list(QUANTITIES)), st.floats(0.01, 20), st.floats(0.001, 5))
def test_a_default_distribution_has_the_size_it_was_given_and_the_estimate_as_median(
    quantity, central, size
):
    distribution = QUANTITIES[quantity].around(central, size)
    assert distribution.at(0.0) == pytest.approx(central)
    relative = distribution.relative * central if isinstance(distribution, Lognormal) else None
    assert (relative or distribution.standard_uncertainty) == pytest.approx(size)


def inputs(*names):
    return [UncertainInput(name, name.split(" ")[0], Normal(0, 1), "test") for name in names]


def variates_of(these, draws, seed, correlations=()):
    """Return the variates of inputs, a column for each."""
    return np.column_stack(list(draw_variates(these, correlations, draws, seed).values()))


def test_scores_are_standard_normal_even_and_the_same_for_the_same_seed():
    drawn = variates_of(inputs("prices", "curve", "maintenance"), 4096, seed=3)
    assert drawn.shape == (4096, 3)
    np.testing.assert_allclose(drawn.mean(axis=0), 0, atol=2e-3)
    np.testing.assert_allclose(drawn.std(axis=0), 1, atol=5e-3)
    # Random draws would lie about 4096^-0.5 = 0.016 off; these are far more even.
    np.testing.assert_allclose(np.corrcoef(drawn.T), np.eye(3), atol=8e-3)
    assert np.array_equal(
        drawn, variates_of(inputs("prices", "curve", "maintenance"), 4096, seed=3)
    )
    assert not np.array_equal(
        drawn, variates_of(inputs("prices", "curve", "maintenance"), 4096, seed=4)
    )


def test_correlations_reach_every_pair_of_the_two_quantities_and_no_other():
    of = inputs("prices (a)", "prices (b)", "curve", "maintenance")
    wanted = [
        Correlation(between=["prices", "prices"], coefficient=0.5),
        Correlation(between=["curve", "prices"], coefficient=-0.3),
    ]
    found = np.corrcoef(variates_of(of, 8192, 1, wanted).T)
    expected = np.eye(4)
    expected[0, 1] = expected[1, 0] = 0.5
    expected[2, :2] = expected[:2, 2] = -0.3
    np.testing.assert_allclose(found, expected, atol=0.01)


def test_correlations_that_contradict_each_other_are_refused():
    pairs = [
        ("prices", "curve", 0.9),
        ("curve", "maintenance", 0.9),
        ("prices", "maintenance", -0.9),
    ]
    with pytest.raises(InputError, match="contradict"):
        draw_variates(
            inputs("prices", "curve", "maintenance"),
            [Correlation(between=[*two], coefficient=c) for *two, c in pairs],
            512,
            1,
        )


def test_fewer_takes_the_first_of_every_scramble():
    rows = np.arange(64)
    assert fewer(rows, 16).tolist() == [8 * block + k for block in range(8) for k in (0, 1)]


def test_first_order_shares_of_the_ishigami_function():
    """sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1 on (-pi, pi): 0.3139, 0.4424 and 0, in closed form
    (Ishigami & Homma 1990; Saltelli et al. 2008)."""
    drawn = variates_of(inputs("prices", "curve", "maintenance"), 16384, seed=1)
    x = Uniform(-np.pi, np.pi).at(drawn)
    figure = np.sin(x[:, 0]) + 7 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])
    shares = first_order_shares(drawn, {"figure": figure})["figure"]
    np.testing.assert_allclose(shares, [0.3139, 0.4424, 0.0], atol=0.01)


def test_first_order_shares_of_a_sum_are_its_squares():
    """Var(sum c_i x_i) = sum c_i^2 for independent standard normal x (JCGM 100:2008, 5.1.2)."""
    drawn = variates_of(inputs("prices", "curve", "maintenance", "exposure"), 16384, seed=1)
    figure = drawn @ [4.0, 2.0, 1.0, 0.0]
    shares = first_order_shares(drawn, {"figure": figure})["figure"]
    np.testing.assert_allclose(shares, [16 / 21, 4 / 21, 1 / 21, 0], atol=6e-3)


def test_drivers_that_only_rounding_tells_apart_stay_in_order():
    found = [
        Driver("rounding", 1000.0, 1000.0, 0.0),
        Driver("fit", 1000.0 - 1e-12, 1000.0 + 1e-12, 1e-15),
        Driver("shape", 1000.0 - 3e-12, 1000.0, None),
        Driver("mounting", 990.0, 1010.0, 0.0),
        Driver("anemometer", 900.0, 1100.0, 0.8),
    ]
    names = [one.name for one in by_share(found)]
    assert names == ["anemometer", "mounting", "rounding", "fit", "shape"]
    assert by_share(found[:1]) == (found[0],)


def test_an_uncertainty_of_rounding_alone_is_no_input():
    stated = (StandardUncertainty("fit", 1e-16), StandardUncertainty("anemometer", 0.02))
    assert [each.name for each in drawn(stated, {})] == ["anemometer"]


def test_p90_is_exceeded_in_nine_cases_of_ten():
    energy = np.random.default_rng(1).permutation(np.linspace(0, 1000, 10001))
    found = summary("one_year_kwh", energy)
    assert (found.p50, found.p75, found.p90, found.p99) == pytest.approx((500, 250, 100, 10))
    assert (energy > found.p90).mean() == pytest.approx(0.9, abs=1e-3)
    assert (found.low, found.high) == pytest.approx((50, 950))
    # A cost is at least as good when it is no higher.
    assert summary("cost_per_kwh", energy).p90 == pytest.approx(900)


def test_a_payback_that_never_comes_is_worse_than_any():
    payback = np.array([3.0] * 80 + [np.nan] * 20)
    found = summary("payback_years", payback)
    assert (found.p50, found.p75) == (3.0, 3.0)
    assert found.p90 is None and found.high is None and found.standard_uncertainty is None
    assert probability_of_doing_better("payback_years", payback, np.full(100, 4.0)) == 0.8
    assert probability_of_doing_better("payback_years", payback, payback) == 0.0


def test_convergence_knows_when_draws_were_too_few():
    drawn = variates_of(inputs("prices"), 32768, seed=1)[:, 0]
    steady = convergence([{"one_year_kwh": 1000 + 50 * drawn}])
    assert steady.enough_draws is not None and steady.enough_draws < 32768
    assert steady.standard_error < 1e-3
    wild = np.random.default_rng(2).lognormal(0, 1, 64 * REPLICATES)
    few = convergence([{"one_year_kwh": wild}])
    assert few.enough_draws is None
    assert few.standard_error > 0.01


@given(
    st.floats(0.7, 5.0),
    st.floats(2.0, 15.0),
    st.lists(st.floats(0.1, 2.0), min_size=4, max_size=30),
    st.floats(0.0, 4.0),
)
def test_many_sites_are_integrated_as_one_is(shape, scale, steps, first):
    """The quadrature for many against the incomplete gamma function for one."""
    speed = first + np.cumsum(steps)
    power = 100 * np.sqrt(np.arange(speed.size))
    many = mean_power_w(np.full(4000, shape), np.full(4000, scale), speed, power)
    assert many[0] == pytest.approx(
        float(mean_power_w(shape, scale, speed, power)), rel=1e-10, abs=1e-11 * power.max()
    )


@given(
    st.lists(st.floats(0.0, 30.0), min_size=1, max_size=40),
    st.lists(st.floats(0.1, 4.0), min_size=2, max_size=12),
    st.lists(st.floats(0.5, 2.0), min_size=1, max_size=5),
    st.integers(0, 1000),
)
def test_readings_in_sums_give_the_mean_of_every_reading(speeds, steps, factors, seed):
    """Against numpy.interp at every reading."""
    draw = np.random.default_rng(seed)
    speed, node = np.array(speeds), np.cumsum(steps)
    weight, power = draw.uniform(0.1, 1, speed.size), draw.uniform(0, 1000, node.size)
    found = SpeedSeries(speed, weight).mean_power_w(factors, node, power)
    for factor, mean in zip(factors, found, strict=True):
        each = np.interp(speed * factor, node, power, left=0, right=0)
        near_an_end = np.isclose(speed * factor, node[[0, -1], None], rtol=1e-14).any()
        if not near_an_end:
            assert mean == pytest.approx(each @ weight / weight.sum(), rel=1e-9, abs=1e-9)


@given(
    st.lists(st.integers(0, 20), min_size=1, max_size=40),
    st.lists(st.sampled_from([-2.0, 0.0, 0.0, 5.0, 9.0]), min_size=2, max_size=12),
    st.floats(0.5, 2.0),
)
def test_generating_time_is_counted_as_value_by_value(speeds, powers, factor):
    """Readings often lie on the points of a curve, both being rounded: those count rightly too."""
    speed, power = np.array(speeds, float), np.array(powers)
    node, weight = np.arange(3.0, 3.0 + power.size), np.linspace(1, 2, speed.size)
    series = SpeedSeries(speed, weight)
    for by in (1.0, factor):
        generating = np.interp(speed * by, node, power, left=0, right=0) > 0
        if by == 1.0 or not np.isclose(speed[:, None] * by, node, rtol=1e-12).any():
            found = series.share_at_power(by, node, power, 0.0)
            assert found == pytest.approx(weight[generating].sum() / weight.sum(), abs=1e-12)


@given(
    st.lists(st.floats(-100, 100), min_size=1, max_size=60),
    st.integers(0, 5),
    st.lists(st.floats(0, 1), min_size=1, max_size=4),
)
def test_quantiles_of_some_places_are_those_of_all_sorted_with_none_last(values, none, levels):
    drawn = np.array(values + [np.nan] * none)
    np.random.default_rng(len(drawn)).shuffle(drawn)
    ordered = ordered_for(drawn, levels)
    for level in levels:
        np.testing.assert_array_equal(quantile(ordered, level), quantile(np.sort(drawn), level))
        if not none:
            assert quantile(ordered, level) == pytest.approx(np.quantile(values, level))
