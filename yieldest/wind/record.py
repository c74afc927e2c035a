"""What a wind record holds: times, speeds and what came with them."""

from __future__ import annotations

from dataclasses import field

import numpy as np

from yieldest.arrays import FloatArray, TimeArray
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Provenance
from yieldest.wind.data_recovery import DataRecovery
from yieldest.wind.read_options import Recognised, in_utc


def _no_times() -> TimeArray:
    return np.empty(0, dtype="datetime64[ns]")


def _no_speeds() -> FloatArray:
    return np.empty(0)


@frozen_dataclass
class Record:
    """A wind record at one place and height, in time order.

    Parameters
    ----------
    time : ndarray of datetime64[ns], shape (n,)
        Start of each reading, as in the file, or in UTC where the file gives offsets.
    speed_ms : ndarray, shape (n,)
        Wind speed; NaN where missing or left out.
    direction_deg : ndarray, shape (n,), or None
        Direction the wind comes from, clockwise from north.
    temperature_c : ndarray, shape (n,), or None
    pressure_hpa : ndarray, shape (n,), or None
    data_recovery : DataRecovery
        How much of the time, and of the year, has a speed.
    provenance : Provenance
    standard_deviation_ms : ndarray, shape (n,), or None
        Standard deviation of the speed within each interval.
    gust_ms : ndarray, shape (n,), or None
        Highest speed within each interval.
    resolution_ms : float or None
        Step to which the speeds are rounded (a whole knot is 0.514 m/s); None where no step
        was found or the steps are uneven (Beaufort).
    class_edges_ms : ndarray, shape (m,), or None
        Edges of uneven speed classes (Beaufort), from 0 up; the last class is open.
    threshold_ms : float or None
        Speed below which the anemometer stands still, where stated.
    height_m : float or None
        Height of the sensor above ground, as stated, or else as the heading or the file has it.
    mean_cube_m3_s3 : float or None
        Mean cube of the readings before they were averaged; None where they were not.
    impossible, impossible_ms : ndarray of datetime64, ndarray
        Times and speeds above the highest gust ever measured, which count as missing.
    disordered, repeated : ndarray of datetime64
        Times of the rows that went back in time, and of those left out as repeats.
    found : tuple of Recognised
        What was recognised or stated about the file.
    """

    time: TimeArray
    speed_ms: FloatArray
    direction_deg: FloatArray | None
    temperature_c: FloatArray | None
    pressure_hpa: FloatArray | None
    data_recovery: DataRecovery
    provenance: Provenance
    standard_deviation_ms: FloatArray | None = None
    gust_ms: FloatArray | None = None
    resolution_ms: float | None = None
    class_edges_ms: FloatArray | None = None
    threshold_ms: float | None = None
    height_m: float | None = None
    mean_cube_m3_s3: float | None = None
    impossible: TimeArray = field(default_factory=_no_times)
    impossible_ms: FloatArray = field(default_factory=_no_speeds)
    disordered: TimeArray = field(default_factory=_no_times)
    repeated: TimeArray = field(default_factory=_no_times)
    found: tuple[Recognised, ...] = ()

    @property
    def in_utc(self) -> bool:
        """Whether the times are in UTC, rather than as they stand in the file."""
        return in_utc(self.found)

    @property
    def valid_speed_ms(self) -> FloatArray:
        """The speeds that are there, shape (m,)."""
        return self.speed_ms[np.isfinite(self.speed_ms)]

    @property
    def mean_speed_ms(self) -> float:
        """Mean of the speeds that are there."""
        return float(self.valid_speed_ms.mean())


class ImpossibleSpeeds(Finding):
    """Speeds above the highest gust ever measured count as missing."""

    source: str
    speeds: int
    first_ms: float
    first: np.datetime64
