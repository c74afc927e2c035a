"""What a table of readings says about a machine, as text for people."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from rich.console import Console
from rich.text import Text

from yieldest.arrays import NOT_KNOWN, percent, rounded, whole
from yieldest.defaults import COVERAGE_FACTOR, Assumed
from yieldest.energy.net_energy import UsualYears, usual_years
from yieldest.report.cautions import CURVE_CAUTIONS
from yieldest.report.sentences.turbine import where_the_energy_goes
from yieldest.report.sentences.words import sentence, sentences
from yieldest.report.tables import Row, TableView
from yieldest.report.terminal import (
    checks,
    print_answers,
    print_heading,
    print_list,
    print_table,
    print_text,
    rows_left,
)
from yieldest.turbine.bins import IDLE_SHARE, Bins
from yieldest.turbine.conversion_chain import Chain
from yieldest.turbine.load import LOAD_WORDS
from yieldest.turbine.measured_curve import MeasuredCurve
from yieldest.turbine.power_curve import PowerCurve
from yieldest.turbine.reading_checks import Hysteresis, Rule
from yieldest.units import in_reader_units, number, speed, speed_unit

PLOT_WIDTH = 34
FEWEST_SIGNS = 8
MOST_ROWS = 13
MOST_ON_TRUST = 2
BINS_KEY = (
    "n: readings; s: their standard deviation; ±: standard uncertainty of the mean, from meters "
    "and scatter; curve: rising to one peak; Cp: power over power in the wind; o: mean, with the "
    "band of one ±"
)
NO_ROTOR = "Not known, for the rotor size is not stated (--rotor-diameter)."
MIDDLE_MEAN_MS = 5.0
"""The year that is told in words."""
OVERSPEED = 2.0
"""A rotor that loses its load may reach twice its usual rpm (common practice, no source)."""


def print_curve(measured: MeasuredCurve, screen: Console, *, full: bool = False) -> None:
    """Print what the readings are worth on one screen; all the rest in full."""
    provenance, years = measured.curve.provenance, usual_years(measured.curve)
    screen.print(Text(provenance.source, style="bold"))
    answers = [
        ("Read as", _read_as(measured)),
        ("Enough?", _enough(measured)),
        *_power(measured, years, full=full),
        *([] if full else [("On trust", _on_trust(measured))]),
        *([] if full else checks(provenance.warnings, provenance.source)),
        *([] if full else [("Danger", _danger(measured))]),
    ]
    lines = print_answers([each for each in answers if each[1]], screen)
    if not full:
        print_table(_chart(measured, screen.width, rows_left(lines, 5, MOST_ROWS)), screen)
        print_text("Every bin, losses, years, rules, methods, assumptions: --full.", screen)
        return
    print_list("Check this", sentences(provenance.warnings), screen)
    print_list("Take care", _cautions(measured), screen)
    print_table(_bins_table(measured, screen.width), screen)
    print_list("", [BINS_KEY], screen)
    print_heading("Where the energy goes", screen)
    if measured.chain is None:
        screen.print(Text(NO_ROTOR))
    else:
        print_table(_chain_table(measured.chain, measured.bins), screen)
    if measured.hysteresis is not None:
        print_list("Starting and stopping", _hysteresis_words(measured.hysteresis), screen)
    print_heading("A year of it, before losses", screen)
    print_table(_years_table(years, measured.curve), screen)
    last = speed(measured.curve.last_measured_ms, ".1f")
    beyond = f"Above {last}, the last wind with readings: {_beyond(measured.curve)}."
    print_list("", [beyond], screen)
    print_heading("Are there enough readings?", screen)
    for line in _rules_lines(measured.rules):
        screen.print(Text(line))
    print_list("How it was computed", _methods(measured), screen)
    print_list("Assumed, for nobody stated it", sentences(provenance.assumed), screen)


def _read_as(measured: MeasuredCurve) -> str:
    """Say in what units and columns the readings were read, and how many there are."""
    readings, averaging = measured.readings, measured.averaging
    how = in_reader_units(readings.provenance.method)
    hours = ""
    if averaging.interval_s is not None:
        hours = f", {readings.size * averaging.interval_s / 3600:,.1f} hours in all"
    return (
        f"{how[0].upper()}{how[1:]}. {readings.read_count:,} lines, {readings.size:,} readings in "
        f"the bins ({averaging.words}){hours}; air of {measured.air_density_kg_m3:.3f} kg/m3."
    )


def _enough(measured: MeasuredCurve) -> str:
    """Say whether the readings meet the rules for small turbines."""
    small = [rule for rule in measured.rules if rule.standard == measured.rules[0].standard]
    missed = [f"{rule.requires} (found {rule.found})" for rule in small if not rule.met]
    if not missed:
        return f"Yes: the readings meet all {len(small)} rules for small turbines."
    return (
        f"For an indication: they miss {len(missed)} of the {len(small)} rules for small turbines: "
        f"{in_reader_units('; '.join(missed))}."
    )


def _power(measured: MeasuredCurve, years: UsualYears, *, full: bool) -> list[tuple[str, str]]:
    """Say how strong the machine is, how sure that is, what a year brings, and what is lost."""
    curve, bins, chain = measured.curve, measured.bins, measured.chain
    hysteresis = measured.hysteresis
    highest = int(np.argmax(curve.power_w))
    power = float(curve.power_w[highest])
    if not power > 0:
        return [("How strong?", "The machine made no power in any of these readings.")]
    middle = int(np.argmin(np.abs(years.mean_ms - MIDDLE_MEAN_MS)))
    year, others = float(years.energy_kwh[middle]), (middle - 1, middle + 1)
    either = " and ".join(
        f"{_energy(float(years.energy_kwh[i]))} at {speed(years.mean_ms[i])}" for i in others
    )
    first = speed(measured.smooth.cut_in_ms, ".1f")
    begins = (
        f"It makes power from {first} on"
        if measured.smooth.cut_in_seen
        else f"In the lowest winds read, {first}, it makes power already"
    )
    lost = [NO_ROTOR] if chain is None else where_the_energy_goes(chain, bins)
    if not full:
        lost = [lost[0], *lost[1:][-1:]]
    return [
        (
            "How strong?",
            f"{begins}; its highest is {_watts(power)} W at "
            f"{speed(curve.speed_ms[highest], '.1f')}.",
        ),
        (
            "How sure?",
            "The highest power has the 90 % range "
            f"{_range(power, float(curve.uncertainty_w[highest]), _watts)} W, from meters and "
            "scatter.",
        ),
        (
            "A year of it",
            f"In a mean wind of {speed(years.mean_ms[middle])} at the hub {_energy(year)} kWh "
            "before losses (90 % range from the curve alone "
            f"{_range(year, float(years.uncertainty_kwh[middle]), _energy)}); {either}. Above "
            f"{speed(curve.last_measured_ms, '.1f')}, where the readings end, {_beyond(curve)}.",
        ),
        ("Where lost?", " ".join(lost)),
        *(
            [("Starting", " ".join(_hysteresis_words(hysteresis)))]
            if hysteresis is not None and hysteresis.shown
            else []
        ),
    ]


def _range(value: float, uncertainty: float, write: Callable[[float], str]) -> str:
    """Write the 90 % range of what cannot be below zero, to the decimals of the value."""
    places = len(write(value).partition(".")[2])
    low, high = (max(0.0, value + side * COVERAGE_FACTOR * uncertainty) for side in (-1, 1))
    return f"{low:,.{places}f} to {high:,.{places}f}"


def _on_trust(measured: MeasuredCurve) -> str:
    """Name what was taken for granted, in short."""
    provenance = measured.curve.provenance
    parts = [
        f"{each.default.words} {each.default}"
        if isinstance(each, Assumed)
        else sentence(each).removeprefix(f"{provenance.source}: ").removesuffix(".")
        for each in provenance.assumed
    ]
    named = [f"{part[0].lower()}{part[1:]}" for part in parts[:MOST_ON_TRUST]]
    if len(parts) > len(named):
        named.append(f"{len(parts) - len(named)} more in --full")
    return f"{'; '.join(named)}." if named else ""


def _danger(measured: MeasuredCurve) -> str:
    volts = _runaway_volts(measured)
    then = "" if volts is None else f" (about {rounded(volts)} V then)"
    return (
        "a rotor that loses its load runs away within seconds: have a brake that works without "
        f"power; live wires{then}, hot resistors, blades, roads: docs/safety.md."
    )


def _chart(measured: MeasuredCurve, width: int, most: int) -> TableView:
    """Return power by mean wind with its 90 % range, drawn too, in so many lines at most."""
    bins = measured.bins
    runs = np.flatnonzero(bins.power_w > IDLE_SHARE * bins.power_w.max())
    first = max(0, int(runs[0]) - 1) if runs.size else 0
    shown = np.arange(first, bins.centre_ms.size)
    for step_ms in (1.0, 2.0, 4.0):
        if shown.size > most:
            shown = np.array([i for i in shown if bins.centre_ms[i] % step_ms == 0])
    reach = COVERAGE_FACTOR * bins.uncertainty_w
    top = float((bins.power_w + reach).max())
    rows = [
        Row(
            number(bins.speed_ms[i], "m/s", "5.2f"),
            (
                f"{bins.count[i]}",
                _watts(float(bins.power_w[i])),
                _range(float(bins.power_w[i]), float(bins.uncertainty_w[i]), _watts),
                _plot_line(float(bins.power_w[i]), float(reach[i]), top, width - 51),
            ),
        )
        for i in shown
    ]
    heads = [f"mean wind {speed_unit()}", "readings", "power W", "90 % range"]
    return TableView("", [*heads, f"0 to {_watts(top)} W"], rows, bars=True)


def _bins_table(measured: MeasuredCurve, width: int) -> TableView:
    bins, chain = measured.bins, measured.chain
    top = float((bins.power_w + bins.uncertainty_w).max())
    drawn = np.interp(bins.speed_ms, measured.smooth.speed_ms, measured.smooth.power_w, left=0.0)
    rows = [Row(f" {speed_unit()}", ("", speed_unit(), "W", "W", "W", "W", "", ""))]
    for i in range(bins.centre_ms.size):
        power, uncertainty = float(bins.power_w[i]), float(bins.uncertainty_w[i])
        cells = (
            f"{bins.count[i]}",
            number(bins.speed_ms[i], "m/s", ".2f"),
            *map(_watts, (power, float(bins.standard_deviation_w[i]), uncertainty)),
            _watts(float(drawn[i])),
            NOT_KNOWN if chain is None else f"{chain.coefficient[i]:.2f}",
            _plot_line(power, uncertainty, top, width - 58),
        )
        rows.append(Row(number(bins.centre_ms[i], "m/s", "4.1f"), cells))
    heads = [" bin", "n", "wind", "power", "s", "±", "curve", "Cp"]
    return TableView("", [*heads, f"0 to {_watts(top)} W"], rows, bars=True)


def _watts(value: float) -> str:
    """Write watts with three significant digits, but no more than hundredths."""
    if np.isnan(value):
        return NOT_KNOWN
    return f"{value:.2f}" if 0.005 <= abs(value) < 1 else rounded(value, 3) if value >= 1 else "0"


def _energy(value: float) -> str:
    return whole(value, 3)


def _plot_line(power: float, uncertainty: float, top: float, most: int) -> str:
    """Draw a mean and its band on a line of at most so many characters."""
    width = max(FEWEST_SIGNS, min(PLOT_WIDTH, most))

    def place(value: float) -> int:
        share = value / top if top > 0 else 0.0
        return round(min(1.0, max(0.0, share)) * (width - 1))

    cells = [" "] * width
    for cell in range(place(power - uncertainty), place(power + uncertainty) + 1):
        cells[cell] = "-"
    cells[place(power)] = "o"
    return "".join(cells).rstrip()


def _chain_table(chain: Chain, bins: Bins) -> TableView:
    """Return the power at each stage of the machine, by wind speed."""
    columns = {
        "in the wind, W": chain.wind_w,
        "Betz limit, W": chain.betz_w,
        "rotor, at least, W": chain.rotor_w,
        "at the meter, W": bins.power_w,
        "generator at most, W": chain.generator_most_w,
    }
    known = {head: values for head, values in columns.items() if values is not None}
    shares = chain.generator_efficiency
    rows = []
    for i in np.flatnonzero(bins.power_w > IDLE_SHARE * bins.power_w.max()):
        cells = [_watts(float(values[i])) for values in known.values()]
        cells.append(f"{chain.coefficient[i]:.3f}")
        if shares is not None:
            cells.append(NOT_KNOWN if np.isnan(shares[i]) else percent(float(shares[i])))
        rows.append(Row(number(bins.speed_ms[i], "m/s", ".1f"), tuple(cells)))
    heads = [f"wind, {speed_unit()}", *known, "Cp of all"]
    heads += ["generator"] if shares is not None else []
    return TableView("", heads, rows)


def _hysteresis_words(found: Hysteresis) -> list[str]:
    said = []
    if found.start_ms is None or found.stop_ms is None:
        said.append(
            f"Seen starting {found.starts} and stopping {found.stops} times (by {found.judged_by}"
            "), too few to say whether it starts at a higher wind than it stops at."
        )
    else:
        said.append(
            f"It starts at {number(found.start_ms, 'm/s', '.1f')} and stops at "
            f"{speed(found.stop_ms, '.1f')} on average (by {found.judged_by}; seen "
            f"{found.starts} and {found.stops} times): "
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


def _years_table(years: UsualYears, curve: PowerCurve) -> TableView:
    last = speed(curve.last_measured_ms, ".1f")
    columns = {
        "energy, kWh": years.energy_kwh,
        "  ± from the curve alone, standard": years.uncertainty_kwh,
        f"  from above {last}": years.beyond_kwh,
    }
    rows = [
        Row(label, tuple(_energy(float(value)) for value in values))
        for label, values in columns.items()
    ]
    heads = [
        f"mean wind at the hub, {speed_unit()} (Rayleigh)",
        *(number(mean, "m/s") for mean in years.mean_ms),
    ]
    return TableView("", heads, rows)


def _beyond(curve: PowerCurve) -> str:
    """Say what is counted above the last measured speed."""
    return {
        "zero": "nothing is counted",
        "hold": f"the last power is held to {speed(curve.cut_out_ms)}",
        "cube law": "the last power grows with the cube of the wind to rated power, up to "
        + speed(curve.cut_out_ms),
    }[curve.extrapolation]


def _rules_lines(rules: tuple[Rule, ...]) -> list[str]:
    lines = []
    for standard in dict.fromkeys(rule.standard for rule in rules):
        lines.append(standard)
        lines += [
            f"  {'met    ' if rule.met else 'not met'}  "
            + in_reader_units(f"{rule.requires} (found: {rule.found})")
            for rule in rules
            if rule.standard == standard
        ]
    return lines


def _methods(measured: MeasuredCurve) -> list[str]:
    averaging, curve = measured.averaging, measured.curve
    said = [in_reader_units(curve.provenance.method)]
    if averaging.cube_ratio is not None:
        said.append(
            f"Within the minutes the mean cube of the wind was {averaging.cube_ratio:.3f} times "
            "the cube of its mean, which is the reason for averaging."
        )
    said.append(
        f"Readings taken at {measured.air_density_kg_m3:.3f} kg/m3, brought to "
        f"{curve.air_density_kg_m3:g} kg/m3 (IEC 61400-12-1)."
    )
    scatter = measured.bins.relative_scatter
    if scatter is not None:
        said.append(
            f"Within a bin the power scatters by {percent(scatter)} of its mean (standard "
            "deviation)."
        )
    if curve.load is not None:
        said.append(
            f"Measured on {LOAD_WORDS[curve.load]}: on another load the machine has another curve."
        )
    return said


def _runaway_volts(measured: MeasuredCurve) -> float | None:
    """Return the open-circuit volts at twice the highest rpm read; None where not known."""
    if measured.generator is None or not measured.highest_rpm:
        return None
    return measured.generator.volts_per_rpm * OVERSPEED * measured.highest_rpm


def _cautions(measured: MeasuredCurve) -> list[str]:
    said, volts = list(CURVE_CAUTIONS), _runaway_volts(measured)
    if volts is not None:
        said[1] += (
            f" This generator gives about {rounded(volts)} V open-circuit at twice the highest rpm "
            f"read ({measured.highest_rpm:.0f})."
        )
    return said
