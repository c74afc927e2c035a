"""The rotor of a machine: its size and kind."""

from __future__ import annotations

import math
from typing import Annotated, Self

from pydantic import Field, model_validator

from yieldest.settings import RotorSize, Settings, at_most_one, key
from yieldest.turbine.power_curve import RotorType


class Rotor(Settings):
    """The size of one rotor, in whichever way it is stated, and its kind."""

    rotor_area_m2: Annotated[
        Annotated[float, Field(ge=1e-4, le=1e6)] | None,
        key("swept area; of the sizes, state one", 2.5, unit="m2"),
    ] = None
    rotor_diameter_m: Annotated[
        RotorSize | None, key("or the diameter of the disc it sweeps", 1.8, unit="m")
    ] = None
    rotor_width_m: Annotated[
        RotorSize | None, key("or the width of a vertical rotor, with its height", 1.2, unit="m")
    ] = None
    rotor_height_m: Annotated[
        RotorSize | None, key("height of a vertical rotor", 1.6, unit="m")
    ] = None
    rotor_type: Annotated[
        RotorType | None,
        key("blades that fly, or that are pushed; to judge the curve by", "lift"),
    ] = None

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
        if self.rotor_width_m is not None:
            return self.rotor_width_m
        if self.rotor_diameter_m is not None:
            return self.rotor_diameter_m
        if self.rotor_area_m2 is not None:
            return math.sqrt(self.rotor_area_m2 * 4 / math.pi)
        return None
