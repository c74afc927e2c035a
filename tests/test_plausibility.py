"""What physics forbids in a plan is refused, and what is merely absurd is asked about."""

import pytest
from conftest import kinds

from yieldest import load
from yieldest.plan.plausibility import BladesInReach, EarlyCutOut, LossesAsked, TallMast, ValueAsked
from yieldest.turbine.curve_ends import RatedPowerApart


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("build.0.rated_power_w=0.5", "if kW are meant, write rated_power_w = 500"),
        ("build.0.rated_power_w=12", "the capacity factor would be"),
        ("build.0.hub_height_m=0.5", "the blades reach 0.4 m into the ground"),
        ("site.elevation_m=90000", "from -430 to 6,000"),
        ("economics.life_years=0", "from 1 to 100"),
        ("build.0.losses={electrical=1.2}", "if 1.2 % is meant, write 0.012"),
        ("build.0.losses={wake=-0.1}", "from 0 to below 1"),
    ],
)
@pytest.mark.parametrize("command", ["estimate", "check"])
def test_what_physics_forbids_is_refused(run, yard, command, key, words):
    if command == "check" and "capacity" in words:
        pytest.skip("the energy is not computed")
    ran = run(command, yard, *(["--draws", 0] if command == "estimate" else []), "--set", key)
    assert (ran.code, ran.out) == (2, "")
    assert words in ran.err


def test_a_modelled_machine_is_not_rated_below_its_cut_in(run, yard, edit):
    edit(
        yard / "plan.toml",
        'curve = "curve.csv"           # wind',
        "cut_in_ms = 3\nrated_power_w = 0.86\ngeneric_curve = { power_coefficient = 0.2 } #",
    )
    ran = run("estimate", yard, "--draws", 0)
    assert ran.code == 2
    assert "in W, not kW" in ran.err


@pytest.mark.parametrize(
    ("key", "kind", "question"),
    [
        ("economics.price_per_kwh=34", ValueAsked, "not in cents?"),
        ("economics.grid_carbon_kg_per_kwh=350", ValueAsked, "not in grams?"),
        ("economics.discount_rate=0.5", ValueAsked, "5 % is 0.05"),
        ("economics.loan={share=0.5, interest_rate=0.6, years=5}", ValueAsked, "5 % is 0.05"),
        ("economics.wage_per_hour=1500", ValueAsked, "for one hour, and not in cents?"),
        ("site.turbulence_intensity=0.9", ValueAsked, "5 % is 0.05"),
        ("wind.measured_height_m=1000", ValueAsked, "not in feet or centimetres?"),
        ("build.0.cut_in_ms=9", ValueAsked, "not in km/h?"),
        ("build.0.cut_out_ms=3.5", EarlyCutOut, "not that at which it starts?"),
        ("build.0.losses={electrical=0.95}", LossesAsked, "and not one that is kept?"),
        ("build.0.hub_height_m=1.2", BladesInReach, "within reach of people"),
        ("build.0.hub_height_m=120", TallMast, "not in feet or centimetres?"),
        ("build.0.rated_power_w=100", RatedPowerApart, "are both in W"),
        ("build.0.rated_power_w=50000", RatedPowerApart, "are both in W"),
    ],
)
def test_what_is_absurd_is_asked_about(run, yard, key, kind, question):
    for command in (("estimate", yard, "--draws", 0), ("check", yard)):
        ran = run(*command, "--set", key, "--json")
        assert ran.code == 0, ran.err
        assert [text for text in ran.json["warnings"] if question in text and "?" in text]
    assert kind not in asked(yard)


def asked(folder):
    estimate = load(folder).estimate()
    return kinds((*estimate.warnings, *(one for each in estimate.builds for one in each.warnings)))


def test_nothing_is_asked_of_the_demo_sites(demo_site):
    assert not asked(demo_site) & {
        ValueAsked,
        LossesAsked,
        BladesInReach,
        TallMast,
        RatedPowerApart,
    }


def test_a_price_is_asked_about_in_its_currency(run, yard, edit):
    edit(yard / "plan.toml", '"EUR"', '"JPY"')
    words = ("estimate", yard, "--draws", 0, "--set", "economics.price_per_kwh=34", "--json")
    assert not [text for text in run(*words).json["warnings"] if "cents" in text]
