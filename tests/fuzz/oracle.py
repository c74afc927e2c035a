"""Write inputs as people write them, whose truth is known, and see that none is read wrong unsaid.

Run it as `python tests/fuzz/oracle.py --inputs 20000`. Each input is a record in one file or more,
a power curve, a bill, a load profile, a table of readings, of frequencies or of monthly means, as
text or in a workbook, a grid of speeds, components or distributions, or a plan with its answer:
numbers are drawn first, and then written in some unit, with some decimal mark, stamps, clock, gaps,
marks, junk, headings and order. What is read must be those numbers within `TOLERANCE`, or be
refused in one sentence, or a warning must say what was made of it. Anything else is a silent error.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import random
import shutil
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

from yieldest import load
from yieldest.economics.read_bill import (
    BillColumnsNotUsed,
    EveryItemPerUnit,
    ItemsLastAsBuild,
    PricesBeforeTax,
    read_bill,
)
from yieldest.energy.demand import read_load_profile
from yieldest.errors import InputError
from yieldest.maps.blocks import in_blocks
from yieldest.maps.grid import open_grid
from yieldest.maps.make_maps import (
    MonthsMissingOnMap,
    SpreadPutBackOnMap,
    TimesUnknown,
    maps_of,
    recipe_for,
)
from yieldest.turbine.curve_file import read_power_curve
from yieldest.turbine.meters import Meters
from yieldest.turbine.reading_file import OddLines, read_readings
from yieldest.wind.data_recovery import GapsInRecord, LessThanAYear, MonthsMissing, SparseReadings
from yieldest.wind.read_wind import read_wind
from yieldest.wind.record import Record
from yieldest.wind.record_columns import SeveralColumns
from yieldest.wind.summary_tables import read_frequency_table, read_monthly_means

TOLERANCE = 0.005
"""Of the mean of what is read, as a share; units are exact, and speeds are written to a hundredth
of what they are on average."""
USUAL = (
    *(LessThanAYear, MonthsMissing, SparseReadings, GapsInRecord, SeveralColumns),
    *(BillColumnsNotUsed, EveryItemPerUnit, ItemsLastAsBuild, PricesBeforeTax),
    *(MonthsMissingOnMap, SpreadPutBackOnMap, TimesUnknown),
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
DIRECTIONS = {
    "deg": (1.0, ("", "deg", "°", "degrees")),
    "rad": (180 / np.pi, ("rad", "radians")),
    "gon": (0.9, ("gon", "grad")),
    "mil": (360 / 6400, ("mil",)),
    "octants": (45.0, ("octants",)),
    "tens": (10.0, ("tens of degrees", "10 deg")),
    "points": (22.5, ("",)),
}
POINTS = (
    *("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW"),
    *("NW", "NNW"),
)
AIR = {
    "temperature_c": {"C": (1.0, 0.0), "F": (5 / 9, -160 / 9), "K": (1.0, -273.15)},
    "pressure_hpa": {
        **{"hPa": (1.0, 0.0), "mbar": (1.0, 0.0), "kPa": (10.0, 0.0), "Pa": (0.01, 0.0)},
        "inHg": (33.8639, 0.0),
    },
}
"""Degrees Celsius and hectopascal are so many of the unit, and so many more."""
MARKS = ("", "NaN", "-9999", "9999", "999.9", "-99.9", "---", "n/a", "null", "NULL", "-999")


@dataclass(frozen=True)
class Read:
    """What came of an input: the numbers read and the true ones, and what was said."""

    found: np.ndarray
    truth: np.ndarray
    said: tuple[object, ...]


def beside(found: np.ndarray, truth: np.ndarray, of_one: float) -> tuple[np.ndarray, np.ndarray]:
    """Return values to stand beside others in a `Read`, where an error of `of_one` is a whole."""
    return 1 + (found - truth) / of_one, np.ones(truth.shape)


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

    def write(self, path: Path, headings: list[str], rows: list[list[str]], note: str = "") -> Path:
        """Write a table with the junk that stands around tables, and return where it stands."""
        chance, quoted = self.chance, self.chance.random() < 0.15
        if chance.random() < 0.12 and not note:
            return self._write_workbook(path.with_suffix(".xlsx"), [headings, *rows])

        def line(cells: list[str]) -> str:
            shown = [f'"{cell}"' for cell in cells] if quoted else cells
            return self.delimiter.join(shown) + (self.delimiter if trailing else "")

        trailing = chance.random() < 0.1
        lines = [line(headings), *map(line, rows)]
        if chance.random() < 0.2:
            lines[:0] = ["# invented data", "# of nobody"][: chance.randint(1, 2)]
        if note:
            lines.insert(0, note)
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
    also: dict[str, np.ndarray] = {}
    more = _of_the_speed(chance, table, written, digits, unit, spelt)
    for role, (heading, cells, values) in (
        more | _of_the_air(chance, numbers, table, len(times))
    ).items():
        also[role] = values
        columns.insert(chance.randrange(len(columns) + 1), (heading, cells))
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
    elif chance.random() < 0.12:
        path = _several_files(chance, table, path, headings, rows)
    else:
        path = table.write(path, headings, rows)
    record = read_wind(path, time_zone=zone) if zone else read_wind(path)
    there = np.isfinite(record.speed_ms)
    truth = written[~missing] * SPEED_FACTORS[unit]
    true_times = times[~missing].astype("datetime64[ns]")
    found_times = record.time[there]
    # Of an hour that the clocks repeat, one may lie in a gap: which one, nobody can tell by the
    # lines; of longer steps it shows, unless the lines are in no order.
    hour = max(way == "shuffled", 60 // minutes) if zone else 0
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
    if not shifted:
        return Read(np.append(record.speed_ms[there], 1e9), truth, record.provenance.warnings)
    others = [
        _beside_speed(record, role, values, there, ~missing, float(truth.mean()))
        for role, values in also.items()
        # A column that is not used, of which there is a list, is not read wrong.
        if getattr(record, role, None) is not None
    ]
    pairs = [(record.speed_ms[there] / truth.mean(), truth / truth.mean()), *others]
    read, true = (np.concatenate(each) for each in zip(*pairs, strict=True))
    return Read(read, true, record.provenance.warnings)


def _beside_speed(
    record: Record,
    role: str,
    truth: np.ndarray,
    there: np.ndarray,
    written: np.ndarray,
    mean_ms: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Return the values of a role where there is a speed, and what they should be."""
    off = getattr(record, role)[there] - truth[written]
    if role == "direction_deg":
        off = (off + 180) % 360 - 180
    of_one = {"direction_deg": 100.0, "temperature_c": 10.0, "pressure_hpa": 100.0}
    return beside(off, np.zeros(off.shape), of_one.get(role, mean_ms))


