"""The builds in words: which is better, why, and whether any of them pays."""

from __future__ import annotations

import math

from yieldest.arrays import rounded, whole
from yieldest.economics.cash_flow import flow_of
from yieldest.economics.evaluation import Cost
from yieldest.economics.measures import present_value
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.losses import kept_share
from yieldest.model.break_even import break_even
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.wind.distribution import LOW_MEAN_SPEED_MS

TOO_NEAR = 0.10
"""Costs per kWh closer than this are too near to call; our choice, well within the usual
uncertainty."""
WORTH_NAMING = 0.02
"""A cause that moves the cost per kWh by less than this share is not named; our choice."""
THIN_MARGIN = 0.20
"""A build that would lose money with so much less energy stands on a knife's edge; our choice."""


def reasons(estimate: Estimate) -> list[str]:
    """Return for each build one sentence on why its kWh is cheaper or dearer than the next one's.

    The cheapest is set against the second cheapest, every other against the cheapest.
    """
    priced = [b for b in estimate.builds if b.cost is not None and (b.cost.cost_per_kwh or 0) > 0]
    if len(priced) < 2:
        return []
    priced.sort(key=lambda b: _cost(b).cost_per_kwh or 0.0)
    first, second = priced[:2]
    return [
        _reason(first, second, estimate),
        *(_reason(other, first, estimate) for other in priced[1:]),
    ]


def _reason(build: BuildEstimate, other: BuildEstimate, estimate: Estimate) -> str:
    here, there = _whole_life(build, estimate), _whole_life(other, estimate)
    energy = build.energy.net_kwh / other.energy.net_kwh
    cost = here / there
    price = rounded(_cost(build).cost_per_kwh)
    cheaper = cost < energy
    return (
        f"{build.name}: {price} {estimate.currency} a kWh, {'cheaper' if cheaper else 'dearer'} "
        f"than {other.name}, for it makes {_times(energy)} energy for {_times(cost)} "
        f"whole-life cost{_cause(build, other, estimate, cheaper)}."
    )


def _cause(build: BuildEstimate, other: BuildEstimate, estimate: Estimate, cheaper: bool) -> str:
    """Name what speaks most for the build where it is cheaper, or against it where it is dearer."""
    sign = 1.0 if cheaper else -1.0
    speed, speed_other = build.distribution.mean_speed_ms, other.distribution.mean_speed_ms
    kept, kept_other = kept_share(build.energy.losses), kept_share(other.energy.losses)
    later, later_other = _later_share(build, estimate), _later_share(other, estimate)
    per_kw, per_kw_other = _capital_per_kw(build), _capital_per_kw(other)
    causes = [
        # Energy goes at most with the cube of the wind, and with less near rated power.
        (
            2 * math.log(speed / speed_other),
            f"the mean wind at its hub is {speed:.1f} rather than {speed_other:.1f} m/s",
        ),
        (
            math.log(kept / kept_other),
            f"it loses {100 * (1 - kept):.0f} % rather than {100 * (1 - kept_other):.0f} % of its "
            "energy on the way",
        ),
        (
            math.log((1 - later) / (1 - later_other)),
            f"upkeep and replacements are {100 * later:.0f} % rather than "
            f"{100 * later_other:.0f} % of its whole-life cost",
        ),
        (
            math.log(per_kw_other / per_kw),
            f"it costs {rounded(per_kw)} rather than {rounded(per_kw_other)} "
            f"{estimate.currency} for each kW of rated power",
        ),
    ]
    weight, text = max((sign * weight, text) for weight, text in causes)
    return f"; {text}" if weight > WORTH_NAMING else ""


def _times(ratio: float) -> str:
    return "about the same" if 0.95 < ratio < 1.05 else f"{ratio:.2g} times the"


def _whole_life(build: BuildEstimate, estimate: Estimate) -> float:
    cost = _cost(build)
    return float(present_value(cost.flow.cost, estimate.terms.discount_rate))


