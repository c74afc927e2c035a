"""Read a wind record from a CSV file into a `WindRecord`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from yieldest.errors import InputError
from yieldest.files.text_file import Progress
from yieldest.provenance import Finding, Provenance
from yieldest.units import BEAUFORT_EDGES_MS
from yieldest.wind.data_recovery import data_recovery_findings, data_recovery_of
from yieldest.wind.gathered_rows import Gathered, Times
from yieldest.wind.netcdf_record import dataset_of, gathered_of_dataset, is_netcdf, read_netcdf
from yieldest.wind.read_options import ReadOptions, Recognised, options_of
from yieldest.wind.record import ImpossibleSpeeds
from yieldest.wind.record_files import RecordFile, files_of, frame_source, sources_of
from yieldest.wind.record_rows import Gathering, LinesBackInTime
from yieldest.wind.time_conflicts import (
    ahead,
    contradictions,
    in_time_order,
    misdated,
    refuse_contradictions,
)
from yieldest.wind.wind_record import WindRecord

if TYPE_CHECKING:
    import xarray as xr

MONTHS = 12
FEWEST_JOINTS = 3
FORMATS = ((is_netcdf, read_netcdf),)
"""Kinds of file beside delimited text: how one is told by its content, and how it is read."""


@dataclass(frozen=True)
class MisdatedReadings(Finding):
    """Readings dated far before all others, as by a clock that started anew, were left out."""

    source: str
    readings: int
    first: np.datetime64
    last: np.datetime64


@dataclass(frozen=True)
class ReadingsAhead(Finding):
    """Readings are dated after today."""

    source: str
    readings: int
    first: np.datetime64


@dataclass(frozen=True)
class RepeatedTimes(Finding):
    """Lines repeat a time, some with another speed; the first of each was kept."""

    source: str
    lines: int
    with_another_speed: int


@dataclass(frozen=True)
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
    path, gathered, sources = _gathered(source, options, height_m, progress)
    if not np.isfinite(gathered.si["speed"]).any():
        raise InputError(f"{path}: the speed column holds no speed at all; is it the right one?")
    name = str(path)
    gathered, found, warnings = _dated(name, gathered)
    order, disordered, again = in_time_order(gathered.time, gathered.si["speed"])
    time = gathered.time[order]
    unlike = contradictions(time, gathered.si["speed"][order])
    refuse_contradictions(path, sources, options, time, int(again.sum()), unlike)
    if disordered.size:
        warnings.append(LinesBackInTime(name, disordered.size))
    if again.any():
        warnings.append(RepeatedTimes(name, int(again.sum()), unlike))
    rows = order[~again]
    gathered = replace(
        gathered,
        time=gathered.time[rows],
        si={role: column[rows] for role, column in gathered.si.items()},
        impossible=gathered.impossible[rows],
        found=found,
    )
    if gathered.height_m is not None:
        found.append(Recognised("height", f"{gathered.height_m:g} m", "from the heading"))
        if height_m is not None and abs(gathered.height_m - height_m) > 0.5:
            warnings.append(HeightNotAsStated(name, gathered.height_m, height_m))
    record = _record(name, gathered, warnings)
    return replace(
        record,
        threshold_ms=options.threshold_ms,
        height_m=record.height_m if height_m is None else height_m,
        disordered=disordered,
        repeated=time[again],
    )


def _record(name: str, gathered: Gathered, warnings: list[Finding | str]) -> WindRecord:
    """Return a record of rows in time order, without the speeds that cannot be."""
    time, impossible, found = gathered.time, gathered.impossible, list(gathered.found)
    values = dict(gathered.si)
    as_read = values["speed"][impossible]
    if as_read.size:
        warnings.append(ImpossibleSpeeds(name, as_read.size, as_read[0], time[impossible][0]))
        values["speed"] = np.where(impossible, np.nan, values["speed"])
    coverage = data_recovery_of(time, np.isfinite(values["speed"]))
    if gathered.step is not None:
        found.append(Recognised("rounding of speeds", gathered.step[1], "recognised"))
    return WindRecord(
        time=time,
        speed_ms=values["speed"],
        direction_deg=values.get("direction"),
        temperature_c=values.get("temperature"),
        pressure_hpa=values.get("pressure"),
        data_recovery=coverage,
        provenance=Provenance(
            source=name,
            method="; ".join(f"{part.what}: {part.found} ({part.how})" for part in found),
            warnings=(*warnings, *data_recovery_findings(coverage)),
        ),
        standard_deviation_ms=values.get("standard_deviation"),
        gust_ms=values.get("gust"),
        resolution_ms=None if gathered.step is None else gathered.step[0],
        class_edges_ms=BEAUFORT_EDGES_MS if gathered.beaufort else None,
        height_m=gathered.height_m,
        mean_cube_ms3=gathered.mean_cube_ms3,
        impossible=time[impossible],
        impossible_ms=as_read,
        found=tuple(found),
    )


def _gathered(
    source: object, options: ReadOptions, height_m: float | None, progress: Progress | None
) -> tuple[Path, Gathered, Sequence[RecordFile]]:
    """Return the name of a record, its rows, and the tables of text or frame they stand in."""
    if isinstance(source, pd.DataFrame | pd.Series):
        frame = frame_source(source, options, height_m)
        return frame.path, Gathering(frame.path, [frame], options).gather(progress), [frame]
    if not isinstance(source, str | PathLike):
        path = Path("dataset")
        return path, gathered_of_dataset(path, *dataset_of(source, options), height_m), []
    path = Path(source)
    files = files_of(path)
    for file in files:
        read = next((read for is_kind, read in FORMATS if is_kind(file)), None)
        if read is not None and len(files) == 1:
            return path, read(file, options, height_m), []
        if read is not None:
            raise InputError(
                f"{file}: only tables of text are read as several files together; name this one "
                "alone."
            )
    sources = sources_of(path, options, height_m)
    return path, Gathering(path, sources, options).gather(progress), sources


def _dated(name: str, gathered: Gathered) -> tuple[Gathered, list[Recognised], list[Finding | str]]:
    """Return the rows whose dates can be, and what was found of them until here."""
    found = list(gathered.found)
    warnings: list[Finding | str] = [*gathered.warnings]
    one_year = _on_one_year(gathered.time)
    if one_year is not None:
        text = f"months from different years, put on the year {str(one_year.min())[:4]}"
        found.append(Recognised("weather year", text, "recognised"))
        return replace(gathered, time=one_year), found, warnings
    wrong = misdated(gathered.time)
    if wrong.any():
        gone = gathered.time[wrong]
        warnings.append(MisdatedReadings(name, gone.size, gone.min(), gone.max()))
        gathered = replace(
            gathered,
            time=gathered.time[~wrong],
            si={role: column[~wrong] for role, column in gathered.si.items()},
            impossible=gathered.impossible[~wrong],
        )
    to_come = gathered.time[ahead(gathered.time)]
    if to_come.size:
        warnings.append(ReadingsAhead(name, to_come.size, to_come.min()))
    return gathered, found, warnings


def _on_one_year(time: Times) -> Times | None:
    """Put a weather year, made of months of different years, on one year; None where it is none.

    It is one when every calendar month is there, each from a single year, and three or more do not
    follow on the month before.
    """
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
