"""Ranges on the command line: shown by default, reproducible, and refused in one sentence."""

import gzip
import math
import re
import shutil

import numpy as np
import pytest
from conftest import DEMO_SITES, SITES
from winds import record_of

from yieldest.report import terminal
from yieldest.uncertainty.next_measurement import left_after

RANGE_KEYS = {"p50", "p75", "p90", "p99", "low", "high", "standard_uncertainty"}
FIGURES = {
    "one_year_kwh", "life_kwh_per_year", "cost_per_kwh", "payback_years",
    "discounted_payback_years", "net_present_value",
}  # fmt: skip


def finite(value):
    if isinstance(value, dict):
        return all(finite(each) for each in value.values())
    if isinstance(value, list):
        return all(finite(each) for each in value)
    return not isinstance(value, float) or math.isfinite(value)


def test_ranges_are_shown_by_default(run, demo_site):
    shown = run("estimate", demo_site)
    assert shown.code == 0 and shown.err == ""
    for words in (
        "in brackets the 90 % range", "the probability that it pays", "Middle", "Next",
    ):  # fmt: skip
        assert words in " ".join(shown.out.split())
    full = run("estimate", demo_site, "--full").out
    for words in (
        "How sure", "were enough", "What makes", "What to measure next", "variance",
        "probability: pays back in its life", "common practice, no source",
    ):  # fmt: skip
        assert words in full
    assert max(len(line) for line in shown.out.splitlines()) <= 100


def test_full_adds_the_uncertainty_of_every_input_and_takes_nothing_away(run, demo_site):
    short = run("estimate", demo_site, "--draws", "512").out
    full = run("estimate", demo_site, "--draws", "512", "--full").out
    for words in ("categories of IEC 61400-15", "lognormal", "  P75", "  P99"):
        assert words in full
        assert words not in short
    kept = [line for line in short.splitlines() if "--full" not in line]
    assert set(kept) <= set(full.splitlines())
    assert max(len(line) for line in full.splitlines()) <= 100


def test_a_wage_is_said_as_it_is_stated(run, demo_site):
    wage = "--set", "economics.wage_per_hour=4.9"
    assert (
        "own work at 4.9 EUR an hour"
        in run("estimate", demo_site, *wage, "--draws", "0", "--full").out
    )


def test_no_draws_no_ranges(run, demo_site):
    shown = run("estimate", demo_site, "--draws", "0")
    assert shown.code == 0
    assert "90 % range" not in shown.out
    result = run("estimate", demo_site, "--draws", "0", "--json").json
    assert result["uncertainty"] is None
    assert [build["uncertainty"] for build in result["builds"]] == [None, None]


def test_json_holds_ranges_chances_drivers_and_steps(run, demo_site):
    result = run("estimate", demo_site, "--json", "--draws", "1024").json
    assert finite(result)
    uncertainty = result["uncertainty"]
    assert uncertainty["draws"] == 1024 and uncertainty["seed"] == 1
    assert {"enough_draws", "standard_error", "correlations"} <= uncertainty.keys()
    names = {each["name"] for each in uncertainty["inputs"]}
    for each in uncertainty["inputs"]:
        assert each.keys() >= {"category", "distribution", "standard_uncertainty", "source"}
    for build in result["builds"]:
        mine = build["uncertainty"]
        assert mine.keys() >= FIGURES
        for figure in FIGURES:
            assert mine[figure].keys() == RANGE_KEYS
        energy = mine["one_year_kwh"]
        assert energy["low"] < energy["p90"] < energy["p50"] < energy["high"]
        assert energy["p99"] < energy["low"]
        assert energy["low"] < build["net_kwh_per_year"] < energy["high"]
        for chance in (
            "paid_back_within_life",
            "paid_back_with_interest",
            "cheaper_than_bought_kwh",
        ):
            assert 0 <= mine[f"chance_{chance}"] <= 1
        others = {other["name"] for other in result["builds"]} - {build["name"]}
        assert mine["chance_better_than"].keys() == others
        for drivers in mine["drivers"].values():
            assert {driver["name"] for driver in drivers} <= names
            shares = [driver["share"] for driver in drivers]
            assert shares == sorted(shares, reverse=True)
        assert all(step["work_days"] > 0 for step in mine["next_steps"])


