"""An estimate, or a sweep of estimates, as text for people."""

from __future__ import annotations

from dataclasses import replace

from rich.console import Console
from rich.text import Text

from yieldest.arrays import percent, plainly, rounded
from yieldest.model.estimate import Estimate, SweptEstimate
from yieldest.model.quantities import had_by, lines_of
from yieldest.model.site_wind import SiteWind
from yieldest.report.cautions import CAUTIONS
from yieldest.report.decision import Decision, decide
from yieldest.report.sections import (
    by_month_tables,
    findings_notes,
    hub_section,
    methods_table,
    money_section,
    uncertainty_section,
)
from yieldest.report.tables import Row, TableView, builds_table
from yieldest.report.terminal import (
    print_answers,
    print_list,
    print_section,
    print_table,
    print_text,
)
from yieldest.report.uncertainty_text import drivers_tables, range_of
from yieldest.uncertainty.result import Uncertainty
from yieldest.units import length, speed


def print_estimate(
    estimate: Estimate,
    screen: Console,
    uncertainty: Uncertainty | None = None,
    *,
    full: bool = False,
) -> None:
    """Print the answer on one screen, in full with losses, steps, money, methods and cautions."""
    decision = decide(estimate, uncertainty)
    screen.print(Text(estimate.title, style="bold"))
    for places, wind in estimate.inputs.winds.items():
        at = f" at {places}" if len(estimate.inputs.winds) > 1 else ""
        print_text(f"Wind{at}: {_wind(wind)}", screen)
    screen.print()
    print_text(" ".join(decision.verdict), screen, style="bold")
    print_table(decision.table, screen)
    if key := _key(decision.table, screen):
        print_text(key, screen)
    screen.print()
    print_answers(decision.pointers, screen)
    if full:
        _print_all(estimate, screen, uncertainty, decision)
    else:
        screen.print(Text("All the rest: --full; charts and sliders: yieldest report PLAN."))


def _key(table: TableView, screen: Console) -> str:
    """Explain the range in brackets and the mark of the best, as far as the table has them."""
    parts = []
    if table.heads[0]:
        parts.append("90 % range: 90 cases of 100, with all that is not known and the year's wind")
    if any(row.best is not None for row in table.rows):
        parts.append(f"{'bold' if screen.is_terminal else '✓'}: the best")
    return f"({'; '.join(parts)})" if parts else ""


def _print_all(
    estimate: Estimate, screen: Console, uncertainty: Uncertainty | None, decision: Decision
) -> None:
    print_table(_energy_table(estimate, uncertainty), screen)
    for table in by_month_tables(estimate):
        print_table(table, screen)
    money = builds_table("Side by side, money in real terms (today's money)", "money", estimate)
    print_table(money, screen)
    print_section(replace(money_section(estimate, decision.by_number), title=""), screen)
    print_section(replace(hub_section(estimate), title=""), screen)
    if uncertainty is not None:
        sure = uncertainty_section(estimate, uncertainty)
        ranges_table, *_, inputs = sure.tables
        tables = [ranges_table, *drivers_tables(uncertainty, estimate), inputs]
        print_section(replace(sure, title="How sure that is", tables=tables), screen)
    methods = [f"{row.label}: {row.cells[0]}" for row in methods_table(estimate).rows]
    print_list("How it was computed", methods, screen)
    for notes in findings_notes(estimate):
        print_list(notes.title, notes.texts, screen)
    print_list("Take care", CAUTIONS, screen)


def _wind(wind: SiteWind) -> str:
    distribution, record, resource = wind.distribution, wind.record, wind.resource
    if record is None or resource is None:
        how = "summed up by others" if wind.readings is not None else "stated"
        mean = speed(wind.mean_speed_ms, ".2f")
        known = f"mean {mean} at {length(distribution.height_m)} ({how})"
    else:
        known = (
            f"mean {speed(resource.mean_speed_ms, '.2f')} at {length(distribution.height_m)}, "
            f"{rounded(record.data_recovery.hours, 3)} hours of readings, "
            f"{percent(record.data_recovery.share, 3)} of the time they span"
        )
    if wind.long_term is not None:
        known += f"; over the long term {speed(wind.mean_speed_ms, '.2f')}"
    scale = speed(distribution.scale_ms, ".2f")
    return f"{known}; Weibull shape {distribution.shape:.2f}, scale {scale}"


def _energy_table(estimate: Estimate, uncertainty: Uncertainty | None) -> TableView:
    """Return the energy of each build, its losses and how far one year may be off."""
    table = builds_table("", "energy", estimate)
    rows = list(table.rows)
    labels = [row.label for row in rows]
    net = labels.index("net energy")
    if uncertainty is not None:
        years = tuple(range_of(build, "one_year_kwh") for build in uncertainty.builds)
        rows.insert(net + 1, Row("  90 % range", years, "kWh/year"))
    drawn = "  drawn while idle"
    place = labels.index(drawn) if drawn in labels else net
    rows[place:place] = [
        Row(
            f"  lost: {losses[0].category.replace('_', ' ')}",
            tuple(f"{plainly(100 * loss.share, 2)} %" for loss in losses),
        )
        for losses in zip(*(build.energy.losses for build in estimate.builds), strict=True)
        if any(loss.share for loss in losses)
    ]
    return replace(table, rows=rows)


def print_sweep(swept: SweptEstimate, screen: Console) -> None:
    """Print a row for each value and build, the cheapest kWh of each value marked."""
    currency = swept.estimates[0].currency
    shown = had_by([build for each in swept.estimates for build in each.builds], "sweep")
    keys = [each.key for each in shown]
    heads = ["value", "build", *(each.named(currency) for each in shown)]
    rows = []
    for value, estimate in zip(swept.values, swept.estimates, strict=True):
        builds, terms = estimate.builds, estimate.terms
        cheapest = {line.quantity.key: line.best for line in lines_of("sweep", builds, terms)}
        for place, build in enumerate(builds):
            cells = (build.name, *(each.text(build, terms) for each in shown))
            is_cheapest = cheapest.get("cost_per_kwh") == place
            label = "" if place else f"{value:.6g}"
            rows.append(
                Row(label, cells, best=1 + keys.index("cost_per_kwh") if is_cheapest else None)
            )
    screen.print(Text(f"{swept.key}, one value after the other", style="bold"))
    print_table(TableView("", heads, rows), screen)
    if swept.key.startswith("economics.loan."):
        screen.print(
            Text("These figures are without the loan; what it does stands in the answer (--set).")
        )
