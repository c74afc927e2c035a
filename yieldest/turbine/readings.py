"""Readings of wind and power: their places, the air they were taken in, and minute means."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from typing import Literal, TypeVar

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.errors import InputError
from yieldest.files.table import Table
from yieldest.frozen import frozen_dataclass
from yieldest.hub.air import gas_law_density, standard_pressure_pa
from yieldest.provenance import Finding, Findings, Provenance
from yieldest.turbine.meters import Meters, Wiring
from yieldest.units import ZERO_CELSIUS_K

MANY_WRONG = 0.10
"""When more of the lines than this are wrong, it is no slip of the pen; our choice."""
Found = TypeVar("Found", bound=Finding)


@frozen_dataclass
class Readings:
    """Wind speed and electrical power read together, in time order where there are times.

    Columns are arrays of shape (n,) or None; volts and amps are direct or RMS values, NaN where
    blank; `time_s` counts from the first line, `row` is the data row of each reading (of the first
    one of a mean), and `read_count` the data lines in the file.
    """

    table: Table
    row: npt.NDArray[np.int64]
    speed_ms: FloatArray
    power_w: FloatArray
    time_s: FloatArray | None
    volts: FloatArray | None
    amps: FloatArray | None
    rpm: FloatArray | None
    temperature_c: FloatArray | None
    pressure_hpa: FloatArray | None
    wiring: Wiring
    read_count: int
    provenance: Provenance

    @property
    def size(self) -> int:
        """Number of readings."""
        return int(self.speed_ms.size)

    def place(self, index: int) -> str:
        """Return file and line of a reading, for messages."""
        return self.table.place(int(self.row[index]))

    def columns(self) -> dict[str, FloatArray]:
        """Return the columns that are there, all but the rows."""
        return {
            field.name: value
            for field in fields(self)
            if field.name != "row" and isinstance(value := getattr(self, field.name), np.ndarray)
        }

    def only(self, keep: npt.NDArray[np.bool_] | npt.NDArray[np.intp]) -> Readings:
        """Return the chosen readings."""
        chosen = {name: values[keep] for name, values in self.columns().items()}
        return replace(self, row=self.row[keep], **chosen)  # type: ignore[arg-type]

    def without(
        self,
        wrong: npt.NDArray[np.bool_],
        finding: Callable[[str, int], Found],
        many: Callable[[Found], str],
    ) -> Readings:
        """Leave out readings and say so; where they are too many for a slip, refuse with `many`.

        `finding` gets the place and the index of the first of them.
        """
        if not wrong.any():
            return self
        first = int(np.argmax(wrong))
        found = finding(self.place(first), first)
        if wrong.sum() > MANY_WRONG * wrong.size:
            raise InputError(many(found))
        return self.only(~wrong).noting(warnings=(found,))

    def noting(self, *, assumed: Findings = (), warnings: Findings = ()) -> Readings:
        """Return the readings with more said about them."""
        said = self.provenance.adding(assumed=assumed, warnings=warnings)
        return replace(self, provenance=said)


KNOWN_DENSITY_UNCERTAINTY = 0.01
"""Standard uncertainty of an air density that was stated or measured, as a share; our choice."""
ASSUMED_DENSITY_UNCERTAINTY = 0.04
"""Standard uncertainty of an air density nobody stated, as a share of it: some 350 m of height or
12 K of temperature; our choice."""
Air = Literal["density", "pressure", "temperature"]


class AirAssumed(Finding):
    """The readings were taken to be from the air of 1.225 kg/m3, of sea level, or of 15 C."""

    taken: Air


def density_at_test(
    readings: Readings, meters: Meters, air_density_kg_m3: float | None
) -> tuple[FloatArray, float, Readings]:
    """Return the density at each reading, its relative uncertainty, and the readings annotated.

    The standard atmosphere stands in for whichever of pressure and temperature is not known.
    """
    ones = np.ones(readings.size)
    if air_density_kg_m3 is not None:
        return air_density_kg_m3 * ones, KNOWN_DENSITY_UNCERTAINTY, readings
    temperature, pressure = readings.temperature_c, readings.pressure_hpa
    if temperature is None and meters.temperature_c is not None:
        temperature = meters.temperature_c * ones
    if pressure is None and meters.elevation_m is not None:
        pressure = standard_pressure_pa(meters.elevation_m) / 100 * ones
    if pressure is None and temperature is None:
        readings = readings.noting(assumed=(AirAssumed("density"),))
        return STANDARD_DENSITY_KG_M3 * ones, ASSUMED_DENSITY_UNCERTAINTY, readings
    assumed: list[Finding] = []
    if pressure is None:
        pressure = standard_pressure_pa(0.0) / 100 * ones
        assumed.append(AirAssumed("pressure"))
    if temperature is None:
        temperature = 15.0 * ones
        assumed.append(AirAssumed("temperature"))
    known = temperature[np.isfinite(temperature)]
    usual = known.mean() if known.size else 15.0
    temperature = np.where(np.isfinite(temperature), temperature, usual)
    pressure = np.where(np.isfinite(pressure), pressure, np.nanmean(pressure))
    density = gas_law_density(100 * pressure, temperature + ZERO_CELSIUS_K)
    if (density < 0.5).any() or (density > 1.6).any():
        row = int(np.argmax((density < 0.5) | (density > 1.6)))
        raise InputError(
            f"{readings.place(row)}: temperature and pressure give an air density of "
            f"{density[row]:.3g} kg/m3, which no place has; mend them (C and hPa)."
        )
    uncertainty = ASSUMED_DENSITY_UNCERTAINTY if assumed else KNOWN_DENSITY_UNCERTAINTY
    return density, uncertainty, readings.noting(assumed=tuple(assumed))


MINUTE_S = 60.0
"""The averaging time of the small-turbine annex of IEC 61400-12-1 (from memory)."""
FEW_IN_A_MINUTE = 10
"""A mean of fewer readings than this is a rough one; our choice."""
USUAL_TURBULENCE = 0.15
"""Standard deviation of the wind over its mean within minutes, near the ground (common practice,
no source)."""
_FULL_MINUTE = 0.5
"""A minute with fewer than this share of the usual readings is left out; our choice."""


class MinutesLeftOut(Finding):
    """Minutes had less than half of the usual readings and were left out."""

    count: int


class FewInAMinute(Finding):
    """A minute holds few readings."""

    readings: float


class ShorterThanAMinute(Finding):
    """The readings are means over less than one minute, or glances (0 s)."""

    seconds: float


class AveragingAssumed(Finding):
    """What each reading is a mean over was told from the times; None without times."""

    interval_s: float | None


@frozen_dataclass
class Averaging:
    """Over what time the readings are means; 0 seconds for glances at the meter.

    `cube_ratio` is the mean cube of the speeds within minutes over the cube of their means, None
    where the readings are too slow to tell; `interval_s` is the time that each averaged reading
    stands for, None without times.
    """

    seconds: float
    words: str
    cube_ratio: float | None
    interval_s: float | None


def minute_means(readings: Readings, stated_s: float | None) -> tuple[Readings, Averaging]:
    """Average readings to one minute where they were logged faster.

    The mean of cubes of the speed exceeds the cube of the mean by some 1 + 3 I^2 at a turbulence
    intensity I (binomial series of (1 + x)^3). Readings that are not averaged scatter over
    neighbouring bins, and those of a machine that takes seconds to follow the wind flatten the
    curve.
    """
    if readings.time_s is None or readings.size < 2:
        return _as_they_are(readings, stated_s, None)
    interval_s = float(np.median(np.diff(readings.time_s)))
    if interval_s >= MINUTE_S:
        return _as_they_are(readings, stated_s, interval_s)
    minute = np.floor_divide(readings.time_s, MINUTE_S).astype(np.int64)
    _, first, group, count = np.unique(
        minute, return_index=True, return_inverse=True, return_counts=True
    )
    usual = float(np.median(count))
    full = count >= _FULL_MINUTE * usual

    def mean(values: FloatArray) -> FloatArray:
        # Plain sums: a mean that lies on the edge of a bin must not move by a rounding.
        known = np.isfinite(values)
        total = np.bincount(group[known], values[known], minlength=count.size)
        number = np.bincount(group[known], minlength=count.size)
        return np.asarray((total / np.where(number > 0, number, np.nan))[full])

    means = {name: mean(values) for name, values in readings.columns().items()}
    cubes = float((means["speed_ms"] ** 3).sum())
    ratio = float(mean(readings.speed_ms**3).sum()) / cubes if cubes > 0 else None
    means["time_s"] = floats(MINUTE_S * minute[first[full]])
    averaged = replace(readings, row=readings.row[first[full]], **means)  # type: ignore[arg-type]
    words = f"1-minute means of about {usual:.0f} readings each"
    warnings: list[Finding] = []
    if not full.all():
        warnings.append(MinutesLeftOut(int((~full).sum())))
    if usual < FEW_IN_A_MINUTE:
        warnings.append(FewInAMinute(usual))
    return averaged.noting(warnings=tuple(warnings)), Averaging(MINUTE_S, words, ratio, MINUTE_S)


def _as_they_are(
    readings: Readings, stated_s: float | None, interval_s: float | None
) -> tuple[Readings, Averaging]:
    seconds = stated_s
    if seconds is None:
        seconds = 0.0 if interval_s is None else interval_s
        readings = readings.noting(assumed=(AveragingAssumed(interval_s),))
    if seconds < MINUTE_S:
        readings = readings.noting(warnings=(ShorterThanAMinute(seconds),))
    return readings, Averaging(seconds, averaging_words(seconds), None, interval_s)


def averaging_words(seconds: float) -> str:
    """Say what readings are means over."""
    return "single glances, not averaged" if seconds == 0 else f"means over {seconds:g} s"
