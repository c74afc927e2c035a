"""Unit counts, break-evens and what a rotor can save, through the command line."""

import math
from pathlib import Path

import pytest

from yieldest import load
from yieldest.model.break_even import HIGHEST_MEAN_WIND_MS
from yieldest.model.number_of_machines import cost_by_number

DEMO_SITES = Path(__file__).parents[1] / "demo-sites"

PLAN = """
title = "Invented"
currency = "EUR"

[wind]
mean_speed_ms = 5.0
measured_height_m = 10

[[build]]
name = "large"
hub_height_m = 10
curve = "large.csv"
rotor_diameter_m = 3
cut_out_ms = 25
bill = "large-bill.csv"

[[build]]
name = "0.9 m ones"
count = 12
hub_height_m = 10
curve = "small.csv"
rotor_diameter_m = 0.9
cut_out_ms = 25
bill = "small-bill.csv"
{more}

[economics]
discount_rate = 0.04
life_years = 15
price_per_kwh = 0.35
maintenance_share_per_year = 0.02
"""
FILES = {
    "large.csv": "speed (m/s),power (W)\n3,0\n12,1200\n14,1200\n",
    "small.csv": "speed (m/s),power (W)\n3,0\n12,110\n14,110\n",
    "large-bill.csv": "item,quantity,unit price,scope,group,life years\n"
    "rotor,1,900,per unit,rotor,\nmast,1,1500,per unit,mast,\ncable,1,300,per site,wiring,\n"
    "inverter,1,500,per array,converter,8\n",
    "small-bill.csv": "item,quantity,unit price,scope,group,life years\n"
    "rotor,1,40,per unit,rotor,\npole,1,45,per unit,mast,\ncable,1,300,per site,wiring,\n"
    "inverter,1,500,per array,converter,8\n",
}


@pytest.fixture
def made(tmp_path):
    """Write a plan of one large machine and twelve small ones."""

    def write(more=""):
        for name, text in FILES.items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        (tmp_path / "plan.toml").write_text(PLAN.format(more=more), encoding="utf-8")
        return tmp_path

    return write


@pytest.mark.parametrize(
    "more", ["", 'load = { kind = "battery", measured_on = "battery", idle_draw_w = 2 }']
)
def test_the_last_rung_is_the_build_itself(run, made, more):
    result = run("estimate", made(more), "--draws", 0, "--json").json
    assert (result["builds"][1]["idle_draw_kwh_per_year"] > 0) == bool(more)
    (by_number,) = result["cost_by_number"]
    small = result["builds"][1]
    assert by_number["build"] == "0.9 m ones"
    assert by_number["single"] == "large"
    assert [step["count"] for step in by_number["steps"]] == list(range(1, 13))
    last = by_number["steps"][-1]
    assert last["net_kwh_per_year"] == pytest.approx(small["net_kwh_per_year"], rel=1e-12)
    assert last["cost_per_kwh"] == pytest.approx(small["cost_per_kwh"], rel=1e-12)


@pytest.mark.parametrize(
    "more",
    [
        "",
        "losses = { wake = 0.06 }",
        'array = { layout = "row", bearing_deg = 0, spacing_rotor_diameters = 6 }',
        'array = { array_efficiency = 0.95, evidence = "two days in May" }',
        'cable = [{ length_m = 50, cross_section_mm2 = 10, voltage_v = 48, arrangement = "dc", '
        'carries = "the array" }]',
    ],
)
def test_every_rung_is_what_the_plan_says_for_so_many(run, made, more):
    """The table against the plan itself with another count: a second way to the same number.

    WakeLoss that is stated or assumed for all is shared out by neighbours in the table only.
    """
    folder = made(more)
    by_number = run("estimate", folder, "--draws", 0, "--json").json["cost_by_number"][0]
    for count in (1, 5, 12):
        alone = run(
            "estimate", folder, "--draws", 0, "--set", f"build.1.count={count}", "--json"
        ).json
        step = by_number["steps"][count - 1]
        build = alone["builds"][1]
        assert step["capital_cost"] == pytest.approx(build["capital_cost"])
        if "array = { layout" in more:
            assert step["net_kwh_per_year"] == pytest.approx(build["net_kwh_per_year"], rel=1e-9)
    assert (
        by_number["steps"][0]["net_kwh_per_year"] > by_number["steps"][-1]["net_kwh_per_year"] / 12
    )


