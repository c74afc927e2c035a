"""What stands in each section of the page, and which of them the terminal prints too."""

from __future__ import annotations

import calendar
import hashlib
import shlex
from collections.abc import Callable, Sequence
from functools import partial

import numpy as np

from yieldest import __version__
from yieldest.arrays import in_one_step, number_or_none, percent, rounded
from yieldest.defaults import COVERAGE_FACTOR, YEAR_TO_YEAR
from yieldest.energy.annual_energy import FITTED_METHOD
from yieldest.frozen import frozen_dataclass
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.model.inputs import input_files
from yieldest.model.number_of_machines import CostByNumber
from yieldest.model.quantities import BY_KEY, in_currency
from yieldest.plan import Plan
from yieldest.provenance import Findings
from yieldest.report.decision import Decision
from yieldest.report.sentences.words import sentences
from yieldest.report.spending import (
    break_even_sentence,
    by_number_sentence,
    by_number_table,
    cost_sentences,
)
from yieldest.report.tables import Notes, Row, Section, TableView, build_heads, builds_table, called
from yieldest.report.uncertainty_text import (
    inputs_table,
    next_step_sentences,
    ranges_table,
    sufficiency,
)
from yieldest.report.wind_tables import (
    clock_sentence,
    fits_table,
    long_term_table,
    quality_control_table,
    quality_rules,
    shear_table,
    steps_table,
)
from yieldest.report.wind_text import enough, how_sure
from yieldest.uncertainty.result import Uncertainty
from yieldest.units import in_reader_units, length, speed

HOURS_OF_DAY = 3
"""A row of the typical day in tables is so many hours; JSON holds every hour."""


@frozen_dataclass
class Chapter:
    """A section of the page: its message in words, and what is folded away below its charts."""

    id: str
    title: str
    message: str
    folded: Sequence[Section]


def chapters_of(
    plan: Plan,
    estimate: Estimate,
    uncertainty: Uncertainty | None,
    changes: Sequence[str],
    decision: Decision,
) -> list[Chapter]:
    """Return the sections of the page but their charts."""
    energy = Section(
        "All figures of the energy",
        tables=[builds_table("", "energy", estimate), *by_month_tables(estimate)],
    )
    money = Section("All figures of the money", tables=[builds_table("", "money", estimate)])
    numbers = money_section(estimate, decision.by_number)
    sure = uncertainty_section(estimate, uncertainty)
    checked = Section("Taken on trust, and to be checked", notes=findings_notes(estimate))
    methods = Section("Methods and sources", tables=[methods_table(estimate)])
    return [
        Chapter("energy", "Energy", _each(estimate, _energy_words), [energy]),
        Chapter("wind", "Wind", _wind_words(estimate), [hub_section(estimate), *_wind(estimate)]),
        Chapter("machine", "Machine", _each(estimate, _machine_words), []),
        Chapter(
            "money", "Money", _each(estimate, partial(_money_words, estimate)), [money, numbers],
        ),
        Chapter(
            "uncertainty", "How sure", _next(estimate, uncertainty),
            [sure, checked, methods, _again(plan, uncertainty, changes)],
        ),
    ]  # fmt: skip


def _each(estimate: Estimate, words: Callable[[BuildEstimate], str]) -> str:
    """Say something of every build in one sentence."""
    parts = (f"{called(estimate, build.name)} {words(build)}." for build in estimate.builds)
    return " ".join(parts)


def _energy_words(build: BuildEstimate) -> str:
    energy = build.energy
    return (
        f"makes {rounded(energy.net_kwh, 3)} kWh a year, and power in "
        f"{energy.hours.generating:,.0f} of 8,760 hours"
    )


def _machine_words(build: BuildEstimate) -> str:
    modelled = (
        "a modelled curve, which nobody measured" if build.curve.modelled else "curve as given"
    )
    number = "one machine" if build.energy.count == 1 else f"{build.energy.count} machines"
    return f"is {number} of {rounded(build.curve.rated_power_w, 3)} W ({modelled})"


