"""Charts of the energy: over the year and the day, by wind speed, where it goes, how sure it is."""

from __future__ import annotations

import calendar
from collections.abc import Mapping, Sequence
from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np

from yieldest.arrays import FloatArray, percent, rounded
from yieldest.energy.annual_energy import energy_steps
from yieldest.html_repr import printable
from yieldest.model.quantities import sign_of
from yieldest.report.chart import (
    Chart,
    along_speed,
    bars,
    drawn,
    finish,
    known_or_none,
    legend,
    line_of,
    rule_at,
    write_letter,
)
from yieldest.report.palette import BuildStyle, colour
from yieldest.report.uncertainty_text import FIGURE_WORDS, FIRST, goal_of
from yieldest.turbine.rotor import power_coefficient
from yieldest.units import in_reader_units, speed

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from yieldest.energy.by_month import EnergyByMonth
    from yieldest.model.build_estimate import BuildEstimate
    from yieldest.model.estimate import Estimate
    from yieldest.uncertainty.result import BuildUncertainty, Uncertainty

Builds = Sequence[tuple[BuildStyle, "BuildEstimate"]]
_MONTHS = tuple(calendar.month_abbr)[1:]


def months_chart(estimate: Estimate) -> Chart | None:
    """Return the net energy of each month, a bar for each build; None without a record."""
    found = _by_month(estimate)
    kwh = {style: each.month_kwh for style, each in found.items()}
    if not kwh:
        return None
    parts = []
    for style, one in found.items():
        each = one.sure_month_kwh
        if np.isfinite(each).sum() < 2:
            parts.append(f"{style.letter}: no two months are half read, so none can be compared")
            continue
        most, least = int(np.nanargmax(each)), int(np.nanargmin(each))
        parts.append(
            f"{style.letter} makes most in {calendar.month_name[most + 1]} ({rounded(each[most])} "
            f"kWh) and least in {calendar.month_name[least + 1]} ({rounded(each[least])})"
        )

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        width = 0.8 / len(kwh)
        for place, (style, each) in enumerate(kwh.items()):
            axes.bar(
                np.arange(12) - 0.4 + (place + 0.5) * width, each, width * 0.9, linewidth=0,
                label=style.letter, color=colour(style.colour), hatch=style.hatch,
                edgecolor=colour("paper"),
            )  # fmt: skip
        axes.set_xticks(range(12), [month[0] for month in _MONTHS])
        finish(axes, ylabel="net energy (kWh)")
        if len(kwh) > 1:
            figure.legend(loc="outside lower left", ncols=len(kwh))

    return Chart(
        "energy-months",
        "The energy of each month",
        "; ".join(parts) + ".",
        "the power curve at every reading, scaled to the net energy of the year",
        {"month": _MONTHS, **{f"{s.letter} (kWh)": known_or_none(e) for s, e in kwh.items()}},
        draw,
    )


def day_chart(estimate: Estimate) -> Chart | None:
    """Return the mean power by hour of the day; None without a record."""
    found = _by_month(estimate)
    means = {style: each.hour_w for style, each in found.items()}
    if not means:
        return None
    utc = " UTC" if any(each.in_utc for each in found.values()) else ""
    parts = []
    for style, each in means.items():
        most, least = int(np.nanargmax(each)), int(np.nanargmin(each))
        parts.append(
            f"{style.letter} gives most around {most}:00{utc} ({rounded(each[most])} W on the "
            f"mean) and least around {least}:00{utc} ({rounded(each[least])} W)"
        )

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        for style, each in means.items():
            axes.plot(range(24), each, color=colour(style.colour), linestyle=style.line)
            write_letter(axes, style, (23, each[23]), offset=(5, -3))
        finish(
            axes, xlabel=f"hour of day{utc}", ylabel="mean power (W)", ylim=(0, None), xlim=(0, 24)
        )
        axes.set_xticks(range(0, 25, 6))

    return Chart(
        "energy-day",
        "The typical day",
        "; ".join(parts) + ".",
        "mean over all days of the record, scaled to the net energy of the year",
        {
            "hour of day": list(range(24)),
            **{f"{s.letter} (W)": known_or_none(each) for s, each in means.items()},
        },
        draw,
    )


def _by_month(estimate: Estimate) -> dict[BuildStyle, EnergyByMonth]:
    """Return when the energy comes, of the builds of which that is known."""
    found = {style: build.by_month for style, build in drawn(estimate.builds)}
    return {style: each for style, each in found.items() if each is not None}


