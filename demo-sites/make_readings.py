"""Make the invented readings of two demo machines, the same bytes every time.

Run it as `python demo-sites/make_readings.py`. No machine on Earth was measured for them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

HERE = Path(__file__).parent
STEP_S = 10
HOURS = 7
LOAD_OHM = 6.0
WINDING_OHM = 2.0
VOLTS_PER_RPM = 0.03
DENSITY_RATIO = 0.955  # 420 m above the sea at 15 C, over 1.225 kg/m3

FloatArray = npt.NDArray[np.float64]


def gusty_wind(random: np.random.Generator) -> FloatArray:
    """Make an afternoon of wind that rises and dies down, with gusts of some 16 %."""
    count = HOURS * 3600 // STEP_S
    keep = np.exp(-STEP_S / 40)
    white = random.standard_normal(count) * np.sqrt(1 - keep**2)
    gusts = np.asarray(lfilter([1.0], [1.0, -keep], white))
    slow = 6.5 - 4.6 * np.cos(2 * np.pi * np.arange(count) / count)
    slow += 1.2 * np.sin(2 * np.pi * np.arange(count) / 190)
    return np.maximum(0.0, slow * (1 + 0.16 * gusts))


def electrical_power(wind: FloatArray) -> FloatArray:
    """Follow the demo's own curve with a lag of some ten seconds."""
    rows = np.loadtxt(HERE / "hill-yard" / "curve-0.9m.csv", delimiter=",", skiprows=2)
    aimed = np.interp(wind, rows[:, 0], rows[:, 1], left=0.0) * DENSITY_RATIO
    keep = np.exp(-STEP_S / 10)
    return np.asarray(lfilter([1 - keep], [1.0, -keep], aimed))


def write_readings(random: np.random.Generator) -> None:
    """Write what a hand-built logger kept: a line twice, two blanks."""
    wind = gusty_wind(random)
    power = electrical_power(wind) * (1 + 0.02 * random.standard_normal(wind.size))
    power = np.maximum(power, 0.0)
    volts = np.sqrt(power * LOAD_OHM)
    amps = volts / LOAD_OHM
    rpm = (volts + amps * WINDING_OHM) / VOLTS_PER_RPM
    start = np.datetime64("2025-10-18T11:00:00")
    times = start + STEP_S * np.arange(wind.size)
    lines = [
        f"{str(time).replace('T', ' ')},{speed:.1f},{volt:.2f},{amp:.3f},{turns:.0f}"
        for time, speed, volt, amp, turns in zip(times, wind, volts, amps, rpm, strict=True)
    ]
    lines[700] = lines[700].rpartition(",")[0].rpartition(",")[0] + ",,"
    lines[701] = lines[701].rpartition(",")[0].rpartition(",")[0] + ",,"
    lines.insert(1200, lines[1200])
    (HERE / "hill-yard" / "readings-0.9m.csv").write_text(
        "# Invented data for a demo: one machine on a 6 ohm resistor behind its rectifier.\n"
        "time,wind (m/s),volts (V DC),amps (A),rpm\n" + "\n".join(lines) + "\n",
        encoding="utf-8",
    )


def write_bench_test() -> None:
    """Write the generator on a bench: open-circuit lines, then three on a resistor."""
    lines = [f"{rpm},{VOLTS_PER_RPM * rpm:.2f}," for rpm in (200, 400, 600, 800)]
    for rpm in (300, 500, 700):
        volts = VOLTS_PER_RPM * rpm * LOAD_OHM / (LOAD_OHM + WINDING_OHM)
        lines.append(f"{rpm},{volts:.2f},{volts / LOAD_OHM:.3f}")
    (HERE / "hill-yard" / "generator-0.9m.csv").write_text(
        "# Invented data for a demo: the generator in a lathe, behind its rectifier.\n"
        "rpm,volts (V DC),amps (A)\n" + "\n".join(lines) + "\n",
        encoding="utf-8",
    )


def write_hut_readings(random: np.random.Generator) -> None:
    """Write what a charge monitor at the hut's battery kept for two windy days, by the minute."""
    minutes = 60 * 40
    keep = np.exp(-1 / 25)
    white = random.standard_normal(minutes) * np.sqrt(1 - keep**2)
    gusts = np.asarray(lfilter([1.0], [1.0, -keep], white))
    slow = 6.4 - 4.2 * np.cos(2 * np.pi * np.arange(minutes) / minutes)
    wind = np.maximum(0.0, slow * (1 + 0.22 * gusts))
    # A quarter of the wind's power arrives at the battery, until the tail turns the rotor away.
    full = 0.25 * 0.5 * 0.985 * np.pi / 4 * 1.2**2 * wind**3
    power = np.where(wind < 3.0, 0.0, 210 * np.tanh(full / 210))
    power = np.maximum(power * (1 + 0.03 * random.standard_normal(minutes)), 0.0)
    volts = 25.4 + 0.004 * power + 0.05 * random.standard_normal(minutes)
    start = np.datetime64("2025-09-26T16:00")
    stamps = [
        str(start + np.timedelta64(minute, "m")).replace("T", ";") for minute in range(minutes)
    ]
    rows = zip(stamps, wind * 3.6, volts, power / volts, strict=True)
    lines = [
        f"{stamp};" + f"{speed:.1f};{volt:.1f};{amp:.2f}".replace(".", ",")
        for stamp, speed, volt, amp in rows
    ]
    (HERE / "ridge-hut" / "readings.csv").write_text(
        "# Invented data for a demo: one machine of 1.2 m on a battery of 24 V.\n"
        "date;time;wind (km/h);volts (V DC);amps (A)\n" + "\n".join(lines) + "\n",
        encoding="utf-8",
    )


def main() -> None:
    """Write the readings of both machines."""
    write_readings(np.random.default_rng(20250303))
    write_bench_test()
    write_hut_readings(np.random.default_rng(20250707))


if __name__ == "__main__":
    main()
