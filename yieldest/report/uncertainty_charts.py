"""Charts of the uncertainty: the ranges of the energy, and what they come from."""

from __future__ import annotations

from typing import TYPE_CHECKING

from yieldest.arrays import percent, rounded
from yieldest.html_repr import printable
from yieldest.report.chart import Chart, finish, rule_at, write
from yieldest.report.palette import BUILD_STYLES, BuildStyle, colour
from yieldest.report.uncertainty_text import FIGURE_WORDS, FIRST, between, goal_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from yieldest.uncertainty.result import BuildUncertainty, Uncertainty

_LONGEST_INPUT = 46


def ranges_chart(uncertainty: Uncertainty) -> Chart:
    """Return the energy that nine cases of ten hold, of one year and of the mean year."""
    shown = list(zip(BUILD_STYLES, uncertainty.builds, strict=False))
    rows = [
        (style, what, build.ranges[measure])
        for style, build in shown
        for what, measure in (("one year", "one_year_kwh"), ("mean year", "life_kwh_per_year"))
    ]
    parts = [
        f"{style.letter} makes {between(build.ranges['one_year_kwh'])} kWh in nine years of ten, "
        f"and {between(build.ranges['life_kwh_per_year'])} kWh in the mean year of its life"
        for style, build in shown
    ]

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        for place, (style, what, held) in enumerate(rows):
            axes.plot(
                [_drawn(held.low), _drawn(held.high)],
                [place, place],
                color=colour(style.colour),
                linestyle="-",
                linewidth=3 if what == "one year" else 8,
                solid_capstyle="butt",
            )
            axes.plot(
                _drawn(held.p50), place, marker="|", markersize=16, markeredgewidth=2,
                color=colour("ink"),
            )  # fmt: skip
        axes.set_yticks(range(len(rows)), [f"{style.letter}  {what}" for style, what, _ in rows])
        axes.xaxis.set_major_formatter("{x:,.0f}")
        axes.set(xlim=(0, None), ylim=(len(rows) - 0.4, -0.6))
        finish(axes, grid="x", xlabel="net energy of a year (kWh)")

    return Chart(
        "energy-ranges",
        "How much energy, and how sure",
        "; ".join(parts) + ".",
        "draws through the whole chain; bars hold nine cases of ten, the mark is the middle one",
        {
            "build": [f"{style.letter}, {what}" for style, what, _ in rows],
            "low (kWh/year)": [held.low for _, _, held in rows],
            "P90 (kWh/year)": [held.p90 for _, _, held in rows],
            "P50 (kWh/year)": [held.p50 for _, _, held in rows],
            "high (kWh/year)": [held.high for _, _, held in rows],
        },
        draw,
        1.0 + 0.42 * len(rows),
    )


def drivers_chart(
    uncertainty: Uncertainty, style: BuildStyle, build: BuildUncertainty, currency: str
) -> Chart | None:
    """Return what the uncertainty of one build comes from; None where nothing moves."""
    goal = goal_of(build)
    words = {each.name: each.words for each in uncertainty.inputs}
    unit = f"{currency}/kWh" if goal == "cost_per_kwh" else "kWh/year"
    drivers = [
        (words[driver.name], driver.low, driver.high, driver.share)
        for driver in build.drivers[goal][:FIRST]
        if driver.low is not None and driver.high is not None
    ]
    middle = build.ranges[goal].p50
    if not drivers or middle is None:
        return None
    first, _, _, share = drivers[0]
    name = printable(build.name)
    message = (
        f"{name}: {FIGURE_WORDS[goal]} is {between(build.ranges[goal])} {unit} in nine cases of "
        f"ten. Most of its uncertainty comes from: {first}"
        + (f" ({percent(share)} of the variance)." if share is not None else ".")
    )

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        for place, (label, low, high, _) in enumerate(drivers):
            axes.barh(
                place, high - low, left=low, height=0.5,
                color=colour(style.colour), linewidth=0,
            )  # fmt: skip
            shown = label if len(label) <= _LONGEST_INPUT else f"{label[: _LONGEST_INPUT - 1]}…"
            above, beside = (0, place - 0.27), ("axes fraction", "data")
            write(axes, printable(shown), above, (0, 2), va="bottom", xycoords=beside)
        rule_at(axes, x=middle)
        what = f"{FIGURE_WORDS[goal].removeprefix('the ')} ({unit})"
        finish(axes, grid="x", ticks=5, xlabel=what, yticks=[], ylim=(len(drivers) - 0.6, -0.85))

    return Chart(
        f"drivers-{style.letter.lower()}",
        f"What the uncertainty comes from: {style.letter}  {name}",
        message,
        "each input alone from its low to its high end (one case in twenty beyond either), the "
        f"others in the middle; dotted: the middle case, {rounded(middle)} {unit}",
        {
            "input": [label for label, _, _, _ in drivers],
            f"at its low end ({unit})": [low for _, low, _, _ in drivers],
            f"at its high end ({unit})": [high for _, _, high, _ in drivers],
            "share of the variance (%)": [
                None if part is None else 100 * part for _, _, _, part in drivers
            ],
        },
        draw,
        0.9 + 0.5 * len(drivers),
    )


def _drawn(value: float | None) -> float:
    """Return a number for a chart, NaN (which is not drawn) where there is none."""
    return float("nan") if value is None else value