def _of_the_speed(
    chance: random.Random, table: Table, written: np.ndarray, digits: int, unit: str, spelt: str
) -> dict[str, tuple[str, list[str], np.ndarray]]:
    """Return gusts and the like by role: heading, cells and true values."""
    found: dict[str, tuple[str, list[str], np.ndarray]] = {}
    for role, names, factor in (
        ("gust_ms", ("wind gust", "gust", "max wind speed", "wind speed max"), 1.5),
        ("lowest", ("wind speed min", "min speed"), 0.5),
        ("standard_deviation_ms", ("wind speed sd", "wind speed std"), 0.15),
    ):
        if chance.random() < 0.15:
            shown = np.round(factor * written, digits)
            cells = [table.number(each, digits) for each in shown]
            found[role] = a_heading(chance, names, spelt), cells, shown * SPEED_FACTORS[unit]
    return found


def _of_the_air(
    chance: random.Random, numbers: np.random.Generator, table: Table, count: int
) -> dict[str, tuple[str, list[str], np.ndarray]]:
    """Return columns beside the speed by role: heading, cells and true values."""
    found: dict[str, tuple[str, list[str], np.ndarray]] = {}

    def heading(names: tuple[str, ...], unit: str) -> str:
        return f"{chance.choice(names)} ({unit})" if unit else chance.choice(names)

    if chance.random() < 0.3:
        kind = chance.choices(list(DIRECTIONS), [6, 1, 1, 1, 1, 1, 2])[0]
        factor, spelt = DIRECTIONS[kind]
        whole = kind not in ("deg", "rad", "gon")
        digits = 3 if kind == "rad" else 0 if whole else chance.choice([0, 1])
        shown = np.round(numbers.uniform(0, 359, count) / factor, digits)
        if kind in ("octants", "points"):
            shown %= 360 / factor
        cells = [
            POINTS[int(each)] if kind == "points" else table.number(each, digits) for each in shown
        ]
        names = ("wind direction", "direction", "wind dir", "WD", "wdir")
        found["direction_deg"] = heading(names, chance.choice(spelt)), cells, shown * factor
    for role, names, low, high in (
        ("temperature_c", ("temperature", "air temp", "Temp"), -15, 35),
        ("pressure_hpa", ("pressure", "air pressure", "baro"), 960, 1030),
    ):
        if chance.random() < 0.25:
            unit = chance.choice(list(AIR[role]))
            factor, more = AIR[role][unit]
            digits = {"inHg": 2, "kPa": 2, "Pa": 0}.get(unit, 1)
            shown = np.round((numbers.uniform(low, high, count) - more) / factor, digits)
            cells = [table.number(each, digits) for each in shown]
            found[role] = heading(names, unit), cells, shown * factor + more
    for name, low, high in (("battery (V)", 11, 14), ("humidity (%)", 30, 99)):
        if chance.random() < 0.25:
            cells = [table.number(each, 1) for each in numbers.uniform(low, high, count)]
            found[name] = name, cells, np.zeros(count)
    return found