def test_a_seed_gives_the_same_draws_and_another_seed_others(run, yard):
    def range_at(*arguments):
        result = run("estimate", yard, "--json", "--draws", "2048", *arguments).json
        return result["builds"][0]["uncertainty"]["one_year_kwh"]

    assert range_at() == range_at() == range_at("--seed", "1")
    other = range_at("--seed", "2")
    assert other != range_at()
    assert other["p50"] == pytest.approx(range_at()["p50"], rel=0.02)


def test_the_plan_may_state_draws_and_seed(run, yard):
    with (yard / "plan.toml").open("a", encoding="utf-8") as plan:
        plan.write("\n[uncertainty]\ndraws = 1024\nseed = 7\n")
    assert run("estimate", yard, "--json").json["uncertainty"]["seed"] == 7
    assert run("estimate", yard, "--json").json["uncertainty"]["draws"] == 1024
    assert run("estimate", yard, "--json", "--draws", "600").json["uncertainty"]["draws"] == 600


def test_too_few_draws_say_so(run, yard):
    shown = run("estimate", yard, "--draws", "512")
    assert "were too few" in shown.out


def test_without_a_price_or_a_bill_there_are_only_the_ranges_that_can_be_had(run, yard, edit):
    edit(yard / "plan.toml", "price_per_kwh = 0.30 ", "# price_per_kwh = 0.30 ")
    mine = run("estimate", yard, "--json", "--draws", "512").json["builds"][0]["uncertainty"]
    assert "net_present_value" not in mine and "cost_per_kwh" in mine
    assert mine["chance_paid_back_within_life"] is None
    assert mine["chance_cheaper_than_bought_kwh"] is None
    plan = yard / "plan.toml"
    plan.write_text(plan.read_text().replace('bill = "bill.csv"', "# no bill"), encoding="utf-8")
    result = run("estimate", yard, "--json", "--draws", "512").json
    assert "cost_per_kwh" not in result["builds"][0]["uncertainty"]
    assert result["builds"][0]["uncertainty"]["next_steps"][0]["figure"] == "life_kwh_per_year"
    assert run("estimate", yard, "--draws", "512").code == 0


def test_a_machine_without_energy_has_no_cost_and_never_pays(run, yard):
    (yard / "curve.csv").write_text("speed (m/s),power (W)\n20,0\n24,0\n", encoding="utf-8")
    text = (yard / "plan.toml").read_text().replace("cut_out_ms = 18", "# no cut-out")
    (yard / "plan.toml").write_text(text, encoding="utf-8")
    mine = run("estimate", yard, "--json", "--draws", "512").json["builds"][0]["uncertainty"]
    assert mine["one_year_kwh"]["p50"] == 0
    assert mine["cost_per_kwh"]["p50"] is None
    assert mine["chance_paid_back_within_life"] == 0
    shown = run("estimate", yard, "--draws", "512")
    assert shown.code == 0
    assert "Nothing can be said about the money" in " ".join(shown.out.split())


def test_a_stated_mean_speed_has_its_own_uncertainty(run, yard, edit):
    edit(yard / "plan.toml", 'record = "wind.csv" ', "mean_speed_ms = 5.0 ")
    result = run("estimate", yard, "--json", "--draws", "512").json
    names = {each["name"] for each in result["uncertainty"]["inputs"]}
    assert "stated_mean" in names and "anemometer" not in names


def test_a_reference_brings_its_own_uncertainty_and_takes_that_of_the_short_record(run, tmp_path):
    folder = shutil.copytree(DEMO_SITES / "hill-yard", tmp_path / "yard")
    with gzip.open(folder / "wind.csv.gz", "rt", encoding="utf-8") as whole:
        start = [next(whole) for _ in range(2 + 6 * 24 * 60)]  # remark, heading, 60 days
    (folder / "short.csv").write_text("".join(start), encoding="utf-8")
    text = (folder / "plan.toml").read_text(encoding="utf-8")
    text = text.replace("wind.csv.gz", "short.csv")

    def uncertainties_with(plan):
        (folder / "plan.toml").write_text(plan, encoding="utf-8")
        return run("estimate", folder, "--json", "--draws", "512").json

    alone = uncertainties_with(text)
    reference = '[wind.reference]\nrecord = "wind.csv.gz"\n\n'
    first = text.index("[[build]]")
    compared = uncertainties_with(text[:first] + reference + text[first:])
    names = [{each["name"] for each in of["uncertainty"]["inputs"]} for of in (alone, compared)]
    assert {"sampling", "seasons"} <= names[0] and "long_term" not in names[0]
    assert "long_term" in names[1] and not {"sampling", "seasons"} & names[1]
    shares = [
        of["builds"][0]["uncertainty"]["life_kwh_per_year"]["standard_uncertainty"]
        / of["builds"][0]["uncertainty"]["life_kwh_per_year"]["p50"]
        for of in (alone, compared)
    ]
    assert shares[1] < 0.9 * shares[0]


