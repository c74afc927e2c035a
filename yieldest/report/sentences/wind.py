"""What was found about the wind, in words."""

from __future__ import annotations

import calendar
import re
from collections.abc import Collection

from yieldest.defaults import COVERAGE_FACTOR
from yieldest.report.sentences.words import say, sentence
from yieldest.settings import HIGHEST_USUAL_MEAN_MS
from yieldest.units import in_reader_units, length, number, speed
from yieldest.wind import (
    data_recovery,
    distribution,
    from_summaries,
    goodness,
    hidden_spread,
    profile,
    quality_control,
    record_columns,
    resource,
)
from yieldest.wind.long_term import correction, homogeneity
from yieldest.wind.read_options import Recognised

FAULT_WORDS = {
    "impossible": "impossible speeds",
    "sensor_top": "above the sensor's top",
    "spike": "spikes",
    "stuck": "stuck",
    "frozen": "frozen",
    "contradicted_calm": "contradicted calms",
    "repeated": "repeated times",
    "disordered": "out of order",
    "gap": "gaps",
    "interval": "changes of interval",
    "below_threshold": "below the starting speed",
    "rounded": "coarsely rounded",
}
"""By the name of a `yieldest.wind.quality_control.QualityTest`."""
MOVE_EVERY_FIGURE = (resource.MeanWindAsked, record_columns.UnitNotAsStated)
"""Warnings that stand before what a file's lines look like."""
STAMP_WORDS = {
    "%Y": "year", "%y": "year", "%m": "month", "%b": "month", "%B": "month", "%d": "day",
    "%H": "hour", "%I": "hour", "%M": "minute", "%S": "second", "%f": "fraction", "%p": "am/pm",
    "%z": " offset",
}  # fmt: skip
STAMP_CODE = re.compile("|".join(STAMP_WORDS))


def recognised_words(recognised: Recognised) -> str:
    """Return what was recognised in a file: the order of a date in words, units as one reads.

    What stands in the file itself, such as a heading, is left as it is there.
    """
    if recognised.what == "time":
        return STAMP_CODE.sub(lambda code: STAMP_WORDS[code[0]], recognised.found)
    if recognised.what in ("height", "rounding of speeds"):
        return in_reader_units(recognised.found)
    return recognised.found


def month_names(months: Collection[int]) -> str:
    """Name months that lack; where most do, by those that do not."""
    there = [calendar.month_name[month] for month in range(1, 13) if month not in months]
    if not there:
        return "every month"
    if len(there) < 6:
        return f"each month but {', '.join(there)}"
    return ", ".join(calendar.month_name[month] for month in months)


@sentence.register
def _(found: data_recovery.MonthsMissing) -> str:
    return (
        f"Less than half of {month_names(found.months)} is in the record; where winters are windy, "
        "missing winter months make the mean too low and missing summer months make it too high."
    )


@sentence.register
def _(about: correction.AboutReference) -> str:
    said = sentence(about.found)
    return f"{about.source}: {said[0].lower()}{said[1:]}"


@sentence.register
def _(found: quality_control.ReadingsLeftOut) -> str:
    readings = "1 reading" if found.readings == 1 else f"{found.readings} readings"
    first = "" if found.first_ms is None else f"{speed(found.first_ms, '.1f')} "
    return (
        f"Quality control left out {readings} ({found.test}: {in_reader_units(found.rule)}); "
        f"the first is {first}at {found.first_time[:16]}."
    )


@sentence.register
def _(found: quality_control.TimesNoted) -> str:
    times = "1 time" if found.times == 1 else f"{found.times} times"
    return f"{times}: {in_reader_units(found.rule)} (first {found.first_time})."


@sentence.register
def _(found: resource.PoorWeibullFit) -> str:
    energy = "-" if found.energy_error is None else f"{100 * found.energy_error:+.0f} %"
    return (
        "A Weibull curve is a poor fit here: it misses the energy of a model machine by "
        f"{energy} (limit {100 * goodness.ENERGY_ERROR_LIMIT:.0f} %) and shares of time by up to "
        f"{100 * (found.kolmogorov or 0):.1f} % (limit {100 * goodness.KOLMOGOROV_LIMIT:.0f} %)."
    )


@sentence.register
def _(found: hidden_spread.MeansHideSpread) -> str:
    least, most = (100 * share for share in found.cube_hidden_range)
    reach = COVERAGE_FACTOR * found.spread_uncertainty * found.spread
    return (
        f"Readings that are means of {found.interval_hours:.3g} h hide how the wind rose and "
        f"fell within: by {100 * found.spread:.0f} % of the mean (standard deviation, 90 % range "
        f"{100 * (found.spread - reach):.0f} to {100 * (found.spread + reach):.0f}; from "
        f"{found.source}). The means alone miss {100 * found.cube_hidden:.0f} % of the energy in "
        f"the wind (90 % range {least:.0f} to {most:.0f}); an estimate puts it back. If each is a "
        "reading at one time, state spread_within_interval = 0."
    )


@sentence.register
def _(found: resource.MeanWindAsked) -> str:
    most = number(HIGHEST_USUAL_MEAN_MS, "m/s", ".0f")
    return (
        f"The readings have a mean of {speed(found.mean_ms, '.1f')}, and more than {most} is "
        "unusual: is their unit right (km/h, mph or kn rather than m/s)?"
    )


