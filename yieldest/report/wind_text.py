"""A wind record, or a summary of one, as text for people: the answer first, then the rest."""

from __future__ import annotations

import calendar

import numpy as np
from rich.console import Console
from rich.text import Text

from yieldest.arrays import FloatArray, percent, rounded
from yieldest.defaults import COVERAGE_FACTOR, STANDARD_DENSITY_KG_M3, YEAR_TO_YEAR
from yieldest.frozen import frozen_dataclass
from yieldest.report.sentences.wind import (
    FAULT_WORDS,
    MOVE_EVERY_FIGURE,
    month_names,
    recognised_words,
)
from yieldest.report.sentences.words import minute, sentences
from yieldest.report.tables import Row, TableView
from yieldest.report.terminal import (
    checks,
    print_answers,
    print_heading,
    print_list,
    print_table,
    print_text,
    rows_left,
)
from yieldest.report.wind_tables import (
    clock_sentence,
    fits_table,
    groups_table,
    hours_tables,
    long_term_table,
    months_table,
    quality_control_table,
    quality_rules,
)
from yieldest.uncertainty.distributions import Lognormal
from yieldest.units import in_reader_units, length, number, speed, speed_unit
from yieldest.wind.breakdown import STEADY_FROM_MS, Gustiness
from yieldest.wind.data_recovery import DAYS_PER_YEAR
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.long_term.correction import LongTermCorrection
from yieldest.wind.quality_control import ReadingsLeftOut, TimesNoted
from yieldest.wind.record import Record
from yieldest.wind.resource import WindResource
from yieldest.wind.summary_tables import FrequencyTable, MonthlyMeans
from yieldest.wind.weibull import share_above
from yieldest.wind.weibull_fits import METHODS

BAR_WIDTH = 56
MONTHS = tuple(calendar.month_name)[1:]
MOST_CLASSES = 13
MOST_CLASSES_IN_FULL = 22
MAIN_SECTORS = 3
MOST_BARS = 15
TAIL_SHARE = 0.04
"""Classes of strong wind with so little of the time may stand in one line; our choice."""
SCARCE_DAYS = 30
WORTH_NAMING = 0.02
"""By the clock, a mean that is not so far from the weighted one is left to `--full`; our choice."""


def print_resource(
    resource: WindResource,
    screen: Console,
    over_years: LongTermCorrection | None = None,
    *,
    full: bool = False,
) -> None:
    """Print what a record says on one screen, with its long term; all the rest in full."""
    record = resource.record
    of_years = () if over_years is None else over_years.provenance.warnings
    of_record = [
        each
        for each in (*record.provenance.warnings, *resource.warnings)
        if not isinstance(each, TimesNoted)
    ]
    of_record.sort(key=lambda each: not isinstance(each, MOVE_EVERY_FIGURE))
    beside_faults = [each for each in of_record if not isinstance(each, ReadingsLeftOut)]
    # The record's own stands first; what is said of a reference must not fall off the screen.
    first_of_each = [*beside_faults[:1], *of_years, *beside_faults[1:]]
    screen.print(Text(record.provenance.source, style="bold"))
    unsteady = [_gustiness(*each) for each in _unsteady(resource)]
    answers = [
        ("Read as", _read_as(record)),
        ("Enough?", enough(resource, referred=over_years is not None)),
        ("How windy?", _how_windy(resource)),
        # With a reference the range of the record by itself is not the answer.
        *([("How sure?", how_sure(resource))] if over_years is None or full else []),
        *([] if over_years is None else [("Long term?", _over_years(resource, over_years))]),
        ("Which fit?", _which_fit(resource)),
        ("Faults?", _faults(resource)),
        ("When?", _when(resource)),
        ("From where?", _from_where(resource)),
        *([] if full else [("Gusty?", text) for text in unsteady]),
        *([] if full else checks(first_of_each, record.provenance.source)),
    ]
    lines = print_answers(answers, screen)
    most = MOST_CLASSES_IN_FULL if full else rows_left(lines, 4, MOST_CLASSES)
    if full:
        print_list("Check this", sentences([*of_record, *of_years]), screen)
    print_heading("How often each speed blows (# readings, | the fit)", screen)
    for line in histogram(resource, screen.width, most, full=full):
        screen.print(Text(line))
    if not full:
        print_text("Fits, tests, months, hours, directions, methods: --full.", screen)
        return
    _print_all(resource, screen)
    if over_years is not None:
        print_table(long_term_table(over_years), screen)


