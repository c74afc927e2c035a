"""The answer on one screen: which build to make, how sure that is, and what to look at next."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from yieldest.arrays import percent, rounded, whole
from yieldest.defaults import Assumed
from yieldest.economics.cash_flow import cash_flow
from yieldest.economics.evaluation import Cost, NoSingleRateOfReturn, NotPaidBack
from yieldest.economics.measures import present_value
from yieldest.economics.terms import EconomicTerms, ExportEarnsNothing, TermLeftOut
from yieldest.energy.annual_energy import SpreadPutBack
from yieldest.energy.array_losses import HotCable
from yieldest.energy.losses import kept_share
from yieldest.energy.self_consumption import HouseByUtc
from yieldest.frozen import frozen_dataclass
from yieldest.hub.extremes import AboveEveryClass, ThrustInGust
from yieldest.hub.rooftop import MachineOnRoof, RotorInDisturbedFlow
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.model.number_of_machines import CostByNumber, cost_by_number
from yieldest.model.quantities import NEVER, drawn_as, in_currency, lines_of
from yieldest.provenance import Finding
from yieldest.report.cautions import IN_SHORT
from yieldest.report.sentences.wind import MOVE_EVERY_FIGURE
from yieldest.report.sentences.words import sentence
from yieldest.report.spending import break_even_sentence, how_many
from yieldest.report.tables import Row, TableView, build_heads, called, first_checks
from yieldest.report.uncertainty_text import (
    WORTH_MEASURING,
    between,
    chance_words,
    gain_words,
    is_settled,
    step_words,
    sufficiency,
    worth_measuring,
)
from yieldest.uncertainty.result import BuildUncertainty, Uncertainty
from yieldest.units import number, speed, speed_unit
from yieldest.wind.long_term.correction import ReferencesDisagree
from yieldest.wind.long_term.homogeneity import DriftInReference, StepInReference

TOO_NEAR = 0.10
"""Costs per kWh closer than this are too near to call; our choice, well within the usual
uncertainty."""
WORTH_NAMING = 0.02
"""A cause or a difference that moves a figure by less than this share is not named; our choice."""
THIN_MARGIN = 0.20
"""Without draws, a build that loses money with so much less energy is on a knife's edge."""
LIKELY = 0.80
"""From this probability on a build is said to pay; below it is on a knife's edge (our choice)."""
FEW_USED = 0.30
"""A usual share of the energy that a house uses at once without a store; common practice."""
SHARES_TRIED = (1.0, 0.5, FEW_USED)
"""Shares used that the first screen shows the answer at, where none is stated."""
HOUR_IN_KWH = 50.0
"""What an hour of work is set at, in bought kWh, to see whether it matters; our choice."""
BOUGHT = "; bought {price})"
"""How the label of what a kWh costs ends where there is a price to set it against."""
MOST_COLUMNS = 5
_ON_TRUST = {
    "self_consumption_share": "every kWh is used by yourself",
    "export_price_per_kwh": "what is sold earns nothing",
    "wage_per_hour": "own work is free",
    "degradation_per_year": "the output does not fall with age",
}
"""What is taken for granted and how to state it, what moves the answer most first."""
_DANGERS = (ThrustInGust, HotCable, MachineOnRoof, AboveEveryClass)
_ELSEWHERE = (*_DANGERS, NoSingleRateOfReturn, NotPaidBack)
"""Warnings that are said in another line, or of figures that the first screen does not show."""
_FIRST = (
    *(*MOVE_EVERY_FIGURE, HouseByUtc),
    *(StepInReference, DriftInReference, ReferencesDisagree, SpreadPutBack),
)


@frozen_dataclass
class Decision:
    """The answer: a verdict of one or two sentences, the builds side by side, and short pointers.

    None is chosen where none is worth it or nothing can be said. The verdict holds every assumption
    that moves the answer by more than its 90 % range; a pointer is a heading and a sentence.
    """

    chosen: BuildEstimate | None
    verdict: tuple[str, ...]
    table: TableView
    pointers: tuple[tuple[str, str], ...]
    by_number: tuple[CostByNumber, ...]


