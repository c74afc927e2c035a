"""The command line: what it prints, and how it refuses bad input."""

import math
import os
import shlex
import subprocess
import sys

import pytest
from conftest import DEMO_SITES, FEW_DRAWS
from starter import starter

BUILD_KEYS = {
    "name", "count", "hub_height_m", "hub_mean_speed_ms", "weibull", "air_density_kg_m3",
    "gross_kwh_per_year", "net_kwh_per_year", "capacity_factor", "losses", "capital_cost",
    "cost_per_kwh", "payback_years", "discounted_payback_years", "net_present_value",
    "internal_rate_of_return",
}  # fmt: skip


def test_estimate_shows_each_build_and_what_was_assumed(run, demo_site):
    shown = run("estimate", demo_site, "--full")
    assert shown.code == 0
    assert shown.err == ""
    builds = run("estimate", demo_site, "--draws", 0, "--json").json["builds"]
    assert len(builds) == 2
    for build in builds:
        assert build["name"] in shown.out
    for words in ("net energy", "cost per kWh", "payback", "Assumed", "Take care", "fitted wind"):
        assert words in shown.out
    assert max(len(line) for line in shown.out.splitlines()) <= 100


def test_estimate_json_holds_the_stable_keys(run, demo_site):
    result = run("estimate", demo_site, "--draws", 0, "--json").json
    assert {"plan", "wind", "builds", "warnings", "assumed"} <= result.keys()
    assert {"title", "currency"} <= result["plan"].keys()
    wind = result["wind"]
    assert {
        "hours",
        "data_recovery",
        "mean_speed_ms",
        "measured_height_m",
        "weibull",
    } <= wind.keys()
    assert {"shape", "scale_ms", "method"} <= wind["weibull"].keys()
    for build in result["builds"]:
        assert build.keys() >= BUILD_KEYS
        assert {"shape", "scale_ms"} <= build["weibull"].keys()


def test_net_energy_is_gross_energy_less_the_losses_shown(run, demo_site):
    for build in run("estimate", demo_site, "--draws", 0, "--json").json["builds"]:
        kept = math.prod(1 - loss["share"] for loss in build["losses"])
        assert build["net_kwh_per_year"] == pytest.approx(build["gross_kwh_per_year"] * kept)
        full_kwh = build["count"] * build["rated_power_w"] * 8.760
        assert build["capacity_factor"] == pytest.approx(build["net_kwh_per_year"] / full_kwh)
        assert (
            build["inter_annual_low_net_kwh"]
            < build["net_kwh_per_year"]
            < build["inter_annual_high_net_kwh"]
        )


def test_the_record_and_its_fitted_distribution_agree(run, demo_site):
    for build in run("estimate", demo_site, "--draws", 0, "--json").json["builds"]:
        fitted, direct = build["gross_kwh_per_year"], build["time_series_gross_kwh_per_year"]
        # The demo winds are Weibull stretched by season and day, so the fit is near, not exact.
        assert fitted == pytest.approx(direct, rel=0.08)


def test_check_names_every_file_and_writes_nothing(run, demo_site):
    before = sorted(path.name for path in demo_site.iterdir())
    checked = run("check", demo_site)
    assert checked.code == 0
    plan = (demo_site / "plan.toml").read_text(encoding="utf-8").splitlines()
    used = "\n".join(line for line in plan if not line.startswith("#"))
    for name in before:
        named = name in "".join(checked.out.split())  # a long path is folded
        assert named or (name != "plan.toml" and f'"{name}"' not in used)
    assert sorted(path.name for path in demo_site.iterdir()) == before


def test_check_json_lists_what_was_found(run, yard):
    found = run("check", yard, "--json").json
    assert len(found["found"]) == 3
    assert any("14 days" in warning for warning in found["warnings"])


def test_a_started_folder_runs(run, yard):
    result = run("estimate", yard, "--draws", 0, "--json").json
    assert [build["count"] for build in result["builds"]] == [1, 2]
    assert all(build["net_kwh_per_year"] > 0 for build in result["builds"])