def _print_all(resource: WindResource, screen: Console) -> None:
    record, directions = resource.record, resource.directions
    if record.found:
        caption = "What was recognised in the file (state it if it is wrong)"
        found = [Row(each.what, (recognised_words(each), each.how)) for each in record.found]
        print_table(TableView(caption, ["", "found", "how"], found, words=True), screen)
    print_table(fits_table(resource), screen)
    print_table(quality_control_table(resource), screen)
    print_list("", quality_rules(resource), screen)
    for table in (months_table(resource), *hours_tables(resource)):
        print_table(table, screen)
    if len(resource.years) > 1:
        caption = "By year (by the clock, no weights)"
        print_table(groups_table(caption, "year", resource.years), screen)
    if directions is not None:
        caption = "By direction the wind comes from (degrees, middle of the sector)"
        print_table(groups_table(caption, "from", directions.sectors), screen)
        calm, unknown = percent(directions.calm_share), percent(directions.unknown_share)
        screen.print(Text(f"calm {calm} of the time, direction not known {unknown}"))
    print_list("How gusty", [_gustiness(*each) for each in _unsteady(resource)], screen)
    print_list("How it was computed", _methods(resource), screen)


def _read_as(record: Record) -> str:
    """Say in what units, columns and clock a record was read, how often and how long."""
    found = {each.what: each for each in record.found}
    column = found.get("column of speed") or found.get("variable of speed")
    text = "speed" if column is None else f"“{column.found}”"
    unit = found.get("unit of speed")
    if unit is not None:
        text += f" in {unit.found} ({unit.how})"
    if record.height_m is not None:
        text += f" at {length(record.height_m)}"
    first, last = map(minute, record.time[[0, -1]])
    parts = [
        text,
        f"a reading {interval_words(record.data_recovery.interval_s)}",
        f"{first} to {last}",
    ]
    zone, order = found.get("time zone"), found.get("order of the date")
    if zone is not None:
        parts.append(
            "no time zone stated" if zone.how == "not stated" else f"time zone {zone.found}"
        )
    if order is not None:
        parts.append(f"dates {order.found} ({order.how})")
    if "weather year" in found:
        parts.append(found["weather year"].found)
    return f"{', '.join(parts)}."


def interval_words(interval_s: float) -> str:
    """Write the time between readings as people say it."""
    for length_s, name in ((86400.0, "d"), (3600.0, "h"), (60.0, "min")):
        if interval_s >= length_s:
            return f"every {interval_s / length_s:.3g} {name}"
    return f"every {interval_s:.3g} s"


def enough(resource: WindResource, *, referred: bool = False) -> str:
    """Say in a sentence or two whether a record is enough for an estimate of a year."""
    coverage = resource.record.data_recovery
    days = coverage.span_hours / 24
    span = f"{days:,.0f} days" if days >= 3 else f"{coverage.span_hours:,.0f} hours"
    known = (
        f"{rounded(coverage.hours, 3)} hours of readings, {percent(coverage.share, 3)} of {span}."
    )
    if days < SCARCE_DAYS:
        return f"No. {known} That is weather, not a year of wind: go on measuring."
    if coverage.missing_months:
        advice = (
            "the reference makes up for that."
            if referred
            else "go on measuring, or compare with a long record of a nearby station "
            "(wind.reference)."
        )
        missing = month_names(coverage.missing_months)
        return f"Not by itself. {known} Less than half of {missing} is there: {advice}"
    years = days / DAYS_PER_YEAR
    if years < 2:
        return f"For a first estimate, yes: a whole year. {known} One year is not the long run."
    return f"Yes: {years:.1f} years. {known}"


def _how_windy(resource: WindResource) -> str:
    power, of_means = (
        STANDARD_DENSITY_KG_M3 / 2 * cube
        for cube in (resource.whole_cube_m3_s3, resource.mean_cube_m3_s3)
    )
    text = (
        f"Mean {speed(resource.mean_speed_ms, '.2f')} where it was measured, "
        f"{rounded(power, 3)} W/m2 in the wind."
    )
    if resource.hides is not None:
        text += (
            f" The means over {resource.hides.interval_hours:.3g} h alone hold "
            f"{rounded(of_means, 3)} W/m2; how the wind rose and fell within them is put back."
        )
    if abs(resource.clock_mean_speed_ms / resource.mean_speed_ms - 1) > WORTH_NAMING:
        text += f" {_by_the_clock(resource)}."
    before_m3_s3 = resource.record.mean_cube_m3_s3
    # What was left out since is still in them.
    if before_m3_s3 is not None and not resource.quality_control.left_out:
        text += (
            f" The readings before they were averaged hold "
            f"{rounded(STANDARD_DENSITY_KG_M3 / 2 * before_m3_s3, 3)} W/m2: gusts that a rotor "
            "follows in part."
        )
    return text


