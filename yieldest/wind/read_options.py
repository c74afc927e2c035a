"""What can be stated about a wind record, and what was found out about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Recognised:
    """One thing that was recognised in a file, stated by the user, or taken for granted.

    Parameters
    ----------
    what : str
        For example "speed unit".
    found : str
        For example "mph".
    how : str
        "stated", "recognised", "from the heading", "assumed".
    """

    what: str
    found: str
    how: str


@dataclass(frozen=True)
class ReadOptions:
    """What the user states about a record; None (or empty) leaves it to be recognised.

    Parameters
    ----------
    columns : mapping of str to str
        Role to heading; the roles are the keys of `RECOGNISED_COLUMNS`.
    units, standard_deviation_units, temperature_units, pressure_units : str, optional
        Units of speed, of standard deviation and gust, of temperature and of pressure.
    delimiter : str, optional
        The character between cells; " " means runs of spaces.
    decimal : {".", ","}, optional
    encoding : str, optional
        A Python name of a text encoding.
    skip_lines : int, optional
        Lines above the heading line.
    headings : tuple of str
        Headings of a file that has none.
    date_order : {"day first", "month first", "year first"}, optional
    time_zone : str, optional
        "UTC", an offset such as "+01:00", or a name such as "Europe/Berlin".
    start, interval_s : str and float, optional
        First time and time between readings of a file without times.
    missing : tuple of str
        Marks that stand for a missing value, besides the usual words.
    height_m : float, optional
        Which height to take where the file has several.
    sensor : str, optional
        Part of the heading of the sensor to take where the file has several.
    where : mapping of str to sequence of str
        Heading to the cells that a row may hold there, for a file with several stations.
    point : int, optional
        Which point (from 1) to take of a NetCDF file that has several.
    threshold_ms : float, optional
        Speed below which the anemometer stands still.
    average_s : float, optional
        Average readings over so many seconds; 0 never averages.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    units: str | None = None
    standard_deviation_units: str | None = None
    temperature_units: str | None = None
    pressure_units: str | None = None
    delimiter: str | None = None
    decimal: str | None = None
    encoding: str | None = None
    skip_lines: int | None = None
    headings: tuple[str, ...] = ()
    date_order: str | None = None
    time_zone: str | None = None
    start: str | None = None
    interval_s: float | None = None
    missing: tuple[str, ...] = ()
    height_m: float | None = None
    sensor: str | None = None
    where: Mapping[str, Sequence[str]] = field(default_factory=dict)
    point: int | None = None
    threshold_ms: float | None = None
    average_s: float | None = None