def _later_share(build: BuildEstimate, estimate: Estimate) -> float:
    """Return the share of the whole-life cost that is paid after the first day."""
    whole = _whole_life(build, estimate)
    first = float(_cost(build).flow.cost[0])
    return min(0.99, max(0.0, 1 - first / whole)) if whole > 0 else 0.0


def _capital_per_kw(build: BuildEstimate) -> float:
    rated_kw = build.curve.rated_power_w * build.energy.count / 1000
    return max(_cost(build).capital_cost, 1e-9) / max(rated_kw, 1e-9)


def _cost(build: BuildEstimate) -> Cost:
    if build.cost is None:
        raise ValueError(f"{build.name} has no cost")
    return build.cost


def verdict(estimate: Estimate) -> list[str]:
    """Return in plain words which build is the cheaper, and whether any of them pays."""
    priced = _priced(estimate)
    which = [_which(priced[0], priced[1], estimate.currency)] if len(priced) > 1 else []
    return [
        *_still_invented(estimate),
        *which,
        *whether_it_pays(estimate),
        *_carried_to_the_years(estimate),
    ]


def _still_invented(estimate: Estimate) -> list[str]:
    if not estimate.left_as_started:
        return []
    return [
        f"{', '.join(estimate.left_as_started)}: still the invented numbers that `yieldest "
        "start` wrote, so this is no answer about a machine of yours yet."
    ]


def _carried_to_the_years(estimate: Estimate) -> list[str]:
    """Say how far the measured wind was from that of the years, where a reference knows them."""
    found, factor = estimate.long_term, estimate.wind.long_term_factor
    if found is None:
        return []
    change = "about the same"
    if abs(factor - 1) >= WORTH_NAMING:
        change = f"{100 * abs(1 - factor):.0f} % {'less' if factor < 1 else 'more'}"
    return [
        f"The record read {estimate.wind.start_ms:.2f} m/s; over {found.reference_years:.1f} years "
        f"of {found.provenance.source} the same place has {estimate.wind.start_ms * factor:.2f}, "
        f"{change}, and every figure here is for those years."
    ]


def whether_it_pays(estimate: Estimate) -> list[str]:
    """Return in plain words whether any build pays, and how far that can be trusted."""
    terms = estimate.terms
    priced = _priced(estimate)
    if not priced:
        return [
            "Nothing can be said about the money: a build needs a bill and some energy for that."
        ]
    shown = priced[0]
    if terms.price_per_kwh is None:
        sentences = [
            "Whether it pays cannot be said, for the plan does not state what a kWh is worth "
            "(economics.price_per_kwh)."
        ]
    else:
        shown = max(priced, key=lambda b: _cost(b).net_present_value or 0.0)
        sentences = _does_it_pay(shown, estimate, alone=len(priced) == 1)
    if shown.wind.roof is not None and shown.wind.roof.disturbed_share > 0:
        sentences.append(
            f"{100 * shown.wind.roof.disturbed_share:.0f} % of the rotor of {shown.name} stands in "
            "the disturbed flow over the roof, where no formula gives a figure to trust: take all "
            "of this as the most it could be."
        )
    if shown.distribution.mean_speed_ms < LOW_MEAN_SPEED_MS:
        sentences.append(
            f"A mean wind of {shown.distribution.mean_speed_ms:.1f} m/s at the hub is very little; "
            "most machines at such places disappoint."
        )
    return sentences


def _priced(estimate: Estimate) -> list[BuildEstimate]:
    """Return the builds that have a cost per kWh, the cheapest first."""
    priced = [b for b in estimate.builds if b.cost is not None and b.cost.cost_per_kwh is not None]
    return sorted(priced, key=lambda b: _cost(b).cost_per_kwh or 0.0)


