"""What a load leaves of a curve, so that a curve measured on one is not sold as another's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Literal, Self, get_args

import numpy as np
from pydantic import model_validator

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.files.table import read_table, table_of_frame
from yieldest.frozen import frozen_dataclass, relabelled
from yieldest.provenance import Finding
from yieldest.settings import FilePath, NotNegative, Settings, Volts, key
from yieldest.turbine.power_curve import PowerCurve
from yieldest.turbine.reading_columns import unit_factor

if TYPE_CHECKING:
    import pandas as pd

Load = Literal["resistor", "battery", "charger", "inverter"]
LOAD_WORDS: Mapping[str, str] = {
    "resistor": "a fixed resistor",
    "battery": "a battery through a diode bridge",
    "charger": "a boost or tracking charger",
    "inverter": "a grid inverter",
}
"""Each load in words."""

OTHER_LOAD_UNCERTAINTY = 0.15
"""Standard uncertainty, as a share of the power, of a curve carried from one load to another, which
lets the rotor turn at another speed; our choice."""
CONVERSION_UNCERTAINTY = 0.03
"""The same of a conversion efficiency; our choice."""
DIODE_DROPS_V = 1.4
"""Two silicon diodes in the path at all times (common practice, no source)."""
_SHARES = np.array([0.02, 0.05, 0.10, 0.20, 0.50, 1.00])
_TYPICAL = {
    "charger": np.array([0.60, 0.72, 0.80, 0.86, 0.90, 0.90]),
    "inverter": np.array([0.55, 0.75, 0.85, 0.90, 0.93, 0.92]),
}
"""Efficiency at shares of rated power (common practice, no source)."""
_STEP_MS = 0.1
_EDGE_MS = 1e-6
"""Width of the step at the start-up threshold, in which the curve rises from nothing."""
TYPICAL = "typical"
"""The word in place of a file for which an ordinary converter is taken."""


class LoadSettings(Settings):
    """What the machine feeds."""

    kind: Load = key("what it will feed", "charger", default=...)
    measured_on: Load | None = key(
        "what it fed when the curve was measured",
        "resistor",
        left_out="the curve file's word, else the same",
    )
    conversion: FilePath | None = key(
        'a file of efficiency by power, or "typical"', "typical", left_out="nothing is taken off"
    )
    battery_volts: Volts | None = key(
        "volts of the battery, for its typical conversion", 24, unit="V"
    )
    no_load_draw_w: NotNegative = key(
        "what the converter takes while it runs", 3, unit="W", default=0.0
    )
    start_up_w: NotNegative = key(
        "power in below which nothing comes out", 10, unit="W", default=0.0
    )
    idle_draw_w: NotNegative = key(
        "what is drawn while the machine makes nothing", 2, unit="W", default=0.0
    )

    @model_validator(mode="after")
    def _converter(self) -> Self:
        if self.conversion is None and (self.no_load_draw_w or self.start_up_w):
            raise ValueError(
                "no_load_draw_w and start_up_w belong to a conversion; state conversion as a file "
                "or 'typical'"
            )
        return self


@frozen_dataclass
class Conversion:
    """A converter between machine and user.

    `efficiency` is power out over power in at `power_in_w` (strictly increasing, shape (n,)),
    before the no-load draw that is taken off the output while it runs; its ends are held outside.
    Below `start_up_w` going in, nothing comes out.
    """

    power_in_w: FloatArray
    efficiency: FloatArray
    no_load_draw_w: float
    start_up_w: float
    source: str

    def power_out_w(self, power_in_w: FloatArray) -> FloatArray:
        """Return what comes out, never below nothing."""
        efficiency = np.interp(power_in_w, self.power_in_w, self.efficiency)
        out = np.maximum(0.0, power_in_w * efficiency - self.no_load_draw_w)
        return np.asarray(np.where(power_in_w < self.start_up_w, 0.0, out))


def read_conversion(source: str | PathLike[str] | pd.DataFrame, load: LoadSettings) -> Conversion:
    """Read a table of conversion efficiency by power.

    The columns are "power in (W)" and "efficiency" (as a share, or in % in the heading); an
    `InputError` when powers do not increase or an efficiency is not between 0 and 1.
    """
    if isinstance(source, str | PathLike):
        table = read_table(Path(source))
    else:
        table = table_of_frame(source, index="power in (W)", value="efficiency")
    power_names = ("power in", "input power", "input", "power", "watts")
    power_heading = str(table.find("power in", power_names))
    heading = str(table.find("efficiency", ("efficiency", "conversion efficiency", "eta")))
    power = table.numbers(power_heading) * unit_factor(table, "watts", power_heading)
    efficiency = table.numbers(heading) * (0.01 if "%" in heading else 1.0)
    table.refuse(
        ~((efficiency > 0) & (efficiency <= 1)),
        lambda row: (
            f"the efficiency {table.frame[heading].iloc[row]} is not above 0 and at most 1; "
            "write a share, or '(%)' in the heading."
        ),
    )
    table.refuse(
        ~(np.diff(power, prepend=-1.0) > 0),
        lambda _: (
            "the power in is blank, below zero or not above that of the line before; sort the "
            "lines by power."
        ),
    )
    return Conversion(power, efficiency, load.no_load_draw_w, load.start_up_w, table.path.name)


def typical_conversion(name: str, load: LoadSettings, rated_power_w: float) -> Conversion:
    """Return an ordinary converter for a load, sized to the machine (common practice, no source).

    An `InputError` for a battery without its voltage, and for a resistor, which converts nothing;
    `name` is that of the build.
    """
    if load.kind == "resistor":
        raise InputError(
            f"{name}: a resistor converts nothing; remove conversion, or state another load."
        )
    if load.kind == "battery":
        volts = load.battery_volts
        if volts is None:
            raise InputError(
                f"{name}: what a diode bridge leaves depends on the battery; state battery_volts."
            )
        power_in, efficiency = np.array([0.0]), np.array([volts / (volts + DIODE_DROPS_V)])
        source = f"{DIODE_DROPS_V:g} V in two diodes before {volts:g} V"
    else:
        power_in, efficiency = _SHARES * rated_power_w, _TYPICAL[load.kind]
        source = f"typical efficiencies of {LOAD_WORDS[load.kind]} (common practice, no source)"
    return Conversion(power_in, efficiency, load.no_load_draw_w, load.start_up_w, source)


class LoadAssumed(Finding):
    """What the machine feeds, or what the curve was `measured` on, is taken to be the other."""

    name: str
    load: Load
    measured: bool


class OtherLoad(Finding):
    """The curve was measured on another load than the machine will feed."""

    name: str
    measured_on: Load
    load: Load
    converted: bool


class HeatOnly(Finding):
    """A resistor makes heat only."""

    name: str


def measured_load(name: str, curve: PowerCurve, stated: Load | None) -> Load | None:
    """Return the load a curve was measured on; an `InputError` where plan and curve file differ."""
    word = "" if curve.load is None else curve.load.split()[0].lower()
    said: Load | None = next((load for load in get_args(Load) if load == word), None)
    if stated is not None and said is not None and stated != said:
        raise InputError(
            f"{name}: the curve file says it was measured on {LOAD_WORDS[said]}, but the plan says "
            f"{LOAD_WORDS[stated]}; mend load.measured_on or the file."
        )
    return stated or said


def as_measured(name: str, curve: PowerCurve) -> PowerCurve:
    """Say what a curve was measured on, where the plan does not say what the machine will feed."""
    load = measured_load(name, curve, None)
    if load is None:
        return curve
    said = curve.provenance.adding(assumed=(LoadAssumed(name, load, measured=False),))
    return relabelled(curve, provenance=said)


def on_load(
    name: str, curve: PowerCurve, load: LoadSettings, conversion: Conversion | None
) -> PowerCurve:
    """Return what a load leaves of a curve, which is at the air density of the site.

    `conversion` is that of the file that the load names; a typical one is made here where it asks
    for one. An `InputError` when the load contradicts the curve, or a conversion would count the
    same losses twice; `name` is the build.
    """
    kind = load.kind
    measured_on = measured_load(name, curve, load.measured_on)
    if load.conversion == TYPICAL:
        conversion = typical_conversion(name, load, curve.rated_power_w)
    warnings: list[Finding] = []
    extra = []
    if conversion is not None and measured_on in (kind, "inverter"):
        raise InputError(
            f"{name}: the curve was measured behind {LOAD_WORDS[measured_on]} already, so a "
            "conversion would count its losses twice; remove load.conversion."
        )
    if measured_on is not None and measured_on != kind:
        warnings.append(OtherLoad(name, measured_on, kind, conversion is not None))
        extra.append(OTHER_LOAD_UNCERTAINTY)
    if kind == "resistor":
        warnings.append(HeatOnly(name))
    said = curve.provenance.adding(warnings=tuple(warnings))
    if conversion is not None:
        extra.append(CONVERSION_UNCERTAINTY)
        through = f"{said.method}, through {LOAD_WORDS[kind]} ({conversion.source})"
        said = replace(said, method=through)
        curve = _converted(curve, conversion)
    elif measured_on is None:
        said = said.adding(assumed=(LoadAssumed(name, kind, measured=True),))
    more, own = float(np.linalg.norm(extra)), curve.power_uncertainty_w
    return replace(
        curve,
        load=kind,
        idle_draw_w=load.idle_draw_w,
        power_uncertainty_w=None if own is None else np.hypot(own, more * curve.power_w),
        relative_uncertainty=float(np.hypot(curve.relative_uncertainty, more)),
        provenance=said,
    )


def _converted(curve: PowerCurve, conversion: Conversion) -> PowerCurve:
    """Return what leaves a converter, with a point at either edge of each step at its threshold."""
    grid = np.arange(curve.cut_in_ms, curve.cut_out_ms, _STEP_MS)
    speed = np.union1d(curve.speed_ms, grid)
    power_in = curve.power_at(speed)
    at = np.flatnonzero(np.diff(power_in < conversion.start_up_w))
    slope = np.diff(power_in)[at] / np.diff(speed)[at]
    crossing = speed[at] + (conversion.start_up_w - power_in[at]) / slope
    edges = np.add.outer([-_EDGE_MS, 0.0, _EDGE_MS], crossing)
    speed = np.union1d(speed, edges[(edges > speed[0]) & (edges < speed[-1])])
    making = np.flatnonzero(conversion.power_out_w(curve.power_at(speed)) > 0)
    if making.size:
        speed = speed[max(0, making[0] - 1) :]
    rated_w = conversion.power_out_w(np.array([curve.rated_power_w]))
    curve = curve.at_speeds(speed)
    power, own = conversion.power_out_w(curve.power_w), curve.power_uncertainty_w
    kept = np.divide(power, curve.power_w, out=np.zeros_like(power), where=curve.power_w > 0)
    return replace(
        curve,
        power_w=power,
        power_uncertainty_w=None if own is None else own * kept,
        rated_power_w=float(rated_w[0]),
        family=None,
    )
