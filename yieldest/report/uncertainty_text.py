"""How sure an estimate is, in tables and sentences."""

from __future__ import annotations

from collections.abc import Callable

from yieldest.arrays import NOT_KNOWN, percent, rounded
from yieldest.model.quantities import BY_KEY, NEVER
from yieldest.report.sentences.uncertainty import STEP_WORDS
from yieldest.report.tables import Row, TableView
from yieldest.uncertainty.next_measurement import Gain
from yieldest.uncertainty.propagation import EXCEEDANCE, TOLERANCE, Range
from yieldest.uncertainty.result import BuildUncertainty, Uncertainty
from yieldest.uncertainty.uncertain_inputs import CATEGORIES

MOST_CERTAIN = 0.99
FIRST = 6
"""Drivers that are shown; the rest is in the JSON."""

ONLY_IN_FULL = ("P75", "P99")


def between(range_: Range, digits: int = 2) -> str:
    """Write the values that nine cases of ten lie between; never where no case has any."""
    if range_.low is None and range_.high is None:
        return NEVER
    return f"{_or_never(range_.low, digits)} to {_or_never(range_.high, digits)}"


def _or_never(value: float | None, digits: int = 2) -> str:
    return NEVER if value is None else rounded(value, digits)


def _chance(share: float | None) -> str:
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


def range_sentences(uncertainty: Uncertainty) -> list[str]:
    """Return for each build what a year may bring, and how likely it is to pay."""
    sentences = []
    for build in uncertainty.builds:
        text = f"{build.name}: {between(build.ranges['one_year_kwh'])} kWh in nine years of ten"
        if build.probability_that_it_pays is not None:
            chance = _chance(build.probability_that_it_pays)
            text += f"; chance that it pays: {chance}"
        sentences.append(f"{text}.")
    return sentences


def goal_of(build: BuildUncertainty) -> str:
    """Return the figure whose uncertainty matters most: cost per kWh, or energy without a bill."""
    return "cost_per_kwh" if "cost_per_kwh" in build.drivers else "life_kwh_per_year"


def next_step_sentences(uncertainty: Uncertainty, currency: str) -> list[str]:
    """Return for each build what to measure next, the most useful first.

    Where nothing that could be measured is likely to turn the answer, that is said instead.
    """
    sentences = []
    for build in uncertainty.builds:
        pays = build.probability_that_it_pays
        if pays is not None and not 1 - MOST_CERTAIN <= pays <= MOST_CERTAIN:
            where = f"{build.name}: " if len(uncertainty.builds) > 1 else ""
            sentences.append(
                f"{where}nothing more for the money's sake: in more than "
                f"{100 * MOST_CERTAIN:.0f} % of all cases it "
                f"{'pays' if pays > MOST_CERTAIN else 'does not pay'}, so no measurement is likely "
                "to turn the answer"
            )
            continue
        sentences += [
            _sentence(build, gain, currency, len(uncertainty.builds))
            for gain in build.next_steps[:3]
            if gain.narrowed > 0.005
        ]
    return sentences


def sufficiency(uncertainty: Uncertainty) -> str:
    """Say how many draws were made, and whether they were enough."""
    judged = uncertainty.convergence
    made = f"{judged.draws:,} draws through the whole chain (seed {uncertainty.seed})"
    if judged.enough_draws is None:
        return (
            f"{made} were too few: P50 and P90 still move by up to "
            f"{100 * judged.standard_error:.1f} % from one set of draws to another; state more "
            "with --draws."
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


def ranges_table(uncertainty: Uncertainty, currency: str, *, full: bool) -> TableView:
    """Return every range and chance, a column for each build; P75 and P99 only in full."""
    builds = uncertainty.builds
    rows = []
    for measure in dict.fromkeys(key for build in builds for key in build.ranges):
        label, unit = _WORDS.get(measure) or (
            BY_KEY[measure].words,
            BY_KEY[measure].unit_in(currency),
        )
        rows.append(Row(label, tuple(range_of(build, measure) for build in builds), unit))
        for point, share in EXCEEDANCE.items():
            name = f"P{100 * share:.0f}"
            if full or name not in ONLY_IN_FULL:
                points = tuple(
                    _or_never(getattr(build.ranges[measure], point))
                    if measure in build.ranges
                    else NOT_KNOWN
                    for build in builds
                )
                rows.append(Row(f"  {name}", points, unit))
    chances: list[tuple[str, Callable[[BuildUncertainty], float | None]]] = [
        ("pays back in its life", lambda b: b.probability_of_payback),
        ("also with interest", lambda b: b.probability_that_it_pays),
        ("its kWh cheaper than a bought one", lambda b: b.probability_below_price),
    ]
    for words, chance in chances:
        rows.append(Row(f"chance: {words}", tuple(_chance(chance(build)) for build in builds)))
    for other in builds if len(builds) > 1 else ():
        beats = (build.beats.get(other.name, {}).get("cost_per_kwh") for build in builds)
        cells = tuple(_chance(each) for each in beats)
        rows.append(Row(f"chance: cheaper kWh than {other.name}", cells))
    heads = ["in nine cases of ten", *(build.name for build in builds)]
    return TableView("", heads, rows)


def inputs_table(uncertainty: Uncertainty) -> TableView:
    """Return how uncertain each input was taken to be, and on whose word."""
    return TableView(
        "How uncertain each input was taken to be (categories of IEC 61400-15, and money)",
        ["input", "category", "distribution", "source"],
        [
            Row(each.words, (each.category, str(each.distribution), each.source))
            for category in CATEGORIES
            for each in uncertainty.inputs
            if each.category == category
        ],
        words=True,
        tucked=True,
    )


def drivers_tables(uncertainty: Uncertainty, currency: str) -> list[TableView]:
    """Return for each build the inputs that its uncertainty comes from, the largest first."""
    words = {each.name: each.words for each in uncertainty.inputs}
    tables = []
    for build in uncertainty.builds:
        goal = goal_of(build)
        unit = f"{currency}/kWh" if goal == "cost_per_kwh" else "kWh/year"
        rows = [
            Row(
                words[driver.name],
                (percent(driver.share), f"{_or_never(driver.low)} to {_or_never(driver.high)}"),
            )
            for driver in build.drivers[goal][:FIRST]
        ]
        heads = ["input", "share of the variance", f"alone, low to high end ({unit})"]
        caption = f"What makes {FIGURE_WORDS[goal]} uncertain: {build.name}"
        tables.append(TableView(caption, heads, rows))
    return tables


def _sentence(build: BuildUncertainty, gain: Gain, currency: str, builds: int) -> str:
    unit = f"{currency} per kWh" if gain.figure == "cost_per_kwh" else "kWh a year"
    low, high = (rounded(value) for value in gain.before)
    lower, higher = (rounded(value) for value in gain.after)
    where = f"{build.name}: " if builds > 1 else ""
    return (
        f"{where}{STEP_WORDS[gain.step]} "
        f"(about {gain.work_days:g} day{'s' * (gain.work_days != 1)} of work): "
        f"nine cases of ten from {low} to {high} {unit} become {lower} to {higher}, "
        f"{100 * gain.narrowed:.0f} % narrower"
    )
