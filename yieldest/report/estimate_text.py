"""An estimate as text for people."""

from __future__ import annotations

from collections.abc import Callable

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from yieldest.defaults import YEAR_TO_YEAR
from yieldest.energy.annual_energy import FITTED_METHOD
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.report.cautions import CAUTIONS
from yieldest.report.hub_text import print_ladder
from yieldest.report.sentences.words import sentences
from yieldest.report.uncertainty_text import print_uncertainty, range_of, range_sentences
from yieldest.report.verdict import print_verdict, verdict
from yieldest.report.wording import percent, print_heading, print_item, print_list, rounded
from yieldest.uncertainty.result import Uncertainty

PLAIN_WIDTH = 100


def console() -> Console:
    """Return a console for standard output: 100 columns wide where nobody watches."""
    screen = Console(highlight=False)
    if not screen.is_terminal:
        screen = Console(highlight=False, width=PLAIN_WIDTH)
    return screen


def print_estimate(
    estimate: Estimate,
    screen: Console,
    uncertainty: Uncertainty | None = None,
    *,
    full: bool = False,
) -> None:
    """Print the answer in words, a column per build, and what to know before trusting either.

    Parameters
    ----------
    estimate : Estimate
    screen : rich.console.Console
    uncertainty : Uncertainty, optional
    full : bool
        Whether to print the uncertainty of every input as well.
    """
    screen.print(Text(estimate.title, style="bold"))
    _print_wind(estimate, screen)
    ranges = [] if uncertainty is None else range_sentences(uncertainty)
    print_list("In plain words", [*verdict(estimate), *ranges], screen)
    screen.print()
    screen.print(_table(estimate, uncertainty))
    print_verdict(estimate, screen)
    print_ladder(estimate, screen)
    if uncertainty is not None:
        print_uncertainty(uncertainty, estimate.currency, screen, full=full)
    _print_methods(estimate, screen)
    shared_assumed, own_assumed = _split(estimate, lambda build: sentences(build.assumed))
    print_list(
        "Assumed, for nobody stated it", [*sentences(estimate.assumed), *shared_assumed], screen
    )
    for name, texts in own_assumed:
        print_list(f"Assumed for {name}", texts, screen)
    shared_warnings, own_warnings = _split(estimate, lambda build: sentences(build.warnings))
    print_list("Be warned", [*sentences(estimate.warnings), *shared_warnings], screen)
    for name, texts in own_warnings:
        print_list(f"Be warned of {name}", texts, screen)
    print_list("Take care", CAUTIONS, screen)


def _print_wind(estimate: Estimate, screen: Console) -> None:
    distribution, record, study = estimate.distribution, estimate.record, estimate.resource
    if record is None or study is None:
        how = "summed up by others" if estimate.wind.readings is not None else "stated"
        known = f"mean {distribution.mean_speed_ms:.1f} m/s at {distribution.height_m:g} m ({how})"
    else:
        known = (
            f"mean {study.mean_speed_ms:.2f} m/s at {distribution.height_m:g} m, "
            f"{rounded(record.data_recovery.hours, 3)} hours of readings, "
            f"{percent(record.data_recovery.share, 3)} of the time they span"
        )
    if estimate.long_term is not None:
        mean = estimate.wind.start_ms * estimate.wind.long_term_factor
        known += f"; over the long term {mean:.2f} m/s"
    screen.print(
        Text(
            f"Wind: {known}; Weibull shape {distribution.shape:.2f}, scale "
            f"{distribution.scale_ms:.2f} m/s"
        )
    )


