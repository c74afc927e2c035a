"""A short record and a long one brought together: what they share, and by which groups."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray
from yieldest.errors import InputError
from yieldest.wind.breakdown import sector_index
from yieldest.wind.long_term.common_time import (
    SHORTEST_STEP_S,
    ClockOffset,
    SteppedRecord,
    Times,
    clock_offset,
    in_steps,
    usual_interval_s,
)
from yieldest.wind.long_term.relations import concurrent_sums, reference_sums

LEAST_OVERLAP_DAYS = 14.0
"""Two weeks of common readings hold only a few changes of weather; our choice."""
LEAST_CORRELATION = 0.5
"""Below this the reference explains less than a quarter of the site's variance; our choice."""
LEAST_REFERENCE_DAYS = 330.0
"""A reference that lacks a season brings no long term; our choice."""

SECTORS = 12
SEASONS = 4

DAY_S = 86400
YEAR_DAYS = 365.25


@dataclass(frozen=True)
class Pair:
    """Two records on common steps.

    Parameters
    ----------
    site, reference : SteppedRecord
    here, there : ndarray of int, shape (k,)
        Where the steps that both have stand in each of them.
    step_s : int
    offset : ClockOffset
    correlation : float
        Of the mean speeds in the shared steps.
    target : ndarray of bool, shape (m,)
        The reference's whole years, counted back from its end.
    direction : ndarray, shape (m,)
        The site's direction where it has one, else the reference's.
    has_direction : bool
        Whether the reference has directions.
    """

    site: SteppedRecord
    reference: SteppedRecord
    here: npt.NDArray[np.intp]
    there: npt.NDArray[np.intp]
    step_s: int
    offset: ClockOffset
    correlation: float
    target: npt.NDArray[np.bool_]
    direction: FloatArray
    has_direction: bool

    @property
    def unseen(self) -> npt.NDArray[np.bool_]:
        """The steps of the reference to be filled."""
        unseen = self.target.copy()
        unseen[self.there] = False
        return unseen


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
    step_s = int(
        max(usual_interval_s(site_time), usual_interval_s(reference_time), SHORTEST_STEP_S)
    )
    site = in_steps(site_time, site_speed_ms, site_direction_deg, step_s)
    steps_per_day = DAY_S / step_s
    least = int(np.ceil(LEAST_OVERLAP_DAYS * steps_per_day))
    unshifted = in_steps(reference_time, reference_speed_ms, reference_direction_deg, step_s)
    offset = clock_offset(site, unshifted, step_s, least)
    shift = round(offset.hours * 3600 / step_s) if offset.applied else 0
    reference = SteppedRecord(unshifted.number + shift, *list(vars(unshifted).values())[1:])
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
        found = "cannot be had, for one of them never changes"
        if np.isfinite(correlation):
            found = f"is {correlation:.2f}"
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
    whole_years = max(1, int((span_days + 15) / YEAR_DAYS))
    from_step = reference.number[-1] - whole_years * YEAR_DAYS * steps_per_day
    direction = reference.direction_deg.copy()
    known = np.isfinite(site.direction_deg[here])
    direction[there[known]] = site.direction_deg[here[known]]
    return Pair(
        site, reference, here, there, step_s, offset, correlation,
        target=reference.number > from_step,
        direction=direction,
        has_direction=bool(np.isfinite(reference.direction_deg).any()),
    )  # fmt: skip


@dataclass(frozen=True)
class GroupSums:
    """What the relations need, by group.

    Parameters
    ----------
    group : ndarray of int, shape (m,)
        Group of each step of the reference.
    concurrent : ndarray, shape (days, groups, 11)
        `concurrent_sums` of the shared steps, by day.
    wanted : ndarray, shape (groups, 4)
        `reference_sums` of the steps to fill.
    """

    group: npt.NDArray[np.int64]
    concurrent: FloatArray
    wanted: FloatArray


def group_sums(pair: Pair, grouping: str | None) -> GroupSums:
    """Group the reference's steps, and sum their powers by day and group."""
    reference, there = pair.reference, pair.there
    group = np.zeros(reference.number.size, dtype=np.int64)
    groups = 1
    if grouping == "season":
        month = (reference.number * pair.step_s).astype("datetime64[s]").astype("datetime64[M]")
        group, groups = (month.astype(np.int64) + 1) % 12 // 3, SEASONS
    elif grouping == "sector":
        sector = sector_index(reference.direction_deg, SECTORS)
        # Calms and changing winds have no direction: they are a group of their own.
        group, groups = np.where(sector < 0, SECTORS, sector), SECTORS + 1
    day = reference.number[there] * pair.step_s // DAY_S
    day = np.unique(day, return_inverse=True)[1]
    days = int(day.max()) + 1
    site = pair.site
    concurrent = concurrent_sums(
        reference.mean_ms[there],
        site.mean_ms[pair.here],
        site.mean_square[pair.here],
        site.mean_cube[pair.here],
        day * groups + group[there],
        days * groups,
    ).reshape(days, groups, -1)
    unseen = pair.unseen
    return GroupSums(
        group, concurrent, reference_sums(reference.mean_ms[unseen], group[unseen], groups)
    )


def _span(time: Times) -> str:
    return f"{str(time.min())[:10]} to {str(time.max())[:10]}"
