"""Gather the rows of one or many text files into times and SI values, in bounded memory."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.files.table import Table
from yieldest.files.text_file import Progress
from yieldest.files.time_stamps import Times
from yieldest.provenance import Finding
from yieldest.wind.read_options import ReadOptions, Recognised
from yieldest.wind.record_clock import Clock
from yieldest.wind.record_columns import CLOCK_ROLES, TEXT_ROLES, VALUE_ROLES, take_apart
from yieldest.wind.record_files import RecordFile, layout_findings, units_of
from yieldest.wind.record_values import (
    LIMITS,
    Flags,
    Gathered,
    ValuesBeyondLimits,
    blank_marks,
    numbers_of,
    rounding_step,
    to_si,
    within_limits,
    words_of,
)

Rows = npt.NDArray[np.int64]

BLOCK_ROWS = 500_000
DATE_ROWS = 20_000
"""Rows looked at together for the order of day and month, which the first few mostly settle."""
MANY_ROWS = 2_000_000
MOST_ROWS = 20_000_000
"""Readings that are kept as they are: 38 years of one a minute, and some 1 GB; our choice."""
QUICK_S = 60.0
"""More than `MANY_ROWS` readings less than a minute apart are averaged over a minute, the averaging
time of the small-turbine annex of IEC 61400-12-1; both bounds are our choice."""

STATION_HEADINGS = frozenset(
    {"station", "stations", "station id", "stationid", "station name", "station code", "stid"}
    | {"station number", "station no", "site", "site id", "siteid", "site name", "site code"}
)
"""Headings, taken apart, under which the name of the place stands."""
_SHOWN = 5
_MERGE_ABOVE = 2_000_000


@dataclass(frozen=True)
class ReadingsAveraged(Finding):
    """Quick readings were averaged; `rounding` is their step in words, where there is one."""

    source: str
    readings: int
    interval_s: float
    rounding: str | None


@dataclass(frozen=True)
class LinesBackInTime(Finding):
    """Lines go back in time, and the record was sorted."""

    source: str
    lines: int


@dataclass(frozen=True)
class ReadingsAtOneTime(Finding):
    """Readings with the very time of another were averaged with it."""

    source: str
    readings: int


@dataclass(frozen=True)
class ReadingsBeyondUsual(Finding):
    """Intervals hold more readings than is usual."""

    source: str
    usual: float
    readings: int


class Averager:
    """Averages of readings that arrive in blocks, in any order, over intervals of so many seconds.

    The intervals begin at whole multiples of `seconds` since 1970; `readings` is how many speeds
    were averaged so far, and `cubes` the sum of their cubes in (m/s)^3.
    """

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self.readings = 0
        self.cubes = 0.0
        self._parts: list[pd.DataFrame] = []
        self._rows = 0
        self._merged_rows = 0

    def add(self, time: Times, values: Mapping[str, FloatArray]) -> None:
        """Take in times and SI values by role, among them "speed"; NaN is left out of averages."""
        speed = values["speed"]
        valid = np.isfinite(speed)
        self.readings += int(valid.sum())
        still = np.where(valid, speed, 0.0)
        self.cubes += float((still**3).sum())
        columns = {"readings": valid.astype(np.float64), "sum": still, "squares": still**2}
        columns["highest"] = np.fmax(speed, values["gust"]) if "gust" in values else speed
        if "standard_deviation" in values:
            columns["variance"] = np.where(
                valid, np.nan_to_num(values["standard_deviation"]) ** 2, 0.0
            )
        if "direction" in values:
            angle = np.radians(values["direction"])
            # Weighted by the speed, as the wind itself carries; a calm has no direction.
            columns["east"] = np.nan_to_num(still * np.sin(angle))
            columns["north"] = np.nan_to_num(still * np.cos(angle))
        for role in ("temperature", "pressure"):
            if role in values:
                columns[role] = np.nan_to_num(values[role])
                columns[role + "s"] = np.isfinite(values[role]).astype(np.float64)
        interval_ns = np.int64(self.seconds * 1e9)
        number = time.astype("datetime64[ns]").astype(np.int64) // interval_ns
        part = _merge(pd.DataFrame(columns, index=number))
        self._parts.append(part)
        self._rows += len(part)
        if self._rows > 2 * self._merged_rows + _MERGE_ABOVE:
            self._merged()

    def result(self) -> tuple[Times, dict[str, FloatArray], FloatArray]:
        """Return start, SI averages by role, and number of readings of each interval, in order.

        "standard_deviation" is the standard deviation of the readings in an interval (with that of
        the readings themselves where they have one), "gust" the highest.
        """
        frame = self._merged()
        start = (frame.index.to_numpy() * np.int64(self.seconds * 1e9)).astype("datetime64[ns]")
        column = {str(name): frame[name].to_numpy(np.float64) for name in frame}
        count = column["readings"]
        some = np.where(count > 0, count, np.nan)
        mean = column["sum"] / some
        variance = column["squares"] / some - mean**2 + column.get("variance", 0.0) / some
        values = {
            "speed": mean,
            "standard_deviation": np.sqrt(np.maximum(variance, 0.0)),
            "gust": column["highest"],
        }
        if "east" in column:
            east, north = column["east"], column["north"]
            blows = np.hypot(east, north) > 0
            values["direction"] = np.where(blows, np.degrees(np.arctan2(east, north)) % 360, np.nan)
        for role in ("temperature", "pressure"):
            if role in column:
                readings = column[role + "s"]
                values[role] = column[role] / np.where(readings > 0, readings, np.nan)
        return start, values, count

    def _merged(self) -> pd.DataFrame:
        self._parts = [_merge(pd.concat(self._parts))]
        self._rows = self._merged_rows = len(self._parts[0])
        return self._parts[0]


def _merge(frame: pd.DataFrame) -> pd.DataFrame:
    rows = frame.groupby(level=0)
    return rows.sum().assign(highest=rows["highest"].max())


class Gathering:
    """The rows of a record as they are read, block by block, and what was noticed about them."""

    def __init__(self, path: Path, sources: Sequence[RecordFile], options: ReadOptions) -> None:
        self.path = path
        self.sources = sources
        self.options = options
        self.units = units_of(sources)
        self.roles = tuple(
            role for role in VALUE_ROLES if any(role in s.columns.names for s in sources)
        )
        self.clock = Clock(sources[0].columns.names, options.date_order, options.time_zone)
        self.marks: dict[str, Counter[str]] = {role: Counter() for role in self.roles}
        self.beyond: Counter[str] = Counter()
        self.distinct = np.empty(0)
        self.warnings: list[Finding] = []
        self.averager = Averager(options.average_s) if options.average_s else None
        self._seen: dict[str, dict[str, None]] = {}  # the cells of columns of stations
        self._time: list[Times] = []
        self._raw: list[dict[str, FloatArray]] = []
        self._places: list[tuple[RecordFile, Rows]] = []
        self._rows = 0
        self._disordered = 0
        self._same_time = 0

    def gather(self, progress: Progress | None = None) -> Gathered:
        """Read all the rows, telling `progress` the share read so far."""
        if self.options.start is None:
            self.clock.settle_order(self._clock_tables)
        for number, source in enumerate(self.sources):
            self.clock.names = source.columns.names
            names = source.columns.names
            as_text = [names[role] for role in TEXT_ROLES if role in names]
            told = None if progress is None else partial(_tell, progress, number, len(self.sources))
            for table in self._picked(source, names.values(), as_text, BLOCK_ROWS, told):
                if table.frame.empty:
                    continue
                self._take(source, table)
                if self.averager is None and self._too_many():
                    self.averager = Averager(QUICK_S)
                if self.averager is not None:
                    self._average(self.averager)
        self._check_stations()
        if self._rows == 0:
            raise InputError(f"{self.path}: there is a heading but no data line below it.")
        return self._result()

    def _clock_tables(self) -> Iterator[Table]:
        for source in self.sources:
            names = source.columns.names
            self.clock.names = names
            headings = [names[role] for role in CLOCK_ROLES if role in names]
            for table in self._picked(source, headings, headings, DATE_ROWS):
                if not table.frame.empty:
                    yield table

    def _picked(
        self,
        source: RecordFile,
        headings: Iterable[str],
        as_text: Iterable[str],
        rows: int,
        progress: Progress | None = None,
    ) -> Iterator[Table]:
        """Read some columns of the rows that hold the stated cells, of one station."""
        wanted = self.options.cells
        others = [h for h in source.layout.headings if h not in wanted]
        stations = [heading for heading in others if take_apart(heading).base in STATION_HEADINGS]
        also = [*wanted, *stations]
        for table in source.tables([*headings, *also], [*as_text, *also], rows, progress):
            keep = np.ones(len(table.frame), dtype=bool)
            for heading, cells in wanted.items():
                keep &= self._cells(table, heading).isin(cells).to_numpy()
            picked = table if keep.all() else replace(table, frame=table.frame[keep])
            for heading in stations:
                self._cells(picked, heading)
                seen = list(self._seen[heading])
                if len(seen) > 1:
                    raise InputError(
                        f"{self.path}: column {heading!r} holds several stations "
                        f"{pick_one(heading, seen)}"
                    )
            yield picked

    def _cells(self, table: Table, heading: str) -> pd.Series[str]:
        """Return the cells of a column, and remember which there are."""
        cells = table.frame[heading].fillna("").str.strip()
        names = dict.fromkeys(cell for cell in cells.unique().tolist() if cell)
        self._seen.setdefault(heading, {}).update(names)
        return cells

    def _check_stations(self) -> None:
        """Refuse a stated cell that no row holds, and cells that leave no row together."""
        for heading, wanted in self.options.cells.items():
            seen = self._seen.get(heading, {})
            for cell in wanted:
                if cell not in seen:
                    raise InputError(
                        f"{self.path}, where: no row has {cell!r} in column {heading!r}, which "
                        f"holds {_listed(list(seen))}; name one of these."
                    )
        if self.options.cells and self._rows == 0:
            raise InputError(
                f"{self.path}, where: no row has what is stated for "
                f"{' and '.join(self.options.cells)} together; leave one of them out."
            )

    def _take(self, source: RecordFile, table: Table) -> None:
        raw = {}
        for role in self.roles:
            if role in source.columns.names:
                raw[role], marks = numbers_of(
                    table,
                    source.columns.names[role],
                    self.options.marks,
                    words_of(role, self.units.get(role, "")),
                )
                self.marks[role] += marks
            else:
                raw[role] = np.full(len(table.frame), np.nan)
        counted = self.options.start is not None
        time = self._counted_times(len(table.frame)) if counted else self.clock.times(table)
        self._time.append(time)
        self._raw.append(raw)
        self._places.append((source, table.frame.index.to_numpy()))
        self._rows += time.size
        if self.averager is None and self._rows > MOST_ROWS:
            raise InputError(
                f"{self.path}: more than {MOST_ROWS:,} readings are too many to keep one by one; "
                "state a time to average them over (average_s in a plan, --average for a record)."
            )

    def _counted_times(self, rows: int) -> Times:
        try:
            start = np.datetime64(str(self.options.start).replace(" ", "T"), "ns")
        except ValueError as error:
            raise InputError(
                f"start: {self.options.start!r} is not a time; write it as 2026-01-31 13:50."
            ) from error
        number = np.arange(self._rows, self._rows + rows)
        return start + (number * (self.options.interval_s or 0.0) * 1e9).astype("timedelta64[ns]")

    def _too_many(self) -> bool:
        if self.options.average_s == 0 or self._rows <= MANY_ROWS:
            return False
        steps = np.abs(np.diff(self._time[0])) / np.timedelta64(1, "s")
        return bool(np.median(steps) < QUICK_S) and self.units["speed"] != "Beaufort"

    def _settled(self) -> tuple[Times, dict[str, FloatArray], Flags]:
        """Turn the rows in hand into SI values, blanking marks; refuse what cannot be."""
        time = np.concatenate(self._time)
        values = {}
        for role in self.roles:
            raw = np.concatenate([block[role] for block in self._raw])
            unit = self.units.get(role, "")
            raw, marks = blank_marks(role, raw, unit, self.options.marks)
            self.marks[role] += marks
            if role == "speed" and self.distinct.size <= 20_000:
                self.distinct = np.union1d(self.distinct, raw[np.isfinite(raw)])
            si = to_si(role, raw, unit)
            if role in ("speed", "direction", "standard_deviation", "gust"):
                self._refuse(role, raw, si < 0)
            if role == "direction":
                self._refuse(role, raw, si > LIMITS[role][1])
            elif role != "speed":
                si, often = within_limits(role, si)
                self.beyond[role] += often
            values[role] = si
        self._time.clear()
        self._raw.clear()
        self._places.clear()
        impossible = values["speed"] > LIMITS["speed"][1]
        return time, values, impossible

    def _refuse(self, role: str, raw: FloatArray, wrong: Flags) -> None:
        if not wrong.any():
            return
        at = int(np.argmax(wrong))
        ends = np.cumsum([rows.size for _, rows in self._places])
        block = int(np.searchsorted(ends, at, side="right"))
        source, rows = self._places[block]
        row = int(rows[at - int(ends[block])])
        why = (
            "is not a direction from 0 to 360 degrees"
            if role == "direction"
            else "is below zero, and a wind speed cannot be"
        )
        raise InputError(
            f"{source.place(row)}: {raw[at]:g} in column {source.columns.names[role]!r} "
            f"{why}; mend the value, leave it blank, or state it as a missing mark."
        )

    def _average(self, averager: Averager) -> None:
        time, values, impossible = self._settled()
        if impossible.any():
            values["speed"][impossible] = np.nan
            self.beyond["speed"] += int(impossible.sum())
        self._disordered += int((np.diff(time) < np.timedelta64(0, "ns")).sum())
        self._same_time += time.size - np.unique(time).size
        averager.add(time, values)

    def _result(self) -> Gathered:
        mean_cube = None
        if self.averager is None:
            time, values, impossible = self._settled()
            step = self._step()
        else:
            time, values, readings = self.averager.result()
            impossible = np.zeros(time.size, dtype=bool)
            self._tell_averaging(self.averager, readings)
            step = None
            if self.averager.readings:
                mean_cube = self.averager.cubes / self.averager.readings
        self.warnings += [
            ValuesBeyondLimits(str(self.path), role, *LIMITS[role], often)
            for role, often in self.beyond.items()
            if often
        ]
        return Gathered(
            time=time,
            si=values,
            impossible=impossible,
            step=step,
            beaufort=self.units["speed"] == "Beaufort",
            mean_cube_ms3=mean_cube,
            height_m=self.sources[0].columns.height_m,
            found=self._found(),
            warnings=[*dict.fromkeys(w for s in self.sources for w in s.columns.warnings),
                      *self.warnings],
        )  # fmt: skip

    def _step(self) -> tuple[float, str] | None:
        unit = self.units["speed"]
        return None if unit == "Beaufort" else rounding_step(self.distinct, unit)

    def _tell_averaging(self, averager: Averager, readings: FloatArray) -> None:
        step = self._step()
        usual = float(np.median(readings[readings > 0])) if (readings > 0).any() else 0.0
        repeats = int(np.maximum(0, readings - usual).sum())
        source, rounding = str(self.path), step[1] if step else None
        self.warnings.append(
            ReadingsAveraged(source, averager.readings, averager.seconds, rounding)
        )
        if self._disordered:
            self.warnings.append(LinesBackInTime(source, self._disordered))
        if self._same_time:
            self.warnings.append(ReadingsAtOneTime(source, self._same_time))
        if repeats:
            self.warnings.append(ReadingsBeyondUsual(source, usual, repeats))

    def _found(self) -> list[Recognised]:
        options = self.options
        found = layout_findings(self.sources, options)
        if options.start is not None:
            text = f"{options.start}, every {options.interval_s:g} s"
            found.append(Recognised("time", text, "stated"))
        else:
            found += self.clock.findings()
        for heading, cells in options.cells.items():
            found.append(Recognised("rows", f"{heading} is {' or '.join(cells)}", "stated"))
        for role, marks in self.marks.items():
            words = words_of(role, self.units.get(role, ""))
            read = {mark for mark in marks if np.isfinite(words.get(mark.lower(), np.nan))}
            for what, told in (("missing", set(marks) - read), ("words for", read)):
                if told:
                    text = ", ".join(f"{m} ({marks[m]:,} times)" for m in marks if m in told)
                    found.append(Recognised(f"{what} {role}", text, "recognised"))
        return found


def _tell(progress: Progress, number: int, files: int, share: float) -> None:
    progress((number + share) / files)


def pick_one(heading: str, cells: Sequence[str]) -> str:
    """Say which stations a column holds, and how to pick one of them."""
    return (
        f"({_listed(cells)}); pick one: where = {{ {heading!r} = {cells[0]!r} }} (on the command "
        f'line --where "{heading}={cells[0]}").'
    )


def _listed(cells: Sequence[str]) -> str:
    """Name the first few of some cells."""
    more = f" and {len(cells) - _SHOWN} more" if len(cells) > _SHOWN else ""
    return ", ".join(map(repr, cells[:_SHOWN])) + more
