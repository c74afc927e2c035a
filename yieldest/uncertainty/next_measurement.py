"""What to measure next: what each step would do to the uncertainty, and what it costs in work."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from yieldest.uncertainty.propagation import Outcomes, Variates, fewer, run, summary
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
    inputs: Iterable[UncertainInput], days: float | None, has_reference: bool
) -> list[MeasurementStep]:
    """Return the steps that would help, as far as the inputs are known now.

    `days` are those of the wind record, None without one. What would be left is common practice, no
    source, but for one more month: the missing seasons as `yieldest.wind.mean_uncertainty` has
    them, the rest by the root of the time.
    """
    size: dict[str, float] = {}  # relative, but that of the height step's exponent not
    for each in inputs:
        middle = abs(float(each.distribution.at(0.0)))
        known = each.distribution.standard_uncertainty / (middle or 1.0)
        size[each.quantity] = max(known, size.get(each.quantity, 0.0))
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
    return steps


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
    chain: Outcomes, variates: Variates, steps: Sequence[MeasurementStep], figure: str
) -> tuple[Gain, ...]:
    """Return what each step would bring to a figure, the most for each day of work first.

    The same draws (a part of them) with the variates of the inputs in question moved towards 0; the
    middle of the result would move too, when something is measured, but nobody knows yet where to.
    """
    some = {name: fewer(each, DRAWS) for name, each in variates.items()}

    def interval(left: Mapping[str, float]) -> tuple[float, float] | None:
        nearer = {
            each.name: some[each.name] * left.get(quantity, 1.0)
            for quantity, each in chain.inputs.items()
        }
        found = summary(figure, run(chain, nearer)[figure])
        return None if found.low is None or found.high is None else (found.low, found.high)

    before = interval({})
    if before is None or before[0] == before[1]:
        return ()
    found = []
    for step in steps:
        if any(step.left.get(quantity, 1.0) != 1 for quantity in chain.inputs):
            after = interval(step.left)
            if after is not None:
                found.append(Gain(step.key, step.work_days, figure, before, after))
    return tuple(sorted(found, key=lambda gain: -gain.worth))
