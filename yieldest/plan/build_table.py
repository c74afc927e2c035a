"""The tables [[build]]: the ways to build that are compared."""

from __future__ import annotations

import math
from typing import Annotated, Literal, Self

from pydantic import BaseModel, Field, model_validator

from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.energy.array_losses import MOST_WAKES, Array
from yieldest.energy.cables import Cable, Converter
from yieldest.energy.losses import LossShares
from yieldest.plan.machine_tables import GenericCurve, LoadNotes, MeterNotes, swept_area_m2
from yieldest.settings import (
    HIGHEST_CUT_OUT_MS,
    CutSpeed,
    FilePath,
    Positive,
    RotorSize,
    Settings,
    Words,
    at_most_one,
    key,
)


class Build(Settings):
    """One way to build: a number of machines of one kind at one height."""

    name: Annotated[Words, key("a name of its own, for tables and charts", "one of 2.4 m")]
    count: Annotated[Annotated[int, Field(ge=1, le=10000)], key("how many machines", 4)] = 1
    hub_height_m: Annotated[
        Annotated[float, Field(ge=0.1, le=300)],
        key("height of the rotor's middle above ground", 12, unit="m"),
    ]
    curve: Annotated[
        FilePath | None, key("a file of wind speed and electrical power", "curve.csv")
    ] = None
    readings: Annotated[
        FilePath | None, key("or your own readings, from which it is made", "readings.csv")
    ] = None
    generic_curve: Annotated[
        GenericCurve | None, key("or a modelled curve, for a machine nobody has measured")
    ] = None
    meters: Annotated[MeterNotes | None, key("with readings: how they were taken")] = None
    load: Annotated[
        LoadNotes | None, key("what the machine feeds", left_out="what the curve was measured on")
    ] = None
    curve_air_density_kg_m3: Annotated[
        Annotated[float, Field(ge=0.5, le=1.6)] | None,
        key(
            "air density that the curve is for",
            1.225,
            unit="kg/m3",
            left_out=f"the file's word, else {STANDARD_DENSITY_KG_M3:g}",
        ),
    ] = None
    density_correction: Annotated[
        Literal["power", "speed"],
        key("what follows the air density: speed only for pitch-regulated machines", "speed"),
    ] = "power"
    cut_in_ms: Annotated[
        Annotated[float, Field(ge=0, le=HIGHEST_CUT_OUT_MS)] | None,
        key("no power below it", 3, unit="m/s", left_out="the first speed of the curve"),
    ] = None
    cut_out_ms: Annotated[
        CutSpeed | None,
        key("no power above it", 18, unit="m/s", left_out="the last speed of the curve"),
    ] = None
    extrapolation: Annotated[
        Literal["hold", "zero", "cube law"] | None,
        key(
            "what is counted between the last speed of the curve and cut_out_ms: the last power, "
            "nothing, or the cube law up to rated_power_w",
            "zero",
            left_out="hold, and that is said",
        ),
    ] = None
    rated_power_w: Annotated[
        Positive | None,
        key("rated power of one machine", 500, unit="W", left_out="the highest power of the curve"),
    ] = None
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
        Literal["lift", "drag"] | None,
        key("blades that fly, or that are pushed; to judge the curve by", "lift"),
    ] = None
    losses: Annotated[LossShares, key("shares of the energy that are lost")] = LossShares()
    array: Annotated[
        Array | None, key("how several machines stand", left_out="a wake loss is assumed")
    ] = None
    cable: Annotated[
        list[Cable], key("cables, one table each", left_out="an electrical loss is assumed")
    ] = Field(default_factory=list)
    converter: Annotated[
        list[Converter],
        key("inverters and the like, one table each", left_out="an electrical loss is assumed"),
    ] = Field(default_factory=list)
    bill: Annotated[
        FilePath | None,
        key("a file of parts and prices", "bill.csv", left_out="no cost and no payback"),
    ] = None

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        at_most_one(self, "rotor_area_m2", "rotor_diameter_m", "rotor_width_m")
        if (self.rotor_width_m is None) != (self.rotor_height_m is None):
            raise ValueError("rotor_width_m and rotor_height_m go together; state both")
        return self

    @model_validator(mode="after")
    def _one_wakes(self) -> Self:
        if self.array is not None:
            if "wake" in self.losses.stated:
                raise ValueError("array and losses.wake exclude each other; keep one")
            places = self.array.coordinates_m
            if places is not None and len(places) != self.count:
                raise ValueError(
                    f"array.coordinates_m names {len(places)} places for a count of {self.count}; "
                    "state one for each machine"
                )
            if places is not None and self.width_m is None:
                raise ValueError("array.coordinates_m needs the size of the rotor; state it")
            if places is not None and len({tuple(place) for place in places}) < len(places):
                raise ValueError("two machines stand at one place; mend array.coordinates_m")
            wakes = self.array.array_efficiency is None
            if wakes and self.count > MOST_WAKES:
                raise ValueError(
                    f"wakes are computed for at most {MOST_WAKES} machines; state a measured "
                    "array_efficiency instead"
                )
        if (self.cable or self.converter) and "electrical" in self.losses.stated:
            raise ValueError(
                "cable or converter and losses.electrical exclude each other; keep one"
            )
        if self.converter and self.load is not None and self.load.conversion is not None:
            raise ValueError(
                "converter and load.conversion exclude each other; each takes off the same losses"
            )
        return self

    @model_validator(mode="after")
    def _one_curve(self) -> Self:
        at_most_one(self, "curve", "readings", "generic_curve")
        if self.curve is None and self.readings is None and self.generic_curve is None:
            raise ValueError("there is no power curve; state curve, readings or generic_curve")
        if self.readings is None and self.meters is not None:
            raise ValueError("meters belongs to readings; state readings with it")
        if self.generic_curve is not None:
            wanted = {
                "the rotor size": self.area_m2,
                "cut_in_ms": self.cut_in_ms,
                "rated_power_w": self.rated_power_w,
            }
            missing = next((key for key, value in wanted.items() if value is None), None)
            if missing is not None:
                raise ValueError(f"a generic_curve needs {missing}; state it in the build")
            _refuse_with_stand_in(self, "extrapolation", "curve_air_density_kg_m3")
        return self

    @property
    def rotor_bottom_m(self) -> float:
        """Lowest point of the rotor above ground; the hub where its size is not stated."""
        if self.rotor_height_m is not None:
            return self.hub_height_m - self.rotor_height_m / 2
        return self.hub_height_m - (self.disc_diameter_m or 0.0) / 2

    @property
    def disc_diameter_m(self) -> float | None:
        """Diameter of a rotor that sweeps a disc, from its area where only that is stated."""
        if self.rotor_area_m2 is not None:
            return math.sqrt(4 * self.rotor_area_m2 / math.pi)
        return self.rotor_diameter_m

    @property
    def area_m2(self) -> float | None:
        """Swept area of one rotor, where its size is stated."""
        return swept_area_m2(
            self.rotor_area_m2, self.rotor_diameter_m, self.rotor_width_m, self.rotor_height_m
        )

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


def _refuse_with_stand_in(section: BaseModel, *keys: str) -> None:
    for name in keys:
        if getattr(section, name) is not None:
            raise ValueError(f"{name} has no meaning for a generic_curve; remove it")
