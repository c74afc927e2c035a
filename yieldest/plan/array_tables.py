"""The tables between the machines of a build and its net energy: losses, array, cables."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator
from pydantic.fields import FieldInfo

from yieldest.energy.array_losses import LEAST_WAKE_UNCERTAINTY
from yieldest.energy.losses import CROWDED_WAKE_LOSS, LOSS_CATEGORIES
from yieldest.energy.wakes import THRUST_COEFFICIENT, WAKE_DECAY
from yieldest.settings import (
    Bearing,
    Circuit,
    Positive,
    PowerFactor,
    Settings,
    Share,
    Words,
    at_most_one,
    key,
)

MOST_WAKES = 200
"""Machines that wakes are computed for; the work grows with the square of the number."""

Carries = Literal["each machine", "the array"]
Widths = Annotated[float, Field(ge=1)]
Place = Annotated[list[float], Field(min_length=2, max_length=2)]


def _loss(category: str, words: str, example: float, instead: str = "") -> FieldInfo:
    """Describe a loss, with the share assumed where it is left out."""
    return key(
        words,
        example,
        unit="share",
        left_out=f"{LOSS_CATEGORIES[category]:g} is assumed{instead}",
    )


class LossShares(Settings):
    """Shares of energy lost, by the categories of IEC 61400-15."""

    availability: Annotated[
        Share | None, _loss("availability", "lost while the machine stands for repair", 0.08)
    ] = None
    wake: Annotated[
        Share | None,
        _loss(
            "wake",
            "lost because the machines disturb each other",
            0.1,
            f", {CROWDED_WAKE_LOSS:g} for several machines; computed where there is an array",
        ),
    ] = None
    turbine_performance: Annotated[
        Share | None,
        _loss("turbine_performance", "lost because the machine does less than its curve", 0.05),
    ] = None
    electrical: Annotated[
        Share | None,
        _loss(
            "electrical",
            "lost in wires, inverter and charger",
            0.08,
            "; computed where there are cables or converters",
        ),
    ] = None
    environmental: Annotated[
        Share | None, _loss("environmental", "lost by ice, dirt and worn blades", 0.03)
    ] = None
    curtailment: Annotated[
        Share | None, _loss("curtailment", "lost because it is switched off to spare others", 0.02)
    ] = None


class Array(Settings):
    """How the machines of a build stand, and what is known of their wake."""

    layout: Annotated[
        Literal["row", "grid"] | None, key("a row, or a grid of several rows", "row")
    ] = None
    coordinates_m: Annotated[
        list[Place] | None,
        key("or a place for each machine, east and north", [[0, 0], [5.4, 0]], unit="m"),
    ] = None
    bearing_deg: Annotated[
        Bearing | None, key("the way a row runs, clockwise from north", 325, unit="degrees")
    ] = None
    spacing_rotor_diameters: Annotated[
        Widths | None, key("distance between neighbours in a row", 6, unit="rotor widths")
    ] = None
    row_spacing_rotor_diameters: Annotated[
        Widths | None,
        key("distance between rows", 8, unit="rotor widths", left_out="as within a row"),
    ] = None
    columns: Annotated[
        Annotated[int, Field(ge=1)] | None, key("of a grid: machines in a row", 4)
    ] = None
    array_efficiency: Annotated[
        Annotated[float, Field(gt=0, le=1.5)] | None,
        key("or a measured factor: energy of all over that of as many lone machines", 0.96),
    ] = None
    array_efficiency_uncertainty: Annotated[
        Share | None,
        key(
            "standard uncertainty of that factor",
            0.02,
            left_out=f"a quarter of the loss, at least {LEAST_WAKE_UNCERTAINTY:g}",
        ),
    ] = None
    evidence: Annotated[
        Words | None, key("where that factor was measured, in words", "three in a row, one summer")
    ] = None
    wake_decay: Annotated[
        Annotated[float, Field(gt=0, le=0.5)] | None,
        key("growth of a wake's radius per metre downwind", 0.075, left_out=f"{WAKE_DECAY:g}"),
    ] = None
    thrust_coefficient: Annotated[
        Share | None,
        key(
            "thrust of a machine over that of the wind on its swept area",
            0.8,
            left_out=f"that of the curve file, else {THRUST_COEFFICIENT:g}",
        ),
    ] = None
    sectors: Annotated[
        Annotated[int, Field(ge=4, le=72)], key("directions that wakes are computed for", 36)
    ] = 12

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        at_most_one(self, "layout", "coordinates_m", "array_efficiency")
        if self.array_efficiency is not None:
            if self.evidence is None:
                raise ValueError(
                    "array_efficiency needs its evidence; state in words where it was measured"
                )
            return self
        if self.coordinates_m is None and self.layout is None:
            raise ValueError(
                "it is not said how the machines stand; state layout, coordinates_m or "
                "array_efficiency"
            )
        if self.layout is not None and None in (self.bearing_deg, self.spacing_rotor_diameters):
            raise ValueError(
                f"a {self.layout} needs bearing_deg (the way a row runs) and "
                "spacing_rotor_diameters; state both"
            )
        if self.layout == "grid" and self.columns is None:
            raise ValueError("a grid needs columns, the number of machines in a row; state it")
        return self


class Cable(Settings):
    """A copper cable, for each machine or for all of them."""

    length_m: Annotated[Positive, key("length, one way", 40, unit="m")]
    cross_section_mm2: Annotated[
        Annotated[float, Field(ge=0.1, le=1000)],
        key("cross-section of one conductor", 6, unit="mm2"),
    ]
    voltage_v: Annotated[
        Positive, key("voltage where it ends; between conductors for three phases", 48, unit="V")
    ]
    arrangement: Annotated[Circuit, key("what flows in it", "dc")]
    power_factor: Annotated[PowerFactor, key("power factor of alternating current", 0.95)] = 1.0
    conductor_temperature_c: Annotated[
        Annotated[float, Field(ge=-40, le=120)],
        key("temperature of the copper", 50, unit="degrees Celsius"),
    ] = 20.0
    carries: Annotated[Carries, key("whose power it carries", "the array")]


class Converter(Settings):
    """An inverter, charger or controller, for each machine or for all of them."""

    efficiency: Annotated[
        Annotated[float, Field(gt=0, le=1)],
        key("share of the power that comes out", 0.94, unit="share"),
    ]
    limit_w: Annotated[
        Positive | None,
        key("most that comes out; the rest is turned away", 800, unit="W", left_out="no limit"),
    ] = None
    carries: Annotated[Carries, key("whose power it takes", "the array")]
