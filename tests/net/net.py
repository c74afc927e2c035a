"""Pin every number of the JSON outputs, and compare them after a move.

    python tests/net/net.py pin        # writes pinned.json.gz
    python tests/net/net.py            # compares with it, at 1e-9 relative

Texts are not compared, only numbers, booleans and nulls. RENAMED maps an old key to the new one.
"""

import contextlib
import gzip
import io
import json
import math
import re
import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
DEMOS = ROOT / "demo-sites"
PINNED = HERE / "pinned.json.gz"
TOLERANCE = 1e-9

RENAMED: list[tuple[str, str]] = []
"""Old key (a regular expression over the whole dotted path) and what it became."""
COMMAND_WORDS: dict[str, str] = {}
"""Old words of commands (plan keys, options) and what they became."""
if (HERE / "renamed.json").exists():
    table = json.loads((HERE / "renamed.json").read_text())
    RENAMED = [(old, new) for old, new in table["json"]]
    COMMAND_WORDS = table["commands"]


def run(*arguments):
    from yieldest.cli.app import main  # noqa: PLC0415

    out, err = io.StringIO(), io.StringIO()
    words = [COMMAND_WORDS.get(one, one) for one in arguments]
    for old, new in COMMAND_WORDS.items():
        words = [re.sub(rf"\b{re.escape(old)}\b", new, one) if "=" in one else one for one in words]
    sys.argv = ["yieldest", *words]
    code = 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main()
        except SystemExit as ended:
            code = ended.code or 0
    if code:
        raise SystemExit(f"{' '.join(words)}: {err.getvalue()}")
    return out.getvalue()


def gridded():
    rng = np.random.default_rng(5)
    speed = 6 * rng.weibull(2, (2000, 3, 4))
    return xr.Dataset(
        {
            "wind": (
                ("time", "lat", "lon"),
                speed,
                {"standard_name": "wind_speed", "units": "m s-1"},
            )
        },
        coords={
            "time": pd.date_range("2023-01-01", periods=2000, freq="h"),
            "lat": ("lat", np.arange(50, 50.75, 0.25), {"standard_name": "latitude"}),
            "lon": ("lon", np.arange(8, 9, 0.25), {"standard_name": "longitude"}),
            "height": ((), 10.0, {"standard_name": "height", "units": "m"}),
        },
    )


ESTIMATES = {
    **{
        f"site {name}": (name,)
        for name in ("hill-yard", "town-roof", "ridge-hut", "river-plain", "fishing-quay")
    },
    "seed": ("hill-yard", "--seed", "7", "--draws", "1024"),
    "no draws": ("hill-yard", "--draws", "0"),
    "wage": ("hill-yard", "--set", "money.wage_per_hour=12"),
    "export": (
        "hill-yard",
        "--set",
        "money.used_share=0.5",
        "--set",
        "money.export_price_per_kwh=0.08",
    ),
    "loan": ("hill-yard", "--set", "money.loan={share=0.5,interest_rate=0.05,years=6}"),
    "grant": ("hill-yard", "--set", "money.grant=300", "--set", "money.inflation=0.02"),
    "degrade": (
        "hill-yard",
        "--set",
        "money.degradation_per_year=0.016",
        "--set",
        "money.price_rise_per_year=0.02",
    ),
    "count": ("hill-yard", "--set", "build.1.count=5"),
    "height": ("hill-yard", "--set", "build.0.hub_height_m=20", "--set", "site.terrain=hedged"),
    "shear": ("town-roof", "--set", "site.shear_exponent=0.3"),
    "moments": ("hill-yard", "--set", "wind.fit=moments"),
    "empirical": ("hill-yard", "--set", "wind.fit=empirical"),
    "noseason": ("hill-yard", "--set", "wind.season_correction=false"),
    "turbulence": ("hill-yard", "--set", "site.turbulence_intensity=0.2"),
    "obstacle": (
        "hill-yard",
        "--set",
        "site.obstacles=[{height_m=6,width_m=20,distance_m=40,bearing_deg=240}]",
    ),
    "losses": (
        "town-roof",
        "--set",
        "build.1.losses.availability=0.1",
        "--set",
        "build.1.losses.curtailment=0.03",
    ),
    "speedcorr": ("hill-yard", "--set", "build.0.density_correction=speed"),
    "beyond": ("hill-yard", "--set", "build.0.beyond_last=zero"),
    "life": ("ridge-hut", "--set", "money.life_years=20", "--set", "money.discount_rate=0.08"),
    "upkeep": ("fishing-quay", "--set", "money.upkeep_share_per_year=0.04"),
    "noprice": ("river-plain", "--set", "build.0.count=3"),
    "carbon": ("hill-yard", "--set", "money.grid_carbon_kg_per_kwh=0.4"),
    "doubt": (
        "hill-yard",
        "--set",
        "doubt.curve={standard_uncertainty=0.2}",
        "--set",
        "doubt.life_years={triangular=[8,15,25]}",
    ),
    "screen": ("hill-yard", "--set", "wind.screen.stuck_hours=false"),
    "mean": ("mean",),
    "months": ("months",),
    "stand-in": ("standin",),
    "readings": ("readings",),
}

