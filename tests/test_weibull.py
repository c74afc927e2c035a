"""The Weibull distribution and its fits, against tables, reference libraries and known truth."""

from typing import get_args

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from winds import KNOT_MS, by_airport_rules, record_of, slow_weibull, times

from yieldest.plan.wind_table import Wind
from yieldest.wind.censored_fit import fit_above_start, fit_censored
from yieldest.wind.goodness import judge_fit, model_mean_power, model_power
from yieldest.wind.histogram import Histogram, histogram_of
from yieldest.wind.mean_uncertainty import CLASSES_OF_DRAWS, draw_blocks
from yieldest.wind.profile import power_law_factor
from yieldest.wind.quality_control import QualityRules
from yieldest.wind.resource import EMPIRICAL, ResourceOptions, assess_record
from yieldest.wind.weibull import (
    fit_maximum_likelihood,
    fit_moments,
    mean_speed,
    mode_speed,
    moment,
    scale_of_mean,
    share_above,
)
from yieldest.wind.weibull_fits import (
    METHODS,
    chosen_method,
    least_squares_fit,
    mean_cube_fit,
    pattern_factor_fit,
)

SHAPES = st.floats(1.1, 4.0)
SCALES = st.floats(2.0, 12.0)


# P. Jain, Wind Energy Engineering, McGraw-Hill 2011, Table 3-1: shape, scale, mean, mode.
@pytest.mark.parametrize(
    ("shape", "scale", "mean", "mode"),
    [
        (1, 8, 8.000, 0),
        (1.5, 8, 7.222, 3.846),
        (2, 8, 7.090, 5.657),
        (2.5, 8, 7.098, 6.522),
        (3, 8, 7.144, 6.989),
        (1, 10, 10.000, 0),
        (1.5, 10, 9.027, 4.807),
        (2, 10, 8.862, 7.071),
        (2.5, 10, 8.873, 8.152),
        (3, 10, 8.930, 8.736),
    ],
)
def test_mean_and_mode_of_a_handbook(shape, scale, mean, mode):
    assert mean_speed(shape, scale) == pytest.approx(mean, abs=0.00051)
    assert mode_speed(shape, scale) == pytest.approx(mode, abs=0.00051)


def test_gamma_factor():
    # Burton et al., Wind Energy Handbook, Fig. 2.3: mean over scale.
    assert mean_speed(2, 1) == pytest.approx(0.8862, abs=0.00005)
    factors = mean_speed(np.linspace(1, 3, 50), 1.0)
    assert factors.min() == pytest.approx(0.885, abs=0.001)
    assert factors.max() == pytest.approx(1.0)


def test_rayleigh_mean_cube():
    # Textbook: mean cube over cube of the mean is 6/pi for shape 2.
    assert moment(2, 7.3, 3) / moment(2, 7.3, 1) ** 3 == pytest.approx(6 / np.pi, rel=1e-12)


# Elliott et al. 1986, Wind Energy Resource Atlas of the United States, DOE/CH 10093-4 (from memory;
# confirmed here by the Rayleigh closed form): upper bounds of wind power classes 1 to 7 in W/m2 and
# m/s. Speeds are printed to 0.1 m/s, and the last classes follow only within that.
@pytest.mark.parametrize(
    ("powers", "speeds"),
    [
        ((100, 150, 200, 250, 300, 400, 1000), (4.4, 5.1, 5.6, 6.0, 6.4, 7.0, 9.4)),
        ((200, 300, 400, 500, 600, 800, 2000), (5.6, 6.4, 7.0, 7.5, 8.0, 8.8, 11.9)),
    ],
)
def test_wind_power_classes(powers, speeds):
    mean = (np.array(powers) / (1.225 / 2 * 6 / np.pi)) ** (1 / 3)
    assert mean == pytest.approx(np.array(speeds), abs=0.1)
    cube = moment(2, scale_of_mean(mean, 2), 3)
    assert 1.225 / 2 * cube == pytest.approx(np.array(powers, float))


def test_wind_power_classes_climb_by_the_seventh_root():
    # The same atlas: from 10 m to 50 m by the power law with exponent 1/7.
    ten = np.array([4.4, 5.1, 5.6, 6.0, 6.4, 7.0, 9.4])
    fifty = np.array([5.6, 6.4, 7.0, 7.5, 8.0, 8.8, 11.9])
    assert ten * power_law_factor(10, 50, 1 / 7) == pytest.approx(fifty, abs=0.1)


