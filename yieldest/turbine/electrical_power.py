"""Electrical power from what meters show: direct and alternating current, RMS and peak."""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.settings import Circuit

MeterShows = Literal["rms", "peak", "peak to peak"]
VoltsBetween = Literal["lines", "line and neutral"]
Resistors = Literal["star", "delta"]

_TO_RMS = {"rms": 1.0, "peak": 1 / np.sqrt(2), "peak to peak": 1 / (2 * np.sqrt(2))}


def rms(values: npt.ArrayLike, shows: MeterShows) -> FloatArray:
    """Return the root mean square of a sine wave from what the meter shows.

    Parameters
    ----------
    values : array_like
        Volts or amps.
    shows : {"rms", "peak", "peak to peak"}

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
    """Return the power in W of RMS (or direct) volts and amps.

    Parameters
    ----------
    volts, amps : array_like
        They broadcast. Amps are those in one line.
    circuit : {"dc", "single-phase", "three-phase"}
    power_factor : float
        Real over apparent power; without meaning for direct current.
    between : {"lines", "line and neutral"}
        Where the volts of a three-phase circuit were measured.

    Notes
    -----
    V I; V I cos(phi); sqrt(3) V_lines I cos(phi) = 3 V_phase I cos(phi) for a balanced circuit
    (textbook).
    """
    apparent = floats(volts) * floats(amps)
    if circuit == "dc":
        return np.asarray(apparent)
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
    """Return the power in W that RMS (or direct) volts put into a resistive load.

    Parameters
    ----------
    volts, ohms : array_like
        They broadcast. Ohms of one of the three equal resistors in a three-phase circuit.
    circuit : {"dc", "single-phase", "three-phase"}
    between : {"lines", "line and neutral"}
    resistors : {"star", "delta"}

    Notes
    -----
    V^2 / R, and three times that with the volts across each resistor (Ohm's law).
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
