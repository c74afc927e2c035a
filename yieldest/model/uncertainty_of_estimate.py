"""One estimate in, its uncertainty out: what the stages state of theirs, handed to the draws."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from yieldest.energy.from_series import sort_readings
from yieldest.errors import InputError
from yieldest.model.estimate import BuildEstimate, Estimate
from yieldest.model.gather_uncertainty import DEFAULT_CORRELATIONS, Parts, gather
from yieldest.model.uncertain_chain import Chain
from yieldest.plan import FEWEST_DRAWS, MOST_DRAWS, Build, Plan
from yieldest.uncertainty.next_measurement import usual_steps
from yieldest.uncertainty.result import Uncertainty, uncertainty_of
from yieldest.uncertainty.sampling import Correlation
from yieldest.uncertainty.uncertain_inputs import (
    ANEMOMETER,
    ASSUMED_MAINTENANCE,
    ASSUMED_SHAPE,
    COMMON_PRACTICE,
    EXPOSURE,
    MOUNTING,
    OUR_CHOICE,
    STATED_MAINTENANCE,
    STATED_MEAN,
    STATED_SHAPE,
    YEAR_TO_YEAR,
    Input,
    Stated,
    StatedDistribution,
)
from yieldest.wind.data_recovery import DAYS_PER_YEAR
from yieldest.wind.resource import WindResource


def how_sure(
    plan: Plan,
    estimate: Estimate,
    draws: int,
    seed: int,
    step: Callable[[int], None] = lambda done: None,
) -> Uncertainty:
    """Carry the uncertainty of every stage to energy, cost per kWh and payback.

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
        When the plan's [uncertainty] section states what cannot be.
    """
    if not FEWEST_DRAWS <= draws <= MOST_DRAWS:
        raise InputError(
            f"--draws {draws}: from {FEWEST_DRAWS} to {MOST_DRAWS:,} draws can be made; 0 makes "
            "none."
        )
    inputs, chains = lined_up(plan, estimate)
    size: dict[str, float] = {}
    for each in inputs:
        middle = abs(float(each.spread.at(0.0)))
        known = each.spread.standard_uncertainty / (middle or 1.0)
        size[each.quantity] = max(known, size.get(each.quantity, 0.0))
    record = estimate.record
    return uncertainty_of(
        chains,
        inputs,
        estimate.terms,
        correlations=[
            *DEFAULT_CORRELATIONS,
            *(
                Correlation(one.between[0], one.between[1], one.coefficient)
                for one in plan.uncertainty.correlation
            ),
        ],
        steps=usual_steps(
            size,
            days=None if record is None else record.data_recovery.hours / 24,
            has_reference=estimate.long_term is not None,
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
        When the plan's [uncertainty] section states what cannot be.
    """
    by_plan = {
        name: StatedDistribution(**spread) for name, spread in plan.uncertainty.spreads.items()
    }
    builds = [
        _parts(plan, build, result)
        for build, result in zip(plan.build, estimate.builds, strict=True)
    ]
    return gather(by_plan, _wind(plan, estimate), builds, estimate.terms)


