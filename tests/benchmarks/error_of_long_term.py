"""How well a short record is carried to the long term: the airport year, over many starting dates.

Run it as `python tests/benchmarks/error_of_long_term.py`; it takes about a minute.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from airport import hide_most

NORMAL_90 = 1.645

print("median absolute error in %; coverage of the stated 90 % interval in %")
print(f"{'days':>4} {'runs':>5}  {'mean: as read':>13} {'corrected':>9} {'covered':>7}", end="")
print(f"  {'cube: as read':>13} {'corrected':>9} {'covered':>7}   covered by pair, from to")
began = time.perf_counter()
runs = 0
chosen: Counter[str] = Counter()
for days in (30, 60, 90, 180):
    found = hide_most(days, every_days=5)
    runs += found["pair"].size
    chosen.update(found["method"].tolist())
    line = f"{days:4d} {found['pair'].size:5d}"
    by_pair = []
    for kind in ("", "_cube"):
        inside = np.abs(found["error" + kind]) < NORMAL_90 * found["uncertainty" + kind]
        as_read = 100 * np.median(np.abs(found["face" + kind]))
        corrected = 100 * np.median(np.abs(found["error" + kind]))
        line += f"  {as_read:13.1f} {corrected:9.1f} {100 * inside.mean():7.0f}"
        by_pair += [100 * inside[found["pair"] == pair].mean() for pair in set(found["pair"])]
    print(f"{line}   {min(by_pair):.0f} to {max(by_pair):.0f}")
print(f"{(time.perf_counter() - began) / runs * 1000:.0f} ms for each correction")
for name, count in chosen.most_common():
    print(f"chosen {count / runs:4.0%}: {name}")
