"""The answer in words: what is made at what price, which build is better and why, what pays."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from yieldest.arrays import rounded, whole
from yieldest.economics.cash_flow import cash_flow
from yieldest.economics.evaluation import Cost
from yieldest.economics.measures import present_value
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.losses import kept_share
from yieldest.model.break_even import break_even
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.report.uncertainty_text import between
from yieldest.uncertainty.result import Uncertainty
from yieldest.wind.distribution import LOW_MEAN_SPEED_MS

TOO_NEAR = 0.10
"""Costs per kWh closer than this are too near to call; our choice, well within the usual
uncertainty."""
WORTH_NAMING = 0.02
"""A cause that moves the cost per kWh by less than this share is not named; our choice."""
THIN_MARGIN = 0.20
"""A build that would lose money with so much less energy stands on a knife's edge; our choice."""
MOST_NAMED = 3
"""So many other builds are named beside the cheapest; the table has them all."""


@dataclass(frozen=True)
class _Account:
    """What a build that has a cost per kWh costs and earns over its life."""

    build: BuildEstimate
    cost: Cost
    cost_per_kwh: float
    terms: EconomicTerms

    @property
    def name(self) -> str:
        return self.build.name

    @cached_property
    def paid(self) -> float:
        """Present value of all that is spent."""
        return float(present_value(self.cost.flow.cost, self.terms.discount_rate))

    @cached_property
    def earned(self) -> float:
        """Present value of the energy."""
        return float(present_value(self.cost.flow.value, self.terms.discount_rate))

    @property
    def gain(self) -> float:
        """Net present value, 0 where no price is known."""
        return self.cost.net_present_value or 0.0

    @property
    def calm_gain(self) -> float:
        """Net present value if every year were a calm one."""
        energy = self.build.energy
        calm = cash_flow(self.cost.expenditure, energy.inter_annual_low_kwh, self.terms)
        return float(present_value(calm.net, self.terms.discount_rate))

    @property
    def needed_share(self) -> float:
        """Share of the computed energy that would just pay."""
        return max(self.paid, 0.0) / self.earned if self.earned > 0 else 1.0

    @property
    def later_share(self) -> float:
        """Share of the whole-life cost that is paid after the first day."""
        first = float(self.cost.flow.cost[0])
        return min(0.99, max(0.0, 1 - first / self.paid)) if self.paid > 0 else 0.0

    @property
    def capital_per_kw(self) -> float:
        """Capital cost for each kW of rated power."""
        rated_kw = self.build.curve.rated_power_w * self.build.energy.count / 1000
        return max(self.cost.capital_cost, 1e-9) / max(rated_kw, 1e-9)


def _accounts(estimate: Estimate) -> list[_Account]:
    """Return the builds that have a cost per kWh, the cheapest first."""
    priced = [
        _Account(build, build.cost, build.cost.cost_per_kwh, estimate.terms)
        for build in estimate.builds
        if build.cost is not None and build.cost.cost_per_kwh is not None
    ]
    return sorted(priced, key=lambda each: each.cost_per_kwh)


def answer_of(estimate: Estimate, uncertainty: Uncertainty | None) -> tuple[str, str, str]:
    """Return the answer in three sentences: what is made, what a kWh costs, whether it pays.

    They are of the build with the cheapest kWh, or else of the first.
    """
    accounts = _accounts(estimate)
    best = accounts[0].build if accounts else estimate.builds[0]
    energy = best.energy
    made = f"“{best.name}” makes about {rounded(energy.net_kwh)} kWh a year"
    if uncertainty is None:
        made += (
            f", {rounded(energy.inter_annual_low_kwh)} in a calm year and "
            f"{rounded(energy.inter_annual_high_kwh)} in a windy one."
        )
    else:
        held = next(build for build in uncertainty.builds if build.name == best.name)
        year = between(held.ranges["one_year_kwh"])
        made += f"; in nine years of ten {year}, everything uncertain counted."
    return made, _price(accounts, best, estimate), whether_it_pays(estimate)[0]


