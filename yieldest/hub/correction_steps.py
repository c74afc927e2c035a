"""The steps to the hub: every step from the measured wind to the wind at the hub."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class WindCorrection:
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
class Step(WindCorrection):
    """One step of the ladder, with the mean speed before and after it.

    Parameters
    ----------
    before_ms, after_ms : float
    """

    before_ms: float
    after_ms: float


def correction_steps(start_ms: float, corrections: Sequence[WindCorrection]) -> tuple[Step, ...]:
    """Apply one correction after another to a mean speed.

    Parameters
    ----------
    start_ms : float
        The mean speed as measured or stated.
    corrections : sequence of WindCorrection

    Returns
    -------
    tuple of Step
        Each begins where the one before ended.
    """
    steps = []
    before = start_ms
    for correction in corrections:
        after = before * correction.factor
        steps.append(Step(**vars(correction), before_ms=before, after_ms=after))
        before = after
    return tuple(steps)


def steps_uncertainty(corrections: Sequence[WindCorrection]) -> float:
    """Return the relative standard uncertainty of the whole: the root of the sum of squares.

    Independent factors (JCGM 100:2008, 5.1.6). Steps of unknown uncertainty add nothing, so the
    whole is then a lower bound.
    """
    return float(
        np.sqrt(sum((correction.standard_uncertainty or 0.0) ** 2 for correction in corrections))
    )
