"""Uncertainty through the whole chain, against the one-plan estimate, JCGM 100 and closed forms."""

import re
import shutil

import numpy as np
import numpy_financial as npf
import pytest
from conftest import DEMO_SITES
from scipy import stats

from yieldest import load
from yieldest.errors import InputError
from yieldest.model.estimate import estimate
from yieldest.model.inputs import read
from yieldest.model.uncertain import lined_up
from yieldest.plan import load_plan
from yieldest.plan.uncertainty_table import LossDistributions, UncertaintyTable
from yieldest.uncertainty.distributions import CutOff
from yieldest.uncertainty.propagation import draw_variates, run, summary
from yieldest.uncertainty.uncertain_inputs import CATEGORIES, QUANTITIES

P90 = stats.norm.ppf(0.9)
NINE_OF_TEN = stats.norm.ppf(0.95)


@pytest.fixture
def only(yard):
    """Return the starter's plan with no uncertainty at all but in the inputs that are stated."""

    def plan_with(*lines, money=""):
        text = (yard / "plan.toml").read_text(encoding="utf-8")
        if money:
            text = re.sub(r"(?ms)^\[economics\].*?(?=^\[|\Z)", f"[economics]\n{money}\n", text)
        stated = {f"uncertainty.{quantity}": "standard_uncertainty = 0" for quantity in QUANTITIES}
        stated |= {f"uncertainty.{key}": value for key, value in lines}
        blocks = [f"[{key}]\n{value}" for key, value in stated.items()]
        (yard / "plan.toml").write_text(text + "\n" + "\n".join(blocks), encoding="utf-8")
        return load_plan(yard)

    return plan_with


def sure(plan, draws=16384):
    return estimate(read(plan)).uncertainty(draws, seed=1)


def at_the_middle(inputs, draws):
    """Return as many draws as asked for, every one with each input at its median."""
    drawn = draw_variates(inputs, [], draws, seed=1)
    return {name: np.zeros_like(variates) for name, variates in drawn.items()}


def assert_as_estimated(found, result):
    cost = result.cost
    assert found["one_year_kwh"] == pytest.approx(result.energy.net_kwh, rel=1e-12)
    assert found["cost_per_kwh"] == pytest.approx(cost.cost_per_kwh, rel=1e-12)
    assert found["net_present_value"] == pytest.approx(cost.net_present_value, rel=1e-11)
    assert found["payback_years"] == pytest.approx(cost.payback_years, rel=1e-12)
    assert found["discounted_payback_years"] == pytest.approx(
        cost.discounted_payback_years, rel=1e-12
    )


def test_the_chain_at_its_central_values_is_the_one_plan_estimate(demo_site):
    plan = load_plan(demo_site)
    whole = estimate(read(plan))
    _, chains = lined_up(whole.inputs, whole.terms, whole.builds)
    for chain, result in zip(chains, whole.builds, strict=True):
        figures = chain.outcome({})
        if result.cost.payback_years is not None:
            assert_as_estimated({k: float(v) for k, v in figures.items()}, result)
        assert float(figures["life_kwh_per_year"]) == pytest.approx(
            result.cost.flow.energy_kwh.sum() / whole.terms.life_years, rel=1e-12
        )


def test_draws_without_uncertainty_are_the_one_plan_estimate(demo_site):
    plan = load_plan(demo_site)
    whole = estimate(read(plan))
    inputs, chains = lined_up(whole.inputs, whole.terms, whole.builds)
    variates = at_the_middle(inputs, 1024)
    for chain, result in zip(chains, whole.builds, strict=True):
        found = run(chain, variates)
        if result.cost.payback_years is not None:
            for draw in (0, 1023):
                assert_as_estimated({k: v[draw] for k, v in found.items()}, result)


def test_draws_of_readings_are_the_one_plan_estimate_too(yard, edit):
    """When the energy comes from the readings, so do the draws."""
    edit(yard / "plan.toml", "[wind]", '[wind]\nfit = "empirical"')
    plan = load_plan(yard)
    whole = estimate(read(plan))
    inputs, chains = lined_up(whole.inputs, whole.terms, whole.builds)
    assert all(result.energy.from_time_series for result in whole.builds)
    variates = draw_variates(inputs, [], 512, seed=1)
    for chain, result in zip(chains, whole.builds, strict=True):
        found = run(chain, at_the_middle(inputs, 512))["one_year_kwh"][0]
        assert found == pytest.approx(result.energy.net_kwh, rel=1e-11)
        assert run(chain, variates)["one_year_kwh"].std() > 0.05 * found


