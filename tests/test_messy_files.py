"""Wind files as cheap loggers and public stations write them; all of them are invented here."""

import gzip
import io
import re
import zipfile
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from winds import cut_into_blocks

from yieldest.errors import InputError
from yieldest.files import dialect
from yieldest.files.dialect import LinesBelowData
from yieldest.model.site_wind import read_plan_record, read_reference
from yieldest.plan import load_plan
from yieldest.wind.data_recovery import SparseReadings
from yieldest.wind.read_wind import (
    MisdatedReadings,
    ReadingsAhead,
    ReadingsLongAgo,
    RepeatedTimes,
    read_wind,
)
from yieldest.wind.record_rows import ReadingsAtOneTime

HEADING = "time,wind speed (m/s)"
TIMES = np.datetime64("2025-03-20T00:00") + np.arange(48) * np.timedelta64(1, "h")
SPEEDS = np.round(6 * np.random.default_rng(1).weibull(2, TIMES.size), 1)
LINES = [
    f"{str(t).replace('T', ' ')},{v}" for t, v in zip(TIMES, SPEEDS, strict=True)
]  # a reading every hour for two days


@pytest.fixture
def read(tmp_path):
    """Read lines as a record."""

    def read_lines(*lines, name="wind.csv", end="\n", **stated):
        path = tmp_path / name
        path.write_bytes(("\n".join(lines) + end).encode())
        return read_wind(path, **stated)

    return read_lines


@pytest.fixture
def refused(read):
    """Return the sentence with which lines are refused."""

    def refuse(*lines, **stated):
        with pytest.raises(InputError) as error:
            read(*lines, **stated)
        message = str(error.value)
        assert "\n" not in message
        assert "wind.csv" in message
        return message

    return refuse


def found(record):
    return {part.what: part.found for part in record.found}


def told(record, kind):
    return [one for one in record.provenance.warnings if isinstance(one, kind)]


# Lines below the data


@pytest.mark.parametrize(
    ("footer", "where"),
    [
        (["End of file"], "line 50"),
        (["Total,281.3"], "line 50"),
        (["Average,,5.2"], "line 50"),
        (["", "Min,0.1", "Max,14.2", "Mean,5.9"], "lines 51 to 53"),
        (["Battery low in March, see the log book, page 3"], "line 50"),
        (["-----", "Count: 48"], "lines 50 to 51"),
        ([",281.3"], "line 50"),
        (["", "month,mean,highest", "1,5.0,12", "2,6.1,14"], "lines 51 to 53"),
        (["note"] * 600, "lines 50 to 649"),
    ],
)
def test_lines_below_the_data_are_set_aside_and_told_of(read, footer, where):
    record = read(HEADING, *LINES, *footer)
    np.testing.assert_array_equal(record.speed_ms, SPEEDS)
    (below,) = told(record, LinesBelowData)
    numbers = {below.first_line, below.last_line}
    assert numbers == {int(number) for number in re.findall(r"\d+", where)}
    assert below.shown == next(filter(None, footer))
    assert not below.cut


@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-32-be"])
@pytest.mark.parametrize("tail", [300, 301, 302, 303, 900])
def test_only_the_end_of_a_long_file_is_looked_at_for_lines_below(
    tmp_path, monkeypatch, line_end, encoding, tail
):
    monkeypatch.setattr(dialect, "TAIL_CHARACTERS", tail)
    path = tmp_path / "wind.csv"
    # Letters of two and three bytes on every line, so that a tail begins inside one.
    notes = ["Mast am Südhang, 40 €"] * 3
    lines = [f"{HEADING},remark", *(f"{line},öö€€€€€€" for line in LINES), "", *notes]
    path.write_bytes("".join(line + line_end for line in lines).encode(encoding))
    record = read_wind(path, encoding=encoding)
    np.testing.assert_array_equal(record.speed_ms, SPEEDS)
    (below,) = told(record, LinesBelowData)
    assert (below.first_line, below.last_line, below.shown) == (51, 53, notes[0])


def test_rows_of_bare_delimiters_below_the_data_are_nothing(read):
    record = read(HEADING, *LINES, *[","] * 2000)
    np.testing.assert_array_equal(record.speed_ms, SPEEDS)
    assert not told(record, LinesBelowData)


def test_a_last_line_without_its_end_is_told_of(read):
    record = read(HEADING, *LINES, "2025-03-22 0", end="")
    assert record.time.size == 48
    (below,) = told(record, LinesBelowData)
    assert (below.first_line, below.shown, below.cut) == (50, "2025-03-22 0", True)
    record = read(HEADING, *LINES, "End of file", end="")
    (below,) = told(record, LinesBelowData)
    assert (below.first_line, below.shown, below.cut) == (50, "End of file", False)


@pytest.mark.parametrize(
    ("below", "named"),
    [
        (["2025-03-22 00:00"], "line 50: 1 cell"),
        (["2025-03-22 00:00,5,7"], "line 50: 3 cell"),
        (["2025-13-45 00:00,5"], "line 50: '2025-13-45 00:00'"),
        (["2025-03-22 00:00,n5"], "line 50: 'n5'"),
        (["-,5.5"], "line 50: '-'"),
        (["note", "2025-03-22 00:00,5"], "line 50: 1 cell"),
    ],
)
def test_what_may_be_a_reading_is_never_a_footer(refused, below, named):
    assert named in refused(HEADING, *LINES, *below)


