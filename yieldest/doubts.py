"""One estimate in, its doubt out: what the stages state of theirs, handed to the draws."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from yieldest.doubt.chain import Chain
from yieldest.doubt.gather import DEFAULT_CORRELATIONS, Parts, gather
from yieldest.doubt.inputs import (
    ANEMOMETER,
    ASSUMED_SHAPE,
    ASSUMED_UPKEEP,
    COMMON_PRACTICE,
    EXPOSURE,
    MOUNTING,
    OUR_CHOICE,
    STATED_MEAN,
    STATED_SHAPE,
    STATED_UPKEEP,
    YEAR_TO_YEAR,
    Input,
    PlanSpread,
    Stated,
)
from yieldest.doubt.next_step import usual_steps
from yieldest.doubt.result import Doubt, doubt_of
from yieldest.doubt.scores import Correlation
from yieldest.errors import InputError
from yieldest.estimate import BuildEstimate, Estimate
from yieldest.plan import FEWEST_DRAWS, MOST_DRAWS, Build, Plan


def how_sure(
    plan: Plan,
    estimate: Estimate,
    draws: int,
    seed: int,
    step: Callable[[int], None] = lambda done: None,
) -> Doubt:
    """Carry the doubt of every stage to energy, cost per kWh and payback.

    Parameters
    ----------
    plan : Plan
    estimate : Estimate
        Of that plan.
    draws, seed : int
    step : callable, optional
        Told how many draws of a build were done.

    Raises
    ------
    InputError
        When the plan's [doubt] section states what cannot be.
    """
    if not FEWEST_DRAWS <= draws <= MOST_DRAWS:
        raise InputError(
            f"--draws {draws}: from {FEWEST_DRAWS} to {MOST_DRAWS:,} draws can be made; 0 makes "
            "none."
        )
    inputs, chains = lined_up(plan, estimate)
    size: dict[str, float] = {}
    for each in inputs:
        known = each.spread.standard_uncertainty
        size[each.quantity] = max(known, size.get(each.quantity, 0.0))
    record = estimate.record
    return doubt_of(
        chains,
        inputs,
        estimate.terms,
        correlations=[
            *DEFAULT_CORRELATIONS,
            *(
                Correlation(one.between[0], one.between[1], one.coefficient)
                for one in plan.doubt.correlation
            ),
        ],
        steps=usual_steps(
            size,
            days=None if record is None else record.coverage.hours / 24,
            has_reference=False,
        ),
        draws=draws,
        seed=seed,
        step=step,
    )


def lined_up(plan: Plan, estimate: Estimate) -> tuple[tuple[Input, ...], tuple[Chain, ...]]:
    """Return the uncertain inputs of a plan, and the chain of each build that they go through.

    Raises
    ------
    InputError
        When the plan's [doubt] section states what cannot be.
    """
    by_plan = {name: PlanSpread(**spread) for name, spread in plan.doubt.spreads.items()}
    for quantity, spread in by_plan.items():
        spread.refuse_nonsense(f"{plan.path}: doubt.{quantity}", quantity)
    builds = [
        _parts(plan, build, result)
        for build, result in zip(plan.build, estimate.builds, strict=True)
    ]
    return gather(by_plan, _wind(plan, estimate), builds, estimate.terms)


def _wind(plan: Plan, estimate: Estimate) -> dict[str, Stated]:
    """Return what the stages state of the wind on site."""
    stated = {"coming_years": Stated(YEAR_TO_YEAR, COMMON_PRACTICE)}
    record = estimate.record
    if record is None:
        given = plan.wind.weibull_shape is not None
        stated["stated_mean"] = Stated(STATED_MEAN, COMMON_PRACTICE)
        stated["shape"] = Stated(STATED_SHAPE if given else ASSUMED_SHAPE, COMMON_PRACTICE)
        return stated
    days = record.coverage.hours / 24
    stated["anemometer"] = Stated(ANEMOMETER, COMMON_PRACTICE)
    stated["mounting"] = Stated(MOUNTING, COMMON_PRACTICE)
    stated["shape"] = Stated(float(0.78 / np.sqrt(days)), "later")
    stated["past_years"] = Stated(YEAR_TO_YEAR / max(1, days / 365.25) ** 0.5, COMMON_PRACTICE)
    return stated


def _parts(plan: Plan, build: Build, result: BuildEstimate) -> Parts:
    """Return what the stages state of one build."""
    ratio = build.hub_height_m / plan.wind.measured_height_m
    return Parts(
        name=build.name,
        count=build.count,
        climate=result.climate,
        readings=None,
        height_ratio=ratio,
        height=Stated(abs(float(np.log(ratio))) * 0.05, "exponent"),
        exposure=Stated(EXPOSURE, COMMON_PRACTICE),
        density=Stated(0.01, OUR_CHOICE),
        curve=result.curve,
        curve_doubt="10 % of the power, our choice",
        curve_uncertainty_w=0.1 * result.curve.power_w,
        density_correction=build.density_correction,
        losses=result.energy.losses,
        bill=result.bill,
        upkeep=Stated(
            ASSUMED_UPKEEP if plan.money.upkeep_share_per_year is None else STATED_UPKEEP,
            COMMON_PRACTICE,
        ),
    )
