"""Charts of the energy: the power curve, where a year's energy goes, and how sure it is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from yieldest.arrays import FloatArray, percent, rounded
from yieldest.energy.annual_energy import energy_steps
from yieldest.html_repr import printable
from yieldest.report.chart import (
    Chart,
    drawn,
    finish,
    known_or_none,
    label,
    legend,
    line_of,
    rule_at,
    write,
    write_letter,
)
from yieldest.report.palette import BUILD_STYLES, BuildStyle, colour
from yieldest.report.uncertainty_text import FIGURE_WORDS, FIRST, between, goal_of
from yieldest.turbine.rotor import BETZ_LIMIT, power_coefficient

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from yieldest.model.build_estimate import BuildEstimate
    from yieldest.uncertainty.result import BuildUncertainty, Uncertainty

_POINTS = 120
_BAR = 0.45
_LONGEST_INPUT = 46


def curve_chart(builds: Sequence[BuildEstimate]) -> Chart:
    """Return power and power coefficient of one machine of each build against wind speed."""
    shown = drawn(builds)
    top = max(build.curve.cut_out_ms for _, build in shown) * 1.04
    speed = np.linspace(0, top, _POINTS + 1)
    coefficients = _coefficients(shown, speed)
    parts = []
    for style, build in shown:
        modelled = " (nobody measured it)" if build.curve.modelled else ""
        part = (
            f"{style.letter}{modelled} makes up to {rounded(float(build.curve.power_w.max()), 3)} W"
        )
        if style.letter in coefficients:
            best = float(np.nanmax(coefficients[style.letter]))
            part += f" and turns at best {percent(best)} of the wind's power into electricity"
        parts.append(part)
    message = "; ".join(parts) + (
        f". No rotor in free flow can exceed {percent(BETZ_LIMIT)}." if coefficients else "."
    )

    def draw(figure: Figure) -> None:
        panels = figure.subplots(2 if coefficients else 1, sharex=True, squeeze=False)[:, 0]
        for style, build in shown:
            _draw_power(panels[0], style, build)
        panels[0].set(ylabel="power (W)", ylim=(0, None), xlim=(0, top))
        if coefficients:
            for style, _ in shown:
                if style.letter in coefficients:
                    look = {"color": colour(style.colour), "linestyle": style.line}
                    panels[1].plot(speed, 100 * coefficients[style.letter], **look)
            rule_at(panels[1], y=100 * BETZ_LIMIT)
            write(panels[1], "Betz limit 16/27", (0, 100 * BETZ_LIMIT), (2, -11))
            panels[1].set(ylabel="coefficient (%)", ylim=(0, 64))
        panels[-1].set_xlabel("wind speed at the hub (m/s)")
        legend(figure)

    methods = dict.fromkeys(build.curve.provenance.method for _, build in shown)
    return Chart(
        "power-curves",
        "What a machine makes at each wind speed",
        message,
        f"{'; '.join(methods)}, for the air density at the hub; the band is one standard "
        "uncertainty",
        _curve_numbers(shown, np.arange(np.floor(top) + 1)),
        draw,
        4.6 if coefficients else 3.3,
    )


def _draw_power(axes: Axes, style: BuildStyle, build: BuildEstimate) -> None:
    """Draw the power of one machine with the band of one standard uncertainty."""
    curve = build.curve
    axes.fill_between(
        curve.speed_ms,
        np.maximum(0, curve.power_w - curve.uncertainty_w),
        curve.power_w + curve.uncertainty_w,
        color=colour(style.colour),
        alpha=0.18,
        linewidth=0,
    )
    speed, power = [curve.cut_in_ms, *curve.speed_ms, curve.cut_out_ms], [0, *curve.power_w, 0]
    axes.plot(speed, power, **{**line_of(style, build.name), "marker": ""})
    at = int(np.argmax(curve.power_w))
    write_letter(axes, style, (curve.speed_ms[at], curve.power_w[at]), offset=(0, 3), ha="center")


def _curve_numbers(
    shown: Sequence[tuple[BuildStyle, BuildEstimate]], speed: FloatArray
) -> dict[str, Sequence[str | float | None]]:
    coefficients = _coefficients(shown, speed)
    numbers: dict[str, Sequence[str | float | None]] = {"wind speed (m/s)": speed.tolist()}
    for style, build in shown:
        curve, letter = build.curve, style.letter
        numbers[f"{letter} power (W)"] = curve.power_at(speed).tolist()
        numbers[f"{letter} standard uncertainty (W)"] = np.interp(
            speed, curve.speed_ms, curve.uncertainty_w, left=0, right=0
        ).tolist()
        if letter in coefficients:
            in_percent = known_or_none(100 * coefficients[letter])
            numbers[f"{letter} power coefficient (%)"] = in_percent
    return numbers


def _coefficients(
    shown: Sequence[tuple[BuildStyle, BuildEstimate]], speed: FloatArray
) -> dict[str, FloatArray]:
    """Return the power coefficient by letter of the build, where the rotor's area is known."""
    found = {}
    for style, build in shown:
        curve = build.curve
        if curve.rotor_area_m2 is not None:
            power = curve.power_at(speed)
            cp = power_coefficient(power, speed, curve.rotor_area_m2, curve.air_density_kg_m3)
            found[style.letter] = np.where(power > 0, cp, np.nan)
    return found