def decide(estimate: Estimate, uncertainty: Uncertainty | None) -> Decision:
    """Return the answer of an estimate; without draws there are no ranges."""
    candidates = [
        _Candidate(place, build, estimate, uncertainty)
        for place, build in enumerate(estimate.builds)
    ]
    priced = sorted((c for c in candidates if c.cost_per_kwh is not None), key=lambda c: c.per_kwh)
    if estimate.terms.price_per_kwh is not None and priced:
        best = max(priced, key=lambda each: each.gain)
    else:
        best = priced[0] if priced else max(candidates, key=lambda c: c.build.energy.net_kwh)
    is_priced = bool(priced) and estimate.terms.price_per_kwh is not None
    chosen = best.build if is_priced and best.gain >= 0 and best.is_likely else None
    by_number = cost_by_number(estimate)
    pointers = _pointers(best, candidates, priced, by_number)
    verdict = [*started(estimate), _verdict(best, candidates, priced), *_rivals(best, priced)]
    return Decision(
        chosen=chosen,
        verdict=(*verdict, *_caveats(best)),
        table=_table(candidates, best),
        pointers=tuple((head, text) for head, text in pointers if text),
        by_number=by_number,
    )


@dataclass(frozen=True, eq=False)
class _Candidate:
    """A build with its draws, what it costs and earns over its life, and how it is called."""

    place: int
    build: BuildEstimate
    estimate: Estimate
    uncertainty: Uncertainty | None

    @property
    def draws(self) -> BuildUncertainty | None:
        return None if self.uncertainty is None else self.uncertainty.builds[self.place]

    @property
    def terms(self) -> EconomicTerms:
        return self.build.terms

    @property
    def is_alone(self) -> bool:
        return len(self.estimate.builds) == 1

    @property
    def letter(self) -> str:
        return called(self.estimate, self.build.name)

    @property
    def full_name(self) -> str:
        several = len(self.estimate.plan.sites) > 1
        place = f" at “{self.build.place}”" if several else ""
        if self.is_alone:
            return self.letter + place
        return f"{self.letter}, “{self.build.name}”{place},"

    @property
    def cost(self) -> Cost:
        if self.build.cost is None:
            raise ValueError(f"{self.build.name} has no bill")
        return self.build.cost

    @property
    def cost_per_kwh(self) -> float | None:
        return None if self.build.cost is None else self.build.cost.cost_per_kwh

    @property
    def per_kwh(self) -> float:
        return self.cost_per_kwh or 0.0

    def money(self, value: float | None, digits: int = 3) -> str:
        return in_currency(value, self.estimate.currency, digits)

    def range(self, figure: str) -> str:
        """Write the 90 % range of a figure; empty without draws."""
        if self.draws is None or figure not in self.draws.ranges:
            return ""
        return between(self.draws.ranges[figure])

    def with_range(self, text: str, figure: str, more: str = "") -> str:
        """Write a figure with its range, and what else stands in the brackets."""
        found = self.range(figure)
        inside = "; ".join(part for part in (found and f"90 % range {found}", more) if part)
        return f"{text} ({inside})" if inside else text

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
        return 0.0 if self.build.cost is None else self.cost.net_present_value or 0.0

    @property
    def is_likely(self) -> bool:
        """Whether it probably pays: by the draws, or else with a margin in the energy."""
        chance = None if self.draws is None else self.draws.probability_that_it_pays
        if chance is not None:
            return chance >= LIKELY
        return self.paid <= (1 - THIN_MARGIN) * self.earned

    def gain_if(self, **changed: float) -> float:
        """Return the net present value on other terms."""
        terms = self.terms.model_copy(update=changed)
        flow = cash_flow(self.cost.expenditure, self.build.energy.net_kwh, terms)
        return float(present_value(flow.net, terms.discount_rate))

    def moves_more_than_its_range(self, gain: float) -> bool:
        """Whether another net present value lies outside the 90 % range."""
        found = None if self.draws is None else self.draws.ranges.get("net_present_value")
        if found is None or found.low is None or found.high is None:
            return True
        return not found.low <= gain <= found.high


def started(estimate: Estimate) -> Iterator[str]:
    """Say which files still hold the numbers that a plan folder is started with."""
    if estimate.left_as_started:
        yield (
            f"{', '.join(estimate.left_as_started)}: still the invented numbers that `yieldest "
            "start` wrote, so this is no answer about a machine of yours yet."
        )


