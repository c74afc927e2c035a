"""What was found while files were read, in words."""

from __future__ import annotations

import numpy as np

from yieldest.files.dialect import LinesBelowData
from yieldest.report.sentences.words import say, sentence
from yieldest.units import speed
from yieldest.wind.read_wind import (
    HeightNotAsStated,
    MisdatedReadings,
    ReadingsAhead,
    ReadingsLongAgo,
    RepeatedTimes,
)
from yieldest.wind.record import ImpossibleSpeeds
from yieldest.wind.record_columns import SeveralColumns, UnitNotSaid
from yieldest.wind.record_rows import (
    LinesBackInTime,
    ReadingsAtOneTime,
    ReadingsAveraged,
    ReadingsBeyondUsual,
)
from yieldest.wind.record_values import HIGHEST_GUST_MS, DirectionsInDoubt, ValuesBeyondLimits
from yieldest.wind.summary_tables import (
    GapBetweenClasses,
    GapsClosed,
    HoursNotAYear,
    MiddlesOfClasses,
    SharesNotWhole,
)


def _minute(time: np.datetime64) -> str:
    return str(time.astype("datetime64[m]")).replace("T", " ")


@sentence.register
def _(found: LinesBelowData) -> str:
    where = f"{found.source}, line {found.first_line}"
    if found.cut:
        return f"{where}: the last line, {found.shown!r}, is cut short, so it was set aside."
    if found.lines == 1:
        return f"{where}: below the data, {found.shown!r} holds no reading and was set aside."
    whole = found.lines == found.last_line - found.first_line + 1
    count = "" if whole else f" ({found.lines} of them)"
    return (
        f"{found.source}, lines {found.first_line} to {found.last_line}{count}: below the data, "
        f"{found.shown!r} hold no readings and were set aside."
    )


@sentence.register
def _(found: SeveralColumns) -> str:
    return (
        f"{found.source}: several columns could be the {found.role} "
        f"({', '.join(found.headings)}), so none was used; state which one."
    )


@sentence.register
def _(found: UnitNotSaid) -> str:
    known = "C, F or K" if found.role == "temperature" else "hPa, mbar, Pa, kPa, inHg or mmHg"
    return (
        f"{found.source}: the heading {found.heading!r} does not say the {found.role} unit, so the "
        f"column is not used; state {found.role}_units as {known}."
    )


@sentence.register
def _(found: ReadingsAveraged) -> str:
    rounding = f" (rounded to {found.rounding})" if found.rounding else ""
    return (
        f"{found.source}: {found.readings:,} readings{rounding} were averaged over "
        f"{found.interval_s:g} s; the mean cube of the readings themselves is kept."
    )


@sentence.register
def _(found: RepeatedTimes) -> str:
    text = f"{found.source}: lines that repeat a time: {found.lines}"
    if not found.with_another_speed:
        return f"{text}; the first of each was kept."
    return (
        f"{text}, {found.with_another_speed} of them with another speed; the first of each was "
        "kept. If the clock was put back there for the winter, state time_zone (on the command "
        "line --time-zone), and both are kept."
    )


@sentence.register
def _(found: ImpossibleSpeeds) -> str:
    return (
        f"{found.source}: speeds above {speed(HIGHEST_GUST_MS)}, the highest gust ever measured, "
        f"which count as missing: {found.speeds}; the first is {speed(found.first_ms, '.1f')} at "
        f"{_minute(found.first)}."
    )


say(
    {
        ReadingsLongAgo: (
            "{0.source}: the first reading is dated {0.first}, when hardly anyone measured wind; "
            "check the dates."
        ),
        DirectionsInDoubt: (
            "{0.source}: no direction in column {0.heading!r} is above {0.highest:g}, so that they "
            "may be in {0.may_be} rather than degrees, and the column is not used; state "
            "direction_units (on the command line --direction-units), deg if degrees are right."
        ),
        ValuesBeyondLimits: (
            "{0.source}: values of {0.role} outside {0.lowest:g} to {0.highest:g}, which count as "
            "missing: {0.values}; is the unit right?"
        ),
        LinesBackInTime: (
            "{0.source}: lines that go back in time: {0.lines}; the record was sorted."
        ),
        ReadingsAtOneTime: (
            "{0.source}: readings with the very time of another, averaged with it: {0.readings}; "
            "that is right where the times leave out the seconds, and wrong where lines are "
            "repeated or several sensors stand in one file."
        ),
        ReadingsBeyondUsual: (
            "{0.source}: readings beyond the usual {0.usual:g} of an interval: {0.readings}; lines "
            "may be repeated."
        ),
        HeightNotAsStated: (
            "{0.source}: the file says that the sensor is {0.height_in_file_m:g m} high, but "
            "{0.height_stated_m:g m} is stated; {0.height_stated_m:g m} is computed with."
        ),
        MiddlesOfClasses: (
            "{0.source}: {0.heading!r} is the middle of each class, which reaches half-way to its "
            "neighbours; give two columns, from and to, if that is wrong."
        ),
        HoursNotAYear: (
            "{0.source}: the hours add up to {0.hours:,.0f}, not to the 8,760 of a year; their "
            "shares are taken for a whole year. Is a line missing, or a digit?"
        ),
        GapsClosed: (
            "{0.source}: every class ends {0.gap_ms:.2g m/s} or less below the next, as rounded "
            "bounds do; they were made to meet half-way."
        ),
        GapBetweenClasses: (
            "{0.source}: no class holds the speeds from {0.from_ms:.3g (m/s)} to "
            "{0.to_ms:.3g m/s}, so no wind is counted there; is a line missing?"
        ),
        SharesNotWhole: (
            "{0.source}: column {0.heading!r} adds up to {0.total:g}, not to {0.whole:g}; it was "
            "stretched to the whole."
        ),
        MisdatedReadings: (
            "{0.source}: readings dated from {0.first} to {0.last}, years before all others, as "
            "when the clock of a logger starts anew: {0.readings}; nobody knows when they were "
            "taken, so they were left out."
        ),
        ReadingsAhead: (
            "{0.source}: readings dated after today: {0.readings}, the first {0.first}; is the "
            "clock of the logger wrong, or the order of day and month?"
        ),
    }
)