def _price(accounts: list[_Account], best: BuildEstimate, estimate: Estimate) -> str:
    terms, currency = estimate.terms, estimate.currency
    if best.cost is None:
        return "What a kWh costs cannot be said, for there is no bill."
    if not accounts:
        return "What a kWh costs cannot be said, for none is made."
    cheapest, *others = accounts
    sentence = (
        f"A kWh from it costs {rounded(cheapest.cost_per_kwh)} {currency} over "
        f"{terms.life_years} years"
    )
    planned = [build.name for build in estimate.builds]
    others.sort(key=lambda each: planned.index(each.name))
    for other in others[:MOST_NAMED]:
        sentence += f", from “{other.name}” {rounded(other.cost_per_kwh)}"
    if terms.price_per_kwh is None:
        return f"{sentence}."
    used = cheapest.cost.cost_per_used_kwh
    if used is None or terms.self_consumption_share == 1:
        return f"{sentence}; it is worth {terms.price_per_kwh:g} {currency}."
    rest = "sold" if terms.export_price_per_kwh > 0 else "worth nothing"
    return (
        f"{sentence}; a used one costs {rounded(used)} and is worth {terms.price_per_kwh:g} "
        f"{currency}, and {100 * (1 - terms.self_consumption_share):.0f} % of them are {rest}."
    )


def reasons(estimate: Estimate) -> list[str]:
    """Return for each build one sentence on why its kWh is cheaper or dearer than the next one's.

    The cheapest is set against the second cheapest, every other against the cheapest.
    """
    priced = [each for each in _accounts(estimate) if each.cost_per_kwh > 0]
    if len(priced) < 2:
        return []
    first, second = priced[:2]
    money = estimate.currency
    return [_reason(first, second, money), *(_reason(each, first, money) for each in priced[1:])]


def _reason(build: _Account, other: _Account, money: str) -> str:
    energy = build.build.energy.net_kwh / other.build.energy.net_kwh
    cost = build.paid / other.paid
    cheaper = cost < energy
    return (
        f"{build.name}: {rounded(build.cost_per_kwh)} {money} a kWh, "
        f"{'cheaper' if cheaper else 'dearer'} than {other.name}, for it makes {_times(energy)} "
        f"energy for {_times(cost)} whole-life cost{_cause(build, other, money, cheaper)}."
    )


def _cause(build: _Account, other: _Account, money: str, cheaper: bool) -> str:
    """Name what speaks most for the build where it is cheaper, or against it where it is dearer."""
    speed, speed_other = (one.build.distribution.mean_speed_ms for one in (build, other))
    kept, kept_other = (kept_share(one.build.energy.losses) for one in (build, other))
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
            math.log((1 - build.later_share) / (1 - other.later_share)),
            f"upkeep and replacements are {100 * build.later_share:.0f} % rather than "
            f"{100 * other.later_share:.0f} % of its whole-life cost",
        ),
        (
            math.log(other.capital_per_kw / build.capital_per_kw),
            f"it costs {rounded(build.capital_per_kw)} rather than "
            f"{rounded(other.capital_per_kw)} {money} for each kW of rated power",
        ),
    ]
    sign = 1.0 if cheaper else -1.0
    weight, text = max((sign * weight, text) for weight, text in causes)
    return f"; {text}" if weight > WORTH_NAMING else ""


def _times(ratio: float) -> str:
    return "about the same" if 0.95 < ratio < 1.05 else f"{ratio:.2g} times the"


def verdict(estimate: Estimate) -> list[str]:
    """Return in plain words which build is the cheaper, and whether any of them pays."""
    texts = []
    if estimate.left_as_started:
        texts.append(
            f"{', '.join(estimate.left_as_started)}: still the invented numbers that `yieldest "
            "start` wrote, so this is no answer about a machine of yours yet."
        )
    accounts = _accounts(estimate)
    if len(accounts) > 1:
        texts.append(_which(accounts[0], accounts[1], estimate.currency))
    return [*texts, *whether_it_pays(estimate), *_carried_to_the_years(estimate)]


