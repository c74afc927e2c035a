"""What cables and converters leave of a power: heat by the square of the current, and limits."""

from __future__ import annotations

import math
from typing import Annotated, Literal

import numpy as np
import numpy.typing as npt
from pydantic import Field

from yieldest.arrays import FloatArray, floats
from yieldest.settings import Circuit, Positive, PowerFactor, Settings, Volts, key

Carries = Literal["each machine", "the array"]

COPPER_RESISTIVITY_OHM_MM2_PER_M = 1 / 58
"""Annealed copper at 20 C, 0.017241 ohm mm2/m (IEC 60028)."""
COPPER_TEMPERATURE_COEFFICIENT = 0.00393
"""Rise of copper's resistance per degree from 20 C (IEC 60028)."""

STRANDED_COPPER_OHM_PER_KM = {
    0.5: 36.0, 0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4.0: 4.61, 6.0: 3.08, 10.0: 1.83,
    16.0: 1.15, 25.0: 0.727, 35.0: 0.524, 50.0: 0.387, 70.0: 0.268, 95.0: 0.193, 120.0: 0.153,
}  # fmt: skip
"""Highest resistance of a plain copper conductor at 20 C by nominal cross-section in mm2, classes
1 and 2 of IEC 60228."""


_SECTIONS_MM2 = floats(list(STRANDED_COPPER_OHM_PER_KM))
_RESISTIVITIES = _SECTIONS_MM2 * floats(list(STRANDED_COPPER_OHM_PER_KM.values())) / 1000


def copper_resistance_ohm_per_m(cross_section_mm2: npt.ArrayLike) -> FloatArray:
    """Return the resistance of a copper conductor at 20 C.

    Parameters
    ----------
    cross_section_mm2 : array_like
        Nominal, positive.

    Notes
    -----
    At the sections of IEC 60228 its table; between them the resistance times the section runs
    straight, and outside the table it is held. That is 4 to 12 % above the bare resistivity of
    IEC 60028, for a nominal section is not all copper and strands are longer than their cable.
    """
    section = floats(cross_section_mm2)
    return np.asarray(np.interp(section, _SECTIONS_MM2, _RESISTIVITIES) / section)


class Cable(Settings):
    """A copper cable, for each machine or for all of them."""

    length_m: Positive = key("length, one way", 40, unit="m", default=...)
    cross_section_mm2: Annotated[float, Field(ge=0.1, le=1000)] = key(
        "cross-section of one conductor", 6, unit="mm2", default=...
    )
    voltage_v: Volts = key(
        "voltage where it ends; between conductors for three phases", 48, unit="V", default=...
    )
    arrangement: Circuit = key("what flows in it", "dc", default=...)
    power_factor: PowerFactor = key("power factor of alternating current", 0.95, default=1.0)
    conductor_temperature_c: Annotated[float, Field(ge=-40, le=120)] = key(
        "temperature of the copper", 50, unit="degrees Celsius", default=20.0
    )
    carries: Carries = key("whose power it carries", "the array", default=...)

    @property
    def shared(self) -> bool:
        """Whether it serves the whole array, rather than there being one for each machine."""
        return self.carries == "the array"

    @property
    def loss_ohm(self) -> float:
        """Resistance R for which the loss is R (P / V)^2: there and back, or one of three."""
        one_way = self.length_m * float(copper_resistance_ohm_per_m(self.cross_section_mm2))
        warm = 1 + COPPER_TEMPERATURE_COEFFICIENT * (self.conductor_temperature_c - 20)
        conductors = 1 if self.arrangement == "three-phase" else 2
        return conductors * one_way * warm / self.power_factor**2

    def delivered_w(self, power_w: npt.ArrayLike) -> FloatArray:
        """Return what arrives of a power sent in.

        The power Q that arrives at voltage V draws the current Q / V, and P = Q + R (Q / V)^2 (Ohm
        and Joule). Three phases carry Q / (sqrt 3 V) each, and lose in three conductors, which
        comes to R (Q / V)^2 with the R of one.
        """
        power, resistance = floats(power_w), self.loss_ohm
        if resistance == 0:
            return power
        # The root of the quadratic, written so that a tiny resistance loses no digits.
        strain = 4 * resistance * power / self.voltage_v**2
        return np.asarray(2 * power / (1 + np.sqrt(1 + strain)))

    def current_a(self, power_w: float) -> float:
        """Return the current in each conductor when a power is sent in."""
        phases = math.sqrt(3) if self.arrangement == "three-phase" else 1.0
        arriving = float(self.delivered_w(power_w))
        return arriving / (phases * self.voltage_v * self.power_factor)


class Converter(Settings):
    """An inverter, charger or controller, for each machine or for all of them."""

    efficiency: Annotated[float, Field(gt=0, le=1)] = key(
        "share of the power that comes out", 0.94, unit="share", default=...
    )
    limit_w: Positive | None = key(
        "most that comes out; the rest is turned away", 800, unit="W", left_out="no limit"
    )
    carries: Carries = key("whose power it takes", "the array", default=...)

    @property
    def shared(self) -> bool:
        """Whether it serves the whole array, rather than there being one for each machine."""
        return self.carries == "the array"

    def delivered_w(self, power_w: npt.ArrayLike) -> FloatArray:
        """Return what comes out of a power put in."""
        out = self.efficiency * floats(power_w)
        return out if self.limit_w is None else np.minimum(out, self.limit_w)
