"""What was found about a power curve and the readings behind it, in words."""

from __future__ import annotations

import numpy as np

from yieldest.arrays import plainly
from yieldest.report.sentences.words import say, sentence
from yieldest.turbine import (
    curve_ends,
    curve_file,
    generic_curve,
    load,
    measured_curve,
    meters,
    power_curve,
    reading_checks,
    reading_file,
    readings,
    rotor,
)
from yieldest.turbine.bins import Bins
from yieldest.turbine.conversion_chain import Chain
from yieldest.turbine.load import LOAD_WORDS
from yieldest.turbine.rotor import BETZ_LIMIT
from yieldest.units import as_shown, in_reader_units, number, speed

_FRACTIONS = (
    (0.95, "nearly all"),
    (3 / 4, "three quarters"),
    (2 / 3, "two thirds"),
    (1 / 2, "half"),
    (2 / 5, "two fifths"),
    (1 / 3, "a third"),
    (1 / 4, "a quarter"),
    (1 / 5, "a fifth"),
    (1 / 6, "a sixth"),
    (1 / 7, "a seventh"),
    (1 / 8, "an eighth"),
    (1 / 9, "a ninth"),
    (1 / 10, "a tenth"),
)


def fraction_words(share: float) -> str:
    """Say a share as a person would: "a sixth"."""
    if share >= 1:
        return "all"
    if share < 0.09:
        return "less than a tenth"
    return min(_FRACTIONS, key=lambda known: abs(np.log(share / known[0])))[1]


@sentence.register
def _(finding: reading_checks.ThinBins) -> str:
    centres = ", ".join(number(centre, "m/s") for centre in finding.centre_ms)
    bins = f"bin{'s' * (len(finding.centre_ms) > 1)} at {centres} {as_shown(0.0, 'm/s')[1]}"
    if finding.empty:
        return f"No reading fell into the {bins}; the curve there is drawn between its neighbours."
    return (
        f"Fewer than three readings stand behind the {bins}; their scatter is borrowed from the "
        "others."
    )


@sentence.register
def _(finding: reading_file.OddLines) -> str:
    said = {
        "blank": "{} without a speed or a power left out.",
        "disordered": "{} back in time; the readings were sorted.",
        "repeated": "time and values of the line before stand there again, in {} from here on; "
        "each was counted once.",
    }
    lines = f"{finding.count:,} line{'s' * (finding.count > 1)}"
    return f"{finding.where}: {said[finding.what].format(lines)}"


@sentence.register
def _(finding: curve_file.CurveNote) -> str:
    said = {
        "no power": "the curve never makes any power",
        "modelled": "this curve is modelled; nobody measured it",
        "no density": "the curve holds for an air density of 1.225 kg/m3, for none is stated",
    }
    return f"{finding.name}: {said[finding.what]}."


@sentence.register
def _(finding: readings.AirAssumed) -> str:
    air = {
        "density": "1.225 kg/m3, for neither air density nor elevation and temperature are stated",
        "pressure": "sea level, for neither pressure nor elevation is stated",
        "temperature": "15 C, for no temperature is stated",
    }
    return f"Readings taken at {air[finding.taken]}."


@sentence.register
def _(finding: curve_ends.EndAssumed) -> str:
    last = f"{speed(finding.last_ms, '.1f')}, the last speed of the curve"
    if finding.held_to_ms is None:
        said = f"no power is counted above {last}, for no cut-out speed is stated."
    else:
        said = (
            f"from {last}, to the cut-out at {speed(finding.held_to_ms)} the last power is held, "
            "for extrapolation is not stated."
        )
    return f"{finding.name}: {said}"


@sentence.register
def _(finding: curve_file.AreaNotStated) -> str:
    left = "thrust was left aside" if finding.thrust else "curve was not held to the Betz limit"
    return f"{finding.name}: the {left}, for the rotor area is not stated."