@given(SHAPES, SCALES)
def test_moments_and_shares_are_those_of_scipy(shape, scale):
    reference = scipy.stats.weibull_min(shape, scale=scale)
    assert mean_speed(shape, scale) == pytest.approx(reference.mean(), rel=1e-10)
    assert moment(shape, scale, 3) == pytest.approx(reference.moment(3), rel=1e-9)
    assert share_above(5.0, shape, scale) == pytest.approx(reference.sf(5.0), rel=1e-10)


@pytest.mark.parametrize("seed", range(3))
def test_plain_likelihood_is_as_high_as_scipys(seed):
    speed = np.random.default_rng(seed).weibull(1.8, 5000) * 6
    shape, scale = fit_maximum_likelihood(speed)
    theirs = scipy.stats.weibull_min.fit(speed, floc=0)
    ours_log = scipy.stats.weibull_min.logpdf(speed, shape, scale=scale).sum()
    their_log = scipy.stats.weibull_min.logpdf(speed, *theirs).sum()
    assert ours_log >= their_log - 1e-9 * abs(their_log)


@pytest.mark.parametrize("count", [90, 2000, 20_000])
def test_a_wild_speed_leaves_a_fit(count):
    """The first guess is then far off; both slopes of the likelihood must still be zero."""
    speed = np.append(np.random.default_rng(1).weibull(2, count) * 6, 1e5)
    for rows in (1.0, np.ones((2, speed.size))):
        for shape, scale in zip(*map(np.ravel, fit_maximum_likelihood(speed, rows)), strict=True):
            power = (speed / scale) ** shape
            assert power.mean() == pytest.approx(1, rel=1e-9)
            log = np.log(speed / scale)
            assert (power * log).mean() - log.mean() == pytest.approx(1 / shape, rel=1e-9)


@given(SHAPES, SCALES, st.integers(0, 2**32 - 1))
@settings(max_examples=25, deadline=None)
def test_weights_are_repetitions(shape, scale, seed):
    random = np.random.default_rng(seed)
    speed = random.weibull(shape, 60) * scale
    weight = random.integers(1, 5, 60)
    for fit in (fit_maximum_likelihood, fit_moments):
        assert fit(speed, weight)[0] == pytest.approx(float(fit(np.repeat(speed, weight))[0]))


@given(st.floats(0.1, 10), st.integers(0, 2**32 - 1))
@settings(max_examples=25, deadline=None)
def test_units_change_the_scale_alone(factor, seed):
    speed = np.random.default_rng(seed).weibull(2, 400) * 6
    for method in ("maximum likelihood", "moments", "energy pattern factor"):
        one, _ = histogram_of(speed, np.ones(400))
        other = Histogram(
            one.speed_ms * factor,
            one.lower_ms * factor,
            one.upper_ms * factor,
            one.weight,
            None,
            0.0,
        )
        k_one, a_one, _ = METHODS[method].fit(one)
        k_other, a_other, _ = METHODS[method].fit(other)
        assert k_other == pytest.approx(float(k_one), rel=1e-8)
        assert a_other == pytest.approx(float(a_one * factor), rel=1e-8)


@pytest.mark.parametrize("seed", range(3))
def test_interval_censored_fit_is_that_of_a_general_library(seed):
    """scipy.stats: the general fit of censored values, by a simplex search."""
    random = np.random.default_rng(seed)
    speed = np.maximum(1, np.rint(random.weibull(1.7, 800) * 9)) * KNOT_MS  # no calms
    histogram, class_of = histogram_of(speed, np.ones(800), step_ms=KNOT_MS)
    shape, scale, calm = fit_censored(histogram)
    between = np.column_stack([histogram.lower_ms[class_of], histogram.upper_ms[class_of]])
    theirs = scipy.stats.CensoredData(interval=between)
    their_shape, _, their_scale = scipy.stats.weibull_min.fit(theirs, floc=0)
    assert calm == 0
    assert shape == pytest.approx(their_shape, rel=1e-4)
    assert scale == pytest.approx(their_scale, rel=1e-4)


def test_left_censored_fit_is_that_of_a_general_library():
    random = np.random.default_rng(4)
    speed = random.weibull(2.1, 3000) * 6
    seen = np.where(speed < 1.5, 0.0, speed)
    # A touch fewer standstills than the rest implies, so that no calms are split off.
    seen = np.concatenate([seen[seen > 0], np.zeros(int((seen == 0).sum() * 0.8))])
    histogram, _ = histogram_of(seen, np.ones(seen.size), threshold_ms=1.5)
    shape, scale, calm = fit_censored(histogram)
    theirs = scipy.stats.CensoredData(seen[seen > 0], left=np.full((seen == 0).sum(), 1.5))
    their_shape, _, their_scale = scipy.stats.weibull_min.fit(theirs, floc=0)
    assert calm == 0
    assert shape == pytest.approx(their_shape, rel=2e-3)  # our classes are 0.02 m/s wide
    assert scale == pytest.approx(their_scale, rel=1e-3)