def test_a_ragged_line_among_the_data_stays_an_error(refused):
    assert "line 30: 1 cell" in refused(HEADING, *LINES[:28], "power cut", *LINES[28:])


def test_a_short_first_line_is_named_whatever_the_last_line_holds(refused):
    message = refused("time,speed (m/s)", "0", ",", "0000,2000-01-01 00:00:00")
    assert "line 2: 1 cell where the heading has 2" in message


@pytest.mark.parametrize("blank", [" ", "\t", "\x1f", "\f", "\u00a0", "\u2003"])
def test_lines_of_white_space_are_no_data_wherever_they_stand(read, refused, blank):
    lines = [LINES[0], blank, *LINES[1:], blank]
    np.testing.assert_array_equal(read(HEADING, *lines).speed_ms, SPEEDS)
    assert "line 52: 'n5'" in refused(HEADING, *lines, "2025-03-22 00:00,n5")


@pytest.mark.parametrize("line", [0, 24, 47])
@pytest.mark.parametrize("spaced", [" {},{}", "{}, {}", '{}, "{}"'])
def test_blanks_before_the_cells_of_one_line_are_no_part_of_them(read, line, spaced):
    lines = list(LINES)
    lines[line] = spaced.format(*lines[line].split(","))
    np.testing.assert_array_equal(read(HEADING, *lines).speed_ms, SPEEDS)
    lines[line] = lines[line].split(",")[0] + ",  "
    assert np.isnan(read(HEADING, *lines).speed_ms).nonzero()[0].tolist() == [line]


def test_a_footer_may_lie_in_another_block(tmp_path, monkeypatch):
    cut_into_blocks(monkeypatch, 10)
    test_record = tmp_path / "wind.csv"
    test_record.write_text("\n".join([HEADING, *LINES, "End", "of file"]))
    assert read_wind(test_record).time.size == 48


def test_footers_of_records_without_dates(read):
    stated = {"start": "2025-01-01", "interval_s": 3600}
    record = read("speed (m/s),volts", "5,12", "6,11", "calm,11", "Mean,11.3", "End", **stated)
    assert record.speed_ms.tolist() == [5, 6, 0]
    parts = read("year,month,day,hour,speed (m/s)", "2025,1,1,0,5", "2025,1,1,1,6", "mean,,,,5.5")
    assert parts.speed_ms.tolist() == [5, 6]


def test_a_total_below_a_frequency_table_or_monthly_means(run, tmp_path):
    table = tmp_path / "table.csv"
    classes = "speed (m/s),hours\n1,1000\n3,3000\n5,3000\n7,1000\n"
    table.write_text(classes + "Total,8000\n")
    content = run("wind", table, "--table", "--json").json
    assert content["hours"] == 8000
    assert any("line 6" in text and "Total" in text for text in content["warnings"])
    table.write_text(classes + "> 8,500\n")
    ran = run("wind", table, "--table")
    assert ran.code == 2
    assert "line 6: '> 8'" in ran.err
    months = tmp_path / "months.csv"
    names = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
    months.write_text("month,speed (m/s)\n" + "".join(f"{n},5\n" for n in names) + "Year,5\n")
    assert any("line 14" in t for t in run("wind", months, "--months", "--json").json["warnings"])


def test_a_note_below_readings_of_a_machine(run, tmp_path):
    path = tmp_path / "readings.csv"
    lines = [f"{v},{v**3:g}" for v in np.arange(2, 12, 0.05)]
    path.write_text("wind (m/s),watts\n" + "\n".join(lines) + "\nend of test\n")
    ran = run("curve", path, "--json")
    assert ran.code == 0
    assert "'end of test' holds no reading" in ran.out


# Several stations in one file

STATIONS = ["station,time,wind speed (m/s)", *(f"HILL,{line}" for line in LINES),
            *(f"BAY,{t},{2 * v:.1f}" for t, v in zip(TIMES, SPEEDS, strict=True))]  # fmt: skip


def test_one_of_several_stations_is_picked(read):
    record = read(*STATIONS, where={"station": ["BAY"]})
    assert record.speed_ms == pytest.approx(2 * SPEEDS)
    assert found(record)["rows"] == "station is BAY"
    shuffled = np.random.default_rng(2).permutation(STATIONS[1:])
    other = read(STATIONS[0], *shuffled, where={"station": ["HILL"]})
    np.testing.assert_array_equal(other.speed_ms, SPEEDS)


def test_rows_are_picked_by_their_times_as_they_are_written(read, refused):
    lines = [HEADING, *LINES]
    record = read(*lines, where={"time": ["2025-03-20 05:00", "2025-03-20 07:00"]})
    np.testing.assert_array_equal(record.time, TIMES[[5, 7]])
    np.testing.assert_array_equal(record.speed_ms, SPEEDS[[5, 7]])
    for other in ("2025", "2025-03-20 05:00:00"):
        assert (
            f"no row has '{other}' in column 'time', which holds '2025-03-20 00:00', "
            "'2025-03-20 01:00'"
        ) in refused(*lines, where={"time": [other]})