def test_the_crossing_is_where_the_order_changes(made):
    result = load(made()).estimate()
    (by_number,) = cost_by_number(result)
    single = result.builds[0].cost.cost_per_kwh
    (crossing,) = by_number.crossings
    costs = {step.count: step.cost_per_kwh for step in by_number.steps}
    assert costs[crossing] < single <= costs[crossing - 1]


def test_many_arrays_take_one_line(run, made):
    folder = made()
    plan = folder / "plan.toml"
    text = plan.read_text(encoding="utf-8")
    array = text[text.rindex("[[build]]") : text.index("[economics]")]
    more = [
        array.replace("0.9 m ones", f"array {i}").replace("count = 12", f"count = {i}")
        for i in range(2, 6)
    ]
    plan.write_text(text.replace("[economics]", "\n".join([*more, "[economics]"])), "utf-8")
    result = run("estimate", folder, "--draws", "0", "--json").json
    (line,) = [each["text"] for each in result["pointers"] if each["about"] == "How many"]
    assert line.count("(€") == 3
    assert "2 more builds in --full" in line
    best = min(result["builds"][1:], key=lambda build: build["cost_per_kwh"])
    assert f"the cheapest kWh of each make {best['count']} of B (€" in line
    assert line.count(", still falling)") == 3
    # What a kWh costs with fewer machines than the plan states is never below A either.
    assert line.startswith(
        "Of the numbers tried, up to those of the plan, none of C, D, E or F makes a cheaper kWh "
        "than A;"
    )
    assert all(
        step["cost_per_kwh"] > result["builds"][0]["cost_per_kwh"]
        for each in result["cost_by_number"][1:]
        for step in each["steps"]
    )


def test_the_crossing_is_said_in_words(run, made):
    folder = made()
    crossing = run("estimate", folder, "--draws", 0, "--json").json["cost_by_number"][0][
        "crossings"
    ][0]
    shown = " ".join(run("estimate", folder, "--draws", 0).out.split())
    assert f"B is cheaper from {crossing} machines on" in shown
    # One machine more would be cheaper, so nothing may be said of those that were not tried.
    fewer = f"build.1.count={crossing - 1}"
    never = " ".join(run("estimate", folder, "--draws", 0, "--set", fewer).out.split())
    tried = f"Of 1 to {crossing - 1} machines of B none makes a cheaper kWh than A; {crossing - 1} "
    assert tried in never
    assert f"and its cost still falls at {crossing - 1}." in never


def test_a_cost_that_rises_again_is_not_said_to_fall(run, made):
    folder = made("losses = { wake = 0.6 }")
    result = run("estimate", folder, "--draws", 0, "--json").json
    costs = [step["cost_per_kwh"] for step in result["cost_by_number"][0]["steps"]]
    cheapest = 1 + costs.index(min(costs))
    assert 1 < cheapest < 12
    (line,) = [each["text"] for each in result["pointers"] if each["about"] == "How many"]
    assert f"{cheapest} make the cheapest kWh (" in line
    assert "still falls" not in line


def test_break_evens_put_back_into_the_plan_give_a_present_value_of_zero(run, made, edit):
    folder = made()
    builds = run("estimate", folder, "--draws", 0, "--json").json["builds"]
    scale = builds[0]["capital_cost"]
    for i, build in enumerate(builds):
        needed = build["break_even"]
        price = run("estimate", folder, "--draws", 0, "--set",
            f"economics.price_per_kwh={needed['price_per_kwh']}",
                    "--json").json  # fmt: skip
        assert price["builds"][i]["net_present_value"] == pytest.approx(0, abs=1e-6 * scale)
        # The worth of a kWh that just pays is what a kWh costs: the two are computed apart.
        assert needed["price_per_kwh"] == pytest.approx(build["cost_per_kwh"], rel=1e-9)
        # The hub stands at the height of measurement, so the mean wind is that of the plan.
        wind = run("estimate", folder, "--draws", 0, "--set",
                   f"wind.mean_speed_ms={needed['hub_mean_speed_ms']}", "--json").json  # fmt: skip
        assert wind["builds"][i]["net_present_value"] == pytest.approx(0, abs=1e-6 * scale)
    # The machine alone: its line of the bill at the price found.
    found = builds[0]["break_even"]["machine_cost"]
    edit(folder / "large-bill.csv", "rotor,1,900", f"rotor,1,{found!r}")
    cheaper = run("estimate", folder, "--draws", 0, "--json").json["builds"][0]
    assert cheaper["net_present_value"] == pytest.approx(0, abs=1e-6 * scale)


