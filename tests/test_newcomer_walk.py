"""What a maker met who walked from the README to a plan of one's own."""

import re

import pandas as pd
import pytest

from yieldest.arrays import plainly
from yieldest.files.table import numbers_in


def test_cells_become_numbers_that_may_be_written_over():
    cells = pd.Series([1.0, 2.0])
    values = numbers_in(cells)
    values[0] = 9.0
    assert cells[0] == 1.0


@pytest.mark.parametrize(
    ("value", "text"),
    [(1828.4, "1,830"), (28.06, "28.1"), (80.0, "80"), (123456.0, "123,000"), (0.0, "0")],
)
def test_no_power_of_ten_is_shown_to_people(value, text):
    assert plainly(value) == text


@pytest.fixture
def site(tmp_path):
    """Return a plan folder of three lines of wind, a curve that ends early, and a bill."""
    (tmp_path / "curve.csv").write_text("speed (m/s),power (W)\n3,0\n8,1400\n12,3100\n")
    (tmp_path / "bill.csv").write_text(
        "item,quantity,unit price,how counted,lasts (years)\nmachine,1,11750,per site,9\n"
    )
    (tmp_path / "plan.toml").write_text("""
title = "Invented hall"
currency = "GBP"
[site]
elevation_m = 140
terrain = "hedged"
[wind]
mean_speed_ms = 6.0
measured_height_m = 15
[[build]]
name = "one big"
hub_height_m = 15
curve = "curve.csv"
rotor_diameter_m = 3.7
bill = "bill.csv"
[economics]
discount_rate = 0.035
life_years = 20
price_per_kwh = 0.2
loan = { share = 0.5, interest_rate = 0.06, years = 5 }
[uncertainty]
draws = 0
""")
    return tmp_path


def test_columns_of_a_bill_that_are_passed_over_are_named(run, site):
    told = "bill.csv: columns not used: 'how counted', 'lasts (years)'; "
    checked = run("check", site, "--json")
    assert any(text.startswith(told) for text in checked.json["warnings"])
    assert "bill.csv: 1 item" in checked.json["found"][-1]
    bill = site / "bill.csv"
    bill.write_text(bill.read_text().replace("how counted", "scope").replace("lasts", "life"))
    assert not any("not used" in text for text in run("check", site, "--json").json["warnings"])


def write_wind(site, stamp):
    """Write 600 invented hours of wind at two heights, and name the file in the plan."""
    times = pd.date_range("2024-01-01", periods=600, freq="h").strftime(stamp)
    rows = [f"{t};{4 + i % 7}.2;{3.4 + i % 7:.1f};hill;{i % 9}" for i, t in enumerate(times)]
    heading = "time;speed 10 m (m/s);speed 5 m (m/s);station;battery"
    (site / "wind.csv").write_text("\n".join([heading, *rows]) + "\n", encoding="utf-8")
    plan = site / "plan.toml"
    stated = plan.read_text().replace("mean_speed_ms = 6.0", 'record = "wind.csv"')
    plan.write_text(stated.replace("measured_height_m = 15", "measured_height_m = 10"))


def test_columns_that_a_plan_names_are_not_said_to_be_unused(run, site):
    write_wind(site, "%d.%m.%Y %H:%M")
    plan = site / "plan.toml"
    named = """where = { station = "hill" }
other_heights = [{ column = "speed 5 m (m/s)", height_m = 5 }]
[[build]]"""
    stated = plan.read_text().replace('terrain = "hedged"', "")
    plan.write_text(stated.replace("[[build]]", named))
    told = run("check", site).out
    assert "- columns not used: battery (not recognised, or not needed)\n" in told
    assert "- column of other_heights: speed 5 m (m/s) (stated)\n" in told
    assert "- rows: station is hill (stated)\n" in told
    assert "measured at 10, 5 m" in run("estimate", site, "--full").out


@pytest.mark.parametrize(
    ("stamp", "words"),
    [
        ("%d.%m.%Y %H:%M", "day.month.year hour:minute"),
        ("%m/%d/%y %I:%M:%S %p", "month/day/year hour:minute:second am/pm"),
        ("%d-%b-%Y %H:%M+01:00", "day-month-year hour:minute offset"),
    ],
)
def test_check_says_how_times_are_written_as_wind_does(run, site, stamp, words):
    write_wind(site, stamp)
    assert f"- time: {words} (recognised)\n" in run("check", site).out
    shown = run("wind", site / "wind.csv", "--height", 10, "--full").out
    assert re.search(rf"^time +{re.escape(words)} +recognised$", shown, re.MULTILINE)


def test_headings_stand_as_in_the_file_whatever_the_units(run, site):
    write_wind(site, "%Y-%m-%d %H:%M")
    shown = run("check", site, "--units", "imperial").out
    assert "- column of speed: speed 10 m (m/s) (recognised)\n" in shown
    assert "- height: 32.8 ft (nearest of 2" in shown


def test_hours_above_the_end_of_a_curve_are_warned_of_when_they_matter(run, site):
    told = "state its cut_out_ms"
    short = run("estimate", site, "--json").json["warnings"]
    (warning,) = [text for text in short if told in text]
    assert "it blows above 12 m/s" in warning
    longer = run("estimate", site, "--json", "--set", "build.0.cut_out_ms=25").json
    assert not any(told in text for text in longer["warnings"])


def test_two_bills_that_would_read_the_same_get_a_digit_more(run, site):
    for price in range(11000, 20000, 250):
        bill = f"item,quantity,unit price\nmachine,1,{price}\n"
        (site / "bill.csv").write_text(bill)
        pointers = run("estimate", site, "--draws", "0", "--json").json["pointers"]
        (text,) = [each["text"] for each in pointers if each["about"] == "Break-even"]
        needed, present = re.search(r"a bill of (\S+) \(now ([^)]+)\)", text).groups()
        assert needed != present


def test_a_key_is_counted_from_0_as_set_counts_it(run, site):
    refused = run("estimate", site, "--set", "build.0.cuont=2")
    assert refused.code == 2
    assert "unknown key 'build.0.cuont'; did you mean 'count'?" in refused.err


def test_a_sweep_of_the_loan_says_that_the_table_is_without_it(run, site):
    told = "These figures are without the loan"
    assert told in run("estimate", site, "--sweep", "economics.loan.years=3:9:2").out
    assert told not in run("estimate", site, "--sweep", "economics.life_years=9:15:2").out


def test_readings_take_the_order_of_dates_that_the_refusal_names(run, tmp_path):
    readings = tmp_path / "readings.csv"
    lines = [f"{11 + m // 20}/2/2025 10:{m:02},{4 + m % 9},{10 * (m % 9)}" for m in range(40)]
    readings.write_text("\n".join(["time,wind (m/s),power (W)", *lines]))
    refused = run("curve", readings)
    assert refused.code == 2
    assert "--date-order" in refused.err
    assert run("curve", readings, "--date-order", "month first").code == 0


def test_a_clock_put_back_in_autumn_is_told_how_to_mend(run, tmp_path):
    hours = pd.date_range("2025-10-25", "2025-10-29", freq="h", tz="UTC")
    local = hours.tz_convert("Europe/Vienna").strftime("%Y-%m-%d %H:%M")
    logger = tmp_path / "logger.csv"
    rows = [f"{stamp},{3 + i % 7}.{i % 9}" for i, stamp in enumerate(local)]
    logger.write_text("\n".join(["time,wind (m/s)", *rows]))
    assert "--time-zone" in run("wind", logger).out
    assert "repeat a time" not in run("wind", logger, "--time-zone", "Europe/Vienna").out
