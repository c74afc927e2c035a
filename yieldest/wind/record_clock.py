"""From the time columns of a record to UTC, or to times as they stand where no zone is known."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta, timezone, tzinfo
from functools import partial
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import numpy.typing as npt
import pandas as pd

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.files.plain_stamps import Times, plain_iso
from yieldest.files.table import Table
from yieldest.files.time_stamps import (
    DATE_ORDERS,
    PART_LIMITS,
    YEARLESS,
    Stamps,
    assemble,
    first_year,
    in_century,
    in_nanoseconds,
    parse_stamps,
    possible_orders,
    states_offset,
    two_digit_years,
    why_no_time,
    with_colon,
    without_zone_letters,
)
from yieldest.wind.read_options import Recognised

_BEGINS_WITH_DATE = r"\d{4}-\d\d-\d\d|\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}"
_SAYS_UTC = re.compile(r"(?i)(?<![a-z])(utc|gmt)(?![a-z+-])")


def zone_of(text: str) -> tzinfo:
    """Return the time zone that `text` names: "UTC", "+01:00" or such as "Europe/Berlin".

    A `ValueError` that begins with the text, and has no full stop, when there is none.
    """
    offset = re.fullmatch(r"(?:UTC|GMT)?([+-])(\d{1,2}):?(\d\d)?", text.strip())
    if offset:
        minutes = 60 * int(offset.group(2)) + int(offset.group(3) or 0)
        if minutes <= 14 * 60:
            return timezone(timedelta(minutes=-minutes if offset.group(1) == "-" else minutes))
    else:
        try:
            return ZoneInfo(text.strip())
        except (ZoneInfoNotFoundError, ValueError, OSError):
            pass
    raise ValueError(
        f"{text!r} is not a known time zone; write UTC, an offset such as +01:00, or a name such "
        "as Europe/Berlin"
    )


def clock_times(utc: Times, time_zone: str) -> Times:
    """Return the times that the clocks of a zone show, of any number of times in UTC."""
    there = pd.DatetimeIndex(utc, tz="UTC").tz_convert(zone_of(time_zone))
    return np.asarray(there.tz_localize(None).to_numpy("datetime64[ns]"))


class Clock:
    """Reads the time stamps of consecutive rows.

    The headings by role are to be set anew for a file whose headings differ; `time_zone` is that of
    stamps that state no offset.
    """

    def __init__(
        self, names: dict[str, str], date_order: str | None = None, time_zone: str | None = None
    ) -> None:
        self.names = names
        self.order = date_order
        self.written = ""
        self.doubled = 0
        self._first_year: int | None = None  # of the hundred that years of two digits lie in
        try:
            self._zone = None if time_zone is None else zone_of(time_zone)
        except ValueError as error:
            raise InputError(f"time_zone: {error}.") from error
        self._order_stated = date_order is not None
        self._offsets = False
        self._first: Table | None = None  # without its cells
        # The doubled hour may be cut by the end of a block.
        self._last_local: np.datetime64 | None = None
        self._last_twofold = False
        self._gone_back = False
        self._newest_first: bool | None = None

    def times(self, table: Table) -> Times:
        """Return the times of the rows of a table; refuse the first stamp that is no time."""
        offsets = False
        if not {"time", "date"} & self.names.keys():
            local = self._from_parts(table)
        else:
            given = self._given(table)
            if given is None:
                given = self._plain(table)
            stamps = self._from_texts(table) if given is None else given
            offsets = stamps.dt.tz is not None
            if offsets:
                stamps = stamps.dt.tz_convert("UTC").dt.tz_localize(None)
            local = np.asarray(stamps.to_numpy("datetime64[ns]"))
        self._refuse_mixed(table, 0, offset=offsets)
        if self._first_year is not None:
            local = in_century(local, self._first_year)
        if self._offsets:
            return local
        return local if self._zone is None else self._to_utc(table, local, self._zone)

    def settle_order(self, tables: Iterable[Table]) -> None:
        """Find out the order of day and month from as many tables, first to last, as it takes.

        The century of two-digit years is told from all of them. Dates that can be read in several
        ways are refused.
        """
        if not {"time", "date"} & self.names.keys():
            self._settle_years(tables)
            return
        first, orders = "", set(DATE_ORDERS)
        years: dict[str, set[int]] = {"a": set(), "c": set()}
        for table in tables:
            if self._given(table) is not None:
                return
            texts = self._texts(table)
            found = possible_orders(texts) if self.order is None else None
            if found is not None:
                heading = self.names.get("date", self.names.get("time"))
                first = first or f"{table.place(0)}: {texts.iloc[0]!r} in column {heading!r}"
                orders &= found
            two_digits = two_digit_years(texts)
            for place, more in two_digits.items():
                years[place] |= more
            if not two_digits and (found is None or len(orders) < 2):
                break
        if first and len(orders) > 1:
            raise InputError(
                f"{first} could be {' or '.join(sorted(orders))}, and nothing in the record "
                "decides it; state date_order (on the command line --date-order)."
            )
        if len(orders) == 1:
            self.order = orders.pop()
        of_order = years["a" if self.order == "year first" else "c"]
        if of_order and max(of_order) < 100:
            self._first_year = first_year(of_order)

    def _settle_years(self, tables: Iterable[Table]) -> None:
        """Find out the century where the years have a column of their own."""
        years: set[int] = set()
        for table in tables if "year" in self.names else ():
            years |= set(self._part(table, "year").astype(int).tolist())
            if max(years) >= 100:
                return
        if years:
            self._first_year = first_year(years)

    def findings(self) -> list[Recognised]:
        """Return how the times were read, once they have been."""
        headings = [self.names[role] for role in ("time", "date", "hour") if role in self.names]
        found = [Recognised("time", self.written, "recognised")]
        if self.order is not None:
            how = "stated" if self._order_stated else "the only one that all dates allow"
            found.append(Recognised("order of the date", self.order, how))
        if self._first_year is not None:
            text = f"from {self._first_year + 1} on"
            found.append(Recognised("years of two digits", text, "by their order"))
        zone, how = "as in the file", "not stated"
        if self._offsets:
            zone, how = "UTC", "from the time stamps"
        elif self._zone is not None:
            zone, how = f"{self._zone}, turned into UTC", "stated"
        elif any(map(_SAYS_UTC.search, headings)):
            zone, how = "UTC", "from the heading"
        found.append(Recognised("time zone", zone, how))
        if self.doubled:
            text = f"{self.doubled} readings, told apart by the order of the lines"
            found.append(Recognised("hour that the clocks repeat", text, "recognised"))
        return found

    def _texts_of(self, table: Table, role: str) -> Stamps:
        cells = table.frame[self.names[role]]
        return cells.astype(object).where(cells.notna(), "").astype(str).str.strip()

    def _texts(self, table: Table) -> Stamps:
        """Return date, clock and half of the day as one text."""
        texts_of, names = partial(self._texts_of, table), self.names
        if "time" in names:
            texts = texts_of("time")
            # The time column may hold the date too.
            if "date" in names and not texts.str.match(_BEGINS_WITH_DATE).all():
                texts = texts_of("date") + " " + with_colon(texts)
        elif "hour" in names:
            clock = texts_of("hour")
            if "minute" in names:
                clock = clock + ":" + texts_of("minute").str.zfill(2)
            texts = texts_of("date") + " " + with_colon(clock)
        else:
            texts = texts_of("date")
        if "half_of_day" in names:
            texts = texts + " " + texts_of("half_of_day")
        return texts if self._zone is None else without_zone_letters(texts)

    def _given(self, table: Table) -> Stamps | None:
        """Return the times of a table that holds times already; None where it holds texts."""
        name = self.names.get("time")
        if name is None or table.frame[name].dtype.kind != "M":
            return None
        times = in_nanoseconds(table.frame[name])
        self.written = self.written or ("ISO 8601" if table.layout.data_line else "times")
        table.refuse(
            times.isna().to_numpy(),
            lambda row: (
                f"the time in column {name!r} is missing, or beyond the years 1678 to 2261; leave "
                "the row out."
            ),
        )
        return times

    def _plain(self, table: Table) -> Stamps | None:
        """Return the times of a column in the plainest form of ISO 8601; None where it is not."""
        if "time" not in self.names or {"date", "half_of_day"} & self.names.keys():
            return None
        times = plain_iso(table.frame[self.names["time"]])
        if times is None:
            return None
        self.written = self.written or "ISO 8601"
        return pd.Series(times)

    def _from_texts(self, table: Table) -> Stamps:
        texts = self._texts(table)
        times, written = parse_stamps(texts, self.order)
        self.written = self.written or written
        heading = self.names.get("time", self.names.get("date"))
        unread = times.isna().to_numpy()
        if unread.any():
            # Of two kinds of stamps only one is read, be it that of the first row or not.
            for row in (0, int(np.argmax(unread != unread[0]))):
                offset = states_offset(texts.iloc[row], self.order)
                if offset is None:
                    break
                self._refuse_mixed(table, row, offset=offset)

        def said(row: int) -> str:
            why = why_no_time(texts.iloc[row])
            if self.order:
                why = why.replace("is not a time", f"is not a time with the {self.order}")
            return f"{texts.iloc[row]!r} in column {heading!r} {why}."

        table.refuse(unread, said)
        return times

    def _refuse_mixed(self, table: Table, row: int, *, offset: bool) -> None:
        """Refuse a row that states an offset from UTC where the first does not, or the reverse."""
        if self._first is None:
            self._offsets, self._first = offset, replace(table, frame=table.frame.iloc[:1, :0])
        elif offset != self._offsets:
            has, had = ("an", "none") if offset else ("no", "one")
            first = self._first.place(0).removeprefix(f"{table.path}, ")
            raise InputError(
                f"{table.place(row)}: the time has {has} offset from UTC, while that of {first} "
                f"has {had}; write all of them with an offset, such as Z or +01:00, or all without "
                "one and in the same time zone."
            )

    def _from_parts(self, table: Table) -> Times:
        self.written = ", ".join(role for role in self.names if role in PART_LIMITS)
        if "year" not in self.names:
            self.written += f"; year taken as {YEARLESS}, for none is there"
        parts = {role: self._part(table, role) for role in PART_LIMITS}
        if "half_of_day" in self.names:
            afternoon = self._texts_of(table, "half_of_day").str.lower().str.startswith("p")
            parts["hour"] = parts["hour"] % 12 + np.where(afternoon, 12, 0)
        if parts["hour"].max(initial=0) > 24:
            parts["minute"] = parts["minute"] + parts["hour"] % 100
            parts["hour"] = parts["hour"] // 100
        times = assemble(parts)
        table.refuse(np.isnat(times), lambda row: "year, month and day make no date; mend them.")
        return times

    def _part(self, table: Table, role: str) -> FloatArray:
        """Return a part of the times, such as the months; what is not there has its least value."""
        if role not in self.names:
            return np.full(len(table.frame), float(YEARLESS) if role == "year" else 0.0)
        name, (low, high) = self.names[role], PART_LIMITS[role]
        values = table.numbers(name)
        table.refuse(
            ~((values >= low) & (values <= high)),
            lambda row: (
                f"{table.frame[name].iloc[row]} in column {name!r} is not a {role} ({low:g} to "
                f"{high:g}); mend the value."
            ),
        )
        return values

    def _to_utc(self, table: Table, local: Times, zone: tzinfo) -> Times:
        """Turn local times into UTC; the doubled hour is told apart by the order of the rows."""

        def utc(*, first: bool) -> Times:
            index = pd.DatetimeIndex(local).tz_localize(
                zone, ambiguous=np.full(local.size, first), nonexistent="NaT"
            )
            return np.asarray(index.tz_convert("UTC").tz_localize(None).to_numpy("datetime64[ns]"))

        earlier, later = utc(first=True), utc(first=False)
        table.refuse(
            np.isnat(earlier),
            lambda row: (
                f"{pd.Timestamp(local[row])} did not exist in time zone {zone}, for the clocks "
                "went forward; if the logger kept winter time, state time_zone as an offset such "
                "as +01:00."
            ),
        )
        twofold = earlier != later
        self.doubled += int(twofold.sum())
        steps = np.diff(local, prepend=local[:1] if self._last_local is None else self._last_local)
        if self._newest_first is None:
            self._newest_first = 2 * int((steps < np.timedelta64(0, "ns")).sum()) > local.size
        # Within the hour that comes twice, the first step back begins the second time.
        late = np.zeros(local.size, dtype=bool)
        rows = np.flatnonzero(twofold).tolist()
        none = np.timedelta64(0, "ns")
        for row in reversed(rows) if self._newest_first else rows:
            if self._newest_first:
                inside = row + 1 < local.size and twofold[row + 1]
                back = inside and steps[row + 1] >= none
            else:
                inside = twofold[row - 1] if row else self._last_twofold
                back = inside and steps[row] <= none
            late[row] = self._gone_back = bool(inside and (self._gone_back or back))
        # An hour that is there once is the one that lies a step away from its neighbours.
        usual = np.median(np.abs(steps)) if rows else none
        for run in np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1) if rows else ():
            alone = not late[run].any() and not (run[0] == 0 and self._last_twofold)
            if alone and _steps_to(later, run, usual) > _steps_to(earlier, run, usual):
                late[run] = self._gone_back = True
        self._last_local, self._last_twofold = local[-1], bool(twofold[-1])
        return np.where(late, later, earlier)


def _steps_to(utc: Times, run: npt.NDArray[np.intp], usual: np.timedelta64) -> int:
    """Return how many of the two neighbours of a run of rows lie a usual step away from it."""
    before, first = utc[run[0] - 1 : run[0]], utc[run[0] : run[0] + 1]
    last, after = utc[run[-1] : run[-1] + 1], utc[run[-1] + 1 : run[-1] + 2]
    return int((np.abs(np.concatenate((first - before, after - last))) == usual).sum())
