"""Time stamps as people write them, parsed into times."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterable
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from yieldest.arrays import FloatArray
from yieldest.files.plain_stamps import Times
from yieldest.files.table import numbers_in

Stamps = pd.Series  # of text going in, of Timestamp coming out

DATE_ORDERS = {
    "day first": ("%d", "%m", "%y"),
    "month first": ("%m", "%d", "%y"),
    "year first": ("%y", "%m", "%d"),
}
"""The orders in which a date may be written."""

PART_LIMITS = {
    "year": (0, 2200),
    "month": (1, 12),
    "day": (1, 31),
    "hour": (0, 2400),
    "minute": (0, 60),
    "second": (0, 61),
}
"""What a column for a part of the time may hold."""

YEARLESS = 2001
"""The (common) year given to records that state none."""

_ISO = re.compile(r"\d{4}-\d\d-\d\d([T ]\d\d:\d\d(:\d\d([.,]\d+)?)?\s*(Z|[+-]\d\d:?(\d\d)?)?)?$")
_ISO_PLAIN = re.compile(r"\d{4}-\d\d-\d\d([T ]\d\d:\d\d(:\d\d([.,]\d+)?)?)?")
_OFFSET = re.compile(r"(?<=[\d\s])(Z|UTC|GMT|[+-]\d\d:?\d\d)$")
_NO_OFFSET = re.compile(r":\d\d\s*[+-](?:1[5-9]|[2-9]\d|\d\d:?(?!00|15|30|45)\d\d)\b")
"""What looks like an offset and is none: zones keep to quarters of an hour, and 14 hours. An
interval such as 13:00-13:59 is no time with an offset."""
_ZONE_LETTERS = r"(?<=[\d\sM])[A-Z]{3,5}$"
_DAY_NUMBER = re.compile(r"([2-5]\d{4})([.,]\d+)?$")
_DAY_ZERO = "1899-12-30"
"""Day 0 of spreadsheets, for days after February 1900 (ECMA-376, part 1, 18.17.4; from memory)."""
_DATE = re.compile(
    r"(?P<a>\d{1,4}|[A-Za-z]{3,9})(?P<one>[-/. ]+)(?P<b>\d{1,2}|[A-Za-z]{3,9})(?P<two>[-/., ]+)"
    r"(?P<c>\d{2,4})(?P<rest>.*)$"
)
_PACKED = re.compile(r"((?:19|20)\d\d)(0[1-9]|1[0-2])([0-3]\d)[ T:_-]?(\d\d)?:?(\d\d)?:?(\d\d)?$")
_EPOCH = re.compile(r"(\d{9,19})(\.\d*)?$")
_EPOCH_UNITS = dict.fromkeys((9, 10, 11), "seconds") | dict.fromkeys((12, 13), "milliseconds")
_EPOCH_UNITS |= {16: "microseconds", 19: "nanoseconds"}
"""The unit of a count since 1970, by its digits."""
_UNIT_NS = {"seconds": 10**9, "milliseconds": 10**6, "microseconds": 10**3, "nanoseconds": 1}
_LAST_NS = 9.2e18
_CLOCKS = (
    *("%H:%M", "%H:%M:%S", "%H:%M:%S.%f", "%I:%M %p", "%I:%M:%S %p", "%I:%M%p", "%I:%M:%S%p"),
    *("%I %p", "%H.%M", "%H"),
)
_UTC = pd.DatetimeTZDtype("ns", "UTC")


def parse_stamps(texts: Stamps, order: str | None) -> tuple[Stamps, str]:
    """Parse time stamps; their style is told from the first twenty, and returned in words.

    Dates of three numbers that do not begin with the year have their `order`, a key of
    `DATE_ORDERS`. Times are NaT where a stamp is none, with a time zone where the stamps state one.
    """
    sample = [text for text in texts.iloc[:20] if text]
    if sample and all(_DAY_NUMBER.match(text) for text in sample):
        days = numbers_in(texts.str.replace(",", ".", regex=False))
        # Days are written with five decimals or so, which is a second; the rest is rounding.
        seconds, known = np.round(days * 86_400), (days >= 20_000) & (days < 60_000)
        times = pd.Series(_counted(_DAY_ZERO, seconds, "seconds", known), texts.index)
        return times, f"day numbers of a spreadsheet, counted from {_DAY_ZERO}"
    if any(_PACKED.match(text) for text in sample):
        return _from_digits(texts), "digits: year, month, day, hour"
    epoch = next((found for found in map(_EPOCH.match, sample) if found), None)
    if epoch is not None and (unit := _EPOCH_UNITS.get(len(epoch[1]))) is not None:
        count = numbers_in(texts)
        # pandas itself fails on numbers beyond the year 2262 instead of calling them no time.
        known = np.abs(count) < _LAST_NS / _UNIT_NS[unit]
        times = pd.Series(_counted("1970-01-01", count, unit, known), texts.index)
        return times.dt.tz_localize("UTC"), f"{unit} since 1970-01-01 UTC"
    iso = any(_ISO.match(text) for text in sample)
    times, written = (_from_iso(texts), "ISO 8601") if iso else _from_formats(texts, order)
    if times.isna().any():
        # The midnight that ends a day.
        late = texts.str.replace(r"([T ])24(:?00(?::?00)?)?\b", r"\g<1>00\g<2>", regex=True)
        late = late[times.isna() & (late != texts)]
        if not late.empty:
            found = _from_iso(late) if iso else _from_formats(late, order)[0]
            times = times.copy()
            times[late.index] = found + np.timedelta64(1, "D")
    return in_nanoseconds(times), written


def in_nanoseconds(times: Stamps) -> Stamps:
    """Return times in nanoseconds, in which all else counts; NaT where these do not reach."""
    if times.dt.unit == "ns":
        return times
    reached: Stamps = times.where(times.dt.year.between(1678, 2261)).dt.as_unit("ns")
    return reached


def without_zone_letters(texts: Stamps) -> Stamps:
    """Take letters such as CET off stamps; the same letters stand for several zones, but UTC."""
    bare = texts.str.replace(_ZONE_LETTERS, "", regex=True).str.strip()
    return bare.where(~texts.str.endswith("UTC"), texts)


_NO_TIME = {
    r"\d{1,2}[:.]\d\d([:.]\d\d)?( ?[AaPp][Mm])?$": "is a clock time without a date; add a date "
    "column, or state start and interval_s (on the command line --start, --interval)",
    r"\d+([.,]\d*)?$": "is not a time; if it counts from the start of the record, state start and "
    "interval_s (on the command line --start, --interval)",
    rf".*\d.*{_ZONE_LETTERS}": "names its time zone by letters, which stand for several zones; "
    "state time_zone (on the command line --time-zone)",
    "": "is not a time; write it as 2026-01-31 13:50",
}


def why_no_time(text: str) -> str:
    """Say what a text lacks that is no time, in words that follow it in a sentence."""
    return next(why for pattern, why in _NO_TIME.items() if re.match(pattern, text))


def states_offset(text: str, order: str | None) -> bool | None:
    """Tell whether a time stamp states its offset from UTC; None where it is none of a calendar."""
    times, _ = parse_stamps(pd.Series([text]), order)
    return None if times.isna().any() or _EPOCH.match(text) else times.dt.tz is not None


def possible_orders(texts: Stamps) -> set[str] | None:
    """Return the orders of `DATE_ORDERS` that all these dates allow; None where there is no choice.

    Two-digit years that have not come yet rule an order out where another is left.
    """
    match = _first_date(texts)
    if match is None or len(match["a"]) > 2 or not _is_numeric(match):
        return None
    numbers = texts.str.extract(r"^(\d{1,2})\D+(\d{1,2})\D+(\d{2,4})").astype(float)
    orders, of_this_century = set(), set()
    for order, places in DATE_ORDERS.items():
        day, month, year = (numbers[places.index(place)] for place in ("%d", "%m", "%y"))
        if order == "year first" and len(match["c"]) > 2:
            continue
        ahead = (year < 69) & (year + 2000 > date.today().year)
        # NaN, an unreadable stamp, is named when it is read.
        if not ((day > 31) | (month > 12) | (day * month == 0)).any():
            orders.add(order)
            if not ahead.any():
                of_this_century.add(order)
    return of_this_century or orders


def two_digit_years(texts: Stamps) -> dict[str, set[int]]:
    """Return what may be two-digit years in dates, first ("a") or last ("c"), if there are any."""
    match = _first_date(texts)
    if match is None or len(match["c"]) > 2 or (_is_numeric(match) and len(match["a"]) > 2):
        return {}
    pieces = texts.str.extract(_DATE)[["a", "c"]].apply(pd.to_numeric, errors="coerce")
    return {place: set(pieces[place].dropna().astype(int)) for place in pieces}


def first_year(two_digits: Iterable[int]) -> int:
    """Return the first of the hundred years that two-digit years lie in, told by their order.

    They begin behind the longest stretch of the century without any, and end this year or the next
    at the latest. A year before stays free, for offsets from UTC reach into it.
    """
    ordered = sorted(set(two_digits))
    gaps = np.diff([*ordered, ordered[0] + 100])
    at = int(np.argmax(gaps))
    begin = ordered[(at + 1) % len(ordered)]
    last = begin + (ordered[at] - begin) % 100
    return begin - 1 + 100 * ((date.today().year + 1 - last) // 100)


def in_century(times: Times, first: int) -> Times:
    """Return times with that year of the hundred from `first` on which ends in the same digits."""
    month = times.astype("datetime64[M]")
    year = times.astype("datetime64[Y]").astype(np.int64) + 1970
    later = first + (year - first) % 100 - year
    shifted = month + (12 * later).astype("timedelta64[M]")
    return np.asarray(shifted.astype(times.dtype) + (times - month))


def with_colon(clock: Stamps) -> Stamps:
    """Write clock times such as 930 and 7 as 9:30 and 7:00."""
    if not clock.str.fullmatch(r"\d{1,4}(?:\.0)?").all():
        return clock
    numbers = clock.astype(float).astype(int)
    if numbers.max() <= 24 and not (clock.str.len() == 4).all():
        numbers = numbers * 100
    hours, minutes = numbers // 100, numbers % 100
    return hours.astype(str).str.zfill(2) + ":" + minutes.astype(str).str.zfill(2)


def assemble(parts: dict[str, FloatArray]) -> Times:
    """Make times of years, months, days, hours (24 is the next midnight), minutes and seconds.

    A year of two digits is taken as one of 1969 to 2068. NaT where the parts make no date.
    """
    known = np.isfinite(sum(parts.values()))
    whole = {role: np.where(known, values, 0) for role, values in parts.items()}
    year = whole["year"]
    year = np.where(year < 69, year + 2000, np.where(year < 100, year + 1900, year))
    month = (12 * (year - 1970) + whole["month"] - 1).astype(np.int64).astype("datetime64[M]")
    day = month.astype("datetime64[D]") + (whole["day"] - 1).astype("timedelta64[D]")
    seconds = 3600 * whole["hour"] + 60 * whole["minute"] + whole["second"]
    times = day.astype("datetime64[ns]") + (seconds * 1e9).astype("timedelta64[ns]")
    times[~(known & (day.astype("datetime64[M]") == month) & (whole["hour"] <= 24))] = "NaT"
    return np.asarray(times)


def _counted(zero: str, numbers: FloatArray, unit: str, known: npt.NDArray[np.bool_]) -> Times:
    """Return times that are counted in a unit from a zero, NaT where they are not known."""
    numbers = np.where(known, numbers, 0.0)
    whole = np.floor(numbers)
    part_ns = np.round((numbers - whole) * _UNIT_NS[unit]).astype(np.int64)
    since = (whole.astype(np.int64) * _UNIT_NS[unit] + part_ns).astype("timedelta64[ns]")
    return np.where(known, np.datetime64(zero, "ns") + since, np.datetime64("NaT", "ns"))


def _from_digits(texts: Stamps) -> Stamps:
    pieces = texts.str.extract(_PACKED)
    parts = {
        role: pd.to_numeric(pieces[place]).fillna(np.nan if place < 3 else 0.0).to_numpy(float)
        for place, role in enumerate(PART_LIMITS)
    }
    return pd.Series(assemble(parts), index=texts.index)


def _from_iso(texts: Stamps) -> Stamps:
    try:
        with warnings.catch_warnings():
            # Stamps with different offsets, as in summer and winter.
            warnings.simplefilter("error", FutureWarning)
            times = pd.to_datetime(texts, format="ISO8601")
        if times.dt.tz is None:
            return times
    except (ValueError, FutureWarning):
        pass
    texts = texts.mask(texts.str.contains(_NO_OFFSET, regex=True), "")
    offset = texts.str.contains(r":\d\d(?:\.\d+)?\s*(?:Z|[+-]\d\d:?(?:\d\d)?)$", regex=True)
    if not offset.any():
        # pandas takes stranger things for an offset, and then warns of mixed zones.
        plain = texts.where(texts.str.fullmatch(_ISO_PLAIN))
        return pd.to_datetime(plain, format="ISO8601", errors="coerce")
    # Without an offset of its own a stamp among others with one has no known time.
    return pd.to_datetime(texts.where(offset), format="ISO8601", errors="coerce", utc=True)


def _from_formats(texts: Stamps, order: str | None) -> tuple[Stamps, str]:
    match = _first_date(texts)
    if match is None:
        return pd.Series(pd.NaT, index=texts.index), ""
    plain = texts.str.replace(r"\s+", " ", regex=True)
    if re.search(r"(?i)[ap]\.?m", match["rest"]):
        plain = plain.str.replace(r"(?<=[\d ])([AaPp])\.?[Mm]\b\.?", r"\1M", regex=True)
    offsets = _OFFSET.search(match["rest"].strip()) is not None
    if offsets:
        plain = plain.mask(plain.str.contains(_NO_OFFSET, regex=True), "")
        plain = plain.str.replace(r"\s*(?:Z|UTC|GMT)$", "+0000", regex=True)
        plain = plain.str.replace(r" ([+-]\d\d:?\d\d)$", r"\1", regex=True)
    marks = re.match(r"[T,; :]*", re.sub(r"\s+", " ", match["rest"]))
    between = marks[0] if marks and match["rest"].strip() else " "
    times = pd.Series(pd.NaT, index=texts.index, dtype=_UTC if offsets else "datetime64[ns]")
    written = ""
    # Stamps of one file may leave out seconds, or the clock at midnight.
    for clock in (*_CLOCKS, ""):
        pattern = _date_format(match, order) + (between + clock if clock else "")
        pattern += "%z" if offsets else ""
        left = plain[times.isna()]
        if clock == "%H.%M":
            # 13.5 may be half past one as well as five past.
            left = left[left.str.contains(r"\d\.\d\d$", regex=True)]
        found = pd.to_datetime(left, format=pattern, errors="coerce", utc=offsets)
        if found.notna().any():
            written = written or pattern
            times = times.copy()
            times[found.index] = found.astype(times.dtype)
        if not times.isna().any():
            break
    return times, written


def _date_format(match: re.Match[str], order: str | None) -> str:
    """Spell the date of a match as strptime wants it."""
    year_leads = len(match["a"]) == 4 and match["a"].isdigit()
    if year_leads:
        order = "year first"
    elif not _is_numeric(match):
        order = "day first" if match["a"].isdigit() else "month first"
    spelt = next((match[part] for part in "ab" if not match[part].isdigit()), "")
    codes = {
        "%d": "%d",
        "%m": "%m" if not spelt else "%b" if len(spelt) == 3 else "%B",
        "%y": "%Y" if len(match["c"]) == 4 or year_leads else "%y",
    }
    a, b, c = (codes[place] for place in DATE_ORDERS[order or "day first"])
    one, two = (re.sub(r"\s+", " ", match[part]) for part in ("one", "two"))
    return a + one + b + two + c


def _is_numeric(match: re.Match[str]) -> bool:
    return match["a"].isdigit() and match["b"].isdigit()


def _first_date(texts: Stamps) -> re.Match[str] | None:
    return next((m for m in map(_DATE.match, texts.iloc[:20]) if m is not None), None)
