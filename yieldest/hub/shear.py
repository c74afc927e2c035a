"""The shear exponent measured at two or more heights, by direction and hour of day."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, IntArray, TimeArray, floats
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.wind.breakdown import sector_index
from yieldest.wind.data_recovery import month_and_hour
from yieldest.wind.profile import HeightStep, by_power_law

LEAST_SPEED_MS = 3.0
"""In lighter winds at any height shear is stability and sensor threshold, not terrain, and there is
hardly energy in it (common practice, no source)."""
SECTORS = 8
DAY_PARTS = 4
"""Parts of the day of six hours each, from midnight of the record's clock; our choice."""
LEAST_READINGS = 30
"""A cell with fewer readings takes the exponent of all together; our choice."""
LEAST_HEIGHT_RATIO = 1.2
"""Nearer heights differ by less than anemometers do; our choice."""
ANEMOMETER_UNCERTAINTY = 0.02
"""Relative standard uncertainty of one anemometer against another; our choice."""


def shear_exponent(height_m: npt.ArrayLike, mean_speed_ms: npt.ArrayLike) -> FloatArray:
    """Return the exponent of the power law through mean speeds at two or more heights.

    Both of shape (..., heights), the speeds of the same hours; NaN or zero gives NaN. The slope of
    ln v against ln h by least squares; for two heights ln(v2/v1) / ln(h2/h1).
    """
    log_height = np.log(floats(height_m))
    speed = floats(mean_speed_ms)
    log_speed = np.log(np.where(speed > 0, speed, np.nan))
    deviation = log_height - log_height.mean(axis=-1, keepdims=True)
    return np.asarray((deviation * log_speed).sum(axis=-1) / (deviation**2).sum(axis=-1))


@frozen_dataclass
class MeasuredShear:
    """Shear exponents by direction sector and part of the day."""

    height_m: FloatArray
    exponent: float
    """Of all readings together."""
    exponent_by_cell: FloatArray
    """Shape (sectors + 1, parts of the day); the last row is for readings without a direction."""
    readings_by_cell: IntArray
    exponent_uncertainty: float
    """Standard uncertainty of `exponent`."""

    def at(self, time: TimeArray, direction_deg: FloatArray | None) -> FloatArray:
        """Return the exponent for each reading, shape (n,)."""
        sector, part = _cells(time, direction_deg)
        return self.exponent_by_cell[sector, part]


def _cells(time: TimeArray, direction_deg: FloatArray | None) -> tuple[IntArray, IntArray]:
    given = np.full(time.size, np.nan) if direction_deg is None else direction_deg
    sector = sector_index(given, SECTORS)
    return np.where(sector < 0, SECTORS, sector), month_and_hour(time)[1] * DAY_PARTS // 24


def measured_shear(
    time: TimeArray,
    height_m: npt.ArrayLike,
    speed_ms: npt.ArrayLike,
    direction_deg: FloatArray | None,
) -> MeasuredShear:
    """Measure shear exponents from n speeds at several heights, shape (heights, n).

    NaN where missing; only readings of 3 m/s or more at every height count. Exponents are those of
    ratios of mean speeds, not means of exponents, which light winds would rule. The uncertainty is
    that of two anemometers differing by 2 % each, beside the spread of daily exponents over the
    root of half the days (weather lasts for about two).

    Raises
    ------
    InputError
        When heights are too near each other or readings too few.
    """
    height = floats(height_m)
    speed = floats(speed_ms)
    if height.max() / height.min() < LEAST_HEIGHT_RATIO:
        raise InputError(
            f"wind.other_heights.height_m: {height.min():g} m and {height.max():g} m are too near "
            f"each other for a shear exponent; at least a factor {LEAST_HEIGHT_RATIO} is needed."
        )
    used = np.isfinite(speed).all(axis=0) & (np.nan_to_num(speed) >= LEAST_SPEED_MS).all(axis=0)
    if used.sum() < LEAST_READINGS:
        raise InputError(
            f"wind.other_heights: only {int(used.sum())} readings have {LEAST_SPEED_MS:g} m/s or "
            f"more at every height, and {LEAST_READINGS} are needed; state site.terrain instead."
        )
    sector, part = _cells(time, direction_deg)
    cell = (sector * DAY_PARTS + part)[used]
    cells = (SECTORS + 1) * DAY_PARTS
    count = np.bincount(cell, minlength=cells)
    sums = np.stack([np.bincount(cell, row, cells) for row in speed[:, used]], axis=-1)
    overall = float(shear_exponent(height, speed[:, used].mean(axis=1)))
    enough = count >= LEAST_READINGS
    own = shear_exponent(height, np.where(enough[:, np.newaxis], sums, 1.0))
    day = np.unique(time[used].astype("datetime64[D]"), return_inverse=True)[1]
    daily = np.stack([np.bincount(day, row) for row in speed[:, used]], axis=-1)
    between_days = float(shear_exponent(height, daily).std() / np.sqrt(max(1.0, len(daily) / 2)))
    sensors = np.sqrt(2) * ANEMOMETER_UNCERTAINTY / np.log(height.max() / height.min())
    return MeasuredShear(
        height,
        overall,
        np.where(enough, own, overall).reshape(SECTORS + 1, DAY_PARTS),
        count.reshape(SECTORS + 1, DAY_PARTS),
        float(np.hypot(between_days, sensors)),
    )


def measured_to_hub(
    shear: MeasuredShear,
    from_height_m: float,
    to_height_m: float,
    time: TimeArray,
    run: FloatArray,
    direction_deg: FloatArray | None,
) -> tuple[HeightStep, FloatArray]:
    """Carry every reading to the hub by the exponent of its direction and hour.

    `run` and `direction_deg` are speed times weight, and direction, of every reading, shape (n,).
    The step has the factor of the mean speed; beside it comes that of each reading, shape (n,).
    """
    factors = (to_height_m / from_height_m) ** shear.at(time, direction_deg)
    factor = float((run * factors).sum() / run.sum()) if run.sum() > 0 else 1.0
    step = by_power_law(from_height_m, to_height_m, shear.exponent, shear.exponent_uncertainty)
    heights = ", ".join(f"{height:g}" for height in shear.height_m)
    method = (
        f"power law, exponent {shear.exponent:.2f} measured at {heights} m, by direction and hour "
        "of day"
    )
    own = replace(step.provenance, source="wind.other_heights", method=method)
    return replace(step, factor=factor, provenance=own), factors
