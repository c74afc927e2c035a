"""A power curve from a maker's readings: the whole way from the table to the curve."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.climate.air import STANDARD_DENSITY_KG_M3, gas_law_density, standard_pressure_pa
from yieldest.errors import InputError
from yieldest.provenance import Provenance
from yieldest.turbine.averaging import Averaging, minute_means
from yieldest.turbine.bins import (
    BIN_WIDTH_MS,
    Bins,
    MeterDoubt,
    bin_number,
    bin_readings,
    pooled_scatter,
)
from yieldest.turbine.chain import Chain, chain_of
from yieldest.turbine.completeness import Rule, completeness_rules
from yieldest.turbine.curve import Correction, PowerCurve, normalised, power_coefficient
from yieldest.turbine.ends import Ends, Points, place_ends
from yieldest.turbine.generator import Generator
from yieldest.turbine.hysteresis import Hysteresis, hysteresis_of
from yieldest.turbine.meters import Meters
from yieldest.turbine.plausible import BETZ_LIMIT, judge_coefficient
from yieldest.turbine.readings import MANY_WRONG, Readings, read_readings
from yieldest.turbine.smooth import SmoothCurve, smooth_curve

KNOWN_DENSITY_DOUBT = 0.01
"""Standard uncertainty of an air density that was stated or measured, as a share; our choice."""
ASSUMED_DENSITY_DOUBT = 0.04
"""Standard uncertainty of an air density nobody stated, as a share of it: some 350 m of height or
12 K of temperature; our choice."""
_ZERO_CELSIUS_K = 273.15
_FAR_OUT = 6.0
"""Readings so many robust standard deviations from the middle of their bin are named."""
_LEAST_SPREAD = 0.05
"""Readings of a bin may always differ by this share of its mean; our choice."""
_ENOUGH_TO_JUDGE = 5


@dataclass(frozen=True)
class AirAtTest:
    """The air in which the readings were taken; None where nobody states it.

    Parameters
    ----------
    density_kg_m3, elevation_m, temperature_c : float or None
    """

    density_kg_m3: float | None = None
    elevation_m: float | None = None
    temperature_c: float | None = None


@dataclass(frozen=True)
class Machine:
    """What is known of the machine that was measured.

    Parameters
    ----------
    rotor_area_m2 : float or None
    rotor_type : {"lift", "drag"} or None
    correction : {"power", "speed"}
        How its power follows the air density.
    load : str or None
        What it fed.
    generator : Generator or None
    """

    rotor_area_m2: float | None = None
    rotor_type: str | None = None
    correction: Correction = "power"
    load: str | None = None
    generator: Generator | None = None


@dataclass(frozen=True)
class MeasuredCurve:
    """Everything that a table of readings says about a machine.

    Parameters
    ----------
    readings : Readings
        Those in the bins, averaged and normalised to 1.225 kg/m3.
    averaging : Averaging
    air_density_kg_m3 : float
        Mean of the air in which they were taken.
    scatter : float or None
        Pooled standard deviation of the power in the bins over its mean.
    bins : Bins
    smooth : SmoothCurve
    rules : tuple of Rule
    hysteresis : Hysteresis
    chain : Chain or None
        None where the rotor area is not known.
    generator : Generator or None
    curve : PowerCurve
        For 1.225 kg/m3.
    highest_rpm : float or None
    """

    readings: Readings
    averaging: Averaging
    air_density_kg_m3: float
    scatter: float | None
    bins: Bins
    smooth: SmoothCurve
    rules: tuple[Rule, ...]
    hysteresis: Hysteresis
    chain: Chain | None
    generator: Generator | None
    curve: PowerCurve
    highest_rpm: float | None


def measure_curve(
    path: Path,
    meters: Meters,
    machine: Machine,
    *,
    air: AirAtTest | None = None,
    doubt: MeterDoubt | None = None,
    ends: Ends | None = None,
) -> MeasuredCurve:
    """Make a power curve from a table of readings.

    Parameters
    ----------
    path : Path
    meters : Meters
    machine : Machine
    air : AirAtTest, optional
    doubt : MeterDoubt, optional
        By default that of ordinary instruments.
    ends : Ends, optional

    Raises
    ------
    InputError
        When the readings cannot be read, contradict physics, or are too few.

    Notes
    -----
    Method of bins of IEC 61400-12-1, on one-minute means as in its small-turbine annex.
    """
    ends = ends or Ends()
    readings, averaging = minute_means(read_readings(path, meters), meters.averaging_s)
    density, density_doubt, readings = _density(readings, air or AirAtTest())
    if doubt is None:
        doubt = MeterDoubt()
        readings = readings.noting(
            assumed=(
                f"Power from the meters is doubtful by {doubt.power:.0%}, wind speed by "
                f"{doubt.speed:.0%} and {doubt.speed_ms:g} m/s (standard uncertainties of ordinary "
                "instruments; common practice, no source).",
            )
        )
    speed, power = normalised(
        readings.speed_ms, readings.power_w, density, STANDARD_DENSITY_KG_M3, machine.correction
    )
    # One number will do for the heat in the winding: within a test the density hardly moves.
    scale = STANDARD_DENSITY_KG_M3 / float(density.mean()) if machine.correction == "power" else 1.0
    readings = replace(readings, speed_ms=speed, power_w=power)
    if machine.rotor_area_m2 is not None:
        readings = _without_impossible(readings, machine.rotor_area_m2)
    try:
        bins = bin_readings(readings.speed_ms, readings.power_w, doubt, density_doubt)
    except InputError as error:
        raise InputError(f"{path}: {error}.") from error
    smooth = smooth_curve(bins)
    chain = None
    if machine.rotor_area_m2 is not None:
        chain = chain_of(
            bins, machine.rotor_area_m2, STANDARD_DENSITY_KG_M3, readings, machine.generator, scale
        )
        where = f"{path}: in the bin at {bins.centre_ms[chain.best]:g} m/s"
        readings = readings.noting(
            warnings=tuple(
                judge_coefficient(where, float(chain.coefficient[chain.best]), machine.rotor_type)
            )
        )
    readings = readings.noting(warnings=_bin_warnings(readings, bins, smooth))
    curve = _curve(path, readings, averaging, smooth, machine, ends)
    return MeasuredCurve(
        readings=readings,
        averaging=averaging,
        air_density_kg_m3=float(density.mean()),
        scatter=pooled_scatter(bins.count, bins.power_w, bins.deviation_w),
        bins=bins,
        smooth=smooth,
        rules=completeness_rules(bins, smooth.cut_in_ms, averaging.seconds, averaging.interval_s),
        hysteresis=hysteresis_of(readings),
        chain=chain,
        generator=machine.generator,
        curve=curve,
        highest_rpm=None if readings.rpm is None else float(np.nanmax(readings.rpm, initial=0.0)),
    )


def _density(readings: Readings, air: AirAtTest) -> tuple[FloatArray, float, Readings]:
    """Return the density at each reading, its relative doubt, and the readings with what was said.

    The standard atmosphere stands in for whichever of pressure and temperature is not known.
    """
    ones = np.ones(readings.size)
    if air.density_kg_m3 is not None:
        return air.density_kg_m3 * ones, KNOWN_DENSITY_DOUBT, readings
    temperature, pressure = readings.temperature_c, readings.pressure_hpa
    if temperature is None and air.temperature_c is not None:
        temperature = air.temperature_c * ones
    if temperature is not None:
        known = temperature[np.isfinite(temperature)]
        temperature = np.where(
            np.isfinite(temperature), temperature, known.mean() if known.size else 15.0
        )
    if pressure is None and air.elevation_m is not None:
        pressure = float(standard_pressure_pa(air.elevation_m)) / 100 * ones
    if pressure is None and temperature is None:
        return (
            STANDARD_DENSITY_KG_M3 * ones,
            ASSUMED_DENSITY_DOUBT,
            readings.noting(
                assumed=(
                    "Readings taken at 1.225 kg/m3, for neither air density nor elevation and "
                    "temperature are stated.",
                )
            ),
        )
    assumed = []
    if pressure is None:
        pressure = float(standard_pressure_pa(0.0)) / 100 * ones
        assumed.append("Readings taken at sea level, for neither pressure nor elevation is stated.")
    if temperature is None:
        temperature = 15.0 * ones
        assumed.append("Readings taken at 15 C, for no temperature is stated.")
    pressure = np.where(np.isfinite(pressure), pressure, np.nanmean(pressure))
    density = gas_law_density(100 * pressure, temperature + _ZERO_CELSIUS_K)
    if (density < 0.5).any() or (density > 1.6).any():
        row = int(np.argmax((density < 0.5) | (density > 1.6)))
        raise InputError(
            f"{readings.place(row)}: temperature and pressure give an air density of "
            f"{density[row]:.3g} kg/m3, which no place has; mend them (C and hPa)."
        )
    return (
        density,
        ASSUMED_DENSITY_DOUBT if assumed else KNOWN_DENSITY_DOUBT,
        readings.noting(assumed=tuple(assumed)),
    )


def _without_impossible(readings: Readings, area_m2: float) -> Readings:
    """Leave out readings above the Betz limit and name the first; many of them are an error."""
    coefficient = power_coefficient(
        readings.power_w, readings.speed_ms, area_m2, STANDARD_DENSITY_KG_M3
    )
    # At zero wind the coefficient has no meaning, and any power is impossible.
    wrong = (coefficient > BETZ_LIMIT) | ((readings.speed_ms == 0) & (readings.power_w > 0))
    if not wrong.any():
        return readings
    first = int(np.argmax(wrong))
    text = (
        f"{readings.place(first)}: {readings.power_w[first]:.4g} W at "
        f"{readings.speed_ms[first]:.3g} m/s beats the Betz limit 16/27 = 0.593 for "
        f"{area_m2:.3g} m2 of rotor (power coefficient {coefficient[first]:.2f})"
    )
    if wrong.sum() > MANY_WRONG * wrong.size:
        raise InputError(
            f"{text}, and so do {int(wrong.sum()) - 1} other(s) of {wrong.size} readings; check "
            "the rotor size (in m or m2), the units of power and speed, and where the anemometer "
            "stood."
        )
    return readings.only(~wrong).noting(
        warnings=(
            f"{text}; {int(wrong.sum())} such reading(s) were left out. Either a slip of the pen, "
            "or the gust had passed the anemometer already.",
        )
    )


def _bin_warnings(readings: Readings, bins: Bins, smooth: SmoothCurve) -> tuple[str, ...]:
    said = []
    numbers = bin_number(bins.centre_ms)
    gaps = sorted(set(range(numbers[0], numbers[-1] + 1)) - set(numbers.tolist()))
    if gaps:
        listed = ", ".join(f"{BIN_WIDTH_MS * gap:g}" for gap in gaps)
        said.append(
            f"No reading fell into the bin(s) at {listed} m/s; the curve there is drawn between "
            "its neighbours."
        )
    thin = bins.centre_ms[bins.count < 3]
    if thin.size:
        said.append(
            f"Fewer than three readings stand behind the bin(s) at "
            f"{', '.join(f'{centre:g}' for centre in thin)} m/s; their scatter is borrowed from "
            "the others."
        )
    if smooth.moved_bins:
        said.append(
            f"{smooth.moved_bins} bin(s) were moved by more than their scatter explains, so that "
            "the curve rises to one peak and falls after it."
        )
    if not smooth.cut_in_seen:
        said.append(
            f"The machine made power in the lowest bin already, so cut-in was not seen; no power "
            f"is counted below {smooth.cut_in_ms:.1f} m/s."
        )
    if (readings.power_w < 0).any():
        draw = -float(readings.power_w.min())
        said.append(
            f"Some powers are below zero (down to {-draw:.3g} W): the machine draws. The curve "
            "counts that as nothing; state the draw as load.idle_draw_w."
        )
    far = _far_out(readings, bins)
    if far:
        first = far[0]
        said.append(
            f"{readings.place(first)}: {readings.power_w[first]:.4g} W at "
            f"{readings.speed_ms[first]:.3g} m/s lies far from the others of its bin, as do "
            f"{len(far) - 1} more; they were kept, so look at them."
        )
    return tuple(said)


def _far_out(readings: Readings, bins: Bins) -> list[int]:
    """Return the readings that lie far from the middle of their bin."""
    number = bin_number(readings.speed_ms)
    slope = np.gradient(bins.power_w, bins.speed_ms)
    far: list[int] = []
    for here, mean_w, steepness in zip(
        bin_number(bins.centre_ms), bins.power_w, np.abs(slope), strict=True
    ):
        inside = np.flatnonzero(number == here)
        if inside.size < _ENOUGH_TO_JUDGE:
            continue
        away = np.abs(readings.power_w[inside] - np.median(readings.power_w[inside]))
        # 1.4826 times the median deviation is the standard deviation of normal scatter; where
        # most readings are alike (idle bins), the width of the bin itself must still be allowed.
        spread = max(
            1.4826 * float(np.median(away)), BIN_WIDTH_MS * steepness, _LEAST_SPREAD * mean_w
        )
        far += inside[away > _FAR_OUT * spread].tolist()
    return sorted(far)


def _curve(
    path: Path,
    readings: Readings,
    averaging: Averaging,
    smooth: SmoothCurve,
    machine: Machine,
    ends: Ends,
) -> PowerCurve:
    points = Points(smooth.speed_ms, smooth.power_w[np.newaxis], smooth.uncertainty_w)
    points, beyond, assumed = place_ends(path.name, points, ends)
    said = readings.provenance
    power = points.power_w[0]
    return PowerCurve(
        speed_ms=points.speed_ms,
        power_w=power,
        air_density_kg_m3=STANDARD_DENSITY_KG_M3,
        rated_power_w=float(power.max()) if ends.rated_power_w is None else ends.rated_power_w,
        last_measured_ms=float(smooth.speed_ms[-1]),
        rotor_area_m2=machine.rotor_area_m2,
        provenance=Provenance(
            source=str(path),
            method=f"method of bins of {BIN_WIDTH_MS:g} m/s (IEC 61400-12-1) on {averaging.words}; "
            f"{said.method}",
            assumed=said.assumed + assumed,
            warnings=said.warnings,
        ),
        power_uncertainty_w=points.uncertainty_w,
        beyond_last=beyond,
        load=machine.load,
    )
