"""A wind study as text for people: the answer first, then what it rests on."""

from __future__ import annotations

import calendar

import numpy as np
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.report.sentences.words import sentences
from yieldest.report.wording import (
    NOT_KNOWN,
    percent,
    print_heading,
    print_item,
    print_list,
    rounded,
    signed_percent,
)
from yieldest.wind.breakdown import STEADY_FROM_MS, Group, Gustiness
from yieldest.wind.data_recovery import DAYS_PER_YEAR
from yieldest.wind.goodness import FitResult
from yieldest.wind.quality_rules import QualityTest
from yieldest.wind.resource import WindResource
from yieldest.wind.weibull import share_above
from yieldest.wind.weibull_fits import METHODS, class_bounds

BAR_WIDTH = 56
MOST_CLASSES = 22
SCARCE_DAYS = 30


def print_study(study: WindResource, screen: Console) -> None:
    """Print what a record says: enough or not, how windy, how sure; then the tables."""
    screen.print(Text(study.record.provenance.source, style="bold"))
    answers = Table.grid(padding=(0, 2, 0, 0))
    answers.add_column(no_wrap=True, style="bold")
    answers.add_column(overflow="fold")
    answers.add_row("Is it enough?", Text(enough(study)))
    answers.add_row("How windy?", Text(_how_windy(study)))
    answers.add_row("How sure?", Text(how_sure(study)))
    answers.add_row("Which fit?", Text(_which_fit(study)))
    screen.print(answers)
    print_heading("How often each speed blows (# readings, | the fit)", screen)
    for line in histogram(study):
        screen.print(Text(line))
    print_heading("Fits side by side (* the one used)", screen)
    screen.print(_fits(study.fits, study.chosen))
    print_heading(
        "Quality control: what is left out counts as missing, what is noted stays in", screen
    )
    screen.print(_screening(study.quality_control.tests))
    for test in study.quality_control.tests:
        print_item(f"{test.name.replace('_', ' ')}:", test.rule, screen)
    print_heading("By month", screen)
    screen.print(_months(study))
    print_heading("By hour of day", screen)
    screen.print(_hours(study.hours))
    if len(study.years) > 1:
        print_heading("By year (by the clock, no weights)", screen)
        screen.print(_groups("year", study.years))
    if study.directions is not None:
        print_heading("By direction the wind comes from (degrees, middle of the sector)", screen)
        screen.print(_groups("from", study.directions.sectors))
        screen.print(
            Text(
                f"calm {percent(study.directions.calm_share, 3)} of the time, direction not known "
                f"{percent(study.directions.unknown_share, 3)}"
            )
        )
    for name, found in (("Turbulence intensity", study.turbulence), ("Gust factor", study.gusts)):
        if found is not None:
            print_heading(name, screen)
            screen.print(Text(_gustiness(found)))
    if study.record.found:
        print_heading("What was recognised in the file (state it if it is wrong)", screen)
        screen.print(_found(study))
    print_heading("How it was computed", screen)
    for number, method in enumerate(_methods(study), start=1):
        print_item(f"[{number}]", method, screen)
    warnings = (*study.record.provenance.warnings, *study.warnings)
    print_list("Be warned", sentences(warnings), screen)


def enough(study: WindResource) -> str:
    """Say in a sentence or two whether a record is enough for an estimate of a year."""
    coverage = study.record.data_recovery
    days = coverage.span_hours / 24
    span = f"{days:,.0f} days" if days >= 3 else f"{coverage.span_hours:,.0f} hours"
    known = (
        f"{rounded(coverage.hours, 3)} hours of readings, {percent(coverage.share, 3)} of {span}."
    )
    missing = [calendar.month_abbr[month] for month in coverage.missing_months]
    if days < SCARCE_DAYS:
        return f"No. {known} That is weather, not a climate: go on measuring."
    if missing:
        verb = "is" if len(missing) == 1 else "are"
        return (
            f"Not by itself. {known} Of a year, {', '.join(missing)} {verb} missing: go on "
            "measuring, or set it against a long record of a neighbour."
        )
    years = days / DAYS_PER_YEAR
    if years < 2:
        return f"For a first estimate, yes: a whole year. {known} One year is not the long run."
    return f"Yes: {years:.1f} years. {known}"


