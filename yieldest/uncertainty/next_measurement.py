"""What to measure next: what each step would do to the uncertainty, and what it costs in work."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from yieldest.frozen import frozen_dataclass
from yieldest.uncertainty.propagation import Outcomes, Variates, fewer, run, summary
from yieldest.uncertainty.uncertain_inputs import UncertainInput
from yieldest.wind.data_recovery import DAYS_PER_YEAR, FULL_MONTH_SHARE
from yieldest.wind.long_term.error_model import MEMORY
from yieldest.wind.mean_uncertainty import season_uncertainty
from yieldest.wind.record import Record

DRAWS = 1024
"""Draws for the comparison: the same for before and after, so that their noise cancels."""


LOGGING_DAYS_PER_MONTH = 0.5
"""Days of work for each month that a logger goes on (common practice, no source)."""
MORE_MONTHS = {months: f"{months} more months" for months in (3, 6, 12, 24)}
"""The steps of a longer record."""


@frozen_dataclass
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
    inputs: Iterable[UncertainInput], record: Record | None, has_reference: bool
) -> list[MeasurementStep]:
    """Return the steps that would help, as far as the inputs are known now.

    `record` is that of the site, None without one. What would be left is common practice, no
    source, but for a longer record: see `left_after`.
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
    if record is None:
        return steps
    steps += [
        MeasurementStep(
            step, months * LOGGING_DAYS_PER_MONTH, left_after(record, months, has_reference)
        )
        for months, step in MORE_MONTHS.items()
    ]
    if not has_reference:
        left = {
            quantity: min(1.0, target / size[quantity])
            for quantity, target in (("past_years", 0.02), ("seasons", 0.03))
            if size.get(quantity, 0.0) > 0
        }
        steps.append(MeasurementStep("long-term reference", 1.0, left))
    return steps


def left_after(record: Record, months: int, has_reference: bool = False) -> dict[str, float]:
    """Return what is left of the uncertainty of a record's wind when it goes on for some months.

    By quantity the share of the standard uncertainty, as `yieldest.wind.mean_uncertainty` has it:
    the chance of the days by the root of the time with readings, the seasons by the months that
    are still missing, the years by the root of their number. With a reference its years count, and
    the relation to it falls as the weather does in `yieldest.wind.long_term.error_model`.
    """
    recovery = record.data_recovery
    days, span = recovery.hours / 24, recovery.span_hours / 24
    more = months * DAYS_PER_YEAR / 12
    month = record.time[-1].astype("datetime64[M]")
    gone = float((record.time[-1] - month) / np.timedelta64(1, "D")) / (DAYS_PER_YEAR / 12)
    parts = np.r_[1 - gone, np.ones(months - 1), gone]
    now, then = np.array(recovery.month_share), np.array(recovery.month_share)
    np.add.at(then, (int(month.astype(np.int64)) + np.arange(months + 1)) % 12, parts)
    seasons, seasons_left = (
        season_uncertainty(1 - float(np.minimum(1.0, share / FULL_MONTH_SHARE).mean()))
        for share in (now, then)
    )
    years, years_then = (max(1.0, each / DAYS_PER_YEAR) for each in (span, span + more))
    chance = days / (days + more)
    if has_reference:
        return {"shape": chance**0.5, "long_term": chance ** (MEMORY / 2)}
    return {
        "sampling": chance**0.5,
        "shape": chance**0.5,
        "seasons": seasons_left / seasons if seasons > 0 else 1.0,
        "past_years": (years / years_then) ** 0.5,
    }


@frozen_dataclass
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
