"""A bill and the terms laid out over the years of a build, and what a kWh then costs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats, number_or_none
from yieldest.economics.bill_of_materials import Bill, Outlay
from yieldest.economics.cash_flow import CashFlow, cash_flow
from yieldest.economics.measures import cost_per_kwh
from yieldest.economics.terms import MoneyTerms


def outlay_of(
    bill: Bill, count: int, terms: MoneyTerms, wage_per_hour: float | None = None
) -> Outlay:
    """Return what a bill comes to by year, with the share of the capital cost for upkeep.

    Parameters
    ----------
    bill : Bill
    count : int
    terms : MoneyTerms
    wage_per_hour : float, optional
        Instead of that of the terms.
    """
    wage = terms.wage_per_hour if wage_per_hour is None else wage_per_hour
    outlay = bill.outlay(count, wage, terms.life_years)
    if bill.states_upkeep and not terms.upkeep_share_stated:
        return outlay
    share = terms.upkeep_share_per_year * outlay.capital_cost
    return replace(outlay, upkeep_per_year=outlay.upkeep_per_year + share)


def flow_of(
    outlay: Outlay,
    net_kwh_per_year: npt.ArrayLike,
    terms: MoneyTerms,
    *,
    bill_scale: npt.ArrayLike = 1.0,
    upkeep_scale: npt.ArrayLike = 1.0,
    price_per_kwh: npt.ArrayLike | None = None,
    export_price_per_kwh: npt.ArrayLike | None = None,
    life_years: npt.ArrayLike | None = None,
) -> CashFlow:
    """Lay out the years of a build on the terms of a plan.

    Parameters
    ----------
    outlay : Outlay
        From `outlay_of`.
    net_kwh_per_year : array_like, shape (...)
        Of the first year.
    terms : MoneyTerms
    bill_scale : array_like, shape (...)
        Multiplies every sum of the outlay.
    upkeep_scale : array_like, shape (...)
        Multiplies the upkeep on top.
    price_per_kwh, export_price_per_kwh : array_like, shape (...), optional
        Instead of those of the terms.
    life_years : array_like, shape (...), optional
        Instead of all the years of the outlay; at most so many.
    """
    scale = floats(bill_scale)
    price = (terms.price_per_kwh or 0.0) if price_per_kwh is None else price_per_kwh
    return cash_flow(
        scale * outlay.capital_cost,
        scale[..., np.newaxis] * outlay.replacement_costs,
        scale * floats(upkeep_scale) * outlay.upkeep_per_year,
        net_kwh_per_year,
        price,
        upkeep_in_years=(scale * floats(upkeep_scale))[..., np.newaxis] * outlay.upkeep_in_years,
        salvage_value=scale * outlay.salvage_value,
        grant=grant_of(scale * outlay.capital_cost, terms),
        used_share=terms.used_share,
        export_price_per_kwh=(
            terms.export_price_per_kwh if export_price_per_kwh is None else export_price_per_kwh
        ),
        price_rise_per_year=terms.price_rise_per_year,
        degradation_per_year=terms.degradation_per_year,
        life_years=life_years,
    )


def cost_of_a_kwh(outlay: Outlay, net_kwh_per_year: float, terms: MoneyTerms) -> float | None:
    """Return discounted whole-life cost over discounted energy; None where there is no energy."""
    flow = flow_of(outlay, net_kwh_per_year, terms)
    return number_or_none(cost_per_kwh(flow.cost, flow.energy_kwh, terms.discount_rate))


def used_kwh_cost(
    flow: CashFlow, terms: MoneyTerms, discount_rate: npt.ArrayLike | None = None
) -> FloatArray:
    """Return cost less what sold kWh earn over the energy used, both discounted; NaN for none.

    A kWh that is dumped or sold is none that would have been bought, so where some are, this and
    not the cost of every kWh made is what to set against the price of a bought one.

    Parameters
    ----------
    flow : CashFlow, shape (..., years + 1)
        From `flow_of` on the same terms.
    terms : MoneyTerms
    discount_rate : array_like, shape (...), optional
        Instead of that of the terms.

    Notes
    -----
    Short, Packey & Holt 1995 (see `measures.present_value`): the levelised cost, with what is sold
    as a credit to the cost.
    """
    rate = terms.discount_rate if discount_rate is None else discount_rate
    return cost_per_kwh(flow.cost - flow.sold, flow.energy_kwh * terms.used_share, rate)


def grant_of(capital_cost: FloatArray, terms: MoneyTerms) -> FloatArray:
    """Return the grant, which never exceeds what is paid.

    Parameters
    ----------
    capital_cost : ndarray, shape (...)
        In the money of the terms.
    terms : MoneyTerms

    Returns
    -------
    ndarray, shape (...)
    """
    return np.minimum(terms.grant + terms.grant_share * capital_cost, capital_cost)
