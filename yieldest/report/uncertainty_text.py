"""How sure an estimate is, in tables and sentences."""

from __future__ import annotations

from yieldest.arrays import NOT_KNOWN, percent, rounded
from yieldest.model.estimate import Estimate
from yieldest.model.quantities import BY_KEY, NEVER
from yieldest.report.sentences.uncertainty import STEP_WORDS
from yieldest.report.tables import Row, TableView, build_heads, called
from yieldest.uncertainty.next_measurement import MORE_MONTHS, Gain
from yieldest.uncertainty.propagation import EXCEEDANCE, TOLERANCE, Range
from yieldest.uncertainty.result import BuildUncertainty, Uncertainty
from yieldest.uncertainty.uncertain_inputs import CATEGORIES
from yieldest.units import in_reader_units

MOST_CERTAIN = 0.99
FIRST = 6
"""Drivers that are shown; the rest is in the JSON."""

WORTH_MEASURING = 0.05
"""A measurement that narrows the range by less is not proposed."""


def between(range_: Range, digits: int = 2) -> str:
    """Write the ends of a 90 % range; never where no case has any."""
    if range_.low is None and range_.high is None:
        return NEVER
    return f"{_or_never(range_.low, digits)} to {_or_never(range_.high, digits)}"


def _or_never(value: float | None, digits: int = 2) -> str:
    return NEVER if value is None else rounded(value, digits)


def chance_words(share: float | None) -> str:
    """Write a chance; nothing is certain, and nothing is ruled out."""
    if share is None:
        return NOT_KNOWN
    if share > MOST_CERTAIN:
        return f"over {100 * MOST_CERTAIN:.0f} %"
    if share < 1 - MOST_CERTAIN:
        return f"below {100 - 100 * MOST_CERTAIN:.0f} %"
    return f"{100 * share:.0f} %"


def range_of(build: BuildUncertainty, measure: str) -> str:
    """Write the range of a figure, "-" where there is none."""
    return between(build.ranges[measure]) if measure in build.ranges else NOT_KNOWN


def goal_of(build: BuildUncertainty) -> str:
    """Return the figure whose uncertainty matters most: cost per kWh, or energy without a bill."""
    return "cost_per_kwh" if "cost_per_kwh" in build.drivers else "life_kwh_per_year"


def next_step_sentences(uncertainty: Uncertainty, estimate: Estimate) -> list[str]:
    """Return for each build what narrows its range by 5 % or more, the most useful first.

    Where nothing that could be measured is likely to turn the answer, that is said instead.
    """
    texts = []
    for build in uncertainty.builds:
        name = called(estimate, build.name)
        if is_settled(build):
            verb = "pays" if (build.probability_that_it_pays or 0.0) > 0.5 else "does not pay"
            texts.append(
                f"{name}: nothing more for the money's sake: in more than "
                f"{percent(MOST_CERTAIN)} of all cases it {verb}, so no measurement is likely to "
                "turn the answer"
            )
        else:
            texts += [
                f"{name}: {gain_words(gain, build, estimate)}" for gain in worth_measuring(build)
            ]
    return texts


def is_settled(build: BuildUncertainty) -> bool:
    """Whether no measurement is likely to turn the answer: it nearly always pays, or never."""
    pays = build.probability_that_it_pays
    return pays is not None and not 1 - MOST_CERTAIN <= pays <= MOST_CERTAIN


def worth_measuring(build: BuildUncertainty) -> list[Gain]:
    """Return at most three measurements that narrow the range of a build's main figure enough.

    Of the lengths by which the record may grow only the one that brings most for its work.
    """
    found: list[Gain] = []
    for gain in build.next_steps:
        longer = gain.step in MORE_MONTHS.values()
        if gain.narrowed >= WORTH_MEASURING and not (
            longer and any(each.step in MORE_MONTHS.values() for each in found)
        ):
            found.append(gain)
    return found[:3]


def gain_words(gain: Gain, build: BuildUncertainty, estimate: Estimate) -> str:
    """Say what a measurement is and what it would do to the range of its build."""
    found = build.ranges[gain.figure]
    before, after = gain.before, gain.after
    if found.low is not None and found.high is not None:
        # A part of the draws tells the change; the range itself is that of all of them.
        before = (found.low, found.high)
        after = (before[0] + after[0] - gain.before[0], before[1] + after[1] - gain.before[1])
    # With the digits of every other range: a change that they do not show is told by its share.
    now, then = (" to ".join(map(rounded, ends)) for ends in (before, after))
    return (
        f"{step_words(gain)}: the 90 % range of {FIGURE_WORDS[gain.figure]}, {now} "
        f"{_unit_of(gain.figure, estimate)}, becomes {f'{then}, ' if then != now else ''}"
        f"{percent(gain.narrowed)} narrower"
    )


