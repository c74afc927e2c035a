"""What a table of readings says about a machine, as text for people."""

from __future__ import annotations

import numpy as np
from rich.console import Console
from rich.text import Text

from yieldest.arrays import NOT_KNOWN, percent, rounded
from yieldest.energy.net_energy import UsualYears, usual_years
from yieldest.report.cautions import CURVE_CAUTIONS
from yieldest.report.sentences.turbine import where_the_energy_goes
from yieldest.report.sentences.words import sentences
from yieldest.report.tables import Notes, Row, Section, TableView
from yieldest.report.terminal import print_section
from yieldest.turbine.bins import IDLE_SHARE
from yieldest.turbine.load import LOAD_WORDS
from yieldest.turbine.measured_curve import MeasuredCurve
from yieldest.turbine.reading_checks import Hysteresis, Rule

PLOT_WIDTH = 34
OVERSPEED = 2.0
"""A rotor that loses its load may reach twice its usual rpm (common practice, no source)."""


def print_curve(measured: MeasuredCurve, screen: Console) -> None:
    """Print the verdict first, then bins, where the energy goes, the rules, and the cautions."""
    years = usual_years(measured.curve)
    for sentence in summary(measured, years):
        screen.print(Text(sentence, style="bold"))
    for section in _sections(measured, years):
        print_section(section, screen)


def _sections(measured: MeasuredCurve, years: UsualYears) -> list[Section]:
    provenance = measured.curve.provenance
    key = (
        "n: readings; s: their standard deviation; ±: standard uncertainty of the mean, from "
        "meters and scatter; curve: rising to one peak; Cp: power over power in the wind; o: "
        "mean, with the band of one ±"
    )
    return [
        Section(tables=[_bins_table(measured)], notes=[Notes("", [key])]),
        _chain_section(measured),
        Section(notes=[Notes("Starting and stopping", _hysteresis_words(measured.hysteresis))]),
        _years_section(years, measured),
        Section(title="Are there enough readings?", lines=_rules_lines(measured.rules)),
        Section(
            notes=[
                Notes("How it was computed", _methods(measured)),
                Notes("Assumed, for nobody stated it", sentences(provenance.assumed)),
                Notes("Be warned", sentences(provenance.warnings)),
                Notes("Take care", _cautions(measured)),
            ]
        ),
    ]


def summary(measured: MeasuredCurve, years: UsualYears) -> list[str]:
    """Say in plain words what the readings are worth."""
    curve, bins = measured.curve, measured.bins
    highest = int(np.argmax(curve.power_w))
    if not curve.power_w[highest] > 0:
        return ["The machine made no power in any of these readings."]
    uncertainty = float(curve.uncertainty_w[highest] / curve.power_w[highest])
    said = [
        f"From {measured.smooth.cut_in_ms:.1f} m/s on the machine makes power; its highest is "
        f"{rounded(float(curve.power_w[highest]))} W at {curve.speed_ms[highest]:.1f} m/s, give or "
        f"take {percent(uncertainty, 1)} (standard uncertainty)."
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


def _bins_table(measured: MeasuredCurve) -> TableView:
    bins, chain = measured.bins, measured.chain
    top = float((bins.power_w + bins.uncertainty_w).max())
    drawn = np.interp(bins.speed_ms, measured.smooth.speed_ms, measured.smooth.power_w, left=0.0)
    rows = [Row(" m/s", ("", "m/s", "W", "W", "W", "W", "", ""))]
    for i in range(bins.centre_ms.size):
        cells = (
            f"{bins.count[i]}",
            f"{bins.speed_ms[i]:.2f}",
            _watts(float(bins.power_w[i])),
            _watts(float(bins.standard_deviation_w[i])),
            _watts(float(bins.uncertainty_w[i])),
            _watts(float(drawn[i])),
            NOT_KNOWN if chain is None else f"{chain.coefficient[i]:.2f}",
            _plot_line(float(bins.power_w[i]), float(bins.uncertainty_w[i]), top),
        )
        rows.append(Row(f"{bins.centre_ms[i]:4.1f}", cells))
    heads = [" bin", "n", "wind", "power", "s", "±", "curve", "Cp"]
    return TableView("", [*heads, f"0 to {rounded(top)} W"], rows, bars=True)


def _watts(value: float) -> str:
    if np.isnan(value):
        return NOT_KNOWN
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


def _chain_section(measured: MeasuredCurve) -> Section:
    chain, bins = measured.chain, measured.bins
    title = "Where the energy goes"
    if chain is None:
        return Section(
            title=title,
            lines=["Not known, for the rotor size is not stated (--rotor-diameter)."],
        )
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
        rows.append(Row(f"{bins.speed_ms[i]:.1f}", tuple(cells)))
    heads = ["wind, m/s", *known, "Cp of all", *(["generator"] if shares is not None else [])]
    notes = [Notes("", where_the_energy_goes(chain, bins))]
    return Section(title=title, tables=[TableView("", heads, rows)], notes=notes)


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


def _years_section(years: UsualYears, measured: MeasuredCurve) -> Section:
    curve = measured.curve
    last = f"{curve.last_measured_ms:.1f} m/s"
    columns = {
        "energy, kWh": years.energy_kwh,
        "  ± from the curve alone": years.uncertainty_kwh,
        f"  from above {last}": years.beyond_kwh,
    }
    rows = [
        Row(label, tuple(rounded(float(value)) for value in values))
        for label, values in columns.items()
    ]
    heads = ["mean wind at the hub, m/s (Rayleigh)", *(f"{mean:g}" for mean in years.mean_ms)]
    beyond = {
        "zero": "nothing is counted",
        "hold": f"the last power is held to {curve.cut_out_ms:g} m/s",
        "cube law": "the last power grows with the cube of the wind to rated power, up to "
        f"{curve.cut_out_ms:g} m/s",
    }[curve.extrapolation]
    return Section(
        title="A year of it, before losses",
        tables=[TableView("", heads, rows)],
        notes=[Notes("", [f"Above {last}, the last wind with readings: {beyond}."])],
    )


def _rules_lines(rules: tuple[Rule, ...]) -> list[str]:
    lines = []
    for standard in dict.fromkeys(rule.standard for rule in rules):
        lines.append(standard)
        lines += [
            f"  {'met    ' if rule.met else 'not met'}  {rule.requires} (found: {rule.found})"
            for rule in rules
            if rule.standard == standard
        ]
    return lines


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
    scatter = measured.bins.relative_scatter
    if scatter is not None:
        said.append(
            f"Within a bin the power scatters by {percent(scatter)} of its mean (standard "
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