PLANS = {
    "mean": """title = "Mean only"
currency = "EUR"
[wind]
mean_speed_ms = 5.2
measured_height_m = 10
[[build]]
name = "one"
hub_height_m = 15
curve = "curve-2.4m.csv"
rotor_diameter_m = 2.4
bill = "bill-2.4m.csv"
[money]
price_per_kwh = 0.3
""",
    "months": """title = "Months"
currency = "EUR"
[wind]
monthly_means_ms = [6.1, 5.9, 5.7, 5.2, 4.8, 4.4, 4.2, 4.3, 4.8, 5.3, 5.7, 6.0]
measured_height_m = 10
[[build]]
name = "three"
count = 3
hub_height_m = 12
curve = "curve-0.9m.csv"
rotor_diameter_m = 0.9
bill = "bill-0.9m.csv"
[money]
price_per_kwh = 0.3
""",
    "standin": """title = "Stand-in"
currency = "EUR"
[site]
roughness_length_m = 0.1
[wind]
weibull_shape = 1.9
weibull_scale_ms = 6
measured_height_m = 10
[[build]]
name = "modelled"
hub_height_m = 15
stand_in = { power_coefficient = 0.25 }
cut_in_ms = 3
cut_out_ms = 18
rated_power_w = 800
rotor_diameter_m = 2.4
bill = "bill-2.4m.csv"
[money]
price_per_kwh = 0.3
""",
    "readings": """title = "Readings"
currency = "EUR"
[wind]
record = "wind.csv.gz"
measured_height_m = 10
[[build]]
name = "eight"
count = 8
hub_height_m = 8
readings = "readings-0.9m.csv"
meters = { circuit = "dc", elevation_m = 420, temperature_c = 15 }
load = { kind = "charger", measured_on = "resistor", conversion = "typical" }
rotor_diameter_m = 0.9
bill = "bill-0.9m.csv"
[[build.converter]]
efficiency = 0.9
[money]
price_per_kwh = 0.3
""".replace(
        """[[build.converter]]
efficiency = 0.9
""",
        "",
    ),
}


def plan_folder(name, scratch):
    if name not in PLANS:
        return DEMOS / name
    folder = scratch / name
    if not folder.exists():
        folder.mkdir()
        for file in (DEMOS / "hill-yard").iterdir():
            if file.name != "plan.toml":
                (folder / file.name).write_bytes(file.read_bytes())
        text = PLANS[name]
        for old, new in COMMAND_WORDS.items():
            if not old.startswith("--"):
                text = re.sub(rf"(?<![\w.-]){re.escape(old)}(?![\w-])", new, text)
        (folder / "plan.toml").write_text(text)
    return folder


