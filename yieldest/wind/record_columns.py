"""Which column of a record holds what: roles, heights, sensors and units, told from headings."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn

from yieldest.errors import InputError
from yieldest.files.dialect import Layout
from yieldest.files.table import folded
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding
from yieldest.units import SPEED_UNITS, unit_in_heading
from yieldest.wind.read_options import ReadOptions, Recognised, TableOptions

CLOCK_ROLES = ("time", "date", "year", "month", "day", "hour", "minute", "second", "half_of_day")
TEXT_ROLES = ("time", "date", "half_of_day")
"""Those of the clock's columns that are kept as text."""
VALUE_ROLES = ("speed", "direction", "temperature", "pressure", "standard_deviation", "gust")

RECOGNISED_COLUMNS = {
    "time": ("time", "timestamp", "time stamp", "datetime", "date time", "time hour",
             "date and time", "epoch", "unix time", "unixtime", "utc time", "local time", "ts",
             "zeit", "uhrzeit", "zeitstempel", "zeitpunkt", "datum uhrzeit", "datum zeit", "heure",
             "horodatage", "date heure", "hora", "fecha hora", "ora", "data ora", "tijd",
             "tijdstip", "datum tijd"),
    "date": ("date", "day date", "yyyymmdd", "datum", "fecha"),
    "year": ("year", "yy", "yyyy", "yr", "jahr", "annee", "ano", "anno", "jaar"),
    "month": ("month", "mon", "mo", "monat", "mois", "mes", "mese", "maand"),
    "day": ("day", "dd", "dy", "day of month", "tag", "jour", "dia", "giorno", "dag"),
    "hour": ("hour", "hh", "hr", "stunde", "uur"),
    "minute": ("minute", "mn", "min", "minutes"),
    "second": ("second", "sec", "seconds"),
    "half_of_day": ("am pm", "ampm"),
    "speed": ("speed", "wind speed", "windspeed", "wind spd", "windspd", "wspd", "ws", "wind", "v",
              "anemometer", "wind velocity", "ff", "spd", "wind force", "force", "beaufort", "bft",
              "windgeschwindigkeit", "windgeschw", "geschwindigkeit", "vitesse du vent",
              "vitesse vent", "vitesse", "vent", "velocidad del viento", "velocidad viento",
              "viento", "velocita del vento", "velocita vento", "vento", "windsnelheid",
              "velocidad", "velocita", "snelheid"),
    "direction": ("direction", "wind direction", "wind dir", "winddir", "winddirection", "wdir",
                  "dir", "wd", "wind from direction", "windrichtung", "richtung",
                  "direction du vent", "direction vent", "direccion del viento", "direccion",
                  "direzione del vento", "direzione", "windrichting"),
    "temperature": ("temperature", "air temperature", "temp", "air temp", "dry bulb temperature",
                    "dry bulb", "temperatur", "lufttemperatur", "temperatura", "temperatuur"),
    "pressure": ("pressure", "air pressure", "barometer", "baro", "station pressure",
                 "atmospheric pressure", "luftdruck", "pression", "presion", "pressione",
                 "luchtdruk"),
}  # fmt: skip
"""The headings that are recognised for each role, the surest first. "standard_deviation" and
"gust" are the speed headings with one of `STATISTICS`, or such a word alone. Tables of readings,
curves and summaries are recognised by the same words."""

STATISTICS = {
    "mean": ("avg", "mean", "average", "ave"),
    "standard_deviation": (
        *("sd", "std", "stdev", "stddev", "standard_deviation", "sigma", "standard deviation"),
    ),
    "gust": ("gust", "gusts", "max", "maximum", "peak"),
    "lowest": ("min", "minimum"),
}
SHARE_WORDS = ("hours", "share", "frequency", "percent", "hours per year", "hours year",
               "occurrence", "probability", "freq")  # fmt: skip
