"""The tables behind the sliders: every entry is what the package gives, and money is linear."""

import numpy as np
import pytest

from yieldest import load
from yieldest.model.scenarios import DRAWS, LEVELS, WIND_FACTORS, follow, scenarios_of

HERE = WIND_FACTORS.index(1.0)


def test_the_plan_itself_is_an_entry_of_the_table(demo_scenarios):
    _, estimate, _, scenarios = demo_scenarios
    for of, build in zip(scenarios, estimate.builds, strict=True):
        assert of.net_kwh[HERE][of.stated] == pytest.approx(build.energy.net_kwh, rel=1e-12)
        assert of.hub_heights_m[of.stated[0]] == build.distribution.height_m
        assert of.counts[of.stated[1]] == build.energy.count
        assert of.wind_factors[HERE] == 1


@pytest.mark.parametrize("factor", [0, HERE, -1])
@pytest.mark.parametrize("height", [0, -1])
def test_every_entry_is_what_a_plan_of_that_wind_and_height_makes(yard, edit, factor, height):
    edit(yard / "plan.toml", 'record = "wind.csv"', "mean_speed_ms = 5.01")
    of = scenarios_of(load(yard).estimate(), 0)
    text = (yard / "plan.toml").read_text("utf-8")
    text = text.replace("speed_ms = 5.01", f"speed_ms = {5.01 * WIND_FACTORS[factor]}")
    changed = text.replace("hub_height_m = 12", f"hub_height_m = {of.hub_heights_m[height]}", 1)
    assert changed != text
    for place, count in enumerate(of.counts):
        counted = changed.replace("# count = 1", f"count = {count:.0f}", 1)
        (yard / "plan.toml").write_text(counted, "utf-8")
        build = load(yard).estimate().builds[0]
        assert of.net_kwh[factor, height, place] == pytest.approx(build.energy.net_kwh, rel=1e-9)


def test_where_a_weaker_wind_makes_nothing_the_page_still_stands(run, yard, edit, tmp_path):
    """Winds of 3 to 5.5 m/s at the hub, a machine from 4 m/s on: at 0.7 of them nothing is made."""
    edit(yard / "plan.toml", 'name = "one machine"', 'name = "one machine"\ncut_in_ms = 4.2')
    edit(yard / "plan.toml", 'record = "wind.csv"', 'record = "wind.csv"\nfit = "empirical"')
    hours = np.arange("2025-01-01", "2025-03-01", dtype="datetime64[h]")
    speeds = np.random.default_rng(8).uniform(3, 5.5, hours.size).round(1)
    rows = [f"{time},{each}" for time, each in zip(hours, speeds, strict=True)]
    (yard / "wind.csv").write_text("\n".join(["time,speed (m/s)", *rows]), encoding="utf-8")
    estimate = load(yard).estimate()
    of = scenarios_of(estimate, 0, estimate.uncertainty(1024))
    assert of.net_kwh[HERE][of.stated] > 0
    assert of.net_kwh[0, of.stated[0], of.stated[1]] == 0
    assert np.isfinite(of.quantiles).all()
    assert run("report", yard, "-o", tmp_path / "page.html").code == 0


def test_the_share_used_at_a_stop_is_that_of_a_plan_of_that_height_and_number(yard):
    plan = yard / "plan.toml"
    load_of_house = "\n[demand]\nkwh_per_year = 900\n[battery]\ncapacity_kwh = 1\n"
    text = plan.read_text("utf-8") + load_of_house
    plan.write_text(text, "utf-8")
    of = scenarios_of(load(yard).estimate(), 0)
    assert (np.diff(of.used_share, axis=2) < 0).all(), "more machines, less of it used"
    for height, place in ((0, -1), (-1, 1)):
        there = text.replace("hub_height_m = 12", f"hub_height_m = {of.hub_heights_m[height]}", 1)
        there = there.replace("# count = 1", f"count = {of.counts[place]:.0f}", 1)
        plan.write_text(there, "utf-8")
        share = load(yard).estimate().builds[0].self_consumption.used_share
        assert of.used_share[HERE, height, place] == pytest.approx(share, rel=1e-9)
        assert share < 0.99


def test_higher_and_windier_is_more(demo_scenarios):
    for of in demo_scenarios[-1]:
        assert (np.diff(of.net_kwh, axis=0) > 0).all()
        assert (np.diff(of.net_kwh, axis=1) > 0).all()