def _how_windy(study: WindResource) -> str:
    power = STANDARD_DENSITY_KG_M3 / 2 * study.mean_cube_ms3
    text = (
        f"Mean {study.mean_speed_ms:.2f} m/s where it was measured [1], "
        f"{rounded(power)} W/m2 in the wind [2]."
    )
    if study.season.used:
        text += (
            f" By the clock, without weights for month and hour, the mean is "
            f"{study.clock_mean_speed_ms:.2f} m/s."
        )
    before_ms3 = study.record.mean_cube_ms3
    if before_ms3 is not None:
        text += (
            f" The readings before they were averaged hold "
            f"{rounded(STANDARD_DENSITY_KG_M3 / 2 * before_ms3)} W/m2: gusts that a rotor follows "
            "in part."
        )
    return text


def how_sure(study: WindResource) -> str:
    """Say how far the mean of the long run may be off."""
    uncertainty = study.uncertainty
    return (
        "In two cases of three the mean of the long run is within "
        f"{percent(uncertainty.mean_total)} of "
        f"this, and the power in the wind within {percent(uncertainty.cube_total)} [3]. Parts of "
        "the "
        f"first: chance of the days {percent(uncertainty.mean_sampling)}, missing seasons "
        f"{percent(uncertainty.mean_season)}, one year against the next "
        f"{percent(uncertainty.mean_year)}. "
        "Instrument, height and surroundings come on top."
    )


def _which_fit(study: WindResource) -> str:
    fit = study.chosen
    calms = f", {percent(fit.calm_share)} calms" if fit.calm_share else ""
    text = (
        f"Weibull shape {fit.shape:.2f}, scale {fit.scale_ms:.2f} m/s{calms} [4], because "
        f"{study.rule}."
    )
    verdict = "poor" if fit.poor else "good"
    error = "not known" if fit.energy_error is None else f"{100 * fit.energy_error:+.1f} %"
    text += f" The fit is {verdict}: energy of a model machine [5] {error}."
    if study.reading_limit == 0:
        return f"{text} An estimate takes the readings instead, for that was asked for."
    if study.reading_limit is not None:
        return (
            f"{text} An estimate takes the readings instead where the fit misses by more than "
            f"{percent(study.reading_limit)}."
        )
    return text


def histogram(study: WindResource) -> list[str]:
    """Draw the shares of time in classes of about 1 m/s, with the fitted share marked."""
    histogram, fit = study.histogram, study.chosen
    bounds = class_bounds(histogram, 1.0)
    if bounds.size > MOST_CLASSES:
        bounds = class_bounds(histogram, 2.0)
    below = histogram.share @ (histogram.upper_ms[:, np.newaxis] <= bounds)
    calm = fit.calm_share or 0.0
    fitted = calm + (1 - calm) * (1 - share_above(bounds, fit.shape or 1.0, fit.scale_ms or 1.0))
    shares, said = np.diff(below, prepend=0.0), np.diff(fitted, prepend=0.0)
    most = max(float(shares.max()), float(said.max()))
    lines = []
    for low, high, share, curve in zip([0.0, *bounds[:-1]], bounds, shares, said, strict=True):
        bar = ["#" if i < round(BAR_WIDTH * share / most) else " " for i in range(BAR_WIDTH + 1)]
        bar[round(BAR_WIDTH * curve / most)] = "|"
        name = "still" if high <= histogram.start_ms else ""
        lines.append(f"{low:5.1f} to {high:4.1f} m/s {name:5} {100 * share:6.2f} %  {''.join(bar)}")
    return [line.rstrip() for line in lines[:MOST_CLASSES]]