def _several_files(
    chance: random.Random, table: Table, path: Path, headings: list[str], rows: list[list[str]]
) -> Path:
    """Write a table in several files of one folder, each laid out in its own way."""
    folder = path.parent / "several"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    cuts = sorted(chance.sample(range(1, len(rows)), chance.randint(1, 3)))
    for at, (first, last) in enumerate(zip([0, *cuts], [*cuts, len(rows)], strict=True)):
        table.write(folder / f"part{at}.csv", headings, rows[first:last])
    return folder


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
    density, note = 1.225, ""
    if chance.random() < 0.25:
        density = round(chance.uniform(0.9, 1.3), 3)
        forms = ("# air density: {} kg/m3", "# Air density = {}", "# air_density_kg_m3: {}")
        note = chance.choice((*forms, "# air density {} kg/m3")).format(density)
    path = table.write(path, headings, rows, note)
    curve = read_power_curve(path)
    at = np.linspace(speed[0], speed[-1], 50)
    truth = np.interp(at, speed, power)
    found = np.append(curve.power_at(at) / truth.mean(), curve.air_density_kg_m3 / density)
    return Read(found, np.append(truth / truth.mean(), 1.0), curve.provenance.warnings)


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
    lives = hours = np.full(count, np.nan)
    if chance.random() < 0.4:
        of_year = {"life years": 1, "life (months)": 12, "lifetime": 1, "life (years)": 1}
        name = chance.choice(list(of_year))
        shown = np.array([chance.randint(6, 20) for _ in range(count)])
        in_months = [chance.random() < 0.2 for _ in range(count)]
        lives = np.where(in_months, shown / 12, shown / of_year[name])
        words = ["", "", " years", " y"] if of_year[name] == 1 else ["", "", " months"]
        word = chance.choice(words)
        headings.append(name)
        rows = [
            [*row, f"{each}{' months' if months else word}"]
            for row, each, months in zip(rows, shown, in_months, strict=True)
        ]
    if chance.random() < 0.4:
        name = chance.choice(["labour hours", "hours", "labour (min)", "my hours", "labour (h)"])
        minutes = np.array([15.0 * chance.randint(0, 40) for _ in range(count)])
        words = [chance.choice(["", "", "", " min", " h"]) for _ in range(count)]
        in_minutes = [w == " min" or (not w and "min" in name) for w in words]
        headings.append(name)
        rows = [
            [*row, f"{table.number(each if short else each / 60, 2)}{word}"]
            for row, each, short, word in zip(rows, minutes, in_minutes, words, strict=True)
        ]
        hours = minutes / 60
    tax = np.zeros(count)
    if chance.random() < 0.25:
        tax = np.array([chance.choice([0, 5, 10, 20]) for _ in range(count)]) / 100
        headings.append(chance.choice(["tax (%)", "VAT (%)", "tax percent"]))
        mark = chance.choice(["", " %"])
        rows = [[*row, f"{100 * each:.0f}{mark}"] for row, each in zip(rows, tax, strict=True)]
    if chance.random() < 0.2:
        headings.append("notes")
        rows = [[*row, "from the shop"] for row in rows]
    before_tax = sum(q * p for q, p in zip(quantity, price, strict=True))
    truth = float((np.array(quantity) * price * (1 + tax)).sum())
    if chance.random() < 0.3:
        rows.append(["Total", "", money(before_tax), *[""] * (len(headings) - 3)])
    path = table.write(path, headings, rows)
    bill = read_bill(path, "EUR")
    read, true = [bill.capital_cost(1, 0.0) / truth], [1.0]
    if len(bill.items) == count:
        for given, field, of_one in ((lives, "life_years", 10.0), (hours, "labour_hours", 10.0)):
            if np.isfinite(given).all():
                values = np.array([getattr(item, field) or 0.0 for item in bill.items])
                pair = beside(values, given, of_one)
                read.extend(pair[0])
                true.extend(pair[1])
    else:
        read.append(np.inf)
        true.append(1.0)
    return Read(np.array(read), np.array(true), bill.provenance.warnings)


