"""Workbooks in place of CSV: as record, curve, readings and bill, and what is refused of them."""

import datetime
import io
import zipfile

import openpyxl
import pytest

from yieldest import read_wind
from yieldest.economics.read_bill import read_bill
from yieldest.errors import InputError
from yieldest.files import spreadsheet
from yieldest.turbine.curve_file import read_power_curve
from yieldest.turbine.reading_file import read_readings

PARTS = [
    ["Parts for my machine"],
    [],
    ["Part", "Qty", "Each (€)", "tax (%)", "My hours", "Notes"],
    ["Blades", 3, 20.5, 0.19, 6, "larch,\nwith glue"],
    ["Generator", 1, 180, 0.19, 10, None],
    ["Total", None, 241.5, None, None, None],
]


def xlsx(path, **sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
        for line in sheet.iter_rows():
            for cell in line:
                if cell.value == 0.19:
                    cell.number_format = "0%"
    book.save(path)
    return path


def cell_of_ods(value):
    """A cell as OpenDocument 1.2, part 1, sections 9.1.4 and 19.385 have it."""
    if value is None:
        return "<table:table-cell/>"
    if isinstance(value, datetime.datetime):
        kind = f'"date" office:date-value="{value.isoformat()}"'
    elif isinstance(value, datetime.time):
        kind = f'"time" office:time-value="PT{value:%HH%MM%SS}"'
    elif value == 0.19:
        kind = '"percentage" office:value="0.19"'
    elif isinstance(value, int | float):
        kind = f'"float" office:value="{value}"'
    else:
        kind = '"string"'
    return (
        f"<table:table-cell office:value-type={kind}><office:annotation><text:p>a note</text:p>"
        f"</office:annotation><text:p>{value}</text:p></table:table-cell>"
    )


def ods(path, rows, after="", packing=zipfile.ZIP_DEFLATED):
    body = "".join(
        f"<table:table-row>{''.join(map(cell_of_ods, row))}</table:table-row>" for row in rows
    )
    names = "".join(
        f' xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{short}:1.0"'
        for short in ("office", "table", "text")
    )
    text = (
        f"<office:document-content{names}><office:body><office:spreadsheet>"
        f'<table:table table:name="Notes">{"<table:table-row/>"}</table:table>'
        f'<table:table table:name="Sheet1">{body}{after}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    with zipfile.ZipFile(path, "w", packing) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", text)
    return path


# What a program writes below the data: a million blank rows in one element.
END_OF_SHEET = (
    '<table:table-row table:number-rows-repeated="1048570">'
    '<table:table-cell table:number-columns-repeated="16384"/></table:table-row>'
)


def written(path, rows):
    """Write a sheet behind one of words, in the kind that the name says."""
    if path.suffix == ".xlsx":
        xlsx(path, **{"Read me": [["Prices from the shop in town"]], "Parts": rows})
    else:
        ods(path, rows, END_OF_SHEET)


@pytest.mark.parametrize("kind", ["xlsx", "ods"])
def test_a_bill_of_a_workbook_is_that_of_its_cells(tmp_path, kind):
    path = tmp_path / f"bench.{kind}"
    written(path, PARTS)
    bill = read_bill(path, "EUR")
    assert [item.name for item in bill.items] == ["Blades", "Generator"]
    assert bill.capital_cost(1, 0) == pytest.approx(241.5 * 1.19)
    assert bill.provenance.warnings == ()
    written(path, [*PARTS, ["Mast", None, 300]])
    with pytest.raises(InputError, match="line 7: the quantity is missing"):
        read_bill(path, "EUR")


def test_a_sheet_is_named_behind_the_file(tmp_path, run, yard, edit):
    curve = [["wind (m/s)", "Power (W)"], *([speed, 10 * speed - 30] for speed in range(3, 15))]
    shared = [[*PARTS[2], "Scope"], *([*row, "per machine"] for row in PARTS[3:5])]
    xlsx(yard / "bench.xlsx", Curve=curve, Parts=shared)
    for name, sheet in (("bill", "parts"), ("curve", "Curve")):
        text = (yard / "plan.toml").read_text()
        (yard / "plan.toml").write_text(text.replace(f'"{name}.csv"', f'"bench.xlsx#{sheet}"'))
    builds = run("estimate", yard, "--draws", 0, "--json").json["builds"]
    assert builds[0]["capital_cost"] == pytest.approx(241.5 * 1.19)
    assert read_power_curve(yard / "bench.xlsx#Curve").power_w[-1] == 110
    refused = run("estimate", yard, "--draws", 0, "-o", yard / "bench.xlsx")
    assert "files that are read" in refused.err
    with pytest.raises(InputError, match=r"no sheet 'Bill'; the sheets are 'Curve', 'Parts'"):
        read_bill(f"{yard / 'bench.xlsx'}#Bill", "EUR")


@pytest.mark.parametrize("kind", ["xlsx", "ods"])
def test_a_record_of_a_workbook_is_that_of_its_csv(tmp_path, kind):
    start = datetime.datetime(2025, 3, 1)
    hours = [start + datetime.timedelta(hours=hour) for hour in range(200)]
    rows = [[time, round(3 + (7 * n % 50) / 10, 1)] for n, time in enumerate(hours)]
    head = ["Time", "Wind (km/h)"]
    made = tmp_path / f"wind.{kind}"
    written(made, [head, *rows])
    plain = tmp_path / "wind.csv"
    plain.write_text("\n".join(f"{a},{b}" for a, b in [head, *rows]) + "\n")
    ours, theirs = read_wind(made, height_m=10), read_wind(plain, height_m=10)
    assert list(ours.time) == list(theirs.time)
    assert ours.speed_ms == pytest.approx(theirs.speed_ms)


@pytest.mark.parametrize("kind", ["xlsx", "ods"])
def test_readings_of_a_workbook_keep_their_clock(tmp_path, kind):
    rows = [
        ["Clock", "Wind (m/s)", "Volts", "Amps"],
        *([datetime.time(14, n), 4 + n / 10, 24 + n / 10, 1 + n / 10] for n in range(40)),
    ]
    path = tmp_path / f"bench.{kind}"
    written(path, rows)
    readings = read_readings(path)
    assert readings.time_s[-1] == 39 * 60
    assert readings.power_w[10] == pytest.approx(25 * 2)


def test_a_csv_as_an_online_spreadsheet_exports_it_reads_as_it_is(tmp_path):
    path = tmp_path / "Parts - Sheet1.csv"
    lines = [
        "My machine,,,,",
        ",,,,",
        "Item,Qty,Unit cost,Total,Notes",
        'Blades,3,£20.50,£61.50,"larch, glued"',
        'Mast,1,"£1,150.00","£1,150.00",',
        'Total,,,"£1,211.50",',
    ]
    path.write_bytes("\r\n".join(lines).encode())  # no line end at the end
    bill = read_bill(path, "GBP")
    assert bill.capital_cost(1, 0) == pytest.approx(1211.5)
    assert bill.provenance.warnings == ()


def test_start_writes_bill_and_curve_as_spreadsheets_with_notes(run, tmp_path):
    plain = run("start", tmp_path / "plain")
    made = run("start", tmp_path / "sheets", "--spreadsheet")
    assert plain.code == made.code == 0
    assert {path.name for path in (tmp_path / "sheets").iterdir()} == {
        *("plan.toml", "wind.csv", "bill.xlsx", "curve.xlsx"),
    }
    sheet = openpyxl.load_workbook(tmp_path / "sheets" / "bill.xlsx").active
    notes = {cell.value: cell.comment for cell in sheet[2]}
    assert "per array" in notes["scope"].text
    figures = ("name", "net_kwh_per_year", "capital_cost", "cost_per_kwh", "labour_hours")
    ours, theirs = (
        [
            [build[figure] for figure in figures]
            for build in run("estimate", tmp_path / name, "--draws", 0, "--json").json["builds"]
        ]
        for name in ("sheets", "plain")
    )
    assert ours == theirs
    assert "bill.xlsx: still the invented numbers" in run("estimate", tmp_path / "sheets").out
    refused = run("start", tmp_path / "other", "--spreadsheet", "--from", "hill-yard")
    assert refused.code == 2
    assert "--from" in refused.err


def test_without_the_library_it_is_said_how_to_install_it(tmp_path, monkeypatch):
    path = xlsx(tmp_path / "bill.xlsx", Parts=PARTS)

    def missing(name, *rest, **named):
        if name == "openpyxl":
            raise ImportError(name)
        return real(name, *rest, **named)

    real = spreadsheet.importlib.import_module
    monkeypatch.setattr(spreadsheet.importlib, "import_module", missing)
    with pytest.raises(InputError, match=r"yieldest\[spreadsheets\].*CSV"):
        read_bill(path, "EUR")


def spoilt(path, name, text):
    """Put another text in place of a part of a workbook."""
    whole = zipfile.ZipFile(io.BytesIO(path.read_bytes()))
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for part in whole.namelist():
            archive.writestr(part, text if part == name else whole.read(part))


SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    "{}</sheetData></worksheet>"
)


@pytest.mark.parametrize(
    "cells",
    [
        '<row r="999999999"><c r="A999999999"><v>1</v></c></row>',
        "".join(f'<row r="{n}"><c r="XFD{n}"><v>1</v></c></row>' for n in range(1, 2000)),
        '<row r="1"><c r="ZZZZZZ1"><v>1</v></c></row>',
        '<row r="1"><c r="A1" t="s"><v>77</v></c></row>',
        "<row",
    ],
    ids=["far down", "far right", "no column", "no such text", "cut short"],
)
def test_a_workbook_made_to_fill_the_memory_is_refused(tmp_path, cells):
    path = xlsx(tmp_path / "bill.xlsx", Parts=PARTS)
    spoilt(path, "xl/worksheets/sheet1.xml", SHEET.format(cells))
    with pytest.raises(InputError, match=r"bill\.xlsx: the (sheet 'Parts'|workbook)"):
        read_bill(path, "EUR")


@pytest.mark.parametrize(
    "after",
    [
        '<table:table-row table:number-rows-repeated="1000000000">' + cell_of_ods(1),
        "<table:table-row>"
        + cell_of_ods(1).replace("cell ", 'cell table:number-columns-repeated="900000000" ', 1),
    ],
    ids=["rows", "columns"],
)
def test_an_ods_that_repeats_without_end_is_refused(tmp_path, after):
    path = ods(tmp_path / "bill.ods", PARTS, f"{after}</table:table-row>")
    with pytest.raises(InputError, match=r"bill\.ods: the (sheet 'Sheet1'|workbook)"):
        read_bill(path, "EUR")


def test_a_workbook_that_unpacks_to_too_much_is_refused(tmp_path):
    path = xlsx(tmp_path / "bill.xlsx", Parts=PARTS)
    spoilt(path, "docProps/app.xml", " " * 30_000_000)
    with pytest.raises(InputError, match="times as large as packed"):
        read_bill(path, "EUR")


def test_more_lines_than_a_bill_has_are_refused_of_a_workbook_too(tmp_path):
    rows = [["item", "quantity", "unit price"], *([f"bolt {n}", 1, 0.2] for n in range(10_001))]
    path = xlsx(tmp_path / "bill.xlsx", Parts=rows)
    with pytest.raises(InputError, match="more than 10,000 lines"):
        read_bill(path, "EUR")
