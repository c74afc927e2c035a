"""`yieldest start`: a plan to fill in or a copy of a demo site, whole or not at all."""

import errno
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from yieldest.cli.plan_folder import demo_site_names, write_plan_folder
from yieldest.errors import InputError

CLONE = Path(__file__).parents[1]
SITES = sorted(plan.parent for plan in (CLONE / "demo-sites").glob("*/plan.toml"))


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.parametrize("site", SITES, ids=lambda site: site.name)
def test_a_demo_site_is_copied_whole_and_is_sound(run, tmp_path, site):
    written = run("start", tmp_path / "mine", "--from", site.name, "--json").json["written"]
    assert contents(tmp_path / "mine") == contents(site)
    assert sorted(written) == sorted(str(path) for path in (tmp_path / "mine").iterdir())
    assert run("check", tmp_path / "mine").code == 0


def test_a_copy_says_that_its_data_are_invented(run, tmp_path):
    assert "Invented" in run("start", tmp_path / "mine", "--from", SITES[0].name).out


def test_help_names_every_demo_site(run):
    shown = " ".join(run("start", "--help").out.split())
    assert demo_site_names() == [site.name for site in SITES]
    for site in SITES:
        assert site.name in shown


@pytest.mark.parametrize("name", ["hil-yard", "", "..", "README.md", "../yieldest/show/starter"])
def test_an_unknown_demo_site_is_refused_with_the_known_ones(run, tmp_path, name):
    refused = run("start", tmp_path / "mine", "--from", name)
    assert refused.code == 2
    for site in SITES:
        assert site.name in refused.err
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_leaves_nothing(tmp_path, monkeypatch):
    whole = shutil.copyfile

    def full(source, target):
        if source.name == "plan.toml":
            raise OSError(errno.ENOSPC, "No space left on device")
        return whole(source, target)

    monkeypatch.setattr(shutil, "copyfile", full)
    with pytest.raises(InputError, match=r"mine.*No space left"):
        write_plan_folder(tmp_path / "mine", SITES[0].name)
    assert list(tmp_path.iterdir()) == []


def test_the_wheel_takes_every_folder_of_the_package():
    """pyproject.toml names the packages, because the demo sites lie outside of `yieldest`."""
    named = tomllib.loads((CLONE / "pyproject.toml").read_text(encoding="utf-8"))
    packages = {init.parent for init in (CLONE / "yieldest").rglob("__init__.py")}
    assert set(named["tool"]["setuptools"]["packages"]) == {
        ".".join(package.relative_to(CLONE).parts) for package in packages
    } | {"yieldest.demo_sites"}


@pytest.fixture
def answer(run):
    """Run `start --ask` with these lines piped in."""
    return lambda folder, *lines: run(
        "start", folder, "--ask", stdin="".join(f"{line}\n" for line in lines)
    )


@pytest.fixture
def kept(tmp_path, monkeypatch):
    """A folder with a record, a curve and a bill as people keep them, which we are in."""
    hours = [f"{1 + n // 24:02}/03/2025 {n % 24:02}:00,{5 + n % 17}" for n in range(240)]
    (tmp_path / "log.csv").write_text("\n".join(["Stamp,Wind", *hours]) + "\n")
    (tmp_path / "bench.csv").write_text("MPH,Watts\n6,0\n10,40\n20,250\n")
    lines = ["Part,Qty,Each,Hours", "blades,3,20,6", "battery,1,300,1"]
    (tmp_path / "parts.csv").write_text("\n".join(lines) + "\n")
    monkeypatch.chdir(tmp_path)
    return tmp_path


COLUMNS = 'columns = { time = "Stamp" }'
IN_LOG = ("log.csv", COLUMNS, 'date_order = "day first"', "mph")


def test_ten_questions_make_a_plan_and_an_answer(answer, tmp_path):
    ran = answer(tmp_path / "mine", *[""] * 12)
    assert ran.code == 0
    asked = re.findall(r"^(\d+)\. ", ran.out, re.MULTILINE)
    assert asked == [*map(str, range(1, 11))]
    assert "net energy (kWh/year)" in ran.out
    assert "still the invented numbers" in ran.out


