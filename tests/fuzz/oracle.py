"""Write inputs as people write them, whose truth is known, and see that none is read wrong unsaid.

Run it as `python tests/fuzz/oracle.py --inputs 20000`. Each input is a record, a power curve, a
bill, a table of readings, of frequencies or of monthly means, as text or in a workbook, or a grid:
numbers are drawn first, and then written in some unit, with some decimal mark, stamps, clock, gaps,
marks, junk, headings and order. What is read must be those numbers within `TOLERANCE`, or be
refused in one sentence, or a warning must say what was made of it. Anything else is a silent error.
"""

from __future__ import annotations

import argparse
import multiprocessing
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import xarray as xr

from yieldest.economics.read_bill import (
    BillColumnsNotUsed,
    EveryItemPerUnit,
    ItemsLastAsBuild,
    read_bill,
)
from yieldest.errors import InputError
from yieldest.maps.blocks import in_blocks
from yieldest.maps.grid import open_grid
from yieldest.maps.make_maps import MonthsMissingOnMap, maps_of, recipe_for
from yieldest.turbine.curve_file import read_power_curve
from yieldest.turbine.meters import Meters
from yieldest.turbine.reading_file import OddLines, read_readings
from yieldest.wind.data_recovery import GapsInRecord, LessThanAYear, MonthsMissing, SparseReadings
from yieldest.wind.read_wind import read_wind
from yieldest.wind.record_columns import SeveralColumns
from yieldest.wind.summary_tables import read_frequency_table, read_monthly_means

TOLERANCE = 0.005
"""Of the mean of what is read, as a share; units are exact, and speeds are written to a hundredth
of what they are on average."""
USUAL = (
    *(LessThanAYear, MonthsMissing, SparseReadings, GapsInRecord, SeveralColumns),
    *(BillColumnsNotUsed, EveryItemPerUnit, ItemsLastAsBuild, MonthsMissingOnMap),
)
"""Warnings that say nothing of how a file was read."""
SPEED_FACTORS = {"m/s": 1.0, "km/h": 1 / 3.6, "mph": 0.44704, "kn": 1852 / 3600, "ft/s": 0.3048}
SPELT = {
    "m/s": ("m/s", "m/sec", "ms-1", "mps"),
    "km/h": ("km/h", "kmh", "kph"),
    "mph": ("mph",),
    "kn": ("kn", "kt", "knots"),
    "ft/s": ("ft/s", "fps"),
}
SPEED_NAMES = ("wind speed", "Wind Speed", "speed", "ws", "WIND", "wspd", "wind speed avg")
MARKS = ("", "NaN", "-9999", "9999", "999.9", "-99.9", "---", "n/a", "null", "NULL", "-999")


@dataclass(frozen=True)
class Read:
    """What came of an input: the numbers read and the true ones, and what was said."""

    found: np.ndarray
    truth: np.ndarray
    said: tuple[object, ...]


