"""Screen a record: run every test, count what it finds, and leave out what cannot be believed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from yieldest.arrays import BoolArray, FloatArray, number_or_none, pieces
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding
from yieldest.settings import NotNegative, Settings, key
from yieldest.wind import suspect_readings
from yieldest.wind.data_recovery import (
    LIKE_STEPS,
    STEADY_READINGS,
    ReadingSteps,
    data_recovery_findings,
    data_recovery_of,
    steps_of,
)
from yieldest.wind.record import ImpossibleSpeeds, Record
from yieldest.wind.record_values import HIGHEST_GUST_MS

Threshold = NotNegative | Literal[False]
_Found = tuple[str, str, Threshold, BoolArray]
"""Name of a test, its rule in words, its threshold (False: off) and the readings it found."""

FIRST_PLACES = 3
"""So many places are named for each test."""
_BEYOND_SENSE_MS = 1e90
_NOWHERE = np.zeros(0, dtype=np.intp)


class QualityRules(Settings):
    """Thresholds of the tests for bad readings; false switches a test off.

    `impossible_ms` is the highest gust ever measured near the ground (World Meteorological
    Organization, World Weather and Climate Extremes Archive); 75 m/s is usual for cups (common
    practice, no source); the others are our choice.
    """

    impossible_ms: Threshold = key(
        "speeds above it cannot be", 90, unit="m/s", default=HIGHEST_GUST_MS
    )
    sensor_top_ms: Threshold = key(
        "the highest speed that the anemometer shows", 50, unit="m/s", default=75.0
    )
    spike_factor: Threshold = key("a spike is so many times its higher neighbour", 4, default=3.0)
    spike_excess_ms: NotNegative = key("and so much above it", 8, unit="m/s", default=10.0)
    stuck_hours: Threshold = key(
        "the same speed above 0 for so long, and longer than chance, is stuck",
        6,
        unit="h",
        default=3.0,
    )
    frozen_hours: Threshold = key(
        "no change for so long in the cold is ice", False, unit="h", default=6.0
    )
    frozen_below_c: float = key("what counts as cold", 0, unit="degrees Celsius", default=2.0)
    calm_hours: Threshold = key(
        "a dead calm for so long, amid wind, is doubted", 12, unit="h", default=6.0
    )
    repeated: Threshold = key(
        "more lines than so many with the time of another are noted", 10, default=0.0
    )
    disordered: Threshold = key("more lines than so many back in time are noted", 10, default=0.0)
    gap_intervals: Threshold = key("a step of more than so many intervals is a gap", 3, default=1.5)
    interval_readings: Threshold = key(
        "so many readings in a row at another interval change it", 144, default=24.0
    )
    threshold_share: Threshold = key(
        "a starting speed above this share of the standard deviation of the speeds is noted",
        0.2,
        unit="share",
        default=0.1,
    )
    rounding_share: Threshold = key(
        "a rounding step above this share of the standard deviation of the speeds is noted",
        0.2,
        unit="share",
        default=0.1,
    )


_NO_SWITCHES = {"spike_excess_ms", "frozen_below_c"}
NO_RULES = QualityRules.unstated().model_copy(
    update=dict.fromkeys(QualityRules.model_fields.keys() - _NO_SWITCHES, False)
)
"""A record of years that was computed, not measured, has no sensor faults to look for."""


@frozen_dataclass
class QualityTest:
    """What one test found; its name is stable, for the flag column and `--json`."""

    name: str
    rule: str
    """The test and its threshold in words."""
    on: bool
    leaves_out: bool
    """Whether what it finds counts as missing from then on; else it is only noted."""
    count: int
    first_times: tuple[str, ...]
    first_speeds_ms: tuple[float | None, ...]
    mean_effect: float | None
    """Change of mean speed and of mean cube (the energy in the wind), as shares, when what this
    test alone found is left out; for what is only noted, when it is allowed for. None where nobody
    can know."""
    cube_effect: float | None


@frozen_dataclass
class QualityReport:
    """A screened record: as it was read, and with missing speeds where a test left one out."""

    original: Record
    record: Record
    flags: tuple[BoolArray, ...]
    """Which readings each test found, each of shape (n,)."""
    tests: tuple[QualityTest, ...]
    steps: ReadingSteps

    @cached_property
    def left_out(self) -> int:
        """How many readings were left out."""
        before, after = (
            int(np.isfinite(one.speed_ms).sum()) for one in (self.original, self.record)
        )
        return before - after


class ReadingsLeftOut(Finding):
    """Readings that a test found count as missing."""

    test: str
    rule: str
    readings: int
    first_ms: float | None
    first_time: str


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

    def moments(self, keep: BoolArray | None = None) -> FloatArray:
        """Return mean speed and mean cube of some readings, or of all; NaN without any."""
        total = np.zeros(3)
        for part in pieces(self.speed.size):
            used = np.isfinite(self.speed[part])
            if keep is not None:
                used &= keep[part]
            hours = self.steps.duration_h[part][used]
            # A wild number shall not overflow when it is cubed.
            speed = np.minimum(self.speed[part][used], _BEYOND_SENSE_MS)
            # Not by `@`, whose threads wait for each other longer than they work on a piece.
            first = hours * speed
            total += hours.sum(), first.sum(), (first * speed * speed).sum()
        return total[1:] / total[0] if total[0] > 0 else np.full(2, np.nan)

    def leave_out(self, *found: _Found) -> None:
        """Count what each test finds, with its effect alone, and then leave out all of it."""
        kept = self.speed
        for name, rule, threshold, suspect in found:
            places = np.flatnonzero(suspect) if threshold is not False else _NOWHERE
            effects: Iterable[float | None] = (None, None) if threshold is False else (0.0, 0.0)
            if places.size:
                with np.errstate(divide="ignore", invalid="ignore"):
                    effects = map(number_or_none, self.moments(~suspect) / self.moments() - 1)
                kept = np.where(suspect, np.nan, kept)
            self.add(name, rule, threshold, places, effects, leaves_out=True)
        self.speed = kept

    def add(
        self,
        name: str,
        rule: str,
        threshold: Threshold,
        places: npt.NDArray[np.intp],
        effects: Iterable[float | None] = (None, None),
        *,
        leaves_out: bool = False,
    ) -> None:
        """Count what a test, where it is on, found at some places."""
        on = threshold is not False
        places = places if on else _NOWHERE
        flags = np.broadcast_to(np.False_, self.record.time.shape)  # which takes no memory
        if places.size:
            flags = flags.copy()
            flags[places] = True
        first = places[:FIRST_PLACES]
        times = self.record.time[first].astype("datetime64[s]")
        written = tuple(str(time).replace("T", " ") for time in times)
        speeds = tuple(self.record.speed_ms[first].tolist()) if leaves_out else ()
        self.tests.append(
            QualityTest(name, rule, on, leaves_out, places.size, written, speeds, *effects)
        )
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
    steps = record.data_recovery.steps
    gap, steady = rules.gap_intervals or LIKE_STEPS, int(rules.interval_readings or STEADY_READINGS)
    if (gap, steady) != (LIKE_STEPS, STEADY_READINGS):
        steps = steps_of(record.time, gap, steady)
    if record.impossible.size:
        speed = record.speed_ms.copy()
        # With those that reading set aside, so that this test too can be changed.
        speed[np.searchsorted(record.time, record.impossible)] = record.impossible_ms
        record = replace(record, speed_ms=speed)
    screening = _Screening(record, steps, record.speed_ms)
    _leave_out(screening, rules, neighbour_ms)
    valid = np.isfinite(screening.speed)
    if not valid.any():
        raise InputError(
            f"{record.provenance.source}: quality control leaves no speed at all; look at the "
            "readings, or change or switch off the test that took them."
        )
    _note_times(screening, rules)
    deviation_ms = _deviation(screening.speed, valid)
    _note_standing(screening, rules.threshold_share, deviation_ms)
    _note_rounding(screening, rules.rounding_share, deviation_ms)
    recovery = data_recovery_of(record.time, valid, record.data_recovery.steps)
    outdated = data_recovery_findings(record.data_recovery)
    # Impossible speeds are said again below, by the threshold that was used.
    warnings: list[Finding | str] = [
        finding
        for finding in record.provenance.warnings
        if finding not in outdated and not isinstance(finding, ImpossibleSpeeds)
    ]
    warnings += data_recovery_findings(recovery)
    for test in screening.tests:
        if test.count and test.leaves_out:
            speed_ms, time = test.first_speeds_ms[0], test.first_times[0]
            warnings.append(ReadingsLeftOut(test.name, test.rule, test.count, speed_ms, time))
        elif test.count and test.name in ("repeated", "interval"):
            warnings.append(TimesNoted(test.rule, test.count, test.first_times[0]))
    beside: dict[str, Any] = {
        name: np.where(valid, values, np.nan)
        for name in ("gust_ms", "standard_deviation_ms")
        if (values := getattr(record, name)) is not None
    }
    screened = replace(
        record,
        speed_ms=screening.speed,
        data_recovery=recovery,
        provenance=replace(record.provenance, warnings=tuple(warnings)),
        **beside,
    )
    return QualityReport(record, screened, tuple(screening.flags), tuple(screening.tests), steps)


def _deviation(speed_ms: FloatArray, valid: BoolArray) -> float:
    """Return the standard deviation of the valid speeds, shape (n,)."""
    mean_ms, squares = speed_ms.mean(where=valid), 0.0
    for part in pieces(speed_ms.size):
        off_ms = speed_ms[part][valid[part]] - mean_ms
        squares += float((off_ms * off_ms).sum())
    return float(np.sqrt(squares / np.count_nonzero(valid)))


def _leave_out(look: _Screening, rules: QualityRules, neighbour_ms: FloatArray | None) -> None:
    """Leave out what cannot be believed, in rounds that do not see what those before left out.

    A wild value would otherwise set the mean that a calm is judged by.
    """
    record, joined = look.record, look.steps.joined
    limit, top = rules.impossible_ms, rules.sensor_top_ms
    beyond = (look.speed > limit) & (limit is not False)
    too_fast = f"above {limit} m/s; no gust above 113.3 m/s was ever measured"
    too_fast_for_it = f"above {top} m/s, more than the anemometer can show"
    look.leave_out(
        ("impossible", too_fast, limit, beyond),
        ("sensor_top", too_fast_for_it, top, (look.speed > top) & ~beyond),
    )
    factor, excess_ms = rules.spike_factor, rules.spike_excess_ms
    rule = (
        f"{factor} times the higher neighbour and {excess_ms} m/s above it, or a lone 0 between "
        f"neighbours above {excess_ms} m/s"
    )
    suspect = suspect_readings.spikes(look.speed, joined, factor, excess_ms)
    look.leave_out(("spike", rule, factor, suspect))
    speed = look.speed
    runs = suspect_readings.unchanging_runs(speed, joined, look.steps.duration_h)
    shortest = suspect_readings.stuck_length(speed, joined)
    stuck_h, frozen_h, calm_h = rules.stuck_hours, rules.frozen_hours, rules.calm_hours
    unchanging = (
        f"the same speed above 0 for {stuck_h:g} h and for {shortest} readings, too many for chance"
    )
    ice = (
        f"no change for {frozen_h:g} h and for {shortest} readings below {rules.frozen_below_c:g} C"
    )
    iced = np.zeros(speed.size, dtype=bool)
    if record.temperature_c is None:
        ice, frozen_h = f"{ice} (no temperature here)", False
    else:
        ice += f" ({suspect_readings.CALM_PATIENCE * frozen_h:g} h for a calm without a still vane)"
        cold = record.temperature_c < rules.frozen_below_c
        iced = suspect_readings.frozen(record, speed, runs, shortest, cold, frozen_h)
    denied = "" if neighbour_ms is None else ", or while the neighbour has its usual wind"
    calm = f"dead calm for {calm_h:g} h between winds above the mean{denied}"
    doubted = suspect_readings.contradicted_calms(speed, runs, joined, calm_h, neighbour_ms)
    look.leave_out(
        ("stuck", unchanging, stuck_h, suspect_readings.stuck(speed, runs, shortest, stuck_h)),
        ("frozen", ice, frozen_h, iced),
        ("contradicted_calm", calm, calm_h, doubted),
    )


def _note_times(look: _Screening, rules: QualityRules) -> None:
    """Note repeats, lines back in time, gaps and changes of the interval."""
    record, gap = look.record, rules.gap_intervals
    for name, rule, times in (
        ("repeated", "a line with the time of an earlier one, which alone counts", record.repeated),
        ("disordered", "a line that goes back in time; the record was sorted", record.disordered),
    ):
        most, places = getattr(rules, name), np.searchsorted(record.time, times)
        look.add(name, rule, most, places if places.size > most else places[:0])
    rule = f"a step of more than {gap:g} usual intervals, named by the last reading before it"
    look.add("gap", rule, gap, np.flatnonzero(~look.steps.joined))
    rule = f"another usual interval for at least {rules.interval_readings:g} readings"
    look.add("interval", rule, rules.interval_readings, look.steps.changed)


def _note_standing(look: _Screening, share: Threshold, deviation_ms: float) -> None:
    """Note the readings of a sensor that stands still although the air moves."""
    lowest_ms = float(np.min(look.speed, where=look.speed > 0, initial=np.inf))
    if np.isinf(lowest_ms) or not (look.speed == 0).any():
        lowest_ms = 0.0
    start_ms = look.record.threshold_ms or lowest_ms
    rule = (
        f"below the starting speed, where that is over {share} of the standard deviation of "
        "the speeds"
    )
    seen = share is not False and start_ms > share * deviation_ms
    flags = look.speed < (start_ms if seen else 0.0)
    effects: tuple[float | None, float | None] = None, None
    if flags.any():
        hours = look.steps.duration_h
        portion = hours[flags].sum() / hours.sum(where=np.isfinite(look.speed))
        mean, cube = look.moments()
        still, still_cube = look.moments(flags)
        rule = f"below {start_ms:.3g} m/s, from which on the sensor seems to turn"
        # As if every speed from standstill to the starting speed were as likely as any other.
        effects = (
            float(portion * (start_ms / 2 - still) / mean),
            float(portion * (start_ms**3 / 4 - still_cube) / cube),
        )
    look.add("below_threshold", rule, share, np.flatnonzero(flags), effects)


def _note_rounding(look: _Screening, share: Threshold, deviation_ms: float) -> None:
    """Note speeds rounded to steps that are coarse beside their spread."""
    step_ms, uneven = look.record.resolution_ms, look.record.class_edges_ms is not None
    coarse = (step_ms or 0.0) > share * deviation_ms
    rule = f"rounded to steps above {share} of the standard deviation of the speeds"
    flags = np.isfinite(look.speed) & (share is not False) & (uneven or coarse)
    effects: tuple[float | None, float | None] = None, None
    if flags.any() and step_ms is None:
        rule = "classes of the Beaufort scale instead of speeds"
    elif flags.any() and step_ms is not None:
        rule = f"rounded to steps of {step_ms:.3g} m/s"
        mean, cube = look.moments()
        # Sheppard's correction of the third moment about zero (Kendall & Stuart, The Advanced
        # Theory of Statistics, vol. 1): rounding adds h^2/4 times the mean, and nothing to the
        # mean itself.
        effects = 0.0, float(-(step_ms**2) / 4 * mean / cube) if cube > 0 else None
    look.add("rounded", rule, share, np.flatnonzero(flags), effects)
