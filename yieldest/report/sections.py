"""What stands in each section of the page, in the order a reader asks for it."""

from __future__ import annotations

import hashlib
import shlex
from collections.abc import Sequence
from dataclasses import dataclass

from yieldest import __version__
from yieldest.defaults import YEAR_TO_YEAR
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.model.inputs import input_files
from yieldest.model.scenarios import BuildGrid
from yieldest.plan import Plan
from yieldest.report.cautions import CAUTIONS
from yieldest.report.comparison_rows import (
    Row,
    TableView,
    build_rows,
    labelled,
    uncertainty_rows,
    without_marks,
)
from yieldest.report.methods import methods_of
from yieldest.report.palette import BUILD_STYLES
from yieldest.report.sentences.words import sentences
from yieldest.report.sliders import one_at_a_time
from yieldest.report.spending import break_even_sentences, cost_sentences
from yieldest.report.uncertainty_text import next_step_sentences, sufficiency, uncertainty_lines
from yieldest.report.verdict import reasons, verdict
from yieldest.report.wind_tables import (
    fits_table,
    long_term_table,
    quiet_tests,
    screening_table,
    steps_to_hub_tables,
)
from yieldest.report.wind_text import enough, how_sure
from yieldest.uncertainty.result import Uncertainty


@dataclass(frozen=True)
class Notes:
    """A list of sentences under a heading; those that warn are marked."""

    title: str
    texts: Sequence[str]
    warn: bool = False


@dataclass(frozen=True)
class PageSection:
    """One section of the page.

    Parameters
    ----------
    id : str
        Its place in the page, and of its charts among the charts.
    title : str
    intro : sequence of str
    tables : sequence of TableView
    notes : sequence of Notes
    """

    id: str
    title: str
    intro: Sequence[str] = ()
    tables: Sequence[TableView] = ()
    notes: Sequence[Notes] = ()


def sections_of(
    plan: Plan,
    estimate: Estimate,
    uncertainty: Uncertainty | None,
    grids: Sequence[BuildGrid],
    changes: Sequence[str],
) -> list[PageSection]:
    """Return every section of the page but its charts."""
    drawn = (
        [f"Of {len(grids)} builds the first {len(BUILD_STYLES)} are drawn in the charts below."]
        if len(grids) > len(BUILD_STYLES)
        else []
    )
    return [
        PageSection(
            "builds",
            "Side by side",
            intro=drawn,
            tables=[_of_builds("Every build of the plan", estimate, build_rows(estimate))],
            notes=_kept(
                Notes("In plain words", verdict(estimate)), Notes("Why", reasons(estimate))
            ),
        ),
        _uncertainty(estimate, uncertainty),
        PageSection("energy", "Where the energy goes"),
        PageSection(
            "ladder",
            "From the mast to the hub",
            tables=[*_long_term(estimate), *steps_to_hub_tables(estimate)],
        ),
        _wind(estimate),
        PageSection("curve", "The machine"),
        PageSection("economics", "The money", notes=_money_notes(estimate)),
        PageSection(
            "otherwise",
            "If things were otherwise",
            intro=[
                "All of this was computed beforehand by yieldest, for heights, numbers, prices, "
                "rates and bills around those of the plan. The bill does not grow with the height "
                "by itself: a taller mast costs more, so turn both."
            ],
            tables=one_at_a_time(estimate, grids),
        ),
        PageSection("assumed", "Assumed, and be warned", notes=_notes(estimate)),
        PageSection("cautions", "Take care", notes=[Notes("", CAUTIONS, warn=True)]),
        PageSection("methods", "Methods and sources", tables=[_methods(estimate)]),
        _again(plan, uncertainty, changes),
    ]


def count_of_warnings(estimate: Estimate) -> int:
    """Return how many different warnings an estimate carries."""
    return len({*estimate.warnings, *(found for b in estimate.builds for found in b.warnings)})


def _of_builds(caption: str, estimate: Estimate, rows: list[Row]) -> TableView:
    heads = [_head(place, build) for place, build in enumerate(estimate.builds)]
    named = [Row(labelled(row), "", row.cells, row.strong) for row in rows]
    return TableView(caption, ["figure", *heads], named)


