"""Read a wind record from a CSV file into a `WindRecord`."""

from __future__ import annotations

import re
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.files.plain_stamps import Times
from yieldest.files.text_file import Progress
from yieldest.provenance import Finding, Provenance
from yieldest.settings import options_of
from yieldest.units import BEAUFORT_EDGES_MS
from yieldest.wind.data_recovery import data_recovery_findings, data_recovery_of
from yieldest.wind.netcdf_record import dataset_of, gathered_of_dataset, is_netcdf, read_netcdf
from yieldest.wind.read_options import ReadOptions, Recognised
from yieldest.wind.record import ImpossibleSpeeds
from yieldest.wind.record_columns import SAME_HEIGHT_M
from yieldest.wind.record_files import files_of, frame_source, sources_of
from yieldest.wind.record_rows import MANY_CONFLICTS, Gathering, LinesBackInTime, pick_one
from yieldest.wind.record_values import Flags, Gathered
from yieldest.wind.wind_record import WindRecord

if TYPE_CHECKING:
    import xarray as xr

MONTHS = 12
FEWEST_JOINTS = 3
FORMATS = ((is_netcdf, read_netcdf),)
"""Kinds of file beside delimited text: how one is told by its content, and how it is read."""
FEW_CONFLICTS = 3
"""More rows with the time of another and another speed than this, and than `MANY_CONFLICTS` of all,
leave open which wind is meant; our choice."""
CLOCK_ZEROS = ("1970-01-01", "1980-01-01", "1980-01-06", "2000-01-01")
"""Where clocks begin that lost their time: POSIX, early PC clocks, GPS, and many loggers."""
FIRST_YEAR = "1870"
"""Readings dated before it are doubted: the cup anemometer is of 1846, and networks of stations
came in the years around 1870; our choice."""
_CLOCK = re.compile(r"\d{1,2}[:.]\d\d")
_DAY = np.timedelta64(1, "D")
FARTHEST_DAYS = 3 * 365
SMALLEST_SHARE = 0.1
"""Readings from the zero of a clock on are misdated when they lie so long before all others, and
are a smaller share of all than this; our choice."""


class MisdatedReadings(Finding):
    """Readings dated far before all others, as by a clock that started anew, were left out."""

    source: str
    readings: int
    first: np.datetime64
    last: np.datetime64


class ReadingsAhead(Finding):
    """Readings are dated after today."""

    source: str
    readings: int
    first: np.datetime64


class ReadingsLongAgo(Finding):
    """Readings are dated before winds were measured at many places."""

    source: str
    first: str  # the date


class RepeatedTimes(Finding):
    """Lines repeat a time, some with another speed; the first of each was kept."""

    source: str
    lines: int
    with_another_speed: int


class HeightNotAsStated(Finding):
    """The file says another height of the sensor than is stated, which is computed with."""

    source: str
    height_in_file_m: float
    height_stated_m: float


def read_wind(
    source: str | PathLike[str] | pd.DataFrame | pd.Series[Any] | xr.Dataset | xr.DataArray,
    *,
    height_m: float | None = None,
    options: ReadOptions | None = None,
    progress: Progress | None = None,
    **stated: object,
) -> WindRecord:
    """Read a wind record.

    Parameters
    ----------
    source : path, DataFrame, Series, Dataset or DataArray
        Delimited text (plain, gzip or zip), a folder or a glob of such files, or a NetCDF file with
        CF standard names. A data frame has the headings that a file would have, and its times in
        the index or in a column; a series holds speeds, and so does a data array.
    height_m : float, optional
        Height of the anemometer above ground: which sensor to take where the file has several.
    options : ReadOptions, optional
        What is stated about the file; all else is recognised.
    progress : callable, optional
        Told now and then the share read so far, from 0 to 1.
    **stated
        Fields of `ReadOptions`, such as ``units="mph"``, beside `options` or instead of it.

    Returns
    -------
    WindRecord
        Speeds above 113.3 m/s, the highest gust ever measured, count as missing in it.

    Raises
    ------
    InputError
        When a file cannot be read, a column is missing, a unit is unknown, or a value is text,
        negative, or a time that cannot be read.
    """
    options = options_of(ReadOptions, options, stated)
    path, gathered, gathering = _gathered(source, options, height_m, progress)
    if not np.isfinite(gathered.si["speed"]).any():
        raise InputError(f"{path}: the speed column holds no speed at all; is it the right one?")
    name = str(path)
    gathered, warnings = _dated(name, gathered)
    disordered = repeated = gathered.time[:0]
    if not (gathered.time[1:] > gathered.time[:-1]).all():
        order, disordered, again, unlike = _in_time_order(gathered.time, gathered.si["speed"])
        time = gathered.time[order]
        repeated = time[again]
        _refuse_contradictions(path, gathering, time, repeated.size, unlike)
        if disordered.size:
            warnings.append(LinesBackInTime(name, disordered.size))
        if repeated.size:
            warnings.append(RepeatedTimes(name, repeated.size, unlike))
        gathered = gathered.at(order[~again])
    if gathered.height_m is not None:
        gathered.found.append(Recognised("height", f"{gathered.height_m:g} m", "from the heading"))
        if height_m is not None and abs(gathered.height_m - height_m) > SAME_HEIGHT_M:
            warnings.append(HeightNotAsStated(name, gathered.height_m, height_m))
    return replace(
        _record(name, gathered, warnings),
        threshold_ms=options.threshold_ms,
        height_m=gathered.height_m if height_m is None else height_m,
        disordered=disordered,
        repeated=repeated,
    )


