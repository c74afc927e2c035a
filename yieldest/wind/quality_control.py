"""Screen a record: run every test, count what it finds, and leave out what cannot be believed."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property

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


@dataclass(frozen=True)
class _Look:
    """What the tests look at: the record, and its speeds without what was left out so far."""

    record: Record
    speed: FloatArray
    steps: ReadingSteps
    rules: QualityRules
    neighbour_ms: FloatArray | None

    @cached_property
    def runs(self) -> suspect_readings.Runs:
        return suspect_readings.unchanging_runs(
            self.speed, self.steps.joined, self.steps.duration_s
        )

    def moments(self, keep: BoolArray) -> FloatArray:
        """Return mean speed and mean cube of some readings; NaN without any."""
        used = keep & np.isfinite(self.speed)
        hours = np.where(used, self.steps.duration_s, 0.0)
        # A wild number shall not overflow when it is cubed.
        speed = np.where(used, np.minimum(self.speed, _BEYOND_SENSE_MS), 0.0)
        total = float(hours.sum())
        if total == 0:
            return np.array([np.nan, np.nan])
        return np.array([hours @ speed, hours @ speed**3]) / total

    def spread(self) -> float:
        """Return the standard deviation of the speeds."""
        return float(np.nanstd(self.speed))


_Test = tuple[str, str, Threshold, Callable[[], BoolArray]]
"""Name, rule in words, threshold (False: off), and what finds the readings."""


def control_quality(
    record: Record, rules: QualityRules, neighbour_ms: FloatArray | None = None
) -> QualityReport:
    """Run every test on a record.

    Parameters
    ----------
    record : Record
    rules : QualityRules
    neighbour_ms : ndarray, shape (n,), optional
        Speed of another sensor at the times of the record.

    Raises
    ------
    InputError
        When no speed is left.
    """
    steps = steps_of(record.time, rules.gap_intervals or 1.5, int(rules.interval_readings or 24))
    record = replace(record, speed_ms=_as_read(record))
    look = _Look(record, record.speed_ms, steps, rules, neighbour_ms)
    tests: list[QualityTest] = []
    flags: list[BoolArray] = []
    # Each round looks at a record without what the rounds before it left out: a wild value would
    # otherwise set the mean that a calm is judged by.
    for together in ((_impossible, _over_top), (_spikes,), (_stuck, _frozen, _contradicted)):
        found = [_leaving_out(look, *test(look)) for test in together]
        tests += [test for test, _ in found]
        flags += [at for _, at in found]
        out = np.logical_or.reduce([at for _, at in found])
        look = replace(look, speed=np.where(out, np.nan, look.speed))
    valid = np.isfinite(look.speed)
    if not valid.any():
        raise InputError(
            f"{record.provenance.source}: quality control leaves no speed at all; look at the "
            "readings, "
            "or change or switch off the test that took them."
        )
    for test, at in (*_of_the_times(look), _standing(look), _rounding(look)):
        tests.append(test)
        flags.append(at)
    coverage = data_recovery_of(record.time, valid)
    provenance = record.provenance
    outdated = data_recovery_findings(record.data_recovery)
    # Impossible speeds are said again below, by the threshold that was used.
    kept = [
        finding
        for finding in provenance.warnings
        if finding not in outdated and not isinstance(finding, ImpossibleSpeeds)
    ]
    screened = replace(
        record,
        speed_ms=look.speed,
        gust_ms=None if record.gust_ms is None else np.where(valid, record.gust_ms, np.nan),
        standard_deviation_ms=(
            None
            if record.standard_deviation_ms is None
            else np.where(valid, record.standard_deviation_ms, np.nan)
        ),
        data_recovery=coverage,
        provenance=replace(
            provenance,
            warnings=(*kept, *data_recovery_findings(coverage), *_findings(tests)),
        ),
    )
    return QualityReport(record, screened, np.stack(flags), tuple(tests), steps)


def _as_read(record: Record) -> FloatArray:
    """Return the speeds with those that reading set aside, so that this test too can be changed."""
    speed = record.speed_ms.copy()
    speed[np.searchsorted(record.time, record.impossible)] = record.impossible_ms
    return speed


def _impossible(look: _Look) -> _Test:
    limit = look.rules.impossible_ms
    rule = f"above {limit} m/s; no gust above 113.3 m/s was ever measured"
    return "impossible", rule, limit, lambda: look.speed > (limit or 0.0)


def _over_top(look: _Look) -> _Test:
    top, beyond = look.rules.sensor_top_ms, look.rules.impossible_ms
    rule = f"above {top} m/s, more than the anemometer can show"

    def find() -> BoolArray:
        possible = look.speed <= (np.inf if beyond is False else beyond)
        return possible & (look.speed > (top or 0.0))

    return "sensor_top", rule, top, find


def _spikes(look: _Look) -> _Test:
    factor, excess_ms = look.rules.spike_factor, look.rules.spike_excess_ms
    rule = (
        f"{factor} times the higher neighbour and {excess_ms} m/s above it, or a lone 0 between "
        f"neighbours above {excess_ms} m/s"
    )
    joined = look.steps.joined
    return (
        "spike",
        rule,
        factor,
        lambda: suspect_readings.spikes(look.speed, joined, factor or 0.0, excess_ms),
    )


def _stuck(look: _Look) -> _Test:
    hours = look.rules.stuck_hours
    shortest = suspect_readings.stuck_length(look.speed, look.steps.joined)
    rule = f"the same speed above 0 for {hours} h and for {shortest} readings, too many for chance"
    return (
        "stuck",
        rule,
        hours,
        lambda: suspect_readings.stuck(look.speed, look.runs, shortest, hours or 0.0),
    )


def _frozen(look: _Look) -> _Test:
    hours, below_c = look.rules.frozen_hours, look.rules.frozen_below_c
    record, rule = look.record, f"no change for {hours} h below {below_c} C"
    temperature_c = record.temperature_c
    if temperature_c is None:
        return "frozen", f"{rule} (no temperature here)", False, lambda: look.speed < 0
    patience = suspect_readings.CALM_PATIENCE * (hours or 0.0)
    return (
        "frozen",
        f"{rule} ({patience} h for a calm without a still vane)",
        hours,
        lambda: suspect_readings.frozen(
            look.speed,
            look.runs,
            temperature_c,
            record.direction_deg,
            record.standard_deviation_ms,
            below_c,
            hours or 0.0,
        ),
    )


def _contradicted(look: _Look) -> _Test:
    hours, neighbour_ms = look.rules.calm_hours, look.neighbour_ms
    rule = f"dead calm for {hours} h between winds above the mean" + (
        "" if neighbour_ms is None else ", or while the neighbour has its usual wind"
    )
    joined = look.steps.joined
    return (
        "contradicted_calm",
        rule,
        hours,
        lambda: suspect_readings.contradicted_calms(
            look.speed, look.runs, joined, hours or 0.0, neighbour_ms
        ),
    )


def _leaving_out(
    look: _Look, name: str, rule: str, threshold: Threshold, find: Callable[[], BoolArray]
) -> tuple[QualityTest, BoolArray]:
    """Count what a test finds, and what leaving it out alone does to mean and energy."""
    if threshold is False:
        off = QualityTest(name, rule, on=False, leaves_out=True)
        return off, np.zeros(look.speed.size, dtype=bool)
    flags = find()
    at = np.flatnonzero(flags)
    mean_effect: float | None = 0.0
    cube_effect: float | None = 0.0
    if at.size:
        everything, rest = look.moments(np.ones(flags.size, bool)), look.moments(~flags)
        mean_effect, cube_effect = (
            float(part / whole - 1) if whole > 0 and np.isfinite(part) else None
            for part, whole in zip(rest, everything, strict=True)
        )
    first = at[:FIRST_PLACES]
    test = QualityTest(
        name,
        rule,
        on=True,
        leaves_out=True,
        count=at.size,
        first_times=_written(look.record.time[first]),
        first_speeds_ms=tuple(float(v) for v in look.record.speed_ms[first]),
        mean_effect=mean_effect,
        cube_effect=cube_effect,
    )
    return test, flags


def _noted(
    look: _Look, name: str, rule: str, threshold: Threshold, times: TimeArray
) -> tuple[QualityTest, BoolArray]:
    """Note the readings at some times, without leaving them out."""
    flags = np.zeros(look.record.time.size, dtype=bool)
    flags[np.searchsorted(look.record.time, times)] = True
    if threshold is False:
        return QualityTest(name, rule, on=False, leaves_out=False), flags & False
    first = tuple(times[:FIRST_PLACES])
    test = QualityTest(
        name, rule, on=True, leaves_out=False, count=times.size, first_times=_written(first)
    )
    return test, flags


def _of_the_times(look: _Look) -> list[tuple[QualityTest, BoolArray]]:
    """Note repeats, lines back in time, gaps and changes of the interval."""
    rules, record, steps = look.rules, look.record, look.steps

    def if_many(times: TimeArray, most: Threshold) -> TimeArray:
        return times if times.size > (most or 0.0) else times[:0]

    found: tuple[tuple[str, str, Threshold, TimeArray], ...] = (
        (
            "repeated",
            "a line with the time of an earlier one, which alone counts",
            rules.repeated,
            if_many(record.repeated, rules.repeated),
        ),
        (
            "disordered",
            "a line that goes back in time; the record was sorted",
            rules.disordered,
            if_many(record.disordered, rules.disordered),
        ),
        (
            "gap",
            f"a step of more than {rules.gap_intervals} usual intervals, named by the last "
            "reading before it",
            rules.gap_intervals,
            record.time[:-1][~steps.joined],
        ),
        (
            "interval",
            f"another usual interval for at least {rules.interval_readings} readings",
            rules.interval_readings,
            record.time[steps.changed],
        ),
    )
    return [_noted(look, *each) for each in found]


def _standing(look: _Look) -> tuple[QualityTest, BoolArray]:
    """Note the readings of a sensor that stands still although the air moves."""
    share = look.rules.threshold_share
    start_ms = look.record.threshold_ms or suspect_readings.starting_speed(look.speed)
    rule = f"below the starting speed, where that is over {share} of the spread of the speeds"
    if share is False or start_ms is None or start_ms <= share * look.spread():
        test, flags = _noted(look, "below_threshold", rule, share, look.record.time[:0])
        return test, flags
    flags = look.speed < start_ms
    test, _ = _noted(look, "below_threshold", rule, share, look.record.time[flags])
    mean, cube = look.moments(np.ones(flags.size, bool))
    still, still_cube = look.moments(flags)
    hours = np.where(np.isfinite(look.speed), look.steps.duration_s, 0.0)
    portion = float(hours[flags].sum() / hours.sum())
    if not portion:
        return test, flags
    # As if every speed from standstill to the starting speed were as likely as any other.
    return (
        replace(
            test,
            rule=f"below {start_ms:.3g} m/s, from which on the sensor seems to turn",
            mean_effect=float(portion * (start_ms / 2 - still) / mean),
            cube_effect=float(portion * (start_ms**3 / 4 - still_cube) / cube),
        ),
        flags,
    )


def _rounding(look: _Look) -> tuple[QualityTest, BoolArray]:
    """Note speeds rounded to steps that are coarse beside their spread."""
    share = look.rules.rounding_share
    step_ms = look.record.resolution_ms
    rule = f"rounded to steps above {share} of the spread of the speeds"
    uneven = look.record.class_edges_ms is not None
    nothing = look.record.time[:0]
    if share is False or not (uneven or (step_ms or 0.0) > share * look.spread()):
        return _noted(look, "rounded", rule, share, nothing)
    flags = np.isfinite(look.speed)
    test, _ = _noted(look, "rounded", rule, share, look.record.time[flags])
    if step_ms is None:
        return replace(test, rule="classes of the Beaufort scale instead of speeds"), flags
    mean, cube = look.moments(flags)
    # Sheppard's correction of the third moment about zero (Kendall & Stuart, The Advanced Theory of
    # Statistics, vol. 1): rounding adds h^2/4 times the mean, and nothing to the mean itself.
    return (
        replace(
            test,
            rule=f"rounded to steps of {step_ms:.3g} m/s",
            mean_effect=0.0,
            cube_effect=float(-(step_ms**2) / 4 * mean / cube) if cube > 0 else None,
        ),
        flags,
    )


def _written(times: Iterable[np.datetime64]) -> tuple[str, ...]:
    return tuple(str(time.astype("datetime64[s]")).replace("T", " ") for time in times)


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
