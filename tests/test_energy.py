"""Mean power, hours and losses, against numerical integration and limiting cases."""

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import weibull_min

import yieldest
from yieldest.energy.annual_energy import annual_energy
from yieldest.energy.closed_form import mean_power_w, share_at_power
from yieldest.energy.losses import LOSS_CATEGORIES, kept_share, losses_of
from yieldest.energy.net_energy import HOURS_PER_YEAR, HubSpeeds, SpeedSeries
from yieldest.errors import InputError
from yieldest.provenance import Provenance
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.weibull import share_above

shapes = st.floats(1.1, 4.0)
scales = st.floats(2.0, 15.0)


@st.composite
def curves(draw):
    steps = draw(st.lists(st.floats(0.1, 4.0), min_size=2, max_size=25))
    power = draw(st.lists(st.floats(-5, 5000), min_size=len(steps), max_size=len(steps)))
    return np.cumsum(steps), np.array(power)


@given(shapes, scales, curves())
def test_closed_form_agrees_with_numerical_integration(shape, scale, curve):
    """Against scipy.integrate.quad of curve times scipy.stats.weibull_min, piece by piece."""
    speed, power = curve
    pieces = [
        quad(
            lambda v: np.interp(v, speed, power) * weibull_min.pdf(v, shape, scale=scale),
            low,
            high,
            epsabs=1e-12,
            epsrel=1e-11,
        )[0]
        for low, high in itertools.pairwise(speed)
    ]
    closed = mean_power_w(shape, scale, speed, power)
    assert closed == pytest.approx(sum(pieces), rel=1e-9, abs=1e-9 * np.abs(power).max() + 1e-12)


def test_mean_of_a_straight_line_is_the_mean_speed():
    """P = v everywhere has the mean speed as its mean: A Gamma(1 + 1/k), calculus."""
    speed = np.array([0.0, 200.0])
    mean = mean_power_w(2.0, 8.0, speed, speed)
    assert mean == pytest.approx(7.090, abs=5e-4)  # Jain 2011, table 3-1: shape 2, scale 8


def test_a_level_curve_counts_the_hours_between_its_ends():
    power = mean_power_w(1.8, 6.0, [3.0, 12.0], [100.0, 100.0])
    share = share_above(3.0, 1.8, 6.0) - share_above(12.0, 1.8, 6.0)
    assert power == pytest.approx(100 * share)


def test_the_mean_cube_of_a_fine_curve_is_the_rayleigh_mean_cube():
    """mean(v^3) / mean(v)^3 = 6 / pi for a Rayleigh wind (textbook)."""
    speed = np.linspace(0, 80, 20001)
    mean_cube = mean_power_w(2.0, 7.0, speed, speed**3)
    mean = mean_power_w(2.0, 7.0, speed, speed)
    assert mean_cube / mean**3 == pytest.approx(6 / np.pi, rel=1e-5)


@given(shapes, scales, curves())
def test_one_site_and_many_sites_are_the_same_function(shape, scale, curve):
    speed, power = curve
    many = mean_power_w(np.full((3, 2), shape), np.full((3, 1), scale), speed, power)
    assert many.shape == (3, 2)
    np.testing.assert_allclose(many, mean_power_w(shape, scale, speed, power), rtol=1e-12)


@given(shapes, scales, curves(), st.floats(1.0, 5000.0))
def test_share_at_power_agrees_with_sampling_the_quantiles(shape, scale, curve, level):
    speed, power = curve
    quantile = (np.arange(20000) + 0.5) / 20000
    speeds = weibull_min.ppf(quantile, shape, scale=scale)
    made = np.interp(speeds, speed, power, left=0, right=0)
    expected = (made >= level).mean()
    assert share_at_power(shape, scale, speed, power, level) == pytest.approx(expected, abs=3e-3)


@given(shapes, scales, st.floats(0, 0.5), curves())
def test_the_hours_make_a_year(shape, scale, calm_share, curve):
    hours = HubSpeeds(shape, scale, calm_share).yearly_hours(PowerCurve(*curve))
    assert hours.without_output + hours.generating + hours.cut_out == pytest.approx(HOURS_PER_YEAR)
    assert hours.without_output >= -1e-6
    assert 0 <= hours.at_rated <= hours.generating + 1e-6


def test_the_hours_of_a_record_are_counted_value_by_value():
    """Against numpy.interp at every value: 3, 10 and 12 m/s lie on the points of the curve."""
    speed, weight = np.array([0.0, 2.9, 3.0, 5.0, 9.4, 10.0, 12.0, 12.1]), np.arange(1.0, 9.0)
    curve = PowerCurve([3, 9, 10, 12], [0, 990, 1000, 1000])
    power = np.interp(speed, curve.speed_ms, curve.power_w, left=0, right=0)
    found = HubSpeeds(2.0, 6.0, 0.0, SpeedSeries(speed, weight)).yearly_hours(curve)
    each = HOURS_PER_YEAR * weight / weight.sum()
    assert found.generating == pytest.approx(each[power > 0].sum())
    assert found.at_rated == pytest.approx(each[power >= 990].sum())
    assert found.cut_out == pytest.approx(each[-1])
    assert found.without_output == pytest.approx(each[:3].sum())