def _record(name: str, gathered: Gathered, warnings: list[Finding]) -> WindRecord:
    """Return a record of rows in time order, without the speeds that cannot be."""
    time, impossible, si, found = gathered.time, gathered.impossible, gathered.si, gathered.found
    speed = si["speed"]
    as_read = speed[impossible]
    if as_read.size:
        warnings.append(ImpossibleSpeeds(name, as_read.size, as_read[0], time[impossible][0]))
        speed = np.where(impossible, np.nan, speed)
    coverage = data_recovery_of(time, np.isfinite(speed))
    if gathered.step is not None:
        found.append(Recognised("rounding of speeds", gathered.step[1], "recognised"))
    method = "; ".join(f"{part.what}: {part.found} ({part.how})" for part in found)
    return WindRecord(
        time=time,
        speed_ms=speed,
        direction_deg=si.get("direction"),
        temperature_c=si.get("temperature"),
        pressure_hpa=si.get("pressure"),
        data_recovery=coverage,
        provenance=Provenance(name, method, (), (*warnings, *data_recovery_findings(coverage))),
        standard_deviation_ms=si.get("standard_deviation"),
        gust_ms=si.get("gust"),
        resolution_ms=None if gathered.step is None else gathered.step[0],
        class_edges_ms=BEAUFORT_EDGES_MS if gathered.beaufort else None,
        mean_cube_m3_s3=gathered.mean_cube_m3_s3,
        impossible=time[impossible],
        impossible_ms=as_read,
        found=tuple(found),
    )


def _gathered(
    source: object, options: ReadOptions, height_m: float | None, progress: Progress | None
) -> tuple[Path, Gathered, Gathering | None]:
    """Return the name of a record, its rows, and what gathered them from text or a frame."""
    if isinstance(source, pd.DataFrame | pd.Series):
        sources = [frame_source(source, options, height_m)]
        path = sources[0].path
    elif isinstance(source, str | PathLike):
        path = Path(source)
        files = files_of(path)
        for file in files:
            read = next((read for is_kind, read in FORMATS if is_kind(file)), None)
            if read is not None and len(files) == 1:
                return path, read(file, options, height_m), None
            if read is not None:
                raise InputError(
                    f"{file}: only tables of text are read as several files together; name this "
                    "one alone."
                )
        sources = sources_of(path, options, height_m)
    else:
        path = Path("dataset")
        return path, gathered_of_dataset(path, *dataset_of(source, options), height_m), None
    gathering = Gathering(path, sources, options)
    return path, gathering.gather(progress), gathering


def _dated(name: str, gathered: Gathered) -> tuple[Gathered, list[Finding]]:
    """Return the rows whose dates can be, and the warnings until here."""
    warnings = [*gathered.warnings]
    one_year = _on_one_year(gathered.time)
    if one_year is not None:
        text = f"months from different years, put on the year {str(one_year.min())[:4]}"
        gathered.found.append(Recognised("weather year", text, "recognised"))
        return replace(gathered, time=one_year), warnings
    wrong = _misdated(gathered.time)
    if wrong.any():
        gone = gathered.time[wrong]
        warnings.append(MisdatedReadings(name, gone.size, gone.min(), gone.max()))
        gathered = gathered.at(~wrong)
    to_come = gathered.time[gathered.time > np.datetime64("now") + _DAY]
    if to_come.size:
        warnings.append(ReadingsAhead(name, to_come.size, to_come.min()))
    if (first := str(gathered.time.min())[:10]) < FIRST_YEAR:
        warnings.append(ReadingsLongAgo(name, first))
    return gathered, warnings


