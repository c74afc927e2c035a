"""What a build costs over its life, and whether it pays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.money.bill import Bill
from yieldest.money.cashflow import CashFlow, cash_flow
from yieldest.money.measures import (
    cost_per_kwh,
    internal_rates_of_return,
    payback_years,
    present_value,
)
from yieldest.provenance import Provenance

ASSUMED_DISCOUNT_RATE = 0.05
ASSUMED_LIFE_YEARS = 15
ASSUMED_UPKEEP_SHARE = 0.02
"""Defaults of the money terms (common practice, no source)."""


@dataclass(frozen=True)
class MoneyTerms:
    """The terms that money is reckoned on, real (in today's money).

    Parameters
    ----------
    discount_rate : float
        Real, per year.
    life_years : int
    price_per_kwh : float or None
        What a kWh is worth; None leaves payback, present value and rate of return out.
    upkeep_share_per_year : float
        Of the capital cost.
    wage_per_hour : float
        For own labour; 0 counts none.
    provenance : Provenance
    """

    discount_rate: float
    life_years: int
    price_per_kwh: float | None
    upkeep_share_per_year: float
    wage_per_hour: float
    provenance: Provenance


def money_terms(
    *,
    discount_rate: float | None,
    life_years: int | None,
    price_per_kwh: float | None,
    upkeep_share_per_year: float | None,
    wage_per_hour: float | None,
) -> MoneyTerms:
    """Fill in what the plan leaves open, and say so."""
    assumed = []
    warnings = []
    if discount_rate is None:
        discount_rate = ASSUMED_DISCOUNT_RATE
        assumed.append("Real discount rate 5 % a year (common practice, no source).")
    if life_years is None:
        life_years = ASSUMED_LIFE_YEARS
        assumed.append("Life 15 years (common practice for self-built machines, no source).")
    if upkeep_share_per_year is None:
        upkeep_share_per_year = ASSUMED_UPKEEP_SHARE
        assumed.append("Upkeep 2 % of the capital cost a year (common practice, no source).")
    if wage_per_hour is None:
        wage_per_hour = 0.0
        assumed.append("Own labour costs nothing, for no wage is stated.")
    if price_per_kwh is None:
        warnings.append(
            "money.price_per_kwh is not stated, so payback, present value and rate of return "
            "cannot be had."
        )
    return MoneyTerms(
        discount_rate=discount_rate,
        life_years=life_years,
        price_per_kwh=price_per_kwh,
        upkeep_share_per_year=upkeep_share_per_year,
        wage_per_hour=wage_per_hour,
        provenance=Provenance(
            "money",
            "real terms, sums at year ends (Short, Packey & Holt 1995)",
            tuple(assumed),
            tuple(warnings),
        ),
    )


@dataclass(frozen=True)
class Cost:
    """What a build costs over its life; None where a value cannot be had (a warning says why).

    Parameters
    ----------
    capital_cost : float
    labour_hours : float
        Own work to build it.
    upkeep_per_year : float
    flow : CashFlow
    cost_per_kwh : float or None
        Discounted whole-life cost over discounted energy.
    simple_payback_years, discounted_payback_years : float or None
    net_present_value : float or None
    internal_rate_of_return : float or None
    provenance : Provenance
    """

    capital_cost: float
    labour_hours: float
    upkeep_per_year: float
    flow: CashFlow
    cost_per_kwh: float | None
    simple_payback_years: float | None
    discounted_payback_years: float | None
    net_present_value: float | None
    internal_rate_of_return: float | None
    provenance: Provenance


def cost_of(bill: Bill, count: int, net_kwh_per_year: float, terms: MoneyTerms) -> Cost:
    """Return what a build of `count` machines costs and earns.

    Parameters
    ----------
    bill : Bill
    count : int
    net_kwh_per_year : float
        Of all the machines together.
    terms : MoneyTerms
    """
    capital = bill.capital_cost(count, terms.wage_per_hour)
    upkeep = terms.upkeep_share_per_year * capital
    flow = cash_flow(
        capital,
        bill.replacement_costs(count, terms.wage_per_hour, terms.life_years),
        upkeep,
        net_kwh_per_year,
        terms.price_per_kwh or 0.0,
    )
    warnings: list[str] = []
    simple = discounted = value = rate = None
    if terms.price_per_kwh is not None:
        value = float(present_value(flow.net, terms.discount_rate))
        if net_kwh_per_year > 0:
            simple = _number(payback_years(flow.net))
            discounted = _number(payback_years(flow.net, terms.discount_rate))
            rate = _only_rate(flow, warnings)
            if simple is None:
                warnings.append(
                    f"It is never paid back within its life of {terms.life_years} years."
                )
            elif discounted is None:
                warnings.append(
                    f"At a real discount rate of {terms.discount_rate:.1%} it is not paid back "
                    f"within its life of {terms.life_years} years."
                )
    return Cost(
        capital_cost=capital,
        labour_hours=bill.labour_hours(count),
        upkeep_per_year=upkeep,
        flow=flow,
        cost_per_kwh=_number(cost_per_kwh(flow.cost, flow.energy_kwh, terms.discount_rate)),
        simple_payback_years=simple,
        discounted_payback_years=discounted,
        net_present_value=value,
        internal_rate_of_return=rate,
        provenance=Provenance(
            bill.provenance.source,
            "discounted whole-life cost over discounted energy (Short, Packey & Holt 1995)",
            warnings=tuple(warnings),
        ),
    )


def _number(value: FloatArray) -> float | None:
    return None if np.isnan(value) else float(value)


def _only_rate(flow: CashFlow, warnings: list[str]) -> float | None:
    rates = internal_rates_of_return(flow.net)
    if rates.size == 1:
        return float(rates[0])
    if rates.size == 0:
        warnings.append("No rate of return makes the present value zero, so there is none.")
    else:
        warnings.append(
            f"{rates.size} rates of return make the present value zero (the flow changes sign "
            "more than once), so none is given."
        )
    return None