LOAD = 'load = {{ kind = "battery", measured_on = "battery", idle_draw_w = 6 }}\n{}'
VARIANTS = {
    "converters that draw": [("hub_height_m", LOAD)],
    "converters that draw, readings": [("hub_height_m", LOAD), ("[wind]", '{}\nfit = "empirical"')],
    "turbulence": [("[site]", "{}\nturbulence_intensity = 0.3")],
    "pitch": [("hub_height_m", 'density_correction = "speed"\n{}')],
    "no price": [("price_per_kwh", "# {}")],
    "export": [("[economics]", "{}\nself_consumption_share = 0.6\nexport_price_per_kwh = 0.08")],
    "ageing": [("[economics]", "{}\ndegradation_per_year = 0.02\ngrant_share = 0.2")],
}


@pytest.mark.parametrize("changes", VARIANTS.values(), ids=list(VARIANTS))
def test_draws_without_uncertainty_follow_whatever_the_plan_states(yard, changes):
    path = yard / "plan.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        text = re.sub(rf"(?m)^{re.escape(old)}", new.format(old), text)
    path.write_text(text, encoding="utf-8")
    plan = load_plan(yard)
    whole = estimate(read(plan))
    inputs, chains = lined_up(whole.inputs, whole.terms, whole.builds)
    variates = at_the_middle(inputs, 512)
    for chain, result in zip(chains, whole.builds, strict=True):
        found = run(chain, variates)
        assert found["one_year_kwh"][0] == pytest.approx(result.energy.net_kwh, rel=1e-11)
        assert found["cost_per_kwh"][0] == pytest.approx(result.cost.cost_per_kwh, rel=1e-11)
        if "net_present_value" in found:
            value = result.cost.net_present_value
            assert found["net_present_value"][0] == pytest.approx(value, rel=1e-10)
    assert sure(plan, 512).builds


def test_a_curve_of_readings_brings_its_own_uncertainty(tmp_path):
    """The bins of a measured curve state standard uncertainties; the draws take those."""
    folder = shutil.copytree(DEMO_SITES / "hill-yard", tmp_path / "yard")
    path = folder / "plan.toml"
    text = path.read_text(encoding="utf-8")
    text = text.replace('curve = "curve-0.9m.csv"', 'readings = "readings-0.9m.csv"')
    path.write_text(text, encoding="utf-8")
    plan = load_plan(folder)
    whole = estimate(read(plan))
    (measured,) = [b for b in whole.builds if b.curve.power_uncertainty_w is not None]
    _, chains = lined_up(whole.inputs, whole.terms, whole.builds)
    (chain,) = [c for c in chains if c.name == measured.name]
    level = chain.inputs["curve"].distribution.relative * chain.moved_w("curve")
    own = chain.inputs["curve_bins"].distribution.standard_uncertainty * chain.moved_w("curve_bins")
    np.testing.assert_allclose(np.hypot(level, own), measured.curve.uncertainty_w, rtol=1e-9)


def test_the_plan_can_state_every_input():
    names = set(UncertaintyTable.model_fields) - {"draws", "seed", "losses", "correlation"}
    assert names | {f"losses.{name}" for name in LossDistributions.model_fields} == set(QUANTITIES)


def test_a_plan_without_uncertainty_has_the_estimate_everywhere(only):
    plan = only()
    for build, result in zip(sure(plan, 512).builds, estimate(read(plan)).builds, strict=True):
        for measure, range_ in build.ranges.items():
            central = {
                "one_year_kwh": result.energy.net_kwh,
                "life_kwh_per_year": result.energy.net_kwh,
            }.get(measure) or getattr(result.cost, measure)
            for value in (range_.low, range_.p99, range_.p50, range_.high):
                assert value == pytest.approx(central, rel=1e-9)