STATED = [
    ("anemometer = { standard_uncertainty = 0.01 }", "anemometer", "lognormal", 0.01),
    ("life_years = { triangular = [8, 12, 20] }", "life_years", "triangular", 2.495),
    ("discount_rate = { uniform = [0.01, 0.05] }", "discount_rate", "uniform", 0.04 / 12**0.5),
    ("price_per_kwh = { values = [0.2, 0.3, 0.4] }", "price_per_kwh", "one of", 0.0816),
    ("losses.electrical = { standard_uncertainty = 0.02, distribution = 'normal' }",
     "losses.electrical", "normal", 0.02),
]  # fmt: skip


@pytest.mark.parametrize(("line", "name", "words", "size"), STATED)
def test_a_spread_of_the_plan_stands_instead_of_the_default(run, yard, line, name, words, size):
    with (yard / "plan.toml").open("a", encoding="utf-8") as plan:
        plan.write(f"\n[uncertainty]\n{line}\n")
    result = run("estimate", yard, "--json", "--draws", "512").json
    (each,) = [each for each in result["uncertainty"]["inputs"] if each["name"] == name]
    assert each["stated_in_plan"] and each["source"] == "the plan"
    assert words in each["distribution"]
    assert each["standard_uncertainty"] == pytest.approx(size, rel=2e-3)


SPOILT = [
    ("draws = 5", "512"),
    ("draws = 100000000", "from 0 to 500,000"),
    ("seed = -1", "seed"),
    ("anemomter = { standard_uncertainty = 0.1 }", "did you mean 'anemometer'"),
    ("anemometer = { standard_uncertainty = -0.1 }", "standard_uncertainty"),
    ("anemometer = { }", "state one of"),
    ("anemometer = { uniform = [0.9, 1.1], values = [1.0] }", "exclude each other"),
    ("anemometer = { uniform = [1.1, 0.9] }", "lowest first"),
    ("anemometer = { uniform = [-1.0, 1.0] }", "uncertainty: anemometer: -1 is not a factor"),
    ("anemometer = { values = [1.0], distribution = 'normal' }", "belongs to standard_uncertainty"),
    ("life_years = { triangular = [0, 5, 10] }", "life_years: 0 is not a life"),
    ("losses.electrical = { uniform = [0.5, 1.5] }", "1.5 is not a share"),
    ("correlation = [{ between = ['anemometer', 'mood'], coefficient = 0.5 }]", "'mood'"),
    ("correlation = [{ between = ['anemometer', 'curve'], coefficient = 1.0 }]",
     "between -1 and 1"),
    ("correlation = [{ between = ['anemometer', 'mounting'], coefficient = 0.9 }, "
     "{ between = ['mounting', 'exposure'], coefficient = 0.9 }, "
     "{ between = ['anemometer', 'exposure'], coefficient = -0.9 }]", "contradict"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "named"), SPOILT)
def test_bad_uncertainty_is_one_sentence_and_exit_code_2(run, yard, line, named):
    with (yard / "plan.toml").open("a", encoding="utf-8") as plan:
        plan.write(f"\n[uncertainty]\n{line}\n")
    refused = run("estimate", yard)
    assert refused.code == 2
    assert refused.out == ""
    assert len(refused.err.strip().splitlines()) == 1
    assert named in refused.err
    if named != "contradict":  # known only when everything is drawn
        assert "plan.toml, line" in refused.err
        assert run("check", yard).err == refused.err


def test_a_sweep_has_no_draws(run, yard):
    refused = run(
        "estimate", yard, "--sweep", "economics.discount_rate=0.02:0.04:3", "--draws", "512"
    )
    assert refused.code == 2
    assert "--draws" in refused.err


