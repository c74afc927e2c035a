"""Each demo site tells the story that demo-sites/README.md says it tells."""

import gzip
import importlib.util
import re
import shutil
import statistics
from pathlib import Path

import numpy as np
import pytest
from conftest import OTHER_SITES, kinds

from yieldest import load
from yieldest.energy.annual_energy import PoorFit
from yieldest.model.break_even import break_even
from yieldest.model.estimate import estimate
from yieldest.model.inputs import read
from yieldest.model.site_wind import FrozenCupsNotSought
from yieldest.plan import load_plan
from yieldest.plan.overrides import read_override
from yieldest.report.decision import decide
from yieldest.wind.distribution import LOW_MEAN_SPEED_MS
from yieldest.wind.resource import PoorWeibullFit

DEMO_SITES = Path(__file__).parents[1] / "demo-sites"
README = (DEMO_SITES / "README.md").read_text(encoding="utf-8")
SITES = sorted(path.parent.name for path in DEMO_SITES.glob("*/plan.toml"))


def told(heading, words):
    """A number from a story of the README, found by the words around it."""
    story = " ".join(README.split(f"**{heading}.**")[1].split("\n\n**")[0].split())
    found = re.search(words.replace("#", r"([\d,.]+\d)"), story)
    assert found is not None, f"the story does not say {words!r}"
    return float(found[1].replace(",", ""))


@pytest.fixture(scope="module")
def estimates():
    """Estimate each other site once, with what it would take to pay beside it."""
    found = {}
    for name in OTHER_SITES:
        plan = load(DEMO_SITES / name)
        result = plan.estimate()
        found[name] = result, [break_even(build, plan) for build in result.builds]
    return found


def changed(site, *changes):
    """The estimate of a site with some of its plan changed."""
    plan = load_plan(DEMO_SITES / site, [read_override(change) for change in changes])
    return estimate(read(plan))


def gains(estimate):
    return [build.cost.net_present_value for build in estimate.builds]


def test_the_readme_names_every_site_and_no_other():
    assert sorted(re.findall(r"^\| `([a-z-]+)` \|", README, re.MULTILINE)) == SITES


@pytest.mark.parametrize("site", SITES)
def test_every_file_says_first_that_it_is_invented(site):
    for path in (DEMO_SITES / site).iterdir():
        with gzip.open(path, "rt") if path.suffix == ".gz" else path.open() as stream:
            assert stream.readline().startswith("# Invented data for a demo")


def test_a_site_runs_cleanly(run, other_page):
    folder = DEMO_SITES / other_page.stem
    checked = run("check", folder)
    assert (checked.code, checked.err) == (0, "")
    assert "the plan can be used" in checked.out
    shown = run("estimate", folder, "--draws", 512, "--full")
    assert (shown.code, shown.err) == (0, "")
    assert max(map(len, shown.out.splitlines())) <= 100
    for text in (shown.out, other_page.read_text(encoding="utf-8")):
        assert "Batteries can burn" in text