def test_several_stations_are_never_mixed(refused):
    message = refused(*STATIONS)
    assert "'station' holds several stations ('HILL', 'BAY')" in message
    assert "where = { 'station' = 'HILL' }" in message
    assert '--where "station=HILL"' in message
    # Nor where their times differ, and nothing repeats.
    assert "several stations" in refused(*STATIONS[:20], *STATIONS[-20:])
    assert "no row has 'SEA' in column 'station', which holds 'HILL', 'BAY'" in refused(
        *STATIONS, where={"station": ["SEA"]}
    )
    assert "no row has 'SEA'" in refused(*STATIONS, where={"station": ["BAY", "SEA"]})
    both = {"station": ["HILL"], "sensor": ["b"]}
    rows_of_two = ["station,sensor," + HEADING, "HILL,a,2025-01-01,5", "BAY,b,2025-01-01,6"]
    assert "no row has what is stated for station and sensor" in refused(*rows_of_two, where=both)
    assert "there is no column 'place'" in refused(*STATIONS, where={"place": ["HILL"]})


def test_a_renamed_station_may_be_kept_whole(read):
    lines = ["site,time,wind speed (m/s)", *(f"A,{line}" for line in LINES[:20]),
             *(f"B,{line}" for line in LINES[20:])]  # fmt: skip
    np.testing.assert_array_equal(read(*lines, where={"site": ["A", "B"]}).speed_ms, SPEEDS)


def test_a_column_that_seems_to_hold_stations_is_named(refused):
    lines = ["ort,quality," + HEADING, *(f"Berg,{n % 3},{x}" for n, x in enumerate(LINES)),
             *(f"Tal,{n % 5},{t},{2 * v}" for n, (t, v) in
               enumerate(zip(TIMES, SPEEDS, strict=True)))]  # fmt: skip
    message = refused(*lines)
    assert "of 96 rows have the time of another and another speed" in message
    assert "column 'ort' seems to hold stations ('Berg', 'Tal')" in message


def test_a_wrong_value_is_named_by_its_line_whatever_was_picked(tmp_path, monkeypatch):
    path = tmp_path / "wind.csv"
    lines = [*STATIONS]
    lines[90] = lines[90].rpartition(",")[0] + ",-7"
    path.write_text("\n".join(lines))
    for block in (7, 1000):
        cut_into_blocks(monkeypatch, block)
        with pytest.raises(InputError, match="line 91: -7"):
            read_wind(path, where={"station": ["BAY"]})
        assert read_wind(path, where={"station": ["HILL"]}).time.size == 48


def test_the_command_picks_a_station(run, tmp_path):
    path = tmp_path / "wind.csv"
    path.write_text("\n".join(STATIONS))
    content = run("wind", path, "--where", "station=BAY", "--json").json
    assert {"what": "rows", "found": "station is BAY", "how": "stated"} in content["record"][
        "found"
    ]
    alone = tmp_path / "bay.csv"
    alone.write_text("\n".join([STATIONS[0], *STATIONS[49:]]))
    assert content["mean_speed_ms"] == run("wind", alone, "--json").json["mean_speed_ms"]
    ran = run("wind", path, "--where", "station")
    assert ran.code == 2
    assert "--where is 'station', but HEADING=CELL was expected" in ran.err


# Times that cannot be


def test_a_clock_without_am_and_pm_is_noticed(read, refused):
    clocks = [f"{t.astype(object):%Y-%m-%d %I:%M},{v}" for t, v in zip(TIMES, SPEEDS, strict=True)]
    assert "a clock that lost its AM and PM" in refused(HEADING, *clocks)
    halves = [f"{t.astype(object):%d.%m.%Y,%I:%M,%p},{v}"
              for t, v in zip(TIMES, SPEEDS, strict=True)]  # fmt: skip
    record = read("date,time,AM/PM,speed (m/s)", *halves)
    np.testing.assert_array_equal(record.time, TIMES)
    parts = [f"{t.astype(object):%Y,%m,%d,%I,%p},{v}" for t, v in zip(TIMES, SPEEDS, strict=True)]
    record = read("year,month,day,hour,ampm,speed (m/s)", *parts)
    np.testing.assert_array_equal(record.time, TIMES)


def test_many_speeds_at_one_time_are_refused_and_few_are_told(read, refused):
    again = [line.rpartition(",")[0] + ",9.95" for line in LINES]
    message = refused(HEADING, *LINES, *again)
    assert "48 of 96 rows have the time of another and another speed" in message
    assert "average_s = 60" in message
    record = read(HEADING, *LINES, *again[:2], *LINES[5:10])
    np.testing.assert_array_equal(record.speed_ms, SPEEDS)
    (repeated,) = told(record, RepeatedTimes)
    assert (repeated.lines, repeated.with_another_speed) == (7, 2)
    averaged = read(HEADING, *LINES, *again, average_s=3600)
    assert averaged.speed_ms == pytest.approx((SPEEDS + 9.95) / 2)
    assert [one.readings for one in told(averaged, ReadingsAtOneTime)] == [48]