def _by_the_clock(resource: WindResource) -> str:
    return (
        "By the clock, without weights for month and hour, the mean is "
        f"{speed(resource.clock_mean_speed_ms, '.2f')}"
    )


def how_sure(resource: WindResource) -> str:
    """Say between what ends the mean of the long run lies, and what leaves that open most."""
    uncertainty, hides = resource.uncertainty, resource.hides
    of_cube = uncertainty.cube_total
    if hides is not None:
        least, most = hides.cube_hidden_range
        of_hidden = (most - least) / (1 - hides.cube_hidden) / 2 / COVERAGE_FACTOR
        of_cube = float(np.hypot(of_cube, of_hidden))
    mean, power = (
        Lognormal(central, relative).at([-COVERAGE_FACTOR, COVERAGE_FACTOR])
        for central, relative in (
            (resource.mean_speed_ms, uncertainty.mean_total),
            (STANDARD_DENSITY_KG_M3 / 2 * resource.whole_cube_m3_s3, of_cube),
        )
    )
    parts = {
        "the weather of these very days": uncertainty.mean_sampling,
        "the seasons that are missing": uncertainty.mean_season,
        "one year against the next": uncertainty.mean_year,
    }
    return (
        f"The mean of many years has the 90 % range {number(mean[0], 'm/s', '.1f')} to "
        f"{speed(mean[1], '.1f')}, the power in the wind {rounded(power[0])} to "
        f"{rounded(power[1])} W/m2; most of that comes from "
        f"{max(parts, key=parts.__getitem__)}. Instrument, height and surroundings come on top."
    )


def _over_years(resource: WindResource, found: LongTermCorrection) -> str:
    """Say what the wind of a reference's years is on site, and how the records fit together."""
    chosen = found.chosen
    low, high = Lognormal(chosen.mean_ms, found.standard_uncertainty).at(
        [-COVERAGE_FACTOR, COVERAGE_FACTOR]
    )
    hidden = resource.whole_cube_m3_s3 / resource.mean_cube_m3_s3
    power = STANDARD_DENSITY_KG_M3 / 2 * chosen.mean_cube * hidden
    years_of, *others = found.sources
    beside = f", weighed with {' and '.join(others)}" if others else ""
    return (
        f"Over the years of {years_of}{beside}: mean {speed(chosen.mean_ms, '.2f')} "
        f"(90 % range {number(low, 'm/s', '.1f')} to {number(high, 'm/s', '.1f')}), "
        f"{rounded(power, 3)} W/m2 in the wind; instrument, height and surroundings come on top. "
        f"{clock_sentence(found)}"
    )


def _which_fit(resource: WindResource) -> str:
    fit = resource.chosen
    calms = f", {percent(fit.calm_share)} calms" if fit.calm_share else ""
    verdict = "poor" if fit.poor else "good"
    if fit.energy_error is None:
        energy = "the energy of a model machine by it is not known"
    else:
        less = "less" if fit.energy_error < 0 else "more"
        energy = (
            f"by it a model machine makes {100 * abs(fit.energy_error):.1f} % {less} than by the "
            "readings"
        )
    scale = speed(fit.scale_ms or 0.0, ".2f")
    text = (
        f"Weibull shape {fit.shape:.2f}, scale {scale}{calms} ({fit.method}). "
        f"The fit is {verdict}: {energy}."
    )
    if resource.reading_limit == 0:
        return f"{text} An estimate takes the readings instead, for that was asked for."
    if resource.reading_limit is not None:
        return (
            f"{text} An estimate takes the readings instead where it misses by more than "
            f"{100 * resource.reading_limit:.3g} %."
        )
    return text


def _faults(resource: WindResource) -> str:
    """Say in one line what the tests left out and what they noted."""
    found = [test for test in resource.quality_control.tests if test.count]
    gone, noted = (
        ", ".join(
            f"{test.count:,} {FAULT_WORDS[test.name]}"
            + (f" (first {test.first_times[0][:16].replace('T', ' ')})" if leaves_out else "")
            for test in found
            if test.leaves_out == leaves_out
        )
        for leaves_out in (True, False)
    )
    return f"Left out: {gone or 'nothing'}." + (f" Noted: {noted}." if noted else "")


