"""What a table of readings says about a machine, as text for people."""

from __future__ import annotations

import numpy as np
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from yieldest.arrays import NOT_KNOWN, percent, rounded
from yieldest.energy.closed_form import UsualYears, usual_years
from yieldest.report.sentences.turbine import where_the_energy_goes
from yieldest.report.sentences.words import sentences
from yieldest.report.terminal import print_heading, print_list
from yieldest.turbine.bins import IDLE_SHARE
from yieldest.turbine.load import LOAD_WORDS
from yieldest.turbine.measured_curve import MeasuredCurve
from yieldest.turbine.reading_checks import Hysteresis, Rule

PLOT_WIDTH = 34
OVERSPEED = 2.0
"""A rotor that loses its load may reach twice its usual rpm (common practice, no source)."""

CURVE_CAUTIONS = (
    "When the load comes off (a fuse, a full battery, a loose plug) the rotor overspeeds within "
    "seconds: have a brake that works without power before the first windy reading, and never "
    "take the load off to see what happens.",
    "Open-circuit volts grow with rpm and can be many times the volts under load: treat the wires "
    "of a turning machine as live, and use meters rated for it.",
    "Load resistors glow in strong wind: mount them on something that does not burn, guard them, "
    "and expect their resistance to rise with heat.",
    "Stand upwind or to the side, never in the plane of the blades; tie the rotor fast before "
    "going near it.",
    "Do not test from a trailer or car on public roads. On private ground keep people away, have "
    "a driver who does nothing else, and know that the air around the vehicle falsifies the wind.",
)
"""Common practice, no source; local codes and licensed practice always come first."""


def print_curve(measured: MeasuredCurve, screen: Console) -> None:
    """Print the verdict first, then bins, where the energy goes, the rules, and the cautions."""
    years = usual_years(measured.curve)
    for sentence in verdict(measured, years):
        screen.print(Text(sentence, style="bold"))
    screen.print()
    screen.print(_bins_table(measured))
    screen.print(
        Text(
            "n: readings; s: their standard deviation; ±: standard uncertainty of the mean, from "
            "meters and scatter; curve: rising to one peak; Cp: power over power in the wind; o: "
            "mean, with the band of one ±."
        )
    )
    _print_chain(measured, screen)
    print_list("Starting and stopping", _hysteresis_words(measured.hysteresis), screen)
    _print_years(years, measured, screen)
    _print_rules(measured.rules, screen)
    print_list("How it was computed", _methods(measured), screen)
    print_list(
        "Assumed, for nobody stated it", sentences(measured.curve.provenance.assumed), screen
    )
    print_list("Be warned", sentences(measured.curve.provenance.warnings), screen)
    print_list("Take care", _cautions(measured), screen)


def verdict(measured: MeasuredCurve, years: UsualYears) -> list[str]:
    """Say in plain words what the readings are worth."""
    curve, bins = measured.curve, measured.bins
    highest = int(np.argmax(curve.power_w))
    if not curve.power_w[highest] > 0:
        return ["The machine made no power in any of these readings."]
    middle = (
        float(curve.uncertainty_w[highest] / curve.power_w[highest])
    )  # fmt: skip
    said = [
        f"From {measured.smooth.cut_in_ms:.1f} m/s on the machine makes power; its highest is "
        f"{rounded(float(curve.power_w[highest]))} W at {curve.speed_ms[highest]:.1f} m/s, give or "
        f"take {percent(middle, 1)} (standard uncertainty)."
    ]
    if measured.chain is not None:
        best = measured.chain.best
        said.append(
            f"At its best, near {bins.centre_ms[best]:g} m/s, "
            f"{percent(float(measured.chain.coefficient[best]))} of the power in the wind reaches "
            "the meter."
        )
    missed = [rule for rule in measured.rules[:3] if not rule.met]
    said.append(
        "The readings meet the rules for small turbines that are printed below."
        if not missed
        else f"The readings miss {len(missed)} of the 3 rules for small turbines printed below, so "
        "take the curve as an indication."
    )
    middle_year = int(np.argmin(np.abs(years.mean_ms - 5.0)))
    said.append(
        f"In a mean wind of {years.mean_ms[middle_year]:g} m/s at the hub it would make about "
        f"{rounded(float(years.energy_kwh[middle_year]))} kWh a year before losses."
    )
    return said