def a_load_profile(chance: random.Random, path: Path) -> Read:
    """Write what a house draws in a year and read it."""
    numbers = np.random.default_rng(chance.getrandbits(32))
    table, minutes = Table.drawn(chance), chance.choice([60, 60, 60, 30])
    times = pd.date_range("2021-01-01", "2022-01-01", freq=f"{minutes}min", inclusive="left")
    hour = times.hour.to_numpy()
    drawn_kw = numbers.gamma(2, 0.15, times.size) * (1 + 0.5 * np.cos((hour - 19) / 24 * 2 * np.pi))
    unit = chance.choice(["kWh", "Wh", "kW", "W"])
    factor = (1.0 if unit[0] == "k" else 1000.0) * (minutes / 60 if unit[-1] == "h" else 1.0)
    digits = 4 if unit[0] == "k" else 1
    shown = np.round(drawn_kw * factor, digits)
    headings, stamps = _stamps(chance, times.to_numpy(), "UTC")
    names = ("load", "energy") if unit[-1] == "h" else ("load", "power")
    headings = [*headings, f"{chance.choice(names)} ({unit})"]
    rows = [[*row, table.number(v, digits)] for row, v in zip(stamps, shown, strict=True)]
    read = read_load_profile(table.write(path, headings, rows))
    places = times.month.to_numpy() - 1, times.day.to_numpy() - 1, hour
    truth = np.zeros((12, 31, 24))
    np.add.at(truth, places, shown / factor * minutes / 60)
    there = truth > 0
    return Read(read.drawn_kw[there], truth[there], read.provenance.warnings)


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
    mark = chance.choice([np.nan, -9999.0, 9999.0, 1e20, -99.9, 99.0, 99.9])
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
    if chance.random() < 0.2:
        step = chance.choice([("hours", 1.0), ("days", 1 / 24), ("days", 1.0)])
        calendar = {"calendar": chance.choice(["noleap", "360_day"])}
        hours = np.arange(len(written)) * step[1]
        data = data.assign_coords(
            time=("time", hours, {"units": f"{step[0]} since {start}", **calendar})
        )
    if chance.random() < 0.5:
        data = data.transpose(*chance.sample(dims, 3))
    if not np.isnan(mark) and chance.random() < 0.5:
        for name in parts:
            data[name].attrs["_FillValue" if chance.random() < 0.5 else "missing_value"] = mark
    return mapped(data, path, truth)


