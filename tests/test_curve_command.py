"""`yieldest curve`, and plans that name readings, a generic or a load."""

import json
import subprocess
import sys

import pytest
from conftest import kinds

from yieldest import load
from yieldest.report import terminal
from yieldest.turbine.curve_file import read_power_curve
from yieldest.turbine.reading_checks import ThinBins


@pytest.fixture
def afternoon(hill_yard):
    return hill_yard / "readings-0.9m.csv"


@pytest.fixture
def hill_yard(tmp_path):
    import shutil  # noqa: PLC0415

    from conftest import DEMO_SITES  # noqa: PLC0415

    return shutil.copytree(DEMO_SITES / "hill-yard", tmp_path / "hill-yard")


def own_readings(folder, edit, extra=""):
    """Let the plan's small machines use their own readings, as its comments say."""
    plan = folder / "plan.toml"
    edit(plan, 'curve = "curve-0.9m.csv"', 'readings = "readings-0.9m.csv"\n' + extra)
    return plan


SIZE = ("--rotor-diameter", "0.9", "--elevation", "420", "--temperature", "15")


BENCH = ("--generator-test", "generator-0.9m.csv")
QUESTIONS = ("Read as", "Enough?", "How strong?", "How sure?", "A year of it", "Where lost?",
             "On trust", "Check", "Danger")  # fmt: skip


@pytest.mark.parametrize("columns", [100, 80])
@pytest.mark.parametrize("more", [(), SIZE, (*SIZE, *BENCH)])
def test_the_first_screen_is_one(run, afternoon, monkeypatch, columns, more):
    monkeypatch.setattr(terminal, "PLAIN_WIDTH", columns)
    monkeypatch.chdir(afternoon.parent)
    ran = run("curve", afternoon.name, *more)
    assert ran.code == 0
    assert ran.err == ""
    lines = ran.out.splitlines()
    assert len(lines) <= 40
    assert max(map(len, lines)) <= columns
    heads = [line.split("  ")[0] for line in lines]
    places = [heads.index(question) for question in QUESTIONS]
    assert places == sorted(places)
    assert places[0] == 1
    shown = " ".join(ran.out.split())
    for words in (
        "in m/s; power from volts x amps (dc). 2,521 lines",
        "1-minute means of about 6 readings each",
        "miss 2 of the 3 rules for small turbines: 60 hours in all (found 7.0 h)",
        "a brake that works without power",
    ):
        assert words in shown
    assert ("(about 67 V then)" in shown) == (BENCH[0] in more)


def test_the_chart_has_the_90_percent_range_of_the_bins(run, afternoon):
    rows = run("curve", afternoon, *SIZE, "--json").json["bins"]
    at_8 = next(row for row in rows if row["centre_ms"] == 8)
    # 5 % of a normal distribution lie beyond 1.645 standard deviations (JCGM 100, table G.1).
    low, high = (at_8["power_w"] + f * at_8["uncertainty_w"] for f in (-1.645, 1.645))
    shown = run("curve", afternoon, *SIZE).out
    (line,) = [line for line in shown.splitlines() if line.startswith(f"{at_8['speed_ms']:5.2f} ")]
    assert f" {at_8['power_w']:.1f} {low:.1f} to {high:.1f} " in " ".join(line.split())


def test_the_chart_sets_powers_beside_the_winds_they_were_read_in(run, tmp_path):
    # Invented. Each is alone in its drawer, and none stands in the middle of it.
    read = {"2.8": 1, "4.2": 15, "5.2": 31.1, "6.8": 80, "9.2": 240, "10.8": 393}
    readings = tmp_path / "few.csv"
    lines = ["speed (m/s),watts", *(f"{wind},{watts}" for wind, watts in read.items())]
    readings.write_text("\n".join(lines), encoding="utf-8")
    shown = run("curve", readings, "--rotor-diameter", 2.4).out
    table = shown[shown.index("\nmean wind m/s  readings  power W") :].splitlines()
    beside = {float(cells[0]): float(cells[2]) for cells in map(str.split, table[3:-1])}
    assert beside == {float(wind): watts for wind, watts in read.items()}
    assert "its highest is 393 W at 10.8 m/s" in " ".join(shown.split())


