"""What is recognised of a text file: encoding, packing, delimiter, decimal mark, heading, units."""

import gzip
import zipfile

import numpy as np
import pytest
from winds import cut_into_blocks

from yieldest.errors import InputError
from yieldest.files.dialect import LayoutOptions, layout_of
from yieldest.files.table import read_blocks
from yieldest.files.text_file import HEAD_BYTES, LONGEST_LINE, open_text
from yieldest.wind.read_wind import read_wind

PLAIN = "time,speed (m/s)\n2025-01-01 00:00,5.5\n2025-01-01 00:10,6.25\n"


def speeds(path, **stated):
    return read_wind(path, **stated).speed_ms.tolist()


@pytest.fixture
def written(tmp_path):
    """Write text to a file and return its path."""

    def write(text, encoding="utf-8", name="wind.csv"):
        path = tmp_path / name
        path.write_bytes(text.encode(encoding))
        return path

    return write


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_unicode_encodings_are_told_apart(written, encoding):
    assert speeds(written(PLAIN, encoding)) == [5.5, 6.25]


@pytest.mark.parametrize("encoding", ["latin-1", "cp1252"])
def test_latin_1_headings_are_read(written, encoding):
    text = "Zeit;Wind (m/s);Außentemp. (°C)\n2025-01-01 00:00;5,5;3,1\n"
    columns = {"time": "Zeit", "temperature": "Außentemp. (°C)"}
    record = read_wind(written(text, encoding), columns=columns)
    assert record.speed_ms.tolist() == [5.5]
    assert record.temperature_c.tolist() == [3.1]


STRAY = PLAIN.encode() + b"# \x81\n"


@pytest.mark.parametrize(
    ("data", "stated", "said"),
    [
        (STRAY, None, ", line 4: this is not text in UTF-8, nor in Latin-1 (Windows-1252)"),
        (gzip.compress(STRAY), None, ", line 4: this is not text in UTF-8, nor in Latin-1"),
        (STRAY, "utf-8", ", line 4: this is not text in UTF-8"),
        (STRAY, "ascii", ", line 4: this is not text in ascii"),
        ("# \ufffd\n".encode() + STRAY, "utf-8", ", line 5: this is not text in UTF-8"),
        (PLAIN.encode("utf-16-le") + b"\n", "utf-16-le", ", line 4: this is not text in utf-16-le"),
        (STRAY, "utf-16", ": this is not text in utf-16"),
        # Past what the encoding is told from.
        (PLAIN.encode() + b"\n#" * HEAD_BYTES + b"\n\xe9", None, f", line {HEAD_BYTES + 5}: this "
         "is not text in UTF-8"),
        (b"\x81" * (LONGEST_LINE + 1), None, ": this is not text in UTF-8, nor"),
    ],
)  # fmt: skip
def test_what_is_not_in_its_encoding_is_said_with_its_line(tmp_path, data, stated, said):
    path = tmp_path / "wind.csv"
    path.write_bytes(data)
    with pytest.raises(InputError) as caught, open_text(path, stated) as stream:
        while stream.read(HEAD_BYTES):
            pass
    assert str(caught.value).startswith(f"{path}{said}")
    assert str(caught.value).endswith("; save it as UTF-8.")


def test_a_stated_encoding_wins(written):
    path = written("time,speed ½ (m/s)\n2025-01-01,5\n", "cp437")
    assert layout_of(path, LayoutOptions(encoding="cp437")).headings[1] == "speed ½ (m/s)"
    for stated in ("pen and paper", "\0", "\udcff"):
        with pytest.raises(InputError, match="no text encoding"):
            layout_of(path, LayoutOptions(encoding=stated))


def test_an_archive_with_a_broken_name_is_to_be_packed_again(tmp_path):
    path = tmp_path / "wind.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("wänd.csv", PLAIN)
    path.write_bytes(path.read_bytes().replace("ä".encode(), b"\xff\xff"))
    with pytest.raises(InputError, match="a name that is not in UTF-8, as it says; pack it again"):
        speeds(path)


@pytest.mark.parametrize(
    ("delimiter", "decimal"),
    [(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), ("|", ","), ("   ", ",")],
)  # fmt: skip
def test_delimiter_and_decimal_mark_are_recognised(written, delimiter, decimal):
    lines = [["time", "speed_ms", "dir"], ["2025-01-01T00:00", "5.5", "200"]]
    lines += [[f"2025-01-01T00:{minute}0", "6.25", "210"] for minute in range(1, 6)]
    text = "\n".join(delimiter.join(cells) for cells in lines).replace(".", decimal)
    assert speeds(written(text)) == [5.5, *[6.25] * 5]


def test_a_delimiter_and_a_decimal_mark_can_be_stated(written):
    path = written("time:speed_ms\n2025-01-01:5,5\n")
    assert speeds(path, delimiter=":", decimal=",") == [5.5]
    assert speeds(written("time;speed_ms\n2025-01-01;5,5\n"), delimiter="semicolon") == [5.5]