def curve_chart(builds: Sequence[BuildEstimate]) -> Chart:
    """Return the power of one machine of each build, and above it the energy by wind speed."""
    shown = drawn(builds)
    top = int(np.ceil(max(_fastest(build) for _, build in shown)))
    edges = np.arange(top + 1.0)
    kwh = {style: _by_speed(build, edges) for style, build in shown}
    parts = []
    for style, build in shown:
        whole = float(kwh[style].sum())
        if whole > 0:
            half = float(np.interp(whole / 2, np.cumsum(kwh[style]), edges[1:]))
            part = f"half of the energy of {style.letter} comes from winds above "
            part += speed(half, ".1f")
            coefficient = _best_coefficient(build)
            if coefficient is not None:
                part += f" (at best it takes {percent(coefficient)} of the power in the wind)"
            parts.append(part)

    def draw(figure: Figure) -> None:
        energy, power = figure.subplots(2, sharex=True)
        peaks: list[tuple[float, float]] = []
        for style, build in shown:
            energy.stairs(
                kwh[style], edges, color=colour(style.colour), linestyle=style.line, linewidth=1.8
            )
            curve = build.curve
            power.fill_between(
                curve.speed_ms,
                np.maximum(0, curve.power_w - curve.uncertainty_w),
                curve.power_w + curve.uncertainty_w,
                color=colour(style.colour), alpha=0.14, linewidth=0,
            )  # fmt: skip
            speeds, watts = [curve.cut_in_ms, *curve.speed_ms, curve.cut_out_ms], [
                0, *curve.power_w, 0,
            ]  # fmt: skip
            power.plot(speeds, watts, **{**line_of(style, build.name), "marker": ""})
            at = int(np.argmax(curve.power_w))
            peak = (float(curve.speed_ms[at]), float(curve.power_w[at]))
            # Letters of machines that are nearly alike stand side by side.
            beside = sum(np.allclose(peak, other, rtol=0.08) for other in peaks)
            peaks.append(peak)
            write_letter(power, style, peak, offset=(14 * beside, 5), ha="center")
        energy.set(ylabel="energy of a\nyear (kWh)", ylim=(0, None), xlim=(0, top))
        along_speed(power, "wind speed at the hub")
        power.yaxis.set_major_formatter("{x:,.0f}")
        power.set(ylabel="power of\none (W)", ylim=(0, None))
        legend(figure)

    return Chart(
        "power-curves",
        "The energy by wind speed, over the curve",
        _sentence(parts) if parts else "No energy is made.",
        in_reader_units("; ".join(dict.fromkeys(b.curve.provenance.method for _, b in shown)))
        + ", for the air density at the hub; the band is one standard uncertainty; the energy is "
        "that of all machines after losses",
        _curve_numbers(shown, kwh, edges),
        draw,
        4.0,
    )


def _sentence(parts: Sequence[str]) -> str:
    text = "; ".join(parts)
    return f"{text[:1].upper()}{text[1:]}."


def _fastest(build: BuildEstimate) -> float:
    """Return up to which wind speed a build is drawn: its curve, or nearly all its energy."""
    known = min(build.curve.cut_out_ms, 1.6 * build.curve.last_measured_ms)
    return max(known, float(build.distribution.ppf(0.999)))


def _by_speed(build: BuildEstimate, edges: FloatArray) -> FloatArray:
    """Return the net energy of a year in kWh from the winds of each class."""
    readings = build.wind.readings
    if build.energy.from_time_series and readings is not None:
        speed, weight = readings.speed_ms, readings.weight
    else:
        share = (np.arange(4000) + 0.5) / 4000
        speed, weight = build.distribution.ppf(share), np.ones(share.size)
    power = build.curve.power_at(speed) * weight
    found, _ = np.histogram(np.minimum(speed, edges[-1]), edges, weights=power)
    total = power.sum()
    return np.asarray(found * (build.energy.net_kwh / total if total > 0 else 0.0))


def _best_coefficient(build: BuildEstimate) -> float | None:
    curve = build.curve
    if curve.rotor_area_m2 is None:
        return None
    cp = power_coefficient(
        curve.power_w, curve.speed_ms, curve.rotor_area_m2, curve.air_density_kg_m3
    )
    return float(np.nanmax(np.where(curve.power_w > 0, cp, np.nan), initial=0.0))


