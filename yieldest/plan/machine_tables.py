"""The tables that say where a build's power curve is from, and what the machine feeds."""

from __future__ import annotations

import math
from typing import Annotated, Literal, Self

from pydantic import model_validator

from yieldest.settings import (
    Celsius,
    Circuit,
    CutSpeed,
    DateOrder,
    DecimalMark,
    Elevation,
    FilePath,
    NotNegative,
    Positive,
    PowerFactor,
    Settings,
    Share,
    key,
)
from yieldest.turbine.bins import POWER_UNCERTAINTY, SPEED_UNCERTAINTY, SPEED_UNCERTAINTY_MS
from yieldest.turbine.generic_curve import FURLING_WIDTH_MS
from yieldest.turbine.power_curve import MODELLED_UNCERTAINTY
from yieldest.units import SPEED_UNITS

MeterShows = Literal["rms", "peak", "peak to peak"]
Load = Literal["resistor", "battery", "charger", "inverter"]


def swept_area_m2(
    area_m2: float | None,
    diameter_m: float | None,
    width_m: float | None,
    height_m: float | None,
) -> float | None:
    """Return the area that one rotor sweeps, from whichever size is stated; None for none."""
    if area_m2 is not None:
        return area_m2
    if diameter_m is not None:
        return math.pi / 4 * diameter_m**2
    if width_m is not None and height_m is not None:
        return width_m * height_m
    return None


class ReadingColumns(Settings):
    """Headings of a table of readings by what they hold."""

    date: Annotated[str | None, key("the date, beside clock times", "Tag")] = None
    time: Annotated[str | None, key("date and time in one, or time that has gone by", "t")] = None
    speed: Annotated[str | None, key("wind speed", "Wind")] = None
    wind_pulses: Annotated[str | None, key("pulses of the anemometer", "Cups")] = None
    volts: Annotated[str | None, key("volts", "Ch 2")] = None
    amps: Annotated[str | None, key("amps", "Ch 3")] = None
    watts: Annotated[str | None, key("electrical power", "P out")] = None
    pulses: Annotated[str | None, key("pulses of the energy meter", "S0")] = None
    ohms: Annotated[str | None, key("load resistance", "R load")] = None
    rpm: Annotated[str | None, key("revolutions per minute", "n")] = None
    temperature: Annotated[str | None, key("air temperature", "T air")] = None
    pressure: Annotated[str | None, key("air pressure", "Baro")] = None