def test_the_bill_that_just_pays(run, made):
    folder = made()
    before = run("estimate", folder, "--draws", 0, "--json").json["builds"][0]
    factor = before["break_even"]["bill_cost"] / before["capital_cost"]
    lines = FILES["large-bill.csv"]
    for price in (900, 1500, 300, 500):
        lines = lines.replace(f",1,{price},", f",1,{price * factor!r},")
    (folder / "large-bill.csv").write_text(lines)
    after = run("estimate", folder, "--draws", 0, "--json").json["builds"][0]
    assert after["net_present_value"] == pytest.approx(0, abs=1e-6)


def test_never_is_an_answer(run, made):
    folder = made()
    result = run(
        "estimate", folder, "--draws", 0, "--set", "economics.price_per_kwh=0.02", "--json"
    ).json
    needed = result["builds"][1]["break_even"]
    assert needed["machine_cost"] is None
    assert "free rotor" in needed["never"]["machine_cost"]
    assert needed["hub_mean_speed_ms"] is None
    assert f"{HIGHEST_MEAN_WIND_MS:g} m/s" in needed["never"]["hub_mean_speed_ms"]
    shown = run("estimate", folder, "--set", "economics.price_per_kwh=0.02", "--full").out
    assert f"it loses money at every mean wind up to {HIGHEST_MEAN_WIND_MS:g} m/s" in " ".join(
        shown.split()
    )
    nothing = run("estimate", folder, "--draws", 0, "--set", "economics.price_per_kwh=0.3", "--set",
                  "economics.self_consumption_share=0", "--json").json  # fmt: skip
    assert nothing["builds"][0]["break_even"]["price_per_kwh"] is None


def test_without_a_price_only_the_worth_of_a_kwh_is_sought(run, made, edit):
    folder = made()
    edit(folder / "plan.toml", "price_per_kwh = 0.35\n", "")
    needed = run("estimate", folder, "--draws", 0, "--json").json["builds"][0]["break_even"]
    assert needed["price_per_kwh"] > 0
    assert set(needed["unknown"]) == {"bill_cost", "machine_cost", "hub_mean_speed_ms"}


def test_what_a_cheap_rotor_cannot_save(run, made):
    """By hand: 2300 of 3200 is mast, cable and inverter."""
    build = run("estimate", made(), "--draws", 0, "--json").json["builds"][0]
    saving = build["rotor_saving"]
    assert saving["support_share"] == pytest.approx(2300 / 3200)
    assert saving["rotor_share"] == pytest.approx(900 / 3200)
    # Without the rotor 2300 at first and 2 % of it a year, and an inverter of 500 in year 8.
    factor = (1 - 1.04**-15) / 0.04
    whole = 2300 + 0.02 * 2300 * factor + 500 * 1.04**-8
    expected = whole / (build["net_kwh_per_year"] * factor)
    assert saving["cost_per_kwh_with_free_rotor"] == pytest.approx(expected, rel=1e-9)


def test_the_best_build_of_each_line_is_marked(run, made):
    folder = made()
    builds = run("estimate", folder, "--draws", 0, "--json").json["builds"]
    marked = [line for line in run("estimate", folder).out.splitlines() if "✓" in line]
    lines = {line.split(" (")[0]: line for line in marked}
    for label, key, more in (
        ("net energy", "net_kwh_per_year", True),
        ("cost to build", "capital_cost", False),
        ("cost per kWh", "cost_per_kwh", False),
        ("net present value", "net_present_value", True),
    ):
        values = [build[key] for build in builds]
        last_is_best = (values[1] > values[0]) == more
        assert lines[label].endswith("✓") == last_is_best, label
        assert lines[label].count("✓") == 1


