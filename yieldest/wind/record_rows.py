"""Gather the rows of one or many text files into times and SI values, in bounded memory."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from yieldest.arrays import FloatArray, floats, some
from yieldest.errors import InputError
from yieldest.files.plain_stamps import Times
from yieldest.files.table import Table
from yieldest.files.text_file import Progress
from yieldest.provenance import Finding
from yieldest.units import DIRECTION_FACTORS
from yieldest.wind.read_options import ReadOptions, Recognised
from yieldest.wind.record_clock import Clock
from yieldest.wind.record_columns import CLOCK_ROLES, TEXT_ROLES, VALUE_ROLES, take_apart
from yieldest.wind.record_files import RecordFile, layout_findings, units_of
from yieldest.wind.record_values import (
    DIRECTION_DOUBTED,
    FEWEST_DIRECTIONS,
    LIMITS,
    ROUNDED_UP_DEG,
    DirectionsInDoubt,
    Gathered,
    ValuesBeyondLimits,
    blank_marks,
    marks_of,
    numbers_of,
    rounding_step,
    to_si,
    unit_doubted,
    within_limits,
    words_of,
)

BLOCK_ROWS = 30_000
"""Rows that are looked at together, at least, where there are so many."""
AVERAGED_ROWS = 200_000
"""Rows that are averaged together: averages of fewer are merged more often."""
ROOM = 6_000_000
"""Rows that columns have room for at first, ten years of minutes: so large an array takes memory as
it is filled, and gives it back."""
MANY_ROWS = 2_000_000
MOST_ROWS = 20_000_000
"""Readings that are kept as they are: 38 years of one a minute, and some 1 GB; our choice."""
QUICK_S = 60.0
"""More than `MANY_ROWS` readings less than a minute apart are averaged over a minute, the averaging
time of the small-turbine annex of IEC 61400-12-1; both bounds are our choice."""
MANY_CONFLICTS = 0.1
"""Rows with the time of another and another speed are many above this share; our choice."""
MOST_STATIONS = 200
"""A column with more different cells than this holds no stations; our choice."""

STATION_HEADINGS = frozenset(
    {"station", "stations", "station id", "stationid", "station name", "station code", "stid"}
    | {"station number", "station no", "site", "site id", "siteid", "site name", "site code"}
)
"""Headings, taken apart, under which the name of the place stands."""
_SHOWN = 5


class ReadingsAveraged(Finding):
    """Quick readings were averaged; `rounding` is their step in words, where there is one."""

    source: str
    readings: int
    interval_s: float
    rounding: str | None


class LinesBackInTime(Finding):
    """Lines go back in time, and the record was sorted."""

    source: str
    lines: int


class ReadingsAtOneTime(Finding):
    """Readings with the very time of another were averaged with it."""

    source: str
    readings: int


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
        self._own: set[str] = set()  # deviations and gusts that the readings bring along

    def add(self, time: Times, values: Mapping[str, FloatArray]) -> None:
        """Take in times and SI values by role, among them "speed"; NaN is left out of averages."""
        speed = values["speed"]
        self._own |= {"standard_deviation", "gust"} & values.keys()
        valid = np.isfinite(speed)
        still = np.where(valid, speed, 0.0)
        self.readings += int(valid.sum())
        self.cubes += float((still * still * still).sum())
        deviation = np.where(valid, np.nan_to_num(values.get("standard_deviation", 0.0)), 0.0)
        columns = {
            "readings": valid.astype(np.float64),
            "sum": still,
            "squares": still**2 + deviation**2,
            "highest": np.fmax(speed, values.get("gust", speed)),
        }
        if "direction" in values:
            angle = np.radians(values["direction"])
            # Weighted by the speed, as the wind itself carries; a calm has no direction.
            columns["east"] = np.nan_to_num(still * np.sin(angle))
            columns["north"] = np.nan_to_num(still * np.cos(angle))
        for role in ("temperature", "pressure"):
            if role in values:
                columns[role] = np.nan_to_num(values[role])
                columns[role + "s"] = np.isfinite(values[role]).astype(np.float64)
        number = time.astype("datetime64[ns]").astype(np.int64) // np.int64(self.seconds * 1e9)
        self._parts.append(_merge([pd.DataFrame(columns, index=number)]))
        # Parts of like size are merged, so that there are few of them and each is merged rarely.
        while len(self._parts) > 1 and 2 * len(self._parts[-1]) > len(self._parts[-2]):
            self._parts[-2:] = [_merge(self._parts[-2:])]

    def result(self) -> tuple[Times, dict[str, FloatArray], FloatArray]:
        """Return start, SI averages by role, and number of readings of each interval, in order.

        "standard_deviation" is the standard deviation of the readings in an interval (with that of
        the readings themselves where they have one), "gust" the highest; NaN where one reading
        alone says nothing of them, and not there where that is so throughout.
        """
        frame = _merge(self._parts)
        start = (frame.index.to_numpy() * np.int64(self.seconds * 1e9)).astype("datetime64[ns]")
        column = {str(name): frame[name].to_numpy(np.float64) for name in frame}

        def mean(total: str, count: str) -> FloatArray:
            return column[total] / np.where(column[count] > 0, column[count], np.nan)

        values = {"speed": mean("sum", "readings"), "gust": column["highest"]}
        variance = mean("squares", "readings") - values["speed"] ** 2
        values["standard_deviation"] = np.sqrt(np.maximum(variance, 0.0))
        # One reading alone shows neither a spread nor a gust.
        several = column["readings"] > 1
        for role in {"standard_deviation", "gust"} - self._own:
            values[role] = np.where(several, values[role], np.nan)
            if not several.any():
                del values[role]
        if "east" in column:
            east, north = column["east"], column["north"]
            blows = np.hypot(east, north) > 0
            values["direction"] = np.where(blows, np.degrees(np.arctan2(east, north)) % 360, np.nan)
        for role in ("temperature", "pressure"):
            if role in column:
                values[role] = mean(role, role + "s")
        return start, values, column["readings"]


def _merge(parts: Sequence[pd.DataFrame]) -> pd.DataFrame:
    rows = pd.concat(parts).groupby(level=0)
    return rows.sum().assign(highest=rows["highest"].max())


class Gathering:
    """The rows of a record as they are read, block by block, and what was noticed about them."""

    def __init__(self, path: Path, sources: Sequence[RecordFile], options: ReadOptions) -> None:
        self.path = path
        self.sources = sources
        self.options = options
        self.units = units_of(sources)
        self.roles = [r for r in VALUE_ROLES if any(r in s.columns.names for s in sources)]
        self.clock = Clock(sources[0].columns.names, options.date_order, options.time_zone)
        self.marks: dict[str, Counter[str]] = {role: Counter() for role in self.roles}
        self.beyond: Counter[str] = Counter()
        self.distinct = np.empty(0)  # the different speeds, and how often they came
        self.counts: FloatArray = np.empty(0)
        self.directions = np.empty(0)  # the different ones, until one is surely in degrees
        self.averager = Averager(options.average_s) if options.average_s else None
        self._seen: dict[str, dict[str, None]] = {}  # the cells of columns of stations
        self._columns: dict[str, npt.NDArray[Any]] = {}  # the rows in hand, and room for more
        self._held = 0
        self._rows = 0
        self._last: Times = np.empty(0, "datetime64[ns]")  # the time of the row before, if any
        self._back = 0  # steps to an earlier time, and to a later one
        self._forth = 0
        self._same_time = 0

    def gather(self, progress: Progress | None = None) -> Gathered:
        """Read all the rows, telling `progress` the share read so far."""
        if self.options.start is None:
            self.clock.settle_order(self._clock_tables())
        for number, source in enumerate(self.sources):
            names = source.columns.names
            self.clock.names = names
            as_text = [names[role] for role in TEXT_ROLES if role in names]

            def told(share: float, number: int = number) -> None:
                if progress is not None:
                    progress((number + share) / len(self.sources))

            for table in self._picked(source, names.values(), as_text, told):
                self._take(source, table)
                if self.averager is None and self._too_many():
                    self.averager = Averager(QUICK_S)
                if self.averager is not None and self._held >= AVERAGED_ROWS:
                    self._average(self.averager)
        if self.averager is not None and self._held:
            self._average(self.averager)
        self._check_stations()
        if self._rows == 0:
            raise InputError(f"{self.path}: there is a heading but no data line below it.")
        return self._result()

    def station_column(self) -> tuple[str, list[str]]:
        """Return the column whose cells tell apart rows of the same time, if any, and its cells."""
        parts = []
        for source in self.sources:
            names, headings = source.columns.names, source.layout.headings
            clock = Clock(names, self.clock.order, self.options.time_zone)
            others = [h for h in headings if h not in names.values() and h != "time"]
            for table in source.tables(headings, headings, BLOCK_ROWS):
                parts.append(table.frame[others].assign(time=clock.times(table)))
        rows = pd.concat(parts)
        repeats = int(rows.duplicated(["time"]).sum())
        left = {
            heading: int(rows.duplicated(["time", heading]).sum())
            for heading in rows.columns.drop("time")
            if 2 <= rows[heading].nunique() <= MOST_STATIONS
        }
        best = min(left, key=left.__getitem__, default="")
        if not left or left[best] > MANY_CONFLICTS * repeats:
            return "", []
        return best, rows[best].dropna().unique().tolist()

    def _clock_tables(self) -> Iterator[Table]:
        for source in self.sources:
            names = source.columns.names
            self.clock.names = names
            headings = [names[role] for role in CLOCK_ROLES if role in names]
            yield from self._picked(source, headings, headings)

    def _picked(
        self,
        source: RecordFile,
        headings: Iterable[str],
        as_text: Iterable[str],
        progress: Progress | None = None,
    ) -> Iterator[Table]:
        """Read some columns of the rows that hold the stated cells, of one station."""
        wanted = self.options.cells
        others = [h for h in source.layout.headings if h not in wanted]
        stations = [heading for heading in others if take_apart(heading).base in STATION_HEADINGS]
        also = [*wanted, *stations]
        names = source.columns.names
        if names.get("time") in wanted:
            # Times that are read as such no longer tell what is written.
            untimed = {role: heading for role, heading in names.items() if role != "time"}
            source = replace(source, columns=replace(source.columns, names=untimed))
        for table in source.tables([*headings, *also], [*as_text, *also], BLOCK_ROWS, progress):
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
            if not picked.frame.empty:
                yield picked

    def _cells(self, table: Table, heading: str) -> pd.Series[str]:
        """Return the cells of a column, and remember which there are."""
        column = table.frame[heading]
        if column.dtype.kind == "M":
            column = column.map(str, na_action="ignore")
        cells = column.fillna("").str.strip()
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
            heading = source.columns.names.get(role)
            if heading is None:
                raw[role] = np.full(len(table.frame), np.nan)
                continue
            words = words_of(role, self.units.get(role, ""))
            raw[role], marks = numbers_of(table, heading, self.options.marks, words)
            self.marks[role] += marks
            unit = self.units.get(role, "")
            _refuse_impossible(table, role, heading, raw[role], unit, self.options.marks)
        counted = self.options.start is not None
        time = self._counted_times(len(table.frame)) if counted else self.clock.times(table)
        self._hold({"time": time, **raw})
        self._rows += time.size
        if self.averager is None and self._rows > MOST_ROWS:
            raise InputError(
                f"{self.path}: more than {MOST_ROWS:,} readings are too many to keep one by one; "
                "state a time to average them over (average_s in a plan, --average for a record)."
            )

    def _hold(self, rows: Mapping[str, npt.NDArray[Any]]) -> None:
        """Put rows behind those in hand: into columns long enough to be moved rarely."""
        end = self._held + rows["time"].size
        for role, more in rows.items():
            column = self._columns.setdefault(role, more)
            if column is more:
                continue
            if end > column.size:
                held = column[: self._held]
                # Memory that is not written to yet costs nothing.
                column = self._columns[role] = np.empty(max(ROOM, 2 * end), more.dtype)
                column[: self._held] = held
            column[self._held : end] = more
        self._held = end

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
        return self.options.average_s != 0 and self._rows > MANY_ROWS and self._quick

    @cached_property
    def _quick(self) -> bool:
        """Whether the first readings are less than a minute apart."""
        steps = np.abs(np.diff(self._columns["time"][:BLOCK_ROWS])) / np.timedelta64(1, "s")
        return bool(np.median(steps) < QUICK_S) and self.units["speed"] != "Beaufort"

    def _settled(self) -> tuple[Times, dict[str, FloatArray]]:
        """Turn the rows in hand into SI values, blanking marks."""
        time = self._columns.pop("time")[: self._held]
        values = {}
        for role in self.roles:
            raw = self._columns.pop(role)[: self._held]
            unit = self.units.get(role, "")
            raw, marks = blank_marks(role, raw, unit, self.options.marks)
            self.marks[role] += marks
            known = raw[some(np.isfinite(raw))]
            if role == "speed" and self.distinct.size <= 20_000:
                counted = pd.Series(known, copy=False).value_counts(sort=False)
                both = np.concatenate((self.distinct, counted.index))
                counts = np.concatenate((self.counts, counted))
                self.distinct, place = np.unique(both, return_inverse=True)
                self.counts = floats(np.bincount(place, weights=counts))
            values[role] = to_si(role, raw, unit)
            if role == "direction" and self.directions.max(initial=0.0) <= DIRECTION_DOUBTED:
                highest = known.max(initial=0.0)
                more = known if highest <= DIRECTION_DOUBTED else highest
                self.directions = np.union1d(self.directions, more)
            if role != "speed" or self.averager is not None:
                values[role], often = within_limits(role, values[role])
                self.beyond[role] += often
        self._held = 0
        return time, values

    def _average(self, averager: Averager) -> None:
        time, values = self._settled()
        none = np.timedelta64(0, "ns")
        row_by_row = np.concatenate((self._last, time))
        steps = np.diff(row_by_row)
        self._back += int((steps < none).sum())
        self._forth += int((steps > none).sum())
        self._same_time += int((np.diff(np.sort(row_by_row, kind="stable")) == none).sum())
        self._last = time[-1:].copy()
        averager.add(time, values)

    def _result(self) -> Gathered:
        unit = self.units["speed"]
        mean_cube = None
        warnings = list(dict.fromkeys(w for s in self.sources for w in s.columns.warnings))
        if self.averager is None:
            time, values = self._settled()
        else:
            time, values, readings = self.averager.result()
            warnings += self._averaging(self.averager, readings)
            if self.averager.readings:
                mean_cube = self.averager.cubes / self.averager.readings
        doubted = self._doubted_directions()
        if doubted is not None:
            warnings.append(doubted)
            values.pop("direction")
        warnings += [
            ValuesBeyondLimits(str(self.path), role, *LIMITS[role], often)
            for role, often in self.beyond.items()
            if often
        ]
        return Gathered(
            time=time,
            si=values,
            step=None if self.averager is not None else self._step(),
            beaufort=unit == "Beaufort",
            mean_cube_m3_s3=mean_cube,
            height_m=self.sources[0].columns.height_m,
            found=self._found(),
            warnings=warnings,
        )

    def _doubted_directions(self) -> DirectionsInDoubt | None:
        if self.units.get("direction") != "deg" or self.options.direction_units is not None:
            return None
        unit = unit_doubted(self.directions) if self._rows >= FEWEST_DIRECTIONS else None
        heading = next((s.columns.names.get("direction") for s in self.sources), None)
        if unit is None or heading is None:
            return None
        return DirectionsInDoubt(str(self.path), heading, float(self.directions.max()), unit)

    def _step(self) -> tuple[float, str] | None:
        unit = self.units["speed"]
        return None if unit == "Beaufort" else rounding_step(self.distinct, unit, self.counts)

    def _averaging(self, averager: Averager, readings: FloatArray) -> Iterator[Finding]:
        """Say what was averaged, `readings` to an interval, and what was strange about it."""
        source, step = str(self.path), self._step()
        rounding = step[1] if step else None
        yield ReadingsAveraged(source, averager.readings, averager.seconds, rounding)
        newest_first = 2 * self._back > self._rows
        if disordered := self._forth if newest_first else self._back:
            yield LinesBackInTime(source, disordered)
        if self._same_time:
            yield ReadingsAtOneTime(source, self._same_time)
        usual = float(np.median(readings[readings > 0])) if (readings > 0).any() else 0.0
        if repeats := int(np.maximum(0, readings - usual).sum()):
            yield ReadingsBeyondUsual(source, usual, repeats)

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
                    often = sorted((-marks[mark], mark) for mark in told)
                    text = ", ".join(f"{mark} ({-times:,} times)" for times, mark in often)
                    found.append(Recognised(f"{what} {role}", text, "recognised"))
        return found


def _refuse_impossible(
    table: Table,
    role: str,
    heading: str,
    raw: FloatArray,
    unit: str,
    stated_marks: Sequence[str],
) -> None:
    """Refuse a wind below zero and a direction that is none, but for marks of missing values."""
    if role in ("temperature", "pressure"):
        return
    wrong, why = raw < 0, "is below zero, and a wind speed cannot be"
    if role == "direction":
        most = 360 / DIRECTION_FACTORS[unit]
        wrong = wrong | (raw > most + ROUNDED_UP_DEG / DIRECTION_FACTORS[unit])
        why = (
            f"is not a direction from 0 to {most:g} {unit.replace('deg', 'degrees')}; if the unit "
            "is another, state direction_units (on the command line --direction-units)"
        )
    if wrong.any():
        wrong &= ~np.isin(raw, marks_of(role, stated_marks))
    table.refuse(
        wrong,
        lambda row: (
            f"{raw[row]:g} in column {heading!r} {why}; mend the value, leave it blank, or, if it "
            f'stands for a missing value, state missing = ["{raw[row]:g}"] (on the command line '
            f"--missing {raw[row]:g})."
        ),
    )


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