def _table(*headings: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    for number, heading in enumerate(headings):
        table.add_column(heading, justify="right" if number else "left", overflow="fold")
    return table


def _fits(fits: tuple[FitResult, ...], chosen: FitResult) -> Table:
    table = _table(
        "method",
        "shape",
        "scale m/s",
        "calms",
        "yield [5]",
        "cube [6]",
        "K dist [7]",
    )
    table.padding = (0, 1, 0, 0)
    table.columns[0].no_wrap = True
    for fit in fits:
        mark = "*" if fit is chosen else " "
        table.add_row(
            f"{mark} {fit.method}",
            _with_error(fit.shape, fit.shape_se),
            _with_error(fit.scale_ms, fit.scale_se_ms),
            percent(fit.calm_share),
            signed_percent(fit.energy_error),
            signed_percent(fit.mean_cube_error),
            percent(fit.kolmogorov),
            style="bold" if fit is chosen else "",
        )
    return table


def _with_error(value: float | None, error: float | None) -> str:
    if value is None:
        return NOT_KNOWN
    return f"{value:.2f}" if error is None else f"{value:.2f} ({error:.2f})"


def _screening(tests: tuple[QualityTest, ...]) -> Table:
    table = _table("test", "", "found", "first places", "mean", "energy")
    table.columns[1].justify = table.columns[3].justify = "left"
    for test in tests:
        speeds = [f" ({v:.1f} m/s)" if v is not None else "" for v in test.first_speeds_ms]
        speeds += [""] * (len(test.first_times) - len(speeds))
        places = [f"{time[:16]}{v}" for time, v in zip(test.first_times, speeds, strict=True)]
        effects = ("", "")
        if test.count:
            effects = (signed_percent(test.mean_effect), signed_percent(test.cube_effect))
        table.add_row(
            test.name.replace("_", " "),
            "leaves out" if test.leaves_out else "notes",
            f"{test.count:,}" if test.on else "off",
            "\n".join(places),
            *effects,
        )
    return table


def _months(study: WindResource) -> Table:
    table = _table("", *(calendar.month_abbr[m] for m in range(1, 13)))
    coverage = study.record.data_recovery
    table.add_row("covered, %", *(f"{100 * share:.0f}" for share in coverage.month_share))
    emptiest = coverage.month_hour_share.min(axis=1)
    table.add_row("emptiest hour", *(f"{100 * share:.0f}" for share in emptiest))
    table.add_row("mean, m/s", *(_one_place(g.mean_speed_ms) for g in study.months))
    table.add_row("energy, %", *(f"{100 * g.energy_share:.0f}" for g in study.months))
    return table


def _one_place(value: float | None) -> str:
    return NOT_KNOWN if value is None else f"{value:.1f}"


def _hours(hours: tuple[Group, ...]) -> Table:
    table = _table("from", *(str(h) for h in range(12)))
    for start in (0, 12):
        if start:
            table.add_row("from", *(str(h) for h in range(12, 24)), style="dim")
        part = hours[start : start + 12]
        table.add_row("mean, m/s", *(_one_place(g.mean_speed_ms) for g in part))
        table.add_row("energy, %", *(f"{100 * g.energy_share:.0f}" for g in part))
    return table


def _groups(what: str, groups: tuple[Group, ...]) -> Table:
    table = _table(what, "hours", "time", "energy", "mean m/s", "shape", "scale m/s", "time")
    table.columns[-1].justify = "left"
    most = max(group.share for group in groups) or 1.0
    for group in groups:
        table.add_row(
            group.name,
            f"{group.hours:,.0f}",
            percent(group.share),
            percent(group.energy_share),
            NOT_KNOWN if group.mean_speed_ms is None else f"{group.mean_speed_ms:.2f}",
            NOT_KNOWN if group.shape is None else f"{group.shape:.2f}",
            NOT_KNOWN if group.scale_ms is None else f"{group.scale_ms:.2f}",
            "#" * round(24 * group.share / most),
        )
    return table


def _gustiness(found: Gustiness) -> str:
    if found.mean is None:
        return f"No reading of {STEADY_FROM_MS:g} m/s or more carries it."
    text = (
        f"Mean {found.mean:.2f} over {found.readings:,} readings of {STEADY_FROM_MS:g} m/s or more"
    )
    if found.at_15_ms is not None:
        text += f", {found.at_15_ms:.2f} at 15 m/s"
    if found.highest_ms is not None:
        text += f"; highest gust {found.highest_ms:.1f} m/s. Readings without a gust do not count."
    return text if found.highest_ms is not None else f"{text}."


def _found(study: WindResource) -> Table:
    table = Table.grid(padding=(0, 2, 0, 0))
    for found in study.record.found:
        table.add_row(found.what, Text(found.found), found.how)
    return table


def _methods(study: WindResource) -> list[str]:
    weights = (
        f"readings weighted so that each month and hour of day counts as in a whole year "
        f"({study.season.reason})"
        if study.season.used
        else f"each reading counts for its time; weights for month and hour: {study.season.reason}"
    )
    return [
        f"arithmetic mean; {weights}",
        "half of 1.225 kg/m3 (ISO 2533, sea level) times the mean cube of the readings, Sheppard's "
        "correction for rounding (Kendall & Stuart)",
        study.uncertainty.method,
        f"{METHODS[study.chosen.method].source}; standard errors in brackets from the same "
        "bootstrap",
        "an invented machine: power as the cube of speed from 3 to 11 m/s, level to 25 m/s; by the "
        "fit against the time series",
        "mean cube of the fit over that of the readings",
        "Kolmogorov: the largest distance between the shares of time below any speed",
    ]