def _head(place: int, build: BuildEstimate) -> str:
    letter = f"{BUILD_STYLES[place].letter}  " if place < len(BUILD_STYLES) else ""
    return f"{letter}{build.name}"


def _notes(estimate: Estimate) -> list[Notes]:
    notes = [
        Notes("Be warned", sentences(estimate.warnings), warn=True),
        *(
            Notes(f"Be warned of {b.name}", sentences(b.warnings), warn=True)
            for b in estimate.builds
        ),
        Notes("Assumed, for nobody stated it", sentences(estimate.assumed)),
        *(Notes(f"Assumed for {b.name}", sentences(b.assumed)) for b in estimate.builds),
    ]
    return _kept(*notes)


def _kept(*notes: Notes) -> list[Notes]:
    """Leave out the notes that say nothing."""
    return [note for note in notes if note.texts]


def _uncertainty(estimate: Estimate, uncertainty: Uncertainty | None) -> PageSection:
    usual = _of_builds(
        "Calm years, windy years, and a cross-check", estimate, uncertainty_rows(estimate)
    )
    spread = (
        f"A calm and a windy year have a mean wind one usual year-to-year spread "
        f"({YEAR_TO_YEAR}) below and above the mean."
    )
    if uncertainty is None:
        return PageSection(
            "uncertainty",
            "How sure that is",
            intro=[
                "No draws were made, so there are no ranges. The uncertainty of curve, height and "
                "losses "
                f"is not in what follows. {spread}"
            ],
            tables=[usual],
        )
    lines, of = [], ""
    for label, unit, cells in uncertainty_lines(uncertainty, estimate.currency):
        # On the terminal P50 to P99 stand indented below what they are of; here each says it.
        of = of if label.startswith(" ") else label
        lines.append(Row(f"{of}, {label.strip()}" if label != of else label, unit, tuple(cells)))
    inputs = [
        Row(each.words, "", (each.category, str(each.distribution), each.source))
        for each in uncertainty.inputs
    ]
    return PageSection(
        "uncertainty",
        "How sure that is",
        intro=[sufficiency(uncertainty), spread],
        tables=[
            _of_builds(
                "What nine cases of ten hold; P90 is so good or better in 90 %", estimate, lines
            ),
            usual,
            TableView(
                "How doubtful each input was taken to be (categories of IEC 61400-15, and money)",
                ["input", "category", "distribution", "source"],
                inputs,
                words=True,
                tucked=True,
            ),
        ],
        notes=_kept(
            Notes("What to measure next", next_step_sentences(uncertainty, estimate.currency))
        ),
    )


def _long_term(estimate: Estimate) -> list[TableView]:
    return [] if estimate.long_term is None else [long_term_table(estimate.long_term)]


def _wind(estimate: Estimate) -> PageSection:
    study = estimate.resource
    if study is None:
        return PageSection("wind", "The wind")
    return PageSection(
        "wind",
        "The wind",
        intro=[f"Is the record enough? {enough(study)}", without_marks(how_sure(study))],
        tables=[screening_table(study), fits_table(study)],
        notes=_kept(Notes("", [quiet_tests(study)])),
    )


def _money_notes(estimate: Estimate) -> list[Notes]:
    return _kept(
        *(Notes(f"What {b.name} costs", cost_sentences(b, estimate)) for b in estimate.builds),
        Notes("What it would take to pay just so", break_even_sentences(estimate)),
    )


def _methods(estimate: Estimate) -> TableView:
    rows = [Row(what, "", (how,)) for what, how in methods_of(estimate)]
    return TableView(
        "How each figure was computed", ["figure", "method and source"], rows, words=True
    )


def _again(plan: Plan, uncertainty: Uncertainty | None, changes: Sequence[str]) -> PageSection:
    rows = [
        Row(path.name, "", (hashlib.sha256(path.read_bytes()).hexdigest(),))
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
    return PageSection(
        "again",
        "How to get this again",
        intro=[
            f"yieldest {__version__} made this page with: {command}",
            f"{draws} The same files and the same versions give the same page, byte for byte.",
        ],
        tables=[TableView("What went in", ["file", "SHA-256"], rows, words=True)],
    )