def _with_speed(where: str) -> str:
    """Return where a coefficient was found: a name as it is, and behind the colon a speed."""
    name, colon, speed_at = where.rpartition(":")
    return f"{name}{colon}{in_reader_units(speed_at)}"


@sentence.register
def _(finding: rotor.LowCoefficient) -> str:
    return (
        f"{_with_speed(finding.where)} the power coefficient is at best "
        f"{finding.coefficient:.3f}, which is little even for a poor machine; check the rotor size "
        "(feet given as metres?) and the units."
    )


@sentence.register
def _(finding: rotor.HighCoefficient) -> str:
    said = f"{_with_speed(finding.where)} the power coefficient is {finding.coefficient:.2f}; "
    if finding.rotor == "lift":
        return (
            f"{said}rotors and generators made at home reach 0.2 to 0.3, so look again at how wind "
            "and power were read, and at the rotor size. Where its uncertainty is not stated, more "
            "is assumed for it."
        )
    if finding.rotor == "drag":
        return (
            f"{said}above {rotor.HIGH_DRAG_COEFFICIENT:g} is hardly possible for a drag-type rotor."
        )
    return f"{said}above {rotor.HIGH_SMALL_COEFFICIENT:g} is hardly possible for any small machine."


@sentence.register
def _(finding: load.LoadAssumed) -> str:
    fed = LOAD_WORDS[finding.load]
    if finding.measured:
        said = f"the curve was measured on {fed}, for load.measured_on is not stated."
    else:
        said = f"the machine feeds {fed}, on which the curve was measured, for load is not stated."
    return f"{finding.name}: {said}"


@sentence.register
def _(finding: load.OtherLoad) -> str:
    done = (
        "the converter's losses are taken off, but another load lets the rotor turn at another "
        "speed, which no table can mend."
        if finding.converted
        else "it was used as it is, without the converter's losses; state load.conversion."
    )
    return (
        f"{finding.name}: the curve was measured on {LOAD_WORDS[finding.measured_on]}, and the "
        f"machine will feed {LOAD_WORDS[finding.load]}: {done} Its power has another "
        f"{100 * load.OTHER_LOAD_UNCERTAINTY:.0f} % of standard uncertainty."
    )


@sentence.register
def _(finding: measured_curve.AboveBetz) -> str:
    first = measured_curve.above_betz_words(finding)
    return (
        f"{first}; readings like it that were left out: {finding.left_out}. Either a slip of "
        "the pen, or the gust had passed the anemometer already."
    )


@sentence.register
def _(finding: readings.FewInAMinute) -> str:
    return (
        f"A minute holds only {finding.readings:.0f} reading"
        f"{'s' * (round(finding.readings) != 1)}, so the 1-minute means are rough and the bins "
        "smear."
    )


@sentence.register
def _(finding: readings.AveragingAssumed) -> str:
    what = (
        "a glance at the meters, for there are no times"
        if finding.interval_s is None
        else f"a mean over the {finding.interval_s:g} s to the next"
    )
    return f"Each reading is {what} and averaging_s is not stated."


@sentence.register
def _(finding: readings.ShorterThanAMinute) -> str:
    words = readings.averaging_words(finding.seconds)
    excess = 3 * readings.USUAL_TURBULENCE**2
    return (
        f"The readings are {words}, less than one minute: gusts carry them into other bins (in "
        f"usual turbulence the mean cube of the speed is {100 * excess:.0f} % above the cube of "
        "its mean) and the machine lags behind the wind. Log times and average to one minute."
    )


@sentence.register
def _(finding: reading_file.WattsContradict) -> str:
    first = reading_file.contradiction_words(finding)
    return f"{first}; lines like it that were left out: {finding.left_out}."


