"""The table [site], or several [[site]]: where the machines stand."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from yieldest.defaults import SHEAR_EXPONENT
from yieldest.hub.obstacles import Obstacle
from yieldest.hub.rooftop import Roof
from yieldest.hub.turbulence import SMOOTH_INTENSITY
from yieldest.plan.wind_table import Wind
from yieldest.settings import (
    Celsius,
    Elevation,
    NotNegative,
    Settings,
    WholeShare,
    Words,
    at_most_one,
    key,
)
from yieldest.wind.record_clock import zone_of


def _known_zone(text: str) -> str:
    zone_of(text)
    return text


TimeZone = Annotated[Words, AfterValidator(_known_zone)]
Terrain = Literal["water", "open", "hedged", "built", "suburb"]


class Site(Settings):
    """Where the machine stands."""

    name: Words | None = key(
        "what the place is called; of several, [[site]], each needs a name", "roof"
    )
    clock: TimeZone | None = key(
        "time zone of the clocks there, by which the house draws and a typical day is shown",
        "Europe/Vienna",
        left_out="wind.time_zone, else the clock of the record",
    )
    elevation_m: Elevation | None = key(
        "height of the ground above sea level, where air is thinner",
        420,
        unit="m",
        left_out="what a known pressure says, else 0 m is assumed",
    )
    mean_temperature_c: Celsius | None = key(
        "mean temperature of the year; warm air is thin",
        10,
        unit="degrees Celsius",
        left_out="that of the record, else of the standard atmosphere",
    )
    mean_pressure_hpa: Annotated[float, Field(ge=300, le=1100)] | None = key(
        "mean air pressure of the year, measured here and not reduced to sea level",
        965,
        unit="hPa",
        left_out="that of the record, else of the standard atmosphere",
    )
    terrain: Terrain | None = key(
        "what the land around looks like; it says how fast the wind grows with height",
        "open",
        left_out=f"the power law with {SHEAR_EXPONENT}, unless one of the next two is there",
    )
    roughness_length_m: Annotated[float, Field(gt=0, le=5)] | None = key(
        "instead of terrain: roughness for the log law", 0.03, unit="m"
    )
    shear_exponent: Annotated[float, Field(ge=-0.5, le=1)] | None = key(
        "instead of terrain: exponent of the power law", 0.2
    )
    displacement_m: NotNegative = key(
        "with terrain or roughness: how far woods or houses lift the wind", 4, unit="m", default=0.0
    )
    obstacles: list[Obstacle] = key(
        "what stands around the mast", left_out="nothing does", default=[]
    )
    roof: Roof | None = key("the building under the machine", left_out="it stands on the ground")
    turbulence_intensity: Annotated[float, Field(gt=0, le=1)] | None = key(
        "standard deviation of the wind over its mean",
        0.18,
        unit="share",
        left_out=f"that of the record, where it has deviations; a curve is taken as measured "
        f"at {SMOOTH_INTENSITY:g}",
    )
    relative_humidity: WholeShare | None = key(
        "mean humidity of the year; moist air is light", 0.8, unit="share", left_out="dry air"
    )

    wind: Wind | None = key("a wind of its own", left_out="that of [wind], carried to it")

    @property
    def height_law(self) -> dict[str, Any]:
        """What the plan states of how the wind grows with height, as `to_hub` takes it."""
        keys = ("terrain", "roughness_length_m", "shear_exponent", "displacement_m")
        return {name: getattr(self, name) for name in keys if getattr(self, name)}

    @model_validator(mode="after")
    def _one_law(self) -> Self:
        at_most_one(self, "terrain", "roughness_length_m", "shear_exponent")
        if self.displacement_m and self.terrain is None and self.roughness_length_m is None:
            raise ValueError(
                "displacement_m belongs to the log law; state terrain or roughness_length_m with it"
            )
        return self
