"""What a frequency table or monthly means say about the wind, for people and for machines."""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from yieldest.arrays import FloatArray, percent, rounded
from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.report.sentences.words import sentences
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
    answers = Table.grid(padding=(0, 2, 0, 0))
    answers.add_column(no_wrap=True, style="bold")
    answers.add_column(overflow="fold")
    answers.add_row(
        "How windy?",
        f"Mean {wind.mean_speed_ms:.1f} m/s, {rounded(power)} W/m2 in the wind at "
        f"{STANDARD_DENSITY_KG_M3:g} kg/m3.",
    )
    answers.add_row(
        "How sure?",
        "A summary does not tell its gaps, its sensor or its years: trust it as far as you trust "
        "who made it, and at least 6 % in the mean from one year to the next (common practice, no "
        "source).",
    )
    answers.add_row(
        "Which fit?",
        f"Weibull shape {distribution.shape:.2f}, scale {distribution.scale_ms:.2f} m/s: "
        f"{provenance.method}",
    )
    screen.print(answers)
    rows = _rows(wind)
    longest = max(length for _, length, _ in rows)
    screen.print()
    for label, length, value in rows:
        bar = "#" * round(BAR_WIDTH * length / longest)
        screen.print(Text(f"{label:>16} {value:>8} {bar}"))
    for heading, texts in (
        ("Assumed", sentences(provenance.assumed)),
        ("Be warned", sentences(provenance.warnings)),
    ):
        if texts:
            screen.print(Text(f"\n{heading}", style="bold"))
        for text in texts:
            screen.print(Text(f"- {text}"))


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
        bounds = zip(summary.lower_ms, summary.upper_ms, summary.share, strict=True)
        classes = [
            {"lower_ms": float(low), "upper_ms": float(high), "share": float(share)}
            for low, high, share in bounds
        ]
    else:
        months = summary.speed_ms.tolist()
    return {
        "source": distribution.provenance.source,
        "kind": "monthly means" if classes is None else "frequency table",
        "hours": hours,
        "mean_speed_ms": wind.mean_speed_ms,
        "mean_cube_ms3": wind.mean_cube_ms3,
        "weibull": {
            "shape": distribution.shape,
            "scale_ms": distribution.scale_ms,
            "calm_share": distribution.calm_share,
            "method": distribution.provenance.method,
        },
        "classes": classes,
        "month_mean_speed_ms": months,
        "assumed": sentences(distribution.provenance.assumed),
        "warnings": sentences(distribution.provenance.warnings),
    }
