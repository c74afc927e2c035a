"""The rows of a record as they come from a file of any kind."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.provenance import Finding
from yieldest.wind.read_options import Recognised
from yieldest.wind.record_values import LIMITS, rounding_step

Times = npt.NDArray[np.datetime64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class ValuesBeyondLimits(Finding):
    """Values of a role that no sensor can have measured count as missing."""

    source: str
    role: str
    lowest: float
    highest: float
    values: int


@dataclass(frozen=True)
class Gathered:
    """What the rows of a record hold, in the order of the rows or of time.

    Parameters
    ----------
    time : ndarray of datetime64[ns], shape (n,)
    si : dict of str to ndarray, shape (n,)
        SI values by role.
    impossible : ndarray of bool, shape (n,)
        Speeds above `HIGHEST_GUST_MS`; they stand in `si` as they were read.
    step : tuple of float and str, or None
        Rounding of the speeds, see `rounding_step`.
    height_m : float or None
        Of the sensor, where the file states it.
    found, warnings : list
    beaufort : bool
        Whether the speeds were Beaufort numbers.
    mean_cube_ms3 : float or None
        Of the readings before averaging.
    """

    time: Times
    si: dict[str, FloatArray]
    impossible: Flags
    step: tuple[float, str] | None
    height_m: float | None
    found: list[Recognised]
    warnings: list[Finding]
    beaufort: bool = False
    mean_cube_ms3: float | None = None


def gathered_of_si(
    path: Path,
    time: Times,
    si: dict[str, FloatArray],
    found: list[Recognised],
    height_m: float | None = None,
) -> Gathered:
    """Judge values that a file gave in SI units, as those of every record are judged.

    Parameters
    ----------
    path : Path
        For messages.
    time : ndarray of datetime64[ns], shape (n,)
    si : dict of str to ndarray, shape (n,)
        By role ("speed", "direction", "temperature", "pressure", "standard_deviation", "gust"), in
        m/s, degrees, degrees Celsius and hPa; NaN where missing.
    found : list of Recognised
    height_m : float, optional
        Of the sensor, where the file states it.

    Raises
    ------
    InputError
        When a speed is below zero.
    """
    speed = si["speed"]
    if (speed < 0).any():
        at = int(np.argmax(speed < 0))
        raise InputError(
            f"{path}: value {at + 1} of the speed is {speed[at]:g} m/s, and a wind speed cannot be "
            "below zero; mend the value or mark it as missing."
        )
    warnings: list[Finding] = []
    kept = dict(si)
    for role, column in si.items():
        low, high = LIMITS[role]
        beyond = (column < low) | (column > high)
        if role != "speed" and beyond.any():
            kept[role] = np.where(beyond, np.nan, column)
            warnings.append(ValuesBeyondLimits(str(path), role, low, high, int(beyond.sum())))
    return Gathered(
        time=time,
        si=kept,
        impossible=speed > LIMITS["speed"][1],
        step=rounding_step(np.unique(speed[np.isfinite(speed)]), "m/s"),
        height_m=height_m,
        found=found,
        warnings=warnings,
    )
