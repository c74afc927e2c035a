"""A wind record, or a summary of one, as text for people: the answer first, then the rest."""

from __future__ import annotations

import calendar
from dataclasses import dataclass

import numpy as np
from rich.console import Console
from rich.text import Text

from yieldest.arrays import FloatArray, percent, rounded
from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.report.sentences.words import sentences
from yieldest.report.tables import Notes, Row, Section, TableView
from yieldest.report.terminal import print_answers, print_section
from yieldest.report.wind_tables import (
    fits_table,
    groups_table,
    hours_tables,
    months_table,
    quality_control_table,
    quality_rules,
)
from yieldest.wind.breakdown import STEADY_FROM_MS, Gustiness
from yieldest.wind.data_recovery import DAYS_PER_YEAR
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.resource import WindResource
from yieldest.wind.summary_tables import FrequencyTable, MonthlyMeans
from yieldest.wind.weibull import share_above
from yieldest.wind.weibull_fits import METHODS

BAR_WIDTH = 56
MONTHS = tuple(calendar.month_name)[1:]
MOST_CLASSES = 22
SCARCE_DAYS = 30


def print_resource(resource: WindResource, screen: Console) -> None:
    """Print what a record says: enough or not, how windy, how sure; then the tables."""
    screen.print(Text(resource.record.provenance.source, style="bold"))
    answers = [
        ("Is it enough?", enough(resource)),
        ("How windy?", _how_windy(resource)),
        ("How sure?", how_sure(resource)),
        ("Which fit?", _which_fit(resource)),
    ]
    print_answers(answers, screen)
    for section in _sections(resource):
        print_section(section, screen)


def _sections(resource: WindResource) -> list[Section]:
    record, directions = resource.record, resource.directions
    split = [months_table(resource), *hours_tables(resource)]
    if len(resource.years) > 1:
        split.append(groups_table("By year (by the clock, no weights)", "year", resource.years))
    calms = []
    if directions is not None:
        caption = "By direction the wind comes from (degrees, middle of the sector)"
        split.append(groups_table(caption, "from", directions.sectors))
        calms = [
            f"calm {percent(directions.calm_share, 3)} of the time, direction not known "
            f"{percent(directions.unknown_share, 3)}"
        ]
    unsteady = (("Turbulence intensity", resource.turbulence), ("Gust factor", resource.gusts))
    caption = "What was recognised in the file (state it if it is wrong)"
    found = [Row(each.what, (each.found, each.how)) for each in record.found]
    recognised = TableView(caption, ["", "found", "how"], found, words=True)
    warnings = (*record.provenance.warnings, *resource.warnings)
    return [
        Section(
            title="How often each speed blows (# readings, | the fit)", lines=histogram(resource)
        ),
        Section(
            tables=[fits_table(resource), quality_control_table(resource)],
            notes=[Notes("", quality_rules(resource))],
        ),
        Section(tables=split),
        Section(
            lines=calms,
            notes=[Notes(name, [_gustiness(of)]) for name, of in unsteady if of is not None],
        ),
        Section(
            tables=[recognised] if found else [],
            notes=[
                Notes("How it was computed", _methods(resource)),
                Notes("Be warned", sentences(warnings)),
            ],
        ),
    ]


def enough(resource: WindResource) -> str:
    """Say in a sentence or two whether a record is enough for an estimate of a year."""
    coverage = resource.record.data_recovery
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


def _how_windy(resource: WindResource) -> str:
    power = STANDARD_DENSITY_KG_M3 / 2 * resource.mean_cube_ms3
    text = (
        f"Mean {resource.mean_speed_ms:.2f} m/s where it was measured, "
        f"{rounded(power)} W/m2 in the wind."
    )
    if resource.season.used:
        text += (
            f" By the clock, without weights for month and hour, the mean is "
            f"{resource.clock_mean_speed_ms:.2f} m/s."
        )
    before_ms3 = resource.record.mean_cube_ms3
    if before_ms3 is not None:
        text += (
            f" The readings before they were averaged hold "
            f"{rounded(STANDARD_DENSITY_KG_M3 / 2 * before_ms3)} W/m2: gusts that a rotor follows "
            "in part."
        )
    return text


def how_sure(resource: WindResource) -> str:
    """Say how far the mean of the long run may be off."""
    uncertainty = resource.uncertainty
    return (
        "In two cases of three the mean of the long run is within "
        f"{percent(uncertainty.mean_total)} of this, and the power in the wind within "
        f"{percent(uncertainty.cube_total)}. Parts of the first: chance of the days "
        f"{percent(uncertainty.mean_sampling)}, missing seasons {percent(uncertainty.mean_season)},"
        f" one year against the next {percent(uncertainty.mean_year)}. Instrument, height and "
        "surroundings come on top."
    )