@pytest.mark.parametrize("columns", [100, 80])
def test_full_holds_all_the_rest_and_warns_above_the_tables(run, afternoon, monkeypatch, columns):
    monkeypatch.setattr(terminal, "PLAIN_WIDTH", columns)
    monkeypatch.chdir(afternoon.parent)
    ran = run("curve", afternoon.name, *SIZE, *BENCH, "--full")
    lines = ran.out.splitlines()
    assert max(map(len, lines)) <= columns
    order = [
        "Check this",
        "Take care",
        "Where the energy goes",
        "Starting and stopping",
        "A year of it, before losses",
        "Are there enough readings?",
        "How it was computed",
        "Assumed, for nobody stated it",
    ]
    places = [lines.index(heading) for heading in order]
    assert places == sorted(places)
    for words in (
        "the rotor overspeeds",
        "V open-circuit",
        "resistors glow",
        "never in the plane of the blades",
        "public roads",
        "source not checked",
        "not met  60 hours in all (found: 7.0 h)",
    ):
        assert words in " ".join(ran.out.split()) or words in ran.out, words


@pytest.mark.parametrize("lowest_w", [0.0, 2.0])
def test_power_is_said_to_begin_only_where_it_was_seen_to(run, tmp_path, lowest_w):
    # Invented: three readings of each wind, so that every bin can be judged.
    winds = {2.6: lowest_w, 3.1: 6, 3.6: 12, 4.1: 20, 4.6: 30, 5.1: 42}
    readings = tmp_path / "readings.csv"
    lines = [f"{wind},{watts}" for wind, watts in winds.items()]
    readings.write_text("\n".join(["speed (m/s),watts", *lines * 3]), encoding="utf-8")
    first, full = (
        " ".join(run("curve", readings, *more).out.split()) for more in ((), ("--full",))
    )
    seen = lowest_w == 0
    assert ("so cut-in was not seen" in full) != seen
    assert ("It makes power from 2.6 m/s on; its highest is 42.0 W at 5.1 m/s" in first) == seen
    already = "In the lowest winds read, 2.6 m/s, it makes power already; its highest is 42.0 W"
    assert (already in first) != seen


def test_without_times_nothing_is_said_of_starting_and_stopping(run, tmp_path):
    """Lines that were sorted by wind would seem to start once and never to stop."""
    read = [f"{wind},{watts}" for wind, watts in ((2.6, 0), (3.1, 6), (3.6, 12), (4.1, 20)) * 3]
    for times in (False, True):
        lines = [f"{60 * i},{line}" if times else line for i, line in enumerate(read)]
        readings = tmp_path / "readings.csv"
        heading = "time (s)," * times + "speed (m/s),watts"
        readings.write_text("\n".join([heading, *lines]), encoding="utf-8")
        full = run("curve", readings, "--full").out
        assert ("Starting and stopping" in full) == times
        assert ("Seen starting" in full) == times
        found = run("curve", readings, "--json").json["hysteresis"]
        assert found["starts"] == (3 if times else None)
        assert found["shown"] is (False if times else None)


def test_json_holds_what_the_page_says(run, afternoon):
    found = run("curve", afternoon, *SIZE, "--json").json
    assert found["readings"]["lines"] == 2521
    assert found["readings"]["averaging_s"] == 60
    assert sum(one["count"] for one in found["bins"]) == found["readings"]["used"]
    at_8 = next(one for one in found["bins"] if one["centre_ms"] == 8)
    # The invented machine makes 39 W at 8 m/s; gusts within the minute add some.
    assert at_8["power_w"] == pytest.approx(39, abs=2 * at_8["uncertainty_w"])
    assert at_8["power_coefficient"] < 16 / 27
    assert at_8["rotor_power_w"] is None
    assert found["curve"]["extrapolation"] == "zero"
    assert {rule["met"] for rule in found["completeness"]} == {True, False}
    assert found["assumed"]
    assert found["warnings"]
    single = next(one for one in found["bins"] if one["count"] == 1)
    assert single["standard_deviation_w"] is None


def test_the_written_curve_is_read_again(run, afternoon, tmp_path):
    out = tmp_path / "mine.csv"
    found = run(
        *("curve", afternoon, *SIZE, "--load", "resistor", "--out", out, "--json"),
        *("--cut-out", "18", "--extrapolation", "hold"),
    ).json
    curve = read_power_curve(out)
    assert curve.power_w.tolist() == pytest.approx(found["curve"]["power_w"], rel=1e-5)
    assert curve.power_uncertainty_w.tolist() == pytest.approx(
        found["curve"]["uncertainty_w"], rel=1e-5
    )
    assert curve.last_measured_ms == pytest.approx(found["curve"]["last_measured_ms"], rel=1e-5)
    assert (curve.load, curve.extrapolation) == ("resistor", "hold")
    head = out.read_text(encoding="utf-8")
    assert head.startswith("# Power curve from the readings in readings-0.9m.csv")
    assert str(tmp_path) not in head


