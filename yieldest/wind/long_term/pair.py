"""A short record and a long one brought together: on one clock, what they share, by groups."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.wind.data_recovery import DAY_S, DAYS_PER_YEAR

Times = npt.NDArray[np.datetime64]

SHORTEST_STEP_S = 3600
"""Two places a few kilometres apart share the weather of an hour, not of a minute; our choice."""
FULLEST_STEP_SHARE = 0.5
"""A step with less than this share of its usual readings counts as missing; our choice."""
FARTHEST_OFFSET_H = 14
"""Time zones reach from UTC-12 to UTC+14."""
CLEAR_GAIN = 0.05
"""A clock offset is believed only when it lifts the correlation by this much; our choice. Weather
that passes one place an hour before the other lifts it by some 0.01, and does no harm."""
LEAST_OVERLAP_DAYS = 14.0
"""Two weeks of common readings hold only a few changes of weather; our choice."""
LEAST_CORRELATION = 0.5
"""Below this the reference explains less than a quarter of the site's variance; our choice."""
LONGEST_STEP_DAYS = 2.0
"""What ties two places, and how sure that is, is told from their days and from spells of five;
longer steps tell nothing of these. Our choice."""
LEAST_REFERENCE_DAYS = 330.0
"""A reference that lacks a season brings no long term; our choice."""


@frozen_dataclass
class SteppedRecord:
    """A record averaged over the steps of a regular clock; arrays of shape (n,)."""

    number: npt.NDArray[np.int64]
    """Steps since 1970 that have enough readings, increasing."""
    mean_ms: FloatArray
    mean_cube: FloatArray
    """Of the speeds read within each step."""
    first_ms: FloatArray
    """The first single reading of each step."""
    direction_deg: FloatArray
    """Direction of the mean unit vector; NaN where unknown."""


def usual_interval_s(time: Times) -> float:
    """Return the median time between readings, an hour for a single one."""
    return float(np.median(np.diff(time) / np.timedelta64(1, "s"))) if time.size > 1 else 3600.0


def in_steps(
    time: Times, speed_ms: FloatArray, direction_deg: FloatArray | None, step_s: int
) -> SteppedRecord:
    """Average a record over steps of `step_s` seconds.

    Steps begin at whole multiples of `step_s` since 1970; times increase, a missing speed is NaN.
    """
    known = np.isfinite(speed_ms)
    seconds = time[known].astype("datetime64[s]").astype(np.int64)
    speed = speed_ms[known]
    number, first, place, count = np.unique(
        seconds // step_s, return_index=True, return_inverse=True, return_counts=True
    )
    usual = max(1.0, step_s / usual_interval_s(time))

    def mean(values: FloatArray) -> FloatArray:
        return np.bincount(place, values, number.size) / count

    direction = np.full(number.size, np.nan)
    if direction_deg is not None:
        angle = np.deg2rad(direction_deg[known])
        told = np.isfinite(angle)
        east = mean(np.where(told, np.sin(angle), 0.0))
        north = mean(np.where(told, np.cos(angle), 0.0))
        direction = np.where(
            np.hypot(east, north) > 0, np.rad2deg(np.arctan2(east, north)) % 360, np.nan
        )
    enough = count >= FULLEST_STEP_SHARE * usual
    return SteppedRecord(
        number=number[enough],
        mean_ms=mean(speed)[enough],
        mean_cube=mean(speed**3)[enough],
        first_ms=speed[first][enough],
        direction_deg=direction[enough],
    )


@frozen_dataclass
class ClockOffset:
    """How far the clock of the reference seems to be from that of the site."""

    hours: float
    """To be added to the reference's times for the highest correlation."""
    correlation_with: float
    correlation_without: float
    applied: bool
    """Whether the gain is clear enough to believe it."""


def clock_offset(
    site: SteppedRecord, reference: SteppedRecord, step_s: int, least_steps: int
) -> ClockOffset:
    """Find the shift of the reference that correlates best with the site.

    By Pearson's correlation of the lagged series: the daily round of the wind and the passing of
    weather both mark the clock. A shift that leaves fewer than `least_steps` in common is not
    considered; the correlations are NaN when even the unshifted records have too little in common.
    """
    reach = FARTHEST_OFFSET_H * 3600 // step_s
    first = reference.number[0] - reach
    grid = np.full(int(reference.number[-1]) - first + reach + 1, np.nan)
    grid[reference.number - first] = reference.mean_ms
    found = {
        shift: _correlation(site, grid, first + shift, least_steps)
        for shift in range(-reach, reach + 1)
    }
    best = max(found, key=lambda shift: np.nan_to_num(found[shift], nan=-2.0))
    if np.isnan(found[best]):
        best = 0
    # Without a shift there is no gain; nor is there one over what cannot be had.
    clear = bool(found[best] - found[0] >= CLEAR_GAIN)
    return ClockOffset(best * step_s / 3600, found[best], found[0], clear)