def _bins_table(measured: MeasuredCurve) -> Table:
    bins, chain = measured.bins, measured.chain
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    for heading in ("bin", "n", "wind", "power", "s", "±", "curve", "Cp"):
        table.add_column(heading, justify="right", no_wrap=True)
    top = float((bins.power_w + bins.uncertainty_w).max())
    table.add_column(f"0 to {rounded(top)} W", no_wrap=True)
    table.add_row("m/s", "", "m/s", "W", "W", "W", "W", "", "")
    drawn = np.interp(bins.speed_ms, measured.smooth.speed_ms, measured.smooth.power_w, left=0.0)
    for i in range(bins.centre_ms.size):
        deviation = float(bins.standard_deviation_w[i])
        table.add_row(
            f"{bins.centre_ms[i]:.1f}",
            f"{bins.count[i]}",
            f"{bins.speed_ms[i]:.2f}",
            _watts(float(bins.power_w[i])),
            NOT_KNOWN if np.isnan(deviation) else _watts(deviation),
            _watts(float(bins.uncertainty_w[i])),
            _watts(float(drawn[i])),
            NOT_KNOWN if chain is None else f"{chain.coefficient[i]:.2f}",
            _plot_line(float(bins.power_w[i]), float(bins.uncertainty_w[i]), top),
        )
    return table


def _watts(value: float) -> str:
    return rounded(value, 3) if abs(value) >= 0.0005 else "0"


def _plot_line(power: float, uncertainty: float, top: float) -> str:
    """Draw a mean and its band on a line of characters."""

    def place(value: float) -> int:
        share = value / top if top > 0 else 0.0
        return round(min(1.0, max(0.0, share)) * (PLOT_WIDTH - 1))

    cells = [" "] * PLOT_WIDTH
    for cell in range(place(power - uncertainty), place(power + uncertainty) + 1):
        cells[cell] = "-"
    cells[place(power)] = "o"
    return "".join(cells).rstrip()


def _print_chain(measured: MeasuredCurve, screen: Console) -> None:
    chain, bins = measured.chain, measured.bins
    print_heading("Where the energy goes", screen)
    if chain is None:
        screen.print(Text("Not known, for the rotor size is not stated (--rotor-diameter)."))
        return
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 2, 0, 0))
    columns = [
        ("in the wind", chain.wind_w),
        ("Betz limit", chain.betz_w),
        ("rotor, at least", chain.rotor_w),
        ("at the meter", chain.measured_w),
        ("generator at most", chain.generator_most_w),
    ]
    known = [(heading, values) for heading, values in columns if values is not None]
    table.add_column("wind, m/s", justify="right")
    for heading, _ in known:
        table.add_column(f"{heading}, W", justify="right")
    table.add_column("Cp of all", justify="right")
    if chain.generator_efficiency is not None:
        table.add_column("generator", justify="right")
    for i in np.flatnonzero(bins.power_w > IDLE_SHARE * bins.power_w.max()):
        cells = [f"{bins.speed_ms[i]:.1f}"]
        cells += [_or_dash(float(values[i])) for _, values in known]
        cells.append(f"{chain.coefficient[i]:.3f}")
        if chain.generator_efficiency is not None:
            share = float(chain.generator_efficiency[i])
            cells.append(NOT_KNOWN if np.isnan(share) else percent(share))
        table.add_row(*cells)
    screen.print(table)
    for sentence in where_the_energy_goes(chain, bins):
        screen.print(Text(sentence))


def _or_dash(value: float) -> str:
    return NOT_KNOWN if np.isnan(value) else _watts(value)