def test_of_two_rows_at_one_time_the_one_with_a_speed_counts(read):
    record = read(HEADING, *(line.rpartition(",")[0] + "," for line in LINES[:9]), *LINES)
    np.testing.assert_array_equal(record.speed_ms, SPEEDS)


@pytest.mark.parametrize("zero", ["1970-01-01", "1980-01-06", "2000-01-01"])
def test_readings_of_a_clock_that_started_anew_are_left_out_and_told(read, zero):
    misdated = [f"{zero} {hour:02d}:00,5.5" for hour in range(4)]
    record = read(HEADING, *LINES[:20], *misdated, *LINES[20:])
    np.testing.assert_array_equal(record.time, TIMES)
    assert record.data_recovery.share == 1
    (gone,) = told(record, MisdatedReadings)
    assert gone.readings == 4
    assert (gone.first, gone.last) == (np.datetime64(zero), np.datetime64(f"{zero}T03:00"))


def test_an_old_record_is_no_restarted_clock(read):
    old = np.datetime64("1970-01-01T00:00") + np.arange(48) * np.timedelta64(1, "h")
    lines = [f"{t},{v}" for t, v in zip(old, SPEEDS, strict=True)]
    assert read(HEADING, *lines).time[0] == old[0]
    both = read(HEADING, *lines, *LINES)
    assert both.time.size == 96


def test_readings_still_to_come_are_told(read):
    record = read(HEADING, *LINES, f"{date.today().year + 3}-01-01 00:00,5")
    assert [one.readings for one in told(record, ReadingsAhead)] == [1]


def test_a_reference_in_years_to_come_and_a_record_of_long_ago_are_doubted(run, yard, edit, read):
    old = [f"{str(t).replace('2025', '1800').replace('T', ' ')},5" for t in TIMES]
    assert [one.first for one in told(read(HEADING, *old), ReadingsLongAgo)] == ["1800-03-20"]
    rows = [f"{line}" for line in (yard / "wind.csv").read_text().splitlines()]
    to_come = [f"{int(row[:4]) + 30}{row[4:]}" for row in rows if row[:4].isdigit()]
    (yard / "ahead.csv").write_text("\n".join([HEADING, *rows[-len(to_come) :], *to_come]))
    edit(yard / "plan.toml", "[site]", '[wind.reference]\nrecord = "ahead.csv"\n\n[site]')
    assert "dated after today: 336" in run("estimate", yard, "--draws", 0, "--full").out


def test_the_day_numbers_of_a_spreadsheet(read):
    """36526 is 2000-01-01 in spreadsheets (a fixed point that many of their handbooks give)."""
    record = read(HEADING, "36526,5", "36526.5,6", "36526.51041667,7")
    assert record.time.astype("datetime64[s]").astype(str).tolist() == [
        "2000-01-01T00:00:00", "2000-01-01T12:00:00", "2000-01-01T12:15:00"
    ]  # fmt: skip
    assert "spreadsheet" in found(record)["time"]
    # The same by Python's own count of days.
    later = read(HEADING, "45736,5", "45737,5")
    assert later.time[0] == np.datetime64(date.fromordinal(date(1899, 12, 30).toordinal() + 45736))


@pytest.mark.parametrize(
    ("stamp", "why"),
    [
        ("00:10", "is a clock time without a date"),
        ("600", "if it counts from the start of the record, state start and interval_s"),
        ("2025-03-20 00:00 CET", "state time_zone"),
        ("2025-03-20 13:00-13:59", "is not a time"),
        ("2025-03-20 13:00 - 14:00", "is not a time"),
        ("1.7424288e+09", "is not a time"),
    ],
)
def test_what_is_no_time_says_what_it_lacks(refused, stamp, why):
    message = refused(HEADING, f"{stamp},5", f"{stamp},6")
    assert f"line 2: '{stamp}'" in message
    assert why in message


@pytest.mark.parametrize(
    ("stamp", "stated", "expected"),
    [
        ("03/20/2025 1:50PM", {}, "2025-03-20T13:50"),
        ("03/20/2025 01:50 p.m.", {}, "2025-03-20T13:50"),
        ("20.03.2025 13:50 GMT", {}, "2025-03-20T13:50"),
        ("2025-03-20 13:50 CET", {"time_zone": "Europe/Berlin"}, "2025-03-20T12:50"),
    ],
)
def test_clocks_as_people_write_them(read, stamp, stated, expected):
    record = read(HEADING, f"{stamp},5", **stated)
    assert record.time[0] == np.datetime64(expected)


def test_a_heading_may_say_that_times_are_utc(read):
    assert found(read("time (UTC),speed (m/s)", *LINES))["time zone"] == "UTC"
    assert found(read(HEADING, *LINES))["time zone"] == "as in the file"


# Values


