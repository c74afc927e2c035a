"""Read a maker's table of wind speed and volts, amps, watts or pulses into `Readings`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.files.table import Table
from yieldest.provenance import Finding, Provenance
from yieldest.turbine.meters import Meters, power_in_resistance, power_of_volts_and_amps
from yieldest.turbine.reading_columns import ReadingTable, open_readings
from yieldest.turbine.readings import Readings
from yieldest.units import SPEED_UNITS, to_metres_per_second, unit_in_heading, unit_of
from yieldest.wind.record_values import LIMITS, blank_marks

if TYPE_CHECKING:
    from yieldest.turbine.reading_columns import Source

MISMATCH = 0.10
"""Watts farther than this from volts x amps are not volts x amps; our choice, twice what two
ordinary multimeters can be apart."""
_FLOWS = 0.1
"""Currents and powers above this share of the highest tell which way it flows; our choice."""
MISMATCH_OF_HIGHEST = 0.005
"""Nor is a difference below this share of the highest power a mismatch: it is rounding."""


class WattsContradict(Finding):
    """Lines whose watts are not volts x amps were left out; the first of them."""

    place: str
    watts: float
    volts: float
    amps: float
    product_w: float
    left_out: int


class LoadResistanceApart(Finding):
    """Volts over amps is not the stated load resistance."""

    name: str
    ratio: float


class OddLines(Finding):
    """Lines were left out as blank or repeated (`where` is the first of those), or were sorted."""

    where: str
    count: int
    what: Literal["blank", "disordered", "repeated"]


def read_readings(source: Source, meters: Meters | None = None) -> Readings:
    """Read a table of wind speed and electrical readings.

    Parameters
    ----------
    source : path or DataFrame
        CSV with a heading line: wind speed (or pulses of an anemometer) and one of watts, pulses
        of an energy meter, volts with amps, volts or amps with load resistance; perhaps time, rpm,
        air temperature and pressure. `ROLES` has the headings that are recognised.
    meters : Meters, optional

    Raises
    ------
    InputError
        When the file cannot be read, power cannot be had from its columns, or too many lines
        contradict themselves.
    """
    meters = meters or Meters()
    opened = open_readings(source, meters, meters.stated_columns)
    table, wiring = opened.table, opened.wiring
    below = () if table.layout.below is None else (table.layout.below,)
    time_s = opened.seconds_since_first(meters.date_order)
    roles = ("volts", "amps", "watts", "ohms", "rpm", "temperature", "pressure")
    found = {role: opened.values(role) for role in roles}
    if found["ohms"] is None and meters.load_ohm is not None:
        found["ohms"] = np.full(len(table.frame), meters.load_ohm)
    for role in ("rpm", "ohms"):
        values = found[role]
        if values is not None:
            table.refuse(values < 0, lambda _: f"the {role} are below zero; mend the value.")  # noqa: B023 - called at once
    for role, unit in (("temperature", "C"), ("pressure", "hPa")):
        (low, high), values = LIMITS[role], found[role]
        if values is not None:
            table.refuse(
                (values < low) | (values > high),
                lambda row: (
                    f"the {role} {values[row]:.4g} {unit} is beyond any that was ever measured "  # noqa: B023
                    f"({low:g} to {high:g}); mend the value, or its unit in the heading."  # noqa: B023
                ),
            )
    volts, amps, ohms = found["volts"], found["amps"], found["ohms"]
    _refuse_reversed(opened, found)
    speed_ms, speed_from = _speed(opened, meters, time_s)
    power_w, power_from = _power(opened, meters, found, time_s)
    said = Provenance(str(table.path), f"{speed_from}; {power_from}", wiring.assumed, below)
    readings = Readings(
        table=table,
        row=np.arange(speed_ms.size),
        speed_ms=speed_ms,
        power_w=power_w,
        time_s=time_s,
        volts=volts,
        amps=amps,
        rpm=found["rpm"],
        temperature_c=found["temperature"],
        pressure_hpa=found["pressure"],
        wiring=wiring,
        read_count=speed_ms.size,
        provenance=said,
    )
    if volts is not None and amps is not None:
        if found["watts"] is not None:
            readings = _without_mismatches(readings, volts, amps)
        elif ohms is not None and wiring.circuit != "three-phase":
            readings = _resistance_checked(readings, volts, amps, ohms)
    return _ordered(_without_blanks(readings))


def _refuse_reversed(opened: ReadingTable, found: dict[str, FloatArray | None]) -> None:
    """Refuse currents or powers that are mostly below zero: the meter is reversed."""
    for role, words in (("amps", "negative current"), ("watts", "negative power")):
        values = found[role]
        if values is None or values.size == 0:
            continue
        flows = np.abs(values) > _FLOWS * np.nanmax(np.abs(values), initial=0.0)
        negative = int((flows & (values < 0)).sum())
        if 2 * negative > flows.sum():
            raise InputError(
                f"{opened.table.path}: {words} in {negative} of {int(flows.sum())} lines of "
                f"column {opened.columns[role]!r}: the meter was connected the wrong way round, or "
                "counts what it takes as below zero; write it without the minus sign."
            )


def _speed(
    opened: ReadingTable, meters: Meters, time_s: FloatArray | None
) -> tuple[FloatArray, str]:
    table = opened.table
    if "speed" in opened.columns:
        heading = opened.columns["speed"]
        if meters.units is None:
            unit = unit_in_heading("speed", heading)
        else:
            unit = unit_of("speed", meters.units)
        if unit is None:
            raise InputError(
                f"{table.path}: the heading {heading!r} does not say the speed unit; state "
                "meters.units in a plan (--speed-units on the command line) as one of "
                f"{', '.join(SPEED_UNITS)}."
            )
        raw, _ = blank_marks("speed", opened.numbers("speed"), unit, ())
        speed = to_metres_per_second(raw, unit)
        how = f"wind speed from {heading!r} in {unit}"
    elif "wind pulses" in opened.columns:
        heading = opened.columns["wind pulses"]
        if meters.metres_per_pulse is None:
            raise InputError(
                f"{table.path}: column {heading!r} counts pulses of the anemometer; state "
                "metres_per_pulse, the wind run of one pulse."
            )
        run_m = opened.numbers("wind pulses") * meters.metres_per_pulse
        speed = run_m / _intervals_s(table, time_s)
        how = f"wind speed from {heading!r} at {meters.metres_per_pulse:g} m a pulse"
    else:
        raise InputError(
            f"{table.path}: no column was recognised as the wind speed; the columns are "
            f"{', '.join(map(repr, table.headings))}; name one 'wind speed (m/s)', or state which "
            "it is (meters.columns; on the command line --column speed=HEADING)."
        )
    highest = LIMITS["speed"][1]
    table.refuse(speed < 0, lambda _: "a wind speed is below zero; mend the value.")
    table.refuse(
        speed > highest,
        lambda row: (
            f"{speed[row]:.4g} m/s is above {highest:g} m/s, the highest gust ever measured; "
            "mend the value or the unit."
        ),
    )
    return speed, how


def _power(
    opened: ReadingTable,
    meters: Meters,
    found: dict[str, FloatArray | None],
    time_s: FloatArray | None,
) -> tuple[FloatArray, str]:
    """Return the power by the most direct way that the columns allow, and that way in words."""
    table, wiring = opened.table, opened.wiring
    volts, amps, ohms = found["volts"], found["amps"], found["ohms"]
    if found["watts"] is not None:
        return found["watts"], f"power from {opened.columns['watts']!r}"
    if "pulses" in opened.columns:
        heading = opened.columns["pulses"]
        if meters.wh_per_pulse is None:
            raise InputError(
                f"{table.path}: column {heading!r} counts pulses of an energy meter; "
                "state wh_per_pulse (a meter of 1000 pulses per kWh has 1)."
            )
        joules = 3600 * meters.wh_per_pulse * opened.numbers("pulses")
        how = f"power from {heading!r} at {meters.wh_per_pulse:g} Wh a pulse"
        return np.asarray(joules / _intervals_s(table, time_s)), how
    if volts is not None and amps is not None:
        if wiring.power_factor is None:
            raise InputError(
                f"{table.path}: volts x amps of a {wiring.circuit} circuit is not its power; state "
                "power_factor (1 where the load is a resistor)."
            )
        power = power_of_volts_and_amps(volts, amps, *wiring.how)
        return power, f"power from volts x amps ({wiring.circuit})"
    if ohms is not None and volts is not None:
        power = power_in_resistance(volts, ohms, wiring.circuit, wiring.between, wiring.resistors)
        return power, f"power from volts and load resistance ({wiring.circuit})"
    if ohms is not None and amps is not None and wiring.circuit != "three-phase":
        return np.asarray(amps**2 * ohms), "power from amps and load resistance"
    raise InputError(
        f"{table.path}: there is no power in the columns {', '.join(map(repr, table.headings))}; "
        "give watts, volts and amps, volts and load resistance (load_ohm), or meter pulses, or "
        "state which column is which (meters.columns; on the command line --column volts=HEADING)."
    )


def _intervals_s(table: Table, time_s: FloatArray | None) -> FloatArray:
    """Return the time that each line's pulses were counted in: since the line before."""
    if time_s is None:
        raise InputError(
            f"{table.path}: pulses say nothing without the time they were counted in; add a time "
            "column."
        )
    steps = np.diff(time_s, prepend=np.nan)
    table.refuse(
        steps <= 0,
        lambda _: (
            "the time does not lie after that of the line before, so the pulses cannot be "
            "turned into a rate; mend the times."
        ),
    )
    return steps


