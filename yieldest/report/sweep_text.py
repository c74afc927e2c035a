"""A sweep as a table for people."""

from __future__ import annotations

from collections.abc import Sequence

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from yieldest.model.frames import Row
from yieldest.report.wording import rounded


def print_sweep(key: str, rows: Sequence[Row], currency: str, screen: Console) -> None:
    """Print a row for each value and build, the lowest cost per kWh of each value marked."""
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    screen.print(Text(f"{key}, one value after the other; money in {currency}", style="bold"))
    table.add_column("value", no_wrap=True)
    table.add_column("build", overflow="fold", min_width=20)
    for heading in ("net kWh/year", "capital", "cost per kWh", "payback", "present value"):
        table.add_column(heading, justify="right")
    before = None
    for row in rows:
        mark = "better " if _is_cheapest(row, [r for r in rows if r[key] == row[key]]) else ""
        table.add_row(
            Text("" if row[key] == before else f"{row[key]:.6g}"),
            Text(str(row["build"])),
            _cell(row["net_kwh_per_year"], 2),
            _cell(row["capital_cost"], 4),
            mark + _cell(row["cost_per_kwh"], 2),
            _payback(row),
            _cell(row["net_present_value"], 2),
        )
        before = row[key]
    screen.print(table)
    if key.startswith("economics.loan."):
        screen.print(
            Text("These figures are without the loan; what it does stands in the answer (--set).")
        )


def _cell(value: str | float | None, digits: int) -> str:
    return rounded(None if value is None else float(value), digits)


def _payback(row: Row) -> str:
    priced = row["net_present_value"] is not None and row["cost_per_kwh"] is not None
    never = priced and row["payback_years"] is None
    return "never" if never else _cell(row["payback_years"], 2)


def _is_cheapest(row: Row, rivals: Sequence[Row]) -> bool:
    costs = [float(r["cost_per_kwh"]) for r in rivals if r["cost_per_kwh"] is not None]
    return len(costs) > 1 and row["cost_per_kwh"] == min(costs) and costs.count(min(costs)) == 1
