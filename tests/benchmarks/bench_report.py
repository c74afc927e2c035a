"""How quick the page is, and how big: the report of each demo site as a user runs it.

Run it as `python tests/benchmarks/bench_report.py [--json FILE]`.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from harness import COMMAND, Figure, process_seconds, report

DEMO_SITES = Path(__file__).parents[2] / "demo-sites"


def main() -> None:
    """Measure, and print the table."""
    figures = []
    with tempfile.TemporaryDirectory() as scratch:
        for site in sorted(path.parent for path in DEMO_SITES.glob("*/plan.toml")):
            page = Path(scratch) / f"{site.name}.html"
            estimate = process_seconds(COMMAND, "estimate", str(site), repeats=3)
            seconds = process_seconds(COMMAND, "report", str(site), "-o", str(page), repeats=3)
            figures.append(
                Figure(
                    f"report of {site.name}",
                    seconds,
                    "estimate of the same plan",
                    estimate,
                    "ratio <= 2.5, page below 3 MB",
                    f"page of {page.stat().st_size / 1e6:.2f} MB",
                )
            )
    report(figures)


if __name__ == "__main__":
    main()