def _curve_numbers(
    shown: Builds, kwh: Mapping[BuildStyle, FloatArray], edges: FloatArray
) -> dict[str, Sequence[str | float | None]]:
    numbers: dict[str, Sequence[str | float | None]] = {
        "from wind speed (m/s)": edges[:-1].tolist()
    }
    for style, build in shown:
        curve, letter = build.curve, style.letter
        numbers[f"{letter} power (W)"] = curve.power_at(edges[:-1]).tolist()
        numbers[f"{letter} standard uncertainty (W)"] = np.interp(
            edges[:-1], curve.speed_ms, curve.uncertainty_w, left=0, right=0
        ).tolist()
        numbers[f"{letter} energy (kWh/year)"] = kwh[style].tolist()
    return numbers


_LOST_AT = {
    "what any rotor could take (Betz)": "passes any rotor (Betz)",
    "what this curve makes of it (gross)": "not taken by this machine",
}


def losses_chart(builds: Sequence[BuildEstimate]) -> Chart | None:
    """Return where the energy of a year goes, from the wind through the rotor to the house."""
    shown = {
        style: energy_steps(build.distribution, build.curve, build.energy, build.wind.readings)
        for style, build in drawn(builds)
    }
    # A machine without a known rotor area begins at its gross energy, and so do then all.
    gross = any("(gross)" in steps[0].name for steps in shown.values())
    if gross:
        shown = {
            s: steps[-sum("after" in x.name for x in steps) - 1 :] for s, steps in shown.items()
        }
    names = list(dict.fromkeys(step.name for steps in shown.values() for step in steps[1:]))
    rows = [
        *(_LOST_AT.get(name, f"lost: {name.removeprefix('after ')}") for name in names),
        "is left",
    ]
    values, parts = {}, []
    for (style, steps), (_, build) in zip(shown.items(), drawn(builds), strict=True):
        whole = steps[0].left_kwh + (steps[0].lost_kwh if gross else 0.0)
        if whole <= 0:
            continue
        lost = {step.name: step.lost_kwh for step in steps[1:]}
        kept = 100 * build.energy.net_kwh / whole
        values[style] = [*(100 * lost.get(name, 0.0) / whole for name in names), kept]
        parts.append(f"{style.letter} brings {kept:.0f} % of it to the house")
    if not values:
        return None
    of = "what the curve gives" if gross else "the energy in the wind through the rotor"
    return Chart(
        "energy-steps",
        "Where the energy goes",
        f"Of {of}, {'; '.join(parts)}.",
        "losses one after another; by Betz's law no rotor in free flow can take more than 16/27",
        {"step": rows, **{f"{s.letter} (%)": each for s, each in values.items()}},
        lambda figure: bars(figure, rows, values, lambda v: percent(v / 100), "share of it (%)"),
        0.8 + 0.17 * len(rows) * (0.6 + len(values)),
    )


def drivers_chart(
    uncertainty: Uncertainty, style: BuildStyle, build: BuildUncertainty, goal: str, currency: str
) -> Chart | None:
    """Return what the uncertainty of a figure of one build comes from; None where nothing moves."""
    words = {each.name: each.words for each in uncertainty.inputs}
    unit = f"{sign_of(currency)}/kWh" if goal == "cost_per_kwh" else "kWh/year"
    drivers = [
        (words[driver.name], driver.low, driver.high, driver.share)
        for driver in build.drivers[goal][:FIRST]
        if driver.low is not None and driver.high is not None and driver.low != driver.high
    ]
    middle = build.ranges[goal].p50
    if not drivers or middle is None:
        return None
    first, _, _, share = drivers[0]
    parted = "" if share is None else f" ({percent(share)} of the variance)"
    message = f"What makes {FIGURE_WORDS[goal]} of {style.letter} least sure: {first}{parted}."

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        for place, (_, low, high, _) in enumerate(drivers):
            axes.barh(
                place, high - low, left=low, height=0.45, color=colour(style.colour), linewidth=0,
                hatch=style.hatch, edgecolor=colour("paper"),
            )  # fmt: skip
        axes.use_sticky_edges = False  # the longest bar ends within the axes
        rule_at(axes, middle)
        what = f"{FIGURE_WORDS[goal].removeprefix('the ')} ({unit})"
        axes.set_yticks(range(len(drivers)), [_wrapped(text) for text, _, _, _ in drivers])
        finish(axes, grid="x", ticks=4, ylim=(len(drivers) - 0.5, -0.5))
        axes.set_xlabel(what, loc="right")  # never wider than the figure, long labels beside it

    return Chart(
        f"drivers-{style.mark.lower() or 'a'}" + ("" if goal == goal_of(build) else "-energy"),
        f"What moves {FIGURE_WORDS[goal]}" + (f" of {style.mark}" if style.mark else ""),
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
        0.9 + 0.42 * len(drivers),
    )


def _wrapped(text: str) -> str:
    return fill(printable(text), 27, max_lines=2, placeholder="…")
