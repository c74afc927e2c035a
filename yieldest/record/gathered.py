"""The rows of a record as they come from a file of any kind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray
from yieldest.record.options import Finding

Times = npt.NDArray[np.datetime64]
Flags = npt.NDArray[np.bool_]


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
    found: list[Finding]
    warnings: list[str]
    beaufort: bool = False
    mean_cube_ms3: float | None = None