def test_censored_fit_is_the_highest_likelihood():
    histogram, _ = histogram_of(
        by_airport_rules(np.random.default_rng(5).weibull(2, 2000) * 6),
        np.ones(2000),
        step_ms=KNOT_MS,
    )
    shape, scale, _ = fit_above_start(histogram)

    def log_likelihood(k, a):
        chance = share_above(histogram.lower_ms, k, a) - share_above(histogram.upper_ms, k, a)
        moving = ~histogram.still
        log_share = np.log(chance[moving]) - np.log(share_above(histogram.start_ms, k, a))
        return float(histogram.weight[moving] @ log_share)

    best = log_likelihood(shape, scale)
    for k, a in ((1.01, 1), (0.99, 1), (1, 1.01), (1, 0.99), (1.002, 1.002), (0.998, 1.002)):
        assert log_likelihood(shape * k, scale * a) < best


def expected_tally(shape, scale_ms, threshold_ms):
    """Count what an endless record of whole knots would hold, without any chance."""
    knots = np.arange(0, 200)
    bounds = (knots + 0.5) * KNOT_MS
    below = 1 - share_above(np.maximum(bounds, threshold_ms), shape, scale_ms)
    weight = np.diff(below, prepend=0.0)
    some = weight > 1e-13
    return histogram_of(knots[some] * KNOT_MS, weight[some], step_ms=KNOT_MS)[0]


@pytest.mark.parametrize(("shape", "scale"), [(1.5, 4.5), (1.8, 5.0), (2.0, 5.0), (2.0, 6.0)])
def test_whole_knots_and_a_threshold_bias_naive_fits_but_not_ours(shape, scale):
    histogram = expected_tally(shape, scale, threshold_ms=1.5)
    truth = moment(shape, scale, 3)
    bias = {}
    for method in ("interval-censored", "maximum likelihood", "moments"):
        k, a, calm = METHODS[method].fit(histogram)
        bias[method] = float((1 - calm) * moment(k, a, 3) / truth - 1)
    assert chosen_method(histogram)[0] == "interval-censored"
    assert abs(bias["interval-censored"]) < 1e-4, bias
    assert abs(bias["maximum likelihood"]) > 0.01, bias
    assert abs(bias["moments"]) > 0.01, bias


def test_true_calms_stay_apart_from_a_sensor_at_standstill():
    random = np.random.default_rng(6)
    speed = random.weibull(2, 40000) * 6
    speed[random.random(speed.size) < 0.10] = 0.0
    histogram, _ = histogram_of(by_airport_rules(speed), np.ones(speed.size), step_ms=KNOT_MS)
    shape, scale, calm = fit_censored(histogram)
    assert calm == pytest.approx(0.10, abs=0.015)
    assert shape == pytest.approx(2.0, abs=0.05)
    assert scale == pytest.approx(6.0, abs=0.1)


# Independent readings jump about as no wind does, so that some would be taken for spikes.
WITHOUT_SPIKES = ResourceOptions(QualityRules(spike_factor=False))


@pytest.mark.parametrize(("count", "trials"), [(500, 60), (5000, 30), (50000, 6)])
def test_shape_and_mean_cube_are_recovered_within_their_stated_errors(count, trials):
    truth = moment(2.0, 6.0, 3)
    far, shapes, cubes = [], [], []
    for seed in range(trials):
        random = np.random.default_rng([count, seed])
        speed = by_airport_rules(random.weibull(2.0, count) * 6)
        study = assess_record(record_of(speed, resolution_ms=KNOT_MS), WITHOUT_SPIKES)
        fit = study.chosen
        assert fit.method == "interval-censored"
        far.append(abs(fit.shape - 2.0) / fit.shape_se)
        shapes.append(fit.shape)
        cubes.append((1 - fit.calm_share) * float(moment(fit.shape, fit.scale_ms, 3)) / truth - 1)
    # Nine of ten within two stated standard errors (19 of 20 for a normal error of known size).
    assert np.mean(np.array(far) < 2) >= 0.85, far
    assert abs(np.mean(shapes) - 2.0) < 0.05
    assert abs(np.mean(cubes)) < max(0.01, 3 * np.std(cubes) / np.sqrt(trials))