def step_words(gain: Gain) -> str:
    """Say what a measurement is and what work it takes."""
    days = f"{gain.work_days:g} day{'s' * (gain.work_days != 1)}"
    return f"{STEP_WORDS[gain.step]}, about {days} of work"


def _unit_of(figure: str, estimate: Estimate) -> str:
    """Return the unit of the main figure of a build: money per kWh, or energy."""
    key = figure if figure in BY_KEY else "net_kwh_per_year"
    return BY_KEY[key].unit_in(estimate.currency)


def sufficiency(uncertainty: Uncertainty) -> str:
    """Say how many draws were made, and whether they were enough."""
    judged = uncertainty.convergence
    made = f"{judged.draws:,} draws (seed {uncertainty.seed})"
    if judged.enough_draws is None:
        return (
            f"{made} were too few: P50 and P90 still move up to "
            f"{100 * judged.standard_error:.1f} %; raise --draws."
        )
    return (
        f"{made}; {judged.enough_draws:,} were enough for P50 and P90 to hold to "
        f"{100 * TOLERANCE:.0f} % (now {100 * judged.standard_error:.2f} %)."
    )


FIGURE_WORDS = {"cost_per_kwh": "the cost per kWh", "life_kwh_per_year": "the yearly energy"}
_WORDS = {
    "one_year_kwh": ("net energy of one year", "kWh"),
    "life_kwh_per_year": ("net energy, mean year of its life", "kWh/year"),
}
"""Energy of the draws; money has its words in the registry of quantities."""


def ranges_table(uncertainty: Uncertainty, estimate: Estimate) -> TableView:
    """Return every range and chance, a column for each build."""
    builds = uncertainty.builds
    rows = []
    for measure in dict.fromkeys(key for build in builds for key in build.ranges):
        label, unit = _WORDS.get(measure) or (
            BY_KEY[measure].words,
            BY_KEY[measure].unit_in(estimate.currency),
        )
        rows.append(Row(label, tuple(range_of(build, measure) for build in builds), unit))
        for point, share in EXCEEDANCE.items():
            points = tuple(
                _or_never(getattr(build.ranges[measure], point))
                if measure in build.ranges
                else NOT_KNOWN
                for build in builds
            )
            rows.append(Row(f"  P{100 * share:.0f}", points, unit))
    chances = {
        "pays back in its life": "probability_of_payback",
        "also with interest": "probability_that_it_pays",
        "its kWh cheaper than a bought one": "probability_below_price",
    }
    for words, name in chances.items():
        cells = tuple(chance_words(getattr(build, name)) for build in builds)
        rows.append(Row(f"probability: {words}", cells))
    for other in builds if len(builds) > 1 else ():
        beats = (build.beats.get(other.name, {}).get("cost_per_kwh") for build in builds)
        cells = tuple(chance_words(each) for each in beats)
        rows.append(Row(f"probability: cheaper kWh than {called(estimate, other.name)}", cells))
    return TableView("", ["90 % range", *build_heads(estimate)], rows)


def inputs_table(uncertainty: Uncertainty) -> TableView:
    """Return how uncertain each input was taken to be, and on whose word."""
    return TableView(
        "How uncertain each input was taken to be (categories of IEC 61400-15, and money)",
        ["input", "category", "distribution", "source"],
        [
            Row(each.words, (each.category, str(each.distribution), in_reader_units(each.source)))
            for category in CATEGORIES
            for each in uncertainty.inputs
            if each.category == category
        ],
        words=True,
    )


def drivers_tables(uncertainty: Uncertainty, estimate: Estimate) -> list[TableView]:
    """Return for each build the inputs that its uncertainty comes from, the largest first."""
    words = {each.name: each.words for each in uncertainty.inputs}
    tables = []
    for build in uncertainty.builds:
        goal = goal_of(build)
        unit = _unit_of(goal, estimate)
        rows = [
            Row(
                words[driver.name],
                (percent(driver.share), f"{_or_never(driver.low)} to {_or_never(driver.high)}"),
            )
            for driver in build.drivers[goal][:FIRST]
        ]
        heads = ["input", "share of the variance", f"alone, low to high end ({unit})"]
        caption = f"What makes {FIGURE_WORDS[goal]} uncertain: {called(estimate, build.name)}"
        tables.append(TableView(caption, heads, rows))
    return tables
