"""What to measure next: what each step would do to the uncertainty, and what it costs in work."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.uncertainty.propagation import Outcomes, columns, fewer, of_chain, run, summary
from yieldest.uncertainty.uncertain_inputs import UncertainInput
from yieldest.wind.data_recovery import DAYS_PER_YEAR
from yieldest.wind.mean_uncertainty import season_uncertainty

DRAWS = 1024
"""Draws for the comparison: the same for before and after, so that their noise cancels."""


@dataclass(frozen=True)
class MeasurementStep:
    """A step that would make some inputs surer.

    The key says which; `yieldest.report.sentences.uncertainty` has it in words. The work is one's
    own, roughly (common practice, no source); `left` is, by quantity, the share of the standard
    uncertainty that would be left.
    """

    key: str
    work_days: float
    left: Mapping[str, float]


_TO_MEASURE = {
    "anemometer": ("calibrated anemometer", 2.0, 0.01),
    "mounting": ("free-standing pole", 1.0, 0.01),
    "stated_mean": ("wind on site", 4.0, 0.08),
    "shear_exponent": ("second height", 3.0, 0.02),
    "exposure": ("place of the rotor", 3.0, 0.02),
    "curve": ("power and wind", 5.0, 0.05),
    "losses.electrical": ("electrical losses", 0.5, 0.1),
    "prices": ("binding quotes", 1.0, 0.03),
    "price_per_kwh": ("electricity bills", 0.2, 0.03),
}
"""By quantity: the step that makes it surer, days of work, and the standard uncertainty that would
be left (all common practice, no source)."""


def usual_steps(
    size: Mapping[str, float], days: float | None, has_reference: bool
) -> tuple[MeasurementStep, ...]:
    """Return the steps that would help, as far as the inputs are known now.

    `size` has the standard uncertainties by quantity: relative, but that of the height step's
    exponent not; `days` are those of the wind record, None without one. What would be left is
    common practice, no source, but for one more month: the missing seasons as
    `yieldest.wind.mean_uncertainty` has them, the rest by the root of the time.
    """
    steps = [
        MeasurementStep(step, work_days, {quantity: target / size[quantity]})
        for quantity, (step, work_days, target) in _TO_MEASURE.items()
        if size.get(quantity, 0.0) > target
    ]
    if days is not None and not has_reference:
        later = days + 30
        now, then = (season_uncertainty(1 - min(1.0, d / DAYS_PER_YEAR)) for d in (days, later))
        years, years_later = (max(1.0, d / DAYS_PER_YEAR) for d in (days, later))
        left = {
            "sampling": (days / later) ** 0.5,
            "shape": (days / later) ** 0.5,
            "seasons": then / now if now > 0 else 1.0,
            "past_years": (years / years_later) ** 0.5,
        }
        steps.append(MeasurementStep("one more month", 1.0, left))
        left = {
            quantity: min(1.0, target / size[quantity])
            for quantity, target in (("past_years", 0.02), ("seasons", 0.03))
            if size.get(quantity, 0.0) > 0
        }
        steps.append(MeasurementStep("long-term reference", 1.0, left))
    return tuple(steps)


@dataclass(frozen=True)
class Gain:
    """What a step would do to the 90 % interval of one figure of a build."""

    step: str
    work_days: float
    figure: str
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
    inputs: Sequence[UncertainInput],
    variates: FloatArray,
    steps: Sequence[MeasurementStep],
    figure: str,
) -> tuple[Gain, ...]:
    """Return what each step would bring to a figure, the most for each day of work first.

    The same draws (a part of them) with the variates of the inputs in question moved towards 0; the
    middle of the result would move too, when something is measured, but nobody knows yet where to.
    """
    column, mine = columns(inputs), of_chain(chain, inputs)
    some = fewer(variates, DRAWS)
    before = _interval(figure, run(chain, inputs, some))
    if before is None or before[0] == before[1]:
        return ()
    found = []
    for step in steps:
        nearer = some.copy()
        for each in mine:
            nearer[:, column[each.name]] *= step.left.get(each.quantity, 1.0)
        if np.array_equal(nearer, some):
            continue
        after = _interval(figure, run(chain, inputs, nearer))
        if after is not None:
            found.append(Gain(step.key, step.work_days, figure, before, after))
    return tuple(sorted(found, key=lambda gain: -gain.worth))


def _interval(figure: str, found: Mapping[str, FloatArray]) -> tuple[float, float] | None:
    range_ = summary(figure, found[figure])
    if range_.low is None or range_.high is None:
        return None
    return range_.low, range_.high