def _verdict(best: _Candidate, all_: list[_Candidate], priced: list[_Candidate]) -> str:
    """Return one sentence that names the build to make, or none."""
    if not priced:
        kwh = best.with_range(f"{rounded(best.build.energy.net_kwh, 3)} kWh", "one_year_kwh")
        most = "makes" if best.is_alone else "makes most,"
        return (
            "Nothing can be said about the money: a build needs a bill and some energy for that. "
            f"{best.full_name} {most} {kwh} a year."
        )
    life = best.terms.life_years
    if best.terms.price_per_kwh is None:
        cheapest = best.with_range(best.money(best.cost_per_kwh, 2), "cost_per_kwh")
        return (
            "Whether it pays cannot be said, for the plan does not state what a kWh is worth "
            f"(economics.price_per_kwh); {best.full_name} makes "
            f"{'one' if best.is_alone else 'the cheapest'} for {cheapest}."
        )
    years = best.cost.payback_years
    when = (
        f"is not paid off within its {life} years"
        if years is None
        else f"is paid off after {rounded(years)} years"
    )
    # Where every case is never, the range would say so once more.
    figure = "" if years is None and best.range("payback_years") == NEVER else "payback_years"
    when = best.with_range(when, figure, "replacements counted")
    how_sure = ""
    if best.draws is not None:
        how_sure = (
            f"; the probability that it pays is {chance_words(best.draws.probability_that_it_pays)}"
        )
    amount = f"{best.money(abs(best.gain))} in {life} years, in today's money"
    if best.gain >= 0 and best.is_likely:
        return f"Make {best.full_name.rstrip(',')}: it {when} and gains {amount}{how_sure}."
    if best.gain >= 0:
        return (
            f"Make none for the money alone: {'even ' * (len(all_) > 1)}{best.full_name} is on a "
            f"knife's edge. It {when} and gains {amount}{how_sure}."
        )
    advice, who = "Do not make it for the money", best.full_name
    if len(priced) > 1:
        advice, who = "Make none of them for the money", f"even {who} which loses least,"
    return f"{advice}: {who} loses {amount}, and {when}{how_sure}."


def _rivals(best: _Candidate, priced: list[_Candidate]) -> Iterator[str]:
    """Say where the cheapest kWh comes from another build, or the two are too near to call."""
    if len(priced) < 2:
        return
    first, second = priced[:2]
    if second.per_kwh <= first.per_kwh * (1 + TOO_NEAR):
        yield (
            f"{first.letter} and {second.letter} are too near to call: "
            f"{first.money(first.per_kwh, 2)} and {second.money(second.per_kwh, 2)} a kWh are "
            "closer than the uncertainty in either."
        )
    elif first is not best:
        but = "gains less" if best.gain >= 0 else "loses more"
        yield (
            f"{first.letter} makes the cheaper kWh, {first.money(first.per_kwh, 2)} against "
            f"{best.money(best.per_kwh, 2)}, but {but}."
        )


def _caveats(best: _Candidate) -> Iterator[str]:
    """Return the assumptions that move the answer by more than its 90 % range."""
    roof = best.build.wind.roof
    if roof is not None and roof.disturbed_share > 0:
        yield (
            f"{percent(roof.disturbed_share)} of the rotor of {best.letter} stands in the "
            "disturbed flow over the roof, where no formula holds: take all of this as the most it "
            f"could be{', and log the wind at the hub before buying anything' * (best.gain >= 0)}."
        )
    if best.cost_per_kwh is None or best.terms.price_per_kwh is None:
        return
    counted = []
    if best.terms.self_consumption_share == 1.0:
        gain = best.gain_if(self_consumption_share=FEW_USED)
        if best.moves_more_than_its_range(gain):
            counted.append(
                f"every kWh as one that would have been bought (with {percent(FEW_USED)} of them, "
                f"and the rest for nothing, it {_gains_or_loses(best, gain)})"
            )
    hours, earns = best.cost.labour_hours, best.cost.return_to_own_labour_per_hour
    if hours > 0 and not best.terms.wage_per_hour and earns is not None and earns > 0:
        wage = HOUR_IN_KWH * best.terms.price_per_kwh
        if best.moves_more_than_its_range(best.gain - hours * wage):
            counted.append(
                f"{whole(hours, 3)} hours of own work as free (spread over them, each earns "
                f"{best.money(earns, 2)})"
            )
    if counted:
        yield f"That counts {'; and '.join(counted)}."