@pytest.mark.parametrize(
    ("heading", "cell", "expected"),
    [
        ("temp (C)", "\u22126,5", -6.5),
        ("temp (C)", "\u20136,5", -6.5),
        ("pressure (hPa)", "1.013,2", 1013.2),
        ("pressure (hPa)", "1\u00a0013,2", 1013.2),
        ("pressure (hPa)", "1'013,2", 1013.2),
        ("direction", "NNW", 337.5),
        ("direction", "e", 90.0),
        ("direction", "South", 180.0),
        ("direction", "VRB", np.nan),
        ("direction", "calm", np.nan),
        ("direction", "990", np.nan),
    ],
)
def test_values_as_people_write_them(read, heading, cell, expected):
    record = read(f"time;speed (m/s);{heading}", f"2025-01-01;5,5;{cell}", "2025-01-02;6,5;")
    values = {"t": record.temperature_c, "p": record.pressure_hpa, "d": record.direction_deg}
    assert values[heading[0]][0] == pytest.approx(expected, nan_ok=True)
    assert record.speed_ms.tolist() == [5.5, 6.5]


@pytest.mark.parametrize("cell", ["O", "1.01.3,2", "10.13,2", "1.0132,5", "5.5", "-", "x5"])
def test_what_is_no_value_is_refused_or_missing(read, cell):
    lines = ("time;speed (m/s);direction", f"2025-01-01;5,5;{cell}", "2025-01-02;6,5;")
    if cell == "-":
        assert np.isnan(read(*lines).direction_deg[0])
        return
    with pytest.raises(InputError, match=r"line 2: .* is not a number|has a decimal point"):
        read(*lines)


def test_calm_is_no_wind_and_is_told(read):
    record = read(HEADING, "2025-01-01,calm", "2025-01-02,Calm", "2025-01-03,5", "2025-01-04,///")
    assert record.speed_ms == pytest.approx([0, 0, 5, np.nan], nan_ok=True)
    assert found(record)["words for speed"] == "Calm (1 times), calm (1 times)"
    assert found(record)["missing speed"] == "/// (1 times)"
    stated = read(HEADING, "2025-01-01,calm", "2025-01-02,5", missing=("calm",))
    assert np.isnan(stated.speed_ms[0])


def test_beaufort_in_words(read):
    """The names of the numbers: World Meteorological Organization, WMO-No. 306, section E."""
    record = read("time,wind (Bft)", "2025-01-01,calm", "2025-01-02,Gentle breeze",
                  "2025-01-03,hurricane", "2025-01-04,4")  # fmt: skip
    assert record.speed_ms == pytest.approx(0.836 * np.array([0, 3, 12, 4]) ** 1.5)
    with pytest.raises(InputError, match=r"'breezy' .* is not a number"):
        read("time,wind (Bft)", "2025-01-01,breezy")


def test_decimal_commas_in_quotes(read, refused):
    record = read(HEADING, '2025-01-01,"5,25"', '2025-01-02,"6,5"')
    assert record.speed_ms.tolist() == [5.25, 6.5]
    record = read(HEADING + ",pressure (hPa)", '2025-01-01,5.5,"1,013"', '2025-01-02,6.5,"1,002.5"')
    assert record.pressure_hpa.tolist() == [1013, 1002.5]
    message = refused(HEADING, '2025-01-01,"5,125"', '2025-01-02,"6,500"')
    assert "'5,125' may be a number of thousands or of thousandths" in message
    stated = read(HEADING, '2025-01-01,"5,125"', '2025-01-02,"6,500"', decimal=",")
    assert stated.speed_ms.tolist() == [5.125, 6.5]


# Headings


def test_a_statistic_below_the_heading_tells_mean_from_gust(read, refused):
    lines = ("TIMESTAMP,WS_ms,WS_ms", "TS,m/s,m/s")
    record = read(*lines, ",Max,Avg", "2025-01-01 00:00,9,5", "2025-01-01 01:00,8,4")
    assert record.speed_ms.tolist() == [5, 4]
    assert record.gust_ms.tolist() == [9, 8]
    message = refused("TIMESTAMP,WS_ms", "TS,m/s", ",Max", "2025-01-01 00:00,9",
                      "2025-01-01 01:00,8")  # fmt: skip
    assert "'WS_ms' holds gusts, not means" in message


@pytest.mark.parametrize(
    "heading",
    ["Wind speed 10 min avg (m/s)", "Hourly wind speed (m/s)", "wind speed in m/s", "FF (m/s)",
     "WS50M (m/s)", "wind speed (m\u00b7s\u207b\u00b9)", "Wind\u00a0speed (m s\u22121)",
     "SPD (m/s)"],
)  # fmt: skip
def test_more_headings_are_recognised(read, heading):
    assert read(f"time,{heading}", "2025-01-01,5").speed_ms.tolist() == [5]


def test_a_unit_may_stand_behind_several_words(read):
    heading = "time,Wind Speed mph,Air Temperature C,Air Pressure hPa,Wind Direction deg"
    record = read(heading, "2025-01-01,10,7,1013,270")
    assert record.speed_ms.tolist() == [4.4704]
    values = (record.temperature_c, record.pressure_hpa, record.direction_deg)
    assert [each.tolist() for each in values] == [[7], [1013], [270]]