def test_start_leaves_an_existing_folder_alone(run, tmp_path):
    (tmp_path / "note.txt").write_text("mine")
    refused = run("start", tmp_path)
    assert refused.code == 2
    assert "there already" in refused.err
    assert [path.name for path in tmp_path.iterdir()] == ["note.txt"]


def test_start_needs_the_folder_above(run, tmp_path):
    refused = run("start", tmp_path / "a" / "b")
    assert refused.code == 2
    assert not (tmp_path / "a").exists()


@pytest.mark.parametrize(
    "command", [(), ("estimate",), ("check",), ("start",), ("map",), ("report",)]
)
def test_help_is_quick_to_load_and_has_an_example(run, command):
    shown = run(*command, "--help")
    assert shown.code == 0
    if command:
        assert "Example: yieldest" in shown.out


def test_help_imports_nothing_heavy():
    code = (
        "import sys; from yieldest.cli.app import main; sys.argv = ['yieldest', '--help']\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "heavy = ('numpy', 'scipy', 'pandas', 'pydantic', 'xarray', 'matplotlib')\n"
        "print([name for name in heavy if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_importing_the_package_waits_for_no_library():
    code = (
        "import sys; import yieldest\n"
        "print([m for m in ('numpy', 'scipy', 'pandas', 'pydantic') if m in sys.modules])\n"
        "print([name for name in yieldest.__all__ if getattr(yieldest, name) is None])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == ["[]", "[]"]


SPOILT = [
    # file, old text, new text, what the message must name ("at x" is the line that begins with x)
    ("plan.toml", 'record = "wind.csv"', 'record = "no.csv"', ["no.csv", "no such file"]),
    ("plan.toml", 'record = "wind.csv"', 'record = "."', ["bill.csv", "speed"]),
    (
        "plan.toml",
        'hub_height_m = 12\ncurve = "curve.csv"  ',
        'hub_hight_m = 12\ncurve = "curve.csv"',
        ["plan.toml", "at hub_hight_m", "hub_hight_m", "hub_height_m"],
    ),
    (
        "plan.toml",
        "price_per_kwh = 0.30 ",
        'price_per_kwh = "0.30" ',
        ["at price_per_kwh", "price_per_kwh", "number"],
    ),
    (
        "plan.toml",
        "measured_height_m = 10",
        "# measured_height_m = 10",
        ["at [wind]", "measured_height_m", "missing"],
    ),
    (
        "plan.toml",
        "life_years = 15\nprice",
        "life_years = 0\nprice",
        ["at life_years", "life_years"],
    ),
    ("plan.toml", 'currency = "EUR" ', 'currency = "euro" ', ["at currency", "currency"]),
    ("plan.toml", 'terrain = "open" ', 'terrain = "moon" ', ["at terrain", "terrain", '"water"']),
    ("plan.toml", "# shear_exponent = 0.2", "shear_exponent = 0.2", ["terrain", "shear_exponent"]),
    ("plan.toml", "[economics]", "[money", ["plan.toml", "at [money", "not closed"]),
    ("plan.toml", 'name = "two of them"', 'name = "one machine"', ["one machine", "name"]),
    (
        "plan.toml",
        "# mean_speed_ms = 5.0 ",
        "mean_speed_ms = 5.0 ",
        ["at [wind]", "record", "mean_speed_ms"],
    ),
    (
        "plan.toml",
        "# columns = {",
        'columns = { direction = "dir" } # {',
        ["wind.csv", "'dir'", "direction"],
    ),
    ("plan.toml", '# units = "km/h" ', 'units = "furlongs" ', ["furlongs", "km/h"]),
    ("curve.csv", "6,88", "4,88", ["curve.csv", "line 6", "4"]),
    ("curve.csv", "6,88", "6,much", ["curve.csv", "line 6", "'much'"]),
    ("curve.csv", "6,88", "6,", ["curve.csv", "line 6", "blank"]),
    ("curve.csv", "6,88", "6,880", ["curve.csv", "line 6", "Betz", "6 m/s"]),
    ("curve.csv", "power (W)", "power", ["curve.csv", "'power'", "kW"]),
    ("curve.csv", "speed (m/s)", "speed", ["curve.csv", "'speed'", "m/s"]),
    ("curve.csv", "speed (m/s)", "gusts", ["curve.csv", "wind speed", "'gusts'"]),
    ("bill.csv", "generator,1,180,", "generator,1,,", ["bill.csv", "line 4", "price", "missing"]),
    ("bill.csv", "generator,1,180,", "generator,-1,180,", ["bill.csv", "line 4", "below zero"]),
    (
        "bill.csv",
        "generator,1,180,per unit",
        "generator,1,180,per yard",
        ["bill.csv", "line 4", "per yard"],
    ),
    ("bill.csv", ",unit price,", ",colour,", ["bill.csv", "unit price"]),
    ("wind.csv", "2025-03-01 02:00,", "2025-03-01 02:00,-", ["wind.csv", "line 5", "below zero"]),
    ("wind.csv", "2025-03-01 02:00,", "2025-03-01 02:00,x", ["wind.csv", "line 5", "not a number"]),
    ("wind.csv", "2025-03-01 02:00,", "noon,", ["wind.csv", "line 5", "'noon'"]),
    ("wind.csv", "speed (m/s)", "rain", ["wind.csv", "the speed", "'rain'"]),
]


@pytest.mark.parametrize("command", ["estimate", "check"])
@pytest.mark.parametrize(
    ("file", "old", "new", "named"), SPOILT, ids=[f"{s[0]}-{n}" for n, s in enumerate(SPOILT)]
)
def test_bad_input_is_one_sentence_and_exit_code_2(run, yard, edit, command, file, old, new, named):
    edit(yard / file, old, new)
    refused = run(command, yard)
    assert refused.code == 2
    assert refused.out == ""
    assert len(refused.err.strip().splitlines()) == 1
    lines = (yard / file).read_text(encoding="utf-8").splitlines()
    for words in named:
        if words.startswith("at "):
            number = next(n for n, line in enumerate(lines, start=1) if line.startswith(words[3:]))
            words = f"line {number}:"  # noqa: PLW2901
        assert words in refused.err, refused.err


@pytest.mark.parametrize("file", ["plan.toml", "wind.csv", "curve.csv", "bill.csv"])
@pytest.mark.parametrize("content", [b"", b"\x1f\x8bnot gzip", b"\xff\xfe\xfa", b"a,b\n"])
def test_empty_and_broken_files_are_named(run, yard, file, content):
    (yard / file).write_bytes(content)
    refused = run("estimate", yard)
    assert refused.code == 2
    assert file in refused.err
    assert len(refused.err.strip().splitlines()) == 1


def test_a_missing_plan_is_named(run, tmp_path):
    refused = run("estimate", tmp_path / "nowhere.toml")
    assert refused.code == 2
    assert "nowhere.toml" in refused.err


def test_zero_energy_gives_null_cost_and_says_why(run, yard):
    (yard / "curve.csv").write_text("speed (m/s),power (W)\n20,0\n24,0\n")
    plan = (yard / "plan.toml").read_text().replace("cut_out_ms = 18", "# no cut-out")
    (yard / "plan.toml").write_text(plan)
    result = run("estimate", yard, "--draws", 0, "--json").json
    for build in result["builds"]:
        assert build["net_kwh_per_year"] == 0
        assert build["cost_per_kwh"] is None
        assert build["payback_years"] is None
        assert build["discounted_payback_years"] is None
        assert build["internal_rate_of_return"] is None
        assert build["capital_cost"] > 0
    assert any("no energy" in warning for warning in result["warnings"])
    assert run("estimate", yard).code == 0


FREE = "item,quantity,unit price,scope\nsalvaged parts,1,0,per unit\n"
STILL = "speed (m/s),power (W)\n3,0\n24,0\n"
WITHOUT = {
    "a bill that costs nothing": {"bill.csv": FREE},
    "no energy": {"curve.csv": STILL},
    "no energy, no cost and no upkeep": {"bill.csv": FREE, "curve.csv": STILL},
    "no bill": {},
}


@pytest.mark.parametrize("case", WITHOUT)
def test_a_cost_or_an_energy_of_nothing_is_shown_everywhere(run, yard, case, tmp_path):
    for name, text in WITHOUT[case].items():
        (yard / name).write_text(text)
    plan = (yard / "plan.toml").read_text()
    if "no bill" in case:
        plan = plan.replace('bill = "bill.csv"', "")
    (yard / "plan.toml").write_text(plan)
    few = ["--set", FEW_DRAWS]
    if "no upkeep" in case:
        few += ["--set", "economics.maintenance_share_per_year=0"]
    heights = ("--sweep", "build.0.hub_height_m=8:14:2")
    report = ("report", "-o", tmp_path / "page.html")
    for command in (("estimate",), ("estimate", "--full"), report):
        shown = run(*command, yard, *few)
        assert (shown.code, shown.err) == (0, "")
        assert "nan" not in shown.out.split()
    swept = run("estimate", yard, *heights)
    assert (swept.code, swept.err) == (0, "")
    assert "two of them" in swept.out
    assert ("per kWh" in swept.out) == (case == "a bill that costs nothing")
    costs = {
        build["cost_per_kwh"] for build in run("estimate", yard, *few, "--json").json["builds"]
    }
    assert costs == ({0.0} if case == "a bill that costs nothing" else {None})


def test_no_price_and_no_bill_give_nulls_that_are_explained(run, yard, edit):
    edit(yard / "plan.toml", "price_per_kwh = 0.30 ", "# price_per_kwh = 0.30 ")
    result = run("estimate", yard, "--draws", 0, "--json").json
    assert all(build["net_present_value"] is None for build in result["builds"])
    assert all(build["cost_per_kwh"] > 0 for build in result["builds"])
    assert any("price_per_kwh" in warning for warning in result["warnings"])
    plan = yard / "plan.toml"
    plan.write_text(plan.read_text().replace('bill = "bill.csv"', "# no bill"))
    result = run("estimate", yard, "--draws", 0, "--json").json
    assert all(build["capital_cost"] is None for build in result["builds"])
    assert any("No bill" in warning for warning in result["warnings"])


def test_a_stated_mean_speed_needs_no_record(run, yard, edit):
    edit(yard / "plan.toml", 'record = "wind.csv" ', "mean_speed_ms = 5.0 ")
    result = run("estimate", yard, "--draws", 0, "--json").json
    assert result["wind"]["mean_speed_ms"] == pytest.approx(5.0)
    assert result["wind"]["hours"] is None
    assert result["builds"][0]["time_series_gross_kwh_per_year"] is None
    assert any("Rayleigh" in assumed for assumed in result["assumed"])
    assert run("estimate", yard).code == 0


def test_json_is_the_same_each_time(run, yard):
    assert run("estimate", yard, "--json").out == run("estimate", yard, "--json").out


def test_a_short_calm_record_on_a_roof_is_warned_of(run, yard, edit):
    edit(yard / "plan.toml", "# roof = {", "roof = {")
    record = yard / "wind.csv"
    lines = record.read_text().splitlines()
    calm = [
        f"{time},{float(speed) * 0.4:.2f}"
        for time, speed in (line.split(",") for line in lines[2:100])
    ]
    record.write_text("\n".join(lines[:2] + calm) + "\n")
    warnings = " ".join(run("estimate", yard, "--draws", 0, "--json").json["warnings"])
    for words in ("less than a year", "seldom worth it", "roof", "structure"):
        assert words in warnings


def test_a_plan_works_from_any_folder(yard, tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", "from yieldest.cli.app import main; main()", "check", "yard"],
        cwd=tmp_path,
        env={**os.environ},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0
    assert "can be used" in done.stdout


@pytest.mark.parametrize("words", [("wind", "[" * 5000), ("estimate", "a" * 5000)])
def test_a_name_too_long_for_any_file_is_refused(run, words):
    refused = run(*words)
    assert refused.code == 2
    assert "no file can have so long a name" in refused.err or "no such file" in refused.err
    assert len(refused.err.strip().splitlines()) == 1


def test_an_override_with_a_name_too_long_is_refused(run, yard):
    refused = run("estimate", yard, "--set", "wind.record=" + "[" * 5000)
    assert refused.code == 2
    assert "no file can have so long a name" in refused.err


READINGS = DEMO_SITES / "hill-yard" / "readings-0.9m.csv"


@pytest.fixture(scope="module", params=["buffered", "unbuffered", "closed"])
def unread(request):
    """Run the command in a process whose reader has gone before, or whose output is closed.

    What is closed can be neither buffered nor unbuffered.
    """
    how = {
        "buffered": {"stdout": subprocess.DEVNULL, "env": os.environ | {"PYTHONUNBUFFERED": ""}},
        "unbuffered": {"stdout": subprocess.DEVNULL, "env": os.environ | {"PYTHONUNBUFFERED": "1"}},
        "closed": {"preexec_fn": lambda: os.close(1)},
    }[request.param]
    before = None if request.param == "closed" else "nobody_reads"
    with starter("yieldest.model.check", **how) as start:
        yield lambda *given: start(*given, before=before)


@pytest.mark.skipif(os.name == "nt", reason="processes of POSIX systems")
@pytest.mark.parametrize(
    "words",
    ["wind yard/wind.csv", "estimate yard --draws 0", "estimate yard --draws 0 --json",
     "check yard", f"curve '{READINGS}'", "wind --help"],
)  # fmt: skip
def test_nobody_reading_the_output_is_no_trouble(unread, yard, words):
    ran = unread(yard.parent, *shlex.split(words))
    assert (ran.code, ran.out, ran.err) == (0, "", "")


@pytest.mark.skipif(os.name == "nt", reason="the shell of POSIX systems")
def test_a_refusal_keeps_its_code_when_nobody_reads(yard):
    start = f"'{sys.executable}' -c 'from yieldest.cli.app import main; main()' check nowhere"
    ran = subprocess.run(
        ["bash", "-c", f"{start} >&- 2>&-"], cwd=yard.parent, capture_output=True, check=False
    )
    assert (ran.returncode, ran.stdout, ran.stderr) == (2, b"", b"")


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("wind", "--height", "nan"), "--height is nan"),
        (("wind", "--height", "inf"), "--height is inf"),
        (("wind", "--height", "-3"), "--height is -3"),
        (("wind", "--average", "inf"), "--average is inf"),
        (("wind", "--threshold", "nan"), "--threshold is nan"),
        (("wind", "--delimiter", ";;"), "delimiter is ';;'"),
        (("wind", "--delimiter", "7"), "delimiter is '7'"),
    ],
)
def test_numbers_that_are_none_are_refused(run, yard, words, named):
    ran = run(words[0], yard / "wind.csv", *words[1:])
    assert ran.code == 2
    assert named in ran.err


@pytest.mark.parametrize(
    "key",
    [
        "build.0.cable=[{length_m=40, cross_section_mm2=6, voltage_v=4.9e-324,"
        ' arrangement="dc", carries="the array"}]',
        "build.0.load={kind='battery', conversion='typical', battery_volts=4.9e-324}",
        "build.0.curve_air_density_kg_m3=1e-300",
        "site.obstacles=[{height_m=4.9e-324, width_m=12, distance_m=60, bearing_deg=240}]",
        "build.0.rated_power_w=1e-320",
        "site.displacement_m=1e300",
    ],
)
def test_numbers_beyond_all_measure_are_refused(run, yard, key):
    ran = run("estimate", yard, "--draws", 0, "--set", key)
    assert ran.code == 2
    assert "was expected" in ran.err


def test_tabs_can_be_named(run, yard):
    path = yard / "tabs.csv"
    path.write_text((yard / "wind.csv").read_text().replace(",", "\t"))
    for name in ("tab", "\\t", "\t"):
        assert run("wind", path, "--delimiter", name).code == 0
