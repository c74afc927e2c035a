"""Several places in one plan: a pole in the yard against a mast on the roof, side by side."""

import csv
import io
import math
import shutil
from pathlib import Path

import numpy as np
import pytest
from pytest import approx

import yieldest as yd
from yieldest.wind.profile import TERRAINS, over_other_ground

BARN = Path(__file__).parents[1] / "demo-sites" / "sheep-barn"
CURVE = "speed (m/s),power (W)\n3,0\n5,60\n8,290\n11,600\n19,640\n"
PLAN = """\
title = "Yard or roof"
currency = "EUR"

[[site]]
name = "yard"
terrain = "open"

[[site]]
name = "roof"
terrain = "open"
roof = { edge_height_m = 5, width_m = 12, edge_distance_m = 5 }

[wind]
mean_speed_ms = 5.0
measured_height_m = 10

[[build]]
name = "pole"
site = "yard"
hub_height_m = 12
curve = "curve.csv"
rotor_diameter_m = 1.7

[[build]]
name = "mast"
site = "roof"
hub_height_m = 12
curve = "curve.csv"
rotor_diameter_m = 1.7
"""


@pytest.fixture
def places(tmp_path):
    """Write a plan of two places, with some of its text otherwise; return its folder."""

    def write(*changes, more=""):
        text = PLAN
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        (tmp_path / "curve.csv").write_text(CURVE, encoding="utf-8")
        (tmp_path / "plan.toml").write_text(text + more, encoding="utf-8")
        return tmp_path

    return write


@pytest.fixture
def barn(tmp_path):
    return shutil.copytree(BARN, tmp_path / "barn")


def speeds(folder):
    return [b.distribution.mean_speed_ms for b in yd.load(folder).estimate().builds]


def test_the_answer_names_the_places(run, barn):
    shown = run("estimate", barn, "--draws", 512)
    assert (shown.code, shown.err) == (0, "")
    assert "“pole of 14 m” at “yard”" in shown.out
    assert "A: pole of 14 m (yard)" in shown.out and "B: short mast (barn roof)" in shown.out
    assert shown.out.count("Wind:") == 1


def test_json_frames_and_csv_name_the_places(run, barn, tmp_path):
    out = tmp_path / "builds.csv"
    found = run("estimate", barn, "--draws", 0, "--json", "-o", out).json
    assert [build["site"] for build in found["builds"]] == ["yard", "barn roof"]
    yard, roof = found["sites"]
    assert (yard["name"], yard["wind_measured_here"]) == ("yard", True)
    assert (roof["name"], roof["wind_measured_here"]) == ("barn roof", False)
    assert roof["stated"]["roof"]["ridge_height_m"] == 7
    assert yard["wind"] == roof["wind"] == found["wind"]
    rows = list(csv.DictReader(io.StringIO(out.read_text(encoding="utf-8"))))
    assert [row["site"] for row in rows] == ["yard", "barn roof"]
    estimate = yd.load(barn).estimate()
    assert list(estimate.to_frame()["site"]) == ["yard", "barn roof"]
    assert list(estimate.to_xarray()["site"].values) == ["yard", "barn roof"]
    assert "pole of 14 m" in estimate._repr_html_()


def test_the_page_names_the_places(run, barn, tmp_path):
    page = tmp_path / "page.html"
    done = run("report", barn, "-o", page, "--set", "uncertainty.draws=0")
    assert (done.code, done.err) == (0, "")
    assert "pole of 14 m (yard)" in page.read_text(encoding="utf-8")


def test_a_plan_of_one_place_is_as_before(run, yard):
    found = run("estimate", yard, "--draws", 0, "--json").json
    assert [place["name"] for place in found["sites"]] == [None]
    assert {build["site"] for build in found["builds"]} == {None}
    assert "(None)" not in run("estimate", yard, "--draws", 0).out