def _money_words(estimate: Estimate, build: BuildEstimate) -> str:
    cost, terms = build.cost, estimate.terms
    if cost is None:
        return "has no bill"
    costs = f"costs {BY_KEY['capital_cost'].amount(cost.capital_cost, estimate.currency)} to build"
    if terms.price_per_kwh is None:
        return costs
    worth = in_currency(float(cost.flow.value[1]), estimate.currency)
    upkeep = in_currency(cost.maintenance_per_year, estimate.currency)
    return f"{costs}; its first year is worth {worth} and takes {upkeep} of upkeep"


def _wind_words(estimate: Estimate) -> str:
    masts = []
    for places, wind in estimate.inputs.winds.items():
        at = f" at {places}" if len(estimate.inputs.winds) > 1 else ""
        mean = speed(wind.mean_speed_ms, ".2f")
        masts.append(f"The mean wind{at} is {mean} at {length(wind.distribution.height_m)}")
    hubs = "; ".join(
        f"{speed(build.distribution.mean_speed_ms, '.2f')} at the hub of "
        f"{called(estimate, build.name)} ({length(build.distribution.height_m)})"
        for build in estimate.builds
    )
    return f"{'; '.join([*masts, hubs])}."


def _next(estimate: Estimate, uncertainty: Uncertainty | None) -> str:
    if uncertainty is None:
        return "No draws were made, so there are no ranges."
    steps = next_step_sentences(uncertainty, estimate)
    return f"What to measure next. {steps[0]}." if steps else sufficiency(uncertainty)


def count_of_warnings(estimate: Estimate) -> int:
    """Return how many different warnings an estimate carries."""
    return len({*estimate.warnings, *(found for b in estimate.builds for found in b.warnings)})


def uncertainty_section(estimate: Estimate, uncertainty: Uncertainty | None) -> Section:
    """Return how sure the figures are."""
    usual = builds_table("Calm years, windy years, and a cross-check", "years", estimate)
    spread = (
        "The calm and the windy year are the ends of the 90 % range of years: a mean wind "
        f"{_years_reach(estimate)} below and above the mean."
    )
    if uncertainty is None:
        intro = (
            "No draws were made, so there are no ranges. The uncertainty of curve, height and "
            f"losses is not in what follows. {spread}"
        )
        return Section("All ranges, and their inputs", [intro], [usual])
    return Section(
        "All ranges, and their inputs",
        intro=[
            sufficiency(uncertainty),
            "P90: reached or bettered in 90 cases of 100; P50, P75, P99 likewise.",
            spread,
        ],
        tables=[ranges_table(uncertainty, estimate), usual, inputs_table(uncertainty)],
        notes=_kept(Notes("What to measure next", next_step_sentences(uncertainty, estimate))),
    )


def by_month_tables(estimate: Estimate) -> list[TableView]:
    """Return the energy of each month and the power of a typical day; none without readings."""
    found = [build.by_month for build in estimate.builds]
    heads = build_heads(estimate)

    def rows(what: str, labels: Sequence[str], unit: str) -> list[Row]:
        missing = np.full(len(labels), np.nan)
        values = [
            missing if one is None else getattr(one, what).reshape(len(labels), -1).mean(axis=1)
            for one in found
        ]
        write = in_one_step(np.concatenate(values))
        return [
            Row(label, tuple(write(number_or_none(each[i])) for each in values), unit)
            for i, label in enumerate(labels)
        ]

    if not any(found):
        return []
    hours = [f"{hour} to {hour + HOURS_OF_DAY} h" for hour in range(0, 24, HOURS_OF_DAY)]
    clock = "in UTC" if any(one.in_utc for one in found if one) else "by the clock"
    partly = {
        month
        for one in found
        if one
        for month in one.scarce_months
        if np.isfinite(one.month_kwh[month - 1])
    }
    names = [f"{calendar.month_name[i]}{', partly read' * (i in partly)}" for i in range(1, 13)]
    months = rows("month_kwh", names, "kWh")
    day = rows("hour_w", hours, "W")
    return [
        TableView("Net energy by month", ["month", *heads], months),
        TableView("A typical day: mean net power", [clock, *heads], day),
    ]