@dataclass(frozen=True)
class Table:
    """How a table is written."""

    chance: random.Random
    delimiter: str
    decimal: str

    @classmethod
    def drawn(cls, chance: random.Random) -> Table:
        """Draw a delimiter and a decimal mark that go together."""
        decimal = chance.choice("...,")
        return cls(chance, chance.choice(";;\t" if decimal == "," else ",,;\t|"), decimal)

    def number(self, value: float, digits: int) -> str:
        """Write a number."""
        return f"{value:.{digits}f}".replace(".", self.decimal)

    def write(self, path: Path, headings: list[str], rows: list[list[str]]) -> Path:
        """Write a table with the junk that stands around tables, and return where it stands."""
        chance, quoted = self.chance, self.chance.random() < 0.15
        if chance.random() < 0.12:
            return self._write_workbook(path.with_suffix(".xlsx"), [headings, *rows])

        def line(cells: list[str]) -> str:
            shown = [f'"{cell}"' for cell in cells] if quoted else cells
            return self.delimiter.join(shown) + (self.delimiter if trailing else "")

        trailing = chance.random() < 0.1
        lines = [line(headings), *map(line, rows)]
        if chance.random() < 0.2:
            lines[:0] = ["# invented data", "# of nobody"][: chance.randint(1, 2)]
        if chance.random() < 0.1:
            for _ in range(3):
                lines.insert(chance.randrange(len(lines) + 1), "")
        if chance.random() < 0.05:
            lines.append("")
        text = chance.choice(["\n", "\n", "\r\n"]).join(lines) + chance.choice(["\n", "\n", ""])
        encoding = chance.choice(["utf-8", "utf-8", "utf-8-sig", "cp1252", "utf-16"])
        path.write_bytes(text.encode(encoding, errors="replace"))
        return path

    def _write_workbook(self, path: Path, rows: list[list[str]]) -> Path:
        """Write a sheet, its numbers and dates as such or all as text, below some words or none."""
        chance, book = self.chance, openpyxl.Workbook()
        typed, sheet = chance.random() < 0.8, book.active
        if chance.random() < 0.2:
            sheet.append(["invented data"])
        if chance.random() < 0.2:
            book.create_sheet("notes", 0).append(["of nobody"])
        for row in rows:
            sheet.append([self._cell(text) if typed else text for text in row])
        book.save(path)
        return path

    def _cell(self, text: str) -> object:
        for made in (
            lambda: float(text.replace(self.decimal, ".")),
            lambda: datetime.strptime(text, "%Y-%m-%d %H:%M"),
            lambda: datetime.strptime(text, "%Y-%m-%d").date(),
            lambda: datetime.strptime(text, "%H:%M").time(),
        ):
            try:
                return made()
            except ValueError:
                continue
        return text or None


def a_heading(chance: random.Random, names: tuple[str, ...], unit: str) -> str:
    """Write a heading with its unit in one of the usual ways."""
    form = chance.choice(["{} ({})", "{} [{}]", "{} ({})", "{}({})", "{} in {}", "{}_{}"])
    return form.format(chance.choice(names), unit)


