"""Where the energy goes: from the wind through rotor and generator to the meter, bin by bin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.turbine.bins import Bins, bin_number
from yieldest.turbine.electrical_power import amps_of_power
from yieldest.turbine.generator import Generator, phase_factor
from yieldest.turbine.plausibility import BETZ_LIMIT
from yieldest.turbine.power_curve import power_coefficient, power_in_wind_w
from yieldest.turbine.readings import Readings

_LEAST_COUNT = 3


@dataclass(frozen=True)
class Chain:
    """Power on its way, by bin, at the reference density; arrays have the shape of the bins.

    Parameters
    ----------
    wind_w : ndarray
        Through the rotor area.
    betz_w : ndarray
        The most that any rotor could take of it.
    measured_w : ndarray
        At the meter.
    coefficient : ndarray
        Measured over wind: the power coefficient of the whole chain.
    rotor_w : ndarray or None
        Measured plus the heat in the winding: what the rotor gives at least, for friction and iron
        are not seen.
    generator_efficiency : ndarray or None
        Measured over `rotor_w`.
    generator_most_w : ndarray or None
        What the generator could pass on at the rpm of the bin.
    best : int
        The bin with the highest coefficient among those with three readings or more.
    """

    wind_w: FloatArray
    betz_w: FloatArray
    measured_w: FloatArray
    coefficient: FloatArray
    rotor_w: FloatArray | None
    generator_efficiency: FloatArray | None
    generator_most_w: FloatArray | None
    best: int


def chain_of(
    bins: Bins,
    area_m2: float,
    air_density_kg_m3: float,
    readings: Readings,
    generator: Generator | None,
    density_scale: float,
) -> Chain:
    """Follow the power through the machine.

    Parameters
    ----------
    bins : Bins
    area_m2 : float
        Swept area.
    air_density_kg_m3 : float
        Reference density of the bins.
    readings : Readings
        Those that are in the bins, with rpm and volts where there is a generator test.
    generator : Generator or None
    density_scale : float
        Power in the bins over the power that the meters showed.
    """
    wind = power_in_wind_w(bins.speed_ms, area_m2, air_density_kg_m3)
    coefficient = power_coefficient(bins.power_w, bins.speed_ms, area_m2, air_density_kg_m3)
    enough = np.where(bins.count >= min(_LEAST_COUNT, bins.count.max()), coefficient, -np.inf)
    best = int(np.argmax(enough))
    rotor = efficiency = most = None
    if generator is not None:
        rotor, most = _behind_the_meter(bins, readings, generator, density_scale)
        if rotor is not None:
            efficiency = np.divide(
                bins.power_w, rotor, out=np.full(rotor.size, np.nan), where=rotor > 0
            )
    return Chain(
        wind_w=wind,
        betz_w=BETZ_LIMIT * wind,
        measured_w=bins.power_w,
        coefficient=coefficient,
        rotor_w=rotor,
        generator_efficiency=efficiency,
        generator_most_w=most,
        best=best,
    )


def _behind_the_meter(
    bins: Bins, readings: Readings, generator: Generator, density_scale: float
) -> tuple[FloatArray | None, FloatArray | None]:
    """Return what the rotor gives and what the generator could pass on, by bin."""
    most = None
    rpm = None if readings.rpm is None else _bin_means(readings, readings.rpm, bins)
    if rpm is not None:
        most = generator.most_w(rpm)
        most = None if most is None else density_scale * most
    wiring = readings.wiring
    amps = readings.amps
    if amps is None and readings.volts is not None:
        amps = amps_of_power(
            readings.power_w / density_scale,
            readings.volts,
            wiring.circuit,
            wiring.power_factor or 1.0,
            wiring.between,
        )
    if amps is None:
        return None, most
    if generator.inner_ohm is not None:
        heat = generator.phases * amps**2 * generator.inner_ohm
    elif readings.rpm is not None and readings.volts is not None:
        # Without a loaded test the drop from open-circuit to measured volts stands for it.
        phase_volts = readings.volts * phase_factor(wiring.circuit, wiring.between)
        drop = np.maximum(0.0, generator.volts_per_rpm * readings.rpm - phase_volts)
        heat = generator.phases * amps * drop
    else:
        return None, most
    return bins.power_w + density_scale * _bin_means(readings, heat, bins), most


def _bin_means(readings: Readings, values: FloatArray, bins: Bins) -> FloatArray:
    number = bin_number(readings.speed_ms)
    wanted = bin_number(bins.centre_ms)
    return np.array(
        [
            np.mean(found) if (found := values[(number == here) & np.isfinite(values)]).size
            else np.nan
            for here in wanted
        ]
    )  # fmt: skip
