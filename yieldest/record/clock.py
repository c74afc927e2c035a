"""Time stamps as people write them, turned into UTC."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from datetime import date, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import numpy.typing as npt
import pandas as pd

from yieldest.errors import InputError
from yieldest.tables import Table

Times = npt.NDArray[np.datetime64]

DATE_ORDERS = {
    "day first": ("%d", "%m", "%y"),
    "month first": ("%m", "%d", "%y"),
    "year first": ("%y", "%m", "%d"),
}
"""The orders in which a date may be written."""

YEARLESS = 2001
"""The (common) year given to records that state none."""

_ISO = re.compile(r"\d{4}-\d\d-\d\d([T ]\d\d:\d\d(:\d\d([.,]\d+)?)?\s*(Z|[+-]\d\d:?(\d\d)?)?)?$")
_OFFSET = re.compile(r"(?<=[\d\s])(Z|UTC|[+-]\d\d:?\d\d)$")
_DATE = re.compile(
    r"(?P<a>\d{1,4}|[A-Za-z]{3,9})(?P<one>[-/. ]+)(?P<b>\d{1,2}|[A-Za-z]{3,9})(?P<two>[-/., ]+)"
    r"(?P<c>\d{2,4})(?P<rest>.*)$"
)
_PACKED = re.compile(r"((?:19|20)\d\d)(0[1-9]|1[0-2])([0-3]\d)[ T:_-]?(\d\d)?:?(\d\d)?:?(\d\d)?$")
_EPOCH = re.compile(r"\d{9,19}(\.\d*)?$")
_CLOCKS = ("%H:%M", "%H:%M:%S", "%H:%M:%S.%f", "%I:%M %p", "%I:%M:%S %p", "%H.%M", "%H")
_EPOCH_UNITS = {9: "s", 10: "s", 11: "s", 12: "ms", 13: "ms", 16: "us", 19: "ns"}


def zone_of(text: str) -> tzinfo:
    """Return the time zone that `text` names: "UTC", "+01:00" or such as "Europe/Berlin".

    Raises
    ------
    InputError
        When there is no such zone.
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
    raise InputError(
        f"time_zone: {text!r} is not a known time zone; write UTC, an offset such as +01:00, or a "
        "name such as Europe/Berlin."
    )


