"""Read a wind record from a CSV file into a `Record`."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.provenance import Provenance
from yieldest.record.coverage import Coverage, coverage_of, coverage_warnings
from yieldest.record.options import Finding, ReadOptions
from yieldest.record.units import (
    SPEED_UNITS,
    speed_unit,
    speed_unit_in_heading,
    to_metres_per_second,
)
from yieldest.tables import Table, plain_heading, read_table

HIGHEST_GUST_MS = 113.3
"""The highest gust ever measured near the ground, Barrow Island 1996 (World Meteorological
Organization, World Weather and Climate Extremes Archive)."""

ABSOLUTE_ZERO_C = -273.15

_UNIT_WORDS = frozenset(
    {"m", "s", "ms", "mph", "km", "h", "kmh", "kph", "kn", "kt", "kts", "knots", "ft", "fps"}
    | {"bft", "beaufort", "deg", "c", "hpa", "mbar"}
)

RECOGNISED_COLUMNS = {
    "time": ("time", "timestamp", "time stamp", "datetime", "date time", "date", "time hour"),
    "speed": ("speed", "wind speed", "windspeed", "wind spd", "wspd", "ws", "wind"),
    "direction": ("direction", "wind direction", "wind dir", "winddir", "wdir", "dir", "wd"),
    "temperature": ("temperature", "air temperature", "temp"),
    "pressure": ("pressure", "air pressure", "barometer"),
    "deviation": ("deviation", "standard deviation", "speed deviation", "wind speed sd", "sd"),
    "gust": ("gust", "wind gust", "gust speed", "wind gust speed", "max wind speed"),
}
"""The headings that are recognised for each role, the surest first."""


_NOTHING_STATED = ReadOptions()


def _no_times() -> npt.NDArray[np.datetime64]:
    return np.empty(0, dtype="datetime64[ns]")


@dataclass(frozen=True)
class Record:
    """A wind record at one place and height, in time order.

    Parameters
    ----------
    time : ndarray of datetime64[ns], shape (n,)
        Start of each reading, as in the file, or in UTC where the file gives offsets.
    speed_ms : ndarray, shape (n,)
        Wind speed; NaN where missing or left out.
    direction_deg : ndarray, shape (n,), or None
        Direction the wind comes from, clockwise from north.
    temperature_c : ndarray, shape (n,), or None
    pressure_hpa : ndarray, shape (n,), or None
    coverage : Coverage
        How much of the time, and of the year, has a speed.
    provenance : Provenance
    deviation_ms : ndarray, shape (n,), or None
        Standard deviation of the speed within each interval.
    gust_ms : ndarray, shape (n,), or None
        Highest speed within each interval.
    resolution_ms : float or None
        Step to which the speeds are rounded (a whole knot is 0.514 m/s); None where no step
        was found or the steps are uneven (Beaufort).
    class_edges_ms : ndarray, shape (m,), or None
        Edges of uneven speed classes (Beaufort), from 0 up; the last class is open.
    threshold_ms : float or None
        Speed below which the anemometer stands still, where stated.
    height_m : float or None
        Height of the sensor above ground, where the heading or the file states it.
    mean_cube_ms3 : float or None
        Mean cube of the readings before they were averaged; None where they were not.
    disordered, repeated : ndarray of datetime64
        Times of the rows that went back in time, and of those left out as repeats.
    found : tuple of Finding
        What was recognised or stated about the file.
    """

    time: npt.NDArray[np.datetime64]
    speed_ms: FloatArray
    direction_deg: FloatArray | None
    temperature_c: FloatArray | None
    pressure_hpa: FloatArray | None
    coverage: Coverage
    provenance: Provenance
    deviation_ms: FloatArray | None = None
    gust_ms: FloatArray | None = None
    resolution_ms: float | None = None
    class_edges_ms: FloatArray | None = None
    threshold_ms: float | None = None
    height_m: float | None = None
    mean_cube_ms3: float | None = None
    disordered: npt.NDArray[np.datetime64] = field(default_factory=_no_times)
    repeated: npt.NDArray[np.datetime64] = field(default_factory=_no_times)
    found: tuple[Finding, ...] = ()

    @property
    def valid_speed_ms(self) -> FloatArray:
        """The speeds that are there, shape (m,)."""
        return self.speed_ms[np.isfinite(self.speed_ms)]

    @property
    def mean_speed_ms(self) -> float:
        """Mean of the speeds that are there."""
        return float(self.valid_speed_ms.mean())

    def bounds_ms(self) -> tuple[FloatArray, FloatArray] | None:
        """Return between which speeds each reading lay before it was rounded, shape (n,) each.

        None where the readings are not rounded in a known way; NaN where the speed is missing.
        """
        if self.class_edges_ms is not None:
            edges = np.append(self.class_edges_ms, np.inf)
            known = np.isfinite(self.speed_ms)
            number = np.searchsorted(edges, np.where(known, self.speed_ms, 0.0), side="right") - 1
            lower = np.where(known, edges[number], np.nan)
            return lower, np.where(known, edges[number + 1], np.nan)
        if self.resolution_ms is None:
            return None
        half = self.resolution_ms / 2
        return np.maximum(0.0, self.speed_ms - half), self.speed_ms + half


def read_record(path: Path, options: ReadOptions = _NOTHING_STATED) -> Record:
    """Read a wind record.

    Parameters
    ----------
    path : Path
        CSV file (comma, semicolon or tab; gzip or plain) with a heading line and columns for time
        (ISO 8601) and speed, optionally direction (degrees), temperature (C) and pressure (hPa).
    options : ReadOptions
        What is stated about it.

    Returns
    -------
    Record

    Raises
    ------
    InputError
        When the file cannot be read, a column is missing, the unit is unknown, or a value is text,
        negative, or a time that cannot be read.
    """
    stated = options.columns
    units = options.units
    table = read_table(path)
    names = {
        role: table.find(
            role,
            _with_unit_tails(RECOGNISED_COLUMNS[role], table),
            stated.get(role),
            required=role in ("time", "speed"),
        )
        for role in RECOGNISED_COLUMNS
    }
    time_column, speed_column = str(names["time"]), str(names["speed"])

    unit, unit_from = _unit_of(table, speed_column, units)
    speed_ms = to_metres_per_second(table.numbers(speed_column), unit)
    _refuse(table, speed_column, speed_ms < 0, "is below zero, and a wind speed cannot be")
    warnings: list[str] = []
    impossible = speed_ms > HIGHEST_GUST_MS
    if impossible.any():
        first = int(np.argmax(impossible))
        warnings.append(
            f"{path}, line {table.line(first)}: {table.frame[speed_column].iloc[first]} {unit} is "
            f"above {HIGHEST_GUST_MS} m/s, the highest gust ever measured; "
            f"{int(impossible.sum())} such value(s) count as missing."
        )
        speed_ms = np.where(impossible, np.nan, speed_ms)

    direction = _optional(table, names["direction"])
    if direction is not None:
        outside = (direction < 0) | (direction > 360)
        _refuse(table, str(names["direction"]), outside, "is not a direction from 0 to 360 degrees")
    temperature = _optional(table, names["temperature"])
    if temperature is not None:
        _refuse(
            table,
            str(names["temperature"]),
            temperature <= ABSOLUTE_ZERO_C,
            "is below absolute zero in C",
        )
    pressure = _optional(table, names["pressure"])
    if pressure is not None:
        _refuse(
            table,
            str(names["pressure"]),
            (pressure < 300) | (pressure > 1100),
            "is not an air pressure in hPa",
        )

    if not np.isfinite(speed_ms).any():
        raise InputError(f"{path}: column {speed_column!r} holds no speed at all.")

    time = _times(table, time_column)
    order, order_warnings = _in_time_order(path, time)
    warnings += order_warnings
    deviation, gust = (
        None if names[role] is None else to_metres_per_second(table.numbers(str(names[role])), unit)
        for role in ("deviation", "gust")
    )
    time, speed_ms = time[order], speed_ms[order]
    coverage = coverage_of(time, np.isfinite(speed_ms))
    warnings += coverage_warnings(coverage)
    found = ", ".join(f"{role} = {name!r}" for role, name in names.items() if name is not None)
    return Record(
        time=time,
        speed_ms=speed_ms,
        direction_deg=None if direction is None else direction[order],
        temperature_c=None if temperature is None else temperature[order],
        pressure_hpa=None if pressure is None else pressure[order],
        coverage=coverage,
        provenance=Provenance(
            source=str(path),
            method=f"columns {found}; speed in {unit} ({unit_from})",
            warnings=tuple(warnings),
        ),
        deviation_ms=None if deviation is None else deviation[order],
        gust_ms=None if gust is None else gust[order],
        threshold_ms=options.threshold_ms,
    )


def _with_unit_tails(names: tuple[str, ...], table: Table) -> list[str]:
    """Add the headings of the table that are a known name with a unit behind it."""
    tailed = [
        plain
        for plain in map(plain_heading, table.headings)
        for name in names
        if plain.startswith(name + " ")
        and all(word in _UNIT_WORDS for word in plain[len(name) + 1 :].split())
    ]
    return [*names, *dict.fromkeys(tailed)]


def _unit_of(table: Table, column: str, stated: str | None) -> tuple[str, str]:
    if stated is not None:
        return speed_unit(stated), "stated"
    unit = speed_unit_in_heading(column)
    if unit is None:
        raise InputError(
            f"{table.path}: the heading {column!r} does not say the speed unit; state units as one "
            f"of {', '.join(SPEED_UNITS)}."
        )
    return unit, "from the heading"


def _optional(table: Table, column: str | None) -> FloatArray | None:
    return None if column is None else table.numbers(column)


def _refuse(table: Table, column: str, wrong: npt.NDArray[np.bool_], why: str) -> None:
    if wrong.any():
        row = int(np.argmax(wrong))
        raise InputError(
            f"{table.path}, line {table.line(row)}: {table.frame[column].iloc[row]} in column "
            f"{column!r} {why}; mend the value or leave it blank."
        )


def _times(table: Table, column: str) -> npt.NDArray[np.datetime64]:
    texts = table.frame[column].astype(str).str.strip()
    times = pd.to_datetime(texts, format="ISO8601", utc=True, errors="coerce")
    wrong = times.isna().to_numpy()
    if wrong.any():
        row = int(np.argmax(wrong))
        raise InputError(
            f"{table.path}, line {table.line(row)}: {texts.iloc[row]!r} in column {column!r} is "
            "not a time; write it as 2026-01-31 13:50."
        )
    return times.dt.tz_localize(None).to_numpy(dtype="datetime64[ns]")


def _in_time_order(
    path: Path, time: npt.NDArray[np.datetime64]
) -> tuple[npt.NDArray[np.intp], list[str]]:
    """Return the rows in time order without repeats, and what had to be mended."""
    warnings = []
    order = np.argsort(time, kind="stable")
    disordered = int((np.diff(time) < np.timedelta64(0)).sum())
    if disordered:
        warnings.append(f"{path}: {disordered} line(s) go back in time; the record was sorted.")
    repeated = np.concatenate(([False], np.diff(time[order]) == np.timedelta64(0)))
    if repeated.any():
        warnings.append(
            f"{path}: {int(repeated.sum())} line(s) repeat a time; the first of each was kept."
        )
    return order[~repeated], warnings