def test_first_order_propagation_in_a_linear_case(only):
    """The present value is linear in what the parts and the kWh cost: u^2 = sum (c_i u_i)^2
    (JCGM 100:2008, 5.1.2), with the sensitivities c_i from numpy-financial's annuity."""
    plan = only(
        ("prices", "standard_uncertainty = 0.08\ndistribution = 'normal'"),
        ("price_per_kwh", "standard_uncertainty = 0.03\ndistribution = 'normal'"),
        money="discount_rate = 0.04\nlife_years = 15\nprice_per_kwh = 0.30\n"
        "maintenance_share_per_year = 0\ndegradation_per_year = 0",
    )
    whole = estimate(read(plan))
    for build, result in zip(sure(plan).builds, whole.builds, strict=True):
        kwh = result.energy.net_kwh
        per_price = -npf.pv(0.04, 15, kwh)
        per_bill = npf.npv(0.04, result.cost.flow.cost)
        expected = np.hypot(0.03 * per_price, 0.08 * per_bill)
        range_ = build.ranges["net_present_value"]
        assert range_.standard_uncertainty == pytest.approx(expected, rel=2e-3)
        assert range_.p50 == pytest.approx(result.cost.net_present_value, rel=1e-3)
        assert range_.p50 - range_.p90 == pytest.approx(P90 * expected, rel=5e-3)
        shares = {driver.name: driver.share for driver in build.drivers["net_present_value"]}
        price_share = (0.03 * per_price / expected) ** 2
        assert shares["price_per_kwh"] == pytest.approx(price_share, abs=0.01)


def test_lognormal_products_have_the_closed_form(only):
    """A product of lognormal factors is lognormal with the sum of the variances of the logarithms
    (textbook), so every quantile is known."""
    stated = {"curve": 0.15, "density": 0.05, "prices": 0.2}
    plan = only(
        *(
            (key, f"standard_uncertainty = {size}\ndistribution = 'lognormal'")
            for key, size in stated.items()
        ),
        money="discount_rate = 0.04\nlife_years = 12\nprice_per_kwh = 0.3",
    )
    variance = {key: np.log1p(size**2) for key, size in stated.items()}
    of_energy = np.sqrt(variance["curve"] + variance["density"])
    of_cost = np.sqrt(sum(variance.values()))
    for build, result in zip(sure(plan).builds, estimate(read(plan)).builds, strict=True):
        kwh, cost = result.energy.net_kwh, result.cost.cost_per_kwh
        energy, per_kwh = build.ranges["life_kwh_per_year"], build.ranges["cost_per_kwh"]
        assert energy.p50 == pytest.approx(kwh, rel=2e-3)
        assert energy.p90 == pytest.approx(kwh * np.exp(-P90 * of_energy), rel=3e-3)
        assert energy.high == pytest.approx(kwh * np.exp(NINE_OF_TEN * of_energy), rel=3e-3)
        assert per_kwh.p90 == pytest.approx(cost * np.exp(P90 * of_cost), rel=3e-3)
        assert per_kwh.low == pytest.approx(cost * np.exp(-NINE_OF_TEN * of_cost), rel=3e-3)


def test_a_swing_is_the_one_plan_estimate_at_the_end_of_the_distribution(only, edit, yard):
    plan = only(("price_per_kwh", "uniform = [0.2, 0.4]"))
    (first, *_) = sure(plan, 1024).builds
    (driver,) = [d for d in first.drivers["net_present_value"] if d.name == "price_per_kwh"]
    edit(yard / "plan.toml", "price_per_kwh = 0.30 ", "price_per_kwh = 0.21 ")
    at_low = load(yard).estimate().builds[0].cost.net_present_value
    assert driver.low == pytest.approx(at_low, rel=1e-9)  # 5 % of the way from 0.2 to 0.4
    assert driver.share == pytest.approx(1.0, abs=0.01)


def test_a_life_drawn_from_a_list_mixes_the_estimates_of_each(only, edit, yard):
    plan = only(("life_years", "values = [5, 20]"))
    build = sure(plan, 1024).builds[0]
    ends = []
    for years in (5, 20):
        text = (yard / "plan.toml").read_text(encoding="utf-8")
        text = re.sub(r"(?m)^life_years = \d+", f"life_years = {years}", text)
        (yard / "plan.toml").write_text(text, encoding="utf-8")
        ends.append(load(yard).estimate().builds[0].cost.cost_per_kwh)
    found = build.ranges["cost_per_kwh"]
    assert (found.low, found.high) == pytest.approx(sorted(ends), rel=1e-12)