def test_quiet_when_piped_and_help_without_heavy_imports():
    code = (
        "import sys; from yieldest.cli.app import app; import contextlib\n"
        "with contextlib.suppress(SystemExit): app(['curve', '--help'])\n"
        "print([m for m in ('scipy', 'pandas', 'matplotlib') if m in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "Example: yieldest curve" in ran.stdout
    assert ran.stdout.rstrip().endswith("[]")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--rotor-diameter", "-1"), "--rotor-diameter is -1, but a number from 0.01 to 1,000 was"),
        (("--cut-out", "-3"), "--cut-out is -3, but a number above 0"),
        (("--rotor-width", "1"), "go together"),
        (("--rotor-area", "1", "--rotor-diameter", "1"), "exclude each other"),
        (("--column", "tension=V"), "'tension' is none of"),
        (("--column", "volts=Kanal"), "no column 'Kanal'"),
        (("--extrapolation", "hold"), "state cut_out_ms"),
        (("--rotor-diameter", "900"), "millimetres were given as metres"),
        (("--rotor-diameter", "0.3"), "beats the Betz limit"),
        (("--out", "/nowhere/at/all.csv"), "cannot be written"),
        (("--circuit", "three-phase"), "state volts_between"),
    ],
)
def test_bad_options_are_one_sentence(run, afternoon, options, words):
    ran = run("curve", afternoon, *options)
    assert ran.code == 2
    assert words in ran.err
    assert ran.err.count("\n") == 1


def test_a_missing_file_and_a_bad_choice_end_with_2(run, tmp_path):
    assert "no such file" in run("curve", tmp_path / "none.csv").err
    assert run("curve", tmp_path / "none.csv", "--circuit", "water").code == 2


def test_a_plan_may_use_readings(run, hill_yard, edit):
    before = run("estimate", hill_yard, "--draws", 0, "--json").json
    own_readings(
        hill_yard,
        edit,
        'meters = { circuit = "dc", elevation_m = 420, temperature_c = 15 }\n',
    )
    after = run("estimate", hill_yard, "--draws", 0, "--json").json
    old, new = before["builds"][1], after["builds"][1]
    # Invented readings of the very machine of the curve file: the same energy within a tenth.
    assert new["gross_kwh_per_year"] == pytest.approx(old["gross_kwh_per_year"], rel=0.1)
    assert new["gross_kwh_extrapolated_per_year"] > 0
    assert new["extrapolation"] == "hold"
    assert ThinBins in kinds(load(hill_yard).estimate().builds[1].warnings)
    assert run("check", hill_yard).code == 0


def test_the_comments_of_the_demo_plan_work(run, hill_yard):
    plan = hill_yard / "plan.toml"
    lines = plan.read_text(encoding="utf-8").splitlines()
    used = [
        line.removeprefix("# ")
        if line.startswith(("# readings", "# meters", "# load"))
        else f"# {line}"
        if line.startswith('curve = "curve-0.9m.csv"')
        else line
        for line in lines
    ]
    plan.write_text("\n".join(used) + "\n", encoding="utf-8")
    ran = run("estimate", hill_yard, "--draws", 0, "--json")
    assert ran.code == 0, ran.err
    assert any("a boost or tracking charger" in text for text in ran.json["warnings"])


def test_a_stand_in_is_always_labelled(run, hill_yard, edit):
    plan = hill_yard / "plan.toml"
    edit(
        plan,
        'curve = "curve-0.9m.csv"',
        "generic_curve = { power_coefficient = 0.2 }\ncut_in_ms = 3",
    )
    edit(plan, "cut_out_ms = 18", "cut_out_ms = 18\nrated_power_w = 110")
    ran = run("estimate", hill_yard)
    assert ran.code == 0, ran.err
    full = run("estimate", hill_yard, "--draws", 0, "--full").out
    assert "nobody measured it" in " ".join(full.split())
    assert [line.split()[2:4] for line in ran.out.splitlines() if "power curve  " in line] == [
        ["given", "modelled"]
    ]
    assert run("estimate", hill_yard, "--draws", 0, "--json").json["builds"][1]["curve_modelled"]