class MeterNotes(Settings):
    """How readings were taken."""

    columns: Annotated[
        ReadingColumns, key("which column holds what", left_out="the headings are recognised")
    ] = ReadingColumns()
    units: Annotated[
        str | None,
        key(
            f"unit of the wind speed: {', '.join(SPEED_UNITS)}",
            "km/h",
            left_out="the heading says it",
        ),
    ] = None
    circuit: Annotated[
        Circuit | None,
        key(
            "where the meters were",
            "three-phase",
            left_out="dc; where a heading speaks of AC you are asked",
        ),
    ] = None
    power_factor: Annotated[
        PowerFactor | None, key("power factor of an AC circuit; volts x amps need it", 0.9)
    ] = None
    volts_show: Annotated[
        MeterShows | None,
        key("what the volts of an AC circuit are", "peak", left_out="the heading's word, else rms"),
    ] = None
    amps_show: Annotated[
        MeterShows | None,
        key("what the amps of an AC circuit are", "rms", left_out="the heading's word, else rms"),
    ] = None
    volts_between: Annotated[
        Literal["lines", "line and neutral"] | None,
        key(
            "where the volts of three phases were measured",
            "lines",
            left_out="you are asked, where it matters",
        ),
    ] = None
    resistors: Annotated[
        Literal["star", "delta"] | None,
        key("how three load resistors are joined", "star", left_out='"star"'),
    ] = None
    load_ohm: Annotated[
        Positive | None, key("load resistance, of each resistor", 22, unit="ohm")
    ] = None
    wh_per_pulse: Annotated[
        Positive | None, key("energy of one pulse of the energy meter", 1, unit="Wh")
    ] = None
    metres_per_pulse: Annotated[
        Positive | None, key("wind run of one pulse of the anemometer", 1.25, unit="m")
    ] = None
    date_order: Annotated[
        DateOrder | None,
        key("which number of a date stands first", "day first", left_out="told from the dates"),
    ] = None
    decimal: Annotated[
        DecimalMark | None, key("decimal mark", ",", left_out="it is recognised")
    ] = None
    averaging_s: Annotated[
        NotNegative | None,
        key(
            "what each reading is a mean over; 0 for a glance",
            60,
            unit="s",
            left_out="told from the times; glances where there are none",
        ),
    ] = None
    elevation_m: Annotated[
        Elevation | None,
        key(
            "height above sea level where they were taken",
            420,
            unit="m",
            left_out="air of 1.225 kg/m3; 0 m where the temperature is known",
        ),
    ] = None
    temperature_c: Annotated[
        Celsius | None,
        key(
            "air temperature while they were taken, where no column says it",
            15,
            unit="degrees Celsius",
            left_out="15, where the elevation is known",
        ),
    ] = None
    power_uncertainty: Annotated[
        Share | None,
        key(
            "standard uncertainty of the power meters",
            0.02,
            unit="share",
            left_out=f"{POWER_UNCERTAINTY:g}",
        ),
    ] = None
    speed_uncertainty: Annotated[
        Share | None,
        key(
            "standard uncertainty of the anemometer",
            0.02,
            unit="share",
            left_out=f"{SPEED_UNCERTAINTY:g}",
        ),
    ] = None
    speed_uncertainty_ms: Annotated[
        NotNegative | None,
        key(
            "constant part of the anemometer's standard uncertainty",
            0.2,
            unit="m/s",
            left_out=f"{SPEED_UNCERTAINTY_MS:g}",
        ),
    ] = None


class GenericCurve(Settings):
    """A modelled curve for a machine nobody has measured."""

    power_coefficient: Annotated[
        Positive,
        key("share of the wind's power that arrives, from wind to wire; below 16/27", 0.2),
    ]
    furling_ms: Annotated[
        CutSpeed | None,
        key(
            f"from here the power falls to nothing over {FURLING_WIDTH_MS:g} m/s",
            12,
            unit="m/s",
            left_out="the curve ends at cut_out_ms",
        ),
    ] = None
    uncertainty: Annotated[
        Share | None,
        key(
            "standard uncertainty of the power",
            0.2,
            unit="share",
            left_out=f"{MODELLED_UNCERTAINTY:g}",
        ),
    ] = None


class LoadNotes(Settings):
    """What the machine feeds."""

    kind: Annotated[Load, key("what it will feed", "charger")]
    measured_on: Annotated[
        Load | None,
        key(
            "what it fed when the curve was measured",
            "resistor",
            left_out="the curve file's word, else the same",
        ),
    ] = None
    conversion: Annotated[
        FilePath | None,
        key(
            'a file of efficiency by power, or "typical"',
            "typical",
            left_out="nothing is taken off",
        ),
    ] = None
    battery_volts: Annotated[
        Positive | None, key("volts of the battery, for its typical conversion", 24, unit="V")
    ] = None
    no_load_draw_w: Annotated[
        NotNegative, key("what the converter takes while it runs", 3, unit="W")
    ] = 0.0
    start_up_w: Annotated[
        NotNegative, key("power in below which nothing comes out", 10, unit="W")
    ] = 0.0
    idle_draw_w: Annotated[
        NotNegative, key("what is drawn while the machine makes nothing", 2, unit="W")
    ] = 0.0

    @model_validator(mode="after")
    def _converter(self) -> Self:
        if self.conversion is None and (self.no_load_draw_w or self.start_up_w):
            raise ValueError(
                "no_load_draw_w and start_up_w belong to a conversion; state conversion as a file "
                "or 'typical'"
            )
        return self
