"""Curve files: a plain CSV of speed and power that the tool reads and writes."""

from __future__ import annotations

import re
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.errors import InputError
from yieldest.files.table import Table, plain_heading, read_table, table_of_frame
from yieldest.files.text_file import open_text
from yieldest.files.whole_output import write_whole
from yieldest.provenance import Finding, Provenance
from yieldest.settings import HIGHEST_CUT_OUT_MS
from yieldest.turbine.curve_ends import Ends, Points, place_ends
from yieldest.turbine.power_curve import (
    MODELLED_UNCERTAINTY,
    STATED_UNCERTAINTY,
    DensityFamily,
    PowerCurve,
)
from yieldest.turbine.rotor import RotorType, judge_coefficient, power_coefficient
from yieldest.units import SPEED_UNITS, to_metres_per_second, unit_in_heading
from yieldest.wind.record_columns import RECOGNISED_COLUMNS

if TYPE_CHECKING:
    import pandas as pd

_POWER_NAMES = ("power", "output", "electrical power", "p")
_UNCERTAINTY_NAMES = ("standard uncertainty", "power uncertainty", "uncertainty")
_COEFFICIENT_NAMES = ("thrust coefficient", "ct", "c t")
_THRUST_NAMES = ("thrust", "thrust force", "thrust n")
_POWER_UNITS = {"w": 1.0, "kw": 1000.0}
_AT_DENSITY = re.compile(r"(\d+(?:[.,]\d+)?)\s*kg\s*/?\s*m\s*(?:\^?3|-3|³)", re.IGNORECASE)
_HIGHEST_THRUST_COEFFICIENT = 2.0
"""A disc of full solidity has some 1.2; twice that is a wrong unit. Our choice."""


_NOTE = re.compile(
    r"#\s*(load|air density|last measured speed|extrapolation|kind)\s*:\s*(.+)", re.IGNORECASE
)


@dataclass(frozen=True)
class CurveNotes:
    """What a curve file says about itself; None where it says nothing."""

    load: str | None = None
    air_density_kg_m3: float | None = None
    last_measured_ms: float | None = None
    extrapolation: str | None = None
    modelled: bool = False


def notes_of(path: Path) -> CurveNotes:
    """Read the comment lines "# load: ..." and so on."""
    found: dict[str, str] = {}
    with open_text(path) as stream:
        for line in stream:
            match = _NOTE.match(line.strip())
            if match is not None:
                found[match.group(1).lower()] = match.group(2).strip()
    return CurveNotes(
        load=found.get("load"),
        air_density_kg_m3=_note_number(path, found, "air density"),
        last_measured_ms=_note_number(path, found, "last measured speed"),
        extrapolation=found.get("extrapolation"),
        modelled=found.get("kind", "").lower() == "modelled",
    )


def _note_number(path: Path, found: dict[str, str], note: str) -> float | None:
    if note not in found:
        return None
    match = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(?:kg/m3|m/s)?", found[note])
    if match is None or float(match.group(1)) <= 0:
        raise InputError(
            f"{path}: the comment '# {note}: {found[note]}' holds no number; write it as "
            f"'# {note}: {'1.225 kg/m3' if note == 'air density' else '12 m/s'}'."
        )
    return float(match.group(1))


@dataclass(frozen=True)
class BetzNotChecked(Finding):
    """The rotor area is not stated, so nothing was held against the Betz limit."""

    name: str


@dataclass(frozen=True)
class NoPowerAtAll(Finding):
    """The curve never makes any power."""

    name: str


@dataclass(frozen=True)
class CurveUncertaintyAssumed(Finding):
    """The file states no uncertainty of its powers."""

    name: str
    relative_uncertainty: float


@dataclass(frozen=True)
class ModelledFile(Finding):
    """The file says of its curve that nobody measured it."""

    name: str


@dataclass(frozen=True)
class CurveDensityAssumed(Finding):
    """No air density is stated for the curve, and 1.225 kg/m3 was taken."""

    name: str


@dataclass(frozen=True)
class ThrustLeftAside(Finding):
    """The thrust could not be used, for the rotor area is not stated."""

    name: str