def test_a_heading_that_comes_again_is_no_data(read):
    lines = ["time,speed", "-,m/s", *LINES[:20], "time,speed", "-,m/s", *LINES[20:]]
    record = read(*lines)
    np.testing.assert_array_equal(record.speed_ms, SPEEDS)
    with pytest.raises(InputError, match=r"line 46: -1"):
        read(*lines[:45], "2025-03-22 00:00,-1", *lines[45:])


@pytest.mark.parametrize("stamps", ["seconds", "day numbers"])
def test_a_heading_that_comes_again_among_bare_numbers_loses_nothing(read, refused, stamps):
    whole = np.arange(420) * 600 + 1_735_689_600 if stamps == "seconds" else np.arange(420) + 45_000
    rows = [f"{t};{5 + t % 7}" for t in whole.tolist()]
    head = ["time;speed (m/s)"]
    for top in (head, ["My mast;Hill", "Height;10", *head]):
        assert read(*top, *rows[:200], *head, *rows[200:]).time.size == 420
    assert "line 11: 'V (km/h)' in column" in refused(*head, *rows[:9], "Time;V (km/h)", *rows[9:])


def test_only_the_heading_may_end_in_a_delimiter(read):
    np.testing.assert_array_equal(read(HEADING + ",", *LINES).speed_ms, SPEEDS)


@pytest.mark.parametrize(
    ("lines", "named"),
    [
        (["time,speed (m/s)", *(f"2025-01-0{n},5,5" for n in range(1, 5))], "decimal commas"),
        (["time     wind speed", *(f"2025-01-0{n} 5" for n in range(1, 5))], "a space in it"),
        (["2025-01-01,5", "2025-01-02,6"], "no heading line was found"),
    ],
)
def test_a_heading_that_does_not_fit_says_what_to_do(refused, lines, named):
    message = refused(*lines)
    assert named in message
    assert "--headings A,B,C" in message


def test_headings_can_be_stated_for_times_with_a_space(read):
    lines = ["time     speed", *(f"2025-01-0{n} 12:00   5.5" for n in range(1, 5))]
    record = read(*lines, headings=("date", "time", "speed"), skip_lines=1, units="m/s")
    assert record.time[0] == np.datetime64("2025-01-01T12:00")


def test_files_of_one_record_must_agree_on_the_height(tmp_path):
    (tmp_path / "1.csv").write_text("time,WS_10m (m/s)\n2025-01-01,5\n")
    (tmp_path / "2.csv").write_text("time,WS_40m (m/s)\n2025-01-02,5\n")
    with pytest.raises(InputError, match=r"2\.csv.*'WS_40m.*1\.csv.*'WS_10m.*same height"):
        read_wind(tmp_path)


def test_a_column_of_an_unknown_role_is_refused(run, tmp_path):
    path = tmp_path / "wind.csv"
    path.write_text("\n".join([HEADING, *LINES]))
    ran = run("wind", path, "--column", "spede=wind speed (m/s)")
    assert ran.code == 2
    assert "--column: 'spede' is none of time, date" in ran.err


# Files that are no text


def zipped(**members):
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        for name, text in members.items():
            archive.writestr(name, text)
    return content.getvalue()


