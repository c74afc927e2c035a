"""Which column of a table of readings holds what, in which unit, and the times in it."""

from __future__ import annotations

import re
import sys
from collections.abc import Mapping
from dataclasses import replace
from os import PathLike
from pathlib import Path

import numpy as np
import pandas as pd

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.files.dialect import LayoutOptions, layout_of, without_footer
from yieldest.files.table import MOST_COLUMNS, Table, plain_heading, read_blocks, table_of_frame
from yieldest.files.time_stamps import possible_orders
from yieldest.frozen import frozen_dataclass
from yieldest.settings import DecimalMark
from yieldest.turbine.meters import Meters, Wiring, rms, wiring_of
from yieldest.units import SPELLINGS
from yieldest.wind.record_clock import Clock
from yieldest.wind.record_columns import RECOGNISED_COLUMNS
from yieldest.wind.record_values import numbers_of

Source = str | PathLike[str] | pd.DataFrame

BEYOND_BELIEF = 1e9
"""No machine of these shows a value above this, in volts, amps, watts, ohms or rpm."""
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d+)?))?")
_HALF_DAY_S = 43200.0
_MILLI = 1e-3
_MEGA = re.compile(r"(?<![A-Za-z])M\s?(?:[VvAaWw](?![a-z])|[Oo][Hh][Mm])")


@frozen_dataclass
class Role:
    """What a column may be.

    The role in words, the plain headings that are recognised (the surest first), the factor of each
    unit in lower case (none for a plain count), and the names that say the unit by themselves.
    """

    words: str
    names: tuple[str, ...]
    units: Mapping[str, float]
    unit_in_name: frozenset[str] = frozenset()


_VOLT = {"v": 1.0, "mv": 1e-3, "volts": 1.0, "volt": 1.0} | dict.fromkeys(
    ("vdc", "v dc", "vac", "v ac", "vrms", "v rms", "vpp", "v pp", "vp", "vpk", "v peak"), 1.0
)
_AMP = {"a": 1.0, "ma": 1e-3, "amps": 1.0, "amp": 1.0, "amperes": 1.0, "ampere": 1.0}
_AMP |= dict.fromkeys(("adc", "a dc", "aac", "a ac", "arms", "a rms", "app", "apk", "a peak"), 1.0)
_AMP |= {"madc": 1e-3, "ma dc": 1e-3, "marms": 1e-3, "ma rms": 1e-3}
_VOLT |= {"mvrms": 1e-3, "mv rms": 1e-3, "mvpp": 1e-3, "mv pp": 1e-3}
_VOLT_WORDS = (
    *("volts", "volt", "volts rms", "volts peak", "volts dc", "volts ac", "volts pp"),
    *("volts peak to peak", "v rms", "v peak", "vdc", "vac", "vrms", "vpp", "vpk", "v"),
)
_BATTERY = ("battery", "batt", "bat")
"""Headings that say by their unit whether they are volts or amps."""
_BATTERY_VOLTS = (
    *_BATTERY,
    *(f"{name} {volts}" for name in _BATTERY for volts in ("v", "volts", "voltage")),
    *("vbat", "vbatt", "v bat", "v batt", "v battery", "bus voltage", "dc voltage"),
)
_BATTERY_AMPS = (
    *_BATTERY,
    *(f"{name} {amps}" for name in (*_BATTERY, "charge", "charging") for amps in ("a", "amps")),
    *(f"{name} current" for name in (*_BATTERY, "charge", "charging", "dc")),
    *("ibat", "ibatt", "i bat", "i batt", "i battery"),
)
_AMP_WORDS = (
    *("amps", "amp", "amperes", "ampere"),
    *("amps rms", "amps peak", "amps dc", "amps ac", "arms"),
)

SPEED_UNIT_HEADINGS = tuple(dict.fromkeys(map(plain_heading, SPELLINGS["speed"])))
"""The speed units as plain headings: one alone, or behind a name, heads a column of speeds."""
_SPEEDS = tuple(name for name in RECOGNISED_COLUMNS["speed"] if name != "v")