"""Headings of how often a class of speeds blows, in a table that is no record."""
_ALONE = {
    "standard_deviation": {"standard_deviation", "standard deviation", "sd", "stdev"}
    | {"speed deviation"},
    "gust": {"gust", "gusts", "wind gust", "gust speed", "wind gust speed", "windgust", "wgst"}
    | {"max gust", "maximum gust", "peak gust", "gust max", "boe", "boen", "windboe", "spitzenboe"}
    | {"rafale", "rafales", "racha", "rachas", "raffica", "raffiche", "windstoot", "windstoten"},
}
_UNIT_WORDS = frozenset(
    {"m", "s", "ms", "mps", "mph", "km", "h", "kmh", "kph", "kn", "kt", "kts", "knots", "ft", "fps"}
    | {"bft", "beaufort", "deg", "degrees", "c", "f", "k", "degc", "degf", "hpa", "mbar", "mb"}
    | {"rad", "rads", "radians", "gon", "grad", "mil", "mils", "octants", "true"}
    | {"pa", "kpa", "inhg", "mmhg", "sec", "utc", "gmt", "lst", "local", "in", "hr", "miles"}
)
_CASED = {"MM": "month", "mm": "minute"}
"""Headings that only their case tells apart."""
_HEIGHT = re.compile(r"(?<![\d.,])(\d+(?:[.,]\d+)?)\s?(?:m(?:etres|eters)?|M)(?![A-Za-z/²2])")
_AVERAGED_OVER = re.compile(r"\b(\d+ ?(min|minutes?|h|hours?|s|sec|seconds?)|hourly|daily)\b")
_STATISTIC_TAIL = re.compile(
    rf"[\s_]({'|'.join(word for words in STATISTICS.values() for word in words)})$", re.IGNORECASE
)

_OF_A_SENSOR = re.compile(r"( ?\d{1,2}| [a-z])?")
"""What may stand behind a heading: "speed 2" and "ws a" are second sensors."""
_COMPONENTS = tuple(
    re.compile(
        rf"(wind )?{letter}( ?\d{{1,2}})?( wind| comp.*)?|{letter}grd|({words}) (wind|comp.*)"
    )
    for letter, words in (("u", "zonal|eastward"), ("v", "meridional|northward"))
)
_SPEED_WORDS = re.compile(rf"\b({'|'.join(RECOGNISED_COLUMNS['speed'])})\b")

STATE_UNITS = "state units (the key in a plan, --speed-units on the command line)"
"""How to say the unit of a speed that no heading says."""
MOST_UNUSED, LONGEST_NAME = 5, 40
"""So many columns that are not used are named, by so many letters; our choice."""
SAME_HEIGHT_M = 0.5
"""Heights that differ by no more are one, as rounding makes them; our choice."""


class SeveralColumns(Finding):
    """Several columns could play a lesser role, so none was used."""

    source: str
    role: str
    headings: tuple[str, ...]


class StatisticOfAnotherHeight(Finding):
    """Deviations or gusts are of another height than the speed, so they are not used."""

    source: str
    role: str
    headings: tuple[str, ...]
    speed_height_m: float


class UnitNotSaid(Finding):
    """A heading does not say the unit of its column, so the column is not used."""

    source: str
    role: str
    heading: str


class UnitNotAsStated(Finding):
    """A heading says another unit of its column than is stated, which is computed with."""

    source: str
    heading: str
    stated: str


@dataclass
class ChosenColumns:
    """The headings of a record by role, the units of what they hold, and the height they give."""

    names: dict[str, str]
    units: dict[str, str] = field(default_factory=dict)
    height_m: float | None = None
    found: list[Recognised] = field(default_factory=list)
    warnings: list[Finding] = field(default_factory=list)


def choose_columns(
    path: Path, layout: Layout, options: ReadOptions, height_m: float | None
) -> ChosenColumns:
    """Choose the column for each role, those nearest to `height_m` where there are several.

    An `InputError` says that a stated column is not there, that no speed or no time column is
    found, or that several could be the speed.
    """
    have = ", ".join(map(repr, layout.headings))
    for heading in options.cells:
        if heading not in layout.headings:
            raise InputError(
                f"{path}, where: there is no column {heading!r}; the columns are {have}."
            )
    stated = stated_columns(path, layout, options)
    columns = ChosenColumns(names=dict(stated))
    parts = [part for part in parts_of(layout) if part.text not in stated.values()]
    if "speed" in stated:
        speed = take_apart(stated["speed"])
    else:
        speed, several = choose_speed(path, layout, parts, height_m, options.sensor)
        if several:
            how = f"nearest of {several} to the {height_m:g} m stated"
            columns.found.append(Recognised("height", f"{speed.height_m:g} m", how))
    columns.names["speed"], columns.height_m = speed.text, speed.height_m
    for role in ("direction", "temperature", "pressure", "standard_deviation", "gust"):
        if role not in columns.names:
            _choose_beside_speed(path, role, parts, columns)
    _choose_clock(path, parts, options, columns, have)
    for role in VALUE_ROLES:
        if role in columns.names:
            _choose_unit(path, role, layout, options, columns)
    columns.found.extend(
        Recognised(f"column of {role}", name, "stated" if role in stated else "recognised")
        for role, name in columns.names.items()
    )
    columns.found.extend(
        Recognised(f"column of {what}", name, "stated")
        for name, what in options.read_besides.items()
    )
    used = {*columns.names.values(), *options.cells, *options.read_besides}
    unused = [name for name in layout.headings if name not in used]
    if unused:
        names = ", ".join(name[:LONGEST_NAME] for name in unused[:MOST_UNUSED])
        more = f" and {len(unused) - MOST_UNUSED} more" if len(unused) > MOST_UNUSED else ""
        how = "not recognised, or not needed"
        columns.found.append(Recognised("columns not used", names + more, how))
    return columns


