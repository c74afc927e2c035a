"""The rotor of a machine: its size and kind, and what it can take from the wind."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Annotated, Literal, Self

import numpy as np
import numpy.typing as npt
from pydantic import Field, model_validator

from yieldest.arrays import FloatArray, floats
from yieldest.errors import InputError
from yieldest.provenance import Finding
from yieldest.settings import RotorSize, Settings, at_most_one, key

RotorType = Literal["lift", "drag"]
"""Blades that fly, or that are pushed."""


class Rotor(Settings):
    """The size of one rotor, in whichever way it is stated, and its kind."""

    rotor_area_m2: Annotated[float, Field(ge=1e-4, le=1e6)] | None = key(
        "swept area; of the sizes, state one", 2.5, unit="m2"
    )
    rotor_diameter_m: RotorSize | None = key("or the diameter of the disc it sweeps", 1.8, unit="m")
    rotor_width_m: RotorSize | None = key(
        "or the width of a vertical rotor, with its height", 1.2, unit="m"
    )
    rotor_height_m: RotorSize | None = key("height of a vertical rotor", 1.6, unit="m")
    rotor_type: RotorType | None = key(
        "blades that fly, or that are pushed; to judge the curve by", "lift"
    )

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        at_most_one(self, "rotor_area_m2", "rotor_diameter_m", "rotor_width_m")
        if (self.rotor_width_m is None) != (self.rotor_height_m is None):
            raise ValueError("rotor_width_m and rotor_height_m go together; state both")
        return self

    @property
    def disc_diameter_m(self) -> float | None:
        """Diameter of a rotor that sweeps a disc, from its area where only that is stated."""
        if self.rotor_area_m2 is not None:
            return math.sqrt(4 * self.rotor_area_m2 / math.pi)
        return self.rotor_diameter_m

    @property
    def area_m2(self) -> float | None:
        """Swept area of one rotor, where its size is stated."""
        if self.rotor_area_m2 is not None:
            return self.rotor_area_m2
        if self.rotor_diameter_m is not None:
            return math.pi / 4 * self.rotor_diameter_m**2
        if self.rotor_width_m is not None and self.rotor_height_m is not None:
            return self.rotor_width_m * self.rotor_height_m
        return None

    @property
    def width_m(self) -> float | None:
        """Width of the rotor across the wind, where its size is stated."""
        return self.disc_diameter_m if self.rotor_width_m is None else self.rotor_width_m


BETZ_LIMIT = 16 / 27
"""The share of the power in the wind that no rotor in free flow can exceed (Betz 1920)."""
HIGH_SMALL_COEFFICIENT = 0.5
"""A small machine above this is doubtful (common practice, no source)."""
HONEST_COEFFICIENT = 0.3
"""Home-made lift rotors with their generators reach 0.2 to 0.3 (common practice, no source)."""
HIGH_HOME_COEFFICIENT = 0.35
"""A home-made lift rotor above this is doubtful (common practice, no source)."""
HIGH_DRAG_COEFFICIENT = 0.3
"""A drag-type rotor above this is doubtful (common practice, no source)."""
LEAST_COEFFICIENT = 1e-3
"""No working machine has its highest power coefficient below this; our choice."""
LOW_COEFFICIENT = 0.03
"""A highest power coefficient below this is doubtful; our choice."""
_SLIPS = {
    1e6: "millimetres were given as metres",
    1e4: "centimetres were given as metres",
    1e3: "kilowatts were given as watts, or one side of the rotor is in millimetres",
}


class LowCoefficient(Finding):
    """The highest power coefficient is little even for a poor machine."""

    where: str
    coefficient: float


class HighCoefficient(Finding):
    """The highest power coefficient is doubtful for such a rotor: any small, lift or drag."""

    where: str
    coefficient: float
    rotor: Literal["small", "lift", "drag"]


def beside_the_limit(coefficient: float) -> tuple[str, str]:
    """Write a power coefficient and the Betz limit, with the decimals that tell them apart."""
    places = next(n for n in range(3, 18) if f"{coefficient:.{n}f}" != f"{BETZ_LIMIT:.{n}f}")
    return f"{coefficient:,.{places}f}", f"16/27 = {BETZ_LIMIT:.{places}f}"


def judge_coefficient(
    where: Callable[[], str], highest: float, rotor_type: str | None
) -> list[Finding]:
    """Return what is doubtful about the highest power coefficient of a machine.

    `where` says what leads the sentence: file, line and speed, for which a file may have to be
    opened again. An `InputError` above the Betz limit, or so low that a unit must be wrong.
    """
    if highest > BETZ_LIMIT:
        written, limit = beside_the_limit(highest)
        raise InputError(
            f"{where()} the power coefficient is {written}, above the Betz limit {limit} that no "
            "rotor can exceed; check the power, its unit (W or kW), the speed unit and the rotor "
            "area."
        )
    if 0 < highest < LEAST_COEFFICIENT:
        fits = {factor: LOW_COEFFICIENT <= highest * factor <= BETZ_LIMIT for factor in _SLIPS}
        slip = next((f"; it looks as if {_SLIPS[factor]}" for factor in fits if fits[factor]), "")
        raise InputError(
            f"{where()} the power coefficient is at best {highest:.1e}, less than any working "
            f"machine has{slip}; check the rotor size (in m or m2), the power and their units."
        )
    if 0 < highest < LOW_COEFFICIENT:
        return [LowCoefficient(where(), highest)]
    if highest > HIGH_SMALL_COEFFICIENT:
        return [HighCoefficient(where(), highest, "small")]
    if rotor_type == "drag" and highest > HIGH_DRAG_COEFFICIENT:
        return [HighCoefficient(where(), highest, "drag")]
    if highest > HIGH_HOME_COEFFICIENT:
        return [HighCoefficient(where(), highest, "lift")]
    return []


def share_above_honest(highest: float) -> float:
    """Return the share of the power by which a highest coefficient lies above an honest one."""
    return max(0.0, 1 - HONEST_COEFFICIENT / highest) if highest > 0 else 0.0


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
    """Return power over the power of the wind through the rotor, all broadcast; 0 at zero speed."""
    available = power_in_wind_w(speed_ms, area_m2, air_density_kg_m3)
    power = np.broadcast_to(floats(power_w), available.shape)
    return np.divide(power, available, out=np.zeros_like(available), where=available > 0)