def a_record(chance: random.Random, path: Path) -> Read:
    """Write a wind record and read it."""
    numbers = np.random.default_rng(chance.getrandbits(32))
    count, minutes = chance.randint(40, 400), chance.choice([1, 10, 10, 15, 30, 60, 60, 180])
    first = np.datetime64("2014-01-01T00:00", "m") + chance.randrange(
        10 * 365 * 24
    ) * np.timedelta64(60, "m")
    times = first + np.arange(count) * np.timedelta64(minutes, "m")
    unit = chance.choices(list(SPEED_FACTORS), [5, 2, 1, 1, 1])[0]
    table, digits = Table.drawn(chance), chance.choice([1, 1, 2, 3])
    written = np.round(
        numbers.weibull(2, count) * chance.uniform(3, 9) / SPEED_FACTORS[unit], digits
    )
    missing = numbers.random(count) < chance.choice([0, 0, 0.02, 0.1])
    mark = chance.choice(MARKS)
    if chance.random() < 0.3:
        start = chance.randrange(count // 2)
        kept = np.r_[0:start, start + chance.randint(1, count // 4) : count]
        times, written, missing = times[kept], written[kept], missing[kept]
    zone = chance.choice([None] * 8 + ["Europe/Berlin", "America/New_York"])
    headings, stamps = _stamps(chance, times, zone)
    columns = [(headings[at], [row[at] for row in stamps]) for at in range(len(headings))]
    speeds = [
        mark if gone else table.number(value, digits)
        for value, gone in zip(written, missing, strict=True)
    ]
    spelt = chance.choice(SPELT[unit])
    columns.append((a_heading(chance, SPEED_NAMES, spelt), speeds))
    for names, factor in (
        (("wind gust", "gust", "max wind speed", "wind speed max"), 1.5),
        (("wind speed min", "min speed"), 0.5),
        (("wind speed sd", "wind speed std"), 0.15),
    ):
        if chance.random() < 0.15:
            values = [table.number(factor * value, digits) for value in written]
            heading = a_heading(chance, names, spelt)
            columns.insert(chance.randrange(len(columns) + 1), (heading, values))
    for name, low, high in (
        ("wind direction (deg)", 0, 359),
        ("temperature (C)", -15, 35),
        ("battery (V)", 11, 14),
        ("humidity (%)", 30, 99),
        ("pressure (hPa)", 960, 1030),
    ):
        if chance.random() < 0.25:
            values = [table.number(value, 1) for value in numbers.uniform(low, high, len(times))]
            columns.insert(chance.randrange(len(columns) + 1), (name, values))
    order = list(range(len(times)))
    way = chance.choice(["rising", "rising", "rising", "falling", "blocks", "shuffled"])
    if way == "falling":
        order.reverse()
    elif way == "blocks":
        cut = chance.randrange(len(order))
        order = order[cut:] + order[:cut]
    elif way == "shuffled":
        chance.shuffle(order)
    if chance.random() < 0.1:
        order += order[: chance.randint(1, 5)]
    rows = [[values[at] for _, values in columns] for at in order]
    junk = chance.random()
    if junk < 0.06:
        at = chance.randrange(len(rows))
        rows.insert(at, [name for name, _ in columns])
    elif junk < 0.1:
        rows.append(["mean", *[""] * (len(columns) - 1)])
    headings = [name for name, _ in columns]
    if chance.random() < 0.1 and all(name.endswith(")") for name in headings[-2:]):
        # The units stand in a line of their own, as loggers write them.
        parts = [name.removesuffix(")").partition("(") for name in headings]
        headings = [name.strip() for name, _, _ in parts]
        rows.insert(0, [unit.strip() for _, _, unit in parts])
    path = table.write(path, headings, rows)
    record = read_wind(path, time_zone=zone) if zone else read_wind(path)
    there = np.isfinite(record.speed_ms)
    truth = written[~missing] * SPEED_FACTORS[unit]
    true_times = times[~missing].astype("datetime64[ns]")
    found_times = record.time[there]
    # Of an hour that the clocks repeat, one may lie in a gap or between two readings: which one,
    # nobody can tell by the lines.
    hour = max(1, 60 // minutes) if zone else 0
    same = (
        found_times.size == true_times.size
        and int((found_times != true_times).sum()) <= hour
        and bool((np.abs(found_times - true_times) <= np.timedelta64(1, "h")).all())
    )
    # Stamps with an offset come back in the same steps, at other hours.
    shifted = same or (
        zone is None
        and found_times.size == true_times.size
        and np.unique(found_times - true_times).size == 1
        and abs(found_times[0] - true_times[0]) < np.timedelta64(15, "h")
    )
    found = record.speed_ms[there] if shifted else np.append(record.speed_ms[there], 1e9)
    return Read(found, truth, record.provenance.warnings)


def _stamps(
    chance: random.Random, times: np.ndarray, zone: str | None
) -> tuple[list[str], list[list[str]]]:
    """Write times in one of the usual ways, by the clock of a place if given, with headings."""
    index = pd.DatetimeIndex(times)
    if zone is not None:
        index = index.tz_localize("UTC").tz_convert(zone).tz_localize(None)
    form = chance.choice(
        (["%Y-%m-%d %H:%M", "%d.%m.%Y %H:%M", "two", "parts"])
        if zone
        else [
            "%Y-%m-%d %H:%M",
            "%Y-%m-%dT%H:%M:%S",
            "%d.%m.%Y %H:%M",
            "%d/%m/%Y %H:%M",
            "%m/%d/%Y %I:%M %p",
            "%d.%m.%y %H:%M",
            "%Y%m%d%H%M",
            "%d-%b-%Y %H:%M:%S",
            "%Y-%m-%dT%H:%M:%SZ",
            "%Y-%m-%dT%H:%M:%S+01:00",
            "two",
            "parts",
            "epoch",
        ]
    )
    if form == "two":
        day = chance.choice(["%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y", "%Y%m%d"])
        return ["date", "time"], [[t.strftime(day), t.strftime("%H:%M")] for t in index]
    if form == "parts":
        names = chance.choice(
            [["year", "month", "day", "hour", "minute"], ["YY", "MM", "DD", "hh", "mm"]]
        )
        return names, [
            [str(t.year), str(t.month), str(t.day), str(t.hour), str(t.minute)] for t in index
        ]
    if form == "epoch":
        return ["epoch"], [[str(int(t.timestamp()))] for t in index]
    return [chance.choice(["time", "timestamp", "Date Time"])], [[t.strftime(form)] for t in index]


def a_curve(chance: random.Random, path: Path) -> Read:
    """Write a power curve and read it."""
    table, unit = Table.drawn(chance), chance.choice(list(SPEED_FACTORS))
    kilo, count = chance.random() < 0.4, chance.randint(4, 30)
    written = np.round(
        np.linspace(chance.uniform(2, 4), chance.uniform(9, 20), count) / SPEED_FACTORS[unit], 2
    )
    speed = written * SPEED_FACTORS[unit]
    power = np.minimum(0.6 * speed**3, chance.uniform(150, 900))
    power[0] = 0.0
    digits = 5 if kilo else 2
    power = np.round(power / (1000 if kilo else 1), digits) * (1000 if kilo else 1)
    headings = [
        a_heading(chance, ("wind speed", "speed", "Wind"), chance.choice(SPELT[unit])),
        a_heading(chance, ("power", "Power", "output", "P"), "kW" if kilo else "W"),
    ]
    rows = [
        [table.number(v, 2), table.number(p / (1000 if kilo else 1), digits)]
        for v, p in zip(written, power, strict=True)
    ]
    if chance.random() < 0.2:
        headings.append("rpm")
        rows = [[*row, str(chance.randint(50, 600))] for row in rows]
    order = chance.choice(["rising", "rising", "falling", "turned"])
    if order == "falling":
        rows.reverse()
    elif order == "turned":
        headings, rows = headings[::-1], [row[::-1] for row in rows]
    path = table.write(path, headings, rows)
    curve = read_power_curve(path)
    at = np.linspace(speed[0], speed[-1], 50)
    return Read(curve.power_at(at), np.interp(at, speed, power), curve.provenance.warnings)


def a_bill(chance: random.Random, path: Path) -> Read:
    """Write a parts bill and read it."""
    table = Table.drawn(chance)
    count = chance.randint(2, 15)
    quantity = [chance.randint(1, 12) for _ in range(count)]
    price = [
        round(chance.choice([3, 40, 700, 2500]) * chance.uniform(0.3, 1.5), 2) for _ in range(count)
    ]
    sign = chance.choice(["", "", "EUR ", "€", "€ "])
    grouped = chance.random() < 0.3

    def money(value: float) -> str:
        text = f"{value:,.2f}" if grouped else f"{value:.2f}"
        if table.decimal == ",":
            text = text.translate(str.maketrans(",.", ".,"))
        return f"{sign}{text}"

    total = chance.random() < 0.25
    cells = [q * p if total else p for q, p in zip(quantity, price, strict=True)]
    headings = [
        chance.choice(["item", "Part", "description"]),
        chance.choice(["quantity", "qty"]),
        chance.choice(["total", "line total"] if total else ["unit price", "price each"]),
    ]
    rows = [
        [f"part {at}", str(q), money(each)]
        for at, (q, each) in enumerate(zip(quantity, cells, strict=True))
    ]
    if "," in "".join(cell for row in rows for cell in row) and table.delimiter == ",":
        table = Table(chance, ";", table.decimal)
    if chance.random() < 0.3:
        headings.append("life years")
        rows = [[*row, str(chance.randint(3, 20))] for row in rows]
    if chance.random() < 0.2:
        headings.append("notes")
        rows = [[*row, "from the shop"] for row in rows]
    truth = sum(q * p for q, p in zip(quantity, price, strict=True))
    if chance.random() < 0.3:
        rows.append(["Total", "", money(truth), *[""] * (len(headings) - 3)])
    path = table.write(path, headings, rows)
    bill = read_bill(path, "EUR")
    return Read(np.array([bill.capital_cost(1, 0.0)]), np.array([truth]), bill.provenance.warnings)


def a_table_of_readings(chance: random.Random, path: Path) -> Read:
    """Write readings of wind and power and read them."""
    numbers = np.random.default_rng(chance.getrandbits(32))
    table, count, unit = (
        Table.drawn(chance),
        chance.randint(20, 200),
        chance.choice(list(SPEED_FACTORS)),
    )
    written = np.round(numbers.uniform(2, 12, count) / SPEED_FACTORS[unit], 2)
    speed = written * SPEED_FACTORS[unit]
    power = 0.3 * speed**3
    columns = [
        (
            a_heading(chance, ("wind", "wind speed"), chance.choice(SPELT[unit])),
            [table.number(v, 2) for v in written],
        )
    ]
    kind = chance.choice(["watts", "kilowatts", "milli", "volts", "ohms"])
    if kind in ("volts", "ohms"):
        volts = np.round(10 + speed, 3)
        columns.append(
            (a_heading(chance, ("volts", "voltage"), "V"), [table.number(v, 3) for v in volts])
        )
        if kind == "volts":
            milli = chance.random() < 0.4
            amps = np.round(power / volts * (1000 if milli else 1), 2 if milli else 5)
            power = volts * amps / (1000 if milli else 1)
            columns.append(
                (
                    a_heading(chance, ("amps", "current"), "mA" if milli else "A"),
                    [table.number(a, 2 if milli else 5) for a in amps],
                )
            )
        else:
            ohms = np.round(volts**2 / power, 3)
            power = volts**2 / ohms
            columns.append(
                (
                    a_heading(chance, ("load", "resistance"), "ohm"),
                    [table.number(r, 3) for r in ohms],
                )
            )
    else:
        factor, sign = {"watts": (1, "W"), "kilowatts": (1000, "kW"), "milli": (1e-3, "mW")}[kind]
        shown = np.round(power / factor, {"watts": 3, "kilowatts": 6, "milli": 0}[kind])
        power = shown * factor
        columns.append(
            (
                a_heading(chance, ("power", "watts", "output"), sign),
                [table.number(p, {"watts": 3, "kilowatts": 6, "milli": 0}[kind]) for p in shown],
            )
        )
    chance.shuffle(columns)
    if chance.random() < 0.4:
        columns.insert(0, ("time", [f"{at // 60 % 24:02}:{at % 60:02}" for at in range(count)]))
    rows = [[values[at] for _, values in columns] for at in range(count)]
    path = table.write(path, [name for name, _ in columns], rows)
    readings = read_readings(path, Meters())
    # Each by its own mean, or an error of the speeds would drown in the watts.
    means = speed.mean(), power.mean()
    found = np.concatenate((readings.speed_ms / means[0], readings.power_w / means[1]))
    said = tuple(one for one in readings.provenance.warnings if not isinstance(one, OddLines))
    return Read(found, np.concatenate((speed / means[0], power / means[1])), said)


def a_frequency_table(chance: random.Random, path: Path) -> Read:
    """Write how often each class of speeds blows, and read it."""
    numbers = np.random.default_rng(chance.getrandbits(32))
    table, unit = Table.drawn(chance), chance.choice(["m/s", "m/s", "km/h", "kn", "mph"])
    count, step = chance.randint(8, 25), 1 if unit == "m/s" else chance.choice([2, 5])
    edges = np.arange(count + 1) * step
    share = numbers.dirichlet(np.ones(count))
    kind = chance.choice(["hours", "percent", "share", "count"])
    shown, digits = {
        "hours": (8766 * share, 1),
        "percent": (100 * share, 3),
        "share": (share, 5),
        "count": (20000 * share, 0),
    }[kind]
    shown = np.round(shown, digits)
    name = {"percent": chance.choice(["percent", "frequency (%)", "share (%)"])}.get(kind, kind)
    spelt = chance.choice(SPELT[unit])
    headings = [f"from ({spelt})", f"to ({spelt})", name]
    rows = [
        [str(low), str(high), table.number(each, digits)]
        for low, high, each in zip(edges[:-1], edges[1:], shown, strict=True)
    ]
    if chance.random() < 0.2:
        rows = rows[::-1]
    if chance.random() < 0.15:
        rows.append(["total", "", table.number(float(shown.sum()), digits)])
    path = table.write(path, headings, rows)
    read = read_frequency_table(path)
    factor = SPEED_FACTORS[unit]
    found = np.concatenate((read.lower_ms, read.upper_ms, 10 * read.share))
    truth = np.concatenate((edges[:-1] * factor, edges[1:] * factor, 10 * shown / shown.sum()))
    return Read(found, truth, read.provenance.warnings)


def a_table_of_monthly_means(chance: random.Random, path: Path) -> Read:
    """Write twelve monthly means and read them."""
    table, unit = Table.drawn(chance), chance.choice(list(SPEED_FACTORS))
    digits = chance.choice([1, 2])
    shown = [round(chance.uniform(3, 9) / SPEED_FACTORS[unit], digits) for _ in range(12)]
    spelt = chance.choice(SPELT[unit])
    names = [f"{datetime(2001, at, 1):{chance.choice(['%b', '%B'])}}" for at in range(1, 13)]
    months = names if chance.random() < 0.5 else [str(at) for at in range(1, 13)]
    columns = [(a_heading(chance, SPEED_NAMES, spelt), [table.number(v, digits) for v in shown])]
    if chance.random() < 0.4:
        more = (
            (chance.choice(["max speed", "gust"]), 2.5),
            ("min speed", 0.3),
            ("wind speed sd", 0.4),
        )
        for name, factor in chance.sample(more, chance.randint(1, 3)):
            cells = [table.number(factor * value, digits) for value in shown]
            columns.insert(chance.randint(0, 1), (f"{name} ({spelt})", cells))
    columns.insert(0 if chance.random() < 0.8 else len(columns), ("month", months))
    rows = [[cells[at] for _, cells in columns] for at in range(12)]
    if chance.random() < 0.3:
        chance.shuffle(rows)
    if chance.random() < 0.2:
        mean = table.number(sum(shown) / 12, digits)
        rows.append(["year" if name == "month" else mean for name, _ in columns])
    read = read_monthly_means(table.write(path, [name for name, _ in columns], rows))
    return Read(read.speed_ms, np.array(shown) * SPEED_FACTORS[unit], read.provenance.warnings)


def a_grid(chance: random.Random, path: Path) -> Read:
    """Write winds by cell and hour, map their means and read the map."""
    numbers = np.random.default_rng(chance.getrandbits(32))
    unit = chance.choice(list(SPEED_FACTORS))
    speed = numbers.weibull(2, (24 * chance.randint(20, 60), 2, 3)) * chance.uniform(4, 9)
    written = np.round(speed / SPEED_FACTORS[unit], 2)
    missing = numbers.random(written.shape) < chance.choice([0, 0, 0.05])
    truth = np.nanmean(np.where(missing, np.nan, written), axis=0) * SPEED_FACTORS[unit]
    mark = chance.choice([np.nan, -9999.0, 9999.0, 1e20, -99.9])
    spelt = {"units": chance.choice(SPELT[unit])}
    if chance.random() < 0.3:
        bearing = numbers.uniform(0, 2 * np.pi, written.shape)
        parts = {"u": written * np.sin(bearing), "v": written * np.cos(bearing)}
        if chance.random() < 0.5:
            parts = {f"{name}10": part for name, part in parts.items()}
    else:
        parts = {chance.choice(["wind_speed", "ws", "wind", "speed"]): written}
    names = {"u": "eastward_wind", "v": "northward_wind"} | dict.fromkeys("ws", "wind_speed")
    dims, start = ("time", "lat", "lon"), f"20{chance.randint(10, 24)}-0{chance.randint(1, 9)}-01"
    data = xr.Dataset(
        {
            name: (dims, np.where(missing, mark, part), {"standard_name": names[name[0]], **spelt})
            for name, part in parts.items()
        },
        coords={
            "time": pd.date_range(start, periods=len(written), freq="h"),
            "lat": 50 + np.arange(2) / 4,
            "lon": 8 + np.arange(3) / 4,
        },
    ).assign_coords(height=((), 10.0, {"standard_name": "height", "units": "m"}))
    if chance.random() < 0.5:
        data = data.transpose(*chance.sample(dims, 3))
    if not np.isnan(mark) and chance.random() < 0.5:
        for name in parts:
            data[name].attrs["_FillValue" if chance.random() < 0.5 else "missing_value"] = mark
    path = path.with_suffix(".nc")
    data.to_netcdf(path)
    grid = open_grid([path], {})
    recipe = recipe_for(grid, None, None)
    maps = maps_of(in_blocks(grid, recipe), recipe).compute()
    grid.data.close()
    found = maps["mean_speed"].squeeze(drop=True).transpose("lat", "lon").to_numpy()
    return Read(found, truth, recipe.warnings)


KINDS: dict[str, tuple[Callable[[random.Random, Path], Read], int]] = {
    "record": (a_record, 8),
    "curve": (a_curve, 3),
    "bill": (a_bill, 3),
    "readings": (a_table_of_readings, 3),
    "frequency table": (a_frequency_table, 3),
    "monthly means": (a_table_of_monthly_means, 2),
    "grid": (a_grid, 1),
}


def judged(seed: int, folder: Path) -> tuple[str, str, str]:
    """Return the kind of an input, what came of it, and the refusal or the difference."""
    chance = random.Random(seed)
    kind = chance.choices(list(KINDS), [often for _, often in KINDS.values()])[0]
    path = folder / f"{kind.split()[0]}.csv"
    try:
        read = KINDS[kind][0](chance, path)
    except InputError as refused:
        return kind, "refused", str(refused).replace(str(path), "FILE")
    except Exception as error:
        return kind, "CRASHED", repr(error)
    if read.found.shape == read.truth.shape:
        scale = float(np.abs(read.truth).mean()) or 1.0
        apart = float(np.abs(read.found - read.truth).max()) / scale
        if apart <= TOLERANCE:
            return kind, "right", ""
        difference = f"apart by {apart:.3g} of the mean"
    else:
        difference = f"{read.found.size} values for {read.truth.size}"
    told = [type(one).__name__ for one in read.said if not isinstance(one, USUAL)]
    return (kind, "told", ", ".join(told)) if told else (kind, "SILENT", difference)


def _some(seeds: range) -> list[tuple[int, str, str, str]]:
    with tempfile.TemporaryDirectory() as folder:
        return [(seed, *judged(seed, Path(folder))) for seed in seeds]


def main() -> None:
    """Run it from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=20_000)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--refusals", action="store_true", help="also show what is refused")
    parser.add_argument("--write", type=int, help="write the input of a seed here, and judge it")
    options = parser.parse_args()
    if options.write is not None:
        print(judged(options.write, Path.cwd()))
        return
    first, last = options.first_seed, options.first_seed + options.inputs
    parts = [range(at, min(at + 100, last)) for at in range(first, last, 100)]
    counts: Counter[tuple[str, str]] = Counter()
    silent, began = 0, time.monotonic()
    with multiprocessing.get_context("spawn").Pool(options.workers) as pool:
        for done, outcomes in enumerate(pool.imap_unordered(_some, parts), start=1):
            for seed, kind, outcome, what in outcomes:
                counts[kind, outcome] += 1
                silent += outcome.isupper()
                if outcome.isupper() or (options.refusals and outcome in ("refused", "told")):
                    print(f"seed {seed}: {kind}: {outcome}: {what}", flush=True)
            if done % 20 == 0:
                took = time.monotonic() - began
                print(f"{100 * done} inputs, {silent} silent errors, {took:.0f} s", flush=True)
    for (kind, outcome), often in sorted(counts.items()):
        print(f"{kind}: {outcome}: {often}")
    took = time.monotonic() - began
    print(f"{sum(counts.values())} inputs, {silent} silent errors, {took:.0f} s")
    sys.exit(bool(silent))


if __name__ == "__main__":
    main()
