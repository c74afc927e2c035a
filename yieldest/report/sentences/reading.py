"""What was found while files were read, in words."""

from __future__ import annotations

from yieldest.files import dialect
from yieldest.report.sentences.words import minute, say, sentence
from yieldest.units import speed
from yieldest.wind import (
    read_wind,
    record,
    record_columns,
    record_rows,
    record_values,
    summary_tables,
)


@sentence.register
def _(found: dialect.LinesBelowData) -> str:
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
def _(found: record_columns.SeveralColumns) -> str:
    return (
        f"{found.source}: several columns could be the {found.role} "
        f"({', '.join(found.headings)}), so none was used; state which one."
    )


@sentence.register
def _(found: record_columns.StatisticOfAnotherHeight) -> str:
    role = found.role
    return (
        f"{found.source}: no {role.replace('_', ' ')} is used, for what there is "
        f"({', '.join(found.headings)}) is of another height than the speed, "
        f"{found.speed_height_m:g} m; if it belongs to the speed all the same, state it "
        f"(columns.{role} in a plan, --column {role}=HEADING on the command line)."
    )


@sentence.register
def _(found: record_columns.UnitNotSaid) -> str:
    known = "C, F or K" if found.role == "temperature" else "hPa, mbar, Pa, kPa, inHg or mmHg"
    return (
        f"{found.source}: the heading {found.heading!r} does not say the {found.role} unit, so the "
        f"column is not used; state {found.role}_units as {known}."
    )


@sentence.register
def _(found: record_rows.ReadingsAveraged) -> str:
    rounding = f" (rounded to {found.rounding})" if found.rounding else ""
    return (
        f"{found.source}: {found.readings:,} readings{rounding} were averaged over "
        f"{found.interval_s:g} s; the mean cube of the readings themselves is kept."
    )


@sentence.register
def _(found: read_wind.RepeatedTimes) -> str:
    text = f"{found.source}: lines that repeat a time: {found.lines}"
    if not found.with_another_speed:
        return f"{text}; the first of each was kept."
    return (
        f"{text}, {found.with_another_speed} of them with another speed; the first of each was "
        "kept. If the clock was put back there for the winter, state time_zone (on the command "
        "line --time-zone), and both are kept."
    )


@sentence.register
def _(found: record.ImpossibleSpeeds) -> str:
    return (
        f"{found.source}: speeds above {speed(record_values.HIGHEST_GUST_MS)}, the highest gust "
        f"ever measured, which count as missing: {found.speeds}; the first is "
        f"{speed(found.first_ms, '.1f')} at {minute(found.first)}."
    )


say(
    {
        read_wind.ReadingsLongAgo: (
            "{0.source}: the first reading is dated {0.first}, when hardly anyone measured wind; "
            "check the dates."
        ),
        record_values.DirectionsInDoubt: (
            "{0.source}: no direction in column {0.heading!r} is above {0.highest:g}, so that they "
            "may be in {0.may_be} rather than degrees, and the column is not used; state "
            "direction_units (on the command line --direction-units), deg if degrees are right."
        ),
        record_values.ValuesBeyondLimits: (
            "{0.source}: values of {0.role} outside {0.lowest:g} to {0.highest:g}, which count as "
            "missing: {0.values}; is the unit right?"
        ),
        record_rows.LinesBackInTime: (
            "{0.source}: lines that go back in time: {0.lines}; the record was sorted."
        ),
        record_rows.ReadingsAtOneTime: (
            "{0.source}: readings with the very time of another, averaged with it: {0.readings}; "
            "that is right where the times leave out the seconds, and wrong where lines are "
            "repeated or several sensors stand in one file."
        ),
        record_rows.ReadingsBeyondUsual: (
            "{0.source}: readings beyond the usual {0.usual:g} of an interval: {0.readings}; lines "
            "may be repeated."
        ),
        record_columns.UnitNotAsStated: (
            "{0.source}: the heading {0.heading!r} says another unit than {0.stated}, which is "
            "stated and computed with."
        ),
        read_wind.HeightNotAsStated: (
            "{0.source}: the file says that the sensor is {0.height_in_file_m:g m} high, but "
            "{0.height_stated_m:g m} is stated; {0.height_stated_m:g m} is computed with."
        ),
        summary_tables.MiddlesOfClasses: (
            "{0.source}: {0.heading!r} is the middle of each class, which reaches half-way to its "
            "neighbours; give two columns, from and to, if that is wrong."
        ),
        summary_tables.HoursNotAYear: (
            "{0.source}: the hours add up to {0.hours:,.0f}, not to the 8,760 of a year; their "
            "shares are taken for a whole year. Is a line missing, or a digit?"
        ),
        summary_tables.GapsClosed: (
            "{0.source}: every class ends {0.gap_ms:.2g m/s} or less below the next, as rounded "
            "bounds do; they were made to meet half-way."
        ),
        summary_tables.GapBetweenClasses: (
            "{0.source}: no class holds the speeds from {0.from_ms:.3g (m/s)} to "
            "{0.to_ms:.3g m/s}, so no wind is counted there; is a line missing?"
        ),
        summary_tables.SharesNotWhole: (
            "{0.source}: column {0.heading!r} adds up to {0.total:g}, not to {0.whole:g}; it was "
            "stretched to the whole."
        ),
        read_wind.MisdatedReadings: (
            "{0.source}: readings dated from {0.first} to {0.last}, years before all others, as "
            "when the clock of a logger starts anew: {0.readings}; nobody knows when they were "
            "taken, so they were left out."
        ),
        read_wind.ReadingsAhead: (
            "{0.source}: readings dated after today: {0.readings}, the first {0.first}; is the "
            "clock of the logger wrong, or the order of day and month?"
        ),
    }
)