def read_power_curve(
    source: str | PathLike[str] | pd.DataFrame,
    *,
    ends: Ends | None = None,
    rotor_area_m2: float | None = None,
    rotor_type: RotorType | None = None,
    air_density_kg_m3: float | None = None,
) -> PowerCurve:
    """Read a power curve from a CSV file, or a data frame, of speed and power.

    Parameters
    ----------
    source : path or DataFrame
        Columns for speed and power with their units in the headings, one power column for each air
        density where they name several ("power at 1.1 kg/m3 (W)"); optionally the standard
        uncertainty of the power and the thrust (N) or thrust coefficient. Lines must increase in
        speed. Comments "# load: ...", "# air density: ...", "# last measured speed: ..." and
        "# kind: modelled" are understood.
    ends : Ends, optional
        Cut-in, cut-out, rated power and what is counted beyond the last point.
    rotor_area_m2 : float, optional
        When known, the power coefficient is checked.
    rotor_type : {"lift", "drag"}, optional
    air_density_kg_m3 : float, optional
        Density the curve holds for; by default what the file says, else 1.225.

    Raises
    ------
    InputError
        When a line is wrong, speeds do not increase, or a power coefficient is above 16/27.
    """
    ends = ends or Ends()
    if isinstance(source, str | PathLike):
        table, notes = read_table(Path(source)), notes_of(Path(source))
    else:
        table = table_of_frame(source, index="speed (m/s)", value="power (W)")
        notes = CurveNotes()
    path = table.path
    speed, densities, power = _points(table)
    assumed: list[Finding] = []
    warnings: list[Finding] = [ModelledFile(path.name)] if notes.modelled else []
    density, reference = _density(path, densities, air_density_kg_m3, notes, assumed)
    if rotor_area_m2 is None:
        assumed.append(BetzNotChecked(path.name))
    else:
        coefficient = power_coefficient(power, speed, rotor_area_m2, density[:, np.newaxis])
        warnings += _judged(table, speed, coefficient, rotor_type)
    thrust = _thrust(table, speed, rotor_area_m2, float(density[reference]), warnings)
    points = Points(speed, power, _uncertainty(table), thrust)
    points, beyond, said = place_ends(path.name, points, ends)
    assumed += said
    last_measured_ms = min(float(speed[-1]), notes.last_measured_ms or float("inf"))
    if beyond == "zero" and last_measured_ms < points.speed_ms[-1]:
        beyond = "cube law" if notes.extrapolation == "cube law" else "hold"
    nominal = points.power_w[reference]
    warnings += [] if (nominal > 0).any() else [NoPowerAtAll(path.name)]
    uncertainty = MODELLED_UNCERTAINTY if notes.modelled else STATED_UNCERTAINTY
    if points.uncertainty_w is None:
        assumed.append(CurveUncertaintyAssumed(path.name, uncertainty))
    return PowerCurve(
        speed_ms=points.speed_ms,
        power_w=nominal,
        air_density_kg_m3=float(density[reference]),
        rated_power_w=ends.rated_power_w,
        last_measured_ms=last_measured_ms,
        rotor_area_m2=rotor_area_m2,
        provenance=Provenance(
            str(path),
            "straight lines between the points of the file",
            tuple(assumed),
            tuple(dict.fromkeys(warnings)),
        ),
        thrust_coefficient=points.thrust_coefficient,
        power_uncertainty_w=points.uncertainty_w,
        relative_uncertainty=uncertainty,
        modelled=notes.modelled,
        extrapolation=beyond,
        load=notes.load,
        family=DensityFamily(density, points.power_w) if density.size > 1 else None,
    )


def write_curve(curve: PowerCurve, path: Path, provenance_lines: tuple[str, ...] = ()) -> None:
    """Write a curve as the CSV that `read_power_curve` reads, whole or not at all.

    `provenance_lines` become comments at the top. An `InputError` when the file cannot be written.
    """
    notes = [
        *provenance_lines,
        f"kind: {'modelled' if curve.modelled else 'measured'}",
        *([] if curve.load is None else [f"load: {curve.load}"]),
        f"air density: {curve.air_density_kg_m3:g} kg/m3",
        f"last measured speed: {curve.last_measured_ms:g} m/s",
        *([] if curve.extrapolation == "zero" else [f"extrapolation: {curve.extrapolation}"]),
    ]
    lines = "".join(f"# {' '.join(note.split())}\n" for note in notes)
    write_whole(
        path, lines + curve.to_frame().to_csv(index=False, float_format="%.6g", lineterminator="\n")
    )


def _judged(
    table: Table, speed: FloatArray, coefficient: FloatArray, rotor_type: RotorType | None
) -> list[Finding]:
    """Judge the highest power coefficient at each density, shape (densities, speeds)."""
    warnings: list[Finding] = []
    for row, best in zip(coefficient, coefficient.argmax(axis=1), strict=True):
        where = f"{table.place(int(best))}: at {speed[best]:.3g} m/s"
        warnings += judge_coefficient(where, float(row[best]), rotor_type)
    return warnings


def _points(table: Table) -> tuple[FloatArray, FloatArray | None, FloatArray]:
    """Return speeds, the densities that headings name, and powers, shape (densities, speeds)."""
    speed_column = str(table.find("wind speed", _tailed(RECOGNISED_COLUMNS["speed"], table)))
    unit = unit_in_heading("speed", speed_column)
    if unit is None or unit == "Beaufort":
        raise InputError(
            f"{table.path}: the heading {speed_column!r} does not say the speed unit; write it "
            f"behind the name, as in 'speed (m/s)' (one of {', '.join(SPEED_UNITS[:-1])})."
        )
    speed = to_metres_per_second(table.numbers(speed_column), unit)
    densities, power = _powers(table)
    _check_points(table, speed_column, speed, power)
    return speed, densities, power