def where_the_energy_goes(chain: Chain, bins: Bins) -> list[str]:
    """Follow the power through the machine in plain sentences, at its best bin."""
    best = chain.best
    wind, measured = chain.wind_w[best], bins.power_w[best]
    if not (measured > 0 and wind > 0):
        return ["The machine never made power."]
    said = [
        f"At {speed(bins.speed_ms[best], '.1f')} the wind brings {plainly(wind)} W through the "
        "rotor; no rotor could "
        f"take more than {plainly(BETZ_LIMIT * wind)} W of it (Betz), and {plainly(measured)} W "
        f"reached the meter: {fraction_words(measured / (BETZ_LIMIT * wind))} of what Betz allows."
    ]
    given, most = chain.rotor_w, chain.generator_most_w
    if given is not None and np.isfinite(given[best]):
        said.append(
            f"The rotor gives at least {plainly(given[best])} W there (a power coefficient of "
            f"{given[best] / wind:.2f}) and the generator passes on "
            f"{100 * measured / given[best]:.0f} % of it; bearings and iron losses are not seen in "
            "this."
        )
    if most is not None and np.isfinite(most[best]) and most[best] > 0:
        share = measured / most[best]
        said.append(
            f"At that rpm the generator could pass on {plainly(most[best])} W at the most; "
            f"{fraction_words(share)} of that reached the meter"
            + (
                ", so the rotor (or a load that lets it turn at the wrong speed) is what limits."
                if share < 0.5
                else ", so the generator is close to its limit."
            )
        )
    return said


say(
    {
        curve_file.CommentNotUsed: (
            "{0.name}: the comment {0.comment!r} says nothing that is understood and was left "
            "aside; the notes are load, air density, last measured speed, extrapolation and kind."
        ),
        reading_checks.BinsMoved: (
            "Bins moved by more than their scatter explains: {0.count}, so that the curve rises to "
            "one peak and falls after it."
        ),
        reading_checks.CutInNotSeen: (
            "The machine made power in the lowest bin already, so cut-in was not seen; no power is "
            "counted below {0.cut_in_ms:.1f m/s}."
        ),
        reading_checks.FarFromTheOthers: (
            "{0.place}: {0.power_w:.4g} W at {0.speed_ms:.3g m/s} lies far from the others of its "
            "bin, as do {0.others} more; they were kept, so look at them."
        ),
        curve_ends.RatedPowerApart: (
            "{0.name}: rated_power_w is {0.rated_power_w:g} W, but the curve rises to "
            "{0.highest_w:.4g} W: are both in W, and of the same machine?"
        ),
        generic_curve.NeverRated: (
            "{0.name}: rated power {0.rated_power_w:g} W would need {0.needed_ms:.1f m/s}, above "
            "the {0.level_to_ms:g m/s} at which the machine furls or stops; it is never reached."
        ),
        load.HeatOnly: (
            "{0.name}: a resistor makes heat only; a kWh of it is worth what it replaces, not what "
            "a kWh from the mains costs."
        ),
        meters.DirectCurrentAssumed: "{0.name}: direct current, for no circuit is stated.",
        meters.RmsAssumed: "{0.name}: the {0.what} are RMS values, for nothing else is stated.",
        readings.MinutesLeftOut: (
            "Minutes left out for having less than half of the usual readings: {0.count}."
        ),
        reading_file.LoadResistanceApart: (
            "{0.name}: volts over amps is {0.ratio:.2f} times the load resistance; the resistor "
            "was hot, or one of the three is wrong. Volts x amps were used."
        ),
        reading_checks.PowerBelowZero: (
            "Some powers are below zero (down to {0.least_w:.3g plain} W): the machine draws. The "
            "curve counts that as nothing; state the draw as load.idle_draw_w."
        ),
        power_curve.CurveUncertaintyAssumed: (
            "{0.name}: the power has a standard uncertainty of {0.relative_uncertainty:.0f %} (our "
            "choice), for none is stated."
        ),
        generic_curve.NobodyMeasured: (
            "The power curve of {0.name} is modelled from its rotor area; nobody measured it. Its "
            "power has a standard uncertainty of {0.relative_uncertainty:.0f %}, and real machines "
            "of home make are more often below than above such a curve."
        ),
    }
)