def hub_section(estimate: Estimate) -> Section:
    """Return the way of the wind from the mast to the hubs."""
    found, shear = estimate.long_term, estimate.shear
    return Section(
        "From the mast to the hub",
        intro=[] if found is None else [clock_sentence(found)],
        tables=[
            *([] if found is None else [long_term_table(found)]),
            *([] if shear is None else [shear_table(shear)]),
            steps_table(estimate),
        ],
    )


def money_section(estimate: Estimate, numbers: Sequence[CostByNumber]) -> Section:
    """Return what each build costs, by number of machines, and what would make it pay."""
    return Section(
        "What it costs, and what would make it pay",
        tables=[by_number_table(each, estimate) for each in numbers],
        notes=_kept(
            Notes(
                "By number of machines", [by_number_sentence(each, estimate) for each in numbers]
            ),
            *(
                Notes(f"What {called(estimate, b.name)} costs", cost_sentences(b, estimate))
                for b in estimate.builds
            ),
            Notes(
                "Break-even",
                [text for b in estimate.builds if (text := break_even_sentence(b, estimate))],
            ),
        ),
    )


def findings_notes(estimate: Estimate) -> list[Notes]:
    """Return what was assumed and warned of; what all builds share is said once."""
    return _kept(
        *_findings(estimate, "Check this", "Check this on", lambda of: of.warnings, warn=True),
        *_findings(estimate, "Assumed, for nobody stated it", "Assumed for", lambda of: of.assumed),
    )


def _findings(
    estimate: Estimate,
    title: str,
    of_build: str,
    find: Callable[[Estimate | BuildEstimate], Findings],
    *,
    warn: bool = False,
) -> list[Notes]:
    every = [sentences(find(build)) for build in estimate.builds]
    shared = [text for text in every[0] if all(text in other for other in every)]
    common = list(dict.fromkeys([*sentences(find(estimate)), *shared]))
    return [
        Notes(title, common, warn),
        *(
            Notes(
                f"{of_build} {called(estimate, build.name)}",
                [text for text in mine if text not in shared],
                warn,
            )
            for build, mine in zip(estimate.builds, every, strict=True)
        ),
    ]


def _years_reach(estimate: Estimate) -> str:
    """Say how far the means of 90 % of all years lie from the mean of many."""
    spreads = {build.inputs.wind.yearly_spread for build in estimate.builds}
    return " or ".join(percent(COVERAGE_FACTOR * spread) for spread in sorted(spreads))


def _years_source(estimate: Estimate) -> str:
    """Say how far yearly means spread, and who says so."""
    said = (
        f"{percent(wind.yearly_spread)}, "
        + (YEAR_TO_YEAR.source if wind.long_term is None else "as the long-term reference shows")
        for wind in estimate.inputs.winds.values()
    )
    return " or ".join(dict.fromkeys(said))


