"""What a maker states about meters, circuit and load, and the power that they show."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.defaults import ANEMOMETER, ANEMOMETER_CONSTANT, POWER_METERS, Assumed, Default
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Findings
from yieldest.settings import (
    Celsius,
    Circuit,
    DateOrder,
    DecimalMark,
    Elevation,
    NotNegative,
    Positive,
    PowerFactor,
    Settings,
    Share,
    key,
)
from yieldest.units import SPEED_UNITS

MeterShows = Literal["rms", "peak", "peak to peak"]
VoltsBetween = Literal["lines", "line and neutral"]
Resistors = Literal["star", "delta"]

_PEAK_TO_PEAK = r"peak[\s_-]*to[\s_-]*peak|\bp-p\b|pk-pk|[va]pp\b|\bpp\b"
_PEAK = r"peak|[va]pk\b|\bpk\b"
_IN_HEADINGS: dict[MeterShows, str] = {"peak to peak": _PEAK_TO_PEAK, "peak": _PEAK, "rms": "rms"}
_ALTERNATING = rf"{_PEAK_TO_PEAK}|{_PEAK}|rms|(?:\b|[va\d_])ac\b"


@frozen_dataclass
class MeterUncertainty:
    """Standard uncertainties of the instruments (type B of JCGM 100), as shares but `speed_ms`."""

    power: float = POWER_METERS.value
    speed: float = ANEMOMETER.value
    speed_ms: float = ANEMOMETER_CONSTANT.value


class ReadingColumns(Settings):
    """Headings of a table of readings by what they hold."""

    date: str | None = key("the date, beside clock times", "Tag")
    time: str | None = key("date and time in one, or time that has gone by", "t")
    speed: str | None = key("wind speed", "Wind")
    wind_pulses: str | None = key("pulses of the anemometer", "Cups")
    volts: str | None = key("volts", "Ch 2")
    amps: str | None = key("amps", "Ch 3")
    watts: str | None = key("electrical power", "P out")
    pulses: str | None = key("pulses of the energy meter", "S0")
    ohms: str | None = key("load resistance", "R load")
    rpm: str | None = key("revolutions per minute", "n")
    temperature: str | None = key("air temperature", "T air")
    pressure: str | None = key("air pressure", "Baro")


def _usual(default: Default, example: float) -> Any:  # noqa: ANN401 - as `key`
    """Describe a key that has a default."""
    words = default.words[0].lower() + default.words[1:]
    return key(words, example, unit=default.unit, left_out=f"{default.value:g}")


class Meters(Settings):
    """How readings were taken."""

    columns: ReadingColumns = key(
        "which column holds what",
        left_out="the headings are recognised",
        default=ReadingColumns.unstated(),
    )
    units: str | None = key(
        f"unit of the wind speed: {', '.join(SPEED_UNITS)}", "km/h", left_out="the heading says it"
    )
    circuit: Circuit | None = key(
        "where the meters were",
        "three-phase",
        left_out="dc; where a heading speaks of AC you are asked",
    )
    power_factor: PowerFactor | None = key(
        "power factor of an AC circuit; volts x amps need it", 0.9
    )
    volts_show: MeterShows | None = key(
        "what the volts of an AC circuit are", "peak", left_out="the heading's word, else rms"
    )
    amps_show: MeterShows | None = key(
        "what the amps of an AC circuit are", "rms", left_out="the heading's word, else rms"
    )
    volts_between: VoltsBetween | None = key(
        "where the volts of three phases were measured",
        "lines",
        left_out="you are asked, where it matters",
    )
    resistors: Resistors | None = key(
        "how three load resistors are joined", "star", left_out='"star"'
    )
    load_ohm: Positive | None = key("load resistance, of each resistor", 22, unit="ohm")
    wh_per_pulse: Positive | None = key("energy of one pulse of the energy meter", 1, unit="Wh")
    metres_per_pulse: Positive | None = key(
        "wind run of one pulse of the anemometer", 1.25, unit="m"
    )
    date_order: DateOrder | None = key(
        "which number of a date stands first", "day first", left_out="told from the dates"
    )
    decimal: DecimalMark | None = key("decimal mark", ",", left_out="it is recognised")
    averaging_s: NotNegative | None = key(
        "what each reading is a mean over; 0 for a glance",
        60,
        unit="s",
        left_out="told from the times; glances where there are none",
    )
    elevation_m: Elevation | None = key(
        "height above sea level where the readings were taken",
        420,
        unit="m",
        left_out="air of 1.225 kg/m3; 0 m where the temperature is known",
    )
    temperature_c: Celsius | None = key(
        "air temperature at the readings, where no column says it",
        15,
        unit="degrees Celsius",
        left_out="15, where the elevation is known",
    )
    power_uncertainty: Share | None = _usual(POWER_METERS, 0.02)
    speed_uncertainty: Share | None = _usual(ANEMOMETER, 0.02)
    speed_uncertainty_ms: NotNegative | None = _usual(ANEMOMETER_CONSTANT, 0.2)

    @property
    def stated_columns(self) -> dict[str, str]:
        """Role to heading, of the columns that are stated."""
        stated = self.columns.model_dump(exclude_none=True)
        return {role.replace("_", " "): heading for role, heading in stated.items()}

    def uncertainty(self) -> tuple[MeterUncertainty, tuple[Assumed, ...]]:
        """Return the standard uncertainties of the instruments, and which of them are defaults."""
        usual = (POWER_METERS, ANEMOMETER, ANEMOMETER_CONSTANT)
        stated = (self.power_uncertainty, self.speed_uncertainty, self.speed_uncertainty_ms)
        pairs = list(zip(usual, stated, strict=True))
        return (
            MeterUncertainty(*(ours.value if own is None else own for ours, own in pairs)),
            tuple(Assumed(ours) for ours, own in pairs if own is None),
        )


class DirectCurrentAssumed(Finding):
    """No circuit is stated, and direct current was taken."""

    name: str


class RmsAssumed(Finding):
    """Volts or amps were taken as RMS values, for nothing says what they are."""

    name: str
    what: str


@frozen_dataclass
class Wiring:
    """The circuit as it was understood; the power factor is None where nobody states it."""

    circuit: Circuit
    power_factor: float | None
    shows: Mapping[str, MeterShows]
    between: VoltsBetween
    resistors: Resistors
    assumed: Findings

    @property
    def how(self) -> tuple[Circuit, float, VoltsBetween]:
        """What the power of volts and amps depends on."""
        return self.circuit, self.power_factor or 1.0, self.between

    @property
    def phase_factor(self) -> float:
        """What turns measured volts into those of one phase."""
        across_lines = self.circuit == "three-phase" and self.between == "lines"
        return float(1 / np.sqrt(3)) if across_lines else 1.0


def wiring_of(name: str, meters: Meters, headings: Mapping[str, str]) -> Wiring:
    """Settle the circuit from what is stated and what the headings of volts and amps say.

    An `InputError` when the two contradict each other, or an alternating circuit lacks what its
    power depends on. `name` is the file.
    """
    shows: dict[str, MeterShows] = {}
    assumed: list[Finding] = []
    alternating = "an RMS or peak value is stated" if meters.volts_show or meters.amps_show else ""
    for what, stated in (("volts", meters.volts_show), ("amps", meters.amps_show)):
        heading = headings.get(what, "")
        words = (how for how, spelt in _IN_HEADINGS.items() if re.search(spelt, heading, re.I))
        said = next(words, None)
        if said is not None and stated is not None and said != stated:
            raise InputError(
                f"{name}: the heading {heading!r} says {said}, but {what}_show says {stated}; "
                "mend one."
            )
        shows[what] = stated or said or "rms"
        if re.search(_ALTERNATING, heading, re.I):
            alternating = f"the heading {heading!r} speaks of alternating current"
        if heading and stated is None and said is None:
            assumed.append(RmsAssumed(name, what))
    circuit = meters.circuit
    if circuit is None:
        if alternating:
            raise InputError(
                f"{name}: {alternating}, but the circuit is not stated; state circuit as "
                "'single-phase' or 'three-phase' ('dc' behind a rectifier)."
            )
        assumed = [DirectCurrentAssumed(name)] if {"volts", "amps"} & set(headings) else []
    elif circuit == "dc":
        assumed = []
        if shows["volts"] != "rms":
            raise InputError(
                f"{name}: the volts are {shows['volts']} values, which direct current does not "
                "have; mend circuit or volts_show."
            )
    elif circuit == "three-phase" and "volts" in headings and meters.volts_between is None:
        raise InputError(
            f"{name}: whether the volts were measured between two lines or from line to neutral is "
            "not stated; state volts_between as 'lines' or 'line and neutral'."
        )
    return Wiring(
        circuit=circuit or "dc",
        power_factor=1.0 if circuit in (None, "dc") else meters.power_factor,
        shows=shows,
        between=meters.volts_between or "lines",
        resistors=meters.resistors or "star",
        assumed=tuple(assumed),
    )


_TO_RMS = {"rms": 1.0, "peak": 1 / np.sqrt(2), "peak to peak": 1 / (2 * np.sqrt(2))}


def rms(values: npt.ArrayLike, shows: MeterShows) -> FloatArray:
    """Return the root mean square of a sine wave from the volts or amps that the meter shows.

    Notes
    -----
    The peak of a sine wave is sqrt(2) times its root mean square (calculus). The waves of small
    alternators behind a rectifier are not sines: a true-RMS meter is then the only honest one.
    """
    return np.asarray(floats(values) * _TO_RMS[shows])


def power_of_volts_and_amps(
    volts: npt.ArrayLike,
    amps: npt.ArrayLike,
    circuit: Circuit,
    power_factor: float = 1.0,
    between: VoltsBetween = "lines",
) -> FloatArray:
    """Return the power in W of RMS (or direct) volts and the amps in one line; they broadcast.

    Notes
    -----
    V I; V I cos(phi); sqrt(3) V_lines I cos(phi) = 3 V_phase I cos(phi) for a balanced circuit
    (textbook).
    """
    apparent = np.asarray(floats(volts) * floats(amps))
    if circuit == "dc":
        return apparent
    if circuit == "three-phase":
        apparent = apparent * (np.sqrt(3) if between == "lines" else 3.0)
    return np.asarray(apparent * power_factor)


def power_in_resistance(
    volts: npt.ArrayLike,
    ohms: npt.ArrayLike,
    circuit: Circuit,
    between: VoltsBetween = "lines",
    resistors: Resistors = "star",
) -> FloatArray:
    """Return the power in W that RMS (or direct) volts put into a resistive load; they broadcast.

    Notes
    -----
    V^2 / R, and three times that with the volts across each of three equal resistors (Ohm's law).
    """
    across = floats(volts)
    if circuit != "three-phase":
        return np.asarray(across**2 / floats(ohms))
    if between == "lines" and resistors == "star":
        across = across / np.sqrt(3)
    elif between == "line and neutral" and resistors == "delta":
        across = across * np.sqrt(3)
    return np.asarray(3 * across**2 / floats(ohms))


def amps_of_power(
    power_w: npt.ArrayLike,
    volts: npt.ArrayLike,
    circuit: Circuit,
    power_factor: float = 1.0,
    between: VoltsBetween = "lines",
) -> FloatArray:
    """Return the amps in one line that carry a power; 0 where there are no volts."""
    per_amp = power_of_volts_and_amps(volts, 1.0, circuit, power_factor, between)
    power = np.broadcast_to(floats(power_w), per_amp.shape)
    return np.divide(power, per_amp, out=np.zeros_like(per_amp), where=per_amp > 0)