def test_each_answer_is_checked_as_it_is_given(answer, kept):
    ran = answer(
        *("mine", "none.csv", *IN_LOG[:3], "furlongs", "mph", "ten", "33 ft", "tree", "pole", "0"),
        *("40 ft", "1 2", "bench.csv", "30", "2.4", "0.34", "$0.34", "0.34 GBP", "parts.csv"),
        *('scope_default = "per unit"', "140", "0.5", "40", "12"),
    )
    assert ran.code == 0, ran.err
    in_mph = sum(5 + n % 17 for n in range(240)) / 240
    for said in (
        "none.csv: there is no such file",
        "as the time",
        "day first or month first",
        "does not say the unit",
        "'furlongs'",
        f"240 hours from 2025-03-01 to 2025-03-10, mean {in_mph * 0.44704:.3g} m/s",
        "'ten' is no number",
        "'tree' is none of",
        "into the ground",
        "highest 250 W",
        "no price with its currency",
        "$ is the sign of",
        "battery,1,300,1,per array",  # the proposal
        "720.00 for 2 machines",
        "140",
        "0.5 % or 50 %",
    ):
        assert said in ran.out
    text = Path("mine/plan.toml").read_text(encoding="utf-8")
    plan = tomllib.loads(text)
    assert (plan["currency"], plan["units"]) == ("GBP", "imperial")  # a height was in feet
    assert (plan["wind"]["units"], plan["wind"]["record"]) == ("mph", "../log.csv")
    assert plan["build"][0]["hub_height_m"] == pytest.approx(40 * 0.3048, abs=1e-3)
    assert [build["count"] for build in plan["build"]] == [1, 2]
    assert plan["economics"]["self_consumption_share"] == 0.4
    assert "# of the anemometer" in text
    assert [path.name for path in Path("mine").iterdir()] == ["plan.toml"]


def test_pole_and_roof_are_compared_with_all_that_a_roof_needs(answer, tmp_path):
    ran = answer(tmp_path / "mine", "5.5", "", "", "both", "14", "7", "5", "9", "", "4", "8", "12")
    assert ran.code == 2  # the answers end, and nothing is written
    roof = ("both", "14", "7", "5", "9", "", "4", "8", "12", "", "", "", "", "900.50", "30 %")
    ran = answer(tmp_path / "mine", "12 mph", "", "33 ft", *roof, "")
    assert ran.code == 0, ran.err
    assert "ridge_height_m is 5, below edge_height_m 7" in ran.out
    assert "at 8 m is not above the roof at 9 m" in ran.out
    plan = tomllib.loads((tmp_path / "mine" / "plan.toml").read_text(encoding="utf-8"))
    sizes = {"edge_height_m": 7, "ridge_height_m": 9, "width_m": 12, "edge_distance_m": 4}
    assert plan["site"][1]["roof"] == sizes
    assert [build["hub_height_m"] for build in plan["build"]] == [14, 12]
    assert plan["wind"]["mean_speed_ms"] == pytest.approx(12 * 0.44704, abs=1e-3)
    assert "900.5" in (tmp_path / "mine" / "bill.csv").read_text()
    assert [path.name for path in sorted((tmp_path / "mine").iterdir())] == [
        *("bill.csv", "curve.csv", "plan.toml")
    ]


def test_what_the_house_draws_takes_the_place_of_a_share(answer, tmp_path):
    ran = answer(tmp_path / "mine", *[""] * 10, "3000 kWh", "")
    assert ran.code == 0, ran.err
    plan = tomllib.loads((tmp_path / "mine" / "plan.toml").read_text(encoding="utf-8"))
    assert plan["demand"]["kwh_per_year"] == 3000
    ran = answer(tmp_path / "other", "5.5", *[""] * 9, "3000 kWh", "60", "")
    assert (ran.code, "over a wind record with times" in ran.out) == (0, True)