def test_own_work_adds_to_every_sum_in_a_straight_line(demo_scenarios):
    _, estimate, _, scenarios = demo_scenarios
    wage = 17.3
    for of, build in zip(scenarios, estimate.builds, strict=True):
        for count, (unpaid, of_wage) in zip(of.counts, of.expenditures, strict=True):
            years = unpaid.replacement_costs.size - 1
            assert years >= 2 * estimate.terms.life_years
            terms = estimate.terms.model_copy(update={"life_years": years})
            for key, value in vars(build.bill.expenditure(int(count), terms, wage)).items():
                found = vars(unpaid)[key] + wage * vars(of_wage)[key]
                assert found == pytest.approx(value, rel=1e-12, abs=1e-9), key


def test_the_draws_are_those_of_the_estimate(demo_scenarios):
    _, estimate, uncertainty, scenarios = demo_scenarios
    for of, build, sure in zip(scenarios, estimate.builds, uncertainty.builds, strict=True):
        assert of.draws.one_year.size == DRAWS
        drawn = of.draws.one_year * build.energy.net_kwh
        full = sure.ranges["one_year_kwh"]
        off = np.abs(np.quantile(drawn, [0.05, 0.95]) - [full.low, full.high])
        assert (off <= of.range_error * (full.high - full.low) * (1 + 1e-9)).all()
        assert of.draws.life.mean() == pytest.approx(1, abs=0.02)


def test_ranges_elsewhere_are_as_near_as_is_said(yard, edit):
    estimate = load(yard).estimate()
    of = scenarios_of(estimate, 0, estimate.uncertainty())
    assert 0 < of.range_error < 0.1
    for height in (0, -1):
        there = of.hub_heights_m[height]
        text = (yard / "plan.toml").read_text("utf-8")
        changed = text.replace("hub_height_m = 12", f"hub_height_m = {there}", 1)
        (yard / "plan.toml").write_text(changed, "utf-8")
        low, high = load(yard).estimate().uncertainty().builds[0].interval("one_year_kwh")
        (yard / "plan.toml").write_text(text, "utf-8")
        here, to = of.quantiles[0, HERE, of.stated[0]], of.quantiles[0, HERE, height]
        near = follow(of.draws.one_year, here, to) * of.net_kwh[HERE, height, of.stated[1]]
        off = np.abs(np.quantile(near, [0.05, 0.95]) - [low, high]).max()
        # What was measured is that against as many draws there; these are sixteen times as many.
        assert off <= (of.range_error + 0.05) * (high - low)


def test_draws_follow_their_quantiles_and_go_straight_on_beyond_them():
    here = np.linspace(0, 1, len(LEVELS))
    there = 3 + 2 * here
    drawn = np.array([-0.5, 0.0, 0.31, 1.0, 1.5])
    assert follow(drawn, here, there) == pytest.approx(3 + 2 * drawn)
    assert follow(np.ones(3), np.ones_like(here), there) == pytest.approx(there[-2])


def test_heights_that_the_package_refuses_are_left_out(yard, edit):
    edit(yard / "plan.toml", "# displacement_m = 0 ", "displacement_m = 7 ")
    of = scenarios_of(load(yard).estimate(), 0)
    assert of.hub_heights_m.min() > 7
    assert of.hub_heights_m[of.stated[0]] == 12
    assert np.isfinite(of.net_kwh).all()


@pytest.mark.parametrize(("count", "most"), [(1, 4), (6, 12), (40, 80), (10000, 20000)])
def test_the_number_of_machines_reaches_beyond_the_plans(yard, edit, count, most):
    edit(yard / "plan.toml", "# count = 1", f"count = {count}")
    of = scenarios_of(load(yard).estimate(), 0)
    assert (of.counts[0], of.counts[of.stated[1]], of.counts[-1]) == (1, count, most)
    assert (of.counts == np.round(of.counts)).all()
    assert of.counts.size <= 7


def test_without_a_bill_there_is_no_money(yard):
    plan = yard / "plan.toml"
    plan.write_text(plan.read_text("utf-8").replace('bill = "bill.csv"', ""), "utf-8")
    estimate = load(yard).estimate()
    of = scenarios_of(estimate, 0, estimate.uncertainty(512))
    assert of.expenditures == ()
    assert of.draws is not None