class Clock:
    """Reads the time stamps of consecutive rows.

    Parameters
    ----------
    names : mapping of str to str
        Headings by role (see `yieldest.record.columns.CLOCK_ROLES`).
    date_order : str, optional
        A key of `DATE_ORDERS`.
    zone : tzinfo, optional
        Zone of stamps that state no offset.

    Attributes
    ----------
    written : str
        How the stamps were found to be written.
    in_utc : bool
        Whether the times given out are UTC.
    doubled : int
        Readings in the hour that the clock went through twice.
    """

    def __init__(self, names: dict[str, str], date_order: str | None, zone: tzinfo | None) -> None:
        self._names = names
        self._order = date_order
        self._zone = zone
        self._last_local: np.datetime64 | None = None
        self._last_twofold = False
        self._gone_back = False
        self.written = ""
        self.in_utc = zone is not None
        self.doubled = 0

    def times(self, table: Table) -> Times:
        """Return the times of the rows of a table, datetime64[ns].

        Raises
        ------
        InputError
            Naming the line of the first stamp that is no time, or when the order of day and month
            cannot be told.
        """
        local = self._parse(table, table.frame)
        if local.dt.tz is not None:
            self.in_utc = True
            return local.dt.tz_convert("UTC").dt.tz_localize(None).to_numpy("datetime64[ns]")
        times = local.to_numpy("datetime64[ns]")
        if self._zone is None:
            return times
        if 2 * int((np.diff(times) < np.timedelta64(0)).sum()) > times.size:
            return self._to_utc(table, times[::-1])[::-1]  # the newest line comes first
        return self._to_utc(table, times)

    @property
    def order(self) -> str | None:
        """The order of the date, where it had to be stated or found."""
        return self._order

    def follow(self, names: dict[str, str]) -> None:
        """Go on with a file whose headings differ."""
        self._names = names

    def settle_order(self, tables: Callable[[], Iterable[Table]]) -> None:
        """Find out the order of day and month from as many tables as it takes.

        Parameters
        ----------
        tables : callable
            Gives the tables of all the files, from the first on.
        """
        if self._order is not None or not {"time", "date"} & self._names.keys():
            return
        possible = set(DATE_ORDERS)
        seen = None
        for table in tables():
            texts = self._texts(table.frame)
            match = _first_match(_DATE, texts)
            if match is None or len(match["a"]) == 4 or not _numeric(match):
                return
            seen = seen or (table, texts.iloc[0])
            dates = texts.str.extract(r"^(\d{1,2})\D+(\d{1,2})\D+(\d{2,4})").astype(float)
            if len(match["c"]) == 4:
                possible.discard("year first")
            for order, places in DATE_ORDERS.items():
                day, month = dates[places.index("%d")], dates[places.index("%m")]
                # NaN, an unreadable stamp, is named when it is read.
                ahead = len(match["c"]) == 2 and _is_ahead(dates[places.index("%y")])
                if (day > 31).any() or (month > 12).any() or (day * month == 0).any() or ahead:
                    possible.discard(order)
            if len(possible) < 2:
                break
        if seen is None:
            return
        if len(possible) > 1:
            table, text = seen
            heading = self._names.get("date", self._names.get("time"))
            raise InputError(
                f"{table.path}, line {table.line(0)}: {text!r} in column {heading!r} could be "
                f"{' or '.join(sorted(possible))}, and nothing in the file decides it; state "
                "date_order."
            )
        if possible:
            self._order = possible.pop()

    def _texts(self, frame: pd.DataFrame) -> pd.Series[str]:
        names = self._names
        texts = frame[names.get("date", names.get("time"))].fillna("").astype(str).str.strip()
        if "date" not in names:
            return texts
        if "time" in names:
            clock = frame[names["time"]].fillna("").astype(str).str.strip()
            if re.match(r"\d{4}-\d\d-\d\d|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}", str(clock.iloc[0])):
                return clock  # the time column holds the date too
        elif "hour" in names:
            clock = frame[names["hour"]].fillna("").astype(str).str.strip()
            if "minute" in names:
                clock = clock + ":" + frame[names["minute"]].fillna("").astype(str).str.zfill(2)
        else:
            return texts
        return texts + " " + _with_colon(clock)

    def _parse(self, table: Table, frame: pd.DataFrame) -> pd.Series[pd.Timestamp]:
        if not {"time", "date"} & self._names.keys():
            return self._from_parts(table, frame)
        texts = self._texts(frame)
        times = self._from_texts(texts)
        wrong = times.isna().to_numpy()
        if wrong.any():
            row = int(np.argmax(wrong))
            heading = self._names.get("time", self._names.get("date"))
            raise InputError(
                f"{table.path}, line {table.line(row)}: {texts.iloc[row]!r} in column {heading!r} "
                f"is not a time"
                + (f" ({self._order})" if self._order else "")
                + "; write it as 2026-01-31 13:50."
            )
        return times

    def _from_texts(self, texts: pd.Series[str]) -> pd.Series[pd.Timestamp]:
        first = texts.iloc[0]
        if _PACKED.match(first):
            self.written = "digits: year, month, day, hour"
            return _from_pieces(texts.str.extract(_PACKED))
        if _EPOCH.match(first):
            digits = len(first.partition(".")[0])
            unit = _EPOCH_UNITS.get(digits)
            if unit is not None:
                self.written = {"s": "seconds", "ms": "milliseconds"}.get(unit, unit)
                self.written += " since 1970-01-01 UTC"
                self.in_utc = True
                numbers = pd.to_numeric(texts, errors="coerce")
                # Whole nanoseconds, for pandas would round through floating point.
                return pd.to_datetime(numbers, unit=unit, utc=True, errors="coerce")
        if _ISO.match(first):
            self.written = "ISO 8601"
            times = _iso(texts)
        else:
            times = self._from_formats(texts)
        missing = times.isna()
        if missing.any():
            # Midnight as the end of a day.
            late = texts.str.replace(r"([T ])24(:?00(?::?00)?)?\b", r"\g<1>00\g<2>", regex=True)
            late = late.where(missing & (late != texts))
            if late.notna().any():
                rest = late.dropna()
                found = _iso(rest) if _ISO.match(first) else self._from_formats(rest)
                times = times.copy()
                times[rest.index] = found + pd.Timedelta(days=1)
        return times

    def _from_formats(self, texts: pd.Series[str]) -> pd.Series[pd.Timestamp]:
        match = _first_match(_DATE, texts)
        if match is None:
            return pd.Series(pd.NaT, index=texts.index)
        day = self._date_format(match)
        # One mark between date and clock, one space before AM, no space before an offset.
        plain = texts.str.replace(r"\s+", " ", regex=True)
        offsets = _OFFSET.search(match["rest"].strip()) is not None
        if offsets:
            plain = plain.str.replace(r"\s*(?:Z|UTC)$", "+0000", regex=True)
            plain = plain.str.replace(r" ([+-]\d\d:?\d\d)$", r"\1", regex=True)
        joint_match = re.match(r"[T,; :]*", match["rest"])
        joint = joint_match.group(0) if joint_match and match["rest"].strip() else " "
        joint = re.sub(r"\s+", " ", joint)
        times = pd.Series(pd.NaT, index=texts.index, dtype=_UTC_TYPE if offsets else None)
        times = times if offsets else times.astype("datetime64[ns]")
        for clock in (*_CLOCKS, ""):
            pattern = day + (joint + clock if clock else "") + ("%z" if offsets else "")
            left = times.isna()
            found = pd.to_datetime(plain[left], format=pattern, errors="coerce", utc=offsets)
            if found.notna().any():
                self.written = self.written or pattern
                times = times.copy()
                times[found.index] = found.astype(times.dtype)
            if not times.isna().any():
                break
        return times

    def _date_format(self, match: re.Match[str]) -> str:
        pieces = [match["a"], match["b"], match["c"]]
        year = "%Y" if len(match["c"]) == 4 or len(match["a"]) == 4 else "%y"
        if not _numeric(match):
            spelt = next(piece for piece in pieces if not piece.isdigit())
            name = "%b" if len(spelt) == 3 else "%B"
            order = (name, "%d", year) if spelt == match["a"] else ("%d", name, year)
            if len(match["a"]) == 4:
                order = (year, name, "%d")
        elif len(match["a"]) == 4:
            order = (year, "%m", "%d")
        else:
            places = DATE_ORDERS[self._order or "day first"]
            order = tuple(year if place == "%y" else place for place in places)  # type: ignore[assignment]
        one, two = (re.sub(r"\s+", " ", match[part]) for part in ("one", "two"))
        return order[0] + one + order[1] + two + order[2]

    def _from_parts(self, table: Table, frame: pd.DataFrame) -> pd.Series[pd.Timestamp]:
        names = self._names
        self.written = ", ".join(role for role in names if role in _PART_LIMITS)
        parts: dict[str, npt.NDArray[np.float64]] = {}
        for role, (low, high) in _PART_LIMITS.items():
            if role not in names:
                parts[role] = np.full(len(frame), _PART_DEFAULTS.get(role, 0.0))
                continue
            parts[role] = table.numbers(names[role])
            wrong = ~((parts[role] >= low) & (parts[role] <= high))
            if wrong.any():
                row = int(np.argmax(wrong))
                raise InputError(
                    f"{table.path}, line {table.line(row)}: {frame[names[role]].iloc[row]!r} in "
                    f"column {names[role]!r} is not a {role} ({low:g} to {high:g}); mend the value."
                )
        if parts["hour"].max(initial=0) > 24:
            parts["minute"] = parts["minute"] + parts["hour"] % 100
            parts["hour"] = parts["hour"] // 100
        times = _assemble(parts)
        wrong = np.isnat(times)
        if wrong.any():
            row = int(np.argmax(wrong))
            raise InputError(
                f"{table.path}, line {table.line(row)}: year, month and day make no date; mend "
                "them."
            )
        return pd.Series(times)

    def _to_utc(self, table: Table, local: Times) -> Times:
        """Turn local times into UTC; the doubled hour is told apart by the order of the rows."""
        index = pd.DatetimeIndex(local)
        first = index.tz_localize(
            self._zone, ambiguous=np.ones(local.size, bool), nonexistent="NaT"
        )
        wrong = first.isna()
        if wrong.any():
            row = int(np.argmax(wrong))
            raise InputError(
                f"{table.path}, line {table.line(row)}: {index[row]} did not exist in time zone "
                f"{self._zone}, for the clocks went forward; if the logger kept winter time, state "
                "time_zone as an offset such as +01:00."
            )
        second = index.tz_localize(
            self._zone, ambiguous=np.zeros(local.size, bool), nonexistent="NaT"
        )
        twofold = np.asarray(first != second)
        late = np.zeros(local.size, dtype=bool)
        steps = np.diff(
            local, prepend=self._last_local if self._last_local is not None else local[:1]
        )
        for row in np.flatnonzero(twofold):
            inside = twofold[row - 1] if row else self._last_twofold
            # Within the hour that comes twice, the first step back begins the second time.
            self._gone_back = bool(inside and (self._gone_back or steps[row] <= np.timedelta64(0)))
            late[row] = self._gone_back
        self.doubled += int(twofold.sum())
        self._last_local, self._last_twofold = local[-1], bool(twofold[-1])
        utc = np.where(
            late,
            second.tz_convert("UTC").tz_localize(None).to_numpy("datetime64[ns]"),
            first.tz_convert("UTC").tz_localize(None).to_numpy("datetime64[ns]"),
        )
        return np.asarray(utc)


