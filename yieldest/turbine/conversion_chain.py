"""From the wind through rotor and generator to the meter, with the generator's bench test."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd

from yieldest.arrays import FloatArray, floats
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.turbine.bins import Bins, bin_number
from yieldest.turbine.meters import Meters, amps_of_power
from yieldest.turbine.reading_columns import open_readings
from yieldest.turbine.readings import Readings
from yieldest.turbine.rotor import BETZ_LIMIT, power_coefficient, power_in_wind_w

if TYPE_CHECKING:
    from yieldest.turbine.reading_columns import Source


@frozen_dataclass
class Generator:
    """A generator as its terminals show it.

    `volts_per_rpm` are open-circuit volts (RMS of one phase, or direct) for each rpm of the rotor,
    `inner_ohm` the inner resistance of one phase, or between the two terminals, None when no loaded
    test tells.
    """

    volts_per_rpm: float
    inner_ohm: float | None
    phases: int
    source: str

    def most_w(self, rpm: npt.ArrayLike) -> FloatArray | None:
        """Return the most power it can pass on at a speed: load equal to the inner resistance.

        Notes
        -----
        E^2 / (4 R) for each phase (maximum power transfer; textbook). Half of the shaft power is
        then heat in the winding, so few generators stand it for long.
        """
        if self.inner_ohm is None:
            return None
        inner_volts = self.volts_per_rpm * floats(rpm)
        return np.asarray(self.phases * inner_volts**2 / (4 * self.inner_ohm))


def bench_constants(
    rpm: npt.ArrayLike, volts: npt.ArrayLike, amps: npt.ArrayLike
) -> tuple[float, float | None]:
    """Return volts per rpm, and inner resistance where a line is loaded, from a bench test.

    Volts and amps, shape (n,), are those of one phase, or direct; one line at least has 0 A.

    Notes
    -----
    Volts per rpm by least squares through the origin over the open-circuit lines; inner resistance
    R = (k n - V) / I, the median over the loaded lines (Ohm's law; the reactance of the winding is
    counted as if it were resistance).
    """
    n, v, i = floats(rpm), floats(volts), floats(amps)
    unloaded, loaded = i == 0, i > 0
    per_rpm = float((n * v)[unloaded].sum() / (n[unloaded] ** 2).sum())
    if not loaded.any():
        return per_rpm, None
    return per_rpm, float(np.median((per_rpm * n[loaded] - v[loaded]) / i[loaded]))


def read_generator(source: Source, meters: Meters, winding_ohm: float | None = None) -> Generator:
    """Read a bench test of a generator: rpm and volts, and amps or load resistance under load.

    Lines with neither amps nor ohms are open-circuit. Meters and terminals are those of the
    readings; `columns`, `load_ohm` and what belongs to the wind are left aside. `winding_ohm`,
    measured with an ohm-meter, goes before what loaded lines say. An `InputError` when rpm or volts
    are missing, or no line is open-circuit.
    """
    opened = open_readings(source, meters, {})
    path, wiring = opened.table.path, opened.wiring
    rpm, volts = opened.values("rpm"), opened.values("volts")
    if rpm is None or volts is None:
        raise InputError(
            f"{path}: a generator test needs the columns 'rpm' and 'volts'; the columns are "
            f"{', '.join(map(repr, opened.table.headings))}."
        )
    phase_volts = volts * wiring.phase_factor
    amps, ohms = opened.values("amps"), opened.values("ohms")
    current = np.zeros(rpm.size)
    if amps is not None:
        current = np.nan_to_num(amps)
    elif ohms is not None:
        if wiring.circuit == "three-phase" and wiring.resistors == "delta":
            ohms = ohms / 3
        with np.errstate(divide="ignore"):
            current = np.nan_to_num(phase_volts / ohms, posinf=0.0)
    there = np.isfinite(rpm) & np.isfinite(phase_volts) & (rpm > 0)
    open_circuit = there & (current == 0)
    if not open_circuit.any() or not (phase_volts[open_circuit] > 0).any():
        raise InputError(
            f"{path}: no line is open-circuit (rpm and volts, with amps and load blank or 0); "
            "measure the volts at one rpm at least with nothing connected."
        )
    per_rpm, loaded_ohm = bench_constants(rpm[there], phase_volts[there], current[there])
    if winding_ohm is None and loaded_ohm is not None and loaded_ohm <= 0:
        raise InputError(
            f"{path}: under load the volts are not below the open-circuit volts of the same "
            "rpm, so there is no inner resistance; check rpm, volts and amps."
        )
    return Generator(
        volts_per_rpm=per_rpm,
        inner_ohm=loaded_ohm if winding_ohm is None else winding_ohm,
        phases=3 if wiring.circuit == "three-phase" else 1,
        source=str(path),
    )


_LEAST_COUNT = 3


@frozen_dataclass
class Chain:
    """Power on its way, by bin, at the reference density; arrays have the shape of the bins.

    Power of the wind through the rotor area, the most that any rotor could take of it, and the
    power coefficient of all. `rotor_w` is measured plus the heat in the winding: what the rotor
    gives at least, for friction and iron are not seen; the generator's efficiency is measured over
    that, and `generator_most_w` what it could pass on at the rpm of the bin. `best` is the bin with
    the highest coefficient among those with three readings or more.
    """

    wind_w: FloatArray
    betz_w: FloatArray
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

    `air_density_kg_m3` is the reference density of the bins, `readings` are those in them, with rpm
    and volts where there is a generator test, and `density_scale` is the power in the bins over
    the power that the meters showed.
    """
    wind = power_in_wind_w(bins.speed_ms, area_m2, air_density_kg_m3)
    coefficient = power_coefficient(bins.power_w, bins.speed_ms, area_m2, air_density_kg_m3)
    enough = np.where(bins.count >= min(_LEAST_COUNT, bins.count.max()), coefficient, -np.inf)
    best = int(np.argmax(enough))
    rotor = efficiency = most = None
    if generator is not None:
        rotor, most = _behind_the_meter(bins, readings, generator, density_scale)
        if rotor is not None:
            efficiency = bins.power_w / np.where(rotor > 0, rotor, np.nan)
    return Chain(wind, BETZ_LIMIT * wind, coefficient, rotor, efficiency, most, best)