def test_each_place_gives_what_a_plan_of_its_own_gives(places):
    low = ('site = "roof"\nhub_height_m = 12', 'site = "roof"\nhub_height_m = 6')
    yard, roof = speeds(places(low))
    bare = ('[[site]]\nname = "roof"\n', '[site]\nname = "roof"\n')
    only = ('[[site]]\nname = "yard"\nterrain = "open"\n\n', "")
    _, alone = speeds(places(low, bare, only, ('site = "yard"', 'site = "roof"')))
    assert roof == approx(alone, rel=1e-12)
    # The log law by hand; one metre above the roof the flow is disturbed.
    assert yard == approx(5 * math.log(12 / 0.03) / math.log(10 / 0.03))
    assert roof < 0.8 * 5 * math.log(6 / 0.03) / math.log(10 / 0.03)


def test_check_names_the_files_of_every_place(run, barn):
    shown = run("check", barn)
    assert (shown.code, shown.err) == (0, "")
    unfolded = "".join(shown.out.split())
    assert unfolded.count("wind.csv.gz:8,760speeds") == 1
    assert "bill-roof.csv:7items" in unfolded


def test_a_place_may_have_a_wind_of_its_own(run, places):
    own = "\nwind = { mean_speed_ms = 4.0, measured_height_m = 6 }\n"
    folder = places(('terrain = "open"\nroof', f'terrain = "open"{own}roof'))
    shown = run("estimate", folder, "--draws", 0)
    assert "Wind at yard: mean 5.00 m/s at 10 m" in shown.out
    assert "Wind at roof: mean 4.00 m/s at 6 m" in shown.out
    found = run("estimate", folder, "--draws", 512, "--json").json
    assert [place["wind"]["measured_height_m"] for place in found["sites"]] == [10, 6]
    names = {each["name"] for each in found["uncertainty"]["inputs"]}
    # Two means that two people stated err each on its own; a calm year is one for both places.
    assert {"stated_mean (yard)", "stated_mean (roof)", "coming_years"} <= names


def test_a_shared_wind_errs_alike_and_each_place_for_itself(run, places):
    found = run("estimate", places(), "--draws", 2048, "--json").json
    names = [each["name"] for each in found["uncertainty"]["inputs"]]
    assert names.count("stated_mean") == 1
    assert "stated_mean (yard)" not in names
    assert {"exposure (yard)", "exposure (roof)"} <= set(names)
    # One law of height for both, so one error of its exponent.
    assert names.count("shear_exponent") == 1
    estimate = yd.load(places()).estimate()
    kwh = [each.outcomes["life_kwh_per_year"] for each in estimate.uncertainty(2048).builds]
    assert np.corrcoef(*kwh)[0, 1] > 0.8


def test_sweeps_and_changes_take_the_name_of_a_place(run, places):
    folder = places()
    first = run("estimate", folder, "--draws", 0, "--json").json["builds"]
    key = "site.roof.elevation_m"
    swept = run("estimate", folder, "--sweep", f"{key}=0:2000:2", "--json").json
    assert swept["key"] == key
    low, high = ([r["net_kwh_per_year"] for r in swept["rows"] if r[key] == at]
                 for at in (0, 2000))  # fmt: skip
    assert low == approx([build["net_kwh_per_year"] for build in first])
    # Thin air on the roof, and the yard stays where it is.
    assert high[0] == low[0] and high[1] < 0.9 * low[1]
    changed = run("estimate", folder, "--draws", 0, "--json", "--set", f"{key}=2000").json
    assert [b["net_kwh_per_year"] for b in changed["builds"]] == approx(high)
    moved = run("estimate", folder, "--draws", 0, "--json", "--set", "build.mast.site=yard").json
    assert [b["site"] for b in moved["builds"]] == ["yard", "yard"]
    assert run("estimate", folder, "--sweep", "elevation_m=0:9:2").code == 2