ROLES = {
    "time": Role(
        "time",
        (*RECOGNISED_COLUMNS["time"], "clock", "elapsed"),
        {"s": 1.0, "sec": 1.0, "seconds": 1.0, "min": 60.0, "minutes": 60.0},
    ),
    "date": Role("date", RECOGNISED_COLUMNS["date"], {}),
    # Beside a wind speed "v" is volts.
    "speed": Role("wind speed", (*_SPEEDS, "v wind", *SPEED_UNIT_HEADINGS), {}),
    "wind pulses": Role(
        "pulses of the anemometer", ("wind pulses", "anemometer pulses", "cup pulses"), {}
    ),
    "volts": Role(
        "volts",
        ("voltage", *_VOLT_WORDS, "u", *_BATTERY_VOLTS, "spannung", "spanning"),
        _VOLT,
        frozenset(("voltage", *_VOLT_WORDS, *_BATTERY_VOLTS)) - frozenset(_BATTERY),
    ),
    "amps": Role(
        "amps",
        ("current", *_AMP_WORDS, "i", "a", *_BATTERY_AMPS, "strom", "courant", "stroom"),
        _AMP,
        frozenset((*_AMP_WORDS, "a", *_BATTERY_AMPS))
        - frozenset((*_BATTERY, *(name for name in _BATTERY_AMPS if name.endswith("current")))),
    ),
    "watts": Role(
        "power",
        (
            *("watts", "watt", "power", "output", "electrical power", "p", "w", "watts out", "kw"),
            *("leistung", "puissance", "potencia", "potenza", "vermogen"),
        ),
        {"w": 1.0, "mw": 1e-3, "kw": 1000.0, "watts": 1.0, "watt": 1.0},
        frozenset(("watts", "watt", "w", "watts out")),
    ),
    "pulses": Role("pulses of the energy meter", ("pulses", "meter pulses", "energy pulses"), {}),
    "ohms": Role(
        "load resistance",
        ("load", "load resistance", "resistance", "ohms", "ohm", "r"),
        {"ohm": 1.0, "ohms": 1.0, "Ω".lower(): 1.0, "kohm": 1000.0, "mohm": 1e-3},
        frozenset(("ohms", "ohm")),
    ),
    "rpm": Role(
        "rotor speed",
        ("rpm", "rotor speed", "rotor rpm", "revolutions", "revs", "n"),
        {"rpm": 1.0, "1/min": 1.0, "r/min": 1.0, "rps": 60.0, "1/s": 60.0},
        frozenset(("rpm", "rotor rpm")),
    ),
    "temperature": Role(
        "air temperature", RECOGNISED_COLUMNS["temperature"], {"c": 1.0, "°c": 1.0}
    ),
    "pressure": Role("air pressure", RECOGNISED_COLUMNS["pressure"], {"hpa": 1.0, "mbar": 1.0}),
}
"""The columns that a table of readings may have."""


@frozen_dataclass
class ReadingTable:
    """A table of readings, with role to heading of every column that was found and the circuit."""

    table: Table
    columns: Mapping[str, str]
    wiring: Wiring

    def numbers(self, role: str) -> FloatArray:
        """Return a column that is there as its numbers stand in the file."""
        return numbers_of(self.table, self.columns[role])[0]

    def values(self, role: str) -> FloatArray | None:
        """Return a column in SI units (rpm for rotor speed, C and hPa for air); None without one.

        Volts and amps are direct or RMS values.
        """
        if role not in self.columns:
            return None
        column, known = self.columns[role], ROLES[role]
        factor = unit_factor(self.table, role, column) if known.units else 1.0
        values = self.numbers(role)
        self.table.refuse(
            np.abs(values) > BEYOND_BELIEF / factor,
            lambda row: (
                f"{values[row]:.4g} in column {column!r} is no value that the {known.words} can "
                "have; mend it."
            ),
        )
        # What no meter can show is nothing, as a spreadsheet has it where something cancels out.
        values = np.where(np.abs(values) < 1 / BEYOND_BELIEF, 0.0, values)
        shows = self.wiring.shows.get(role)
        return values * factor if shows is None else rms(values * factor, shows)

    def seconds_since_first(self, date_order: str | None) -> FloatArray | None:
        """Return the times of the readings as seconds since the first line; None without.

        The column "time" may hold dates with time in any style of a wind record, clock times (14:03
        or 14:03:20), or elapsed time with its unit in the heading ("time (s)"); "date" may stand
        beside clock times. In the order of the file, not sorted.
        """
        if "time" not in self.columns:
            return None
        column = self.columns["time"]
        if "date" not in self.columns:
            texts = self.table.texts(column)
            if all(_CLOCK.fullmatch(text) for text in texts):
                parts = [[float(part) for part in f"{text}:0".split(":")[:3]] for text in texts]
                seconds = np.array(parts) @ np.array([3600.0, 60.0, 1.0])
                # A clock that falls back by more than half a day has passed midnight.
                midnights = np.cumsum(np.diff(seconds, prepend=seconds[:1]) < -_HALF_DAY_S)
                return np.asarray(seconds + 2 * _HALF_DAY_S * midnights - seconds[0])
            factor = known_factor("time", column)
            if factor is not None:
                seconds = factor * self.numbers("time")
                self.table.refuse(
                    np.isnan(seconds),
                    lambda _: (
                        f"the time in column {column!r} is blank; fill it in or leave the line out."
                    ),
                )
                return np.asarray(seconds - seconds[0])
        names = {role: self.columns[role] for role in ("time", "date") if role in self.columns}
        dates = self.table.texts(names.get("date", names["time"]))
        if date_order is None and len({text.partition(" ")[0] for text in dates}) == 1:
            # Of one day, whichever it is, the clock says the same.
            date_order = min(possible_orders(pd.Series(dates)) or (), default=None)
        clock = Clock(names, date_order)
        clock.settle_order([self.table])
        times = clock.times(self.table)
        return np.asarray((times - times[0]) / np.timedelta64(1, "s"))


