"""Changing any key of a plan from the command line, one by one or along a range."""

import csv

import pytest

from yieldest.errors import InputError
from yieldest.plan.overrides import Override, apply_override, read_override, read_sweep


def test_values_are_toml_or_plain_text():
    values = [read_override(f"k={text}").value for text in (
        "3", "0.5", "true", "[1, 2]", '"a b"', "a b", "{ x = 1 }", "", "2025-13-01")]  # fmt: skip
    assert values == [3, 0.5, True, [1, 2], "a b", "a b", {"x": 1}, "", "2025-13-01"]


def test_keys_go_into_tables_lists_and_named_builds():
    plan = {"build": [{"name": "a"}, {"name": "a 0.9 m"}], "wind": {}}
    for text in ("build.0.count=2", "build.a 0.9 m.count=3", 'build."a".array.places.note=x',
                 "economics.life_years=9", "title=T"):  # fmt: skip
        apply_override(plan, read_override(text))
    assert plan == {
        "title": "T",
        "wind": {},
        "economics": {"life_years": 9},
        "build": [
            {"name": "a", "count": 2, "array": {"places": {"note": "x"}}},
            {"name": "a 0.9 m", "count": 3},
        ],
    }
    assert apply_override(plan, Override("build.1.count", 4)) == ("build", 1, "count")


@pytest.mark.parametrize("text", ["economics.life_years", "=3", " = 3"])
def test_an_override_needs_a_key_and_a_value(text):
    with pytest.raises(InputError, match=r"--set .*economics\.discount_rate=0\.03"):
        read_override(text)


@pytest.mark.parametrize("text", ["a", "a=1:2", "a=1:2:1", "a=1:2:x", "=1:2:3", "a=1:nan:3",
                                  "a=1:2:3000"])  # fmt: skip
def test_a_sweep_needs_two_ends_and_a_number(text):
    with pytest.raises(InputError, match=r"--sweep .* were expected"):
        read_sweep(text)


def test_a_sweep_holds_both_ends_and_whole_numbers_stay_whole():
    assert read_sweep("k=0.1:0.2:3").values == pytest.approx((0.1, 0.15, 0.2))
    assert read_sweep("k=5:1:5").values == (5, 4, 3, 2, 1)
    assert all(type(value) is int for value in read_sweep("k=1:3:3").values)


def test_an_override_is_as_good_as_an_edit(run, yard, edit):
    changed = run(
        "estimate", yard, "--draws", 512, "--set", "economics.discount_rate=0.09", "--json"
    )
    edit(yard / "plan.toml", "discount_rate = 0.04", "discount_rate = 0.09")
    assert changed.out == run("estimate", yard, "--draws", 512, "--json").out


def test_the_last_override_of_a_key_wins(run, yard):
    twice = run("estimate", yard, "--draws", 0, "--set", "economics.life_years=3", "--set",
        "economics.life_years=9",
                "--json")  # fmt: skip
    assert twice.json["economics"]["life_years"] == 9