def _gains_or_loses(best: _Candidate, gain: float) -> str:
    """Say a gain or a loss."""
    return f"{'gains' if gain >= 0 else 'loses'} {best.money(abs(gain))}"


def _table(candidates: list[_Candidate], best: _Candidate) -> TableView:
    """Return the builds as columns A, B, C, each figure with its 90 % range."""
    shown = candidates[:MOST_COLUMNS]
    if best not in shown:
        shown = [*shown[:-1], best]
    estimate = best.estimate
    some_used = estimate.terms.self_consumption_share < 1
    set_against = "cost_per_used_kwh" if some_used else "cost_per_kwh"
    rows = []
    for line in lines_of("decision", [each.build for each in shown], estimate.terms):
        key = line.quantity.key
        cells = tuple(
            text if found in ("", text) else f"{text} ({found})"
            for each, text in zip(shown, line.texts, strict=True)
            for found in [each.range(drawn_as(key))]
        )
        label = line.quantity.named(estimate.currency)
        if key == set_against and estimate.terms.price_per_kwh is not None:
            price = estimate.terms.price_per_kwh
            cents = f"{price:.2f}" if price == round(price, 2) else f"{price:g}"
            label = label[:-1] + BOUGHT.format(price=cents)
        rows.append(Row(label, cells, "", line.quantity.strong, line.best))
    chances = [None if e.draws is None else e.draws.probability_that_it_pays for e in shown]
    if any(chance is not None for chance in chances):
        rows.append(Row("probability that it pays", tuple(map(chance_words, chances))))
    every = build_heads(estimate)
    heads = [every[each.place] for each in shown]
    return TableView("", ["" if best.draws is None else "in brackets the 90 % range", *heads], rows)


def _pointers(
    best: _Candidate,
    all_: list[_Candidate],
    priced: list[_Candidate],
    by_number: Sequence[CostByNumber],
) -> Iterator[tuple[str, str]]:
    yield "Why", _why(best, priced)
    yield "How many", how_many(by_number, best.estimate)
    yield "Break-even", break_even_sentence(best.build, best.estimate)
    yield "Middle", _middle(best)
    yield "Share used", _share_used(best)
    yield "On trust", _on_trust(best.estimate)
    yield "Dangers", _dangers(all_)
    yield from _checks(best, all_)
    yield "Next", _next(best)
    if best.uncertainty is not None and best.uncertainty.convergence.enough_draws is None:
        yield "Draws", sufficiency(best.uncertainty)
    if len(all_) > MOST_COLUMNS:
        yield "Not shown", f"{len(all_) - MOST_COLUMNS} more builds stand in --full and --json."


def _share_used(best: _Candidate) -> str:
    """Say what becomes of the energy, or what the answer is at other shares of it used."""
    found = best.build.self_consumption
    if found is not None:
        stored = ""
        if found.into_battery_kwh:
            stored = f", {whole(found.from_battery_kwh, 3)} by way of the battery"
        lost = found.into_battery_kwh - found.from_battery_kwh + found.dumped_kwh
        dark = ""
        if found.hours_without_power is not None and found.days_without_power is not None:
            dark = (
                f" Without power: {whole(found.hours_without_power, 3)} hours on "
                f"{whole(found.days_without_power, 3)} days a year."
            )
        return (
            f"of the {whole(found.made_kwh, 3)} kWh a year of {best.letter}, "
            f"{percent(found.used_share)} are used by yourself "
            f"({whole(found.used_directly_kwh, 3)} kWh at once{stored}), "
            f"{whole(found.sold_kwh, 3)} sold, {whole(lost, 3)} dumped or lost (hour by hour "
            f"against the house, which draws {whole(found.demand_kwh, 3)} kWh a year at the pace "
            f"of the record's hours).{dark}"
        )
    stated = best.terms.states("self_consumption_share")
    if best.cost_per_kwh is None or best.terms.price_per_kwh is None or stated:
        return ""
    *shares, last_share = (f"{100 * share:.0f}" for share in SHARES_TRIED)
    gains = [best.gain_if(self_consumption_share=share) for share in SHARES_TRIED]
    if max(gains) < 0:
        return ""  # It does not pay at any.
    *worth, last = map(best.money, gains)
    return (
        f"with {', '.join(shares)} or {last_share} % of its energy used by yourself the net "
        f"present value of {best.letter} is {', '.join(worth)} or {last}; state your load in "
        "[demand] of the plan to know which."
    )