def open_readings(source: Source, meters: Meters, stated: Mapping[str, str]) -> ReadingTable:
    """Read a table of readings as text, its layout recognised as that of a wind record is.

    Any delimiter, decimal point or comma, lines of other text above the heading, a line of units
    below it (which then stand behind the headings in brackets), lines of text without any number
    below the readings. The `stated` columns, role to heading, are taken from the search for other
    roles. An `InputError` when one is not there, or two columns could be the same.
    """
    if isinstance(source, str | PathLike):
        table = read_text_table(Path(source), meters.decimal)
    else:
        table = table_of_frame(source, index="time", value="wind speed (m/s)")
    found: dict[str, str] = {}
    for role, heading in stated.items():
        # A unit from the line below stands behind the heading that the user sees in the file.
        with_unit = next((h for h in table.headings if h.startswith(f"{heading} (")), heading)
        whole = heading if heading in table.headings else with_unit
        found[role] = str(table.find(ROLES[role].words, (), whole))
    for role, known in ROLES.items():
        if role in found:
            continue
        # A heading that is taken already must not answer twice: "v" is volts beside "wind".
        others = [
            heading
            for heading in table.headings
            if heading not in found.values()
            and plain_heading(heading) in _BATTERY
            and known_factor(role, heading) is None
        ]
        free = replace(table, frame=table.frame.drop(columns=[*found.values(), *others]))
        heading_or_none = free.find(
            known.words,
            known.names,
            tails=SPEED_UNIT_HEADINGS if role == "speed" else [*map(plain_heading, known.units)],
            required=False,
            how_to_state=_stating(role),
        )
        if heading_or_none is not None:
            found[role] = heading_or_none
    return ReadingTable(table, found, wiring_of(str(table.path), meters, found))


def read_text_table(path: Path, decimal: DecimalMark | None = None) -> Table:
    """Read a table of readings, every cell as text; a line of units goes behind the headings."""
    layout = layout_of(path, LayoutOptions(decimal=decimal))
    if len(layout.headings) > MOST_COLUMNS:
        raise InputError(
            f"{path}: {len(layout.headings)} columns are more than any table of readings has; "
            "check the file and its delimiter."
        )
    layout = without_footer(
        path, layout, lambda cells: re.search(r"\d", "".join(cells)) is not None
    )
    # Readings are kept in one piece: a day of them at one a second is some megabytes.
    table = next(read_blocks(path, layout, layout.headings, layout.headings, sys.maxsize))
    headings = list(layout.headings)
    for at, unit in enumerate(layout.units):
        if unit.strip("()[] "):
            headings[at] += f" ({unit.strip('()[] ')})"
    return replace(table, frame=table.frame.set_axis(headings, axis=1))


def _stating(role: str) -> str:
    return f"meters.columns; on the command line --column {role}=HEADING"


_SAY_HOW = frozenset(
    (
        *("rms", "peak", "pk", "pp", "to", "dc", "ac", "avg", "ave", "average", "mean", "measured"),
        *("at", "out", "in", "of", "net", "phase", "line", "battery", "batt", "bat", "output"),
    )
)
"""Words in brackets that say how or where something is measured, and leave the unit as it is."""


def units_in_brackets(heading: str) -> set[str]:
    """Return the words that a heading has in brackets and that may be its unit."""
    words = " ".join(re.findall(r"[(\[]([^()\[\]]+)[)\]]", heading.lower())).split()
    return set(words) - _SAY_HOW


def known_factor(role: str, column: str) -> float | None:
    """Return the factor to SI units (rpm for rotor speed) that a heading asks for, if it does."""
    known = ROLES[role]
    raw = column.strip()
    bracketed = re.search(r"[(\[]([^()\[\]]+)[)\]]", raw)
    tail = re.search(r"[\s_]([^\s_()\[\]]+)$", raw)
    spelt = [match.group(1).strip() for match in (bracketed, tail) if match is not None]
    if units_in_brackets(raw) - {word for unit in known.units for word in unit.split()}:
        return None
    for text in (*spelt, *(word for words in spelt for word in words.split()), raw):
        if text.lower() in known.units:
            return known.units[text.lower()]
    return 1.0 if plain_heading(raw) in known.unit_in_name else None


def unit_factor(table: Table, role: str, column: str) -> float:
    """Return the factor to SI units that a heading asks for, which it must."""
    factor = known_factor(role, column)
    if factor == _MILLI and (mega := _MEGA.search(column)):
        raise InputError(
            f"{table.path}: the heading {column!r} says {mega[0]!r}, which is mega, a million of "
            f"them; write the unit as one of {', '.join(ROLES[role].units)} as it is meant."
        )
    if factor is None:
        raise InputError(
            f"{table.path}: the heading {column!r} does not say the unit of the "
            f"{ROLES[role].words}; write it behind the name in brackets (one of "
            f"{', '.join(ROLES[role].units)}), or, if another column is meant, state it "
            f"({_stating(role)})."
        )
    return factor