def _without_mismatches(readings: Readings, volts: FloatArray, amps: FloatArray) -> Readings:
    """Leave out the lines whose watts are not volts x amps, and name the first."""
    product, watts = power_of_volts_and_amps(volts, amps, *readings.wiring.how), readings.power_w
    slack = MISMATCH * np.maximum(np.abs(watts), np.abs(product))
    slack += MISMATCH_OF_HIGHEST * np.nanmax(np.abs(watts), initial=0.0)
    # Without a power factor only more watts than volts x amps is impossible.
    known = readings.wiring.power_factor is not None
    wrong = (np.abs(watts - product) if known else watts - product) > slack
    return readings.without(
        wrong,
        lambda place, at: WattsContradict(
            place, watts[at], volts[at], amps[at], product[at], int(wrong.sum())
        ),
        lambda found: (
            f"{contradiction_words(found)}, nor is it in {found.left_out - 1} more of the lines; "
            "check the units (mA or A, W or kW) and the circuit, or leave out the column that is "
            "wrong."
        ),
    )


def contradiction_words(found: WattsContradict) -> str:
    """Say which watts are not volts x amps, for a refusal or a warning."""
    return (
        f"{found.place}: {found.watts:.4g} W is not {found.volts:.4g} V x {found.amps:.4g} A = "
        f"{found.product_w:.4g} W"
    )


