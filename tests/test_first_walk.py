"""What a maker trips over on the first day: each leads to one sentence, or is read."""

import pytest
from conftest import DEMO_SITES

from yieldest import load
from yieldest.wind.distribution import NotMeasured

LOGGER = "Day;Clock;Wind [m/s]\n" + "".join(
    f"{day:02}.03.2026;{hour:02}:00;{3 + (hour + day) % 5},4\n"
    for day in range(1, 15)
    for hour in range(24)
)


@pytest.fixture
def logger(tmp_path):
    path = tmp_path / "logger.csv"
    path.write_text(LOGGER, encoding="utf-8")
    return path


def test_a_date_without_its_clock_is_no_record(run, logger):
    ran = run("wind", logger, "--column", "speed=Wind [m/s]", "--column", "time=Day")
    assert ran.code == 2
    assert "stations" not in ran.err
    assert "322 of 336 lines repeat the time" in ran.err
    assert "--column date=HEADING --column time=HEADING" in ran.err


def test_date_and_clock_in_two_columns(run, logger):
    columns = ("speed=Wind [m/s]", "date=Day", "time=Clock")
    flags = [part for column in columns for part in ("--column", column)]
    assert run("wind", logger, *flags, "--json").json["data_recovery"]["hours"] == pytest.approx(
        336
    )


@pytest.mark.parametrize(
    ("command", "text", "flag"),
    [
        (["wind"], "time,breeze (m/s)\n2026-01-01 00:00,5\n", "--column speed=HEADING"),
        (["wind"], "time,wspd\n2026-01-01 00:00,5\n2026-01-01 01:00,5\n", "--speed-units"),
        (["wind"], "1;2\n3;4\n", "--headings"),
        (["wind", "--months"], "month,wind\n" + "1,4\n" * 12, "--speed-units"),
        (["curve"], "wind,watts\n5,20\n6,30\n", "--speed-units"),
        (["curve"], "breeze,watts\n5,20\n6,30\n", "--column speed=HEADING"),
    ],
)
def test_what_is_not_recognised_names_the_flag_that_states_it(run, tmp_path, command, text, flag):
    path = tmp_path / "file.csv"
    path.write_text(text, encoding="utf-8")
    ran = run(*command[:1], path, *command[1:])
    assert ran.code == 2
    assert flag in ran.err


def test_the_flag_that_the_curve_names_is_one(run, tmp_path):
    path = tmp_path / "file.csv"
    path.write_text("breeze,watts\n5,20\n6,30\n7,50\n", encoding="utf-8")
    ran = run("curve", path, "--column", "speed=breeze", "--speed-units", "m/s")
    assert ran.code == 0
    assert "--rotor-diameter" in ran.out


def test_invented_files_left_in_a_plan_are_named_first(run, yard):
    words = "curve.csv, bill.csv: still the invented numbers"
    answer = run("estimate", yard, "--draws", "0", "--json").json["verdict"]
    assert answer[0].startswith("wind.csv, " + words)
    bill = yard / "bill.csv"
    bill.write_text(bill.read_text(encoding="utf-8") + "paint,1,20,per unit,,\n", encoding="utf-8")
    answer = run("estimate", yard, "--draws", "0", "--json").json["verdict"]
    assert answer[0].startswith("wind.csv, curve.csv: still")
    demo = run("estimate", DEMO_SITES / "hill-yard", "--draws", "0", "--json").json["verdict"]
    assert not any("still the invented" in sentence for sentence in demo)


def test_a_stated_mean_is_no_record_and_warned_of(run, yard, edit):
    edit(yard / "plan.toml", 'record = "wind.csv" ', "mean_speed_ms = 6.5 # ")
    result = run("estimate", yard, "--draws", "0", "--json").json
    assert NotMeasured() in load(yard).estimate().warnings
    checks = [each["text"] for each in result["pointers"] if each["about"] == "Check"]
    assert any(text.startswith("No reading stands behind the stated wind") for text in checks)


def test_a_roof_is_in_the_plain_words(run, yard, edit):
    edit(yard / "plan.toml", "# roof = ", "roof = ")
    edit(yard / "plan.toml", "edge_height_m = 6, ridge_height_m = 8", "edge_height_m = 10")
    result = run("estimate", yard, "--draws", "0", "--json").json
    assert any("disturbed flow over the roof" in text for text in result["verdict"])


def test_check_fits_the_screen(run, yard, monkeypatch):
    monkeypatch.chdir(yard.parent)
    ran = run("check", yard.name)
    assert ran.code == 0
    assert "Check this" in ran.out
    assert max(map(len, ran.out.splitlines())) <= 100


def test_two_decimal_marks_are_shown(run, tmp_path):
    path = tmp_path / "months.txt"
    months = [f"{month} 4.{month % 10}" for month in range(1, 12)] + ["12 4,8"]
    path.write_text("\n".join(["month speed", *months]), encoding="utf-8")
    ran = run("wind", path, "--months", "--speed-units", "m/s")
    assert ran.code == 2
    assert "'4.1' has a decimal point and '4,8' a decimal comma" in ran.err


def test_a_reference_of_other_years_is_told_by_its_years(run, yard, edit):
    text = (yard / "wind.csv").read_text(encoding="utf-8").replace("2025-03", "2021-03")
    (yard / "station.csv").write_text(text, encoding="utf-8")
    plan = yard / "plan.toml"
    edit(plan, "# reference = {", "reference = {")
    edit(plan, 'record = "airport.csv", units = "kn"', 'record = "station.csv"')
    ran = run("estimate", yard)
    assert ran.code == 2
    assert "(2025-03-01 to 2025-03-14)" in ran.err
    assert "(2021-03-01 to 2021-03-14)" in ran.err


def test_builds_that_end_apart_on_the_same_ladder_are_named(run, yard, edit):
    plan = yard / "plan.toml"
    plan.write_text(plan.read_text("utf-8").replace("hub_height_m = 12", "hub_height_m = 10", 1))
    shown = run("estimate", yard, "--draws", "0", "--full").out
    ladder = shown[shown.index("From the mast to the hub") :]
    lines = [line.rstrip() for line in ladder.splitlines()]
    for name in ("one machine", "two of them"):
        assert lines[lines.index(name) + 1].startswith(("  to hub height", "  at the hub"))