def mapped(data: xr.Dataset, path: Path, truth: np.ndarray) -> Read:
    """Write a grid and map its mean speeds, beside the true ones."""
    path = path.with_suffix(".nc")
    data.to_netcdf(path)
    grid = open_grid([path], {})
    recipe = recipe_for(grid, None, None)
    maps = maps_of(in_blocks(grid, recipe), recipe).compute()
    grid.data.close()
    found = maps["mean_speed"].squeeze(drop=True).transpose("lat", "lon").to_numpy()
    return Read(found, truth, recipe.warnings)


def a_grid_of_distributions(chance: random.Random, path: Path) -> Read:
    """Write Weibull parameters by cell, or how often each speed blows, and map their means."""
    numbers = np.random.default_rng(chance.getrandbits(32))
    unit = chance.choice(list(SPEED_FACTORS))
    factor, spelt = SPEED_FACTORS[unit], chance.choice(SPELT[unit])
    shape = np.round(numbers.uniform(1.4, 3, (2, 3)), 3)
    scale = np.round(numbers.uniform(4, 9, (2, 3)) / factor, 3)
    height = {"height": ((), 10.0, {"standard_name": "height", "units": "m"})}
    if chance.random() < 0.5:
        names = chance.choice([("k", "a"), ("shape", "scale"), ("weibull_k", "weibull_A")])
        long_names = ("Weibull shape", "Weibull scale")
        units = ({"units": "1"}, {"units": spelt})
        data = xr.Dataset(
            {
                name: (("lat", "lon"), values, {"long_name": long, **one})
                for name, values, long, one in zip(
                    names, (shape, scale), long_names, units, strict=True
                )
            },
            coords=height,
        )
        truth = scale * factor * np.vectorize(math.gamma)(1 + 1 / shape)
    else:
        edges = np.arange(31) / (factor if unit != "m/s" else 1.0)
        below = 1 - np.exp(-((edges[:, np.newaxis, np.newaxis] / scale) ** shape))
        often = np.diff(below, axis=0)
        often *= chance.choice([1.0, 100.0, 8760.0])
        middle = (edges[1:] + edges[:-1]) / 2
        speeds = ("wind_speed", middle, {"standard_name": "wind_speed", "units": spelt})
        data = xr.Dataset(
            {"f": (("wind_speed", "lat", "lon"), often)}, coords={"wind_speed": speeds, **height}
        )
        truth = (often * middle[:, np.newaxis, np.newaxis]).sum(0) / often.sum(0) * factor
    return mapped(data, path, np.asarray(truth))


