"""What quality control can be told, and what it tells: thresholds in, one finding per test out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
import numpy.typing as npt

from yieldest.settings import NotNegative, Settings, key
from yieldest.wind.data_recovery import ReadingSteps
from yieldest.wind.record import Record
from yieldest.wind.record_values import HIGHEST_GUST_MS

BoolArray = npt.NDArray[np.bool_]


Threshold = NotNegative | Literal[False]


class QualityRules(Settings):
    """Thresholds of the tests for bad readings; false switches a test off.

    `impossible_ms` is the highest gust ever measured near the ground (World Meteorological
    Organization, World Weather and Climate Extremes Archive); 75 m/s is usual for cups (common
    practice, no source); the others are our choice.
    """

    impossible_ms: Annotated[Threshold, key("speeds above it cannot be", 90, unit="m/s")] = (
        HIGHEST_GUST_MS
    )
    sensor_top_ms: Annotated[
        Threshold, key("the highest speed that the anemometer shows", 50, unit="m/s")
    ] = 75.0
    spike_factor: Annotated[Threshold, key("a spike is so many times its higher neighbour", 4)] = (
        3.0
    )
    spike_excess_ms: Annotated[NotNegative, key("and so much above it", 8, unit="m/s")] = 10.0
    stuck_hours: Annotated[
        Threshold,
        key("the same speed above 0 for so long, and longer than chance, is stuck", 6, unit="h"),
    ] = 3.0
    frozen_hours: Annotated[
        Threshold, key("no change for so long in the cold is ice", False, unit="h")
    ] = 6.0
    frozen_below_c: Annotated[float, key("what counts as cold", 0, unit="degrees Celsius")] = 2.0
    calm_hours: Annotated[
        Threshold, key("a dead calm for so long, amid wind, is doubted", 12, unit="h")
    ] = 6.0
    repeated: Annotated[
        Threshold, key("more lines than so many with the time of another are noted", 10)
    ] = 0.0
    disordered: Annotated[Threshold, key("more lines than so many back in time are noted", 10)] = (
        0.0
    )
    gap_intervals: Annotated[
        Threshold, key("a step of more than so many intervals is a gap", 3)
    ] = 1.5
    interval_readings: Annotated[
        Threshold, key("so many readings in a row at another interval change it", 144)
    ] = 24.0
    threshold_share: Annotated[
        Threshold,
        key(
            "a starting speed above this share of the spread of the speeds is noted",
            0.2,
            unit="share",
        ),
    ] = 0.1
    rounding_share: Annotated[
        Threshold,
        key(
            "a rounding step above this share of the spread of the speeds is noted",
            0.2,
            unit="share",
        ),
    ] = 0.1


NO_RULES = QualityRules(
    **{
        name: False
        for name in QualityRules.model_fields
        if name not in ("spike_excess_ms", "frozen_below_c")
    }
)
"""A record of years that was computed, not measured, has no sensor faults to look for."""


@dataclass(frozen=True)
class QualityTest:
    """What one test found."""

    name: str
    """Stable, for the flag column and `--json`."""
    rule: str
    """The test and its threshold in words."""
    on: bool
    """Whether it was run."""
    leaves_out: bool
    """Whether what it finds counts as missing from then on; else it is only noted."""
    count: int = 0
    """Readings found (gaps and changes of interval: how many of them)."""
    first_times: tuple[str, ...] = ()
    """The first three places, and the speeds there."""
    first_speeds_ms: tuple[float | None, ...] = ()
    mean_effect: float | None = None
    """Change of mean speed and of mean cube (the energy in the wind), as shares, when what this
    test alone found is left out; for what is only noted, when it is allowed for. None where nobody
    can know."""
    cube_effect: float | None = None


@dataclass(frozen=True)
class QualityReport:
    """A screened record: as it was read, and with missing speeds where a test left one out."""

    original: Record
    record: Record
    flags: BoolArray
    """Which readings each test found, shape (tests, n)."""
    tests: tuple[QualityTest, ...]
    steps: ReadingSteps

    @property
    def left_out(self) -> int:
        """How many readings were left out."""
        return self.original.valid_speed_ms.size - self.record.valid_speed_ms.size
