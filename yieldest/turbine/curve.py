"""A power curve: reading it, placing its cut-in and cut-out, and what it asks of the wind."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.climate.air import STANDARD_DENSITY_KG_M3
from yieldest.errors import InputError
from yieldest.provenance import Provenance
from yieldest.record.units import SPEED_UNITS, speed_unit_in_heading, to_metres_per_second
from yieldest.tables import Table, plain_heading, read_table

BETZ_LIMIT = 16 / 27
"""The share of the power in the wind that no rotor in free flow can exceed (Betz 1920)."""
HIGH_SMALL_COEFFICIENT = 0.5
"""A small machine above this is doubtful (common practice, no source)."""
HIGH_DRAG_COEFFICIENT = 0.3
"""A drag-type rotor above this is doubtful (common practice, no source)."""

_SPEED_NAMES = ("speed", "wind speed", "windspeed", "wind", "v")
_POWER_NAMES = ("power", "output", "electrical power", "p")
_POWER_UNITS = {"w": 1.0, "kw": 1000.0}


@dataclass(frozen=True)
class PowerCurve:
    """Electrical power against wind speed, straight lines between points, zero outside them.

    Parameters
    ----------
    speed_ms : ndarray, shape (n,)
        Strictly increasing; the first is the cut-in speed, the last the cut-out speed.
    power_w : ndarray, shape (n,)
        Power at those speeds, at the last one included.
    air_density_kg_m3 : float
        Density the curve holds for.
    rated_power_w : float
    last_measured_ms : float
        Speed of the last point that somebody measured; above it the curve is held.
    rotor_area_m2 : float or None
    provenance : Provenance
    thrust_coefficient : ndarray, shape (n,), or None
        Thrust on the rotor over the dynamic pressure on its area, at `speed_ms`, where known.
    """

    speed_ms: FloatArray
    power_w: FloatArray
    air_density_kg_m3: float
    rated_power_w: float
    last_measured_ms: float
    rotor_area_m2: float | None
    provenance: Provenance
    thrust_coefficient: FloatArray | None = None

    @property
    def cut_in_ms(self) -> float:
        """Speed from which power is counted."""
        return float(self.speed_ms[0])

    @property
    def cut_out_ms(self) -> float:
        """Speed above which no power is counted."""
        return float(self.speed_ms[-1])

    def power_at(self, speed_ms: npt.ArrayLike) -> FloatArray:
        """Return the power in W at each speed; NaN where the speed is NaN."""
        return np.interp(
            floats(speed_ms),
            self.speed_ms,
            self.power_w,
            left=0.0,
            right=0.0,
        )

    def at_density(self, air_density_kg_m3: float, correction: str) -> PowerCurve:
        """Return the curve for another air density.

        Parameters
        ----------
        air_density_kg_m3 : float
        correction : {"power", "speed"}
            "power" scales the power in proportion to density (machines with fixed pitch, stall or
            furling); "speed" moves the speeds by the cube root (pitch-regulated machines).

        Notes
        -----
        IEC 61400-12-1, normalisation to reference air density.
        """
        ratio = air_density_kg_m3 / self.air_density_kg_m3
        if correction == "power":
            return replace(
                self,
                power_w=self.power_w * ratio,
                rated_power_w=self.rated_power_w * ratio,
                air_density_kg_m3=air_density_kg_m3,
            )
        # Cut-in and cut-out are set by the controller or the friction, yet move with the rest:
        # the difference is a few per cent of the hours at the edges of the curve.
        return replace(
            self,
            speed_ms=self.speed_ms * ratio ** (-1 / 3),
            last_measured_ms=self.last_measured_ms * ratio ** (-1 / 3),
            air_density_kg_m3=air_density_kg_m3,
        )


def power_in_wind_w(
    speed_ms: npt.ArrayLike, area_m2: npt.ArrayLike, air_density_kg_m3: npt.ArrayLike
) -> FloatArray:
    """Return the power of the wind through an area, rho A v^3 / 2 (kinetic energy flow)."""
    speed = floats(speed_ms)
    return np.asarray(0.5 * np.asarray(air_density_kg_m3) * np.asarray(area_m2) * speed**3)


def power_coefficient(
    power_w: npt.ArrayLike,
    speed_ms: npt.ArrayLike,
    area_m2: npt.ArrayLike,
    air_density_kg_m3: npt.ArrayLike,
) -> FloatArray:
    """Return power over the power of the wind through the rotor; 0 at zero speed.

    Parameters
    ----------
    power_w, speed_ms, area_m2, air_density_kg_m3 : array_like
        They broadcast.
    """
    available = power_in_wind_w(speed_ms, area_m2, air_density_kg_m3)
    power = np.broadcast_to(floats(power_w), available.shape)
    return np.divide(power, available, out=np.zeros_like(available), where=available > 0)


def read_curve(
    path: Path,
    *,
    cut_in_ms: float | None = None,
    cut_out_ms: float | None = None,
    rated_power_w: float | None = None,
    rotor_area_m2: float | None = None,
    rotor_type: str | None = None,
    air_density_kg_m3: float | None = None,
) -> PowerCurve:
    """Read a power curve from a CSV file of speed and power.

    Parameters
    ----------
    path : Path
        Columns for speed (its unit in the heading, else m/s is refused as unknown) and power (W or
        kW in the heading). Lines must increase in speed.
    cut_in_ms, cut_out_ms : float, optional
        By default the first and the last speed of the file. A cut-out above the last speed holds
        the last power up to it; a cut-in below the first speed is joined by a straight line.
    rated_power_w : float, optional
        By default the highest power of the curve.
    rotor_area_m2 : float, optional
        When known, the power coefficient is checked.
    rotor_type : {"lift", "drag"}, optional
    air_density_kg_m3 : float, optional
        Density the curve holds for; 1.225 by default.

    Raises
    ------
    InputError
        When a line is wrong, speeds do not increase, or a power coefficient is above 16/27.
    """
    table = read_table(path)
    speed_column = str(table.find("wind speed", _tailed(_SPEED_NAMES, table)))
    power_column = str(table.find("power", _tailed(_POWER_NAMES, table)))
    unit = speed_unit_in_heading(speed_column)
    if unit is None or unit == "Beaufort":
        raise InputError(
            f"{path}: the heading {speed_column!r} does not say the speed unit; write it behind "
            f"the name, as in 'speed (m/s)' (one of {', '.join(SPEED_UNITS[:-1])})."
        )
    speed = to_metres_per_second(table.numbers(speed_column), unit)
    power = table.numbers(power_column) * _power_factor(path, power_column)
    _check_points(table, speed_column, speed, power)

    assumed = []
    if air_density_kg_m3 is None:
        air_density_kg_m3 = STANDARD_DENSITY_KG_M3
        assumed.append(
            f"{path.name}: the curve holds for an air density of 1.225 kg/m3, for none is stated."
        )
    warnings = []
    if rotor_area_m2 is not None:
        coefficient = power_coefficient(power, speed, rotor_area_m2, air_density_kg_m3)
        warnings += _judge_coefficient(table, speed, coefficient, rotor_type)
    else:
        assumed.append(
            f"{path.name}: the rotor area is not stated, so the curve could not be checked against "
            "the Betz limit."
        )
    last_measured_ms = float(speed[-1])
    if cut_out_ms is None:
        assumed.append(
            f"{path.name}: no power is counted above {last_measured_ms:g} m/s, the last speed of "
            "the curve, for no cut-out speed is stated."
        )
    speed, power = _between(path, speed, power, cut_in_ms, cut_out_ms)
    if not (power > 0).any():
        warnings.append(f"{path.name}: the curve never makes any power.")
    return PowerCurve(
        speed_ms=speed,
        power_w=power,
        air_density_kg_m3=air_density_kg_m3,
        rated_power_w=float(power.max()) if rated_power_w is None else rated_power_w,
        last_measured_ms=last_measured_ms,
        rotor_area_m2=rotor_area_m2,
        provenance=Provenance(
            str(path),
            "straight lines between the points of the file",
            tuple(assumed),
            tuple(warnings),
        ),
    )


def _tailed(names: tuple[str, ...], table: Table) -> list[str]:
    """Let a unit stand behind a name: speed_ms, power_w."""
    plain = [plain_heading(heading) for heading in table.headings]
    return [*names, *(p for p in plain if p.rpartition(" ")[0] in names)]


def _power_factor(path: Path, heading: str) -> float:
    unit = re.search(r"[\s_(\[](k?w)\s*[)\]]?$", heading.strip().lower())
    if unit is None:
        raise InputError(
            f"{path}: the heading {heading!r} does not say whether power is in W or kW; write "
            "'power (W)' or 'power (kW)'."
        )
    return _POWER_UNITS[unit.group(1)]


def _check_points(table: Table, speed_column: str, speed: FloatArray, power: FloatArray) -> None:
    blank = np.isnan(speed) | np.isnan(power)
    if blank.any():
        line = table.line(int(np.argmax(blank)))
        raise InputError(f"{table.path}, line {line}: speed or power is blank; fill it in.")
    if speed[0] < 0:
        raise InputError(
            f"{table.path}, line {table.line(0)}: {table.frame[speed_column].iloc[0]} is below "
            "zero, and a wind speed cannot be; mend the value."
        )
    if speed.size < 2:
        raise InputError(
            f"{table.path}: a power curve needs two lines at least; only one is there."
        )
    falling = np.diff(speed) <= 0
    if falling.any():
        row = int(np.argmax(falling)) + 1
        before, here = table.frame[speed_column].iloc[row - 1], table.frame[speed_column].iloc[row]
        raise InputError(
            f"{table.path}, line {table.line(row)}: the speed {here} does not lie above the "
            f"{before} of the line before; sort the lines by speed and keep one line per speed."
        )
    if speed[0] == 0 and power[0] > 0:
        raise InputError(
            f"{table.path}, line {table.line(0)}: the curve makes power at zero wind; mend the "
            "value."
        )


def _judge_coefficient(
    table: Table, speed: FloatArray, coefficient: FloatArray, rotor_type: str | None
) -> list[str]:
    row = int(np.argmax(coefficient))
    highest = float(coefficient[row])
    where = f"{table.path}, line {table.line(row)}: at {speed[row]:.3g} m/s the power coefficient"
    if highest > BETZ_LIMIT:
        raise InputError(
            f"{where} is {highest:.2f}, above the Betz limit 16/27 = 0.593 that no rotor can "
            "exceed; check the power, its unit (W or kW), the speed unit and the rotor area."
        )
    if highest > HIGH_SMALL_COEFFICIENT:
        return [f"{where} is {highest:.2f}; above 0.5 is doubtful for any small machine."]
    if rotor_type == "drag" and highest > HIGH_DRAG_COEFFICIENT:
        return [f"{where} is {highest:.2f}; above 0.3 is doubtful for a drag-type rotor."]
    return []


def _between(
    path: Path,
    speed: FloatArray,
    power: FloatArray,
    cut_in_ms: float | None,
    cut_out_ms: float | None,
) -> tuple[FloatArray, FloatArray]:
    """Cut the points off at, or stretch them to, cut-in and cut-out."""
    first = float(speed[0]) if cut_in_ms is None else cut_in_ms
    last = float(speed[-1]) if cut_out_ms is None else cut_out_ms
    if not first < last:
        raise InputError(
            f"{path}: the cut-in speed {first:g} m/s is not below the cut-out speed {last:g} m/s; "
            "mend cut_in_ms or cut_out_ms."
        )
    if first >= speed[-1] or last <= speed[0]:
        raise InputError(
            f"{path}: cut-in {first:g} m/s and cut-out {last:g} m/s leave none of the curve, which "
            f"runs from {speed[0]:g} to {speed[-1]:g} m/s; mend cut_in_ms or cut_out_ms."
        )
    inside = (speed > first) & (speed < last)
    first_power = float(np.interp(first, speed, power, left=0.0))
    last_power = float(np.interp(last, speed, power))
    # A held stretch begins at the last point, which `inside` keeps.
    return (
        np.concatenate(([first], speed[inside], [last])),
        np.concatenate(([first_power], power[inside], [last_power])),
    )