def methods_table(estimate: Estimate) -> TableView:
    """Return what was computed and how, with the source, in the words of the figures."""
    terms, currency = estimate.terms, estimate.currency
    pairs = [("wind as measured", in_reader_units(estimate.distribution.provenance.method))]
    for build in estimate.builds:
        pairs += [
            (BY_KEY["hub_mean_speed_ms"].words, in_reader_units(build.height_method)),
            (BY_KEY["air_density_kg_m3"].words, build.air.provenance.method),
            (
                f"power curve of {called(estimate, build.name)}",
                in_reader_units(build.curve.provenance.method),
            ),
        ]
    price, wage = terms.price_per_kwh, terms.wage_per_hour
    where = " where the bill states none"
    if terms.states("maintenance_share_per_year"):
        where = ", on top of what the bill states"
    worth = "no price stated"
    if price is not None:
        worth = f"{price:g} {currency} for each kWh that you use yourself"
    pairs += [
        (BY_KEY["fitted_gross_kwh_per_year"].words, FITTED_METHOD),
        (BY_KEY["time_series_gross_kwh_per_year"].words, _of_readings(estimate)),
        (
            "calm and windy year",
            f"mean wind {_years_reach(estimate)} lower or higher, between which 90 % of all years "
            f"lie: 1.645 times the standard deviation of yearly means ({_years_source(estimate)}); "
            "the uncertainty of curve, height and losses comes on top",
        ),
        (
            BY_KEY["capital_cost"].words,
            "the parts bill; own work "
            + (
                f"at {wage:g} {currency} an hour"
                if wage
                else "counted as free, for no wage is stated"
            ),
        ),
        *(
            (BY_KEY["cost_per_kwh"].words, build.cost.provenance.method)
            for build in estimate.builds
            if build.cost is not None
        ),
        (
            "money terms",
            f"{terms.life_years} years, real rate {100 * terms.discount_rate:.3g} %, upkeep "
            f"{100 * terms.maintenance_share_per_year:.3g} % of the capital cost a year{where}, "
            f"replacements when due; {terms.provenance.method}",
        ),
        (
            BY_KEY["payback_years"].words,
            f"until the balance stays above zero, replacements included; {worth}; the discounted "
            "one at the real rate",
        ),
    ]
    return TableView(
        "How each figure was computed",
        ["figure", "method and source"],
        [Row(what, (how,)) for what, how in dict.fromkeys(pairs)],
        words=True,
    )


def _of_readings(estimate: Estimate) -> str:
    """Say how the energy from the readings is computed, and when it is used."""
    if estimate.builds[0].energy.time_series_gross_kwh is None:
        return "no record, so no cross-check"
    limit = estimate.distribution.reading_limit
    fitted = BY_KEY["fitted_gross_kwh_per_year"].words
    if limit is None:
        use = "a cross-check of the fit, for a fit was asked for"
    elif limit == 0:
        use = "used, for it was asked for"
    else:
        use = f"used where the {fitted} is more than {100 * limit:.0f} % away from it"
    over = (
        "at every reading of the record"
        if estimate.record is not None
        else "over the classes of the table, or over the twelve months one by one"
    )
    return f"the same curve {over}, mean times 8760 h; {use}"


def _kept(*notes: Notes) -> list[Notes]:
    """Leave out the notes that say nothing."""
    return [note for note in notes if note.texts]


def _wind(estimate: Estimate) -> list[Section]:
    winds = estimate.inputs.winds
    return [
        Section(
            "Is the record good enough" + (f": {places}" if len(winds) > 1 else ""),
            intro=[enough(resource), how_sure(resource)],
            tables=[quality_control_table(resource), fits_table(resource)],
            notes=_kept(Notes("The rules of these tests", quality_rules(resource))),
        )
        for places, wind in winds.items()
        if (resource := wind.resource) is not None
    ]


def _again(plan: Plan, uncertainty: Uncertainty | None, changes: Sequence[str]) -> Section:
    rows = [
        Row(path.name, (hashlib.sha256(path.read_bytes()).hexdigest(),))
        for path in input_files(plan)
    ]
    command = shlex.join(
        ["yieldest", "report", plan.path.name, "-o", "page.html"]
        + [part for change in changes for part in ("--set", change)]
    )
    draws = (
        "No draws were made."
        if uncertainty is None
        else f"{uncertainty.convergence.draws:,} draws with the seed {uncertainty.seed}."
    )
    return Section(
        "How to get this again",
        intro=[
            f"yieldest {__version__} made this page with: {command}",
            f"{draws} The same files and the same versions give the same page, byte for byte.",
        ],
        tables=[TableView("What went in", ["file", "SHA-256"], rows, words=True)],
    )