def _why(best: _Candidate, priced: list[_Candidate]) -> str:
    """Say why the kWh of the best is cheaper or dearer than that of the next."""
    others = [each for each in priced if each is not best and each.per_kwh > 0]
    if best not in priced or not others or best.per_kwh <= 0:
        return ""
    other = others[0]
    energy = best.build.energy.net_kwh / other.build.energy.net_kwh
    cost = best.paid / other.paid
    cheaper = cost < energy
    return (
        f"A kWh of {best.letter} is {'cheaper' if cheaper else 'more expensive'} than one of "
        f"{other.letter}: {best.letter} makes {_times(energy)} energy for {_times(cost)} "
        f"whole-life cost{_cause(best, other, cheaper)}."
    )


def _times(ratio: float) -> str:
    return "about the same" if 0.95 < ratio < 1.05 else f"{ratio:.2g} times the"


def _cause(one: _Candidate, other: _Candidate, cheaper: bool) -> str:
    """Name what speaks most for a build where it is cheaper, or against it where it is not."""
    here, there = (each.build.distribution.mean_speed_ms for each in (one, other))
    kept, kept_other = (kept_share(each.build.energy.losses) for each in (one, other))
    later, later_other = (_later_share(each) for each in (one, other))
    per_kw, per_kw_other = (_capital_per_kw(each) for each in (one, other))
    causes: list[tuple[float, str, tuple[str, str]]] = [
        # Energy goes at most with the cube of the wind, and with less near rated power.
        (
            2 * math.log(here / there),
            f"the mean wind at its hub is {{}} rather than {{}} {speed_unit()}",
            (number(here, "m/s", ".2f"), number(there, "m/s", ".2f")),
        ),
        (
            math.log(kept / kept_other),
            "it loses {} rather than {} of its energy on the way",
            (percent(1 - kept), percent(1 - kept_other)),
        ),
        (
            math.log((1 - later) / (1 - later_other)),
            "upkeep and replacements are {} rather than {} of its whole-life cost",
            (percent(later), percent(later_other)),
        ),
        (
            math.log(per_kw_other / per_kw),
            "it costs {} rather than {} for each kW of rated power",
            (one.money(per_kw), one.money(per_kw_other)),
        ),
    ]
    sign = 1.0 if cheaper else -1.0
    told = [
        (sign * weight, text.format(*pair)) for weight, text, pair in causes if len({*pair}) > 1
    ]
    weight, text = max(told, default=(0.0, ""))
    return f"; {text}" if weight > WORTH_NAMING else ""


def _later_share(of: _Candidate) -> float:
    """Return the share of the whole-life cost that is paid after the first day."""
    first = float(of.cost.flow.cost[0])
    return min(0.99, max(0.0, 1 - first / of.paid)) if of.paid > 0 else 0.0


def _capital_per_kw(of: _Candidate) -> float:
    rated_kw = of.build.curve.rated_power_w * of.build.energy.count / 1000
    return max(of.cost.capital_cost, 1e-9) / max(rated_kw, 1e-9)


def _middle(best: _Candidate) -> str:
    """Say why the middle of the draws is not the plan's own figure, where they differ."""
    draws, central = best.draws, best.cost_per_kwh
    if (
        best.uncertainty is None
        or draws is None
        or not central
        or "cost_per_kwh" not in draws.ranges
    ):
        return ""
    middle = draws.ranges["cost_per_kwh"].p50
    if middle is None or abs(middle / central - 1) <= WORTH_NAMING:
        return ""
    sided = [
        (((driver.low + driver.high) / 2 - central) * math.copysign(1, middle - central), driver)
        for driver in draws.drivers["cost_per_kwh"]
        if driver.low is not None and driver.high is not None
    ]
    words = {each.name: each.words for each in best.uncertainty.inputs}
    gap, most = max(sided, key=lambda pair: pair[0])
    if gap <= 0:
        return ""
    apart, low, high = middle / central - 1, best.money(most.low, 2), best.money(most.high, 2)
    than, side = ("more", "above") if apart > 0 else ("less", "below")
    share, figure = percent(abs(apart)), best.money(middle, 2)
    # A figure that is written like the plan's own one would contradict the share.
    costs = (
        f"over {share} {than} than by"
        if figure == best.money(central, 2)
        else f"{than} than {figure}, {share} {side}"
    )
    return (
        f"In half of all cases a kWh costs {costs} the plan's own figure, most of all for "
        f"“{words[most.name]}” ({low} to {high} at its ends)."
    )