def stated_columns(path: Path, layout: Layout, options: TableOptions) -> dict[str, str]:
    """Return the headings that are stated, by role; refuse one that is not there."""
    stated = options.columns.stated
    for role, name in stated.items():
        if name not in layout.headings:
            have = ", ".join(map(repr, layout.headings))
            raise InputError(
                f"{path}: there is no column {name!r} for the {role}; the columns are {have}."
            )
    return stated


def choose_speed(
    path: Path,
    layout: Layout,
    parts: Sequence[Heading],
    height_m: float | None,
    sensor: str | None = None,
) -> tuple[Heading, int]:
    """Choose the column of mean speeds, and say of how many it is the nearest to `height_m`.

    An `InputError` says that there is none, that several could be it, or that what looks like it is
    a component of the wind.
    """
    matches = of_role("speed", parts)
    stations = [part for part in parts if not _has_role(part)]
    if sensor is not None:
        matches = [part for part in matches or stations if sensor.lower() in part.text.lower()]
        # "DUB" is the station itself, and no part of "DUBLIN", nor of "DUB rain".
        named = [part for part in matches if part.base == sensor.lower()]
        of_speed = [part for part in matches if _SPEED_WORDS.search(part.base)]
        matches = named or of_speed or matches
    _refuse_components(path, parts, matches or stations)
    if not matches:
        _refuse_no_speed(path, layout, parts, stations, sensor)
    chosen = _nearest(matches, height_m)
    rivals = [part for part in matches if part.height_m == chosen.height_m]
    heights = {part.height_m for part in matches}
    if len(rivals) > 1 or (len(heights) > 1 and height_m is None):
        raise InputError(
            f"{path}: several columns could be the speed "
            f"({', '.join(repr(part.text) for part in matches)}); state which one, by its "
            "heading (columns.speed in a plan, --column speed=HEADING on the command line), its "
            "height, or a word of its heading (sensor in a plan, --sensor WORD)."
        )
    return chosen, len(matches) if len(matches) > 1 else 0


def _refuse_components(path: Path, parts: Sequence[Heading], speeds: Sequence[Heading]) -> None:
    """Refuse the components of the wind where nothing else could be its speed."""
    # "U (V)" is a voltage.
    known = [part for part in parts if not re.search(r"[(\[]", part.text) or _in_speed(part)]
    east, north = ([part for part in known if one.fullmatch(part.base)] for one in _COMPONENTS)
    if not (east and north) or any(part not in (*east, *north) for part in speeds):
        return
    speed = north[0].text
    raise InputError(
        f"{path}: {east[0].text!r} and {speed!r} seem to be the components of the wind towards "
        "east and north, and neither is its speed; put a column of speeds, the root of u2 + v2, "
        f"into the file, or, if {speed!r} is the speed, state it (columns.speed in a plan, "
        f'--column "speed={speed}" on the command line).'
    )


def _refuse_no_speed(
    path: Path,
    layout: Layout,
    parts: Sequence[Heading],
    stations: Sequence[Heading],
    sensor: str | None,
) -> NoReturn:
    """Say that there is no column of speeds, and what the columns may be instead."""
    have = ", ".join(map(repr, layout.headings))
    said = f"{path}: no column was recognised as the speed" + (
        f" of sensor {sensor!r}" * bool(sensor)
    )
    gust = next((part for part in parts if is_statistic("gust", part)), None)
    table = _or_a_table(parts)
    if gust is None and sensor is None and len(stations) > 1 and not table:
        first = stations[0]
        name = re.sub(r"[(\[].*?[)\]]", "", first.text).strip() or first.text
        unsaid = "" if _in_speed(first) else f", and {STATE_UNITS}, which no heading says"
        raise InputError(
            f"{said}; if these are stations or sensors "
            f"({', '.join(repr(part.text) for part in stations)}), pick one, for example "
            f'sensor = "{name}" in a plan (on the command line --sensor "{name}"){unsaid}; else '
            "state which is the speed (columns.speed in a plan, --column speed=HEADING on the "
            "command line)."
        )
    raise InputError(
        said
        + (f" ({gust.text!r} holds gusts, not means)" if gust is not None else "")
        + f"; the columns are {have}; name one 'speed', or state which it is (columns.speed in "
        f"a plan, --column speed=HEADING on the command line){table}."
    )


