"""What maps find, and how it is said: maps are made after all that reports are made from."""

from __future__ import annotations

from dataclasses import dataclass

from yieldest.provenance import Finding
from yieldest.report.sentences.words import sentence


@dataclass(frozen=True)
class CellsAreNoSites(Finding):
    """A cell knows nothing of what stands inside it."""


@dataclass(frozen=True)
class TimesUnknown(Finding):
    """The readings have no times, so whether they make up whole years is not known."""


@dataclass(frozen=True)
class MonthsMissingOnMap(Finding):
    """The readings cover only some months of the year."""

    months: int


@dataclass(frozen=True)
class NoElevation(Finding):
    """Neither the grid nor the plan states an elevation; 0 m is taken."""


@dataclass(frozen=True)
class LeftOutOfMap(Finding):
    """Keys of the plan's site that hold for one place alone."""

    keys: tuple[str, ...]


@sentence.register
def _(finding: CellsAreNoSites) -> str:
    return (
        "A cell knows nothing of the trees, houses and hills inside it: use the map to find where "
        "to measure, and measure there before building."
    )


@sentence.register
def _(finding: TimesUnknown) -> str:
    return "The time of the readings is not known, so whether they make up whole years is not."


@sentence.register
def _(finding: MonthsMissingOnMap) -> str:
    return (
        f"The readings cover {finding.months} of the 12 months of a year; the missing months may "
        "be windier or calmer, and no correction is made for them."
    )


@sentence.register
def _(finding: NoElevation) -> str:
    return "Elevation 0 m, for neither the grid nor site.elevation_m states it."


@sentence.register
def _(finding: LeftOutOfMap) -> str:
    return (
        f"What the plan states as {', '.join(f'site.{key}' for key in finding.keys)} belongs to "
        "one place and is left out of the map."
    )
