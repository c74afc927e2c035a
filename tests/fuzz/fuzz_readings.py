"""Spoil tables of readings, bench tests and curve files, and see that every command ends well.

Run it as `python tests/fuzz/fuzz_readings.py --inputs 6000`. The ends that are allowed are those of
`fuzz_inputs.py`; besides, no warning of numpy may come up.
"""

from __future__ import annotations

import argparse
import multiprocessing
import shutil
import sys
import tempfile
import warnings
from pathlib import Path

from fuzz_inputs import ended_badly
from spoil import spoil

HILL_YARD = Path(__file__).parents[2] / "demo-sites" / "hill-yard"
KEPT_LINES = 400
SIZE = ("--rotor-diameter", "0.9")
COMMANDS = (
    ("curve", "readings.csv", "--json", *SIZE, "--generator-test", "generator.csv"),
    ("curve", "readings.csv", *SIZE, "--elevation", "420", "--cut-out", "18"),
    ("curve", "glances.csv", "--json", "--load-ohm", "6", "--generator-test", "generator.csv"),
    ("estimate", ".", "--json"),
    ("estimate", "."),
)
SPOILT = ("readings.csv", "generator.csv", "glances.csv", "curve.csv", "inverter.csv", "plan.toml")

PLAN = """
title = "Fuzz"
currency = "EUR"
[wind]
mean_speed_ms = 5
measured_height_m = 10
[[build]]
name = "read"
hub_height_m = 10
readings = "readings.csv"
meters = { circuit = "dc", averaging_s = 10 }
load = { kind = "inverter", measured_on = "resistor", conversion = "inverter.csv", start_up_w = 4 }
rotor_diameter_m = 0.9
cut_out_ms = 18
beyond_last = "cube law"
rated_power_w = 120
[[build]]
name = "stated"
hub_height_m = 10
curve = "curve.csv"
rotor_diameter_m = 0.9
"""
CURVE = """# load: resistor
# last measured speed: 12 m/s
speed (m/s),power at 1.1 kg/m3 (W),power at 1.225 kg/m3 (W),standard uncertainty (W),ct
3,0,0,1,0.3
8,35,39,4,0.7
12,92,103,9,0.6
14,97,108,20,0.5
"""


def sound_folder(folder: Path) -> None:
    """Write the files of which one is then spoilt."""
    lines = (HILL_YARD / "readings-0.9m.csv").read_text(encoding="utf-8").splitlines()
    kept = lines[:2] + lines[2 :: len(lines) // KEPT_LINES]
    (folder / "readings.csv").write_text("\n".join(kept) + "\n", encoding="utf-8")
    glances = [",".join(line.split(",")[1:3]) for line in kept[1::4]]
    (folder / "glances.csv").write_text("\n".join(glances) + "\n", encoding="utf-8")
    shutil.copy(HILL_YARD / "generator-0.9m.csv", folder / "generator.csv")
    (folder / "curve.csv").write_text(CURVE, encoding="utf-8")
    (folder / "inverter.csv").write_text("power in (W),efficiency\n5,0.4\n50,0.8\n", "utf-8")
    (folder / "plan.toml").write_text(PLAN, encoding="utf-8")


def try_seed(seed: int) -> tuple[int, str, str | None]:
    """Spoil one file by a seed and run the command that is its turn."""
    warnings.simplefilter("error")
    command = COMMANDS[seed % len(COMMANDS)]
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        sound_folder(folder)
        path = folder / SPOILT[seed // len(COMMANDS) % len(SPOILT)]
        way = spoil(path, seed)
        placed = tuple(str(folder / word) if word in (*SPOILT, ".") else word for word in command)
        trouble = ended_badly((placed[0], *placed[2:]), Path(placed[1]))
    return seed, f"{' '.join(command)} with {path.name}, {way}", trouble


def main() -> None:
    """Run the fuzzer from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=6000)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    seeds = range(options.first_seed, options.first_seed + options.inputs)
    failures = 0
    with multiprocessing.Pool(options.workers) as pool:
        for seed, what, trouble in pool.imap_unordered(try_seed, seeds, chunksize=10):
            if trouble is not None:
                failures += 1
                print(f"seed {seed}: {what}: {trouble}")
    print(f"{len(seeds)} inputs, {failures} failures")
    sys.exit(bool(failures))


if __name__ == "__main__":
    main()