@pytest.mark.parametrize("script", ["make_records", "make_readings"])
def test_the_scripts_make_what_is_there(script, tmp_path, monkeypatch):
    spec = importlib.util.spec_from_file_location(script, DEMO_SITES / f"{script}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    for site in SITES:
        (tmp_path / site).mkdir()
    shutil.copy(DEMO_SITES / "hill-yard" / "curve-0.9m.csv", tmp_path / "hill-yard")
    monkeypatch.setattr(module, "HERE", tmp_path)
    module.main()
    made = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert len(made) >= 4
    for path in made:
        there = DEMO_SITES / path.relative_to(tmp_path)
        # Unpacked: another zlib may pack the same text into other bytes.
        unpack = gzip.decompress if path.suffix == ".gz" else bytes
        assert unpack(path.read_bytes()) == unpack(there.read_bytes()), path.name


def test_the_quay_is_carried_from_a_stormy_winter_to_the_long_term(estimates):
    result, _ = estimates["fishing-quay"]
    winter, years = told("Fishing quay", "read # m/s"), told("Fishing quay", "have read # m/s")
    assert result.wind.start_ms == pytest.approx(winter, abs=0.005)
    long_term = result.wind.start_ms * result.wind.long_term_factor
    assert long_term == pytest.approx(years, abs=0.005)
    assert years / winter == pytest.approx(6 / 7, abs=0.02)
    assert "harbour.csv.gz" in result.wind.corrections[0].method
    # The harbour over all its years and over that winter, computed from the file itself.
    with gzip.open(DEMO_SITES / "fishing-quay" / "harbour.csv.gz", "rt") as stream:
        rows = [line.split(",") for line in stream if line[:2] == "20"]
    harbour = [float(speed) for _, speed, _ in rows]
    winter_only = [float(speed) for time, speed, _ in rows if "2024-10-05" < time < "2025-02-22"]
    ratio = statistics.fmean(harbour) / statistics.fmean(winter_only)
    # Of the harbour's own difference the season is transferred whole, its storms in part.
    assert ratio < years / winter < 1


def test_the_quay_stands_on_a_knifes_edge_and_its_winter_would_have_promised_much(
    estimates, tmp_path, edit
):
    result, _ = estimates["fishing-quay"]
    assert max(gains(result)) == pytest.approx(told("Fishing quay", "shrinks to # EUR"), rel=0.1)
    decision = decide(result, None)
    assert decision.chosen is None
    assert "knife's edge" in decision.verdict[0]
    flow, rate = max(result.builds, key=lambda build: build.cost.net_present_value).cost.flow, 0.03
    assert result.terms.discount_rate == rate
    years = (1 + rate) ** -np.arange(flow.cost.size)
    spare = 1 - (years @ flow.cost) / (years @ flow.value)
    assert 100 * spare == pytest.approx(told("Fishing quay", "make # % less"), abs=0.5)
    copied = shutil.copytree(DEMO_SITES / "fishing-quay", tmp_path / "quay")
    text = (copied / "plan.toml").read_text(encoding="utf-8")
    section = text[text.index("\n[wind.reference]\n") + 1 :].split("\n\n")[0]
    assert section.count("\n") == 3  # "these four lines", as the plan says
    edit(copied / "plan.toml", section, "# " + section.replace("\n", "\n# "))
    winter = load(copied).estimate()
    assert max(gains(winter)) == pytest.approx(told("Fishing quay", "gain # EUR"), rel=0.02)
    assert decide(winter, None).chosen is not None


def test_the_plain_says_no_and_a_taller_mast_does_not_help(estimates):
    result, needed = estimates["river-plain"]
    low, high = result.builds
    assert decide(result, None).verdict[0].startswith("Make none of them for the money")
    assert high.cost.cost_per_kwh < low.cost.cost_per_kwh
    assert high.cost.net_present_value < low.cost.net_present_value < 0
    assert high.cost.cost_per_kwh == pytest.approx(told("River plain", "# USD a kWh"), rel=0.01)
    assert result.distribution.mean_speed_ms == pytest.approx(
        told("River plain", "# m/s"), abs=0.05
    )
    wind = needed[0].hub_mean_speed_ms
    assert wind == pytest.approx(told("River plain", "wind of # m/s"), abs=0.05)
    assert wind / low.distribution.mean_speed_ms == pytest.approx(2, abs=0.1)
    assert all("machine_cost" in one.never for one in needed)


def test_the_hut_pays_only_because_of_its_price(estimates):
    result, (needed,) = estimates["ridge-hut"]
    (hut,) = result.builds
    price = told("Ridge hut", "below # CHF")
    assert hut.distribution.mean_speed_ms == pytest.approx(told("Ridge hut", "# m/s"), abs=0.05)
    assert hut.distribution.mean_speed_ms < LOW_MEAN_SPEED_MS
    assert hut.air.density_kg_m3 / 1.225 == pytest.approx(4 / 5, abs=0.03)
    assert result.terms.price_per_kwh == told("Ridge hut", "costs # CHF")
    assert decide(result, None).chosen is hut
    assert needed.price_per_kwh == pytest.approx(price, abs=0.05)
    assert gains(changed("ridge-hut", f"economics.price_per_kwh={price - 0.1}"))[0] < 0
    valley = changed("ridge-hut", f"economics.price_per_kwh={told('Ridge hut', 'at the # CHF')}")
    lost = told("Ridge hut", "lose # CHF")
    assert gains(valley)[0] == pytest.approx(-lost, rel=0.02)


def test_the_frozen_cups_of_the_hut_are_left_out(estimates):
    result, _ = estimates["ridge-hut"]
    frozen = next(test for test in result.resource.quality_control.tests if test.name == "frozen")
    assert frozen.count == 130 + 96 + 150


def test_the_quays_wind_as_read_and_over_the_years(estimates):
    result, needed = estimates["fishing-quay"]
    assert result.record.mean_speed_ms == pytest.approx(6.16, abs=0.005)
    assert result.distribution.mean_speed_ms == pytest.approx(5.27, abs=0.005)
    assert result.long_term.reference_years == pytest.approx(6, abs=0.05)
    # Both builds stand at one height.
    assert {round(build.distribution.mean_speed_ms, 2) for build in result.builds} == {5.67}
    # Whole m/s in the harbour are no reason to doubt that the winds of the years are Weibull.
    assert PoorFit not in kinds(found for build in result.builds for found in build.warnings)
    assert PoorWeibullFit not in kinds(result.warnings)
    assert any(each.hub_mean_speed_ms == pytest.approx(5.60, abs=0.005) for each in needed)


def test_the_plain_says_why_not_and_sends_nobody_measuring(run):
    answer = run("estimate", DEMO_SITES / "river-plain", "--json").json
    pointers = {each["about"]: each["text"] for each in answer["pointers"]}
    low, _ = answer["builds"]
    assert f"loses ${-low['net_present_value']:,.0f}"[:9] in answer["verdict"][0]
    assert "a mean wind at the hub of 5.92 (now 2.94) m/s" in pointers["Break-even"]
    assert "no measurement is likely to turn this answer" in pointers["Next"]
    assert all(build["uncertainty"]["chance_paid_back_with_interest"] < 0.01
               for build in answer["builds"])  # fmt: skip


def test_a_kwh_of_the_hut_that_is_used_costs_what_it_would_have_to_be_worth(estimates, run):
    result, (needed,) = estimates["ridge-hut"]
    cost = result.builds[0].cost
    assert cost.cost_per_used_kwh == pytest.approx(needed.price_per_kwh, rel=1e-6)
    assert cost.cost_per_used_kwh == pytest.approx(
        cost.cost_per_kwh / result.terms.self_consumption_share
    )
    shown = run("estimate", DEMO_SITES / "ridge-hut", "--json").json["builds"][0]["uncertainty"]
    # A kWh cheaper than the generator's is not one that is cheap only because it is dumped.
    assert shown["chance_cheaper_than_bought_kwh"] == pytest.approx(
        shown["chance_paid_back_with_interest"], abs=0.01
    )
    assert "cost_per_used_kwh" in shown


def test_a_test_for_frozen_cups_that_cannot_be_made_is_said(tmp_path, edit, run):
    folder = shutil.copytree(DEMO_SITES / "ridge-hut", tmp_path / "hut")
    assert FrozenCupsNotSought not in kinds(load(folder).estimate().warnings)
    assert FrozenCupsNotSought not in kinds(load(DEMO_SITES / "town-roof").estimate().warnings)
    edit(folder / "plan.toml", 'columns = { temperature = "Air (C)" }\n', "")
    assert re.search(r"columns not used: +Air \(C\) ", run("check", folder).out)
    assert FrozenCupsNotSought in kinds(load(folder).estimate().warnings)


def test_a_sweep_says_never_where_the_hut_never_pays(run):
    swept = run(
        "estimate", DEMO_SITES / "ridge-hut", "--sweep", "economics.price_per_kwh=0.3:4.9:2"
    )
    cheap, dear = (line for line in swept.out.splitlines() if "one of 1.2 m" in line)
    assert " never " in cheap
    assert " never " not in dear


def test_the_page_of_the_hut_sets_a_used_kwh_against_the_generators(tmp_path, run):
    page = tmp_path / "hut.html"
    run("report", DEMO_SITES / "ridge-hut", "-o", page, "--set", "uncertainty.draws=0")
    rows = re.findall(r"<tr.*?</tr>", page.read_text(encoding="utf-8"), re.DOTALL)
    used, *_ = [row for row in rows if "cost per used kWh" in row]
    assert ">3.6<" in used
    shown = run("estimate", DEMO_SITES / "ridge-hut", "--draws", "0").out
    (line,) = [line for line in shown.splitlines() if line.startswith("cost per used kWh")]
    assert "bought 4.9" in line and line.endswith(" 3.6")


def test_the_barn_says_the_yard_and_carries_one_record_to_both(estimates):
    result, _ = estimates["sheep-barn"]
    yard, roof = result.builds
    assert (yard.place, roof.place) == ("yard", "barn roof")
    assert yard.inputs.wind is roof.inputs.wind
    assert decide(result, None).chosen is yard
    assert result.wind.start_ms == pytest.approx(told("Sheep barn", "read # m/s"), abs=0.005)
    for build, speed, cost in (
        (yard, "gets # m/s", "energy: # GBP"),
        (roof, "disturbs, # m/s", "yard, # GBP"),
    ):
        assert build.distribution.mean_speed_ms == pytest.approx(
            told("Sheep barn", speed), abs=0.05
        )
        assert build.cost.cost_per_kwh == pytest.approx(told("Sheep barn", cost), abs=0.005)
    assert roof.cost.capital_cost > yard.cost.capital_cost
    assert roof.energy.net_kwh / yard.energy.net_kwh == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize("site", SITES)
def test_the_first_screen_does_not_contradict_itself(site, run):
    shown = " ".join(run("estimate", DEMO_SITES / site, "--draws", 1024).out.split())
    for one, other in re.findall(r"(\S+(?: %)?) rather than (\S+(?: %)?)", shown):
        assert one != other
    in_table = re.search(r"cost per kWh \([^)]*\) (.*?) (?:cost per used|payback)", shown)[1]
    for figure, change in re.findall(r"costs (?:more|less) than [€£$]?(\S+?) .*?, (\S+) %", shown):
        assert float(change) > 2
        assert figure not in re.sub(r"\(.*?\)", "", in_table).split()
    for now, then in re.findall(r"per kWh, (\S+ to \S+) \S+/kWh, becomes (\S+ to \S+), ", shown):
        assert now in in_table
        assert then != now