def _table(estimate: Estimate, uncertainty: Uncertainty | None) -> Table:
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    table.add_column("")
    for build in estimate.builds:
        table.add_column(Text(build.name), justify="right", overflow="fold")
    table.add_column("unit")

    def row(label: str, unit: str, cell: Callable[[BuildEstimate], str], style: str = "") -> None:
        table.add_row(label, *(Text(cell(build)) for build in estimate.builds), unit, style=style)

    row("machines", "", lambda b: f"{b.energy.count}")
    row("hub height", "m", lambda b: f"{b.distribution.height_m:g}")
    row("mean wind at the hub [1]", "m/s", lambda b: f"{b.distribution.mean_speed_ms:.1f}")
    row("air density [2]", "kg/m3", lambda b: f"{b.air.density_kg_m3:.3f}")
    row("gross energy, fitted wind [3]", "kWh/year", _gross)
    if any(build.energy.time_series_gross_kwh is not None for build in estimate.builds):
        each = "reading" if estimate.record is not None else "class"
        row(f"gross energy, {each} by {each} [4]", "kWh/year", _gross_of_record)
        row("  used below", "", lambda b: "readings" if b.energy.from_time_series else "fit")
    if any(build.curve.modelled for build in estimate.builds):
        row("power curve", "", lambda b: "modelled" if b.curve.modelled else "given")
    if any(build.energy.beyond_last_kwh for build in estimate.builds):
        row(
            "  of it above the last measured wind",
            "kWh/year",
            lambda b: rounded(b.energy.beyond_last_kwh),
        )
    for index, first in enumerate(estimate.builds[0].energy.losses):
        if any(build.energy.losses[index].share for build in estimate.builds):
            row(
                f"  lost: {first.category.replace('_', ' ')}",
                "",
                lambda b, i=index: percent(b.energy.losses[i].share),  # type: ignore[misc]
            )
    if any(build.energy.idle_draw_kwh for build in estimate.builds):
        row(
            "  drawn while idle",
            "kWh/year",
            lambda b: rounded(b.energy.idle_draw_kwh),
        )
    row("net energy", "kWh/year", lambda b: rounded(b.energy.net_kwh), "bold")
    if uncertainty is not None:
        years = (Text(range_of(build, "one_year_kwh")) for build in uncertainty.builds)
        table.add_row("  in nine years of ten", *years, "kWh/year")
    row("  calm year to windy year [5]", "kWh/year", _usual_years)
    row(
        "  each machine",
        "kWh/year",
        lambda b: rounded(b.energy.net_kwh / b.energy.count),
    )
    row("capacity factor", "", lambda b: percent(b.energy.capacity_factor))
    row("hours idle", "h/year", lambda b: f"{b.energy.hours.without_output:,.0f}")
    row("hours running", "h/year", lambda b: f"{b.energy.hours.generating:,.0f}")
    row("  of these at rated power", "h/year", lambda b: f"{b.energy.hours.at_rated:,.0f}")
    row("hours above cut-out", "h/year", lambda b: f"{b.energy.hours.cut_out:,.0f}")
    return table


def _gross(build: BuildEstimate) -> str:
    return rounded(build.energy.fitted_gross_kwh, 3)


def _gross_of_record(build: BuildEstimate) -> str:
    return rounded(build.energy.time_series_gross_kwh, 3)


def _usual_years(build: BuildEstimate) -> str:
    return (
        f"{rounded(build.energy.inter_annual_low_kwh)} to "
        f"{rounded(build.energy.inter_annual_high_kwh)}"
    )


def _print_methods(estimate: Estimate, screen: Console) -> None:
    first, terms = estimate.builds[0], estimate.terms
    worth = (
        "no price stated"
        if terms.price_per_kwh is None
        else f"{terms.price_per_kwh:g} {estimate.currency} for each kWh"
    )
    methods = [
        f"{estimate.distribution.provenance.method}; carried to the hub by {first.height_method}",
        first.air.provenance.method,
        FITTED_METHOD,
        "the same curve at every reading of the record, mean times 8760 h; "
        + _use_of_readings(estimate),
        f"mean wind {YEAR_TO_YEAR} lower or higher, one usual year-to-year "
        "spread (common practice, no source); the uncertainty of curve, height and losses comes "
        "on top",
        f"the bill; own labour at {terms.wage_per_hour:g} {estimate.currency} an hour",
        f"discounted whole-life cost over discounted energy (Short, Packey & Holt 1995): "
        f"{terms.life_years} years, real rate {100 * terms.discount_rate:.1f} %, upkeep "
        f"{100 * terms.maintenance_share_per_year:.1f} % of the capital cost a year where the bill "
        "states none, replacements when due; all in real terms (today's money)",
        f"until the balance stays above zero, replacements included; {worth}; discounted at the "
        "real rate",
    ]
    if first.energy.time_series_gross_kwh is None:
        methods[3] = "(no record, so no cross-check)"
    elif estimate.record is None:
        methods[3] = (
            "the same curve over the classes of the table, or over the twelve months one by one, "
            f"mean times 8760 h; {_use_of_readings(estimate)}"
        )
    print_heading("How it was computed", screen)
    for number, method in enumerate(methods, start=1):
        print_item(f"[{number}]", method, screen)
    for build in estimate.builds:
        curve = build.curve.provenance
        print_item("-", f"power curve of {build.name}: {curve.method}", screen)


def _use_of_readings(estimate: Estimate) -> str:
    limit = estimate.distribution.reading_limit
    if limit is None:
        return "a cross-check of [3], for a fit was asked for"
    if limit == 0:
        return "used, for it was asked for"
    return f"used where [3] is more than {100 * limit:.0f} % away from it"


def _split(
    estimate: Estimate, texts: Callable[[BuildEstimate], list[str]]
) -> tuple[list[str], list[tuple[str, list[str]]]]:
    """Part the sentences that all builds share from those of one build."""
    first, *others = estimate.builds
    shared = [t for t in texts(first) if all(t in texts(other) for other in others)]
    own = [(b.name, [t for t in texts(b) if t not in shared]) for b in estimate.builds]
    return shared, own