def steps_chart(style: BuildStyle, build: BuildEstimate) -> Chart:
    """Return the way from the energy in the wind to the net energy of a year, as falling bars."""
    steps = energy_steps(build.distribution, build.curve, build.energy, build.wind.readings)
    first, net = steps[0].left_kwh, build.energy.net_kwh
    losses = [step for step in steps if step.name.startswith("after ")]
    message = f"{printable(build.name)}: "
    if build.curve.rotor_area_m2 is not None:
        message += (
            f"of {rounded(first)} kWh a year in the wind through the rotors the machines could "
            f"turn {rounded(build.energy.gross_kwh)} kWh into electricity, and "
        )
    lost = rounded(build.energy.gross_kwh - net)
    message += f"{rounded(net)} kWh are left after losses of {lost} kWh"
    if losses:
        worst = max(losses, key=lambda step: step.lost_kwh)
        message += (
            f", the largest {worst.name.removeprefix('after ')} ({rounded(worst.lost_kwh)} kWh)"
        )
    message += "."

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        for place, step in enumerate(steps):
            last = place == len(steps) - 1
            axes.barh(
                place, step.left_kwh, height=_BAR, linewidth=0,
                color=colour("green" if last else "green-soft"),
            )  # fmt: skip
            if step.lost_kwh > 0:
                axes.barh(
                    place, step.lost_kwh, left=step.left_kwh, height=_BAR,
                    facecolor="none", edgecolor=colour("orange"), hatch="////", linewidth=0.6,
                )  # fmt: skip
            text = f"{'net, ' if last else ''}{step.name}: {rounded(step.left_kwh, 3)}"
            if step.lost_kwh > 0:
                text += f"  (less {rounded(step.lost_kwh)})"
            weight = "bold" if last else "normal"
            write(axes, text, (0, place - _BAR / 2), (0, 2), va="bottom", fontweight=weight)
        axes.set_ylim(len(steps) - 1 + _BAR, -0.9)
        energy = "energy of a year (kWh)"
        finish(axes, grid="x", xlabel=energy, xlim=(0, (first or 1.0) * 1.02), yticks=[])
        axes.spines["bottom"].set_visible(False)

    return Chart(
        f"energy-steps-{style.letter.lower()}",
        f"Where the energy goes: {label(style, build.name)}",
        message,
        "mean cube of the fitted wind, Betz limit 16/27, the power curve, then each loss in turn "
        "(categories of IEC 61400-15); hatched: what the step takes",
        {
            "step": [step.name for step in steps],
            "left (kWh/year)": [step.left_kwh for step in steps],
            "lost (kWh/year)": [step.lost_kwh for step in steps],
            "share assumed": ["yes" if step.assumed else "no" for step in steps],
        },
        draw,
        0.8 + 0.5 * len(steps),
    )


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
        for place, (text, low, high, _) in enumerate(drivers):
            axes.barh(
                place, high - low, left=low, height=0.5,
                color=colour(style.colour), linewidth=0,
            )  # fmt: skip
            shown = text if len(text) <= _LONGEST_INPUT else f"{text[: _LONGEST_INPUT - 1]}…"
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
            "input": [text for text, _, _, _ in drivers],
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