def _on_trust(estimate: Estimate) -> str:
    """Name what was taken for granted and the keys that would state it."""
    found = [*estimate.assumed, *(each for build in estimate.builds for each in build.assumed)]
    left_out = {each.key for each in found if isinstance(each, TermLeftOut | ExportEarnsNothing)}
    parts = [f"{words} (economics.{key})" for key, words in _ON_TRUST.items() if key in left_out]
    defaults = list(dict.fromkeys(each.default for each in found if isinstance(each, Assumed)))
    parts += [f"{each.words.split(',')[0].lower()} {each} ({each.key})" for each in defaults]
    count = len(dict.fromkeys(map(sentence, found)))
    named = parts[:3]
    if count > len(named):
        named.append(f"{count - len(named)} more in --full")
    return f"{'; '.join(named)}." if parts else ""


def _warnings(all_: list[_Candidate]) -> Iterator[tuple[Finding | str, str]]:
    """Return each warning with the letter of the build it is of, empty where of all."""
    estimate = all_[0].estimate
    for found in estimate.warnings:
        yield found, ""
    for each in all_:
        for found in each.build.warnings:
            shared = all(found in other.build.warnings for other in all_)
            yield found, "" if shared else each.letter


def _dangers(all_: list[_Candidate]) -> str:
    """Say in short what of this plan can hurt someone."""
    found = list(_warnings(all_))
    parts = []
    thrusts = [each for each, _ in found if isinstance(each, ThrustInGust)]
    if thrusts:
        most = max(thrusts, key=lambda each: each.thrust_n)
        parts.append(
            f"a gust of {speed(most.gust_ms, '.0f')} pushes a mast with up to "
            f"{rounded(most.thrust_n)} N"
        )
    cables = [each for each, _ in found if isinstance(each, HotCable)]
    if cables:
        hottest = max(cables, key=lambda each: each.lost_share)
        parts.append(
            f"cables get warm ({hottest.current_a:.0f} A in "
            f"{hottest.cable.cross_section_mm2:g} mm2)"
        )
    if any(isinstance(each, MachineOnRoof) for each, _ in found):
        parts.append("a roof needs a structural engineer first")
    if any(isinstance(each, AboveEveryClass) for each, _ in found):
        parts.append("the wind is stronger than every class of IEC 61400-2")
    return f"{'; '.join([*parts, IN_SHORT])}."


def _checks(best: _Candidate, all_: list[_Candidate]) -> list[tuple[str, str]]:
    """Return the first other warnings as they are, and how many more there are."""
    # What moves every figure stands before what a file's lines look like.
    found_first = sorted(_warnings(all_), key=lambda each: not isinstance(each[0], _FIRST))
    texts = list(
        dict.fromkeys(
            f"{of}: {sentence(found)}" if of and len(all_) > 1 else sentence(found)
            for found, of in found_first
            if not isinstance(found, _ELSEWHERE)
            and not (isinstance(found, RotorInDisturbedFlow) and found in best.build.warnings)
        )
    )
    return first_checks(texts)


def _next(best: _Candidate) -> str:
    """Say what to measure next: what narrows the range most for its work, and what most of all."""
    draws = best.draws
    if draws is None:
        return ""
    if is_settled(draws):
        return (
            "measure nothing more for the money's sake: no measurement is likely to turn this "
            "answer."
        )
    steps = worth_measuring(draws)
    if not steps:
        return f"no single measurement narrows the range by {percent(WORTH_MEASURING)} or more."
    said, most = gain_words(steps[0], draws, best.estimate), max(steps, key=lambda e: e.narrowed)
    if most is not steps[0]:
        said += f"; or {step_words(most)}: {percent(most.narrowed)} narrower"
    return f"{said}."
