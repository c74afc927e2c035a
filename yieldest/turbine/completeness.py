"""Whether the readings meet the completeness rules of IEC 61400-12-1."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.turbine.bins import BIN_WIDTH_MS, Bins


@dataclass(frozen=True)
class Rule:
    """One rule and what was found.

    Parameters
    ----------
    standard : str
    requires, found : str
    met : bool
    """

    standard: str
    requires: str
    found: str
    met: bool


_SMALL = "IEC 61400-12-1, small-turbine annex (from memory)"
_LARGE = "IEC 61400-12-1 (from memory)"


def completeness_rules(
    bins: Bins, cut_in_ms: float, averaging_s: float, interval_s: float | None
) -> tuple[Rule, ...]:
    """Hold readings against the rules.

    Parameters
    ----------
    bins : Bins
    cut_in_ms : float
    averaging_s : float
        What each reading is a mean over.
    interval_s : float or None
        Time that a reading stands for; None without times, when no rule on time can be met.

    Notes
    -----
    Recalled from memory: the annex for small turbines asks for 1-minute means, 10 minutes in every
    bin from 1 m/s below cut-in to 14 m/s, and 60 hours in all; the standard itself for 10-minute
    means, 30 minutes in every bin from 1 m/s below cut-in to 1.5 times the speed of 85 % of rated
    power, and 180 hours in all.
    """
    rated = 0.85 * float(bins.power_w.max())
    speed_85_ms = float(bins.centre_ms[int(np.argmax(bins.power_w >= rated))])
    hours = None if interval_s is None else float(bins.count.sum()) * interval_s / 3600
    minutes = None if interval_s is None else bins.count * interval_s / 60
    rules = []
    for standard, mean_s, hours_needed, minutes_needed, top_ms in (
        (_SMALL, 60.0, 60.0, 10.0, 14.0),
        (_LARGE, 600.0, 180.0, 30.0, 1.5 * speed_85_ms),
    ):
        found = "glances" if averaging_s == 0 else f"{averaging_s:g} s"
        rules += [
            Rule(standard, f"means over {mean_s:g} s", found, averaging_s == mean_s),
            Rule(
                standard,
                f"{hours_needed:g} hours in all",
                "no times" if hours is None else f"{hours:.1f} h",
                hours is not None and hours >= hours_needed,
            ),
            _bins_rule(standard, minutes_needed, max(0.0, cut_in_ms - 1.0), top_ms, bins, minutes),
        ]
    return tuple(rules)


def _bins_rule(
    standard: str,
    minutes_needed: float,
    from_ms: float,
    to_ms: float,
    bins: Bins,
    minutes: FloatArray | None,
) -> Rule:
    wanted = np.arange(np.ceil(from_ms / BIN_WIDTH_MS), np.floor(to_ms / BIN_WIDTH_MS) + 1).astype(
        int
    )
    held = {round(centre / BIN_WIDTH_MS): index for index, centre in enumerate(bins.centre_ms)}
    full = 0
    if minutes is not None:
        full = sum(number in held and minutes[held[number]] >= minutes_needed for number in wanted)
    return Rule(
        standard,
        f"{minutes_needed:g} minutes in each bin from {from_ms:.1f} to {to_ms:.1f} m/s",
        "no times" if minutes is None else f"{full} of {wanted.size} bins",
        minutes is not None and bool(full == wanted.size),
    )