def _wind(plan: Plan, estimate: Estimate) -> dict[str, Stated]:
    """Return what the stages state of the wind on site."""
    study, over_years = estimate.study, estimate.long_term
    yearly = Stated(YEAR_TO_YEAR, COMMON_PRACTICE)
    if study is None:
        given = plan.wind.weibull_shape is not None or plan.wind.frequency_table is not None
        return {
            "coming_years": yearly,
            "stated_mean": Stated(STATED_MEAN, COMMON_PRACTICE),
            "shape": Stated(STATED_SHAPE if given else ASSUMED_SHAPE, COMMON_PRACTICE),
        }
    stated = {
        "anemometer": Stated(ANEMOMETER, COMMON_PRACTICE),
        "mounting": Stated(MOUNTING, COMMON_PRACTICE),
        "rounding": Stated(_rounding(study), "JCGM 100:2008, F.2.2.1, as if all erred alike"),
        "fit": Stated(
            _correction(estimate.builds[0], "to a distribution"),
            "fitted against read mean as half-width (JCGM 100:2008, 4.3.7)",
        ),
    }
    if study.chosen.shape is not None and study.chosen.shape_se is not None:
        error = study.chosen.shape_se / study.chosen.shape
        stated["shape"] = Stated(error, "block bootstrap of the record")
    if over_years is None:
        stated["sampling"] = Stated(
            study.uncertainty.mean_sampling, "block bootstrap of the record"
        )
        stated["seasons"] = Stated(study.uncertainty.mean_season, "months missing in the record")
        years = max(1.0, study.record.data_recovery.span_hours / 24 / DAYS_PER_YEAR)
        stated["past_years"] = Stated(
            study.uncertainty.mean_year,
            f"{100 * YEAR_TO_YEAR:.0f} % over the root of {years:.1f} years",
        )
    else:
        relation = over_years.chosen.mean_uncertainty
        spread, years = over_years.year_to_year_spread, max(1.0, over_years.reference_years)
        stated["long_term"] = Stated(relation, over_years.chosen.name)
        stated["past_years"] = Stated(
            spread / years**0.5, f"{100 * spread:.1f} % over the root of {years:.1f} years"
        )
        yearly = Stated(spread, "yearly means of the reference")
    return {**stated, "coming_years": yearly}


def _rounding(study: WindResource) -> float:
    """Return the standard uncertainty that rounding leaves to the mean, relative to it."""
    histogram, mean_ms = study.histogram, study.mean_speed_ms
    step_ms = histogram.step_ms
    if step_ms is None:
        near = int(np.argmin(np.abs(histogram.speed_ms - mean_ms)))
        step_ms = float(histogram.upper_ms[near] - histogram.lower_ms[near])
    return step_ms / 12**0.5 / mean_ms


def _correction(result: BuildEstimate, step: str) -> float:
    """Return what a step of the steps to the hub states, 0 where there is no such step."""
    found = (
        correction.standard_uncertainty
        for correction in result.wind.ladder
        if correction.step == step
    )
    return next(found, None) or 0.0


def _parts(plan: Plan, build: Build, result: BuildEstimate) -> Parts:
    """Return what the stages state of one build."""
    wind, curve = result.wind, result.curve
    uncertainty_w = curve.uncertainty_w
    power_w = float(np.abs(curve.power_w).sum())
    mean = float(uncertainty_w.sum()) / power_w if power_w > 0 else 0.0
    of_curve = "as the curve states it" if curve.power_uncertainty_w is not None else OUR_CHOICE
    surroundings = [_correction(result, step) for step in ("behind obstacles", "above the roof")]
    return Parts(
        name=build.name,
        count=build.count,
        distribution=result.distribution,
        readings=(
            sort_readings(wind.readings.speed_ms, wind.readings.weight)
            if wind.readings is not None and result.energy.from_readings
            else None
        ),
        height_ratio=build.hub_height_m / plan.wind.measured_height_m,
        height=Stated(wind.height.standard_uncertainty, wind.height.provenance.method),
        exposure=Stated(
            float(np.sqrt(EXPOSURE**2 + sum(size**2 for size in surroundings))),
            "3 % (common practice, no source), with obstacles and roof"
            if any(surroundings)
            else COMMON_PRACTICE,
        ),
        density=Stated(result.air.standard_uncertainty, result.air.provenance.method),
        curve=curve,
        curve_uncertainty=f"{100 * mean:.0f} % of the power, {of_curve}",
        curve_uncertainty_w=uncertainty_w,
        density_correction=build.density_correction,
        losses=result.energy.losses,
        bill=result.bill,
        upkeep=Stated(
            STATED_MAINTENANCE if _maintenance_is_stated(plan, result) else ASSUMED_MAINTENANCE,
            COMMON_PRACTICE,
        ),
    )


def _maintenance_is_stated(plan: Plan, result: BuildEstimate) -> bool:
    in_bill = result.bill is not None and result.bill.states_maintenance
    return in_bill or plan.economics.maintenance_share_per_year is not None
