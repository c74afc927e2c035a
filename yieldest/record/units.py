"""Wind-speed units: their names, and their conversion to metres per second."""

from __future__ import annotations

import re

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.errors import InputError

KNOT_MS = 1852 / 3600
"""One knot: exactly 1852 m per hour (SI Brochure, 9th edition, table 8)."""
MILE_PER_HOUR_MS = 0.44704
"""One mile per hour, exactly (international mile of 1609.344 m)."""
FOOT_PER_SECOND_MS = 0.3048
"""One foot per second, exactly (international foot)."""

_FACTOR_TO_MS = {
    "m/s": 1.0,
    "km/h": 1 / 3.6,
    "mph": MILE_PER_HOUR_MS,
    "kn": KNOT_MS,
    "ft/s": FOOT_PER_SECOND_MS,
}

SPEED_UNITS = (*_FACTOR_TO_MS, "Beaufort")
"""The speed units that a record may be in."""

_SPELLINGS = {
    "m/s": ("m/s", "ms", "mps", "m s", "m s-1", "ms-1", "m.s-1", "m s^-1", "metres per second"),
    "km/h": ("km/h", "kmh", "kph", "kmph", "km/hr", "km h-1", "kilometres per hour"),
    "mph": ("mph", "mi/h", "miles per hour"),
    "kn": ("kn", "kt", "kts", "knot", "knots"),
    "ft/s": ("ft/s", "fps", "ft s-1", "feet per second"),
    "Beaufort": ("beaufort", "bft", "bf"),
}
_UNIT_OF_SPELLING = {
    spelling: unit for unit, spellings in _SPELLINGS.items() for spelling in spellings
}


def speed_unit(text: str) -> str:
    """Return the speed unit that `text` spells.

    Parameters
    ----------
    text : str
        For example "kts" or "km/hr".

    Returns
    -------
    str
        One of `SPEED_UNITS`.

    Raises
    ------
    InputError
        When no unit is spelt so.
    """
    unit = _UNIT_OF_SPELLING.get(text.strip().lower())
    if unit is None:
        raise InputError(
            f"{text!r} is not a known speed unit; write one of {', '.join(SPEED_UNITS)}."
        )
    return unit


def speed_unit_in_heading(heading: str) -> str | None:
    """Return the speed unit a heading such as "Wind (mph)" or "speed_kmh" ends in, if any."""
    bracketed = re.search(r"[(\[]\s*([^)\]]+?)\s*[)\]]", heading)
    tail = re.search(r"[\s_]([A-Za-z/]+)$", heading)
    for match in (bracketed, tail):
        if match is not None and match.group(1).lower() in _UNIT_OF_SPELLING:
            return _UNIT_OF_SPELLING[match.group(1).lower()]
    return None


def to_metres_per_second(speed: npt.ArrayLike, unit: str) -> FloatArray:
    """Convert wind speeds to metres per second.

    Parameters
    ----------
    speed : array_like, any shape
        Speeds in `unit`; NaN stays NaN.
    unit : str
        One of `SPEED_UNITS`.

    Returns
    -------
    ndarray, shape of `speed`
        Speeds in m/s.

    Notes
    -----
    A Beaufort number B is converted by v = 0.836 B^(3/2) m/s (World Meteorological Organization,
    *The Beaufort Scale of Wind Force*, Marine Science Affairs Report 3, 1970), which lies inside
    the range of speeds that the scale gives to each number.
    """
    values = floats(speed)
    if unit == "Beaufort":
        # A negative number stays negative, so that it is found and named as such.
        return np.asarray(0.836 * np.sign(values) * np.abs(values) ** 1.5)
    return np.asarray(values * _FACTOR_TO_MS[unit])