def test_stated_errors_shrink_with_the_root_of_the_count():
    errors = []
    for count in (500, 5000, 50000):
        speed = np.random.default_rng(count).weibull(2.0, count) * 6
        study = assess_record(record_of(speed), WITHOUT_SPIKES)
        assert study.chosen.method == "maximum likelihood"
        errors.append(study.chosen.shape_se)
        # Asymptotic: the shape's standard error is 0.78 k / sqrt n (Cohen 1965).
        assert study.chosen.shape_se == pytest.approx(0.78 * 2 / np.sqrt(count), rel=0.45)
    assert errors[0] > errors[1] > errors[2]


def test_draws_in_coarser_classes_state_the_same_errors():
    wind = slow_weibull(np.random.default_rng(8), 8760, 2.0, 6.0, 24.0)
    study = assess_record(record_of(wind), WITHOUT_SPIKES)
    fine, drawn = study.histogram, study.drawn
    assert drawn.speed_ms.size <= CLASSES_OF_DRAWS < fine.speed_ms.size
    weight, _ = draw_blocks(study.time, study.class_of, study.weight, fine.speed_ms.size)
    assert drawn.weight.sum(axis=1) == pytest.approx(weight.sum(axis=1), rel=1e-12)
    in_fine = judge_fit(study.chosen.method, fine, fine.weighted(weight))
    assert study.chosen.shape_se == pytest.approx(in_fine.shape_se, rel=0.02)
    means = weight @ fine.speed_ms / weight.sum(axis=1)
    assert study.uncertainty.mean_sampling == pytest.approx(
        means.std(ddof=1) / fine.moment(1), rel=0.01
    )


@pytest.mark.parametrize("beaufort", [False, True])
def test_readings_that_do_not_count_are_in_no_class(beaufort):
    random = np.random.default_rng(11)
    count = 40_000  # more than are worked on at once
    speed = (random.weibull(2.0, count) * 6).round(1)
    edges = np.array([0, 0.3, 1.6, 3.4, 5.5, 8, 10.8, 13.9, 17.2]) if beaufort else None
    weight = random.uniform(0.5, 1.0, count)
    gone, weightless = random.random((2, count)) < 0.1
    gone[:3000] = gone[20_000:21_000] = gone[-500:] = True
    kept = ~gone & ~weightless
    only, only_class = histogram_of(speed[kept], weight[kept], class_edges_ms=edges)
    weight[weightless] = 0.0
    histogram, class_of = histogram_of(np.where(gone, np.nan, speed), weight, class_edges_ms=edges)
    for name in ("speed_ms", "lower_ms", "upper_ms", "weight"):
        assert getattr(histogram, name) == pytest.approx(getattr(only, name), rel=1e-12)
    classes = only.speed_ms.size
    assert np.array_equal(class_of[kept], only_class)
    assert np.all(class_of[~kept] == classes)
    time = times(count)
    drawn, method = draw_blocks(time, class_of, weight, classes)
    of_kept, method_of_kept = draw_blocks(time[kept], only_class, weight[kept], classes)
    assert method == method_of_kept
    assert drawn == pytest.approx(of_kept, rel=1e-12)


def test_block_errors_hold_for_winds_that_remember():
    # Two dozen years of hourly winds with a memory of a day: the scatter of the yearly means is
    # what the bootstrap of one year must say; without blocks it would say a seventh of it.
    years = [
        slow_weibull(np.random.default_rng([9, year]), 8760, 2.0, 6.0, 24.0) for year in range(24)
    ]
    scatter = np.std([year.mean() for year in years], ddof=1) / np.mean(years)
    stated = [
        assess_record(record_of(year), WITHOUT_SPIKES).uncertainty.mean_sampling
        for year in years[:8]
    ]
    assert np.mean(stated) == pytest.approx(scatter, rel=0.4)
    independent = 0.5227 / np.sqrt(8760)  # spread over mean of a Rayleigh wind, over the root of n
    assert np.mean(stated) > 4 * independent


@pytest.mark.parametrize("shape", [1.4, 2.0, 2.6, 3.5])
def test_mean_cube_fit_gives_back_a_weibull(shape):
    mean, cube = mean_speed(shape, 7.0), moment(shape, 7.0, 3)
    found = mean_cube_fit(mean, cube, share_above(mean, shape, 7.0))
    assert found[0] == pytest.approx(shape, rel=1e-9)
    assert found[1] == pytest.approx(7.0, rel=1e-9)


