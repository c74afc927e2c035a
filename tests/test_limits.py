"""The page of limits: what it says the tool assumes is what it assumes, and its keys are keys."""

import re

import pytest
from conftest import DEMO_SITES

PAGE = (DEMO_SITES.parent / "docs" / "limits.md").read_text(encoding="utf-8")
SITE = DEMO_SITES / "hill-yard"
NAMED = (
    "Short records", "furling", "forests", "complex terrain", "Turbulence", "Icing", "Roofs",
    "Errors of the anemometer", "Defaults", "Lifetime", "self_consumption_share", "Prices",
    "Several machines",
    "no design tool", "no permit",
)  # fmt: skip


@pytest.mark.parametrize("limit", NAMED)
def test_each_limit_is_named(limit):
    assert re.search(limit, PAGE, re.IGNORECASE)


def test_each_row_says_what_it_does_and_what_to_do():
    rows = [line for line in PAGE.splitlines() if line.startswith("| **")]
    assert len(rows) > 20
    for row in rows:
        limit, effect, remedy = (cell.strip() for cell in row.strip("|").split(" | "))
        assert min(map(len, (limit, effect, remedy))) > 10, row


def test_the_defaults_it_states_are_those_of_the_tool(run, yard, edit):
    edit(yard / "plan.toml", 'record = "wind.csv" ', "mean_speed_ms = 5 # ")
    edit(yard / "plan.toml", "life_years = 15", "# life_years = 15")
    result = run("estimate", yard, "--draws", "512", "--json").json
    uncertainties = {
        each["name"]: each["standard_uncertainty"] for each in result["uncertainty"]["inputs"]
    }
    for name, share in (("stated_mean", 0.10), ("coming_years", 0.06), ("prices", 0.10)):
        assert uncertainties[name] == pytest.approx(share, rel=0.01)
    losses = {each["category"]: each["share"] for each in result["builds"][0]["losses"]}
    assert (losses["availability"], losses["environmental"]) == (0.05, 0.02)
    assert result["economics"]["life_years"] == 15
    assert any("standard uncertainty of 10 %" in text for text in result["assumed"])


@pytest.mark.parametrize(
    ("key", "change"),
    [
        ("economics.life_years=8", "economics.life_years=8"),
        ("`self_consumption_share`", "economics.self_consumption_share=0.5"),
        ("`degradation_per_year`", "economics.degradation_per_year=0.02"),
        ("`availability`", "build.1.losses={availability=0.2, environmental=0.1}"),
        ("`uncertainty.anemometer`", "uncertainty.anemometer={standard_uncertainty=0.01}"),
    ],
)
def test_what_it_tells_to_state_can_be_stated(run, key, change):
    assert key in PAGE
    assert run("estimate", SITE, "--draws", "0", "--set", change).code == 0


def test_the_sweep_it_shows_runs(run):
    (sweep,) = re.findall(r"`--sweep (\S+)`", PAGE)
    assert len(run("estimate", SITE, "--sweep", sweep, "--json").json["rows"]) == 8