def _behind_the_meter(
    bins: Bins, readings: Readings, generator: Generator, density_scale: float
) -> tuple[FloatArray | None, FloatArray | None]:
    """Return what the rotor gives and what the generator could pass on, by bin."""
    most = None
    if readings.rpm is not None:
        most = generator.most_w(_bin_means(readings, readings.rpm, bins))
        most = None if most is None else density_scale * most
    wiring = readings.wiring
    amps = readings.amps
    if amps is None and readings.volts is not None:
        amps = amps_of_power(readings.power_w / density_scale, readings.volts, *wiring.how)
    if amps is None:
        return None, most
    if generator.inner_ohm is not None:
        heat = generator.phases * amps**2 * generator.inner_ohm
    elif readings.rpm is not None and readings.volts is not None:
        # Without a loaded test the drop from open-circuit to measured volts stands for it.
        phase_volts = readings.volts * wiring.phase_factor
        drop = np.maximum(0.0, generator.volts_per_rpm * readings.rpm - phase_volts)
        heat = generator.phases * amps * drop
    else:
        return None, most
    return bins.power_w + density_scale * _bin_means(readings, heat, bins), most


def _bin_means(readings: Readings, values: FloatArray, bins: Bins) -> FloatArray:
    """Return the means of what is known in each bin, NaN where nothing is."""
    means = pd.Series(values).groupby(bin_number(readings.speed_ms)).mean()
    return floats(means.reindex(bin_number(bins.centre_ms)))
