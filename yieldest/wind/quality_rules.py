"""What quality control can be told, and what it tells: thresholds in, one finding per test out."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from yieldest.errors import InputError
from yieldest.wind.data_recovery import Steps
from yieldest.wind.record_values import HIGHEST_GUST_MS
from yieldest.wind.wind_record import WindRecord

BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class QualityRules:
    """Thresholds of the tests; None switches a test off.

    Parameters
    ----------
    impossible_ms : float or None
        Speeds above this (or below zero) are impossible: the highest gust ever measured near the
        ground (World Meteorological Organization, World Weather and WindDistribution Extremes
        Archive).
    sensor_top_ms : float or None
        The highest speed the anemometer can show; 75 m/s is usual for cups (common practice, no
        source).
    spike_factor : float or None
        A spike is so many times its higher neighbour, and `spike_excess_ms` above it; our choice.
    spike_excess_ms : float
    stuck_hours : float or None
        The same speed above zero for so long, and longer than chance explains; our choice.
    frozen_hours : float or None
        No change for so long while colder than `frozen_below_c`; our choice.
    frozen_below_c : float
    calm_hours : float or None
        A dead calm for so long between winds above the mean, or against a neighbour; our choice.
    repeated, disordered : float or None
        More lines than so many with the time of another, or back in time, are noted.
    gap_intervals : float or None
        A step longer than so many usual intervals is a gap; our choice.
    interval_readings : float or None
        So many readings in a row at another step make a change of interval; our choice.
    threshold_share : float or None
        A starting speed above this share of the spread of the speeds is noted; our choice.
    rounding_share : float or None
        A rounding step above this share of the spread of the speeds is noted; our choice.
    """

    impossible_ms: float | None = HIGHEST_GUST_MS
    sensor_top_ms: float | None = 75.0
    spike_factor: float | None = 3.0
    spike_excess_ms: float = 10.0
    stuck_hours: float | None = 3.0
    frozen_hours: float | None = 6.0
    frozen_below_c: float = 2.0
    calm_hours: float | None = 6.0
    repeated: float | None = 0.0
    disordered: float | None = 0.0
    gap_intervals: float | None = 1.5
    interval_readings: float | None = 24.0
    threshold_share: float | None = 0.1
    rounding_share: float | None = 0.1


RULE_NAMES = tuple(rule.name for rule in fields(QualityRules))
"""The thresholds that may be stated."""
_ALWAYS_NUMBERS = ("spike_excess_ms", "frozen_below_c")


def quality_rules(stated: dict[str, float | None]) -> QualityRules:
    """Return the usual rules with the stated ones in place.

    Raises
    ------
    InputError
        When a threshold that belongs to another test is switched off by itself.
    """
    for name in _ALWAYS_NUMBERS:
        if name in stated and stated[name] is None:
            raise InputError(
                f"screen: {name} cannot be off; switch off the test itself "
                f"({name.split('_')[0]}_{'factor' if name.startswith('spike') else 'hours'})."
            )
    return QualityRules(**stated)  # type: ignore[arg-type]  # the two numbers are checked above


@dataclass(frozen=True)
class QualityTest:
    """What one test found.

    Parameters
    ----------
    name : str
        Stable, for the flag column and `--json`.
    rule : str
        The test and its threshold in words.
    on : bool
        Whether it was run.
    leaves_out : bool
        Whether what it finds counts as missing from then on; else it is only noted.
    count : int
        Readings found (gaps and changes of interval: how many of them).
    first_times : tuple of str
        The first three places.
    first_speeds_ms : tuple of float or None
        The speeds there.
    mean_effect, cube_effect : float or None
        Change of mean speed and of mean cube (the energy in the wind), as shares, when what this
        test alone found is left out; for what is only noted, when it is allowed for. None where
        nobody can know.
    """

    name: str
    rule: str
    on: bool
    leaves_out: bool
    count: int = 0
    first_times: tuple[str, ...] = ()
    first_speeds_ms: tuple[float | None, ...] = ()
    mean_effect: float | None = None
    cube_effect: float | None = None


@dataclass(frozen=True)
class QualityReport:
    """A screened record.

    Parameters
    ----------
    original : WindRecord
        As it was read.
    record : WindRecord
        With missing speeds where a test left a reading out.
    flags : ndarray of bool, shape (tests, n)
        Which readings each test found, in the order of `tests`.
    tests : tuple of QualityTest
    steps : Steps
        What each reading stands for.
    """

    original: WindRecord
    record: WindRecord
    flags: BoolArray
    tests: tuple[QualityTest, ...]
    steps: Steps

    @property
    def left_out(self) -> int:
        """How many readings were left out."""
        before = np.isfinite(self.original.speed_ms).sum()
        return int(before - np.isfinite(self.record.speed_ms).sum())