def test_least_squares_fit_gives_back_a_weibull():
    bounds = np.arange(1.0, 15.0)
    shape, scale = least_squares_fit(bounds, 1 - share_above(bounds, 1.7, 5.5))
    assert shape == pytest.approx(1.7, rel=1e-9)
    assert scale == pytest.approx(5.5, rel=1e-9)


def test_pattern_factor_of_a_rayleigh_wind():
    # Akdag & Dinler 2009: 1 + 3.69 / 1.910^2 = 2.0116 for the Rayleigh factor 6/pi.
    speed = (np.arange(200000) + 0.5) / 200000
    speed = 6 * np.sqrt(-np.log(speed))
    shape, _ = pattern_factor_fit(speed, np.ones(speed.size))
    assert shape == pytest.approx(2.0116, abs=0.001)


@given(st.floats(1.2, 3.5), SCALES)
@settings(max_examples=20, deadline=None)
def test_model_machine_in_closed_form(shape, scale):
    density = scipy.stats.weibull_min(shape, scale=scale).pdf
    parts = [(3, 11), (11, 25)]
    by_quadrature = sum(quad(lambda v: model_power(v) * density(v), *part)[0] for part in parts)
    assert model_mean_power(shape, scale) == pytest.approx(by_quadrature, rel=1e-6, abs=1e-12)


def test_sheppard_frees_the_mean_cube_of_rounding():
    speed = np.random.default_rng(7).weibull(2.2, 200000) * 7
    step = 2.0
    coarse, _ = histogram_of(np.rint(speed / step) * step, np.ones(speed.size), step_ms=step)
    raw = float(coarse.share @ coarse.speed_ms**3)
    truth = float((speed**3).mean())
    assert raw / truth - 1 > 0.01
    assert coarse.moment(3) / truth - 1 == pytest.approx(0, abs=0.004)


@given(st.permutations(range(40)))
@settings(max_examples=20, deadline=None)
def test_order_of_readings_does_not_matter_to_a_tally(order):
    speed = by_airport_rules(np.random.default_rng(8).weibull(2, 40) * 6)
    weight = np.arange(1.0, 41)
    one, _ = histogram_of(speed, weight, step_ms=KNOT_MS)
    other, _ = histogram_of(speed[list(order)], weight[list(order)], step_ms=KNOT_MS)
    assert np.array_equal(one.speed_ms, other.speed_ms)
    assert one.weight == pytest.approx(other.weight)


def test_a_plan_may_name_every_fit_and_no_other():
    names, _ = get_args(Wind.model_fields["fit"].annotation)
    assert set(get_args(names)) == {*METHODS, EMPIRICAL}


@pytest.mark.parametrize(("shape", "scale"), [(1.3, 4.0), (2.0, 7.0), (2.6, 9.0)])
@pytest.mark.parametrize("method", METHODS)
def test_every_fit_finds_the_distribution_that_fine_classes_hold(method, shape, scale):
    edges = np.arange(0.0, 60.0, 0.1)
    below = scipy.stats.weibull_min(shape, scale=scale).cdf(edges)
    histogram = Histogram(
        (edges[1:] + edges[:-1]) / 2, edges[:-1], edges[1:], np.diff(below), 0.1, 0.0
    )
    k, a, calm = METHODS[method].fit(histogram)
    # The energy pattern factor is a rule of thumb for shapes between 1.2 and 2.75.
    assert k == pytest.approx(shape, rel=0.05 if method == "energy pattern factor" else 0.01)
    assert a == pytest.approx(scale, rel=0.02)
    assert calm == pytest.approx(0.0, abs=0.001)


@pytest.mark.parametrize("method", METHODS)
def test_a_record_without_spread_gives_no_fit(method):
    for speeds in ([5.0] * 30, [0.0] * 30):
        histogram, _ = histogram_of(np.array(speeds), np.ones(30))
        shape, _, _ = METHODS[method].fit(histogram)
        assert np.isnan(shape)


@given(st.floats(-4, 2), st.integers(0, 2**32 - 1))
def test_weighted_readings_with_gaps_are_fitted_in_any_unit(exponent, seed):
    random = np.random.default_rng(seed)
    speed, weight = 6 * random.weibull(2.0, 60), random.uniform(0.5, 2, 60)
    speed[random.random(60) < 0.3] = np.nan
    shape, scale = fit_maximum_likelihood(speed, weight)
    factor = 10.0**exponent
    other_shape, other_scale = fit_maximum_likelihood(factor * speed, weight)
    assert other_shape == pytest.approx(shape, rel=1e-9)
    assert other_scale == pytest.approx(factor * scale, rel=1e-9)