ROOF = 'name = "roof"\n'
REFUSED = [
    (ROOF, 'name = "yard"\n', "two places are called 'yard'; give each a name of its own"),
    (ROOF, "", "site.1 has no name, and with several places each needs one"),
    ('site = "roof"\n', "", "build 'mast' does not say where it stands; add site = and the name "
     "of a place, one of 'yard', 'roof'"),
    ('site = "roof"', 'site = "rof"', "build 'mast' stands at 'rof', but the places are 'yard', "
     "'roof'; did you mean 'roof'?\n"),
    ("measured_height_m = 10", 'measured_height_m = 10\nmeasured_at_hub_site = "hill"',
     "wind.measured_at_hub_site is 'hill', which is no place of this plan"),
    ("measured_height_m = 10", "measured_height_m = 10\nmeasured_at_hub_site = true",
     "2 places share that wind; write the name of the place where it was measured"),
    ('terrain = "open"\nroof', 'terrain = "suburb"\nroof',
     "lie in different terrain, and the wind is carried from that of its mast; write "
     "wind.measured_at_hub_site = and the name"),
    ("[wind]\nmean_speed_ms = 5.0\nmeasured_height_m = 10\n", "", "the table [wind] is missing"),
    ('name = "roof"\nterrain', 'name = "roof"\nterain', "line 10: unknown key 'site.1.terain'; did "
     "you mean 'terrain'?"),
    ("edge_height_m = 5", "edge_height_m = -5", "line 11: 'site.1.roof.edge_height_m' is -5, but a "
     "number from 0.01 to 200 was expected"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "message"), REFUSED)
@pytest.mark.parametrize("command", ["check", "estimate"])
def test_what_cannot_be_is_refused_and_says_how_to_mend_it(run, places, command, old, new, message):
    done = run(command, places((old, new)))
    assert (done.code, done.out) == (2, "")
    assert message in done.err
    assert done.err.count("\n") == 1


def test_every_place_with_its_own_wind_leaves_none_to_share(run, places):
    own = 'terrain = "open"\nwind = { mean_speed_ms = 4.0, measured_height_m = 6 }\n'
    twice = (('terrain = "open"\n\n', f"{own}\n"), ('terrain = "open"\nroof', f"{own}roof"))
    assert "goes nowhere; leave it out" in run("check", places(*twice)).err
    shared = ("[wind]\nmean_speed_ms = 5.0\nmeasured_height_m = 10\n", "")
    assert run("check", places(*twice, shared)).code == 0


def test_a_build_of_the_only_place_need_not_name_it(run, yard, edit):
    plan = yard / "plan.toml"
    edit(plan, '[[build]]\nname = "one machine"', '[[build]]\nname = "one machine"\nsite = "x"')
    refused = run("check", yard)
    assert (refused.code, "[site] has no name; give it one" in refused.err) == (2, True)
    edit(plan, "[site]\n", '[site]\nname = "x"\n')
    assert run("check", yard).code == 0


def test_a_map_asks_for_one_place(run, places, tmp_path):
    xr = pytest.importorskip("xarray")
    speed = 6 * np.random.default_rng(5).weibull(2, (200, 2))
    wind = ("time", "x"), speed, {"standard_name": "wind_speed", "units": "m s-1"}
    xr.Dataset({"wind": wind}).to_netcdf(tmp_path / "grid.nc", engine="h5netcdf")
    done = run("map", tmp_path / "grid.nc", "--plan", places(), "-o", tmp_path / "maps.nc")
    assert done.code == 2
    assert "from one place, and the plan has 'yard', 'roof'" in done.err


# The shared record carried to a place where it was not measured


