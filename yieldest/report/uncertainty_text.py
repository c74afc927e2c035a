"""How sure an estimate is, as text for people and as plain dictionaries for machines."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from yieldest.report.sentences.uncertainty import STEP_WORDS
from yieldest.report.wording import NOT_KNOWN, percent, print_heading, print_item, rounded
from yieldest.uncertainty.next_measurement import Gain
from yieldest.uncertainty.propagation import EXCEEDANCE, TOLERANCE, Range
from yieldest.uncertainty.result import BuildUncertainty, Uncertainty
from yieldest.uncertainty.uncertain_inputs import CATEGORIES, UncertainInput

NEVER = "never"
MOST_CERTAIN = 0.99
FIRST = 6
"""Drivers that are shown; the rest is in the JSON."""

ONLY_IN_FULL = ("P75", "P99")

Cell = Callable[[BuildUncertainty], str]


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


def print_uncertainty(
    uncertainty: Uncertainty, currency: str, screen: Console, *, full: bool = False
) -> None:
    """Print how sure each build is, where the uncertainty comes from and what to measure next.

    Parameters
    ----------
    uncertainty : Uncertainty
    currency : str
    screen : rich.console.Console
    full : bool
        Whether to print P75 and P99 and the uncertainty of every input as well.
    """
    print_heading("How sure", screen)
    print_item("-", sufficiency(uncertainty), screen)
    others = "P50, P75, P99 likewise" if full else "P50 likewise; P75 and P99 with --full"
    print_item("-", f"P90: so good or better in 90 cases of 100; {others}", screen)
    screen.print()
    screen.print(_table(uncertainty, currency, full))
    for build in uncertainty.builds:
        goal = goal_of(build)
        print_heading(f"What makes {FIGURE_WORDS[goal]} doubtful: {build.name}", screen)
        screen.print(_drivers(uncertainty, build, goal, currency))
    print_heading("What to measure next", screen)
    for sentence in next_step_sentences(uncertainty, currency):
        print_item("-", sentence, screen)
    if not full:
        count = f"each of the {len(uncertainty.inputs)} inputs"
        screen.print(f"\nHow doubtful {count} was taken to be, and on whose word: --full.")
        return
    print_heading(
        "How doubtful each input was taken to be (categories of IEC 61400-15, and money)", screen
    )
    for category in CATEGORIES:
        mine = [each for each in uncertainty.inputs if each.category == category]
        if mine:
            screen.print(Text(category))
        for each in mine:
            print_item("  -", f"{each.words}: {each.distribution} ({each.source})", screen)


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
_ROWS = (
    ("net energy of one year", "one_year_kwh", "kWh", 2),
    ("net energy, mean year of its life", "life_kwh_per_year", "kWh/year", 2),
    ("cost per kWh", "cost_per_kwh", "{}/kWh", 2),
    ("cost per used kWh", "cost_per_used_kwh", "{}/kWh", 2),
    ("simple payback", "payback_years", "years", 2),
    ("discounted payback", "discounted_payback_years", "years", 2),
    ("net present value", "net_present_value", "{}", 2),
)


def _table(uncertainty: Uncertainty, currency: str, full: bool) -> Table:
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    table.add_column("in nine cases of ten")
    for build in uncertainty.builds:
        table.add_column(Text(build.name), justify="right", overflow="fold")
    table.add_column("unit")
    for label, unit, cells in uncertainty_lines(uncertainty, currency):
        if label.strip() in ONLY_IN_FULL and not full:
            continue
        table.add_row(label, *(Text(cell) for cell in cells), unit)
    return table


def uncertainty_lines(uncertainty: Uncertainty, currency: str) -> list[tuple[str, str, list[str]]]:
    """Return label, unit and a cell per build for every range and chance."""
    lines: list[tuple[str, str, list[str]]] = []

    def row(label: str, unit: str, cell: Cell) -> None:
        lines.append((label, unit, [cell(build) for build in uncertainty.builds]))

    for label, measure, unit, digits in _ROWS:
        if not any(measure in build.ranges for build in uncertainty.builds):
            continue
        row(
            label,
            unit.format(currency),
            lambda b, m=measure: range_of(b, m),  # type: ignore[misc]
        )
        for point, share in EXCEEDANCE.items():
            name = f"P{100 * share:.0f}"
            row(
                f"  {name}",
                "",
                lambda b, m=measure, p=point, d=digits: (  # type: ignore[misc]
                    _or_never(getattr(b.ranges[m], p), d) if m in b.ranges else NOT_KNOWN
                ),
            )
    row("chance: pays back in its life", "", lambda b: _chance(b.probability_of_payback))
    row("chance: also with interest", "", lambda b: _chance(b.probability_that_it_pays))
    row(
        "chance: its kWh cheaper than a bought one",
        "",
        lambda b: _chance(b.probability_below_price),
    )
    for other in uncertainty.builds if len(uncertainty.builds) > 1 else ():
        row(
            f"chance: cheaper kWh than {other.name}",
            "",
            lambda b, o=other.name: _chance(b.beats.get(o, {}).get("cost_per_kwh")),  # type: ignore[misc]
        )
    return lines


def _drivers(
    uncertainty: Uncertainty, build: BuildUncertainty, measure: str, currency: str
) -> Table:
    words = {each.name: each.words for each in uncertainty.inputs}
    unit = f"{currency}/kWh" if measure == "cost_per_kwh" else "kWh/year"
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    table.add_column("input")
    table.add_column("share of the variance", justify="right")
    table.add_column(f"alone, low to high end ({unit})", justify="right")
    for driver in build.drivers[measure][:FIRST]:
        table.add_row(
            Text(words[driver.name]),
            percent(driver.share),
            f"{_or_never(driver.low)} to {_or_never(driver.high)}",
        )
    return table


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


def plan_as_dictionary(uncertainty: Uncertainty) -> dict[str, Any]:
    """Return what holds for all builds as JSON-ready values."""
    return {
        "draws": uncertainty.convergence.draws,
        "seed": uncertainty.seed,
        "enough_draws": uncertainty.convergence.enough_draws,
        "standard_error": uncertainty.convergence.standard_error,
        "inputs": [_input(each) for each in uncertainty.inputs],
        "correlations": [asdict(one) for one in uncertainty.correlations],
    }


def _input(each: UncertainInput) -> dict[str, Any]:
    return {
        "name": each.name,
        "category": each.category,
        "words": each.words,
        "distribution": str(each.distribution),
        "standard_uncertainty": each.distribution.standard_uncertainty,
        "source": each.source,
        "stated_in_plan": each.by_plan,
    }


def build_as_dictionary(build: BuildUncertainty) -> dict[str, Any]:
    """Return the uncertainty of one build as JSON-ready values."""
    return {
        **{measure: asdict(range_) for measure, range_ in build.ranges.items()},
        "chance_paid_back_within_life": build.probability_of_payback,
        "chance_paid_back_with_interest": build.probability_that_it_pays,
        "chance_cheaper_than_bought_kwh": build.probability_below_price,
        "chance_better_than": build.beats,
        "drivers": {
            measure: [asdict(driver) for driver in drivers]
            for measure, drivers in build.drivers.items()
        },
        "next_steps": [
            {
                "step": STEP_WORDS[gain.step],
                "work_days": gain.work_days,
                "figure": gain.figure,
                "interval_before": list(gain.before),
                "interval_after": list(gain.after),
                "narrowed_share": gain.narrowed,
            }
            for gain in build.next_steps
        ],
    }