@pytest.mark.parametrize("price", ["3000 kWh", "KWH 0.3", "12 mph"])
def test_a_unit_is_no_currency(answer, tmp_path, price):
    ran = answer(tmp_path / "mine", *[""] * 8, price, *[""] * 4)
    assert ran.code == 0, ran.err
    assert re.search(r"! currency: (KWH|MPH) is a unit, no currency; .* such as EUR", ran.out)
    assert 'currency = "EUR"' in (tmp_path / "mine" / "plan.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("total", ["-1", "-0.01 EUR", "1e13", "1e400"])
def test_a_refused_sum_leaves_the_invented_bill(answer, tmp_path, total):
    assert answer(tmp_path / "whole", *[""] * 12).code == 0
    ran = answer(tmp_path / "mine", *[""] * 9, total, *[""] * 3)
    assert (ran.code, ran.err) == (0, "")
    assert f"! {total!r} is no cost of a machine; write a sum from 0 to" in ran.out
    assert ".csv" not in ran.out[ran.out.index("\n8. ") : ran.out.index("\n9. ")]
    assert contents(tmp_path / "mine") == contents(tmp_path / "whole")


def test_a_sum_is_taken_after_one_that_was_refused(answer, tmp_path):
    ran = answer(tmp_path / "mine", *[""] * 9, "-1", "1e12", *[""] * 2)
    assert ran.code == 0, ran.err
    assert (tmp_path / "mine" / "bill.csv").read_text().endswith("machine,1,1e+12,per unit\n")


@pytest.mark.parametrize("lines", [0, 1, 4, 10])
def test_answers_that_end_early_leave_nothing(answer, tmp_path, lines):
    ran = answer(tmp_path / "mine", *[""] * lines)
    assert (ran.code, ran.err.count("\n")) == (2, 1)
    assert "the answers end at the question" in ran.err
    assert not list(tmp_path.iterdir())


def test_the_unit_that_a_heading_names_is_offered_and_another_takes_its_place(answer, kept):
    log = (kept / "log.csv").read_text().replace("Stamp,Wind", "Time,Wind (mph)")
    (kept / "named.csv").write_text(log)
    asked = ("named.csv", 'date_order = "day first"')
    offered = answer("one", *asked, *[""] * 13)
    assert "[mph]" in offered.out
    assert "units = " not in (kept / "one" / "plan.toml").read_text(encoding="utf-8")
    assert answer("two", *asked, "m/s", *[""] * 12).code == 0
    assert 'units = "m/s"' in (kept / "two" / "plan.toml").read_text(encoding="utf-8")


ASK = ("start", "mine", "--ask")


def started_in(folder, stdin):
    """Start the questions in a process of their own."""
    return subprocess.Popen(
        [sys.executable, "-u", "-c", "from yieldest.cli.app import main; main()", *ASK],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(CLONE)},
        stdin=stdin,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def test_answers_that_are_no_text_end_in_a_sentence(tmp_path):
    out, err = started_in(tmp_path, subprocess.PIPE).communicate(b"\xff\xfe\xe9\n\n\xe9\n", 60)
    assert b"this needs an answer, in plain characters" in out
    assert err.count(b"\n") == 1
    assert b"Traceback" not in err
    assert not list(tmp_path.iterdir())


@pytest.mark.skipif(sys.platform == "win32", reason="no signal of a terminal")
@pytest.mark.parametrize("answers", [0, 2])
def test_ctrl_c_at_a_question_leaves_nothing(tmp_path, answers):
    asking = started_in(tmp_path, subprocess.PIPE)
    asking.stdin.write(b"\n" * answers)
    asking.stdin.flush()
    seen = b""
    while f"\n{answers + 1}. ".encode() not in seen:
        seen += os.read(asking.stdout.fileno(), 4096)
    time.sleep(0.2)  # until it waits for the answer
    asking.send_signal(signal.SIGINT)
    _, err = asking.communicate(timeout=60)
    assert asking.returncode != 0
    assert b"Traceback" not in err
    assert not list(tmp_path.iterdir())


def test_questions_are_for_a_new_folder_and_go_alone(answer, run, yard, tmp_path):
    assert "this is there already" in answer(yard).err
    assert run("start", tmp_path / "new", "--ask", "--spreadsheet").code == 2


WINDS = [("",), ("log.csv",), (COLUMNS,), ('date_order = "day first"',), ("4.2",), ("0",), IN_LOG]
LENGTHS = st.sampled_from(["", "1", "8", "26 ft", "3.5", "0,5", "-2", "300", "9 parsec", "1,000"])
OTHERS = st.sampled_from(
    [
        *("", "2", "pole", "roof", "both", "1 3", "bench.csv", "log.csv", "parts.csv", "0.3 EUR"),
        *("15", "unknown", "1 x 2", "2500 kWh", "70 %", "£350", "0.2 GBP", "=", "x" * 300),
        'scope_default = "per site"',
    ]
)


@settings(
    max_examples=15,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    st.sampled_from(WINDS),
    st.sampled_from(["", "pole", "roof", "both"]),
    st.lists(LENGTHS, max_size=8),
    st.lists(OTHERS, max_size=12),
    st.booleans(),
)
def test_a_plan_that_is_written_is_estimated(answer, kept, wind, stand, lengths, others, whole):
    shutil.rmtree("mine", ignore_errors=True)
    ran = answer("mine", *wind, "", "", stand, *lengths, *others, *[""] * (40 if whole else 0))
    if ran.code == 0:
        assert "net energy (kWh/year)" in ran.out
    else:
        assert ran.code == 2
        assert "the answers end" in ran.err
        assert not Path("mine").exists()
    assert {path.name for path in kept.iterdir()} <= {"log.csv", "bench.csv", "parts.csv", "mine"}


def test_several_plans_say_that_their_numbers_are_invented_and_praise_no_loss(run, tmp_path):
    folders = [tmp_path / "one", tmp_path / "two"]
    for folder in folders:
        run("start", folder)
    shown = run("estimate", *folders, "--draws", "0", "--quiet").out
    assert shown.count("still the invented numbers") == 2
    poor = ("--set", "economics.price_per_kwh=0.03")
    shown = run("estimate", *folders, "--draws", "0", "--quiet", *poor).out
    assert "Make none of them for the money: all lose." in shown
