"""Every benchmark in one table, each figure as a ratio to its baseline.

Run it as `python tests/benchmarks/run_all.py [--json FILE] [--last FILE] [--where WORD]` on an idle
machine. With `--last`, the file of an earlier run, each ratio stands beside what it was then; a
figure is known by its script, name and baseline.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent


def figures_of(script: Path) -> list[dict]:
    """Run one script and return its figures, or its failure as a figure without a ratio."""
    with tempfile.TemporaryDirectory() as folder:
        written = Path(folder) / "figures.json"
        ran = subprocess.run(
            [sys.executable, str(script), "--json", str(written)],
            # One thread for linear algebra, so that a core means a core.
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
            capture_output=True,
            text=True,
            check=False,
        )
        if ran.returncode != 0 or not written.exists():
            last = ran.stderr.strip().splitlines()[-1:] or ["no message"]
            return [{"script": script.stem, "name": "did not run", "note": last[0]}]
        figures = json.loads(written.read_text(encoding="utf-8"))["figures"]
    return [{"script": script.stem, **figure} for figure in figures]


def key_of(figure: dict) -> tuple[str, ...]:
    """Return what a figure is known by."""
    return figure["script"], figure["name"], figure.get("baseline", "")


def main() -> int:
    """Print the table; return 1 when a script did not run."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--json", type=Path, help="also write the figures to this file")
    parser.add_argument("--last", type=Path, help="figures of an earlier run to compare with")
    parser.add_argument("--where", default="", help="scripts with this word in their name")
    chosen = parser.parse_args()
    figures: list[dict] = []
    earlier = [] if chosen.last is None else json.loads(chosen.last.read_text("utf-8"))["figures"]
    was = {key_of(figure): figure["ratio"] for figure in earlier if "ratio" in figure}
    print("figure, what it is measured against, ratio, target; what else was seen")
    for script in sorted(HERE.glob("bench_*.py")):
        if chosen.where not in script.stem:
            continue
        print(f"{script.stem.removeprefix('bench_').replace('_', ' ')}:", flush=True)
        found = figures_of(script)
        figures += found
        name_width, baseline_width = (
            max(len(figure.get(key, "")) for figure in found) for key in ("name", "baseline")
        )
        for figure in found:
            if "ratio" not in figure:
                print(f"  {figure['name']}: {figure['note']}")
                continue
            note = f"; {figure['note']}" if figure["note"] else ""
            if key_of(figure) in was:
                note += f"; was {was[key_of(figure)]:.3g}"
            print(
                f"  {figure['name']:{name_width}}  {figure['baseline']:{baseline_width}}  "
                f"{figure['ratio']:9.3g}   {figure['target']}{note}",
                flush=True,
            )
    if chosen.json is not None:
        content = {
            "python": platform.python_version(),
            "machine": platform.machine(),
            "cores": os.cpu_count(),
            "figures": figures,
        }
        chosen.json.write_text(json.dumps(content, indent=2) + "\n", encoding="utf-8")
    return int(any("ratio" not in figure for figure in figures))


if __name__ == "__main__":
    sys.exit(main())