def _which(best: BuildEstimate, second: BuildEstimate, money: str) -> str:
    low, high = _cost(best).cost_per_kwh or 0.0, _cost(second).cost_per_kwh or 0.0
    if high <= low * (1 + TOO_NEAR):
        return (
            f"{best.name} and {second.name} are too near to call: {rounded(low)} and "
            f"{rounded(high)} {money} a kWh are closer than the uncertainty in either."
        )
    return (
        f"{best.name} makes the cheapest kWh, at {rounded(low)} {money} against {rounded(high)} "
        f"of {second.name}."
    )


def _why_not(build: BuildEstimate, terms: EconomicTerms, money: str) -> str:
    """Say what a losing build earns and costs, and what wind it would take."""
    flow = _cost(build).flow
    paid, earned = (float(present_value(f, terms.discount_rate)) for f in (flow.cost, flow.value))
    needed = break_even(build, terms)
    wind = None if needed is None else needed.hub_mean_speed_ms
    would = (
        "no wind would make up for that"
        if wind is None
        else f"to pay just so it would take a mean wind of {rounded(wind)} m/s at the hub, where "
        f"{build.distribution.mean_speed_ms:.1f} is computed"
    )
    return (
        f"Why: in those years its energy is worth {rounded(earned)} {money}, and building and "
        f"keeping it costs {rounded(paid)}; {would}."
    )


def _does_it_pay(build: BuildEstimate, estimate: Estimate, *, alone: bool) -> list[str]:
    terms, money = estimate.terms, estimate.currency
    cost, energy = _cost(build), build.energy
    value = cost.net_present_value or 0.0
    span = f"{terms.life_years} years, in today's money"
    if value < 0:
        who = build.name if alone else f"even {build.name}, which loses least,"
        sentences = [
            f"Not worth it for the money: {who} is down {rounded(-value)} {money} over {span}. "
            "There can be other reasons to build it, but saving money is not one.",
            _why_not(build, terms, money),
        ]
        if terms.wage_per_hour and (cost.return_to_own_labour_per_hour or 0.0) > 0:
            sentences.append(
                f"Counted without a wage, each of its {whole(cost.labour_hours, 3)} hours of own "
                f"work earns {rounded(cost.return_to_own_labour_per_hour)} {money}, rather than "
                "the "
                f"{terms.wage_per_hour:g} stated."
            )
        return sentences
    calm = flow_of(cost.expenditure, energy.inter_annual_low_kwh, terms)
    calm_value = float(present_value(calm.net, terms.discount_rate))
    rate = terms.discount_rate
    paid, earned = (float(present_value(f, rate)) for f in (cost.flow.cost, cost.flow.value))
    needed = max(paid, 0.0) / earned if earned > 0 else 1.0
    sentences = []
    if calm_value < 0 or needed > 1 - THIN_MARGIN:
        sentences.append(
            f"On a knife's edge: on these figures {build.name} gains {rounded(value)} {money} over "
            f"{span}, but it loses money if it makes {100 * (1 - needed):.0f} % less energy than "
            "computed, which is within the usual uncertainty. Do not build it for the money."
        )
    else:
        sentences.append(
            f"On these figures {build.name} pays: it gains {rounded(value)} {money} over {span}, "
            f"and goes on paying down to {rounded(needed * energy.net_kwh)} kWh a year, "
            f"{100 * needed:.0f} % of what is computed. That stands or falls with the "
            f"{'stated wind' if estimate.record is None else 'wind record'}, the curve and the "
            "assumptions listed below."
        )
    if (
        cost.labour_hours > 0
        and not terms.wage_per_hour
        and cost.return_to_own_labour_per_hour is not None
    ):
        sentences.append(
            f"That counts {whole(cost.labour_hours, 3)} hours of own work as free; spread over "
            f"them, each hour earns {rounded(cost.return_to_own_labour_per_hour)} {money}."
        )
    if terms.self_consumption_share == 1.0:
        sentences.append(
            "It also counts every kWh as one that would have been bought; what is not used when "
            "the wind blows is worth less."
        )
    return sentences
