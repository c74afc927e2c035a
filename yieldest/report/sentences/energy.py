"""What the energy of a year, its losses and the array found, in words."""

from __future__ import annotations

from yieldest.arrays import plainly
from yieldest.defaults import COVERAGE_FACTOR
from yieldest.energy import annual_energy, array_losses, demand, self_consumption
from yieldest.hub import turbulence
from yieldest.report.sentences.words import say, sentence
from yieldest.units import speed

_EXTRAPOLATED = {
    "hold": "was only held level",
    "zero": "falls to nothing",
    "cube law": "was only extended by the cube law",
}


@sentence.register
def _(finding: annual_energy.PoorFit) -> str:
    used = (
        "the readings are used"
        if finding.time_series_used
        else "the fit is used, so trust neither figure beyond that"
    )
    return (
        f"The fitted distribution gives {plainly(finding.fitted_kwh)} kWh a year and the wind data "
        f"themselves {plainly(finding.time_series_kwh)} kWh, more than "
        f"{100 * finding.beyond_share:.0f} % apart: the Weibull distribution is a poor fit here; "
        f"{used}."
    )


@sentence.register
def _(finding: annual_energy.MuchBeyondLastSpeed) -> str:
    return (
        f"{100 * finding.share:.0f} % of the energy comes from winds above "
        f"{speed(finding.last_measured_ms, '.3g')}, the last speed of the curve, where it "
        f"{_EXTRAPOLATED[finding.extrapolation]}."
    )


@sentence.register
def _(finding: annual_energy.TurbulenceEffect) -> str:
    use = "counted" if finding.counted else "a gain of that kind is not counted"
    return (
        f"Turbulence intensity {100 * finding.intensity:.0f} % against "
        f"{100 * turbulence.SMOOTH_INTENSITY:.0f} % where curves are usually measured changes the "
        f"gross energy by {100 * finding.effect:+.1f} %, if the machine follows every gust; {use}."
    )


@sentence.register
def _(finding: annual_energy.SpreadPutBack) -> str:
    low = 1 / (1 + finding.energy_gain) - 1
    return (
        f"From the means over {finding.interval_hours:.3g} h alone the gross energy would be "
        f"{-100 * low:.0f} % too low, for they hide how the wind rises and falls within; that is "
        f"put back (energy {100 * finding.energy_gain:+.0f} %), and leaves "
        f"{100 * COVERAGE_FACTOR * finding.energy_uncertainty:.0f} % to either side open (90 % "
        "range)."
    )


say(
    {
        annual_energy.NoEnergy: (
            "The build makes no energy in this wind, so there is no cost per kWh and no payback."
        ),
        annual_energy.ConvertersDrawMore: (
            "The converters draw more in a year than the machines make."
        ),
        array_losses.EfficiencyUncertaintyAssumed: (
            "Standard uncertainty {0.standard_uncertainty:.3g} of the array efficiency (a quarter "
            "of the loss, our choice)."
        ),
        array_losses.MachinesHelpEachOther: (
            "The array efficiency {0.array_efficiency:g} says that the machines help each other; "
            "that is seldom so over a whole year, so look hard at the evidence."
        ),
        array_losses.RotorsSideBySide: (
            "The nearest rotors stand {0.spacing_rotor_diameters:.2g} rotor widths apart; below "
            "{0.least_rotor_diameters:g} they disturb each other sideways, of which the wake model "
            "knows nothing: measure two of them together and apart, and state the array_efficiency "
            "with its evidence."
        ),
        demand.StandardShape: (
            "The house draws {0.kwh_per_year:g} kWh a year in the shape of an invented household "
            "(quiet nights, humps at seven in the morning and the evening, a fifth more in "
            "January); a metered load profile (demand.profile) is surer."
        ),
        demand.ShortProfile: (
            "{0.name}: the load profile spans {0.days:.0f} days, and the rest of the year was "
            "filled with the same hours of other days."
        ),
        self_consumption.ProfileBeyondRecord: (
            "What is used was reckoned over {0.days:.0f} days of wind, less than a year."
        ),
        self_consumption.HouseByUtc: (
            "The times of the wind record are in UTC, and the house is taken to go by them; state "
            "the time zone of its clocks (clock in [site], such as Europe/Vienna)."
        ),
        array_losses.DirectionsNotKnown: (
            "The wind directions are not known, so the wakes are an average all round; a row "
            "across the usual wind loses less, one along it more."
        ),
        array_losses.WakesOfVerticalAxis: (
            "The wake model was made for rotors with a lying axis; behind vertical ones the wind "
            "recovers differently, so take the wake loss as a rough figure."
        ),
        annual_energy.MuchAboveCutOut: (
            "For {0.hours:,.0f} hours a year it blows above {0.cut_out_ms:.3g m/s}, where no power "
            "is counted; at the last power these would bring {0.kwh:.2g plain} kWh. If the machine "
            "runs on there, state its cut_out_ms."
        ),
        array_losses.HotCable: (
            "At rated power the cable of {0.cable.length_m:g m} and {0.cable.cross_section_mm2:g} "
            "mm2 carries {0.current_a:.0f} A at {0.cable.voltage_v:g} V and turns "
            "{0.lost_share:.0f %} of the power into heat; check that it may carry that, or take a "
            "thicker cable or a higher voltage."
        ),
        array_losses.RotorsInNearWake: (
            "In {0.time_share:.0f %} of the windy time a rotor stands in the near wake of another, "
            "less than {0.reach_rotor_diameters:g} rotor widths behind it, where the wake model "
            "does not hold; a measured array_efficiency would be surer."
        ),
    }
)