def _which(best: _Account, second: _Account, money: str) -> str:
    low, high = best.cost_per_kwh, second.cost_per_kwh
    if high <= low * (1 + TOO_NEAR):
        return (
            f"{best.name} and {second.name} are too near to call: {rounded(low)} and "
            f"{rounded(high)} {money} a kWh are closer than the uncertainty in either."
        )
    return (
        f"{best.name} makes the cheapest kWh, at {rounded(low)} {money} against {rounded(high)} "
        f"of {second.name}."
    )


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
    accounts = _accounts(estimate)
    if not accounts:
        return [
            "Nothing can be said about the money: a build needs a bill and some energy for that."
        ]
    if estimate.terms.price_per_kwh is None:
        shown = accounts[0]
        sentences = [
            "Whether it pays cannot be said, for the plan does not state what a kWh is worth "
            "(economics.price_per_kwh)."
        ]
    else:
        shown = max(accounts, key=lambda each: each.gain)
        if shown.gain < 0:
            who = shown.name
            if len(accounts) > 1:
                who = f"even {shown.name}, which loses least,"
            sentences = _loses(shown, who, estimate.currency)
        else:
            sentences = _pays(shown, estimate)
    build = shown.build
    if build.wind.roof is not None and build.wind.roof.disturbed_share > 0:
        sentences.append(
            f"{100 * build.wind.roof.disturbed_share:.0f} % of the rotor of {build.name} stands in "
            "the disturbed flow over the roof, where no formula gives a figure to trust: take all "
            "of this as the most it could be."
        )
    if build.distribution.mean_speed_ms < LOW_MEAN_SPEED_MS:
        sentences.append(
            f"A mean wind of {build.distribution.mean_speed_ms:.1f} m/s at the hub is very little; "
            "most machines at such places disappoint."
        )
    return sentences


def _loses(account: _Account, who: str, money: str) -> list[str]:
    """Say that a build loses money, why, and what wind it would take."""
    terms, cost, build = account.terms, account.cost, account.build
    needed = break_even(build, terms)
    wind = None if needed is None else needed.hub_mean_speed_ms
    would = (
        "no wind would make up for that"
        if wind is None
        else f"to pay just so it would take a mean wind of {rounded(wind)} m/s at the hub, where "
        f"{build.distribution.mean_speed_ms:.1f} is computed"
    )
    sentences = [
        f"Not worth it for the money: {who} is down {rounded(-account.gain)} {money} over "
        f"{terms.life_years} years, in today's money. "
        "There can be other reasons to build it, but saving money is not one.",
        f"Why: in those years its energy is worth {rounded(account.earned)} {money}, and building "
        f"and keeping it costs {rounded(account.paid)}; {would}.",
    ]
    if terms.wage_per_hour and (cost.return_to_own_labour_per_hour or 0.0) > 0:
        sentences.append(
            f"Counted without a wage, each of its {whole(cost.labour_hours, 3)} hours of own "
            f"work earns {rounded(cost.return_to_own_labour_per_hour)} {money}, rather than "
            f"the {terms.wage_per_hour:g} stated."
        )
    return sentences


def _pays(account: _Account, estimate: Estimate) -> list[str]:
    """Say that a build gains money, how thin the margin is, and what that counts."""
    terms, cost, money = account.terms, account.cost, estimate.currency
    needed = account.needed_share
    gains = f"gains {rounded(account.gain)} {money} over {terms.life_years} years, in today's money"
    if account.calm_gain < 0 or needed > 1 - THIN_MARGIN:
        sentences = [
            f"On a knife's edge: on these figures {account.name} {gains}, but it loses money if it "
            f"makes {100 * (1 - needed):.0f} % less energy than computed, which is within the "
            "usual uncertainty. Do not build it for the money."
        ]
    else:
        net_kwh = account.build.energy.net_kwh
        sentences = [
            f"On these figures {account.name} pays: it {gains}, and goes on paying down to "
            f"{rounded(needed * net_kwh)} kWh a year, {100 * needed:.0f} % of what is computed. "
            "That stands or falls with the "
            f"{'stated wind' if estimate.record is None else 'wind record'}, the curve and the "
            "assumptions listed below."
        ]
    earns = cost.return_to_own_labour_per_hour
    if cost.labour_hours > 0 and not terms.wage_per_hour and earns is not None:
        sentences.append(
            f"That counts {whole(cost.labour_hours, 3)} hours of own work as free; spread over "
            f"them, each hour earns {rounded(earns)} {money}."
        )
    if terms.self_consumption_share == 1.0:
        sentences.append(
            "It also counts every kWh as one that would have been bought; what is not used when "
            "the wind blows is worth less."
        )
    return sentences
