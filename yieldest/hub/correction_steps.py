"""The steps to the hub: every step from the measured wind to the wind at the hub."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate, pairwise
from math import hypot
from operator import mul

from yieldest.frozen import frozen_dataclass


@frozen_dataclass
class WindCorrection:
    """One step, before it is applied."""

    step: str
    """What is carried to what, in a word or two."""
    factor: float
    """Mean speed after over before."""
    method: str
    standard_uncertainty: float | None
    """Of the factor, relative; None where it is not known."""


@frozen_dataclass
class Step(WindCorrection):
    """One step, with the mean speed before and after it."""

    before_ms: float
    after_ms: float


def correction_steps(start_ms: float, corrections: Sequence[WindCorrection]) -> tuple[Step, ...]:
    """Apply one correction after another to a mean speed; each begins where the last one ended."""
    speeds = accumulate((one.factor for one in corrections), mul, initial=start_ms)
    return tuple(
        Step(**vars(one), before_ms=before, after_ms=after)
        for one, (before, after) in zip(corrections, pairwise(speeds), strict=True)
    )


def steps_uncertainty(corrections: Sequence[WindCorrection]) -> float:
    """Return the relative standard uncertainty of the whole: the root of the sum of squares.

    Independent factors (JCGM 100:2008, 5.1.6). Steps of unknown uncertainty add nothing, so the
    whole is then a lower bound.
    """
    return hypot(*(correction.standard_uncertainty or 0.0 for correction in corrections))