def _which_fit(resource: WindResource) -> str:
    fit = resource.chosen
    calms = f", {percent(fit.calm_share)} calms" if fit.calm_share else ""
    text = (
        f"Weibull shape {fit.shape:.2f}, scale {fit.scale_ms:.2f} m/s{calms}, because "
        f"{resource.rule}."
    )
    verdict = "poor" if fit.poor else "good"
    error = "not known" if fit.energy_error is None else f"{100 * fit.energy_error:+.1f} %"
    text += f" The fit is {verdict}: energy of a model machine {error}."
    if resource.reading_limit == 0:
        return f"{text} An estimate takes the readings instead, for that was asked for."
    if resource.reading_limit is not None:
        return (
            f"{text} An estimate takes the readings instead where the fit misses by more than "
            f"{percent(resource.reading_limit)}."
        )
    return text


def histogram(resource: WindResource) -> list[str]:
    """Draw the shares of time in classes of about 1 m/s, with the fitted share marked."""
    histogram, fit = resource.histogram, resource.chosen
    bounds, below = histogram.shares_below(1.0)
    if bounds.size > MOST_CLASSES:
        bounds, below = histogram.shares_below(2.0)
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


def _methods(resource: WindResource) -> list[str]:
    weights = (
        f"readings weighted so that each month and hour of day counts as in a whole year "
        f"({resource.season.reason})"
        if resource.season.used
        else "each reading counts for its time; weights for month and hour: "
        f"{resource.season.reason}"
    )
    return [
        f"mean: arithmetic; {weights}",
        "power in the wind: half of 1.225 kg/m3 (ISO 2533, sea level) times the mean cube of the "
        "readings, Sheppard's correction for rounding (Kendall & Stuart)",
        f"how sure: {resource.uncertainty.method}",
        f"fit: {METHODS[resource.chosen.method].source}; standard errors in brackets from the same "
        "bootstrap",
        "energy off: an invented machine, power as the cube of speed from 3 to 11 m/s, level to 25 "
        "m/s; by the fit against the time series",
        "cube off: mean cube of the fit over that of the readings",
        "K distance: Kolmogorov, the largest distance between the shares of time below any speed",
    ]


@dataclass(frozen=True)
class SummedWind:
    """A distribution from a summary, with the summary and the points that stand for it.

    Parameters
    ----------
    summary : FrequencyTable or MonthlyMeans
    distribution : WindDistribution
    speed_ms, share : ndarray, shape (m,)
        See `yieldest.wind.from_summaries`.
    """

    summary: FrequencyTable | MonthlyMeans
    distribution: WindDistribution
    speed_ms: FloatArray
    share: FloatArray

    @property
    def mean_speed_ms(self) -> float:
        """Mean speed."""
        return float(self.share @ self.speed_ms)

    @property
    def mean_cube_ms3(self) -> float:
        """Mean cube of the speed."""
        return float(self.share @ self.speed_ms**3)


def print_summed(wind: SummedWind, screen: Console) -> None:
    """Print how windy it is, how sure that is, and the table behind it."""
    distribution, provenance = wind.distribution, wind.distribution.provenance
    power = STANDARD_DENSITY_KG_M3 / 2 * wind.mean_cube_ms3
    screen.print(Text(provenance.source, style="bold"))
    answers = [
        (
            "How windy?",
            f"Mean {wind.mean_speed_ms:.1f} m/s, {rounded(power)} W/m2 in the wind at "
            f"{STANDARD_DENSITY_KG_M3:g} kg/m3.",
        ),
        (
            "How sure?",
            "A summary does not tell its gaps, its sensor or its years: trust it as far as you "
            "trust who made it, and at least 6 % in the mean from one year to the next (common "
            "practice, no source).",
        ),
        (
            "Which fit?",
            f"Weibull shape {distribution.shape:.2f}, scale {distribution.scale_ms:.2f} m/s: "
            f"{provenance.method}",
        ),
    ]
    print_answers(answers, screen)
    found = Section(
        lines=["", *_bars(wind)],
        notes=[
            Notes("Assumed", sentences(provenance.assumed)),
            Notes("Be warned", sentences(provenance.warnings)),
        ],
    )
    print_section(found, screen)


def _bars(wind: SummedWind) -> list[str]:
    """Draw a bar for the share of each class, or for the mean of each month."""
    summary = wind.summary
    if isinstance(summary, MonthlyMeans):
        lengths = summary.speed_ms
        labels = [(month, f"{speed:.1f} m/s") for month, speed in zip(MONTHS, lengths, strict=True)]
    else:
        lengths = summary.share
        classes = zip(summary.lower_ms, summary.upper_ms, lengths, strict=True)
        labels = [(f"{low:.1f} to {high:.1f} m/s", percent(share)) for low, high, share in classes]
    return [
        f"{label:>16} {value:>8} {'#' * round(BAR_WIDTH * length)}"
        for (label, value), length in zip(labels, lengths / lengths.max(), strict=True)
    ]
