"""What a maker states about the meters, the circuit and the load behind a table of readings."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from yieldest.errors import InputError
from yieldest.provenance import Findings
from yieldest.settings import DecimalMark
from yieldest.turbine.electrical_power import Circuit, MeterShows, Resistors, VoltsBetween

_PEAK_TO_PEAK = re.compile(r"peak[\s_-]*to[\s_-]*peak|\bp-p\b|pk-pk|[va]pp\b|\bpp\b", re.IGNORECASE)
_PEAK = re.compile(r"peak|[va]pk\b|\bpk\b", re.IGNORECASE)
_RMS = re.compile(r"rms", re.IGNORECASE)
_ALTERNATING = re.compile(r"(?:\b|[va\d_])ac\b", re.IGNORECASE)


@dataclass(frozen=True)
class Meters:
    """How readings were taken; None where nobody states it.

    Parameters
    ----------
    columns : mapping of str to str
        Role to heading, for headings that are not recognised.
    units : str or None
        Unit of the wind speed.
    circuit : {"dc", "single-phase", "three-phase"} or None
    power_factor : float or None
    volts_show, amps_show : {"rms", "peak", "peak to peak"} or None
    volts_between : {"lines", "line and neutral"} or None
    resistors : {"star", "delta"} or None
    load_ohm : float or None
        Of the one resistor, or of each of three.
    wh_per_pulse : float or None
        Energy that one pulse of the energy meter stands for.
    metres_per_pulse : float or None
        Wind run that one pulse of the anemometer stands for.
    date_order : {"day first", "month first", "year first"} or None
        For dates of three numbers that nothing in the file decides.
    decimal : {".", ","} or None
    averaging_s : float or None
        Time over which each reading is a mean; 0 for a glance at the meter.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    units: str | None = None
    circuit: Circuit | None = None
    power_factor: float | None = None
    volts_show: MeterShows | None = None
    amps_show: MeterShows | None = None
    volts_between: VoltsBetween | None = None
    resistors: Resistors | None = None
    load_ohm: float | None = None
    wh_per_pulse: float | None = None
    metres_per_pulse: float | None = None
    date_order: str | None = None
    decimal: DecimalMark | None = None
    averaging_s: float | None = None


@dataclass(frozen=True)
class Wiring:
    """The circuit as it was understood.

    Parameters
    ----------
    circuit : {"dc", "single-phase", "three-phase"}
    power_factor : float or None
        None where nobody states it.
    volts_show, amps_show : {"rms", "peak", "peak to peak"}
    between : {"lines", "line and neutral"}
    resistors : {"star", "delta"}
    assumed : tuple of str
    """

    circuit: Circuit
    power_factor: float | None
    volts_show: MeterShows
    amps_show: MeterShows
    between: VoltsBetween
    resistors: Resistors
    assumed: Findings


def wiring_of(
    name: str, meters: Meters, volts_heading: str | None, amps_heading: str | None
) -> Wiring:
    """Settle the circuit from what is stated and what the headings say.

    Parameters
    ----------
    name : str
        The file, for messages.
    meters : Meters
    volts_heading, amps_heading : str or None

    Raises
    ------
    InputError
        When headings and statements contradict each other, or an alternating circuit lacks what
        its power depends on.
    """
    volts_show = _shows(name, "volts", volts_heading, meters.volts_show)
    amps_show = _shows(name, "amps", amps_heading, meters.amps_show)
    alternating = next(
        (
            f"the heading {heading!r} speaks of alternating current"
            for heading in (volts_heading, amps_heading)
            if heading is not None
            and any(sign.search(heading) for sign in (_PEAK_TO_PEAK, _PEAK, _RMS, _ALTERNATING))
        ),
        "an RMS or peak value is stated" if meters.volts_show or meters.amps_show else None,
    )
    assumed = []
    circuit = meters.circuit
    if circuit is None:
        if alternating is not None:
            raise InputError(
                f"{name}: {alternating}, but the circuit is not stated; state circuit as "
                "'single-phase' or 'three-phase' ('dc' behind a rectifier)."
            )
        circuit = "dc"
        if volts_heading is not None or amps_heading is not None:
            assumed.append(f"{name}: direct current, for no circuit is stated.")
    elif circuit == "dc" and volts_show != "rms":
        raise InputError(
            f"{name}: the volts are {volts_show} values, which direct current does not have; "
            "mend circuit or volts_show."
        )
    if circuit == "three-phase" and volts_heading is not None and meters.volts_between is None:
        raise InputError(
            f"{name}: whether the volts were measured between two lines or from line to neutral is "
            "not stated; state volts_between as 'lines' or 'line and neutral'."
        )
    if circuit != "dc":
        assumed += [
            f"{name}: the {what} are RMS values, for nothing else is stated."
            for what, heading, stated in (
                ("volts", volts_heading, meters.volts_show),
                ("amps", amps_heading, meters.amps_show),
            )
            if heading is not None and stated is None and _said(heading) is None
        ]
    return Wiring(
        circuit=circuit,
        power_factor=1.0 if circuit == "dc" else meters.power_factor,
        volts_show=volts_show,
        amps_show=amps_show,
        between=meters.volts_between or "lines",
        resistors=meters.resistors or "star",
        assumed=tuple(assumed),
    )


def _said(heading: str) -> MeterShows | None:
    if _PEAK_TO_PEAK.search(heading):
        return "peak to peak"
    if _PEAK.search(heading):
        return "peak"
    return "rms" if _RMS.search(heading) else None


def _shows(name: str, what: str, heading: str | None, stated: MeterShows | None) -> MeterShows:
    said = None if heading is None else _said(heading)
    if said is not None and stated is not None and said != stated:
        raise InputError(
            f"{name}: the heading {heading!r} says {said}, but {what}_show says {stated}; mend one."
        )
    return stated or said or "rms"
