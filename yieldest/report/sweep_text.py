"""A sweep as a table for people."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from yieldest.model.estimate import SweptEstimate
from yieldest.model.quantities import lines_of, quantities_of
from yieldest.report.tables import Row, TableView
from yieldest.report.terminal import print_table


def print_sweep(swept: SweptEstimate, screen: Console) -> None:
    """Print a row for each value and build, the cheapest kWh of each value marked."""
    currency, shown = swept.estimates[0].currency, list(quantities_of("sweep"))
    cost = [each.key for each in shown].index("cost_per_kwh")
    heads = ["value", "build", *(each.named(currency) for each in shown)]
    rows = []
    for value, estimate in zip(swept.values, swept.estimates, strict=True):
        builds, terms = estimate.builds, estimate.terms
        cheapest = {line.quantity.key: line.best for line in lines_of("sweep", builds, terms)}
        for place, build in enumerate(builds):
            cells = (build.name, *(each.text(build, terms) for each in shown))
            is_cheapest = cheapest.get("cost_per_kwh") == place
            label = "" if place else f"{value:.6g}"
            rows.append(Row(label, cells, best=1 + cost if is_cheapest else None))
    screen.print(Text(f"{swept.key}, one value after the other", style="bold"))
    print_table(TableView("", heads, rows), screen)
    if swept.key.startswith("economics.loan."):
        screen.print(
            Text("These figures are without the loan; what it does stands in the answer (--set).")
        )
