"""Units of a record: how they are spelt, their conversion, and those that readers see."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Literal

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.errors import InputError

ZERO_CELSIUS_K = 273.15
"""0 C in K (ISO 80000-5)."""
KNOT_MS = 1852 / 3600
"""One knot: exactly 1852 m per hour (SI Brochure, 9th edition, table 8)."""
SPEED_FACTORS = {"m/s": 1.0, "km/h": 1 / 3.6, "mph": 0.44704, "kn": KNOT_MS, "ft/s": 0.3048}
"""Metres per second in one of each unit; the international mile and foot exactly."""
PRESSURE_FACTORS = {"hPa": 1.0, "Pa": 0.01, "kPa": 10.0, "inHg": 33.8639, "mmHg": 1.333224}
"""Hectopascal in one of each unit; mercury at 0 C (NIST Special Publication 811, appendix B)."""

DIRECTION_FACTORS = {"deg": 1.0, "tens of degrees": 10.0, "rad": np.degrees(1.0), "gon": 0.9,
                     "mil": 360 / 6400, "octants": 45.0}  # fmt: skip
"""Degrees in one of each unit. A gon is a hundredth of a right angle (ISO 80000-3); mils are those
of which 6,400 make a circle; octants count from north, or from north-east as 1 to north as 8 (WMO
code table 0700; from memory)."""

BEAUFORT_EDGES_MS = np.array(
    [0.0, 0.3, 1.6, 3.4, 5.5, 8.0, 10.8, 13.9, 17.2, 20.8, 24.5, 28.5, 32.7]
)
"""Lower bound of each Beaufort number (World Meteorological Organization, *Manual on Codes*,
WMO-No. 306, section E)."""

BEAUFORT_WORDS = (
    *("calm", "light air", "light breeze", "gentle breeze", "moderate breeze", "fresh breeze"),
    *("strong breeze", "near gale", "gale", "strong gale", "storm", "violent storm", "hurricane"),
)
"""What each Beaufort number is called (same table)."""

_SPELT = {
    "speed": {
        "m/s": "m/s ms mps ms-1 m.s-1 m/sec meters/second metres/second|m s|m s-1|m s^-1|m s**-1"
        "|metres per second|meters per second",
        "km/h": "km/h kmh kph kmph km/hr km/hour|km h-1|km h|kilometres per hour",
        "mph": "mph mi/h mi/hr miles/hr miles/hour mile/hour|miles per hour",
        "kn": "kn kt kts knot knots nmi/h",
        "ft/s": "ft/s fps|ft s-1|feet per second",
        "Beaufort": "beaufort bft bf",
    },
    "direction": {
        "deg": "deg degree degrees ° °n degt degn|deg n|deg true|degrees true|degree true|true",
        "tens of degrees": "deg/10 10deg deg*10 degx10|10 deg|10s deg|10s of deg|10 degrees"
        "|10s of degrees|tens of degrees|tens of deg",
        "rad": "rad radian radians rads",
        "gon": "gon grad grads gradian gradians",
        "mil": "mil mils",
        "octants": "octant octants",
    },
    "temperature": {
        "C": "c °c degc celsius|deg c|deg. c|degrees celsius",
        "F": "f °f degf fahrenheit|deg f|deg. f",
        "K": "k kelvin",
    },
    "pressure": {
        "hPa": "hpa mbar mb millibar millibars",
        "Pa": "pa pascal",
        "kPa": "kpa",
        "inHg": "inhg|in hg|inches hg|in. hg",
        "mmHg": "mmhg torr|mm hg",
    },
}
SPELLINGS = {
    quantity: {
        spelling: unit
        for unit, known in units.items()
        for spelling in (*known.split("|")[0].split(), *known.split("|")[1:])
    }
    for quantity, units in _SPELT.items()
}
"""The unit of each spelling, in lower case, by quantity."""
UNITS = {quantity: tuple(units) for quantity, units in _SPELT.items()}
"""The units of each quantity."""
SPEED_UNITS = UNITS["speed"]

UnitSystem = Literal["metric", "imperial"]
FOOT_M = 0.3048
"""The international foot, exactly."""
_IMPERIAL = {"m/s": ("mph", SPEED_FACTORS["mph"]), "m": ("ft", FOOT_M)}
"""What a reader of imperial units sees of speeds and heights, and how much of SI one of it is."""
_reader: ContextVar[UnitSystem] = ContextVar("reader", default="metric")


@contextmanager
def shown_in(system: UnitSystem) -> Iterator[None]:
    """Let speeds and heights be written in these units as long as the block lasts."""
    before = _reader.set(system)
    try:
        yield
    finally:
        _reader.reset(before)


def as_shown(value: float, unit: str) -> tuple[float, str]:
    """Return a value in "m/s", "m" or any other unit as the reader wants it, and its unit."""
    if _reader.get() == "metric" or unit not in _IMPERIAL:
        return value, unit
    other, size = _IMPERIAL[unit]
    return value / size, other


def number(value: float, unit: str, form: str = "g") -> str:
    """Write a value in "m/s" or "m" as the reader wants it, without its unit.

    With three digits, or whole, where it is converted and no form asks for others: 39.4 ft.
    """
    shown, other = as_shown(value, unit)
    if unit != other and form.endswith("g"):
        form = ",.0f" if abs(shown) >= 100 else ".3g" if form == "g" else form
    return format(shown, form)


def speed(value_ms: float, form: str = "g") -> str:
    """Write a speed with the unit that the reader wants."""
    return f"{number(value_ms, 'm/s', form)} {speed_unit()}"


def speed_unit() -> str:
    """Return the unit of speeds that the reader wants."""
    return as_shown(0.0, "m/s")[1]


def length(value_m: float, form: str = "g") -> str:
    """Write a height or a distance with the unit that the reader wants."""
    return f"{number(value_m, 'm', form)} {as_shown(0.0, 'm')[1]}"


_DECIMAL = re.compile(r"\d+(?:\.\d+)?")
_IN_SI = re.compile(
    r"(?<![\w.,])(\d+(?:\.\d+)?(?:(?: to | and |, )\d+(?:\.\d+)?)*) (m/s|m)(?![\w/])"
)
"""One value or several before one unit: "3 to 11 m/s"."""


def in_reader_units(text: str) -> str:
    """Turn the values of a text that names them in m/s and m, such as a method, for the reader."""
    if _reader.get() == "metric":
        return text
    return _IN_SI.sub(
        lambda run: (
            _DECIMAL.sub(lambda found: number(float(found[0]), run[2]), run[1])
            + f" {as_shown(0.0, run[2])[1]}"
        ),
        text,
    )


_POWER = re.compile(r"(?<!\w)(W/m|kg/m|mm|(?<=\d )m)([23])(?!\.?\w)")


def raised(text: str) -> str:
    """Write the digits of W/m2, kg/m3, mm2 and 4.5 m2 as people do, W/m² and so on."""
    return _POWER.sub(lambda found: found[1] + "²³"[int(found[2]) - 2], text)


_TYPESET = str.maketrans("\u2212\u207b\u00b9\u00b7\u00a0", "--1  ")
"""The minus, the raised minus and one, the raised dot and the unbroken space of m·s⁻¹."""
_BEGINS_TAIL = re.compile(r"(?:^|[\s_,])(?!\s*\d\S* deg)")
"""Where the unit may begin that a heading ends in; "wd 10 deg" may be in degrees and at 10 m."""


def unit_of(quantity: str, text: str) -> str:
    """Return which of `UNITS[quantity]` a text such as "kts" spells; an `InputError` if none."""
    unit = SPELLINGS[quantity].get(text.strip().lower())
    if unit is None:
        raise InputError(
            f"{text!r} is not a known {quantity} unit; write one of {', '.join(UNITS[quantity])}."
        )
    return unit


def unit_in_heading(quantity: str, heading: str) -> str | None:
    """Return the unit that a heading such as "Wind (mph)", "wind in mph" or "temp_c" ends in.

    Brackets go first, and then the longest end that is a unit.
    """
    heading = heading.translate(_TYPESET)
    bracketed = re.findall(r"[(\[]([^()\[\]]+)[)\]]", heading)
    tails = (heading[begin.end() :] for begin in _BEGINS_TAIL.finditer(heading))
    for text in (*bracketed, *tails):
        unit = SPELLINGS[quantity].get(text.strip().lower())
        if unit is not None:
            return unit
    return None


def to_metres_per_second(speed: npt.ArrayLike, unit: str) -> FloatArray:
    """Convert wind speeds in one of `SPEED_UNITS`, of any shape, to m/s; NaN stays NaN.

    A Beaufort number B is converted by v = 0.836 B^(3/2) m/s (World Meteorological Organization,
    *The Beaufort Scale of Wind Force*, Marine Science Affairs Report 3, 1970), which lies inside
    the range of speeds that the scale gives to each number.
    """
    values = floats(speed)
    if unit == "Beaufort":
        # A negative number stays negative, so that it is found and named as such.
        return np.asarray(0.836 * np.sign(values) * np.abs(values) ** 1.5)
    return values if unit == "m/s" else np.asarray(values * SPEED_FACTORS[unit])


def to_degrees(direction: npt.ArrayLike, unit: str) -> FloatArray:
    """Convert directions in one of `DIRECTION_FACTORS` to degrees."""
    values = floats(direction)
    return values if unit == "deg" else np.asarray(values * DIRECTION_FACTORS[unit])


def to_celsius(temperature: npt.ArrayLike, unit: str) -> FloatArray:
    """Convert temperatures in C, F or K to C (ISO 80000-5 for the zero of K)."""
    values = floats(temperature)
    if unit == "F":
        return np.asarray((values - 32) / 1.8)
    return np.asarray(values - ZERO_CELSIUS_K if unit == "K" else values)


def to_hectopascal(pressure: npt.ArrayLike, unit: str) -> FloatArray:
    """Convert pressures in one of `PRESSURE_FACTORS` to hPa."""
    return np.asarray(floats(pressure) * PRESSURE_FACTORS[unit])
