"""What a frequency table or monthly means say about the wind, for people and for machines."""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from typing import Any

from rich.console import Console
from rich.text import Text

from yieldest.arrays import FloatArray, percent, rounded
from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.report.json_values import picked, rows_of, weibull
from yieldest.report.sentences.words import sentences
from yieldest.report.tables import Notes, Section
from yieldest.report.terminal import print_answers, print_section
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.summary_tables import FrequencyTable, MonthlyMeans

BAR_WIDTH = 56


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
    rows = _rows(wind)
    longest = max(length for _, length, _ in rows)
    bars = ["#" * round(BAR_WIDTH * length / longest) for _, length, _ in rows]
    found = Section(
        lines=[
            "",
            *(
                f"{label:>16} {value:>8} {bar}"
                for (label, _, value), bar in zip(rows, bars, strict=True)
            ),
        ],
        notes=[
            Notes("Assumed", sentences(provenance.assumed)),
            Notes("Be warned", sentences(provenance.warnings)),
        ],
    )
    print_section(found, screen)


def _rows(wind: SummedWind) -> list[tuple[str, float, str]]:
    """Return label, length and value of each class or month."""
    summary = wind.summary
    if isinstance(summary, MonthlyMeans):
        return [
            (calendar.month_name[month], float(speed), f"{speed:.1f} m/s")
            for month, speed in enumerate(summary.speed_ms, start=1)
        ]
    classes = zip(summary.lower_ms, summary.upper_ms, summary.share, strict=True)
    return [
        (f"{low:.1f} to {high:.1f} m/s", float(share), percent(float(share)))
        for low, high, share in classes
    ]


def summed_as_dictionary(wind: SummedWind) -> dict[str, Any]:
    """Return the same as JSON-ready values in full precision."""
    summary, distribution = wind.summary, wind.distribution
    hours = classes = months = None
    if isinstance(summary, FrequencyTable):
        hours = summary.hours
        bounds = ("lower_ms", "upper_ms", "share")
        classes = rows_of({name: getattr(summary, name) for name in bounds})
    else:
        months = summary.speed_ms.tolist()
    return {
        "source": distribution.provenance.source,
        "kind": "monthly means" if classes is None else "frequency table",
        "hours": hours,
        **picked(wind, "mean_speed_ms", "mean_cube_ms3"),
        "weibull": weibull(distribution),
        "classes": classes,
        "month_mean_speed_ms": months,
        "assumed": sentences(distribution.provenance.assumed),
        "warnings": sentences(distribution.provenance.warnings),
    }