def collect():
    found = {}
    with tempfile.TemporaryDirectory() as name:
        scratch = Path(name)
        for case, (site, *more) in ESTIMATES.items():
            found[f"estimate/{case}"] = json.loads(
                run("estimate", str(plan_folder(site, scratch)), *more, "--json")
            )
        for case, (site, *more) in {
            "price": ("hill-yard", "--sweep", "money.price_per_kwh=0.1:0.5:5"),
            "count": ("hill-yard", "--sweep", "build.1.count=1:8:8"),
            "height": ("hill-yard", "--sweep", "build.0.hub_height_m=8:24:5"),
        }.items():
            target = scratch / f"{case}.csv"
            run("estimate", str(DEMOS / site), *more, "--out", str(target))
            found[f"sweep/{case}"] = json.loads(
                pd.read_csv(target).to_json(orient="records", double_precision=15)
            )
        for case, words in {
            "hill": ("hill-yard/wind.csv.gz",),
            "roof": ("town-roof/wind.csv.gz",),
            "hut": ("ridge-hut/wind.csv.gz",),
            "quay": ("fishing-quay/wind.csv.gz", "--time-zone", "Europe/Paris"),
            "harbour": ("fishing-quay/harbour.csv.gz", "--sectors", "8"),
            "classes": ("river-plain/classes.csv", "--table"),
        }.items():
            found[f"wind/{case}"] = json.loads(
                run("wind", str(DEMOS / words[0]), *words[1:], "--json")
            )
        for case, words in {
            "hill": (
                "hill-yard/readings-0.9m.csv",
                "--rotor-diameter",
                "0.9",
                "--elevation",
                "420",
            ),
            "hill test": (
                "hill-yard/readings-0.9m.csv",
                "--rotor-diameter",
                "0.9",
                "--generator-test",
                str(DEMOS / "hill-yard/generator-0.9m.csv"),
            ),
            "hut": ("ridge-hut/readings.csv", "--rotor-diameter", "1.2"),
        }.items():
            found[f"curve/{case}"] = json.loads(
                run("curve", str(DEMOS / words[0]), *words[1:], "--json")
            )
        grid = scratch / "grid.nc"
        gridded().to_netcdf(grid)
        for site in ("hill-yard", "town-roof", "river-plain"):
            target = scratch / f"{site}.nc"
            found[f"map/{site}"] = json.loads(
                run("map", str(grid), "--plan", str(DEMOS / site), "--out", str(target), "--json")
            )
            with xr.open_dataset(target) as maps:
                found[f"mapfile/{site}"] = {
                    str(k): v.to_numpy().tolist()
                    for k, v in maps.data_vars.items()
                    if v.dtype.kind == "f"
                }
        for site in ("hill-yard", "town-roof"):
            page = scratch / f"{site}.html"
            run("report", str(DEMOS / site), "--out", str(page))
            for n, text in enumerate(
                re.findall(
                    r'<script type="application/json"[^>]*>(.*?)</script>', page.read_text(), re.S
                )
            ):
                found[f"page/{site}/{n}"] = json.loads(text)
    return found


def flat(value, path=""):
    if isinstance(value, dict):
        for key, each in value.items():
            yield from flat(each, f"{path}.{key}" if path else key)
    elif isinstance(value, list):
        for n, each in enumerate(value):
            yield from flat(each, f"{path}[{n}]")
    elif not isinstance(value, str):
        yield path, value


def renamed(path):
    case, path = path.split(":", 1)
    for old, new in RENAMED:
        path = re.sub(old, new, path)
    return f"{case}:{path}"


def same(a, b):
    if a is None or b is None or isinstance(a, bool) or isinstance(b, bool):
        return a is b
    if math.isnan(a) or math.isnan(b):
        return math.isnan(a) and math.isnan(b)
    return abs(a - b) <= TOLERANCE * max(abs(a), abs(b)) + 1e-15


def compare(old, new):
    bad = 0
    old_flat = {renamed(f"{case}:{p}"): v for case, tree in old.items() for p, v in flat(tree)}
    new_flat = {f"{case}:{p}": v for case, tree in new.items() for p, v in flat(tree)}
    shown: dict[str, int] = {}

    def tell(kind, path, *values):
        nonlocal bad
        bad += 1
        key = kind + re.sub(r"\[\d+\]", "[]", path.split(":", 1)[1])
        shown[key] = shown.get(key, 0) + 1
        if shown[key] <= 2:
            print(kind, path, *values)

    for path, value in old_flat.items():
        if path.endswith(".r_squared"):  # decided nothing about a fit, and went
            continue
        if path not in new_flat:
            tell("GONE", path, value)
        elif not same(value, new_flat[path]):
            tell("DIFFERS", path, value, new_flat[path])
    for path in new_flat.keys() - old_flat.keys():
        key = "NEW " + re.sub(r"\[\d+\]", "[]", path.split(":", 1)[1])
        shown[key] = shown.get(key, 0) + 1
    for key, times in sorted(shown.items()):
        if times > 2 or key.startswith("NEW"):
            print(f"{times:6d} x {key}")
    print(f"{len(old_flat)} numbers, {bad} gone or different")
    return bad


if __name__ == "__main__":
    pin = sys.argv[1:] == ["pin"]
    found = collect()
    if pin:
        PINNED.write_bytes(gzip.compress(json.dumps(found).encode()))
    else:
        raise SystemExit(bool(compare(json.loads(gzip.decompress(PINNED.read_bytes())), found)))