def _or_a_table(parts: Sequence[Heading]) -> str:
    """Say how a file is read that looks like a table of how often each speed blows."""
    if not any(part.base in SHARE_WORDS or part.text.strip() == "%" for part in parts):
        return ""
    return (
        "; if it is a table of how often each speed blows, state it as frequency_table in a plan "
        "(yieldest wind FILE --table)"
    )


def _has_role(part: Heading) -> bool:
    """Tell whether a heading says what it holds, be it a speed or not."""
    roles = (*CLOCK_ROLES, *VALUE_ROLES)
    return part.statistic not in (None, "mean") or any(of_role(role, [part]) for role in roles)


def _in_speed(part: Heading) -> bool:
    return unit_in_heading("speed", part.text) is not None


def _nearest(matches: list[Heading], height_m: float | None) -> Heading:
    def away_m(part: Heading) -> float:
        if part.height_m is None or height_m is None:
            return math.inf
        return abs(part.height_m - height_m)

    return min(matches, key=away_m)


def _choose_beside_speed(
    path: Path, role: str, parts: list[Heading], columns: ChosenColumns
) -> None:
    """Choose the column of a lesser role that belongs to the speed, or none."""
    matches = of_role(role, parts)
    height_m = columns.height_m
    if role in _ALONE and height_m is not None:
        elsewhere = tuple(part.text for part in matches if not _may_be_at(height_m, part))
        matches = [part for part in matches if _may_be_at(height_m, part)]
        if elsewhere and not matches:
            said = StatisticOfAnotherHeight(str(path), role, elsewhere, height_m)
            columns.warnings.append(said)
    if len(matches) > 1:
        tail = _sensor(take_apart(columns.names["speed"]))
        near = _nearest(matches, height_m)
        matches = [part for part in matches if part.height_m == near.height_m]
        same = [part for part in matches if _sensor(part) == tail]
        matches = same if len(same) == 1 else matches
    if len(matches) > 1:
        headings = tuple(part.text for part in matches)
        columns.warnings.append(SeveralColumns(str(path), role, headings))
    elif matches:
        columns.names[role] = matches[0].text


def _may_be_at(height_m: float, part: Heading) -> bool:
    return part.height_m is None or abs(part.height_m - height_m) <= SAME_HEIGHT_M


def _sensor(part: Heading) -> str:
    tail = re.search(r"(\d{1,2}|\b[a-z])$", part.base)
    return tail.group(1) if tail else ""


def _choose_clock(
    path: Path, parts: list[Heading], options: ReadOptions, columns: ChosenColumns, have: str
) -> None:
    if options.start is not None:
        return
    stated = options.columns.stated
    if not any(role in stated for role in CLOCK_ROLES):
        for role in CLOCK_ROLES:
            matches = of_role(role, parts)
            if len(matches) > 1:
                matches = [part for part in matches if part.base == matches[0].base][:2]
            if len(matches) > 1:
                raise InputError(
                    f"{path}: several columns could be the {role} "
                    f"({', '.join(part.text for part in matches)}); state which one."
                )
            if matches:
                columns.names[role] = matches[0].text
    names = columns.names
    pieces = ("year", "month", "day", "hour", "minute", "second")
    if "time" in names or "date" in names:
        for role in pieces if "time" in names or "hour" not in names else pieces[:3]:
            if role not in stated:
                names.pop(role, None)
    elif not {"month", "day"} <= names.keys():
        raise InputError(
            f"{path}: no column was recognised as the time; the columns are {have}; name one "
            "'time', or state which it is (columns.time in a plan, --column time=HEADING on the "
            "command line), or state start and interval_s (--start, --interval)"
            f"{_or_a_table(parts)}."
        )


def _choose_unit(
    path: Path, role: str, layout: Layout, options: ReadOptions, columns: ChosenColumns
) -> None:
    name = columns.names[role]
    unit, how = unit_of_column(path, layout, role, name, options.unit_stated(role))
    if not unit and role in ("standard_deviation", "gust"):
        unit, how = columns.units["speed"], "as the speed"
    if not unit:
        columns.warnings.append(UnitNotSaid(str(path), role, name))
        del columns.names[role]
        return
    columns.units[role] = unit
    if how == "stated":
        said, _ = unit_said(layout, role, name)
        if said not in ("", unit):
            columns.warnings.append(UnitNotAsStated(str(path), name, unit))
    if unit == "deg" and how != "stated":
        return
    columns.found.append(Recognised(f"unit of {role}", unit, how))