def test_years_average_out_over_the_life_and_bias_does_not(only):
    """The mean of n independent years has 1/sqrt(n) of the deviation of one (JCGM 100:2008)."""
    plan = only(
        ("coming_years", "standard_uncertainty = 0.02"),
        money="discount_rate = 0.04\nlife_years = 16\nprice_per_kwh = 0.3",
    )
    ranges = sure(plan).builds[0].ranges
    one, mean = (
        ranges[measure].standard_uncertainty for measure in ("one_year_kwh", "life_kwh_per_year")
    )
    assert mean == pytest.approx(one / 4, rel=0.01)


@pytest.mark.parametrize("key", ["coming_years", "anemometer", "density", "prices", "life_years"])
@pytest.mark.parametrize("distribution", ["normal", "lognormal"])
def test_no_draw_has_a_wind_or_a_price_below_zero(only, key, distribution):
    """However wide a plan states it: what is drawn stays among the values that can be."""
    stated = f"standard_uncertainty = 1.5\ndistribution = '{distribution}'"
    found = sure(only((key, stated)), draws=4096)
    build = found.builds[0]
    energy = build.ranges["one_year_kwh"]
    assert 0 <= energy.low <= energy.p50 <= energy.high
    central = 1.0 if key != "life_years" else 15.0
    (drawn,) = (one.distribution for one in found.inputs if one.quantity == key)
    values = drawn.at(np.linspace(-6.5, 6.5, 501))
    kind = QUANTITIES[key].values
    assert values.min() >= kind.low
    assert values.max() <= kind.high
    assert drawn.at(0.0) == pytest.approx(central)
    # Where nothing is cut off, the plan's words are the distribution.
    assert ("cut off" in str(drawn)) == (isinstance(drawn, CutOff))


def test_bias_stays_over_the_life(only):
    ranges = sure(only(("anemometer", "standard_uncertainty = 0.02"))).builds[0].ranges
    assert ranges["life_kwh_per_year"].standard_uncertainty == pytest.approx(
        ranges["one_year_kwh"].standard_uncertainty, rel=1e-9
    )


def test_the_height_step_errs_by_the_power_law_at_each_hub(only, edit, yard):
    """An error d of the exponent works as (h2/h1)^d (IEC 61400-2, normal wind profile)."""
    plan = only(("shear_exponent", "values = [-0.1, 0.1]"))
    whole = estimate(read(plan))
    _, chains = lined_up(whole.inputs, whole.terms, whole.builds)
    values = {"shear_exponent": np.array([-0.1, 0.0, 0.1])}
    found = chains[0].outcome(values)["one_year_kwh"]
    ratio = plan.build[0].hub_height_m / plan.wind.measured_height_m
    faster = chains[0].outcome({"anemometer": ratio ** np.array([-0.1, 0, 0.1])})
    np.testing.assert_allclose(found, faster["one_year_kwh"], rtol=1e-12)
    assert found[0] < found[1] < found[2]


def two_builds(folder, name, old="", new=""):
    """Make the second build a copy of the first under another name, with one thing replaced."""
    path = folder / "plan.toml"
    head, first, *_, last = re.split(r"(?m)^\[\[build\]\]\n", path.read_text(encoding="utf-8"))
    first = re.sub(r"(?m)^#.*\n", "", first)
    other = first.replace("one machine", name).replace(old, new)
    tail = last[last.index("[economics]") :]
    text = "[[build]]\n".join([head, first, other + tail])
    path.write_text(text, encoding="utf-8")
    return path


def test_what_a_sold_kwh_earns_follows_the_price_of_a_bought_one(only):
    plan = only(
        ("price_per_kwh", "values = [0.15, 0.3, 0.6]"),
        money="discount_rate = 0.04\nlife_years = 15\nprice_per_kwh = 0.3\n"
        "self_consumption_share = 0.5\nexport_price_per_kwh = 0.1",
    )
    by_input = sure(plan, 512).builds[0].drivers["net_present_value"]
    (driver,) = [driver for driver in by_input if driver.name == "price_per_kwh"]
    kwh = -npf.pv(0.04, 15, estimate(read(plan)).builds[0].energy.net_kwh)
    worth = 0.5 * (0.6 - 0.15) + 0.5 * 0.1 * (0.6 - 0.15) / 0.3
    assert driver.high - driver.low == pytest.approx(kwh * worth, rel=1e-9)


