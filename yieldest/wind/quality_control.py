"""Screen a record: run every test, count what it finds, and leave out what cannot be believed."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.provenance import Finding
from yieldest.wind import suspect_readings
from yieldest.wind.data_recovery import (
    ReadingSteps,
    data_recovery_findings,
    data_recovery_of,
    steps_of,
)
from yieldest.wind.quality_rules import QualityReport, QualityRules, QualityTest, Threshold
from yieldest.wind.record import ImpossibleSpeeds, Record

BoolArray = npt.NDArray[np.bool_]
TimeArray = npt.NDArray[np.datetime64]
_Found = tuple[str, str, Threshold, BoolArray]

FIRST_PLACES = 3
"""So many places are named for each test."""
_BEYOND_SENSE_MS = 1e90


@dataclass(frozen=True)
class ReadingsLeftOut(Finding):
    """Readings that a test found count as missing."""

    test: str
    rule: str
    readings: int
    first_ms: float | None
    first_time: str


@dataclass(frozen=True)
class TimesNoted(Finding):
    """A test found something about the times, and left them in."""

    rule: str
    times: int
    first_time: str


@dataclass
class _Screening:
    """A record under its tests: the speeds still believed, and what was found so far."""

    record: Record
    steps: ReadingSteps
    speed: FloatArray
    tests: list[QualityTest] = field(default_factory=list)
    flags: list[BoolArray] = field(default_factory=list)

    def moments(self, keep: BoolArray | bool = True) -> FloatArray:
        """Return mean speed and mean cube of some readings; NaN without any."""
        used = keep & np.isfinite(self.speed)
        hours = np.where(used, self.steps.duration_s, 0.0)
        # A wild number shall not overflow when it is cubed.
        speed = np.where(used, np.minimum(self.speed, _BEYOND_SENSE_MS), 0.0)
        total = float(hours.sum())
        if total == 0:
            return np.array([np.nan, np.nan])
        return np.array([hours @ speed, hours @ speed**3]) / total

    def leave_out(self, *found: tuple[str, str, Threshold, BoolArray]) -> None:
        """Count what each test finds, with its effect alone, and then leave out all of it.

        Of each test name, rule in words, threshold (False: off, nothing found) and readings.
        """
        out = np.zeros(self.speed.size, dtype=bool)
        for name, rule, threshold, suspect in found:
            on = threshold is not False
            flags = suspect & on
            effects: list[float | None] = [0.0 if on else None] * 2
            if flags.any():
                effects = [
                    float(part / whole - 1) if whole > 0 and np.isfinite(part) else None
                    for part, whole in zip(self.moments(~flags), self.moments(), strict=True)
                ]
            first = np.flatnonzero(flags)[:FIRST_PLACES]
            times = _written(self.record.time[first])
            speeds = tuple(self.record.speed_ms[first].tolist())
            count = int(flags.sum())
            self.tests.append(QualityTest(name, rule, on, True, count, times, speeds, *effects))
            self.flags.append(flags)
            out |= flags
        self.speed = np.where(out, np.nan, self.speed)

    def note(
        self,
        name: str,
        rule: str,
        threshold: Threshold,
        times: TimeArray,
        effects: tuple[float | None, float | None] = (None, None),
    ) -> None:
        """Note the readings at some times, without leaving them out."""
        on = threshold is not False
        times = times if on else times[:0]
        flags = np.zeros(self.record.time.size, dtype=bool)
        flags[np.searchsorted(self.record.time, times)] = True
        first = _written(times[:FIRST_PLACES])
        self.tests.append(QualityTest(name, rule, on, False, times.size, first, (), *effects))
        self.flags.append(flags)


def control_quality(
    record: Record, rules: QualityRules, neighbour_ms: FloatArray | None = None
) -> QualityReport:
    """Run every test on a record; `neighbour_ms` is the speed of another sensor at its times.

    Raises
    ------
    InputError
        When no speed is left.
    """
    steps = steps_of(record.time, rules.gap_intervals or 1.5, int(rules.interval_readings or 24))
    speed = record.speed_ms.copy()
    # With those that reading set aside, so that this test too can be changed.
    speed[np.searchsorted(record.time, record.impossible)] = record.impossible_ms
    record = replace(record, speed_ms=speed)
    screening = _Screening(record, steps, speed)
    # Each round looks at a record without what the rounds before it left out: a wild value would
    # otherwise set the mean that a calm is judged by.
    screening.leave_out(*_too_high(speed, rules))
    screening.leave_out(_spikes(screening, rules))
    screening.leave_out(*_unchanging(screening, rules, neighbour_ms))
    valid = np.isfinite(screening.speed)
    if not valid.any():
        raise InputError(
            f"{record.provenance.source}: quality control leaves no speed at all; look at the "
            "readings, or change or switch off the test that took them."
        )
    _note_times(screening, rules)
    _note_standing(screening, rules.threshold_share)
    _note_rounding(screening, rules.rounding_share)
    recovery = data_recovery_of(record.time, valid)
    provenance = record.provenance
    outdated = data_recovery_findings(record.data_recovery)
    # Impossible speeds are said again below, by the threshold that was used.
    kept = [
        finding
        for finding in provenance.warnings
        if finding not in outdated and not isinstance(finding, ImpossibleSpeeds)
    ]
    warnings = (*kept, *data_recovery_findings(recovery), *_findings(screening.tests))
    beside: dict[str, Any] = {
        name: np.where(valid, values, np.nan)
        for name in ("gust_ms", "standard_deviation_ms")
        if (values := getattr(record, name)) is not None
    }
    screened = replace(
        record,
        speed_ms=screening.speed,
        data_recovery=recovery,
        provenance=replace(provenance, warnings=warnings),
        **beside,
    )
    return QualityReport(record, screened, np.stack(screening.flags), tuple(screening.tests), steps)


def _too_high(speed: FloatArray, rules: QualityRules) -> tuple[_Found, _Found]:
    """Find speeds that no wind has, and those that the anemometer cannot show."""
    limit, top = rules.impossible_ms, rules.sensor_top_ms
    possible = speed <= (np.inf if limit is False else limit)
    return (
        (
            "impossible",
            f"above {limit} m/s; no gust above 113.3 m/s was ever measured",
            limit,
            speed > (limit or 0.0),
        ),
        (
            "sensor_top",
            f"above {top} m/s, more than the anemometer can show",
            top,
            possible & (speed > (top or 0.0)),
        ),
    )


def _spikes(look: _Screening, rules: QualityRules) -> _Found:
    factor, excess_ms = rules.spike_factor, rules.spike_excess_ms
    return (
        "spike",
        f"{factor} times the higher neighbour and {excess_ms} m/s above it, or a lone 0 between "
        f"neighbours above {excess_ms} m/s",
        factor,
        suspect_readings.spikes(look.speed, look.steps.joined, factor or 0.0, excess_ms),
    )


def _unchanging(
    look: _Screening, rules: QualityRules, neighbour_ms: FloatArray | None
) -> tuple[_Found, _Found, _Found]:
    """Find speeds that stay the same for too long: stuck, frozen, or a calm that is denied."""
    record, joined, speed = look.record, look.steps.joined, look.speed
    runs = suspect_readings.unchanging_runs(speed, joined, look.steps.duration_s)
    shortest = suspect_readings.stuck_length(speed, joined)
    stuck_h, frozen_h, calm_h = rules.stuck_hours, rules.frozen_hours, rules.calm_hours
    below_c, patience = rules.frozen_below_c, suspect_readings.CALM_PATIENCE
    ice = f"no change for {frozen_h} h below {below_c} C"
    if record.temperature_c is None:
        ice, frozen_h = f"{ice} (no temperature here)", False
        frozen = np.zeros(speed.size, dtype=bool)
    else:
        ice += f" ({patience * (frozen_h or 0.0)} h for a calm without a still vane)"
        frozen = suspect_readings.frozen(
            speed,
            runs,
            record.temperature_c,
            record.direction_deg,
            record.standard_deviation_ms,
            below_c,
            frozen_h or 0.0,
        )
    denied = "" if neighbour_ms is None else ", or while the neighbour has its usual wind"
    return (
        (
            "stuck",
            f"the same speed above 0 for {stuck_h} h and for {shortest} readings, too many for "
            "chance",
            stuck_h,
            suspect_readings.stuck(speed, runs, shortest, stuck_h or 0.0),
        ),
        ("frozen", ice, frozen_h, frozen),
        (
            "contradicted_calm",
            f"dead calm for {calm_h} h between winds above the mean{denied}",
            calm_h,
            suspect_readings.contradicted_calms(speed, runs, joined, calm_h or 0.0, neighbour_ms),
        ),
    )


def _note_times(look: _Screening, rules: QualityRules) -> None:
    """Note repeats, lines back in time, gaps and changes of the interval."""
    record, steps = look.record, look.steps
    for name, rule, most, times in (
        (
            "repeated",
            "a line with the time of an earlier one, which alone counts",
            rules.repeated,
            record.repeated,
        ),
        (
            "disordered",
            "a line that goes back in time; the record was sorted",
            rules.disordered,
            record.disordered,
        ),
    ):
        look.note(name, rule, most, times if times.size > (most or 0.0) else times[:0])
    look.note(
        "gap",
        f"a step of more than {rules.gap_intervals} usual intervals, named by the last reading "
        "before it",
        rules.gap_intervals,
        record.time[:-1][~steps.joined],
    )
    look.note(
        "interval",
        f"another usual interval for at least {rules.interval_readings} readings",
        rules.interval_readings,
        record.time[steps.changed],
    )


def _note_standing(look: _Screening, share: Threshold) -> None:
    """Note the readings of a sensor that stands still although the air moves."""
    start_ms = look.record.threshold_ms or suspect_readings.starting_speed(look.speed) or 0.0
    rule = f"below the starting speed, where that is over {share} of the spread of the speeds"
    seen = share is not False and start_ms > share * float(np.nanstd(look.speed))
    flags = look.speed < (start_ms if seen else 0.0)
    hours = np.where(np.isfinite(look.speed), look.steps.duration_s, 0.0)
    portion = float(hours[flags].sum() / hours.sum())
    effects: tuple[float | None, float | None] = None, None
    if portion:
        mean, cube = look.moments()
        still, still_cube = look.moments(flags)
        rule = f"below {start_ms:.3g} m/s, from which on the sensor seems to turn"
        # As if every speed from standstill to the starting speed were as likely as any other.
        effects = (
            float(portion * (start_ms / 2 - still) / mean),
            float(portion * (start_ms**3 / 4 - still_cube) / cube),
        )
    look.note("below_threshold", rule, share, look.record.time[flags], effects)


def _note_rounding(look: _Screening, share: Threshold) -> None:
    """Note speeds rounded to steps that are coarse beside their spread."""
    step_ms = look.record.resolution_ms
    uneven = look.record.class_edges_ms is not None
    coarse = (step_ms or 0.0) > (share or 0.0) * float(np.nanstd(look.speed))
    if share is False or not (uneven or coarse):
        rule = f"rounded to steps above {share} of the spread of the speeds"
        look.note("rounded", rule, share, look.record.time[:0])
        return
    rule = "classes of the Beaufort scale instead of speeds"
    effects: tuple[float | None, float | None] = None, None
    if step_ms is not None:
        rule = f"rounded to steps of {step_ms:.3g} m/s"
        mean, cube = look.moments()
        # Sheppard's correction of the third moment about zero (Kendall & Stuart, The Advanced
        # Theory of Statistics, vol. 1): rounding adds h^2/4 times the mean, and nothing to the
        # mean itself.
        effects = 0.0, float(-(step_ms**2) / 4 * mean / cube) if cube > 0 else None
    look.note("rounded", rule, share, look.record.time[np.isfinite(look.speed)], effects)


def _written(times: TimeArray) -> tuple[str, ...]:
    return tuple(str(time).replace("T", " ") for time in times.astype("datetime64[s]"))


def _findings(tests: list[QualityTest]) -> list[Finding]:
    """Return what was left out, and what the record hides."""
    found: list[Finding] = []
    for test in tests:
        if test.leaves_out and test.count:
            speed_ms, time = test.first_speeds_ms[0], test.first_times[0]
            found.append(ReadingsLeftOut(test.name, test.rule, test.count, speed_ms, time))
        elif test.name in ("repeated", "interval") and test.count:
            found.append(TimesNoted(test.rule, test.count, test.first_times[0]))
    return found