def test_the_verdict_names_one_build_or_none_and_never_oversells(run, made):
    folder = made()
    result = run("estimate", folder, "--draws", 0, "--json").json
    names = [build["name"] for build in result["builds"]]

    def answer(*changes, draws="1024"):
        flags = [word for change in changes for word in ("--set", change)]
        return run("estimate", folder, *flags, "--draws", draws, "--json").json

    loses = answer("economics.price_per_kwh=0.05")
    assert loses["chosen"] is None
    assert loses["verdict"][0].startswith("Make none of them for the money")
    pays = answer("economics.price_per_kwh=0.9")
    best = max(pays["builds"], key=lambda build: build["net_present_value"])
    assert pays["chosen"] == best["name"]
    assert pays["verdict"][0].startswith(
        f"Make {'AB'[names.index(best['name'])]}, “{best['name']}”"
    )
    cheapest = min(build["cost_per_kwh"] for build in result["builds"])
    for draws in ("0", "1024"):
        edge = answer(f"economics.price_per_kwh={cheapest * 1.05}", draws=draws)
        assert edge["chosen"] is None
        assert "knife's edge" in edge["verdict"][0]
    # Without draws a fifth less energy than computed still has to pay.
    assert answer(f"economics.price_per_kwh={cheapest * 1.22}", draws="0")["chosen"] is None
    assert answer(f"economics.price_per_kwh={cheapest * 1.30}", draws="0")["chosen"] is not None
    text = (folder / "plan.toml").read_text()
    (folder / "plan.toml").write_text(text.replace("price_per_kwh = 0.35\n", ""))
    assert answer()["chosen"] is None
    assert "cannot be said" in answer()["verdict"][0]


def test_what_moves_the_answer_beyond_its_range_stands_in_the_verdict(run, made):
    price = ("--set", "economics.price_per_kwh=0.9", "--json")
    all_used = run("estimate", made(), *price).json["verdict"]
    assert any("30 %" in text for text in all_used)
    stated = run("estimate", made(), *price, "--set", "economics.self_consumption_share=0.3").json
    assert not any("30 %" in text for text in stated["verdict"])


def test_all_of_it_fits_the_width_of_a_terminal(run, made):
    for line in run("estimate", made()).out.splitlines():
        assert len(line) <= 100


def test_several_hundred_machines_are_reckoned_in_steps(made):
    folder = made("losses = { wake = 0.1 }")
    text = (folder / "plan.toml").read_text().replace("count = 12", "count = 300")
    (folder / "plan.toml").write_text(text)
    (by_number,) = cost_by_number(load(folder).estimate())
    counts = [step.count for step in by_number.steps]
    assert counts[0] == 1
    assert counts[-1] == 300
    assert len(counts) <= 40
    assert all(math.isfinite(step.cost_per_kwh) for step in by_number.steps)


@pytest.mark.parametrize("count", [41, 60, 150, 300, 3000])
def test_some_numbers_find_the_turns_that_all_of_them_have(made, count, monkeypatch, run):
    """By another route: every number of machines one by one."""
    folder = made("losses = { wake = 0.5 }")
    text = (folder / "plan.toml").read_text().replace("count = 12", f"count = {count}")
    (folder / "plan.toml").write_text(text)
    estimate = load(folder).estimate()
    (some,) = cost_by_number(estimate)
    monkeypatch.setattr("yieldest.model.number_of_machines.EVERY_COUNT_UP_TO", count)
    (every,) = cost_by_number(estimate)
    assert len(some.steps) < len(every.steps) == count
    assert every.crossings == some.crossings != ()
    cheapest = [min(each.steps, key=lambda step: step.cost_per_kwh) for each in (some, every)]
    assert cheapest[0] == cheapest[1]
    shown = " ".join(run("estimate", folder, "--draws", 0).out.split())
    assert f"of 1 to {count} machines of B, {cheapest[1].count} make the cheapest kWh" in shown


def test_of_many_it_is_said_how_many_numbers_were_tried(run, made):
    result = run("estimate", made(), "--draws", 0, "--set", "build.1.count=300", "--json").json
    tried = len(result["cost_by_number"][0]["steps"])
    (line,) = [each["text"] for each in result["pointers"] if each["about"] == "How many"]
    assert f"of {tried} numbers tried from 1 to 300 machines of B, " in line