def test_decimal_point_and_comma_in_one_file_are_refused(written):
    path = written("time;speed_ms;dir\n2025-01-01;5,5;200.5\n")
    with pytest.raises(InputError, match=r"wind\.csv.*decimal"):
        speeds(path)


def test_lines_above_the_heading_comments_and_blank_lines_are_passed_over(written):
    path = written(
        "My yard, pole by the shed\nElevation,120\n# a comment\n\n"
        + PLAIN
        + "\n  # another, in the data\n% and one more\n2025-01-01 00:20,7\n"
    )
    layout = layout_of(path)
    assert layout.heading_line == 5
    assert speeds(path) == [5.5, 6.25, 7.0]
    (table,) = read_blocks(path, layout, layout.headings, [], 100)
    assert [table.place(row) for row in range(3)] == [f"{path}, line {n}" for n in (6, 7, 11)]


def test_lines_are_named_across_blocks(written, monkeypatch):
    cut_into_blocks(monkeypatch, 20)
    path = written("title\n" + PLAIN + "# note\n" + "2025-01-01 00:20,7\n" * 400)
    layout = layout_of(path)
    tables = list(read_blocks(path, layout, layout.headings, [], 4))
    assert len(tables) > 1
    assert sum(len(table.frame) for table in tables) == 402
    line = 3
    for table in tables:
        assert table.place(0) == f"{path}, line {line}"
        line += len(table.frame) + (line == 3)  # the note is in the first


@pytest.mark.parametrize("last", ['"{}"', "{} ", "{}.000"])
def test_times_that_lead_the_lines_are_those_read_from_texts(written, monkeypatch, last):
    """Stamps in another form, in the last block of a file, are read as the plain ones are."""
    cut_into_blocks(monkeypatch, 20)
    minutes = np.datetime64("2025-01-01T00:00:00") + np.arange(400) * np.timedelta64(1, "m")
    stamps = minutes.astype(str).tolist()
    plain, mixed = (
        written(
            "time,speed (m/s)\n"
            + "".join(f"{stamp},{5 + number % 3}\n" for number, stamp in enumerate(each)),
            name=name,
        )
        for each, name in (
            (stamps, "plain.csv"),
            ([*stamps[:-1], last.format(stamps[-1])], "mixed.csv"),
        )
    )
    for path, kinds in ((plain, {"M"}), (mixed, {"M", "O"})):
        layout = layout_of(path)
        tables = list(read_blocks(path, layout, layout.headings, ["time"], 4, time_column="time"))
        assert {table.frame["time"].dtype.kind for table in tables} == kinds
        np.testing.assert_array_equal(read_wind(path).time, minutes.astype("datetime64[ns]"))


def test_an_hourly_weather_year_with_a_title_line(written):
    """The shape of the public typical-year files: a title line, and months of different years."""
    hours = []
    for month in range(1, 13):
        year = 1990 + (month * 5) % 7
        days = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31][month - 1]
        hours += [
            f"{month:02d}/{day:02d}/{year},{hour:02d}:00,3.{hour % 10}"
            for day in range(1, days + 1)
            for hour in range(1, 25)
        ]
    text = '724060,"SOMEWHERE",XX,-5.0,39.0,-76.0,47\n'
    text += "Date (MM/DD/YYYY),Time (HH:MM),Wspd (m/s)\n" + "\n".join(hours)
    record = read_wind(written(text))
    assert record.time.size == 8760
    assert record.data_recovery.interval_s == 3600
    assert record.data_recovery.share == 1
    assert record.data_recovery.missing_months == ()
    assert any(part.what == "weather year" for part in record.found)


def test_two_winters_are_no_weather_year(written):
    days = np.arange("2023-10-01", "2024-06-01", dtype="datetime64[D]")
    text = "date,speed (m/s)\n" + "".join(f"{day},4\n" for day in days)
    record = read_wind(written(text))
    assert record.time[0] == np.datetime64("2023-10-01")
    assert record.time[-1] == np.datetime64("2024-05-31")


def test_a_units_line_and_a_statistics_line_below_the_heading(written):
    path = written(
        '"logger","1234"\n"TIMESTAMP","WS_Avg","WS_Std","WS_Max","AirT_Avg"\n'
        '"TS","km/h","km/h","km/h","Deg F"\n"","Avg","Std","Max","Avg"\n'
        '"2025-01-01 00:10:00",36,3.6,54,"NAN"\n"2025-01-01 00:20:00",18,1.8,27,50\n'
    )
    record = read_wind(path, columns={"temperature": "AirT_Avg"})
    assert record.speed_ms == pytest.approx([10, 5])
    assert record.standard_deviation_ms == pytest.approx([1, 0.5])
    assert record.gust_ms == pytest.approx([15, 7.5])
    assert record.temperature_c[1] == pytest.approx(10)