@sentence.register
def _(found: resource.SeveralModes) -> str:
    *lower, highest = found.modes_ms
    at = " and ".join([*(number(each, "m/s", ".1f") for each in lower), speed(highest, ".1f")])
    return (
        f"The speeds heap up at {at}: two regimes of wind, which no single Weibull curve "
        "describes; look at the tables by direction and hour for what parts them."
    )


@sentence.register
def _(found: profile.AboveSurfaceLayer) -> str:
    return (
        f"{length(found.height_m)} is above the lowest {length(profile.SURFACE_LAYER_M)}, for "
        "which the height laws hold; the speed at the hub is not to be relied on."
    )


@sentence.register
def _(found: homogeneity.StepInReference) -> str:
    return _not_of_one_piece(
        found,
        f"from {found.year} on it reads {100 * found.change:+.0f} %",
        "a new instrument, trees",
        "cut the file there",
    )


@sentence.register
def _(found: homogeneity.DriftInReference) -> str:
    return _not_of_one_piece(
        found,
        f"from {found.first_year} to {found.last_year} it drifts by "
        f"{100 * found.change_per_decade:+.0f} % in ten years",
        "trees or houses that grew, a worn instrument",
        "leave the oldest years out",
    )


def _not_of_one_piece(
    found: homogeneity.StepInReference | homogeneity.DriftInReference,
    what: str,
    cause: str,
    cut: str,
) -> str:
    against = "against the other references" if found.against_others else "by itself"
    return (
        f"{found.source}: {what} ({against}; {' and '.join(found.tests)} test at 5 %): {cause} or "
        "a change of the wind itself. All its years are kept, less is taken from it and the 90 % "
        f"range is wider; ask the station for its history, and {cut} if the place changed."
    )


say(
    {
        data_recovery.LessThanAYear: (
            "The record spans {0.days:.0f} days, less than a year: the seasons it lacks may be "
            "much windier or calmer than those it holds."
        ),
        data_recovery.SparseReadings: (
            "The readings are {0.interval_hours:.0f} h apart: as means over so long they smooth "
            "gusts and lulls away, and from them alone the energy is too low; as readings at one "
            "time of day they tell of that time alone."
        ),
        resource.UnevenSectors: (
            "Directions come in steps of {0.step_deg:g} degrees, which {0.sectors} sectors share "
            "unevenly: each reading is spread evenly over its step."
        ),
        distribution.NotMeasured: (
            "No reading stands behind the stated wind: a mean that is 10 % off makes the energy up "
            "to 30 % off, for it goes with the cube; log the wind where the machine will stand "
            "before much money is spent."
        ),
        from_summaries.StrongMonth: (
            "A monthly mean of {0.speed_ms:.3g m/s} is more than most inhabited places ever see; "
            "is the unit right, and are these means rather than gusts?"
        ),
        from_summaries.OnlyMonthlyMeans: (
            "Monthly means say nothing of how the wind spreads about them: with a shape of 1.6 "
            "instead of 2 there is 30 % more power in the wind, with 2.4 there is 15 % less; "
            "measure on the site before building."
        ),
        profile.NearRoughness: (
            "{0.height_m:g m} is below displacement + 10 roughness lengths, where the log law is "
            "not valid; the speed at the hub is not to be relied on."
        ),
        correction.ShortReference: (
            "{0.source}: the reference covers {0.months:.0f} months, less than a whole year."
        ),
        homogeneity.StepsNotSought: (
            "{0.source}: taken to be of one piece, for with fewer than {0.least_years} full years "
            "steps cannot be told from chance."
        ),
        correction.ReferencesDisagree: (
            "The references contradict each other more than neighbours do; the variance of the "
            "long-term wind was taken {0.variance_times:.1f} times as large for it."
        ),
        correction.ClockSetRight: (
            "{0.source}: its clock seems to be {0.hours:+g} h from the site's (correlation "
            "{0.correlation_with:.2f} instead of {0.correlation_without:.2f}), and was set right; "
            "check the time zones."
        ),
        data_recovery.GapsInRecord: (
            "Only {0.share:.0f %} of the time between the first and the last reading is covered; "
            "if gaps come with storms, ice or flat batteries, the mean is biased."
        ),
        resource.ScreenedEnergy: (
            "The fit suits the readings that quality control kept, but with the {0.left_out} it "
            "left out a model machine's energy would be missed by {0.energy_error:+.0f %} (limit "
            f"{100 * goodness.ENERGY_ERROR_LIMIT:.0f} %): see that these were faults and no wind."
        ),
        profile.HeightsFarApart: (
            "From {0.from_height_m:g m} to {0.to_height_m:g m} is more than a factor "
            f"{profile.FARTHEST_HEIGHT_RATIO}: the speed at the hub is an extrapolation; measure "
            "nearer to the hub."
        ),
        correction.FewFullYears: (
            "Year-to-year spread of the mean wind {0.year_to_year_spread:.0f %} (common practice, "
            "no source), for the reference has fewer than {0.least_years} full years."
        ),
    }
)