def test_free_power_that_is_sold_still_earns(only):
    plan = only(
        money="discount_rate = 0.04\nlife_years = 15\nprice_per_kwh = 0\n"
        "self_consumption_share = 0.5\nexport_price_per_kwh = 0.1"
    )
    whole = estimate(read(plan))
    found = sure(plan, 512).builds[0].ranges["net_present_value"].p50
    assert found == pytest.approx(whole.builds[0].cost.net_present_value, rel=1e-9)


def test_builds_that_share_everything_are_never_better_than_each_other(yard):
    two_builds(yard, "its twin")
    one, twin = sure(load_plan(yard), 1024).builds
    assert one.beats["its twin"] == {
        "life_kwh_per_year": 0.0, "cost_per_kwh": 0.0, "net_present_value": 0.0
    }  # fmt: skip
    assert one.ranges == twin.ranges


def test_a_little_less_loss_always_wins_for_the_draws_are_shared(yard):
    """The wind errs by far more than the difference, so only shared draws can tell."""
    two_builds(yard, "lossy", "hub_height_m", "losses = { curtailment = 0.005 }\nhub_height_m")
    sparing, lossy = sure(load_plan(yard), 2048).builds
    assert sparing.beats["lossy"]["cost_per_kwh"] > 0.999
    assert lossy.beats["one machine"]["cost_per_kwh"] < 0.001
    assert sparing.ranges["cost_per_kwh"].high > lossy.ranges["cost_per_kwh"].low * 1.3


def test_chances_are_shares_of_the_draws(yard):
    plan = load_plan(yard)
    whole = estimate(read(plan))
    inputs, chains = lined_up(whole.inputs, whole.terms, whole.builds)
    uncertainty = whole.uncertainty(2048, seed=1)
    variates = draw_variates(inputs, uncertainty.correlations, 2048, seed=1)
    price = chains[0].inputs["price_per_kwh"].distribution.at(variates["price_per_kwh"])
    for chain, build in zip(chains, uncertainty.builds, strict=True):
        found = run(chain, variates)
        never = np.isnan(found["payback_years"]).mean()
        assert build.probability_of_payback == pytest.approx(1 - never)
        assert build.probability_below_price == pytest.approx(
            (found["cost_per_kwh"] < price).mean()
        )
        worth = found["net_present_value"] >= 0
        assert build.probability_that_it_pays == pytest.approx(worth.mean(), abs=2e-3)
        assert build.ranges["cost_per_kwh"] == summary("cost_per_kwh", found["cost_per_kwh"])


def test_what_to_measure_next_narrows_and_is_ranked_by_work(demo_site):
    for build in sure(load_plan(demo_site), 2048).builds:
        assert len(build.next_steps) >= 3
        for gain in build.next_steps:
            assert gain.narrowed > -0.02
            assert gain.before == build.next_steps[0].before
        worth = [gain.worth for gain in build.next_steps]
        assert worth == sorted(worth, reverse=True)


def test_every_input_has_a_category_a_source_and_a_distribution(demo_site):
    uncertainty = sure(load_plan(demo_site), 512)
    for each in uncertainty.inputs:
        assert each.category in CATEGORIES
        assert each.source
        assert str(each.distribution)
    assert {each.category for each in uncertainty.inputs} == set(CATEGORIES)
    for build in uncertainty.builds:
        total = sum(driver.share for driver in build.drivers["life_kwh_per_year"])
        assert 0.8 < total < 1.15  # first-order shares leave interactions out


def test_the_result_gives_intervals_of_any_coverage_and_a_frame(yard):
    """Against the quantiles of numpy over the same draws."""
    found = sure(load_plan(yard), 1024)
    first, second = found.builds
    for figure in ("one_year_kwh", "cost_per_kwh"):
        drawn = first.outcomes[figure]
        assert found.interval(figure) == pytest.approx(np.quantile(drawn, [0.05, 0.95]), rel=1e-12)
        assert found.interval(figure, 0.5, second.name) == pytest.approx(
            np.quantile(second.outcomes[figure], [0.25, 0.75]), rel=1e-12
        )
        range_ = first.ranges[figure]
        assert first.exceeded_with(figure, 0.9) == pytest.approx(range_.p90, rel=1e-12)
        assert found.to_frame().loc[(first.name, figure), "p99"] == range_.p99
    assert found[second.name] is second
    with pytest.raises(InputError, match="its figures are one_year_kwh"):
        first.interval("price")
    with pytest.raises(InputError, match="between 0 and 1"):
        found.interval("cost_per_kwh", 90)
