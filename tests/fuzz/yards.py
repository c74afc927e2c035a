"""A sound folder with files of every kind that is read, and the commands that read them."""

from __future__ import annotations

import gzip
import shutil
import zipfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr

from yieldest.cli.plan_folder import write_plan_folder

HILL_YARD = Path(__file__).parents[2] / "demo-sites" / "hill-yard"
READINGS = 300
REFERENCE_DAYS = 730

READ_PLAN = """
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
extrapolation = "cube law"
rated_power_w = 120
[[build]]
name = "stated"
hub_height_m = 10
curve = "stated.csv"
rotor_diameter_m = 0.9
"""
STATED_CURVE = """# load: resistor
# last measured speed: 12 m/s
speed (m/s),power at 1.1 kg/m3 (W),power at 1.225 kg/m3 (W),standard uncertainty (W),ct
3,0,0,1,0.3
8,35,39,4,0.7
12,92,103,9,0.6
14,97,108,20,0.5
"""
WIND_PLAN = """
title = "Fuzz"
currency = "EUR"
[wind]
measured_height_m = 10
{wind}
[[build]]
name = "one"
hub_height_m = 12
curve = "curve.csv"
rotor_diameter_m = 2.4
bill = "bill.csv"
[economics]
discount_rate = 0.04
life_years = 15
price_per_kwh = 0.3
"""
WINDS = {
    "neighbour": 'record = "wind.csv"\n[wind.reference]\nrecord = "reference.csv"',
    "folder": 'record = "months"',
    "packed": 'record = "wind.csv.gz"',
    "netcdf": 'record = "wind.nc"',
    "table": 'frequency_table = "frequencies.csv"',
    "monthly": 'monthly_means = "monthly.csv"',
}


@dataclass(frozen=True)
class Case:
    """A command, the files of which one is spoilt for it, and what it may write.

    Parameters
    ----------
    often : int
        How many of all inputs it gets, relative to the others.
    command : str
    spoilt : tuple of str
    writes : tuple of str
    """

    often: int
    command: str
    spoilt: tuple[str, ...]
    writes: tuple[str, ...] = ()


_SIZE = "--rotor-diameter 0.9"
_READ = ("read.toml", "readings.csv", "inverter.csv", "stated.csv")
_PLAN = ("plan.toml", "wind.csv", "curve.csv", "bill.csv")
CASES = (
    Case(24, "wind wind.csv --json", ("wind.csv",)),
    Case(12, "wind wind.csv", ("wind.csv",)),
    Case(8, "wind wind.csv.gz --json", ("wind.csv.gz",)),
    Case(8, "wind wind.zip --json", ("wind.zip",)),
    Case(8, "wind wind.nc --json", ("wind.nc",)),
    Case(4, "wind classic.nc --json", ("classic.nc",)),
    Case(8, "wind months --json", ("months", "months/1.csv", "months/2.csv")),
    Case(4, "wind months/*.csv", ("months", "months/1.csv", "months/2.csv")),
    Case(4, "wind wind.csv --neighbour reference.csv --json", ("reference.csv",)),
    Case(8, "wind frequencies.csv --table --json", ("frequencies.csv",)),
    Case(4, "wind monthly.csv --months", ("monthly.csv",)),
    Case(6, "wind wind.csv --out out/new.csv", ("wind.csv",), ("out/new.csv",)),
    Case(3, "wind wind.csv --out out/new.csv.gz", ("wind.csv",), ("out/new.csv.gz",)),
    Case(8, f"curve readings.csv {_SIZE} --json --generator-test generator.csv",
         ("readings.csv", "generator.csv")),
    Case(8, f"curve readings.csv {_SIZE} --elevation 420 --cut-out 18", ("readings.csv",)),
    Case(8, "curve glances.csv --json --load-ohm 6 --generator-test generator.csv",
         ("glances.csv", "generator.csv")),
    Case(4, f"curve readings.csv {_SIZE} --out out/new.csv", ("readings.csv",), ("out/new.csv",)),
    Case(16, "check .", _PLAN),
    Case(4, "check neighbour.toml --json", ("neighbour.toml", "reference.csv")),
    Case(24, "estimate . --draws 0 --json", _PLAN),
    Case(8, "estimate . --draws 0", _PLAN),
    Case(4, "estimate . --draws 512 --json", _PLAN),
    Case(4, "estimate neighbour.toml --draws 0 --json", ("neighbour.toml", "reference.csv")),
    Case(4, "estimate folder.toml --draws 0 --json", ("folder.toml", "months", "months/1.csv")),
    Case(3, "estimate packed.toml --draws 0 --json", ("packed.toml", "wind.csv.gz")),
    Case(3, "estimate netcdf.toml --draws 0 --json", ("netcdf.toml", "wind.nc")),
    Case(4, "estimate table.toml --draws 0 --json", ("table.toml", "frequencies.csv")),
    Case(4, "estimate monthly.toml --draws 0 --json", ("monthly.toml", "monthly.csv")),
    Case(12, "estimate read.toml --draws 0 --json", _READ),
    Case(4, "estimate read.toml --draws 512", _READ),
    Case(6, "estimate . --draws 0 --out out/new.csv", _PLAN, ("out/new.csv",)),
    Case(4, "estimate . --sweep wind.measured_height_m=8:12:3 --out out/new.csv", _PLAN,
         ("out/new.csv",)),
    Case(8, "estimate . --draws 0 --json --set {}", ("plan.toml",)),
    Case(3, "estimate . --sweep {}=1:3:2 --json", ("plan.toml",)),
    Case(1, "report . -o out/new.html", _PLAN, ("out/new.html",)),
    Case(3, "map grid.nc -o out/new.nc --height 10", ("grid.nc",), ("out/new.nc",)),
    Case(3, "map grid.zarr -o out/new.nc --height 10", ("grid.zarr",), ("out/new.nc",)),
    Case(1, "map grid.nc --plan . -o out/new.nc", ("plan.toml", "curve.csv"), ("out/new.nc",)),
    Case(2, "start out/new", (), ("out/new",)),
)  # fmt: skip


