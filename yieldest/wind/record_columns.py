"""Which column of a record holds what: roles, heights, sensors and units, told from headings."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

from yieldest.errors import InputError
from yieldest.files.dialect import Layout
from yieldest.provenance import Finding
from yieldest.units import SPEED_UNITS, unit_in_heading, unit_of
from yieldest.wind.read_options import ReadOptions, Recognised
from yieldest.wind.record_headings import (
    CLOCK_ROLES,
    STATISTICS,
    Heading,
    is_statistic,
    of_role,
    take_apart,
)

_STATISTIC_TAIL = re.compile(
    rf"[\s_]({'|'.join(word for words in STATISTICS.values() for word in words)})$", re.IGNORECASE
)

MOST_UNUSED, LONGEST_NAME = 5, 40
"""So many columns that are not used are named, by so many letters; our choice."""


@dataclass(frozen=True)
class SeveralColumns(Finding):
    """Several columns could play a lesser role, so none was used."""

    source: str
    role: str
    headings: tuple[str, ...]


@dataclass(frozen=True)
class UnitNotSaid(Finding):
    """A heading does not say the unit of its column, so the column is not used."""

    source: str
    role: str
    heading: str


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

    Raises
    ------
    InputError
        When a stated column is not there, no speed or no time column is found, or several could
        be the speed.
    """
    have = ", ".join(repr(heading) for heading in layout.headings)
    by_role = options.columns.stated
    for role, name in by_role.items():
        if name not in layout.headings:
            raise InputError(
                f"{path}: there is no column {name!r} for the {role}; the columns are {have}."
            )
    columns = ChosenColumns(names=dict(by_role))
    stated = set(by_role.values())
    below = dict(zip(layout.headings, layout.statistics, strict=False))
    parts = [
        take_apart(heading, below.get(heading, ""))
        for heading in layout.headings
        if heading not in stated
    ]
    _choose_speed(path, parts, options.sensor, height_m, columns, have)
    for role in ("direction", "temperature", "pressure", "standard_deviation", "gust"):
        if role not in columns.names:
            _choose_beside_speed(path, role, parts, columns)
    _choose_clock(path, parts, options, columns, have)
    for role in ("speed", "standard_deviation", "gust", "temperature", "pressure"):
        if role in columns.names:
            _choose_unit(path, role, layout, options, columns)
    columns.found.extend(
        Recognised(f"column of {role}", name, "stated" if role in by_role else "recognised")
        for role, name in columns.names.items()
    )
    unused = [name for name in layout.headings if name not in columns.names.values()]
    if unused:
        names = ", ".join(name[:LONGEST_NAME] for name in unused[:MOST_UNUSED])
        more = f" and {len(unused) - MOST_UNUSED} more" if len(unused) > MOST_UNUSED else ""
        how = "not recognised, or not needed"
        columns.found.append(Recognised("columns not used", names + more, how))
    return columns


def _choose_speed(
    path: Path,
    parts: list[Heading],
    sensor: str | None,
    height_m: float | None,
    columns: ChosenColumns,
    have: str,
) -> None:
    if "speed" in columns.names:
        chosen = take_apart(columns.names["speed"])
    else:
        matches = of_role("speed", parts)
        if sensor is not None:
            matches = [part for part in matches if sensor.lower() in part.text.lower()]
        if not matches:
            gust = next((part for part in parts if is_statistic("gust", part)), None)
            raise InputError(
                f"{path}: no column was recognised as the speed"
                + (f" of sensor {sensor!r}" if sensor else "")
                + (f" ({gust.text!r} holds gusts, not means)" if gust is not None else "")
                + f"; the columns are {have}; name one 'speed', or state which it is "
                "(columns; on the command line --column speed=HEADING)."
            )
        chosen = _nearest(matches, height_m)
        rivals = [part for part in matches if part.height_m == chosen.height_m]
        heights = {part.height_m for part in matches}
        if len(rivals) > 1 or (len(heights) > 1 and height_m is None):
            raise InputError(
                f"{path}: several columns could be the speed "
                f"({', '.join(repr(part.text) for part in matches)}); state which one, by its "
                "heading (columns; on the command line --column speed=HEADING), its height or its "
                "sensor."
            )
        if len(matches) > 1:
            how = f"nearest of {len(matches)} to the {height_m:g} m stated"
            columns.found.append(Recognised("height", f"{chosen.height_m:g} m", how))
        columns.names["speed"] = chosen.text
    if chosen.height_m is not None:
        columns.height_m = chosen.height_m


def _nearest(matches: list[Heading], height_m: float | None) -> Heading:
    if height_m is None:
        return matches[0]
    return min(
        matches,
        key=lambda part: float("inf") if part.height_m is None else abs(part.height_m - height_m),
    )


def _choose_beside_speed(
    path: Path, role: str, parts: list[Heading], columns: ChosenColumns
) -> None:
    """Choose the column of a lesser role that belongs to the speed, or none."""
    matches = of_role(role, parts)
    if len(matches) > 1:
        tail = _sensor(take_apart(columns.names["speed"]))
        near = _nearest(matches, columns.height_m)
        matches = [part for part in matches if part.height_m == near.height_m]
        same = [part for part in matches if _sensor(part) == tail]
        matches = same if len(same) == 1 else matches
    if len(matches) > 1:
        headings = tuple(part.text for part in matches)
        columns.warnings.append(SeveralColumns(str(path), role, headings))
    elif matches:
        columns.names[role] = matches[0].text


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
    if "date" in names and "time" in names and "time" not in stated:
        # A full time stamp needs no date beside it; the clock finds out which it is.
        drop: tuple[str, ...] = pieces
    elif "time" in names or "date" in names:
        drop = pieces if "time" in names or "hour" not in names else ("year", "month", "day")
    elif {"month", "day"} <= names.keys():
        drop = ()
    else:
        raise InputError(
            f"{path}: no column was recognised as the time; the columns are {have}; name one "
            "'time', or state which it is (columns; on the command line "
            "--column time=HEADING), or state start and interval_s."
        )
    for role in drop:
        if role not in stated:
            names.pop(role, None)


def _choose_unit(
    path: Path, role: str, layout: Layout, options: ReadOptions, columns: ChosenColumns
) -> None:
    quantity = role if role in ("temperature", "pressure") else "speed"
    name = columns.names[role]
    stated = options.unit_stated(role)
    at = layout.headings.index(name)
    below = layout.units[at].strip("()[] ") if at < len(layout.units) else ""
    if stated is not None:
        try:
            unit, how = unit_of(quantity, stated), "stated"
        except InputError as error:
            raise InputError(f"{path}, unit of {role}: {error}") from error
    elif (headed := unit_in_heading(quantity, _STATISTIC_TAIL.sub("", name))) is not None:
        unit, how = headed, "from the heading"
    elif (headed := unit_in_heading(quantity, f"({below})")) is not None:
        unit, how = headed, "from the units line"
    elif role in ("standard_deviation", "gust"):
        unit, how = columns.units["speed"], "as the speed"
    elif role == "speed":
        raise InputError(
            f"{path}: the heading {name!r} does not say the speed unit; state units (on the "
            f"command line --units) as one of {', '.join(SPEED_UNITS)}."
        )
    else:
        columns.warnings.append(UnitNotSaid(str(path), role, name))
        del columns.names[role]
        return
    columns.units[role] = unit
    columns.found.append(Recognised(f"unit of {role}", unit, how))