def unit_of_column(
    path: Path, layout: Layout, role: str, name: str, stated: str | None
) -> tuple[str, str]:
    """Return the unit of a column and how it is known; both "" where nothing says it.

    A speed without a unit is refused.
    """
    if stated is not None:
        return stated, "stated"
    unit, how = unit_said(layout, role, name)
    if unit:
        return unit, how
    if role == "speed":
        raise InputError(
            f"{path}: the heading {name!r} does not say the speed unit; {STATE_UNITS} "
            f"as one of {', '.join(SPEED_UNITS)}."
        )
    return ("deg", "assumed") if role == "direction" else ("", "")


def unit_said(layout: Layout, role: str, name: str) -> tuple[str, str]:
    """Return the unit that a heading, or the line of units below it, says, and which of them."""
    quantity = role if role in ("direction", "temperature", "pressure") else "speed"
    at = layout.headings.index(name)
    below = layout.units[at].strip("()[] ") if at < len(layout.units) else ""
    bare = _STATISTIC_TAIL.sub("", name)
    for text, how in ((bare, "from the heading"), (f"({below})", "from the units line")):
        unit = unit_in_heading(quantity, text)
        if unit is not None:
            return unit, how
    return "", ""


@frozen_dataclass
class Heading:
    """A heading: its text, that without unit, height and statistic, and a key of `STATISTICS`."""

    text: str
    base: str
    statistic: str | None
    height_m: float | None


def parts_of(layout: Layout) -> list[Heading]:
    """Take the headings of a file apart."""
    below = dict(zip(layout.headings, layout.statistics, strict=False))
    return [take_apart(text, below.get(text, "")) for text in layout.headings]


def take_apart(text: str, below: str = "") -> Heading:
    """Take a heading apart; `below` says the statistic ("Avg") where it does not itself."""
    # Brackets hold a unit, but in "WS (10 m)" the height.
    height = _HEIGHT.search(re.sub(r"[(\[]\s*m\s*/?\s*s[^)\]]*[)\]]", " ", text))
    bare = text.replace(height.group(0), " ", 1) if height else text
    bare = re.sub(r"[(\[].*?[)\]]", " ", bare)
    bare = re.sub(r"(?<=[sh])\s?-1\b", "", bare)  # m s-1
    plain = _without_unit(bare)
    base = _AVERAGED_OVER.sub(" ", plain).strip() or plain
    statistic = None
    for kind, spellings in STATISTICS.items():
        for spelling in spellings:
            if re.search(rf"\b{spelling}\b", base):
                statistic = kind
                base = " ".join(re.sub(rf"\b{spelling}\b", " ", base).split())
    base = _without_unit(base)  # "WS_ms_Avg" has its unit before the statistic
    if statistic is None:
        statistic = next((k for k, known in STATISTICS.items() if below.lower() in known), None)
    height_m = float(height.group(1).replace(",", ".")) if height else None
    return Heading(text, _CASED.get(text, base), statistic, height_m)


def _without_unit(heading: str) -> str:
    """Return a heading as plain words, less units at its end; one word always stays."""
    words = re.sub(r"[^a-z0-9]+", " ", folded(heading)).split()
    while len(words) > 1 and words[-1] in _UNIT_WORDS:
        words.pop()
    return " ".join(words)


def of_role(role: str, parts: Sequence[Heading]) -> list[Heading]:
    """Return the headings that could play a role, only the surest kind of them."""
    if role in _ALONE:
        return [part for part in parts if is_statistic(role, part)]
    plain = [part for part in parts if part.statistic in (None, "mean")]
    for name in RECOGNISED_COLUMNS[role]:
        begun = [part for part in plain if part.base.startswith(name)]
        if matches := [part for part in begun if _OF_A_SENSOR.fullmatch(part.base, len(name))]:
            return matches
    return []


def is_statistic(role: str, part: Heading) -> bool:
    """Tell whether a heading is that of a deviation or a gust, whichever the role is."""
    if _without_unit(re.sub(r"[(\[].*?[)\]]", " ", part.text)) in _ALONE[role]:
        return True
    bases = "|".join(RECOGNISED_COLUMNS["speed"])
    return part.statistic == role and (
        re.fullmatch(rf"({bases})( ?\d{{1,2}}| [a-z])?", part.base) is not None
    )