FOREIGN = {
    "wind.xlsx": (zipped(**{"[Content_Types].xml": "<x/>", "xl/workbook.xml": "<x/>"}), "xlsx"),
    "wind.ods": (zipped(mimetype="application/x", **{"content.xml": "<x/>"}), "OpenDocument"),
    "wind.xls": (bytes.fromhex("d0cf11e0a1b11ae1") + bytes(600), "xls"),
    "wind.docx": (zipped(**{"word/document.xml": "<x/>"}), "word-processor"),
    "wind.pdf": (b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n", "a PDF"),
    "wind.png": (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0", "a picture"),
    "wind.bz2": (b"BZh91AY&SY" + bytes(20), "bzip2"),
    "page.csv": (b"<!DOCTYPE html>\n<html><table></table></html>\n", "a web page"),
    "data.xml": (b'<?xml version="1.0"?>\n<wind/>\n', "XML"),
    "data.json": (b'[{"time": "2025-01-01", "speed": 5}]\n', "JSON"),
    "empty.zip": (zipped(), "an empty zip archive"),
}


@pytest.mark.parametrize("name", FOREIGN)
@pytest.mark.parametrize("command", ["wind", "curve"])
def test_a_file_that_is_no_table_is_named_for_what_it_is(run, tmp_path, name, command):
    content, kind = FOREIGN[name]
    path = tmp_path / name
    path.write_bytes(content)
    ran = run(command, path)
    assert ran.code == 2
    assert kind in ran.err
    assert ran.err.count("\n") == 1


@pytest.mark.parametrize("key", ["bill", "curve", "readings"])
@pytest.mark.parametrize("name", ["wind.xlsx", "wind.ods", "wind.pdf"])
def test_a_plan_may_not_name_a_file_that_is_no_table(run, yard, edit, key, name):
    content, kind = FOREIGN[name]
    (yard / name).write_bytes(content)
    old = "curve" if key == "readings" else key
    text = (yard / "plan.toml").read_text().replace(f'{old} = "{old}.csv"', f'{key} = "{name}"')
    (yard / "plan.toml").write_text(text)
    ran = run("estimate", yard)
    assert ran.code == 2
    assert kind in ran.err
    assert "CSV" in ran.err


def test_zip_archives_may_hold_the_notes_of_a_desktop(tmp_path):
    path = tmp_path / "wind.zip"
    text = "\n".join([HEADING, *LINES])
    path.write_bytes(zipped(**{"wind.csv": text, "__MACOSX/._wind.csv": "\0\1", ".notes": "x"}))
    np.testing.assert_array_equal(read_wind(path).speed_ms, SPEEDS)
    path.write_bytes(zipped(**{"1.csv": text, "2.csv": text}))
    with pytest.raises(InputError, match="holds 2 files"):
        read_wind(path)
    empty = tmp_path / "wind.csv.gz"
    for content in (b"", gzip.compress(b"")):
        empty.write_bytes(content)
        with pytest.raises(InputError, match="the file is empty"):
            read_wind(empty)


def test_zero_bytes_of_a_power_cut_are_named_by_their_line(tmp_path):
    path = tmp_path / "wind.csv"
    path.write_bytes("\n".join([HEADING, *LINES]).encode() + b"\n" + bytes(512) + b"\n")
    with pytest.raises(InputError, match="line 50: there are zero bytes"):
        read_wind(path)


def test_utf_32_is_told_from_utf_16(tmp_path):
    path = tmp_path / "wind.csv"
    path.write_bytes("\n".join([HEADING, *LINES]).encode("utf-32"))
    np.testing.assert_array_equal(read_wind(path).speed_ms, SPEEDS)


@pytest.mark.parametrize("end", ["\r", "\r\n", "\r\r\n", "\n\n"])
def test_every_line_end_will_do(tmp_path, end):
    path = tmp_path / "wind.csv"
    path.write_bytes(end.join([HEADING, *LINES, "End of file", ""]).encode())
    record = read_wind(path)
    np.testing.assert_array_equal(record.speed_ms, SPEEDS)
    assert told(record, LinesBelowData)[0].shown == "End of file"


@pytest.mark.parametrize("lines", [[LINES[0]], LINES[:2]])
def test_one_or_two_readings_are_a_record(read, lines):
    assert read(HEADING, *lines).time.size == len(lines)


def test_a_plan_picks_a_station_for_its_record_and_for_its_reference(yard, edit):
    (yard / "network.csv").write_text(
        "id,time,wind speed (m/s)\n"
        + "".join(f"7,{line}\n" for line in LINES)
        + "".join(f"08,{t},{v + 1:.1f}\n" for t, v in zip(TIMES, SPEEDS, strict=True))
    )
    edit(yard / "plan.toml", 'record = "wind.csv"', 'record = "network.csv"\nwhere = { id = 7 }')
    text = (yard / "plan.toml").read_text()
    reference = '[wind.reference]\nrecord = "network.csv"\nwhere = { id = ["08"] }\n'
    (yard / "plan.toml").write_text(text.replace("[[build]]", reference + "\n[[build]]", 1))
    (place,) = load_plan(yard).places
    np.testing.assert_array_equal(read_plan_record(place).speed_ms, SPEEDS)
    assert read_reference(place, place.wind.reference[0]).speed_ms == pytest.approx(SPEEDS + 1)


IRISH = Path(__file__).parent / "data" / "irish-six-stations.csv.gz"


def test_stations_side_by_side_are_listed_and_picked_by_one_option(run, yard, edit):
    """Six stations, daily (Haslett & Raftery 1989; see tests/data)."""
    refused = run("wind", IRISH)
    assert refused.code == 2
    assert "('RPT', 'ROS', 'SHA', 'DUB', 'MUL', 'BEL')" in refused.err
    assert '--sensor "RPT"), and state units (the key in a plan, --speed-units' in refused.err
    frame = pd.read_csv(IRISH)
    for name in ("DUB", "mul"):
        found = run("wind", IRISH, "--sensor", name, "--speed-units", "kn", "--json").json
        mean = frame[name.upper()].mean() * 1852 / 3600
        assert found["clock_mean_speed_ms"] == pytest.approx(mean, rel=1e-3)
    missing = run("wind", IRISH, "--sensor", "VAL", "--speed-units", "kn")
    assert missing.code == 2
    assert "no column was recognised as the speed of sensor 'VAL'" in missing.err
    assert "'RPT'" in missing.err
    text = f'[[wind.reference]]\nrecord = "{IRISH}"\nsensor = "DUB"\nunits = "kn"\n\n[site]'
    edit(yard / "plan.toml", "[site]", text)
    plan = load_plan(yard)
    assert read_reference(plan, plan.wind.reference[0]).speed_ms.size == len(frame)


def test_stations_beside_times_and_units(read, refused):
    lines = ["time,Hill (km/h),Hill-top (km/h),Town (km/h)", "2025-01-01 00:00,36,72,18"]
    message = refused(*lines)
    assert "('Hill (km/h)', 'Hill-top (km/h)', 'Town (km/h)')" in message
    assert "--speed-units" not in message
    for name, speed in (("hill", 10), ("Town", 5), ("top", 20)):
        assert read(*lines, sensor=name).speed_ms == pytest.approx([speed])
    both = ["time,Hill wind speed (m/s),Hill rain (mm),Town wind speed (m/s),Town rain (mm)",
            "2025-01-01 00:00,6,0,4,1"]  # fmt: skip
    assert read(*both, sensor="town").speed_ms.tolist() == [4]


@pytest.mark.parametrize("cell", ["--.-", "---", "__", "- -"])
def test_dashes_are_missing(read, cell):
    record = read(HEADING, f"2025-01-01,{cell}", "2025-01-02,5")
    assert np.isnan(record.speed_ms[0])
    assert found(record)["missing speed"] == f"{cell} (1 times)"


def test_a_point_among_decimal_commas_is_never_read_as_either(refused):
    lines = [line.replace(",", ";").replace(".", ",") for line in LINES]
    many = [*lines, *(line.replace("2025", str(year)) for year in range(1990, 2001)
                      for line in lines)]  # fmt: skip
    assert "'5.3' in column" in refused(HEADING.replace(",", ";"), *many, "2025-04-01;5.3")


def test_hours_with_a_fraction_are_refused(refused):
    """13.5 may be half past one as well as five past."""
    assert "'2025-03-20 13.5'" in refused("date,hour,speed (m/s)", "2025-03-20,13.5,5")


def test_daily_readings_are_doubted(read):
    days = [f"2025-01-{day:02d},5.{day % 7}" for day in range(1, 31)]
    assert told(read(HEADING, *days), SparseReadings) == [SparseReadings(24)]
    assert not told(read(HEADING, *LINES), SparseReadings)


@pytest.mark.parametrize("cell", ["T", "5.2*", "<0.5", "OL", "5.2 m/s", "VRB05"])
def test_what_is_neither_a_speed_nor_missing_is_named(read, refused, cell):
    lines = [*LINES[:9], f"2025-03-20 09:00,{cell}", *LINES[10:]]
    message = refused(HEADING, *lines)
    assert f"line 11: {cell!r} in column 'wind speed (m/s)' is not a number" in message
    assert "--missing" in message
    assert np.isnan(read(HEADING, *lines, missing=(cell,)).speed_ms[9])


@pytest.mark.parametrize(
    ("heading", "stamp", "speed"),
    [
        ("Zeit;Wind (m/s)", "%d.%m.%Y %H:%M", "Wind (m/s)"),
        ("Datum;Uhrzeit;Windgeschwindigkeit in m/s;Windrichtung;Böe (m/s);Temperatur (°C)",
         "%d.%m.%Y;%H:%M", "Windgeschwindigkeit in m/s"),
        ("Date;Heure;Vent (m/s);Rafale (m/s);Température (°C)", "%d/%m/%Y;%H:%M", "Vent (m/s)"),
        ("Fecha;Hora;Velocidad del viento (m/s);Dirección", "%d/%m/%Y;%H:%M",
         "Velocidad del viento (m/s)"),
        ("Data ora;Velocità del vento (m/s);Direzione", "%d/%m/%Y %H:%M",
         "Velocità del vento (m/s)"),
        ("Datum;Tijd;Windsnelheid (m/s);Windrichting", "%d-%m-%Y;%H:%M", "Windsnelheid (m/s)"),
    ],
)  # fmt: skip
def test_headings_of_other_languages_are_recognised(tmp_path, run, heading, stamp, speed):
    times = pd.date_range("2024-01-20", periods=48, freq="h").strftime(stamp)
    more = heading.count(";") - stamp.count(";") - 1
    lines = [f"{time};{3 + at % 5},5{';9,5' * more}" for at, time in enumerate(times)]
    path = tmp_path / "wind.csv"
    path.write_text("\n".join([heading, *lines]) + "\n", encoding="utf-8")
    seen = run("wind", path, "--json").json
    assert seen["record"]["readings"] == 48
    roles = {one["what"]: one["found"] for one in seen["record"]["found"]}
    assert roles["column of speed"] == speed
    assert "columns not used" not in roles


@pytest.mark.parametrize(
    ("heading", "key"),
    [
        ("Zeit;Wind", "units (the key in a plan, --speed-units on the command line)"),
        ("Uhr;Wind (m/s)", "columns.time in a plan, --column time=HEADING on the command line"),
        ("Zeit;W1 (m/s);W2 (m/s)", "columns.speed in a plan, --column speed=HEADING"),
    ],
)
def test_a_refused_heading_names_the_key_and_the_option(tmp_path, run, heading, key):
    path = tmp_path / "wind.csv"
    cells = ";5" * heading.count(";")
    path.write_text(f"{heading}\n20.01.2024 00:00{cells}\n20.01.2024 01:00{cells}\n")
    refused = run("wind", path)
    assert refused.code == 2
    assert key in refused.err