def test_names_numbers_and_texts(run, yard):
    result = run("estimate", yard, "--draws", 0, "--set", "build.two of them.count=3", "--set",
                 "build.0.name=a = b", "--set", "title=Another", "--json").json  # fmt: skip
    assert [build["count"] for build in result["builds"]] == [1, 3]
    assert result["builds"][0]["name"] == "a = b"
    assert result["plan"]["title"] == "Another"


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ("economics.discont_rate=0.03", ["unknown key", "'discount_rate'"]),
        ("economics.life_years=4.5", ["4.5", "whole number"]),
        ("economics.discount_rate=much", ['"much"', "a number"]),
        ("build.6.count=2", ["'6' is none of the 2 entries", "'one machine'"]),
        ("build.².count=2", ["'²' is none of the 2 entries"]),
        ("build.2.count=2", ["'2' is none of the 2 entries there, counted from 0"]),
        ("build.two of thm.count=2", ["did you mean 'two of them'?"]),
        ("hub_height_m=12", ["it may be build.0.hub_height_m; write the key with its table"]),
        ("price_per_kwh=0.3", ["it may be economics.price_per_kwh; write the key with its table."]),
        (
            "build.hub_height_m=12",
            ['write build.0.hub_height_m or build."one machine".hub_height_m.'],
        ),
        ("build.losses.wake=0", ['write build.0.losses.wake or build."one machine".losses.wake.']),
        ("title.length=3", ["'title' holds one value"]),
        ("build.0.count=0", ["a whole number from 1 to 10,000"]),
        ("build.0.curve=nowhere.csv", ["nowhere.csv", "no such file"]),
        ("build.1.name=one machine", ["two builds are called 'one machine'"]),
        ("path=x", ["unknown key 'path'"]),
        ("build.0.losses=3", ["a table was expected", "[build.losses]"]),
        ("economics.export_price_per_kwh=0.05", ["needs self_consumption_share"]),
    ],
)
def test_a_bad_override_is_named(run, yard, change, named):
    refused = run("estimate", yard, "--set", change)
    assert refused.code == 2
    assert refused.out == ""
    assert refused.err.count("\n") == 1
    for words in named:
        assert words in refused.err
    if "nowhere" not in change:
        assert f"--set {change.split('=')[0]}" in refused.err


def test_what_is_wrong_in_the_file_is_not_blamed_on_an_override(run, yard, edit):
    edit(yard / "plan.toml", "hub_height_m = 12\ncurve = \"curve.csv\"           # wind",
         "hub_height_m = -1\ncurve = \"curve.csv\"           # wind")  # fmt: skip
    refused = run("estimate", yard, "--set", "build.0.name=other")
    assert "line" in refused.err
    assert "--set" not in refused.err


@pytest.mark.parametrize(
    ("array", "named"),
    [
        ("{ layout = 'row' }", "bearing_deg"),
        ("{ layout = 'grid', bearing_deg = 0, spacing_rotor_diameters = 5 }", "columns"),
        (
            "{ layout = 'row', bearing_deg = 0, spacing_rotor_diameters = 5, columns = 2 }",
            "columns would be of a grid",
        ),
        (
            "{ coordinates_m = [[0, 0], [9, 0]], columns = 2, row_spacing_rotor_diameters = 7 }",
            "columns and row_spacing_rotor_diameters would be of a grid",
        ),
        ("{ array_efficiency = 0.9 }", "evidence"),
        ("{ sectors = 12 }", "state layout, coordinates_m or array_efficiency"),
        ("{ coordinates_m = [[0, 0]] }", "1 places for a count of 2"),
        ("{ coordinates_m = [[0, 0], [0, 0.0]] }", "at one place"),
        ("{ layout = 'row', coordinates_m = [[0, 0], [9, 0]] }", "exclude each other"),
    ],
)
def test_a_layout_is_checked(run, yard, array, named):
    refused = run("check", yard, "--set", f"build.1.array={array.replace(chr(39), chr(34))}")
    assert refused.code == 2
    assert named in refused.err


def test_layout_and_stated_losses_exclude_each_other(run, yard):
    layout = 'array={ layout = "row", bearing_deg = 0, spacing_rotor_diameters = 5 }'
    refused = run("check", yard, "--set", f"build.1.{layout}", "--set",
                  "build.1.losses.wake=0.1")  # fmt: skip
    assert "losses.wake exclude each other" in refused.err
    cable = ('[{ length_m = 9, cross_section_mm2 = 4, voltage_v = 48, arrangement = "dc", '
             'carries = "the array" }]')  # fmt: skip
    refused = run("check", yard, "--set", f"build.0.cable={cable}", "--set",
                  "build.0.losses.electrical=0.1")  # fmt: skip
    assert "losses.electrical exclude each other" in refused.err


