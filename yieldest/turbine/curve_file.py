"""Curve files: a plain CSV of speed and power that the tool reads and writes."""

from __future__ import annotations

import difflib
import re
from dataclasses import replace
from functools import partial
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.errors import InputError
from yieldest.files.table import Table, plain_heading, read_table, table_of_frame
from yieldest.files.text_file import open_text
from yieldest.files.whole_output import write_whole
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Provenance
from yieldest.settings import HIGHEST_CUT_OUT_MS
from yieldest.turbine.curve_ends import Ends, place_ends
from yieldest.turbine.load import Load
from yieldest.turbine.power_curve import (
    MODELLED_UNCERTAINTY,
    STATED_UNCERTAINTY,
    CurveUncertaintyAssumed,
    DensityFamily,
    Extrapolation,
    PowerCurve,
)
from yieldest.turbine.reading_columns import SPEED_UNIT_HEADINGS, units_in_brackets
from yieldest.turbine.rotor import (
    RotorType,
    judge_coefficient,
    power_coefficient,
    share_above_honest,
)
from yieldest.turbine.thin_curve import thinned
from yieldest.units import SPEED_UNITS, to_metres_per_second, unit_in_heading
from yieldest.wind.record_columns import RECOGNISED_COLUMNS
from yieldest.wind.record_values import numbers_of

if TYPE_CHECKING:
    import pandas as pd

_POWER_NAMES = (
    *("power", "output", "electrical power", "p", "watts", "watt", "w", "kw", "kilowatts"),
    *("watts out", "power out", "output power", "leistung", "puissance", "potencia", "potenza"),
)
_WATTS = re.compile(r"(?:^|[\s_(\[])(k|kilo)?w(?:atts?)?(?=$|[\s_)\]])")
_UNCERTAINTY_NAMES = ("standard uncertainty", "power uncertainty", "uncertainty")
_COEFFICIENT_NAMES = ("thrust coefficient", "ct", "c t")
_THRUST_NAMES = ("thrust", "thrust force", "thrust n")
_AT_DENSITY = re.compile(r"(\d+(?:[.,]\d+)?)\s*kg\s*/?\s*m\s*(?:\^?3|-3|³)", re.IGNORECASE)
_HIGHEST_THRUST_COEFFICIENT = 2.0
"""A disc of full solidity has some 1.2; twice that is a wrong unit. Our choice."""
_NOTE = re.compile(r"#\s*([a-z]+(?:[ _-][a-z0-9]+)*)\s*[:=]\s*(\S.*)", re.IGNORECASE)
_BARE_NOTE = r"#\s*({})\s+({}|\d\S*(?:\s+(?:kg/m3|m/s))?)"
"""A note whose colon was left out: one of its words, or a number, and no more."""
_WORDS: dict[str, tuple[str, ...]] = {
    "load": get_args(Load),
    "extrapolation": get_args(Extrapolation),
    "kind": ("measured", "modelled", "modeled"),
}
_NUMBERS = {
    "air density": (0.5, 1.6, "kg/m3", "1.225 kg/m3"),
    "last measured speed": (0.1, HIGHEST_CUT_OUT_MS, "m/s", "12 m/s"),
}
"""What comments may say of a curve: one of some words, or a number in a unit, with an example."""
_REMARKS = {"source", "date", "author", "note", "notes", "remark", "name", "title", "machine"}
_MOST_DRAWN = 0.1
"""A machine at rest draws no larger share of its highest power; our choice."""
MOST_LINES = 200_000
"""Of one curve file, about twice what 1 MB holds. Our choice."""
BETWEEN_POINTS = "straight lines between the points of the file"
_LONGEST_NOTE = 3
"""Words; what is longer before or behind the colon is a sentence, and no note."""