def test_idle_draw_and_extrapolation_are_shown(run, hill_yard, edit):
    plan = hill_yard / "plan.toml"
    plain = run("estimate", hill_yard, "--draws", 0, "--json").json["builds"][1]
    edit(
        plan,
        'curve = "curve-0.9m.csv"',
        'curve = "curve-0.9m.csv"\nload = { kind = "inverter", measured_on = "inverter", '
        "idle_draw_w = 1.5 }",
    )
    drawn = run("estimate", hill_yard, "--draws", 0, "--json").json["builds"][1]
    hours = drawn["hours_per_year"]
    expected = 8 * 1.5 * (hours["without_output"] + hours["cut_out"]) / 1000
    assert drawn["idle_draw_kwh_per_year"] == pytest.approx(expected)
    assert drawn["net_kwh_per_year"] == pytest.approx(plain["net_kwh_per_year"] - expected)
    assert drawn["gross_kwh_per_year"] == pytest.approx(plain["gross_kwh_per_year"])
    page = run("estimate", hill_yard, "--draws", 0, "--full").out
    assert "drawn while idle" in page
    assert "of it above the last measured wind" in page
    edit(plan, "cut_out_ms = 18", 'cut_out_ms = 18\nextrapolation = "zero"')
    ended = run("estimate", hill_yard, "--draws", 0, "--json").json["builds"][1]
    assert ended["gross_kwh_extrapolated_per_year"] == 0
    assert ended["gross_kwh_per_year"] == pytest.approx(
        plain["gross_kwh_per_year"] - plain["gross_kwh_extrapolated_per_year"], rel=1e-9
    )


@pytest.mark.parametrize(
    ("new", "words"),
    [
        ("", "there is no power curve; state curve, readings or generic_curve"),
        ('curve = "a.csv"\nreadings = "b.csv"', "curve and readings exclude each other"),
        ('curve = "curve-0.9m.csv"\nmeters = { circuit = "dc" }', "meters belongs to readings"),
        (
            "generic_curve = { power_coefficient = 0.2 }",
            "a generic_curve needs cut_in_ms, rated_power_w;",
        ),
        (
            "generic_curve = { power_coefficient = 0.7 }\ncut_in_ms = 3\nrated_power_w = 90",
            "above the Betz limit",
        ),
        ('curve = "curve-0.9m.csv"\nload = { kind = "kettle" }', "load.kind"),
        (
            'curve = "curve-0.9m.csv"\nload = { kind = "inverter", start_up_w = 3 }',
            "belong to a conversion",
        ),
        (
            'curve = "curve-0.9m.csv"\nload = { kind = "battery", conversion = "typical" }',
            "state battery_volts",
        ),
        (
            'curve = "curve-0.9m.csv"\nload = { kind = "inverter", conversion = "typical" }\n'
            'converter = [{ efficiency = 0.9, carries = "each machine" }]',
            "each takes off the same losses",
        ),
        ('curve = "curve-0.9m.csv"\ncut_in_ms = 1e12', "a number from 0 to 120"),
        ('readings = "readings-0.9m.csv"\nmeters = { cirquit = "dc" }', "did you mean 'circuit'"),
        (
            'readings = "readings-0.9m.csv"\nmeters = { columns = { amps = "I2" } }',
            "no column 'I2'",
        ),
    ],
)
def test_a_plan_that_cannot_be_is_one_sentence(run, hill_yard, edit, new, words):
    edit(hill_yard / "plan.toml", 'curve = "curve-0.9m.csv"', new)
    ran = run("estimate", hill_yard)
    assert ran.code == 2
    assert words in ran.err
    assert ran.err.count("\n") == 1


def test_hostile_names_do_not_reach_the_terminal_as_markup(run, tmp_path):
    path = tmp_path / "[bold red]x[].csv"
    path.write_text("[blink]wind (m/s),watts\n3,0\n4,20\n5,50\n6,80\n")
    ran = run("curve", path, "--column", "speed=[blink]wind (m/s)", "--speed-units", "m/s")
    assert ran.code == 0, ran.err
    assert "[blink]wind" in ran.out
    assert json.loads(
        run(
            *(
                "curve",
                path,
                "--column",
                "speed=[blink]wind (m/s)",
                "--speed-units",
                "m/s",
                "--json",
            )
        ).out
    )["source"].endswith("[bold red]x[].csv")


def test_the_year_says_what_is_counted_above_the_readings(run, tmp_path):
    path = tmp_path / "short.csv"
    path.write_text("wind (m/s),watts\n" + "".join(f"{v / 2},{v**3 / 80}\n" for v in range(4, 14)))
    shown = " ".join(run("curve", path, *SIZE).out.split())
    assert "Above 6.5 m/s, where the readings end, nothing is counted." in shown