def _correlation(site: SteppedRecord, grid: FloatArray, first: int, least_steps: int) -> float:
    """Correlate the site with a reference whose every step from `first` on stands in `grid`."""
    place = site.number - first
    inside = (place >= 0) & (place < grid.size)
    x, y = grid[place[inside]], site.mean_ms[inside]
    known = np.isfinite(x)
    x, y = x[known], y[known]
    if x.size < max(2, least_steps):
        return float("nan")
    spread = float(x.std() * y.std())
    return float(((x - x.mean()) * (y - y.mean())).mean()) / spread if spread > 0 else float("nan")


@frozen_dataclass
class Pair:
    """Two records on common steps."""

    site: SteppedRecord
    reference: SteppedRecord
    here: npt.NDArray[np.intp]
    """Where the steps that both have stand in the site's record, shape (k,)."""
    there: npt.NDArray[np.intp]
    """The same in the reference's."""
    step_s: int
    offset: ClockOffset
    correlation: float
    """Of the mean speeds in the shared steps."""
    target: npt.NDArray[np.bool_]
    """The m steps of the reference in its whole years, counted back from its end."""
    direction: FloatArray
    """The site's direction where it has one, else the reference's; shape (m,)."""


def pair_records(
    site_time: Times,
    site_speed_ms: FloatArray,
    site_direction_deg: FloatArray | None,
    reference_time: Times,
    reference_speed_ms: FloatArray,
    reference_direction_deg: FloatArray | None,
    source: str,
) -> Pair:
    """Average two records over common steps, set their clocks right, and find what they share.

    Arguments and errors are those of `long_term`.
    """
    site_s, reference_s = usual_interval_s(site_time), usual_interval_s(reference_time)
    for whose, interval_s in ((f"{source}: the reference", reference_s), ("the record", site_s)):
        if interval_s > LONGEST_STEP_DAYS * DAY_S:
            raise InputError(
                f"{whose} has a reading every {interval_s / DAY_S:.3g} days, and a long-term "
                f"correction, which compares days, needs one every {LONGEST_STEP_DAYS:.0f} days or "
                "more often; take daily or hourly values, or leave the reference out."
            )
    step_s = int(max(site_s, reference_s, SHORTEST_STEP_S))
    site = in_steps(site_time, site_speed_ms, site_direction_deg, step_s)
    steps_per_day = DAY_S / step_s
    least = int(np.ceil(LEAST_OVERLAP_DAYS * steps_per_day))
    unshifted = in_steps(reference_time, reference_speed_ms, reference_direction_deg, step_s)
    offset = clock_offset(site, unshifted, step_s, least)
    shift = round(offset.hours * 3600 / step_s) if offset.applied else 0
    reference = replace(unshifted, number=unshifted.number + shift)
    _, here, there = np.intersect1d(
        site.number, reference.number, assume_unique=True, return_indices=True
    )
    days = here.size / steps_per_day
    if here.size < least:
        raise InputError(
            f"{source}: only {days:.0f} days are in both the record ({_span(site_time)}) and the "
            f"reference ({_span(reference_time)}), and at least {LEAST_OVERLAP_DAYS:.0f} are "
            "needed; measure longer, take another reference or leave it out."
        )
    correlation = offset.correlation_with if offset.applied else offset.correlation_without
    if not correlation >= LEAST_CORRELATION:
        known = np.isfinite(correlation)
        found = f"is {correlation:.2f}" if known else "cannot be had, for one of them never changes"
        raise InputError(
            f"{source}: the correlation with the record {found}, and at least "
            f"{LEAST_CORRELATION} is needed; take another reference or leave it out."
        )
    span_days = (reference.number[-1] - reference.number[0] + 1) / steps_per_day
    if span_days < LEAST_REFERENCE_DAYS:
        raise InputError(
            f"{source}: the reference spans {span_days:.0f} days, and a year is needed; take a "
            "longer one or leave it out."
        )
    whole_years = max(1, int((span_days + 15) / DAYS_PER_YEAR))
    from_step = reference.number[-1] - whole_years * DAYS_PER_YEAR * steps_per_day
    direction = reference.direction_deg.copy()
    known = np.isfinite(site.direction_deg[here])
    direction[there[known]] = site.direction_deg[here[known]]
    return Pair(
        site, reference, here, there, step_s, offset, correlation,
        target=reference.number > from_step,
        direction=direction,
    )  # fmt: skip


def _span(time: Times) -> str:
    return f"{str(time.min())[:10]} to {str(time.max())[:10]}"