def notes_of(path: Path) -> tuple[dict[str, str], list[Finding]]:
    """Return what a curve file says of itself in comments such as "# load: ...", and its warnings.

    An `InputError` for a note that is misspelt, says what it cannot, or stands there twice.
    """
    notes: dict[str, str] = {}
    warnings: list[Finding] = []
    known = [*_WORDS, *_NUMBERS]
    words = "|".join(word for said in _WORDS.values() for word in said)
    bare = re.compile(_BARE_NOTE.format("|".join(known), words), re.IGNORECASE)
    with open_text(path) as stream:
        lines = (line.strip() for line in stream if line.lstrip().startswith("#"))
        found = [match for line in lines if (match := _NOTE.match(line) or bare.fullmatch(line))]
    for match in found:
        key, said = plain_heading(match[1]), match[2].strip()
        note = next((name for name in known if f"{key} ".startswith(f"{name} ")), None)
        if note is None:
            for near in difflib.get_close_matches(key, known, n=1, cutoff=0.8):
                raise InputError(
                    f"{path}: the comment {match[0]!r} says nothing that is known; did you mean "
                    f"'# {near}: {said}'?"
                )
            if max(len(key.split()), len(said.split())) <= _LONGEST_NOTE and key not in _REMARKS:
                warnings.append(CommentNotUsed(path.name, match[0]))
            continue
        value = said.lower().replace("modeled", "modelled")
        if note in _WORDS and not value.startswith(_WORDS[note]):
            raise InputError(
                f"{path}: the comment {match[0]!r} says {said!r}; write '# {note}:' with one of "
                f"{', '.join(_WORDS[note])}."
            )
        if notes.setdefault(note, value) != value:
            raise InputError(f"{path}: two comments say what the {note} is; keep one of them.")
    if notes.get("kind", "").startswith("modelled"):
        warnings.append(CurveNote(path.name, "modelled"))
    return notes, warnings


def _number_noted(path: Path, notes: dict[str, str], note: str) -> float | None:
    if note not in notes:
        return None
    least, most, unit, example = _NUMBERS[note]
    match = re.fullmatch(rf"(\d+(?:\.\d+)?)\s*(?:{unit})?", notes[note])
    if match is None or not least <= float(match[1]) <= most:
        raise InputError(
            f"{path}: the comment '# {note}: {notes[note]}' holds no number from {least:g} to "
            f"{most:g} {unit}; write it as '# {note}: {example}'."
        )
    return float(match[1])


class CommentNotUsed(Finding):
    """A comment of the file looks as if it said something of the curve, and is not understood."""

    name: str
    comment: str


class AreaNotStated(Finding):
    """Without a rotor area there is no check against the Betz limit, and no use for a thrust."""

    name: str
    thrust: bool


class CurveNote(Finding):
    """The curve never makes power, is modelled as its file says, or has no stated air density."""

    name: str
    what: Literal["no power", "modelled", "no density"]


@frozen_dataclass
class CurveFile:
    """What a curve file says, whatever is known of the machine.

    Parameters
    ----------
    table : Table
    notes : dict of str to str
        What comments say.
    warnings : tuple of Finding
    speed_ms : ndarray, shape (n,)
    density_kg_m3 : ndarray, shape (m,), or None
        That headings name.
    power_w : ndarray, shape (m, n)
    uncertainty_w : ndarray, shape (n,), or None
    """

    table: Table
    notes: dict[str, str]
    warnings: tuple[Finding, ...]
    speed_ms: FloatArray
    density_kg_m3: FloatArray | None
    power_w: FloatArray
    uncertainty_w: FloatArray | None