def test_a_sweep_is_the_plan_once_for_each_value(run, yard, tmp_path):
    out = tmp_path / "sweep.csv"
    rows = run("estimate", yard, "--sweep", "economics.discount_rate=0.02:0.08:3", "--json",
               "--out", out).json["rows"]  # fmt: skip
    assert [row["economics.discount_rate"] for row in rows] == pytest.approx(
        [0.02, 0.02, 0.05, 0.05, 0.08, 0.08]
    )
    single = run(
        "estimate", yard, "--draws", 0, "--set", "economics.discount_rate=0.05", "--json"
    ).json["builds"]
    for row, build in zip(rows[2:4], single, strict=True):
        for key in ("net_kwh_per_year", "cost_per_kwh", "net_present_value"):
            assert row[key] == build[key]
    with out.open() as stream:
        written = list(csv.DictReader(stream))
    assert [float(row["cost_per_kwh"]) for row in written] == [row["cost_per_kwh"] for row in rows]


def test_a_sweep_is_a_table_for_people(run, yard):
    shown = run("estimate", yard, "--sweep", "build.1.count=1:5:3")
    assert shown.err == ""
    assert shown.out.startswith("build.1.count")
    # With one machine each the two builds are the same, and neither is better.
    assert shown.out.count("✓") == 2
    assert all(len(line) <= 100 for line in shown.out.splitlines())


def test_a_sweep_that_a_key_cannot_take_is_named(run, yard):
    refused = run("estimate", yard, "--sweep", "build.1.count=1:2:3")
    assert refused.code == 2
    assert "--sweep build.1.count=1.5" in refused.err


def test_out_without_a_sweep_writes_the_builds_and_no_formula(run, yard, tmp_path):
    out = tmp_path / "builds.csv"
    assert run("estimate", yard, "--draws", 0, "--out", out, "--set", "build.0.name==1+1").code == 0
    lines = out.read_text().splitlines()
    assert lines[0].startswith("build,currency,site,count,net_kwh_per_year,")
    assert lines[1].startswith("'=1+1,EUR,,1,")
    assert len(lines) == 3


def test_a_file_that_cannot_be_written_is_named_and_leaves_nothing(run, yard, tmp_path):
    refused = run("estimate", yard, "--out", tmp_path / "no" / "where.csv")
    assert refused.code == 2
    assert "where.csv" in refused.err
    assert not (tmp_path / "no").exists()


def test_what_the_starter_suggests_works(run, yard):
    """The commented keys of the starter plan, uncommented."""
    lines = (yard / "plan.toml").read_text().splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("# self_consumption_share"))
    lines = lines[:start] + [
        line if line.startswith("# How") else line.removeprefix("# ") for line in lines[start:]
    ]
    # What the house draws stands instead of the share used.
    demand = next(i for i, line in enumerate(lines) if line.startswith("What the house draws"))
    machines = next(i for i, line in enumerate(lines) if line.startswith("# How the machines"))
    del lines[demand:machines]
    (yard / "plan.toml").write_text("\n".join(lines) + "\n")
    result = run("estimate", yard, "--draws", 0, "--json").json
    assert result["economics"]["loan"]["years"] == 5
    losses = {loss["category"]: loss for loss in result["builds"][1]["losses"]}
    assert "Jensen 1983" in losses["wake"]["method"]
    assert "cables" in losses["electrical"]["method"]


def test_check_refuses_a_loan_longer_than_the_life(run, yard):
    loan = "economics.loan={ share = 0.5, interest_rate = 0.06, years = 16 }"
    refused = run("check", yard, "--set", loan)
    assert refused.code == 2
    assert "economics: loan.years is 16" in refused.err


def test_places_are_changed_one_by_one(run, yard):
    places = "build.1.array={ coordinates_m = [[0, 0], [0, 9]] }"
    across = run("estimate", yard, "--draws", 0, "--set", places, "--json").json["builds"][1]
    nearer = run("estimate", yard, "--draws", 0, "--set", places, "--set",
                 "build.1.array.coordinates_m.1.1=8", "--json").json["builds"][1]  # fmt: skip
    assert nearer["net_kwh_per_year"] < across["net_kwh_per_year"]