_UTC_TYPE = pd.DatetimeTZDtype("ns", "UTC")
_PART_LIMITS = {
    "year": (0, 2200),
    "month": (1, 12),
    "day": (1, 31),
    "hour": (0, 2400),
    "minute": (0, 60),
    "second": (0, 61),
}
_PART_DEFAULTS = {"year": float(YEARLESS)}


def _is_ahead(two_digits: pd.Series[float]) -> bool:
    """Tell whether any two-digit year (up to 68 in this century) has not come yet."""
    return bool(((two_digits < 69) & (two_digits + 2000 > date.today().year)).any())


def _numeric(match: re.Match[str]) -> bool:
    return match["a"].isdigit() and match["b"].isdigit()


def _first_match(pattern: re.Pattern[str], texts: pd.Series[str]) -> re.Match[str] | None:
    return next((m for m in map(pattern.match, texts.iloc[:20]) if m is not None), None)


def _with_colon(clock: pd.Series[str]) -> pd.Series[str]:
    """Write clock times such as 930 and 7 as 9:30 and 7:00."""
    bare = clock.str.fullmatch(r"\d{1,4}(?:\.0)?")
    if not bare.all():
        return clock
    numbers = clock.astype(float).astype(int)
    if numbers.max() <= 24 and not (clock.str.len() == 4).all():
        numbers = numbers * 100
    return (
        (numbers // 100).astype(str).str.zfill(2) + ":" + (numbers % 100).astype(str).str.zfill(2)
    )


def _iso(texts: pd.Series[str]) -> pd.Series[pd.Timestamp]:
    try:
        return pd.to_datetime(texts, format="ISO8601", errors="raise")
    except ValueError:
        offset = texts.str.contains(r":\d\d(?:\.\d+)?\s*(?:Z|[+-]\d\d:?(?:\d\d)?)$", regex=True)
        if not offset.any():
            return pd.to_datetime(texts, format="ISO8601", errors="coerce")
        # Without an offset of its own a stamp among others with one has no known time.
        return pd.to_datetime(texts.where(offset), format="ISO8601", errors="coerce", utc=True)


def _from_pieces(pieces: pd.DataFrame) -> pd.Series[pd.Timestamp]:
    roles = dict(zip(_PART_LIMITS, (pieces[n] for n in range(6)), strict=True))
    parts = {
        role: pd.to_numeric(cells).fillna(np.nan if place < 3 else 0.0).to_numpy(dtype=np.float64)
        for place, (role, cells) in enumerate(roles.items())
    }
    return pd.Series(_assemble(parts), index=pieces.index)


def _assemble(parts: dict[str, npt.NDArray[np.float64]]) -> Times:
    """Make times of years, months, days, hours (24 is the next midnight) and so on."""
    known = np.isfinite(parts["year"] + parts["month"] + parts["day"])
    whole = {role: np.where(known, values, 0) for role, values in parts.items()}
    year = whole["year"]
    # Two digits as POSIX reads them: 69 to 99 are 1969 to 1999.
    year = np.where(year < 69, year + 2000, np.where(year < 100, year + 1900, year))
    month = (12 * (year - 1970) + whole["month"] - 1).astype(np.int64).astype("datetime64[M]")
    day = month.astype("datetime64[D]") + (whole["day"].astype(np.int64) - 1)
    seconds = 3600 * whole["hour"] + 60 * whole["minute"] + whole["second"]
    times = day.astype("datetime64[ns]") + (seconds * 1e9).astype("timedelta64[ns]")
    real = known & (day.astype("datetime64[M]") == month) & (whole["hour"] <= 24)
    times[~real] = np.datetime64("NaT")
    return times
