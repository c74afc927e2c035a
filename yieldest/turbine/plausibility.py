"""Whether a power, a wind speed and a rotor area can be true together."""

from __future__ import annotations

from dataclasses import dataclass

from yieldest.errors import InputError
from yieldest.provenance import Finding

BETZ_LIMIT = 16 / 27
"""The share of the power in the wind that no rotor in free flow can exceed (Betz 1920)."""
HIGH_SMALL_COEFFICIENT = 0.5
"""A small machine above this is doubtful (common practice, no source)."""
HIGH_DRAG_COEFFICIENT = 0.3
"""A drag-type rotor above this is doubtful (common practice, no source)."""
LEAST_COEFFICIENT = 1e-3
"""No working machine has its highest power coefficient below this; our choice."""
LOW_COEFFICIENT = 0.03
"""A highest power coefficient below this is doubtful; our choice."""
_AREA_SLIPS = (
    (1e6, "millimetres were given as metres"),
    (1e4, "centimetres were given as metres"),
    (1e3, "kilowatts were given as watts, or one side of the rotor is in millimetres"),
)


@dataclass(frozen=True)
class LowCoefficient(Finding):
    """The highest power coefficient is little even for a poor machine."""

    where: str
    coefficient: float


@dataclass(frozen=True)
class HighCoefficient(Finding):
    """The highest power coefficient is doubtful for any small machine, or for a drag-type rotor."""

    where: str
    coefficient: float
    drag: bool


def judge_coefficient(where: str, highest: float, rotor_type: str | None) -> list[Finding]:
    """Judge the highest power coefficient of a machine.

    Parameters
    ----------
    where : str
        The file and line, and the speed, for the message.
    highest : float
    rotor_type : {"lift", "drag"} or None

    Returns
    -------
    list of Finding
        Warnings.

    Raises
    ------
    InputError
        Above the Betz limit, or so low that a unit must be wrong.
    """
    if highest > BETZ_LIMIT:
        raise InputError(
            f"{where} the power coefficient is {highest:.2f}, above the Betz limit 16/27 "
            "= 0.593 that no rotor can "
            "exceed; check the power, its unit (W or kW), the speed unit and the rotor area."
        )
    if 0 < highest < LEAST_COEFFICIENT:
        slip = next(
            (
                f"; it looks as if {why}"
                for factor, why in _AREA_SLIPS
                if LOW_COEFFICIENT <= highest * factor <= BETZ_LIMIT
            ),
            "",
        )
        raise InputError(
            f"{where} the power coefficient is at best {highest:.1e}, less than any "
            f"working machine has{slip}; check the "
            "rotor size (in m or m2), the power and their units."
        )
    if 0 < highest < LOW_COEFFICIENT:
        return [LowCoefficient(where, highest)]
    if highest > HIGH_SMALL_COEFFICIENT:
        return [HighCoefficient(where, highest, drag=False)]
    if rotor_type == "drag" and highest > HIGH_DRAG_COEFFICIENT:
        return [HighCoefficient(where, highest, drag=True)]
    return []