def test_other_ground_by_hand_and_between_the_standards():
    """KNMI's potential wind (Wieringa 1986): up to 60 m over the one roughness, down the other."""
    for there, here in (("open", "suburb"), ("water", "open"), ("hedged", "built")):
        z1, z2 = (TERRAINS[name].roughness_length_m for name in (there, here))
        found = over_other_ground(10, {"terrain": there}, {"terrain": here})
        up, down = math.log(60 / z1) / math.log(10 / z1), math.log(10 / z2) / math.log(60 / z2)
        assert found == approx(up * down, rel=1e-12)
        # EN 1991-1-4, 4.3.2: v = 0.19 (z0/0.05)^0.07 ln(z/z0) where the new ground has no end;
        # over some hundred metres of it the wind has lost a part of that.
        whole = (z2 / z1) ** 0.07 * math.log(10 / z2) / math.log(10 / z1)
        assert whole < found < 1
        back = over_other_ground(10, {"terrain": here}, {"terrain": there})
        assert found * back == approx(1, rel=1e-12)


def test_the_wind_is_carried_from_the_ground_of_its_mast(run, places):
    folder = places(
        ('terrain = "open"\nroof = { edge_height_m = 5, width_m = 12, edge_distance_m = 5 }',
         'terrain = "suburb"'),
        ("measured_height_m = 10", 'measured_height_m = 10\nmeasured_at_hub_site = "yard"'),
    )  # fmt: skip
    yard, roof = run("estimate", folder, "--draws", 0, "--json").json["builds"]
    steps = {step["step"]: step["factor"] for step in roof["correction_steps"]}
    by_hand = math.log(60 / 0.03) / math.log(10 / 0.03) * math.log(12 / 0.5) / math.log(60 / 0.5)
    assert steps["to other ground"] * steps["to hub height"] == approx(by_hand, rel=1e-12)
    assert "to other ground" not in {step["step"] for step in yard["correction_steps"]}


def test_the_shelter_of_the_mast_is_not_carried_along(barn):
    """The barn shelters the cups in the yard; the wind over its roof knows nothing of that."""
    _, roof = yd.load(barn).estimate().builds
    steps = {step.step: step.factor for step in roof.wind.steps}
    assert steps["behind obstacles"] > 1.02
    assert "to other ground" not in steps


def test_cups_in_the_flow_over_a_roof_say_nothing_of_the_yard(run, places):
    on_roof = ("measured_height_m = 10", 'measured_height_m = 6\nmeasured_at_hub_site = "roof"')
    done = run("check", places(on_roof))
    assert done.code == 2
    assert "stood in the disturbed flow over the roof of 'roof'" in done.err
    assert "give 'yard' a wind of its own" in done.err


# check finds what estimate refuses


def test_check_refuses_a_hub_below_the_roof_as_estimate_does(run, places):
    low = places(('site = "roof"\nhub_height_m = 12', 'site = "roof"\nhub_height_m = 4'))
    checked, estimated = run("check", low), run("estimate", low)
    assert checked.code == estimated.code == 2
    assert checked.err == estimated.err
    assert "the hub of 'mast' at 4 m is not above the roof at 5 m" in checked.err


REFUSED_LATE = [
    ("displacement_m = 11.99", "where the log law begins"),
    ('[[uncertainty.correlation]]\nbetween = ["stated_mean", "exposure"]\ncoefficient = 0.95\n'
     '[[uncertainty.correlation]]\nbetween = ["stated_mean", "shape"]\ncoefficient = 0.95\n'
     '[[uncertainty.correlation]]\nbetween = ["shape", "exposure"]\ncoefficient = -0.95\n',
     "contradict each other"),
    ('[uncertainty.losses.wake]\nstandard_uncertainty = 0.01\ndistribution = "lognormal"\n',
     "lognormal lies above zero"),
]  # fmt: skip


@pytest.mark.parametrize(("more", "message"), REFUSED_LATE)
def test_check_finds_all_that_estimate_refuses(run, places, more, message):
    site = more.startswith("displacement_m")
    changes = [(f'{name}"\nterrain', f'{name}"\n{more}\nterrain') for name in ("yard", "roof")]
    changes = changes if site else []
    folder = places(*changes, more="" if site else f"\n{more}")
    checked, estimated = run("check", folder), run("estimate", folder)
    assert checked.code == estimated.code == 2
    assert message in checked.err and checked.err == estimated.err
