"""The same cash flow with a loan, and in the money of each year."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.economics.cash_flow import CashFlow, loan_flow, nominal, real
from yieldest.economics.measures import internal_rates_of_return, payback_years, present_value
from yieldest.economics.terms import EconomicTerms


@dataclass(frozen=True)
class WithLoan:
    """The same build paid for with a loan, in today's money unless called nominal.

    Parameters
    ----------
    amount : float
    own_money : float
        Paid at once beside the loan.
    payment_nominal : float
        Each year, in the money of that year.
    net_present_value : float or None
    discounted_payback_years : float or None
        Of one's own money.
    """

    amount: float
    own_money: float
    payment_nominal: float
    net_present_value: float | None
    discounted_payback_years: float | None


@dataclass(frozen=True)
class Nominal:
    """The same flow in the money of each year.

    Parameters
    ----------
    discount_rate : float
        Nominal: the real one and inflation together.
    flow : ndarray, shape (life + 1,)
        Value less cost.
    net_present_value : float or None
        Equal to the real one.
    internal_rate_of_return : float or None
    """

    discount_rate: float
    flow: FloatArray
    net_present_value: float | None
    internal_rate_of_return: float | None


def with_loan(flow: CashFlow, to_pay: float, terms: EconomicTerms) -> WithLoan | None:
    """Return what a flow becomes with the loan of the terms; None without one.

    Parameters
    ----------
    flow : CashFlow
        Without the loan.
    to_pay : float
        Capital cost less the grant, of which the loan is a share.
    terms : EconomicTerms
    """
    loan = terms.loan
    if loan is None or terms.price_inflation is None:
        return None
    amount = loan.share * to_pay
    of_loan = loan_flow(amount, loan.interest_rate, loan.years, terms.life_years)
    own = flow.net + real(of_loan, terms.price_inflation)
    known = terms.price_per_kwh is not None
    payback = payback_years(own, terms.discount_rate)
    return WithLoan(
        amount=amount,
        own_money=to_pay - amount,
        payment_nominal=-float(of_loan[1]),
        net_present_value=float(present_value(own, terms.discount_rate)) if known else None,
        discounted_payback_years=None if not known or np.isnan(payback) else float(payback),
    )


def in_nominal_terms(flow: CashFlow, terms: EconomicTerms) -> Nominal | None:
    """Return a flow in the money of each year; None when the terms state no inflation."""
    rate = terms.nominal_discount_rate
    if rate is None or terms.price_inflation is None:
        return None
    in_its_year = nominal(flow.net, terms.price_inflation)
    if terms.price_per_kwh is None:
        return Nominal(rate, in_its_year, None, None)
    rates = internal_rates_of_return(in_its_year)
    return Nominal(
        discount_rate=rate,
        flow=in_its_year,
        net_present_value=float(present_value(in_its_year, rate)),
        internal_rate_of_return=float(rates[0]) if rates.size == 1 else None,
    )
