"""What the comment lines of a curve file say about it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from yieldest.errors import InputError
from yieldest.files.text_file import open_text

_NOTE = re.compile(
    r"#\s*(load|air density|last measured speed|beyond last|kind)\s*:\s*(.+)", re.IGNORECASE
)


@dataclass(frozen=True)
class CurveNotes:
    """What a curve file says about itself; None where it says nothing.

    Parameters
    ----------
    load : str or None
    air_density_kg_m3, last_measured_ms : float or None
    extrapolation : str or None
    modelled : bool
    """

    load: str | None = None
    air_density_kg_m3: float | None = None
    last_measured_ms: float | None = None
    extrapolation: str | None = None
    modelled: bool = False


def notes_of(path: Path) -> CurveNotes:
    """Read the comment lines "# load: ..." and so on.

    Raises
    ------
    InputError
        When a line that should hold a number does not.
    """
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
        extrapolation=found.get("beyond last"),
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