def a_plan(chance: random.Random, path: Path) -> Read:
    """Write a plan with its curve and bill, estimate it, and work its energy and money out."""
    hub, diameter = chance.randint(6, 30), round(chance.uniform(0.6, 4), 2)
    area = np.pi * diameter**2 / 4
    speed = np.arange(2, 21)
    rated = round(area * chance.uniform(100, 400))
    power = np.round(
        np.minimum(0.5 * 1.225 * area * chance.uniform(0.15, 0.3) * speed**3, rated), 1
    )
    power[0] = 0.0
    shape, scale = round(chance.uniform(1.5, 2.6), 2), round(chance.uniform(4, 9), 2)
    celsius, hectopascal = chance.randint(-5, 25), chance.randint(880, 1030)
    names = ("availability", "turbine_performance", "electrical", "environmental", "curtailment")
    losses = {name: round(chance.uniform(0, 0.15), 3) for name in ("wake", *names)}
    prices = [(chance.randint(1, 6), round(chance.uniform(5, 900), 2)) for _ in range(4)]
    rate, life = round(chance.uniform(0, 0.1), 3), chance.randint(5, 25)
    price, upkeep = round(chance.uniform(0.1, 0.5), 3), round(chance.uniform(0, 0.05), 3)
    (path.parent / "plan-curve.csv").write_text(
        "speed (m/s),power (W)\n" + "".join(f"{v},{p}\n" for v, p in zip(speed, power, strict=True))
    )
    (path.parent / "plan-bill.csv").write_text(
        "item,quantity,unit price\n" + "".join(f"part {n},{n},{each}\n" for n, each in prices)
    )
    plan = {
        "": {"title": "invented", "currency": "EUR"},
        "site": {"mean_temperature_c": celsius, "mean_pressure_hpa": hectopascal},
        "wind": {"weibull_shape": shape, "weibull_scale_ms": scale, "measured_height_m": hub},
        "[build]": {
            **{"name": "invented", "hub_height_m": hub, "rotor_diameter_m": diameter},
            **{"curve": "plan-curve.csv", "bill": "plan-bill.csv"},
        },
        "build.losses": losses,
        "economics": {
            **{"discount_rate": rate, "life_years": life, "price_per_kwh": price},
            "maintenance_share_per_year": upkeep,
        },
    }
    path = path.with_suffix(".toml")
    path.write_bytes(_as_toml(chance, plan))
    result = load(path).estimate()
    build = result.builds[0]
    # The gas law, and the pressure at the hub by the barometric formula.
    kelvin = celsius + 273.15
    density = 100 * hectopascal / (287.05 * kelvin) * np.exp(-9.80665 * hub / (287.05 * kelvin))
    at = np.linspace(2, 20, 40_001)
    often = shape / scale * (at / scale) ** (shape - 1) * np.exp(-((at / scale) ** shape))
    watts = np.trapezoid(np.interp(at, speed, power) * often, at) * density / 1.225
    net = 8.76 * watts * np.prod([1 - share for share in losses.values()])
    capital = sum(n * each for n, each in prices)
    discounted = sum((1 + rate) ** -year for year in range(1, life + 1))
    truth = {
        "density": (build.air.mean_density_kg_m3, density),
        "net energy": (build.energy.net_kwh, net),
        "capital": (build.cost.capital_cost, capital),
        "cost of a kWh": (
            build.cost.cost_per_kwh,
            capital * (1 + upkeep * discounted) / (net * discounted),
        ),
        "net present value": (
            build.cost.net_present_value + capital * (1 + upkeep * discounted),
            price * net * discounted,
        ),
    }
    found = np.array([float(read) / true for read, true in truth.values()])
    return Read(found, np.ones(found.size), result.warnings)


def _as_toml(chance: random.Random, plan: dict[str, dict[str, object]]) -> bytes:
    """Write tables in one of the ways that TOML has, the keys of each in any order."""
    end = chance.choice(["\n", "\n", "\r\n"])
    lines = ["# invented"] * (chance.random() < 0.5)

    def value(content: object) -> str:
        if isinstance(content, str):
            return f"'{content}'" if chance.random() < 0.3 else f'"{content}"'
        if isinstance(content, int) and chance.random() < 0.2:
            return f"{content}.0" if chance.random() < 0.5 and content != life else f"{content:+}"
        return (
            f"{content:.4e}"
            if isinstance(content, float) and chance.random() < 0.1
            else str(content)
        )

    life = plan["economics"]["life_years"]
    for heading, table in plan.items():
        pairs = list(table.items())
        chance.shuffle(pairs)
        equals = chance.choice([" = ", "=", "  =  "])
        remark = "  # as measured" if chance.random() < 0.2 else ""
        lines += ["", f"[{heading}]"] if heading else []
        lines += [f"{name}{equals}{value(content)}{remark}" for name, content in pairs]
    return end.join([*lines, ""]).encode(chance.choice(["utf-8", "utf-8", "utf-8-sig"]))


KINDS: dict[str, tuple[Callable[[random.Random, Path], Read], int]] = {
    "record": (a_record, 8),
    "curve": (a_curve, 3),
    "bill": (a_bill, 3),
    "load profile": (a_load_profile, 1),
    "readings": (a_table_of_readings, 3),
    "frequency table": (a_frequency_table, 3),
    "monthly means": (a_table_of_monthly_means, 2),
    "plan": (a_plan, 2),
    "grid": (a_grid, 1),
    "grid of distributions": (a_grid_of_distributions, 1),
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