def _when(resource: WindResource) -> str:
    """Say in which months and at which hours it blows most and least."""
    parts = []
    scarce = resource.record.data_recovery.missing_months
    months = [
        (f"in {calendar.month_abbr[int(group.name)]}", group)
        for group in resource.months
        if int(group.name) not in scarce
    ]
    utc = " UTC" if resource.record.in_utc else ""
    hours = [(f"at {group.name} h{utc}", group) for group in resource.hours]
    for lead, named in (("", months), ("over the day ", hours)):
        known = [(each.mean_speed_ms, when) for when, each in named if each.mean_speed_ms]
        if not known:
            continue
        (least, calmest), (most, windiest) = min(known), max(known)
        if least < most:
            parts.append(
                f"{lead}most wind {windiest} ({speed(most, '.1f')}), least {calmest} "
                f"({number(least, 'm/s', '.1f')})"
            )
    text = "; ".join(parts) or "No two months or hours are known well enough"
    return f"{text[0].upper()}{text[1:]}."


def _from_where(resource: WindResource) -> str:
    """Say from which directions most of the energy comes."""
    directions = resource.directions
    if directions is None:
        return "Not known: the record has no directions."
    main = sorted(directions.sectors, key=lambda each: -each.energy_share)[:MAIN_SECTORS]
    *others, last = (each.name for each in main)
    return (
        f"Mostly from {', '.join(others)} and {last} degrees (0 is north, 90 east): "
        f"{percent(sum(each.share for each in main))} of the time and "
        f"{percent(sum(each.energy_share for each in main))} of the energy. Calm "
        f"{percent(directions.calm_share)} of the time."
    )


def histogram(resource: WindResource, width: int, most: int, *, full: bool = False) -> list[str]:
    """Draw the shares of time in classes of 1 m/s or more, with the fitted share marked.

    Unless in full, the last of at most so many lines holds all the strong winds beyond.
    """
    histogram, fit = resource.histogram, resource.chosen
    for class_ms in (1.0, 2.0, 4.0):
        bounds, below = histogram.shares_below(class_ms)
        tail = bounds.size > most
        if not tail or (not full and below[most - 2] >= 1 - TAIL_SHARE):
            break
    if tail:
        bounds = np.append(bounds[: most - 1], bounds[-1])
        below = np.append(below[: most - 1], below[-1])
    calm = fit.calm_share or 0.0
    fitted = calm + (1 - calm) * (1 - share_above(bounds, fit.shape or 1.0, fit.scale_ms or 1.0))
    shares, said = np.diff(below, prepend=0.0), np.diff(fitted, prepend=0.0)
    highest = max(float(shares.max()), float(said.max()))
    bar_width, unit = min(BAR_WIDTH, width - 34), speed_unit()
    lines = []
    for i, (share, curve) in enumerate(zip(shares, said, strict=True)):
        low, high = 0.0 if i == 0 else bounds[i - 1], bounds[i]
        bar = ["#" if j < round(bar_width * share / highest) else " " for j in range(bar_width + 1)]
        bar[round(bar_width * curve / highest)] = "|"
        name = "still" if high <= histogram.start_ms else ""
        span = (
            f"{_bound(low):>5} {unit} and up "
            if tail and i == most - 1
            else f"{_bound(low):>5} to {_bound(high):>4} {unit}"
        )
        lines.append(f"{span} {name:5} {100 * share:5.1f} %  {''.join(bar)}".rstrip())
    return lines


def _bound(speed_ms: float) -> str:
    """Write the bound of a class to tenths, one midway between two of them as the upper one."""
    # Readings in tenths have all their bounds midway, and the last bit would decide for each.
    return number(speed_ms + 1e-9, "m/s", ".1f")


def _unsteady(resource: WindResource) -> list[tuple[str, Gustiness]]:
    each = (("turbulence intensity", resource.turbulence), ("gust factor", resource.gusts))
    return [(name, found) for name, found in each if found is not None]


def _gustiness(name: str, found: Gustiness) -> str:
    if found.mean is None:
        return f"The {name} is not known: no reading of {speed(STEADY_FROM_MS)} or more carries it."
    text = (
        f"Mean {name} {found.mean:.2f} over {found.readings:,} readings of "
        f"{speed(STEADY_FROM_MS)} or more"
    )
    if found.at_15_ms is not None:
        text += f", {found.at_15_ms:.2f} at {speed(15)}"
    if found.highest_ms is not None:
        highest = speed(found.highest_ms, ".1f")
        text += f"; highest gust {highest}. Readings without a gust do not count"
    return f"{text}."