@given(st.dictionaries(st.sampled_from(list(LOSS_CATEGORIES)), st.floats(0, 0.99)))
def test_losses_multiply(stated):
    losses = losses_of(stated, count=1)
    assert [loss.category for loss in losses] == list(LOSS_CATEGORIES)
    expected = np.prod(
        [1 - stated.get(key, each.default_share) for key, each in LOSS_CATEGORIES.items()]
    )
    assert kept_share(losses) == pytest.approx(expected)
    assert {loss.category for loss in losses if loss.assumed} == LOSS_CATEGORIES.keys() - stated


def test_several_machines_are_assumed_to_disturb_each_other():
    one = {loss.category: loss.share for loss in losses_of({}, count=1)}
    eight = {loss.category: loss.share for loss in losses_of({}, count=8)}
    assert one["wake"] == 0 < eight["wake"]


def test_annual_energy_from_a_distribution_and_a_curve_by_hand():
    """100 W from 3 to 12 m/s in a wind of shape 2 and scale 8 m/s: the time between the two speeds
    is exp(-(3/8)^2) - exp(-(12/8)^2), and each stated or assumed loss takes its share."""
    curve = PowerCurve(
        speed_ms=np.array([3.0, 12.0]),
        power_w=np.array([100.0, 100.0]),
        air_density_kg_m3=1.225,
        rated_power_w=100.0,
        last_measured_ms=12.0,
        rotor_area_m2=None,
        provenance=Provenance("test", "test"),
    )
    wind = WindDistribution(2.0, 8.0, 0.0, 12.0, Provenance("", ""))
    gross = 0.1 * 8760 * (np.exp(-((3 / 8) ** 2)) - np.exp(-((12 / 8) ** 2)))
    year = annual_energy(wind, curve, losses={"availability": 0.08, "electrical": 0.0})
    assert year.gross_kwh == pytest.approx(gross)
    assert year.net_kwh == pytest.approx(gross * 0.92 * 0.98 * 0.98)
    assert year.hours.generating == pytest.approx(gross / 0.1)
    assert {found.default.key for found in year.provenance.assumed} == {
        f"build.losses.{name}"
        for name in ("wake", "turbine_performance", "environmental", "curtailment")
    }
    assert annual_energy(wind, curve, count=3).gross_kwh == pytest.approx(3 * gross)
    assert "<table" in year._repr_html_()
    with pytest.raises(InputError, match="no category of loss"):
        annual_energy(wind, curve, losses={"neighbours": 0.1})
    for share in (5, 1.0, -0.5, float("nan"), "5 %", None):
        with pytest.raises(InputError, match=r"availability is .*, but a share from 0 to below 1"):
            annual_energy(wind, curve, losses={"availability": share})
    # Of a normal distribution 90 % lie within 1.645 standard deviations (JCGM 100, table G.1); that
    # of yearly means is 6 % (common practice, no source).
    for end, side, told in (("low", -1, {}), ("high", 1, {}), ("low", -1, {"yearly_spread": 0.1})):
        factor = 1 + side * 1.645 * told.get("yearly_spread", 0.06)
        then = annual_energy(replace(wind, scale_ms=factor * wind.scale_ms), curve)
        found = getattr(annual_energy(wind, curve, **told), f"inter_annual_{end}_kwh")
        assert found == pytest.approx(then.net_kwh, rel=1e-9)


def test_calm_and_windy_years_have_the_spread_that_the_long_term_shows():
    site = yieldest.load(Path(__file__).parents[1] / "demo-sites" / "fishing-quay").estimate()
    first = site.builds[0]
    spread = site.long_term.year_to_year_spread
    assert abs(spread - 0.06) > 0.005
    wind, curve, losses = first.wind.distribution, first.curve, first.energy.losses
    for side, found in ((-1, "inter_annual_low_kwh"), (1, "inter_annual_high_kwh")):
        blown = replace(wind, scale_ms=(1 + side * 1.645 * spread) * wind.scale_ms)
        then = annual_energy(blown, curve, losses)
        assert getattr(first.energy, found) == pytest.approx(then.net_kwh, rel=1e-6)


@pytest.mark.parametrize("points", [40, 4000])
def test_shapes_and_scales_broadcast(points):
    speed = np.linspace(3, 20, points)
    power = (speed - 3) ** 2
    table = mean_power_w(np.array([[1.5], [2.0]]), np.array([4.0, 6.0, 8.0]), speed, power)
    for i, shape in enumerate((1.5, 2.0)):
        for j, scale in enumerate((4.0, 6.0, 8.0)):
            one = mean_power_w(shape, scale, speed, power)
            assert table[i, j] == pytest.approx(one, rel=1e-11)