def _on_one_year(time: Times) -> Times | None:
    """Put a weather year, made of months of different years, on one year; None where it is none.

    It is one when every calendar month is there, each from a single year, and three or more do not
    follow on the month before.
    """
    # Some rows of a long record tell it from a year.
    if np.unique(time[::1000].astype("datetime64[M]")).size > MONTHS + 1:
        return None
    # Hours may be counted from 0 to 23 or from 1 to 24; the last of these ends in the next month.
    for shift in (np.timedelta64(0, "ns"), np.timedelta64(1, "ns")):
        first = (time - shift).astype("datetime64[M]")
        months = np.unique(first).astype(np.int64)
        years = months[np.argsort(months % MONTHS)] // MONTHS
        if months.size != MONTHS or np.unique(months % MONTHS).size != MONTHS:
            continue
        if (np.diff(years) != 0).sum() >= FEWEST_JOINTS:
            month = years.min() * MONTHS + first.astype(np.int64) % MONTHS
            return np.asarray(month.astype("datetime64[M]") + (time - first.astype(time.dtype)))
    return None


def _misdated(time: Times) -> Flags:
    """Find the readings of a clock that started anew, far before all others; times in any order."""
    wrong = np.zeros(time.size, dtype=bool)

    def begins_at_zero(first: np.datetime64) -> bool:
        return bool((np.abs(first - np.array(CLOCK_ZEROS, dtype="datetime64[ns]")) <= _DAY).any())

    # Most records need not be put in order for it.
    if not begins_at_zero(time.min()):
        return wrong
    ordered = np.sort(time)
    jumps = np.flatnonzero(np.diff(ordered) > FARTHEST_DAYS * _DAY)
    begin = 0
    for jump in jumps.tolist():
        if not begins_at_zero(ordered[begin]) or jump + 1 > SMALLEST_SHARE * time.size:
            break
        wrong |= time <= ordered[jump]
        begin = jump + 1
    return wrong


def _refuse_contradictions(
    path: Path, gathering: Gathering | None, time: Times, repeats: int, unlike: int
) -> None:
    """Refuse a record in which many rows have the time of another and another speed.

    It is said what seems to be the matter: several stations, a clock of twelve hours, times without
    seconds. `repeats` rows have the time of another, `unlike` of them with another speed.
    """
    # Every time is the same time of day, but for summer time.
    clocks = np.unique(time - time.astype("datetime64[D]"))
    bare_dates = 2 * repeats > time.size and clocks.size <= 2
    if not bare_dates and unlike <= max(FEW_CONFLICTS, MANY_CONFLICTS * time.size):
        return
    text = f"{path}: {unlike:,} of {time.size:,} rows have the time of another and another speed"
    heading, cells = gathering.station_column() if gathering is not None else ("", [])
    if cells and not _may_be_clock(cells, bare_dates):
        raise InputError(
            f"{text}; column {heading!r} seems to hold stations {pick_one(heading, cells)}"
        )
    if bare_dates:
        raise InputError(
            f"{path}: {repeats} of {time.size} lines repeat the time of another, for their times "
            "are dates alone; when the clock stands in a column of its own, state both (columns; "
            "on the command line --column date=HEADING --column time=HEADING)."
        )
    hours = time.astype("datetime64[h]").astype(np.int64) % 24
    if hours.min() >= 1 and hours.max() == 12:
        raise InputError(
            f"{text}; the hours run from 1 to 12 only, as of a clock that lost its AM and PM: "
            "export the record again with 24 hours."
        )
    raise InputError(
        f"{text}; if several sensors stand one below the other, keep one of them; if the times "
        "leave out the seconds, state average_s = 60 (on the command line --average 60)."
    )


def _may_be_clock(cells: list[str], bare_dates: bool) -> bool:
    """Tell whether cells are rather times of day; beside bare dates letters alone speak against."""
    if all(map(_CLOCK.match, map(str, cells))):
        return True
    return bare_dates and not any(map(str.isalpha, "".join(cells)))


def _in_time_order(
    time: Times, speed: FloatArray
) -> tuple[npt.NDArray[np.intp], Times, Flags, int]:
    """Return the order of the rows in time, the times that go back, and the ordered repeats.

    Of rows with the same time one with a speed comes first; the repeats are flags in that order,
    and the last number counts those with another speed than the first row of their time.
    """
    order = np.lexsort((np.isnan(speed), time))
    none = np.timedelta64(0, "ns")
    back = np.flatnonzero(np.diff(time) < none) + 1
    if 2 * back.size > time.size:
        back = np.flatnonzero(np.diff(time) > none) + 1  # the newest line comes first
    repeated = np.concatenate(([False], np.diff(time[order]) == none))
    first = np.maximum.accumulate(np.where(repeated, 0, np.arange(time.size)))
    own, firsts = speed[order], speed[order][first]
    unlike = np.isfinite(own) & np.isfinite(firsts) & (own != firsts)
    return order, time[back], repeated, int(unlike.sum())
