"""Headings taken apart: what a column of a record holds, at which height, and which statistic."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

CLOCK_ROLES = ("time", "date", "year", "month", "day", "hour", "minute", "second", "half_of_day")
TEXT_ROLES = ("time", "date", "half_of_day")
"""Those of the clock's columns that are kept as text."""
VALUE_ROLES = ("speed", "direction", "temperature", "pressure", "standard_deviation", "gust")

RECOGNISED_COLUMNS = {
    "time": ("time", "timestamp", "time stamp", "datetime", "date time", "time hour",
             "date and time", "epoch", "unix time", "unixtime", "utc time", "local time", "ts"),
    "date": ("date", "day date", "yyyymmdd"),
    "year": ("year", "yy", "yyyy", "yr"),
    "month": ("month", "mon", "mo"),
    "day": ("day", "dd", "dy", "day of month"),
    "hour": ("hour", "hh", "hr"),
    "minute": ("minute", "mn", "min", "minutes"),
    "second": ("second", "sec", "seconds"),
    "half_of_day": ("am pm", "ampm"),
    "speed": ("speed", "wind speed", "windspeed", "wind spd", "windspd", "wspd", "ws", "wind", "v",
              "anemometer", "wind velocity", "ff", "spd", "wind force", "force", "beaufort", "bft"),
    "direction": ("direction", "wind direction", "wind dir", "winddir", "winddirection", "wdir",
                  "dir", "wd", "wind from direction"),
    "temperature": ("temperature", "air temperature", "temp", "air temp",
                    "dry bulb temperature", "dry bulb"),
    "pressure": ("pressure", "air pressure", "barometer", "baro", "station pressure",
                 "atmospheric pressure"),
}  # fmt: skip
"""The headings that are recognised for each role, the surest first. "standard_deviation" and
"gust" are the speed headings with one of `STATISTICS`, or such a word alone. Tables of readings,
curves and summaries are recognised by the same words."""

STATISTICS = {
    "mean": ("avg", "mean", "average", "ave"),
    "standard_deviation": (
        *("sd", "std", "stdev", "stddev", "standard_deviation", "sigma", "standard deviation"),
    ),
    "gust": ("gust", "gusts", "max", "maximum", "peak"),
    "lowest": ("min", "minimum"),
}
_ALONE = {
    "standard_deviation": {"standard_deviation", "standard deviation", "sd", "stdev"}
    | {"speed deviation"},
    "gust": {"gust", "gusts", "wind gust", "gust speed", "wind gust speed", "windgust", "wgst"}
    | {"max gust", "maximum gust", "peak gust", "gust max"},
}
_UNIT_WORDS = frozenset(
    {"m", "s", "ms", "mps", "mph", "km", "h", "kmh", "kph", "kn", "kt", "kts", "knots", "ft", "fps"}
    | {"bft", "beaufort", "deg", "degrees", "c", "f", "k", "degc", "degf", "hpa", "mbar", "mb"}
    | {"pa", "kpa", "inhg", "mmhg", "utc", "gmt", "lst", "local", "in", "hr", "miles"}
)
_CASED = {"MM": "month", "mm": "minute"}
"""Headings that only their case tells apart."""
_HEIGHT = re.compile(r"(?<![\d.,])(\d+(?:[.,]\d+)?)\s?(?:m(?:etres|eters)?|M)(?![A-Za-z/²2])")
_AVERAGED_OVER = re.compile(r"\b(\d+ ?(min|minutes?|h|hours?|s|sec|seconds?)|hourly|daily)\b")


@dataclass(frozen=True)
class Heading:
    """A heading: its text, that without unit, height and statistic, and a key of `STATISTICS`."""

    text: str
    base: str
    statistic: str | None
    height_m: float | None


def take_apart(text: str, below: str = "") -> Heading:
    """Take a heading apart; `below` says the statistic ("Avg") where it does not itself."""
    # Brackets hold a unit, but in "WS (10 m)" the height.
    height = _HEIGHT.search(re.sub(r"[(\[]\s*m\s*/?\s*s[^)\]]*[)\]]", " ", text))
    bare = text.replace(height.group(0), " ", 1) if height else text
    bare = re.sub(r"[(\[].*?[)\]]", " ", bare)
    bare = re.sub(r"(?<=[sh])\s?-1\b", "", bare)  # m s-1
    words = re.sub(r"[^a-z0-9]+", " ", bare.lower()).split()
    while len(words) > 1 and words[-1] in _UNIT_WORDS:
        words.pop()
    base = _AVERAGED_OVER.sub(" ", " ".join(words)).strip() or " ".join(words)
    statistic = None
    for kind, spellings in STATISTICS.items():
        for spelling in spellings:
            if re.search(rf"\b{spelling}\b", base):
                statistic = kind
                base = " ".join(re.sub(rf"\b{spelling}\b", " ", base).split())
    words = base.split()
    while len(words) > 1 and words[-1] in _UNIT_WORDS:
        words.pop()  # "WS_ms_Avg" has its unit before the statistic
    if statistic is None:
        statistic = next((k for k, known in STATISTICS.items() if below.lower() in known), None)
    height_m = float(height.group(1).replace(",", ".")) if height else None
    return Heading(text, _CASED.get(text, " ".join(words)), statistic, height_m)


def of_role(role: str, parts: Sequence[Heading]) -> list[Heading]:
    """Return the headings that could play a role, only the surest kind of them."""
    if role in _ALONE:
        return [part for part in parts if is_statistic(role, part)]
    plain = [part for part in parts if part.statistic in (None, "mean")]
    for name in RECOGNISED_COLUMNS[role]:
        # "speed 2" and "ws a" are second sensors.
        matches = [p for p in plain if re.fullmatch(rf"{name}( ?\d{{1,2}}| [a-z])?", p.base)]
        if matches:
            return matches
    return []


def is_statistic(role: str, part: Heading) -> bool:
    """Tell whether a heading is that of a deviation or a gust, whichever the role is."""
    plain = re.sub(r"[^a-z0-9]+", " ", re.sub(r"[(\[].*?[)\]]", " ", part.text).lower()).split()
    while len(plain) > 1 and plain[-1] in _UNIT_WORDS:
        plain.pop()
    if " ".join(plain) in _ALONE[role]:
        return True
    bases = "|".join(RECOGNISED_COLUMNS["speed"])
    return part.statistic == role and (
        re.fullmatch(rf"({bases})( ?\d{{1,2}}| [a-z])?", part.base) is not None
    )