def write_yard(folder: Path) -> None:
    """Write the sound files."""
    write_plan_folder(folder)
    wind = (folder / "wind.csv").read_bytes()
    (folder / "wind.csv.gz").write_bytes(gzip.compress(wind))
    with zipfile.ZipFile(folder / "wind.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("wind.csv", wind)
    lines = wind.decode().splitlines()
    heading = next(n for n, line in enumerate(lines) if "time" in line.lower())
    (folder / "months").mkdir()
    for number in range(3):
        part = lines[heading + 1 + 100 * number : heading + 1 + 100 * (number + 1)]
        text = "\n".join([lines[heading], *part]) + "\n"
        (folder / "months" / f"{number + 1}.csv").write_text(text, encoding="utf-8")
    chance = np.random.default_rng(1)
    _write_neighbour(folder, lines[heading + 1 :], chance)
    classes = "\n".join(f"{n},{n + 1},{100 * np.exp(-((n - 5) ** 2) / 18):.1f}" for n in range(18))
    (folder / "frequencies.csv").write_text(f"from (m/s),to (m/s),percent\n{classes}\n", "utf-8")
    months = "\n".join(f"{n},{5 + n % 4 / 2}" for n in range(1, 13))
    (folder / "monthly.csv").write_text(f"month,mean speed (m/s)\n{months}\n", "utf-8")
    _write_readings(folder)
    for name, words in WINDS.items():
        (folder / f"{name}.toml").write_text(WIND_PLAN.format(wind=words), "utf-8")
    _write_grids(folder, chance)
    (folder / "out").mkdir()


def _write_neighbour(folder: Path, lines: list[str], chance: np.random.Generator) -> None:
    """Write two years of six-hourly winds, and then those of the record, somewhat stronger."""
    cells = [line.split(",") for line in lines]
    end = np.datetime64(cells[0][0].replace(" ", "T"), "h")
    times = end - np.arange(REFERENCE_DAYS * 4, 0, -1) * np.timedelta64(6, "h")
    speeds = chance.weibull(2, times.size) * 5
    rows = [f"{str(t).replace('T', ' ')}:00,{v:.1f}" for t, v in zip(times, speeds, strict=True)]
    rows += [f"{time},{1.1 * float(speed):.1f}" for time, speed, *_ in cells if speed]
    (folder / "reference.csv").write_text("time,wind (m/s)\n" + "\n".join(rows) + "\n", "utf-8")


def _write_readings(folder: Path) -> None:
    lines = (HILL_YARD / "readings-0.9m.csv").read_text(encoding="utf-8").splitlines()
    kept = lines[:2] + lines[2 :: len(lines) // READINGS]
    (folder / "readings.csv").write_text("\n".join(kept) + "\n", encoding="utf-8")
    glances = [",".join(line.split(",")[1:3]) for line in kept[1::4]]
    (folder / "glances.csv").write_text("\n".join(glances) + "\n", encoding="utf-8")
    shutil.copy(HILL_YARD / "generator-0.9m.csv", folder / "generator.csv")
    (folder / "stated.csv").write_text(STATED_CURVE, encoding="utf-8")
    (folder / "inverter.csv").write_text("power in (W),efficiency\n5,0.4\n50,0.8\n", "utf-8")
    (folder / "read.toml").write_text(READ_PLAN, encoding="utf-8")


def _write_grids(folder: Path, chance: np.random.Generator) -> None:
    hours = np.arange("2024-01-01", "2024-03-01", dtype="datetime64[h]").astype("datetime64[ns]")
    speed = {"standard_name": "wind_speed", "units": "m s-1"}
    point = xr.Dataset(
        {"wind": ("time", chance.weibull(2, hours.size) * 6, speed)}, {"time": hours}
    )
    point.to_netcdf(folder / "wind.nc", engine="h5netcdf")
    point.to_netcdf(folder / "classic.nc", engine="scipy", format="NETCDF3_64BIT")
    values = chance.weibull(2, (48, 2, 3)) * 6
    places = {"time": hours[:48], "lat": [50.0, 51.0], "lon": [8.0, 9.0, 10.0]}
    grid = xr.Dataset({"wind": (("time", "lat", "lon"), values, speed)}, places)
    grid.to_netcdf(folder / "grid.nc", engine="h5netcdf")
    grid.to_zarr(folder / "grid.zarr", zarr_format=2)
