"""The tables [[build]]: the ways to build that are compared."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.energy.array_losses import MOST_WAKES, Array
from yieldest.energy.cables import Cable, Converter
from yieldest.energy.losses import LossShares
from yieldest.settings import FilePath, Words, at_most_one, key
from yieldest.turbine.curve_ends import Ends
from yieldest.turbine.generic_curve import GenericCurve
from yieldest.turbine.load import LoadSettings
from yieldest.turbine.meters import Meters
from yieldest.turbine.power_curve import Correction
from yieldest.turbine.rotor import Rotor


class Build(Ends, Rotor):
    """One way to build: a number of machines of one kind at one height."""

    name: Words = key("a name of its own, for tables and charts", "one of 2.4 m", default=...)
    count: Annotated[int, Field(ge=1, le=10000)] = key("how many machines", 4, default=1)
    site: Words | None = key(
        "the name of the place where it stands", "roof", left_out="the only one"
    )
    hub_height_m: Annotated[float, Field(ge=0.1, le=300)] = key(
        "height of the rotor's middle above ground", 12, unit="m", default=...
    )
    curve: FilePath | None = key("a file of wind speed and electrical power", "curve.csv")
    readings: FilePath | None = key("or your own readings, from which it is made", "readings.csv")
    generic_curve: GenericCurve | None = key(
        "or a modelled curve, for a machine nobody has measured"
    )
    meters: Meters | None = key("with readings: how they were taken")
    load: LoadSettings | None = key(
        "what the machine feeds", left_out="what the curve was measured on"
    )
    curve_air_density_kg_m3: Annotated[float, Field(ge=0.5, le=1.6)] | None = key(
        "air density that the curve is for",
        1.225,
        unit="kg/m3",
        left_out=f"the file's word, else {STANDARD_DENSITY_KG_M3:g}",
    )
    density_correction: Correction = key(
        "what follows the air density: speed only for pitch-regulated machines",
        "speed",
        default="power",
    )
    losses: LossShares = key("shares of the energy that are lost", default=LossShares.unstated())
    array: Array | None = key("how several machines stand", left_out="a wake loss is assumed")
    cable: list[Cable] = key(
        "cables, one table each", left_out="an electrical loss is assumed", default=[]
    )
    converter: list[Converter] = key(
        "inverters and the like, one table each",
        left_out="an electrical loss is assumed",
        default=[],
    )
    bill: FilePath | None = key(
        "a file of parts and prices", "bill.csv", left_out="no cost and no payback"
    )
    scope_default: Literal["per unit", "per array", "per site"] | None = key(
        "what a part is for whose line on the bill does not say",
        "per unit",
        left_out="per unit; several machines need a bill that says",
    )

    @model_validator(mode="after")
    def _clear_of_the_ground(self) -> Self:
        if self.rotor_bottom_m < 0:
            width = "rotor_area_m2 (of a disc)" if self.rotor_area_m2 else "the rotor"
            raise ValueError(
                f"the blades reach {-self.rotor_bottom_m:.3g} m into the ground, for the hub is "
                f"{self.hub_height_m:g} m high and {width} reaches "
                f"{self.hub_height_m - self.rotor_bottom_m:.3g} m down from it; mend hub_height_m "
                "or the rotor size (in m)"
            )
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
                "cut_out_ms (or furling_ms in generic_curve)": (
                    self.generic_curve.furling_ms or self.cut_out_ms
                ),
            }
            missing = [key for key, value in wanted.items() if value is None]
            if missing:
                raise ValueError(
                    f"a generic_curve needs {', '.join(missing)}; state all of it in the build"
                )
            for name in ("extrapolation", "curve_air_density_kg_m3"):
                if getattr(self, name) is not None:
                    raise ValueError(f"{name} has no meaning for a generic_curve; remove it")
        return self

    @property
    def rotor_bottom_m(self) -> float:
        """Lowest point of the rotor above ground; the hub where its size is not stated."""
        if self.rotor_height_m is not None:
            return self.hub_height_m - self.rotor_height_m / 2
        return self.hub_height_m - (self.disc_diameter_m or 0.0) / 2