def _hysteresis_words(found: Hysteresis) -> list[str]:
    said = []
    if found.start_ms is None or found.stop_ms is None:
        said.append(
            f"Seen starting {found.starts} and stopping {found.stops} times (by {found.judged_by}"
            "), too few to say whether it starts at a higher wind than it stops at."
        )
    else:
        said.append(
            f"It starts at {found.start_ms:.1f} and stops at {found.stop_ms:.1f} m/s on the mean "
            f"(by {found.judged_by}; seen {found.starts} and {found.stops} times): "
            + (
                "it needs more wind to start than to keep turning, so a calm costs it more than "
                "the curve says."
                if found.shown
                else "no difference beyond chance."
            )
        )
    excess, uncertainty = found.falling_excess, found.falling_excess_uncertainty
    if excess is not None and uncertainty is not None and abs(excess) > 2 * uncertainty:
        said.append(
            f"At the same wind it makes {percent(abs(excess))} {'more' if excess > 0 else 'less'} "
            "when the wind falls than when it rises: it lags behind the wind."
        )
    return said


def _print_years(years: UsualYears, measured: MeasuredCurve, screen: Console) -> None:
    print_heading("A year of it, before losses", screen)
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("mean wind at the hub, m/s (Rayleigh)")
    rows = [
        ("energy, kWh", years.energy_kwh),
        ("  ± from the curve alone", years.uncertainty_kwh),
        (f"  from above {measured.curve.last_measured_ms:.1f} m/s", years.beyond_kwh),
    ]
    for mean in years.mean_ms:
        table.add_column(f"{mean:g}", justify="right")
    for heading, values in rows:
        table.add_row(heading, *(rounded(float(value)) for value in values))
    screen.print(table)
    screen.print(
        Text(
            f"Above {measured.curve.last_measured_ms:.1f} m/s, the last wind with readings: "
            + {
                "zero": "nothing is counted.",
                "hold": f"the last power is held to {measured.curve.cut_out_ms:g} m/s.",
                "cube law": "the last power grows with the cube of the wind to rated power, up to "
                f"{measured.curve.cut_out_ms:g} m/s.",
            }[measured.curve.extrapolation]
        )
    )


def _print_rules(rules: tuple[Rule, ...], screen: Console) -> None:
    print_heading("Are there enough readings?", screen)
    for standard in dict.fromkeys(rule.standard for rule in rules):
        screen.print(Text(standard))
        for rule in rules:
            if rule.standard == standard:
                mark = "met    " if rule.met else "not met"
                screen.print(Text(f"  {mark}  {rule.requires} (found: {rule.found})"))


def _methods(measured: MeasuredCurve) -> list[str]:
    averaging, curve = measured.averaging, measured.curve
    said = [curve.provenance.method]
    if averaging.cube_ratio is not None:
        said.append(
            f"Within the minutes the mean cube of the wind was {averaging.cube_ratio:.3f} times "
            "the cube of its mean, which is the reason for averaging."
        )
    said.append(
        f"Readings taken at {measured.air_density_kg_m3:.3f} kg/m3, brought to "
        f"{curve.air_density_kg_m3:g} kg/m3 (IEC 61400-12-1)."
    )
    if measured.scatter is not None:
        said.append(
            f"Within a bin the power scatters by {percent(measured.scatter)} of its mean (standard "
            "deviation)."
        )
    said.append(
        f"{measured.readings.read_count} lines read, {measured.readings.size} readings in the bins."
    )
    if curve.load is not None:
        said.append(
            f"Measured on {LOAD_WORDS[curve.load]}: on another load the machine has another curve."
        )
    return said


def _cautions(measured: MeasuredCurve) -> list[str]:
    said = list(CURVE_CAUTIONS)
    if measured.generator is not None and measured.highest_rpm:
        volts = measured.generator.volts_per_rpm * OVERSPEED * measured.highest_rpm
        said[1] += (
            f" This generator gives about {rounded(volts)} V open-circuit at twice the highest rpm "
            f"read ({measured.highest_rpm:.0f})."
        )
    return said
