"""How much of the time, and of the year, a wind record covers."""

from __future__ import annotations

import calendar
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

DAYS_PER_YEAR = 365.25
FULL_MONTH_SHARE = 0.5
"""A calendar month with less than this share of its readings counts as missing; our choice."""


@dataclass(frozen=True)
class Coverage:
    """How much of the time a record covers.

    Parameters
    ----------
    interval_s : float
        Usual time between readings (the median).
    hours : float
        Time with a reading.
    span_hours : float
        Time from the first reading to the end of the last.
    share : float
        `hours` / `span_hours`.
    month_share : tuple of 12 float
        For each calendar month, January first, the share of it with a reading (over all the years
        the record touches, at least one).
    """

    interval_s: float
    hours: float
    span_hours: float
    share: float
    month_share: tuple[float, ...]

    @property
    def missing_months(self) -> tuple[int, ...]:
        """The calendar months (1 to 12) with less than half of their readings."""
        return tuple(
            month
            for month, share in enumerate(self.month_share, start=1)
            if share < FULL_MONTH_SHARE
        )


def coverage_of(time: npt.NDArray[np.datetime64], valid: npt.NDArray[np.bool_]) -> Coverage:
    """Measure how much of the time a record covers.

    Parameters
    ----------
    time : ndarray of datetime64, shape (n,)
        Strictly increasing.
    valid : ndarray of bool, shape (n,)
        Whether there is a reading.
    """
    steps_s = np.diff(time) / np.timedelta64(1, "s")
    # A single reading has no interval; an hour is what public stations report by.
    interval_s = float(np.median(steps_s)) if steps_s.size else 3600.0
    interval_hours = interval_s / 3600
    span_hours = float((time[-1] - time[0]) / np.timedelta64(1, "h")) + interval_hours
    hours = float(valid.sum()) * interval_hours
    month = time.astype("datetime64[M]").astype(np.int64) % 12
    valid_hours = np.bincount(month[valid], minlength=12) * interval_hours
    years = max(1.0, round(span_hours / (DAYS_PER_YEAR * 24)))
    # A common year: February's 29th day is one in fifteen hundred.
    month_hours = 24.0 * years * np.array([calendar.monthrange(2025, m)[1] for m in range(1, 13)])
    return Coverage(
        interval_s=interval_s,
        hours=hours,
        span_hours=span_hours,
        # Readings closer together than usual would otherwise cover more than all of the time.
        share=min(1.0, hours / span_hours),
        month_share=tuple(float(share) for share in np.minimum(1.0, valid_hours / month_hours)),
    )


def coverage_warnings(coverage: Coverage) -> list[str]:
    """Say in words what the coverage leaves in doubt."""
    warnings = []
    days = coverage.span_hours / 24
    if days < DAYS_PER_YEAR - 7:
        warnings.append(
            f"The record spans {days:.0f} days, less than a year: the seasons it lacks may be much "
            "windier or calmer than those it holds."
        )
    missing = coverage.missing_months
    if missing:
        names = ", ".join(calendar.month_name[month] for month in missing)
        warnings.append(
            f"Less than half of {names} is in the record; where winters are windy, missing "
            "winter months make the mean too low and missing summer months make it too high."
        )
    if coverage.share < 0.9:
        warnings.append(
            f"Only {coverage.share:.0%} of the readings between the first and the last are there; "
            "if gaps come with storms, ice or flat batteries, the mean is biased."
        )
    return warnings
