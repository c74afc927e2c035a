"""A power curve from a maker's readings: the whole way from what was read to the curve."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding
from yieldest.turbine.bins import (
    BIN_WIDTH_MS,
    Bins,
    SmoothCurve,
    bin_readings,
    smooth_curve,
)
from yieldest.turbine.conversion_chain import Chain, Generator, chain_of
from yieldest.turbine.curve_ends import Ends, place_ends
from yieldest.turbine.meters import Meters
from yieldest.turbine.power_curve import Correction, PowerCurve, normalised
from yieldest.turbine.reading_checks import (
    Hysteresis,
    Rule,
    bin_warnings,
    completeness_rules,
    hysteresis_of,
)
from yieldest.turbine.readings import Averaging, Readings, density_at_test, minute_means
from yieldest.turbine.rotor import (
    BETZ_LIMIT,
    RotorType,
    beside_the_limit,
    judge_coefficient,
    power_coefficient,
)


@frozen_dataclass
class MeasuredCurve:
    """Everything that a table of readings says about a machine.

    `readings` are those in the bins, averaged and normalised to 1.225 kg/m3, for which `curve`
    holds; `air_density_kg_m3` is the mean of the air in which they were taken. `chain` is None
    where the rotor area is not known.
    """

    readings: Readings
    averaging: Averaging
    air_density_kg_m3: float
    bins: Bins
    smooth: SmoothCurve
    chain: Chain | None
    generator: Generator | None
    curve: PowerCurve
    highest_rpm: float | None

    @cached_property
    def rules(self) -> tuple[Rule, ...]:
        """Whether the readings are complete."""
        averaging = self.averaging
        cut_in_ms, seconds = self.smooth.cut_in_ms, averaging.seconds
        return completeness_rules(self.bins, cut_in_ms, seconds, averaging.interval_s)

    @cached_property
    def hysteresis(self) -> Hysteresis | None:
        """What differs between rising and falling wind; None without times, which say which it is.

        Lines that somebody sorted by wind rise all the way.
        """
        return None if self.readings.time_s is None else hysteresis_of(self.readings)


class AboveBetz(Finding):
    """Readings beat the Betz limit and were left out; the first of them."""

    place: str
    power_w: float
    speed_ms: float
    rotor_area_m2: float
    coefficient: float
    left_out: int


def measure_curve(
    readings: Readings,
    meters: Meters | None = None,
    *,
    rotor_area_m2: float | None = None,
    rotor_type: RotorType | None = None,
    density_correction: Correction = "power",
    load: str | None = None,
    generator: Generator | None = None,
    air_density_kg_m3: float | None = None,
    ends: Ends | None = None,
) -> MeasuredCurve:
    """Make a power curve from readings as they were read, for 1.225 kg/m3.

    Method of bins of IEC 61400-12-1, on one-minute means as in its small-turbine annex. Without a
    rotor area there is no power coefficient, and no check against the Betz limit;
    `air_density_kg_m3` is that of the air in which the readings were taken, else it comes from
    elevation, temperature and pressure. An `InputError` when the readings contradict physics,
    or are too few.
    """
    meters = meters or Meters()
    readings, averaging = minute_means(readings, meters.averaging_s)
    path = readings.table.path
    density, density_uncertainty, readings = density_at_test(readings, meters, air_density_kg_m3)
    uncertainty, usual = meters.uncertainty()
    readings = readings.noting(assumed=usual)
    speed, power = normalised(
        readings.speed_ms, readings.power_w, density, STANDARD_DENSITY_KG_M3, density_correction
    )
    readings = replace(readings, speed_ms=speed, power_w=power)
    if rotor_area_m2 is not None:
        readings = _without_impossible(readings, rotor_area_m2)
    try:
        bins = bin_readings(readings.speed_ms, readings.power_w, uncertainty, density_uncertainty)
    except InputError as error:
        raise InputError(f"{path}: {error}.") from error
    smooth, mean_density, chain = smooth_curve(bins), float(density.mean()), None
    if rotor_area_m2 is not None:
        # One number will do for the heat in the winding: within a test the density hardly moves.
        scale = STANDARD_DENSITY_KG_M3 / mean_density if density_correction == "power" else 1.0
        chain = chain_of(bins, rotor_area_m2, STANDARD_DENSITY_KG_M3, readings, generator, scale)
        best = chain.best
        doubts = judge_coefficient(
            lambda: f"{path}: in the bin at {bins.centre_ms[best]:g} m/s",
            float(chain.coefficient[best]),
            rotor_type,
        )
        readings = readings.noting(warnings=tuple(doubts))
    readings = readings.noting(warnings=bin_warnings(readings, bins, smooth))
    said = readings.provenance
    method = f"method of bins of {BIN_WIDTH_MS:g} m/s (IEC 61400-12-1) on {averaging.words}"
    curve = PowerCurve(
        smooth.speed_ms,
        smooth.power_w,
        rotor_area_m2,
        provenance=replace(said, method=f"{method}; {said.method}"),
        power_uncertainty_w=smooth.uncertainty_w,
        load=load,
    )
    return MeasuredCurve(
        readings=readings,
        averaging=averaging,
        air_density_kg_m3=mean_density,
        bins=bins,
        smooth=smooth,
        chain=chain,
        generator=generator,
        curve=place_ends(path.name, curve, ends or Ends()),
        highest_rpm=None if readings.rpm is None else float(np.nanmax(readings.rpm, initial=0.0)),
    )


def _without_impossible(readings: Readings, area_m2: float) -> Readings:
    """Leave out readings above the Betz limit and name the first; many of them are an error."""
    power, speed = readings.power_w, readings.speed_ms
    coefficient = power_coefficient(power, speed, area_m2, STANDARD_DENSITY_KG_M3)
    # At zero wind the coefficient has no meaning, and any power is impossible.
    wrong = (coefficient > BETZ_LIMIT) | ((speed == 0) & (power > 0))
    return readings.without(
        wrong,
        lambda place, at: AboveBetz(
            place, power[at], speed[at], area_m2, coefficient[at], int(wrong.sum())
        ),
        lambda found: (
            f"{above_betz_words(found)}, and so do {found.left_out - 1} more of {wrong.size} "
            "readings; check the rotor size (in m or m2), the units of power and speed, and where "
            "the anemometer stood."
        ),
    )


def above_betz_words(found: AboveBetz) -> str:
    """Say which reading beats the Betz limit, for a refusal or a warning."""
    coefficient, limit = beside_the_limit(found.coefficient)
    why = f"power coefficient {coefficient}" if found.speed_ms > 0 else "still air holds no power"
    return (
        f"{found.place}: {found.power_w:.4g} W at {found.speed_ms:.3g} m/s beats the Betz limit "
        f"{limit} for {found.rotor_area_m2:.3g} m2 of rotor ({why})"
    )