def _methods(resource: WindResource) -> list[str]:
    weights = (
        f"readings weighted so that each month and hour of day counts as in a whole year "
        f"({resource.season.reason})"
        if resource.season.used
        else "each reading counts for its time; weights for month and hour: "
        f"{resource.season.reason}"
    )
    if resource.season.used:
        weights += f". {_by_the_clock(resource)}"
    sure = resource.uncertainty
    said = [
        f"mean: arithmetic; {weights}",
        "power in the wind: half of 1.225 kg/m3 (ISO 2533, sea level) times the mean cube of the "
        "readings, Sheppard's correction for rounding (Kendall & Stuart)",
        f"how sure: {sure.method}. Standard uncertainty of the mean {percent(sure.mean_total)} "
        f"(chance of the days {percent(sure.mean_sampling)}, missing seasons "
        f"{percent(sure.mean_season)}, one year against the next {percent(sure.mean_year)}), of "
        f"the power in the wind {percent(sure.cube_total)}; taken as lognormal for the 90 % ranges",
        f"fit: {METHODS[resource.chosen.method].source}, because {resource.rule}; standard errors "
        "in brackets from the same bootstrap",
        "energy off: an invented machine, power as the cube of speed from 3 to 11 m/s, level to 25 "
        "m/s; by the fit against the time series",
        "cube off: mean cube of the fit over that of the readings",
        "K distance: Kolmogorov, the largest distance between the shares of time below any speed",
    ]
    return [in_reader_units(each) for each in said]


@frozen_dataclass
class SummedWind:
    """A distribution from a summary, with the summary and the points that stand for it.

    These are speeds and their shares of the time, see `yieldest.wind.from_summaries`.
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
    def mean_cube_m3_s3(self) -> float:
        """Mean cube of the speed."""
        return float(self.share @ self.speed_ms**3)


def print_summed(wind: SummedWind, screen: Console, *, full: bool = False) -> None:
    """Print how windy it is, how sure that is, and the table behind it; every class in full."""
    distribution, provenance = wind.distribution, wind.distribution.provenance
    power = STANDARD_DENSITY_KG_M3 / 2 * wind.mean_cube_m3_s3
    screen.print(Text(provenance.source, style="bold"))
    answers = [
        ("Read as", f"{in_reader_units(provenance.method)}."),
        (
            "How windy?",
            f"Mean {speed(wind.mean_speed_ms, '.1f')}, {rounded(power, 3)} W/m2 in the wind at "
            f"{STANDARD_DENSITY_KG_M3:g} kg/m3.",
        ),
        (
            "How sure?",
            "A summary does not tell its gaps, its sensor or its years: trust it as far as you "
            f"trust who made it. From one year to the next alone the mean varies by "
            f"{percent(COVERAGE_FACTOR * YEAR_TO_YEAR.value)} to either side (90 % range; "
            f"{YEAR_TO_YEAR.source}).",
        ),
        (
            "Which fit?",
            f"Weibull shape {distribution.shape:.2f}, scale {speed(distribution.scale_ms, '.2f')}.",
        ),
        *([] if full else checks(provenance.warnings, provenance.source)),
    ]
    print_answers(answers, screen)
    if full:
        print_list("Check this", sentences(provenance.warnings), screen)
    print_heading(
        "Mean of each month"
        if isinstance(wind.summary, MonthlyMeans)
        else "How often each speed blows",
        screen,
    )
    for line in _bars(wind, screen.width, full=full):
        screen.print(Text(line))
    print_list("Assumed, for nobody stated it", sentences(provenance.assumed), screen)


def _bars(wind: SummedWind, width: int, *, full: bool) -> list[str]:
    """Draw a bar for the share of each class, or for the mean of each month.

    Unless in full, neighbours share a line where there are many classes.
    """
    summary = wind.summary
    if isinstance(summary, MonthlyMeans):
        lengths = summary.speed_ms
        labels = [(month, speed(mean, ".1f")) for month, mean in zip(MONTHS, lengths, strict=True)]
    else:
        first = np.arange(0, summary.share.size, 1 if full else -(-summary.share.size // MOST_BARS))
        lengths = np.add.reduceat(summary.share, first)
        upper = summary.upper_ms[np.append(first[1:], summary.share.size) - 1]
        classes = zip(summary.lower_ms[first], upper, lengths, strict=True)
        labels = [
            (f"{_bound(low)} to {_bound(high)} {speed_unit()}", percent(share))
            for low, high, share in classes
        ]
    bar_width = min(BAR_WIDTH, width - 28)
    return [
        f"{label:>16} {value:>8} {'#' * round(bar_width * length)}".rstrip()
        for (label, value), length in zip(labels, lengths / lengths.max(), strict=True)
    ]
