"""The wind ladder: every step from the measured wind to the wind at the hub."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Rung:
    """One step, before it is applied.

    Parameters
    ----------
    step : str
        What is carried to what, in a word or two.
    factor : float
        Mean speed after over before.
    method : str
    standard_uncertainty : float or None
        Of the factor, relative; None where it is not known.
    """

    step: str
    factor: float
    method: str
    standard_uncertainty: float | None


@dataclass(frozen=True)
class Step(Rung):
    """One step of the ladder, with the mean speed before and after it.

    Parameters
    ----------
    before_ms, after_ms : float
    """

    before_ms: float
    after_ms: float


def ladder(start_ms: float, rungs: Sequence[Rung]) -> tuple[Step, ...]:
    """Apply one rung after another to a mean speed.

    Parameters
    ----------
    start_ms : float
        The mean speed as measured or stated.
    rungs : sequence of Rung

    Returns
    -------
    tuple of Step
        Each begins where the one before ended.
    """
    steps = []
    before = start_ms
    for rung in rungs:
        after = before * rung.factor
        steps.append(Step(**vars(rung), before_ms=before, after_ms=after))
        before = after
    return tuple(steps)


def ladder_uncertainty(rungs: Sequence[Rung]) -> float:
    """Return the relative standard uncertainty of the whole: the root of the sum of squares.

    Independent factors (JCGM 100:2008, 5.1.6). Steps of unknown uncertainty add nothing, so the
    whole is then a lower bound.
    """
    return float(np.sqrt(sum((rung.standard_uncertainty or 0.0) ** 2 for rung in rungs)))