@pytest.mark.parametrize("draws", ["5", "-1", "1000000000"])
def test_draws_out_of_reach_are_refused(run, yard, draws):
    refused = run("estimate", yard, "--draws", draws)
    assert refused.code == 2
    assert "512" in refused.err and "500,000" in refused.err


@pytest.mark.parametrize("site", ["fishing-quay", "ridge-hut"])
def test_logging_on_is_among_the_measurements_and_little_gains_are_not_shown(run, site):
    shown = run("estimate", DEMO_SITES / site, "--full").out
    listed = " ".join(shown[shown.index("What to measure next") :].split("\n\n")[0].split())
    narrower = re.findall(r"(\S+) % narrower", listed)
    assert narrower
    assert all(float(share) >= 5 for share in narrower)
    for build in run("estimate", DEMO_SITES / site, "--json").json["builds"]:
        steps = build["uncertainty"]["next_steps"]
        assert sum(step["step"].startswith("keep logging the wind") for step in steps) == 4
    assert "years of ten" not in shown
    assert "cases of ten" not in shown


def test_what_a_longer_record_leaves_of_its_uncertainty():
    hours = np.arange(np.datetime64("2025-01-01T00"), np.datetime64("2025-07-02T00"))
    record = record_of(np.ones(hours.size), hours)
    days = hours.size / 24
    left = left_after(record, 6)
    # Means of n days scatter as one over the root of n; no month is missing after half a year more.
    assert left["sampling"] == pytest.approx((days / (days + 365.25 / 2)) ** 0.5)
    assert left["seasons"] == pytest.approx(0, abs=1e-9)
    assert left["past_years"] == pytest.approx(1, abs=2e-3)
    assert left_after(record, 24)["past_years"] == pytest.approx((1 / 2.5) ** 0.5, abs=2e-3)
    assert 0 < left_after(record, 3)["seasons"] < 1
    assert left_after(record, 6, has_reference=True).keys() == {"shape", "long_term"}


def test_money_of_measurements_has_the_sign_of_the_currency(run):
    result = run("estimate", DEMO_SITES / "ridge-hut", "--set", "currency=EUR", "--full").out
    assert "By group: storage €620 (34 %)" in result
    assert "€/kWh, becomes" in " ".join(result.split())
    assert "alone, low to high end (€/kWh)" in result


def test_what_cannot_be_had_is_none_with_why_and_said_once(run):
    site = DEMO_SITES / "river-plain"
    rates = [b["internal_rate_of_return"] for b in run("estimate", site, "--json").json["builds"]]
    assert rates[0] is None
    full = run("estimate", site, "--full").out
    row = next(line for line in full.splitlines() if line.startswith("rate of return"))
    assert row.split()[3] == "none"
    assert "Rate of return: none, for no rate makes the net present value zero." in full
    short = run("estimate", site).out
    assert "never (never)" not in short
    assert "is not paid off within its 15 years (replacements counted)" in " ".join(short.split())


def test_simple_payback_stands_beside_the_one_that_counts_replacements(run):
    result = run("estimate", DEMO_SITES / "hill-yard", "--json").json
    for build in result["builds"]:
        first_year = build["cash_flow_real"]["net"][1]
        assert build["simple_payback_years"] == pytest.approx(build["capital_cost"] / first_year)
        assert build["payback_years"] >= build["simple_payback_years"] * 0.999


@pytest.mark.parametrize(("columns", "most"), [(100, 45), (80, 60)])
@pytest.mark.parametrize("site", SITES)
def test_the_answer_is_one_screen_and_its_ranges_stay_whole(run, monkeypatch, site, columns, most):
    monkeypatch.setattr(terminal, "PLAIN_WIDTH", columns)
    lines = run("estimate", DEMO_SITES / site).out.splitlines()
    assert len(lines) <= most
    assert max(map(len, lines)) <= columns
    table = lines[lines.index("") + 1 :]
    table = table[next(i for i, line in enumerate(table) if line.startswith("net energy")) :]
    ranges = [line for line in table[: table.index("")] if " to " in line]
    assert len(ranges) >= 4
    assert all(line.count("(") == line.count(")") for line in ranges)
    # What a newcomer has to know to read the table stands beneath it, and the mark only with one.
    at = next(i for i, line in enumerate(table) if line.startswith("(90 % range: 90 cases of 100"))
    told = "✓: the best" in " ".join(table[at : table.index("")])
    assert told == any("✓" in line for line in table[:at])
