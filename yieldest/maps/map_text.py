"""What maps say, as text for people."""

from __future__ import annotations

from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from yieldest.report.cautions import CAUTIONS
from yieldest.report.wording import percent, print_list, rounded

_ROWS = (
    ("mean wind at the hub", "hub_mean_speed_ms", "m/s"),
    ("net energy", "net_kwh_per_year", "kWh/year"),
    ("capacity factor", "capacity_factor", ""),
    ("cost per kWh", "cost_per_kwh", "currency"),
    ("simple payback", "payback_years", "years"),
    ("discounted payback", "discounted_payback_years", "years"),
)


def print_map_summary(summary: dict[str, Any], screen: Console) -> None:
    """Print the spread over the cells, and what to know before trusting it."""
    screen.print(
        Text(f"wrote {summary['written']}: {summary['cells']:,} cells", style="bold"),
        soft_wrap=True,
    )
    for path in summary["pictures"]:
        screen.print(Text(f"wrote {path}"), soft_wrap=True)
    screen.print(
        "Below are the values that 10 %, 50 % and 90 % of the cells do not exceed, and the share "
        "of cells where one is known."
    )
    for height in summary["heights"]:
        screen.print()
        screen.print(_of_height(height))
    for build in summary["builds"]:
        screen.print()
        screen.print(_of_build(build, summary["currency_per_kwh"]))
    for heading, texts in (
        ("How it was computed", summary["method"]),
        ("Assumed, for nobody stated it", summary["assumed"]),
        ("Be warned", summary["warnings"]),
        ("Take care", CAUTIONS),
    ):
        print_list(heading, texts, screen)


def _of_height(height: dict[str, Any]) -> Table:
    table = _table(f"wind at {height['height_m']:g} m")
    _add(table, "mean wind", height["mean_speed_ms"], "m/s")
    _add(table, "Weibull shape", height["weibull_shape"], "")
    _add(table, "Weibull scale", height["weibull_scale_ms"], "m/s")
    return table


def _of_build(build: dict[str, Any], currency: str | None) -> Table:
    table = _table(build["name"])
    for label, key, unit in _ROWS:
        if key in build:
            _add(table, label, build[key], str(currency) if unit == "currency" else unit)
    return table


def _table(title: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    table.add_column(Text(title), min_width=24)
    for heading in ("10 %", "50 %", "90 %", "known"):
        table.add_column(heading, justify="right", min_width=8)
    table.add_column("unit")
    return table


def _add(table: Table, label: str, spread: dict[str, Any], unit: str) -> None:
    write = percent if label == "capacity factor" else rounded
    seen, known = spread["cells_seen"], spread["cells_known"]
    table.add_row(
        label,
        *(write(spread[key]) for key in ("tenth", "median", "nine_tenths")),
        percent(known / seen, 3),
        unit,
    )