def test_a_heading_written_as_a_comment_with_units_below(written):
    """The form in which national buoy records are given out."""
    path = written(
        "#YY  MM DD hh mm WDIR WSPD GST\n#yr  mo dy hr mn degT m/s  m/s\n"
        "2025 01 31 23 50 210  5.5  7.1\n2025 01 31 24 00 999 99.0 99.0\n"
        "2025 02 01 00 10 220  6.5  8.1\n2025 02 01 00 20 220 99.0  8.1\n"
        "2025 02 01 00 30 220 99.0  8.1\n"
    )
    record = read_wind(path)
    assert record.time.astype("datetime64[m]").astype(str).tolist()[:2] == [
        "2025-01-31T23:50",
        "2025-02-01T00:00",
    ]
    assert record.speed_ms[[0, 2]].tolist() == [5.5, 6.5]
    assert np.isnan(record.speed_ms[[1, 3, 4]]).all()
    assert record.direction_deg[2] == 220
    assert np.isnan(record.direction_deg[1])


def test_headings_can_be_stated_for_a_file_without(written):
    path = written("2025-01-01,12,5\n2025-01-01,13,6\n")
    with pytest.raises(InputError, match="line 1: no heading"):
        speeds(path)
    assert speeds(path, headings=("date", "hour", "speed_kn")) == pytest.approx(
        [5 * 1852 / 3600, 6 * 1852 / 3600]
    )
    with pytest.raises(InputError, match="3 cells, but 2 headings"):
        speeds(path, headings=("date", "speed_kn"))


def test_lines_to_skip_can_be_stated(written):
    path = written("a,b\nc,d\n" + PLAIN)
    assert speeds(path, skip_lines=2) == [5.5, 6.25]


def test_lines_may_end_in_a_delimiter(written):
    assert speeds(written("time,speed (m/s)\n2025-01-01,5,\n2025-01-02,6,\n")) == [5, 6]


def test_gzip_and_zip_are_unpacked(tmp_path):
    packed = tmp_path / "wind.csv.gz"
    packed.write_bytes(gzip.compress(PLAIN.encode("utf-16")))
    assert speeds(packed) == [5.5, 6.25]
    archive = tmp_path / "wind.zip"
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as members:
        members.writestr("folder/wind.csv", PLAIN)
    assert speeds(archive) == [5.5, 6.25]
    with zipfile.ZipFile(archive, "a") as members:
        members.writestr("other.csv", PLAIN)
    with pytest.raises(InputError, match="holds 2 files"):
        speeds(archive)


def test_a_packed_file_that_swells_beyond_reason_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("yieldest.files.text_file.ALWAYS_UNPACKED_BYTES", 10_000)
    bomb = tmp_path / "bomb.csv.gz"
    bomb.write_bytes(gzip.compress(PLAIN.encode() + b"\n" * 3_000_000))
    with pytest.raises(InputError, match="more than 50 times"):
        speeds(bomb)
    archive = tmp_path / "bomb.zip"
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as members:
        members.writestr("wind.csv", PLAIN + "\n" * 3_000_000)
    with pytest.raises(InputError, match="more than 50 times"):
        speeds(archive)


def test_what_was_recognised_is_told(written):
    record = read_wind(written("title\ntime;Wind (mph)\n31.01.2025 13:50;5,5\n", "utf-8-sig"))
    found = {part.what: (part.found, part.how) for part in record.found}
    assert found["delimiter"] == ("semicolon", "recognised")
    assert found["decimal mark"] == (",", "recognised")
    assert found["heading"] == ("line 2", "recognised")
    assert found["unit of speed"] == ("mph", "from the heading")
    assert found["order of the date"][0] == "day first"
    assert found["time zone"] == ("as in the file", "not stated")
    for part in record.found:
        assert part.found in record.provenance.method


@pytest.mark.parametrize(
    ("content", "named"),
    [
        (b"", "empty"),
        (b"# only a comment\n\n", "empty"),
        (b"time,speed (m/s)\n", "no data line"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0", "this is a picture"),
        (gzip.compress(PLAIN.encode(), mtime=0)[:-9], "gzip data is damaged"),
        (gzip.compress(PLAIN.encode(), mtime=0)[:12] + b"??" * 20, "gzip data is damaged"),
        (b"PK\x03\x04 not a zip", "zip archive is damaged"),
        (b"time,speed (m/s)\n2025-01-01 00:00,5\n2025-01-01 00:10,5,7\n", "line 3: 3 cell"),
        (b"time,speed (m/s)\n2025-01-01 00:00,5\n2025-01-01 00:10\n", "line 3: 1 cell"),
        (b"time speed_ms\n2025-01-01 5\n2025-01-02 5\n2025-01-03\n", "line 4: 1 cell"),
    ],
)
def test_what_is_wrong_with_a_file_is_one_sentence(tmp_path, content, named):
    path = tmp_path / "wind.csv"
    path.write_bytes(content)
    with pytest.raises(InputError) as refused:
        speeds(path)
    message = str(refused.value)
    assert str(path) in message
    assert named in message
    assert "\n" not in message


def test_missing_files_and_empty_folders_are_named(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        speeds(tmp_path / "none.csv")
    with pytest.raises(InputError, match="folder holds no file"):
        speeds(tmp_path)
    with pytest.raises(InputError, match="no file is called so"):
        speeds(tmp_path / "2025-*.csv")