def _density(
    path: Path,
    densities: FloatArray | None,
    stated: float | None,
    notes: CurveNotes,
    assumed: list[Finding],
) -> tuple[FloatArray, int]:
    """Return the density of each power column, and which column is the reference."""
    if densities is not None:
        if stated is not None:
            raise InputError(
                f"{path}: the headings name the air density of each column, so remove "
                "curve_air_density_kg_m3."
            )
        return densities, int(np.argmin(np.abs(densities - STANDARD_DENSITY_KG_M3)))
    if stated is None:
        stated = notes.air_density_kg_m3
    if stated is None:
        stated = STANDARD_DENSITY_KG_M3
        assumed.append(CurveDensityAssumed(path.name))
    return np.array([stated]), 0


def _powers(table: Table) -> tuple[FloatArray | None, FloatArray]:
    """Return the densities that headings name, increasing, and the powers, shape (m, n)."""
    at_density = {
        heading: float(match.group(1).replace(",", "."))
        for heading in table.headings
        if (match := _AT_DENSITY.search(heading)) is not None
    }
    if at_density:
        columns = sorted(at_density, key=lambda heading: at_density[heading])
        values = np.array([at_density[column] for column in columns])
        if (np.diff(values) == 0).any():
            raise InputError(
                f"{table.path}: two columns hold for the same air density; keep one of them."
            )
        if values[0] < 0.5 or values[-1] > 1.6:
            raise InputError(
                f"{table.path}: an air density in the headings is not between 0.5 and 1.6 kg/m3; "
                "mend the heading."
            )
    else:
        columns = [str(table.find("power", _tailed(_POWER_NAMES, table)))]
        values = None
    rows = [table.numbers(column) * _power_factor(table.path, column) for column in columns]
    return values, np.array(rows)


def _uncertainty(table: Table) -> FloatArray | None:
    column = table.find("standard uncertainty", _tailed(_UNCERTAINTY_NAMES, table), required=False)
    if column is None:
        return None
    values = table.numbers(column) * _power_factor(table.path, column)
    table.refuse(
        ~(values >= 0), lambda _: "a standard uncertainty is blank or below zero; mend it."
    )
    return values


def _thrust(
    table: Table,
    speed: FloatArray,
    area_m2: float | None,
    density_kg_m3: float,
    warnings: list[Finding],
) -> FloatArray | None:
    column = table.find("thrust coefficient", _COEFFICIENT_NAMES, required=False)
    if column is not None:
        coefficient = table.numbers(column)
    else:
        column = table.find("thrust", _THRUST_NAMES, required=False)
        if column is None:
            return None
        if not re.search(r"[\s_(\[]n\s*[)\]]?$", column.strip().lower()):
            raise InputError(
                f"{table.path}: the heading {column!r} does not say the unit of thrust; write "
                "'thrust (N)' or give a 'thrust coefficient'."
            )
        if area_m2 is None:
            warnings.append(ThrustLeftAside(table.path.name))
            return None
        pressure_n = 0.5 * density_kg_m3 * area_m2 * speed**2
        force = table.numbers(column)
        coefficient = np.divide(force, pressure_n, out=np.zeros_like(force), where=pressure_n > 0)
    table.refuse(
        ~((coefficient >= 0) & (coefficient <= _HIGHEST_THRUST_COEFFICIENT)),
        lambda row: (
            f"the thrust coefficient is {coefficient[row]:.3g}, but it should lie between 0 "
            f"and {_HIGHEST_THRUST_COEFFICIENT:g}; mend the value or the rotor area."
        ),
    )
    return coefficient


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
    cells = table.frame[speed_column]
    first = np.arange(speed.size) == 0
    table.refuse(
        np.isnan(speed) | np.isnan(power).any(axis=0),
        lambda _: "speed or power is blank; fill it in.",
    )
    table.refuse(
        first & (speed < 0),
        lambda row: f"{cells.iloc[row]} is below zero, and a wind speed cannot be; mend the value.",
    )
    table.refuse(
        speed > HIGHEST_CUT_OUT_MS,
        lambda row: (
            f"{speed[row]:.4g} m/s is more than any wind near the ground; mend the value or "
            "the unit."
        ),
    )
    if speed.size < 2:
        raise InputError(
            f"{table.path}: a power curve needs two lines at least; only one is there."
        )
    table.refuse(
        np.diff(speed, prepend=-1.0) <= 0,
        lambda row: (
            f"the speed {cells.iloc[row]} does not lie above the {cells.iloc[row - 1]} of "
            "the line before; sort the lines by speed and keep one line per speed."
        ),
    )
    table.refuse(
        first & (speed == 0) & (power > 0).any(axis=0),
        lambda _: "the curve makes power at zero wind; mend the value.",
    )