def read_curve_file(source: str | PathLike[str] | pd.DataFrame) -> CurveFile:
    """Read the points of a power curve, and what comments say of it, as `read_power_curve`."""
    notes: dict[str, str] = {}
    warnings: list[Finding] = []
    if isinstance(source, str | PathLike):
        table = read_table(Path(source), most_lines=MOST_LINES)
        notes, warnings = notes_of(Path(source))
    else:
        table = table_of_frame(source, index="speed (m/s)", value="power (W)")
    column = _speed_heading(table)
    table = table.rising(column)
    points = _points(table, column)
    return CurveFile(table, notes, tuple(warnings), *points, _uncertainty(table))


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
        uncertainty of the power and the thrust (N) or thrust coefficient. Comments "# load: ...",
        "# air density: ...", "# last measured speed: ..." and "# kind: modelled" are understood;
        others like them are refused or warned of.
    ends : Ends, optional
    rotor_area_m2 : float, optional
    rotor_type : {"lift", "drag"}, optional
        When size and type are known, the power coefficient is checked.
    air_density_kg_m3 : float, optional
        Density the curve holds for; by default what the file says, else 1.225.

    Raises
    ------
    InputError
        When a line is wrong, speeds do not increase, or a power coefficient is above 16/27.
    """
    return curve_of_file(
        read_curve_file(source),
        ends=ends,
        rotor_area_m2=rotor_area_m2,
        rotor_type=rotor_type,
        air_density_kg_m3=air_density_kg_m3,
    )


def curve_of_file(
    file: CurveFile,
    *,
    ends: Ends | None,
    rotor_area_m2: float | None,
    rotor_type: RotorType | None,
    air_density_kg_m3: float | None,
) -> PowerCurve:
    """Return what `read_power_curve` says of a file that is read."""
    table, notes, warnings = file.table, file.notes, [*file.warnings]
    path, speed, power = table.path, file.speed_ms, file.power_w
    modelled = notes.get("kind", "").startswith("modelled")
    assumed: list[Finding] = []
    densities = _densities(path, file.density_kg_m3, air_density_kg_m3, notes, assumed)
    reference = int(np.argmin(np.abs(densities - STANDARD_DENSITY_KG_M3)))
    relative = MODELLED_UNCERTAINTY if modelled else STATED_UNCERTAINTY
    if rotor_area_m2 is None:
        assumed.append(AreaNotStated(path.name, thrust=False))
    else:
        coefficients = power_coefficient(power, speed, rotor_area_m2, densities[:, np.newaxis])
        for row, best in zip(coefficients, coefficients.argmax(axis=1), strict=True):
            warnings += judge_coefficient(
                partial(_where, table, speed, int(best)), float(row[best]), rotor_type
            )
        above = share_above_honest(float(coefficients[reference].max()))
        relative = max(relative, float(np.hypot(STATED_UNCERTAINTY, above)))
    thrust = _thrust(table, speed, rotor_area_m2, float(densities[reference]), warnings)
    said = Provenance(str(path), BETWEEN_POINTS, tuple(assumed), tuple(dict.fromkeys(warnings)))
    last_ms = _number_noted(path, notes, "last measured speed") or np.inf
    curve = PowerCurve(
        speed,
        power[reference],
        rotor_area_m2,
        air_density_kg_m3=float(densities[reference]),
        last_measured_ms=min(float(speed[-1]), last_ms),
        provenance=said,
        thrust_coefficient=thrust,
        power_uncertainty_w=file.uncertainty_w,
        relative_uncertainty=relative,
        modelled=modelled,
        load=notes.get("load"),
        family=DensityFamily(densities, power) if densities.size > 1 else None,
    )
    curve = thinned(place_ends(path.name, curve, ends or Ends()))
    beyond = curve.extrapolation
    if beyond == "zero" and curve.last_measured_ms < curve.cut_out_ms:
        beyond = "cube law" if notes.get("extrapolation") == "cube law" else "hold"
    said = curve.provenance
    if file.uncertainty_w is None:
        said = said.adding(assumed=(CurveUncertaintyAssumed(path.name, relative),))
    if not (curve.power_w > 0).any():
        said = said.adding(warnings=(CurveNote(path.name, "no power"),))
    return replace(curve, extrapolation=beyond, provenance=said)


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


def _where(table: Table, speed_ms: FloatArray, row: int) -> str:
    return f"{table.place(row)}: at {speed_ms[row]:.3g} m/s"


def _speed_heading(table: Table) -> str:
    names = RECOGNISED_COLUMNS["speed"]
    return str(table.find("wind speed", (*names, *SPEED_UNIT_HEADINGS), tails=SPEED_UNIT_HEADINGS))


def _points(table: Table, column: str) -> tuple[FloatArray, FloatArray | None, FloatArray]:
    """Return speeds, the densities that headings name, and powers, shape (densities, speeds)."""
    unit = unit_in_heading("speed", column)
    if unit is None or unit == "Beaufort":
        raise InputError(
            f"{table.path}: the heading {column!r} does not say the speed unit; write it "
            f"behind the name, as in 'speed (m/s)' (one of {', '.join(SPEED_UNITS[:-1])})."
        )
    speed = to_metres_per_second(table.numbers(column), unit)
    densities, power = _powers(table)
    if speed.size < 2:
        raise InputError(
            f"{table.path}: a power curve needs two lines at least; only one is there."
        )
    cells = table.frame[column]
    first = np.arange(speed.size) == 0
    blank = np.isnan(speed) | np.isnan(power).any(axis=0)
    table.refuse(blank, lambda _: "speed or power is blank; fill it in.")
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
    lowest, made = power.min(axis=0), (power > 0).any(axis=0)
    between = (np.cumsum(made) > 0) & (np.cumsum(made) < made.sum())
    table.refuse(
        ((lowest < 0) & between) | (lowest < -_MOST_DRAWN * power.max()),
        lambda row: (
            f"a power of {lowest[row]:.4g} W is below zero among powers above it, or by more than "
            "any machine at rest draws; mend the sign or the value."
        ),
    )
    return speed, densities, power


def _densities(
    path: Path,
    named: FloatArray | None,
    stated: float | None,
    notes: dict[str, str],
    assumed: list[Finding],
) -> FloatArray:
    """Return the air density of each power column."""
    if named is not None:
        if stated is not None:
            raise InputError(
                f"{path}: the headings name the air density of each column, so remove "
                "curve_air_density_kg_m3."
            )
        return named
    if stated is None:
        stated = _number_noted(path, notes, "air density")
    if stated is None:
        stated = STANDARD_DENSITY_KG_M3
        assumed.append(CurveNote(path.name, "no density"))
    return np.array([stated])


def _powers(table: Table) -> tuple[FloatArray | None, FloatArray]:
    """Return the densities that headings name, increasing, and the powers, shape (m, n)."""
    found = [(_AT_DENSITY.search(heading), heading) for heading in table.headings]
    at_density = sorted((float(m[1].replace(",", ".")), h) for m, h in found if m is not None)
    if not at_density:
        column = str(table.find("power", _tailed(_POWER_NAMES, table)))
        return None, _watts(table, column)[np.newaxis]
    densities = np.array([density for density, _ in at_density])
    if (np.diff(densities) == 0).any():
        raise InputError(
            f"{table.path}: two columns hold for the same air density; keep one of them."
        )
    if densities[0] < 0.5 or densities[-1] > 1.6:
        raise InputError(
            f"{table.path}: an air density in the headings is not between 0.5 and 1.6 kg/m3; "
            "mend the heading."
        )
    return densities, np.array([_watts(table, heading) for _, heading in at_density])


def _uncertainty(table: Table) -> FloatArray | None:
    column = table.find("standard uncertainty", _tailed(_UNCERTAINTY_NAMES, table), required=False)
    if column is None:
        return None
    values = _watts(table, column)
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
            warnings.append(AreaNotStated(table.path.name, thrust=True))
            return None
        # Force times speed over the power of the wind is force over dynamic pressure and area.
        force = table.numbers(column)
        coefficient = power_coefficient(force * speed, speed, area_m2, density_kg_m3)
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


def _watts(table: Table, heading: str) -> FloatArray:
    unit = _WATTS.search(heading.lower())
    more = units_in_brackets(_AT_DENSITY.sub("", heading)) - {"w", "kw", "watts", "kilowatts"}
    if unit is None or more:
        raise InputError(
            f"{table.path}: the heading {heading!r} does not say whether power is in W or kW; "
            "write 'power (W)' or 'power (kW)'."
        )
    return numbers_of(table, heading)[0] * (1000.0 if unit[1] else 1.0)
