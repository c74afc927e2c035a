"""What to measure next: what each step would do to the uncertainty, and what it costs in work."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.uncertainty.propagation import Outcomes, run, summary
from yieldest.uncertainty.sampling import columns, fewer
from yieldest.uncertainty.uncertain_inputs import Input
from yieldest.wind.data_recovery import DAYS_PER_YEAR
from yieldest.wind.mean_uncertainty import season_uncertainty

DRAWS = 1024
"""Draws for the comparison: the same for before and after, so that their noise cancels."""


@dataclass(frozen=True)
class Measure:
    """A step that would make some inputs surer.

    Parameters
    ----------
    words : str
    work_days : float
        One's own work, roughly (common practice, no source).
    left : mapping of str to float
        By quantity, the share of the standard uncertainty that would be left.
    """

    words: str
    work_days: float
    left: Mapping[str, float]


def usual_steps(
    size: Mapping[str, float], days: float | None, has_reference: bool
) -> tuple[Measure, ...]:
    """Return the steps that would help, as far as the inputs are known now.

    Parameters
    ----------
    size : mapping of str to float
        Standard uncertainties by quantity: relative, but that of the height step's exponent not.
    days : float or None
        Of wind record; None without one.
    has_reference : bool
        Whether the record was compared with a long one nearby.

    Notes
    -----
    What would be left is common practice, no source, but for one more month: the missing seasons as
    `distribution.mean_uncertainty` has them, the rest by the root of the time.
    """
    to = {
        "anemometer": ("run a calibrated anemometer beside yours for two weeks", 2.0, 0.01),
        "mounting": (
            "put the anemometer on a slim pole of its own, clear of everything",
            1.0,
            0.01,
        ),
        "stated_mean": ("log the wind on site for half a year", 4.0, 0.08),
        "shear_exponent": ("log the wind at a second height for three months", 3.0, 0.02),
        "exposure": ("log the wind at the very place of the rotor for three months", 3.0, 0.02),
        "curve": ("log power and wind of the machine for a month, and bin them", 5.0, 0.05),
        "losses.electrical": ("measure cable and converter at three loads", 0.5, 0.1),
        "prices": ("ask for binding quotes for the dearest parts", 1.0, 0.03),
        "price_per_kwh": ("look up what a kWh cost you in the last three bills", 0.2, 0.03),
    }
    steps = [
        Measure(words, work_days, {quantity: target / size[quantity]})
        for quantity, (words, work_days, target) in to.items()
        if size.get(quantity, 0.0) > target
    ]
    if days is not None and not has_reference:
        steps.append(_one_more_month(days))
        steps.append(
            Measure(
                "compare with ten years or more of a wind record nearby (wind.reference)",
                1.0,
                {
                    quantity: min(1.0, target / size[quantity])
                    for quantity, target in (("past_years", 0.02), ("seasons", 0.03))
                    if size.get(quantity, 0.0) > 0
                },
            )
        )
    return tuple(steps)


def _one_more_month(days: float) -> Measure:
    later = days + 30
    now, then = (season_uncertainty(1 - min(1.0, d / DAYS_PER_YEAR)) for d in (days, later))
    years = (max(1.0, d / DAYS_PER_YEAR) for d in (days, later))
    return Measure(
        "log the wind for one more month",
        1.0,
        {
            "sampling": (days / later) ** 0.5,
            "shape": (days / later) ** 0.5,
            "seasons": then / now if now > 0 else 1.0,
            "past_years": (next(years) / next(years)) ** 0.5,
        },
    )


@dataclass(frozen=True)
class Gain:
    """What a step would do to the 90 % interval of one figure of a build.

    Parameters
    ----------
    words : str
    work_days : float
    measure : str
    before, after : tuple of float
        Nine cases of ten lie between.
    """

    words: str
    work_days: float
    measure: str
    before: tuple[float, float]
    after: tuple[float, float]

    @property
    def narrowed(self) -> float:
        """Share by which the interval gets narrower."""
        return 1 - (self.after[1] - self.after[0]) / (self.before[1] - self.before[0])

    @property
    def worth(self) -> float:
        """Narrowing for each day of work."""
        return self.narrowed / self.work_days


def gains(
    chain: Outcomes,
    inputs: Sequence[Input],
    scores: FloatArray,
    steps: Sequence[Measure],
    measure: str,
) -> tuple[Gain, ...]:
    """Return what each step would bring, the most for each day of work first.

    Parameters
    ----------
    chain : Outcomes
    inputs : sequence of Input
    scores : ndarray, shape (draws, scores)
        A part of them is used.
    steps : sequence of Measure
    measure : str
        One of `Outcomes.outcome`.

    Notes
    -----
    The same draws with the scores of the inputs in question moved towards 0; the middle of the
    result would move too, when something is measured, but nobody knows yet where to.
    """
    column = columns(inputs)
    some = fewer(scores, DRAWS)
    before = _interval(measure, run(chain, inputs, some))
    if before is None or before[0] == before[1]:
        return ()
    found = []
    for step in steps:
        nearer = some.copy()
        for each in inputs:
            if each.quantity in step.left and each.name in chain.names.values():
                nearer[:, column[each.name]] *= step.left[each.quantity]
        if np.array_equal(nearer, some):
            continue
        after = _interval(measure, run(chain, inputs, nearer))
        if after is not None:
            found.append(Gain(step.words, step.work_days, measure, before, after))
    return tuple(sorted(found, key=lambda gain: -gain.worth))


def _interval(measure: str, found: Mapping[str, FloatArray]) -> tuple[float, float] | None:
    range_ = summary(measure, found[measure])
    if range_.low is None or range_.high is None:
        return None
    return range_.low, range_.high
