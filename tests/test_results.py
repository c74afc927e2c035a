"""What an estimate gives out: energy by month, several plans side by side, files of results."""

import csv
import gzip
import io
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from pytest import approx

import yieldest as yd
from yieldest.energy.by_month import energy_by_month
from yieldest.energy.net_energy import SpeedSeries

DEMO_SITES = Path(__file__).parents[1] / "demo-sites"
HILL, QUAY, BARN = (DEMO_SITES / name for name in ("hill-yard", "fishing-quay", "sheep-barn"))


def table(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


# Energy by month and by the hour of day


def test_months_and_a_typical_day_make_the_year(run):
    found = run("estimate", BARN, "--draws", 0, "--json").json["builds"]
    for build in found:
        months, hours = build["net_kwh_by_month"], build["net_power_w_by_hour_of_day"]
        assert (len(months), len(hours)) == (12, 24)
        assert sum(months) == approx(build["net_kwh_per_year"], rel=1e-12)
        assert sum(hours) / 24 * 8.76 == approx(build["net_kwh_per_year"], rel=1e-12)


def test_months_are_those_of_the_readings_themselves(run):
    """The yard's record through its curve, month by month, read here without the package."""
    with gzip.open(BARN / "wind.csv.gz", "rt") as stream:
        rows = [line.split(",") for line in stream if line[:2] == "20"]
    yard = yd.load(BARN).estimate().builds[0]
    speeds = yard.wind.readings.speed_ms
    assert len(rows) == speeds.size
    power = np.interp(speeds, yard.curve.speed_ms, yard.curve.power_w, left=0, right=0)
    total = np.zeros(12)
    for (time, *_), each in zip(rows, power, strict=True):
        total[int(time[5:7]) - 1] += each
    found = run("estimate", BARN, "--draws", 0, "--json").json["builds"][0]
    share = np.array(found["net_kwh_by_month"]) / found["net_kwh_per_year"]
    assert share == approx(total / total.sum(), rel=1e-3)


def test_a_month_without_readings_is_left_open_and_the_rest_stands():
    curve = yd.load(BARN).estimate().builds[0].curve
    time = np.arange("2025-01-01", "2025-07-01", dtype="datetime64[h]")
    steady = SpeedSeries(np.full(time.size, 7.0), np.ones(time.size))
    found = energy_by_month(time, steady, curve, 365.0)
    # The same wind all the time: a kWh a day, and nothing is known of the other half.
    assert found.month_kwh[:6] == approx([31, 28, 31, 30, 31, 30])
    assert np.isnan(found.month_kwh[6:]).all()
    assert found.hour_w == approx(np.full(24, 1000 / 24))
    still = SpeedSeries(np.full(time.size, 1.0), np.ones(time.size))
    assert energy_by_month(time, still, curve, 0.0) is None


def test_two_days_of_a_month_are_not_the_calmest_month(run, yard, tmp_path):
    """Two calm days of March, a windy April and a middling May."""
    hours = np.arange("2025-03-30", "2025-06-01", dtype="datetime64[h]")
    month = hours.astype("datetime64[M]").astype(int) % 12
    gusts = np.random.default_rng(5).uniform(0.7, 1.3, hours.size)
    speed = (np.choose(month - 2, [2.0, 8.0, 6.0]) * gusts).round(1)
    rows = [f"{time},{each}" for time, each in zip(hours, speed, strict=True)]
    (yard / "wind.csv").write_text("\n".join(["time,speed (m/s)", *rows]), encoding="utf-8")
    wind = " ".join(run("wind", yard / "wind.csv").out.split())
    assert "Most wind in Apr" in wind
    assert "least in May" in wind
    shown = run("estimate", yard, "--draws", 0, "--full").out
    lines = {line.split("  ")[0] for line in shown.splitlines()}
    assert {"March, partly read", "April", "May", "June"} <= lines
    page = tmp_path / "page.html"
    run("report", yard, "-o", page, "--set", "uncertainty.draws=0")
    text = page.read_text(encoding="utf-8")
    assert re.search(r"makes most in April .* and least in May", text)
    assert re.search(r"April is the windiest month .*, May the calmest", text)


def test_without_times_there_are_no_months(run):
    found = run("estimate", DEMO_SITES / "river-plain", "--draws", 0, "--json").json["builds"][0]
    assert found["net_kwh_by_month"] is None
    shown = run("estimate", DEMO_SITES / "river-plain", "--draws", 0, "--full").out
    assert "Net energy by month" not in shown


def test_full_and_the_page_show_the_months(run, tmp_path):
    shown = run("estimate", BARN, "--draws", 0, "--full").out
    january = next(line for line in shown.splitlines() if line.startswith("January"))
    first = run("estimate", BARN, "--draws", 0, "--json").json["builds"][0]
    assert float(january.split()[1]) == approx(first["net_kwh_by_month"][0], rel=0.01)
    assert "A typical day: mean net power" in shown and "21 to 24 h" in shown
    assert "Net energy by month" not in run("estimate", BARN, "--draws", 0).out
    page = tmp_path / "page.html"
    run("report", BARN, "-o", page, "--set", "uncertainty.draws=0")
    assert "Net energy by month" in page.read_text(encoding="utf-8")


# Several plans in one table


def test_several_plans_come_in_one_table(run):
    shown = run("estimate", HILL, QUAY, "--draws", 512)
    assert (shown.code, shown.err) == (0, "")
    assert "“one of 2.4 m” of hill-yard has the highest net present value" in shown.out
    assert "The plans differ in economics.price_per_kwh" in " ".join(shown.out.split())
    lines = shown.out.splitlines()
    assert any(line.startswith("hill-yard") and "one of" in line for line in lines)
    assert sum("✓" in line for line in lines) == 1
    assert max(map(len, lines)) <= 100


def test_several_plans_in_json_hold_what_each_holds_alone(run):
    both = run("estimate", HILL, QUAY, "--draws", 512, "--json").json
    alone = run("estimate", QUAY, "--draws", 512, "--json").json
    assert [plan["name"] for plan in both["plans"]] == ["hill-yard", "fishing-quay"]
    assert {key: both["plans"][1][key] for key in alone} == alone
    best = {"plan": "hill-yard", "build": "one of 2.4 m", "by": "net_present_value"}
    assert both["best"] == best
    assert both["currencies"] == ["EUR"]
    values = [b["net_present_value"] for plan in both["plans"] for b in plan["builds"]]
    assert max(values) == both["plans"][0]["builds"][0]["net_present_value"]


def test_money_of_two_currencies_is_not_ranked(run):
    shown = run("estimate", HILL, BARN, "--draws", 0)
    assert "The plans are in EUR and GBP, so their money is not ranked" in shown.out
    assert "✓" not in shown.out
    signs = [{"€", "£"} & set(line) for line in shown.out.splitlines() if " of " in line[:40]]
    assert signs == [{"€"}, {"€"}, {"£"}]
    assert run("estimate", HILL, BARN, "--draws", 0, "--json").json["best"] is None


def test_plans_of_one_folder_name_are_told_apart(run, tmp_path, yard):
    other = tmp_path / "other" / "yard"
    other.parent.mkdir()
    assert run("start", other).code == 0
    found = run("estimate", yard, other, "--draws", 0, "--json").json["plans"]
    assert found[0]["name"] != found[1]["name"]


def test_a_change_goes_to_every_plan_and_a_sweep_to_one(run):
    found = run("estimate", HILL, QUAY, "--draws", 0, "--json", "--set",
                "economics.price_per_kwh=0.5").json  # fmt: skip
    assert {plan["economics"]["price_per_kwh"] for plan in found["plans"]} == {0.5}
    swept = run("estimate", HILL, QUAY, "--sweep", "economics.price_per_kwh=0.1:0.2:2")
    assert swept.code == 2 and "--sweep is for one plan" in swept.err
    wrong = run("estimate", HILL, DEMO_SITES / "nowhere")
    assert wrong.code == 2 and "nowhere" in wrong.err and wrong.out == ""


# Files of results


def test_csv_holds_currency_and_ranges(run, tmp_path):
    out = tmp_path / "results.csv"
    found = run("estimate", HILL, "--draws", 512, "--json", "-o", out).json
    for row, build in zip(table(out), found["builds"], strict=True):
        sure = build["uncertainty"]
        assert row["currency"] == "EUR"
        assert float(row["net_kwh_per_year"]) == build["net_kwh_per_year"]
        for key, figure in (
            ("net_kwh_per_year", "one_year_kwh"), ("cost_per_kwh", "cost_per_kwh"),
            ("net_present_value", "net_present_value"),
        ):  # fmt: skip
            assert float(row[f"{key}_range_low"]) == sure[figure]["low"]
            assert float(row[f"{key}_range_high"]) == sure[figure]["high"]
        chance = float(row["probability_that_it_pays"])
        assert chance == sure["chance_paid_back_with_interest"]
    # Some cases are never paid back: a blank, not a number.
    assert table(out)[1]["payback_years_range_high"] == ""


def test_csv_without_draws_has_the_same_columns(run, tmp_path):
    with_draws, without = tmp_path / "a.csv", tmp_path / "b.csv"
    run("estimate", HILL, QUAY, "--draws", 512, "-o", with_draws)
    run("estimate", HILL, QUAY, "--draws", 0, "-o", without)
    first, second = table(with_draws), table(without)
    assert list(first[0]) == list(second[0])
    assert second[0]["cost_per_kwh_range_low"] == ""
    assert [row["plan"] for row in second] == 2 * ["hill-yard"] + 2 * ["fishing-quay"]


def test_xlsx_holds_what_csv_holds_and_no_formula(run, tmp_path, yard):
    openpyxl = pytest.importorskip("openpyxl")
    book, text = tmp_path / "results.xlsx", tmp_path / "results.csv"
    name = "build.0.name==1+1"
    assert run("estimate", yard, "--draws", 512, "-o", book, "--set", name).code == 0
    assert run("estimate", yard, "--draws", 512, "-o", text, "--set", name).code == 0
    heads, *rows = openpyxl.load_workbook(book).active.iter_rows()
    assert rows[0][0].value == "'=1+1" and rows[0][0].data_type == "s"
    for row, line in zip(rows, table(text), strict=True):
        for head, cell in zip(heads, row, strict=True):
            written = line[head.value]
            if isinstance(cell.value, int | float):
                assert cell.value == approx(float(written), rel=1e-14)
            else:
                assert (cell.value or "") == written


def test_a_table_is_written_as_csv_or_xlsx(run, tmp_path, yard, monkeypatch):
    refused = run("estimate", yard, "--draws", 0, "-o", tmp_path / "results.ods")
    assert refused.code == 2 and "written as .csv or .xlsx" in refused.err
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    absent = run("estimate", yard, "--draws", 0, "-o", tmp_path / "results.xlsx")
    assert absent.code == 2
    assert "pip install 'yieldest[spreadsheets]'" in absent.err
    assert not (tmp_path / "results.xlsx").exists()


def test_a_sweep_writes_a_spreadsheet_too(run, tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    out = tmp_path / "sweep.xlsx"
    sweep = "economics.price_per_kwh=0.1:0.3:3"
    assert run("estimate", HILL, "--sweep", sweep, "-o", out, "-q").out == ""
    heads, *rows = openpyxl.load_workbook(out).active.iter_rows(values_only=True)
    assert len(rows) == 6 and heads[0] == "economics.price_per_kwh" and "currency" in heads


def test_quiet_says_the_verdict_alone(run):
    verdict = run("estimate", HILL, "--draws", 512, "--json").json["verdict"]
    quiet = run("estimate", HILL, "--draws", 512, "--quiet")
    assert quiet.out == " ".join(verdict) + "\n"
    both = run("estimate", HILL, QUAY, "--draws", 0, "-q").out
    assert both.startswith("“one of 2.4 m” of hill-yard has the highest") and both.count("\n") == 1


# Completion in the shell


def completed(words):
    code = "import sys; sys.argv = ['yieldest']; from yieldest.cli.app import main; main()"
    asked = {"_YIELDEST_COMPLETE": "complete_bash", "COMP_WORDS": words,
             "COMP_CWORD": str(len(words.split()) - 1)}  # fmt: skip
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                          env={**os.environ, **asked}, check=False)  # fmt: skip
    return done.stdout.split()


def test_the_shell_completes_commands_and_options():
    assert completed("yieldest est") == ["estimate"]
    assert completed("yieldest estimate --dra") == ["--draws"]


def test_completion_can_be_installed_and_shown(run, tmp_path, monkeypatch):
    """Whichever shell the tests were started from, or none."""
    monkeypatch.setattr("shellingham.detect_shell", lambda: ("bash", "/bin/bash"))
    monkeypatch.setattr(sys.modules["__main__"], "__package__", None)  # not that of `python -m`
    monkeypatch.setenv("HOME", str(tmp_path))
    assert "--install-completion" in run("--help").out
    assert "complete" in run("--show-completion").out
    assert run("--install-completion").code == 0
    (written,) = (tmp_path / ".bash_completions").iterdir()
    assert "_YIELDEST_COMPLETE" in written.read_text()
    assert str(written) in (tmp_path / ".bashrc").read_text()
