"""How quick the page is, and how big: the report of each demo site as a user runs it.

Run it as `python tests/benchmarks/bench_report.py [--json FILE]`.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from harness import Figure, best_of, report

DEMO_SITES = Path(__file__).parents[2] / "demo-sites"
COMMAND = [sys.executable, "-c", "from yieldest.cli.app import main; main()"]


def run(*arguments: str) -> None:
    """Run the command line in a process of its own."""
    subprocess.run([*COMMAND, *arguments], check=True, capture_output=True)


def main() -> None:
    """Measure, and print the table."""
    figures = []
    with tempfile.TemporaryDirectory() as scratch:
        for site in sorted(path.parent for path in DEMO_SITES.glob("*/plan.toml")):
            page = Path(scratch) / f"{site.name}.html"
            estimate = best_of(lambda: run("estimate", str(site)), 3)  # noqa: B023
            seconds = best_of(lambda: run("report", str(site), "-o", str(page)), 3)  # noqa: B023
            figures.append(
                Figure(
                    f"report of {site.name}",
                    seconds,
                    "estimate of the same plan",
                    estimate,
                    "below 6 s, page below 3 MB",
                    f"page of {page.stat().st_size / 1e6:.2f} MB",
                )
            )
    report(figures)


if __name__ == "__main__":
    main()