def _resistance_checked(
    readings: Readings, volts: FloatArray, amps: FloatArray, ohms: FloatArray
) -> Readings:
    """Compare volts over amps with the stated resistance: a hot resistor has more."""
    running = (amps > MISMATCH * np.nanmax(amps, initial=0.0)) & (ohms > 0)
    ratio = 1.0
    if running.any():
        ratio = float(np.nanmedian(volts[running] / amps[running] / ohms[running]))
    if abs(ratio - 1) <= MISMATCH:
        return readings
    return readings.noting(warnings=(LoadResistanceApart(str(readings.table.path), ratio),))


def _without_blanks(readings: Readings) -> Readings:
    there = np.isfinite(readings.speed_ms) & np.isfinite(readings.power_w)
    if not there.any():
        raise InputError(
            f"{readings.table.path}: no line holds both a wind speed and a power; fill some in."
        )
    blank = int((~there).sum())
    # The first line of a count of pulses has no interval before it.
    found = (OddLines(str(readings.table.path), blank, "blank"),) if blank else ()
    return readings.only(there).noting(warnings=found)


def _ordered(readings: Readings) -> Readings:
    """Sort by time, and count a line once that stands there twice."""
    if readings.time_s is None:
        return readings
    warnings: list[Finding] = []
    disordered = int((np.diff(readings.time_s) < 0).sum())
    if disordered:
        warnings.append(OddLines(str(readings.table.path), disordered, "disordered"))
    readings = readings.only(np.argsort(readings.time_s, kind="stable"))
    cells = np.nan_to_num(np.column_stack(list(readings.columns().values())), nan=-np.inf)
    double = np.concatenate(([False], (cells[1:] == cells[:-1]).all(axis=1)))
    if double.any():
        first = readings.place(int(np.argmax(double)))
        warnings.append(OddLines(first, int(double.sum()), "repeated"))
    return readings.only(~double).noting(warnings=tuple(warnings))
