"""A bill and the terms laid out over the years of a build, and what a kWh then costs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats, number_or_none
from yieldest.economics.bill_of_materials import BillOfMaterials, Expenditure
from yieldest.economics.cash_flow import CashFlow, cash_flow
from yieldest.economics.measures import cost_per_kwh
from yieldest.economics.terms import EconomicTerms


def expenditure_of(
    bill: BillOfMaterials, count: int, terms: EconomicTerms, wage_per_hour: float | None = None
) -> Expenditure:
    """Return what a bill comes to by year, with the share of the capital cost for upkeep.

    Parameters
    ----------
    bill : BillOfMaterials
    count : int
    terms : EconomicTerms
    wage_per_hour : float, optional
        Instead of that of the terms.
    """
    wage = terms.wage_per_hour if wage_per_hour is None else wage_per_hour
    expenditure = bill.expenditure(count, wage, terms.life_years)
    if bill.states_maintenance and not terms.states("maintenance_share_per_year"):
        return expenditure
    share = terms.maintenance_share_per_year * expenditure.capital_cost
    return replace(expenditure, maintenance_per_year=expenditure.maintenance_per_year + share)


def flow_of(
    expenditure: Expenditure,
    net_kwh_per_year: npt.ArrayLike,
    terms: EconomicTerms,
    *,
    bill_scale: npt.ArrayLike = 1.0,
    maintenance_scale: npt.ArrayLike = 1.0,
    price_per_kwh: npt.ArrayLike | None = None,
    export_price_per_kwh: npt.ArrayLike | None = None,
    life_years: npt.ArrayLike | None = None,
) -> CashFlow:
    """Lay out the years of a build on the terms of a plan.

    Parameters
    ----------
    expenditure : Expenditure
        From `expenditure_of`.
    net_kwh_per_year : array_like, shape (...)
        Of the first year.
    terms : EconomicTerms
    bill_scale : array_like, shape (...)
        Multiplies every sum of the expenditure.
    maintenance_scale : array_like, shape (...)
        Multiplies the upkeep on top.
    price_per_kwh, export_price_per_kwh : array_like, shape (...), optional
        Instead of those of the terms.
    life_years : array_like, shape (...), optional
        Instead of all the years of the expenditure; at most so many.
    """
    scale = floats(bill_scale)
    price = (terms.price_per_kwh or 0.0) if price_per_kwh is None else price_per_kwh
    return cash_flow(
        scale * expenditure.capital_cost,
        scale[..., np.newaxis] * expenditure.replacement_costs,
        scale * floats(maintenance_scale) * expenditure.maintenance_per_year,
        net_kwh_per_year,
        price,
        maintenance_in_years=(scale * floats(maintenance_scale))[..., np.newaxis]
        * expenditure.maintenance_in_years,
        salvage_value=scale * expenditure.salvage_value,
        grant=grant_of(scale * expenditure.capital_cost, terms),
        self_consumption_share=terms.self_consumption_share,
        export_price_per_kwh=(
            terms.export_price_per_kwh if export_price_per_kwh is None else export_price_per_kwh
        ),
        real_price_escalation_per_year=terms.real_price_escalation_per_year,
        degradation_per_year=terms.degradation_per_year,
        life_years=life_years,
    )


def cost_of_a_kwh(
    expenditure: Expenditure, net_kwh_per_year: float, terms: EconomicTerms
) -> float | None:
    """Return discounted whole-life cost over discounted energy; None where there is no energy."""
    flow = flow_of(expenditure, net_kwh_per_year, terms)
    return number_or_none(cost_per_kwh(flow.cost, flow.energy_kwh, terms.discount_rate))


def used_kwh_cost(
    flow: CashFlow, terms: EconomicTerms, discount_rate: npt.ArrayLike | None = None
) -> FloatArray:
    """Return cost less what sold kWh earn over the energy used, both discounted; NaN for none.

    A kWh that is dumped or sold is none that would have been bought, so where some are, this and
    not the cost of every kWh made is what to set against the price of a bought one.

    Parameters
    ----------
    flow : CashFlow, shape (..., years + 1)
        From `flow_of` on the same terms.
    terms : EconomicTerms
    discount_rate : array_like, shape (...), optional
        Instead of that of the terms.

    Notes
    -----
    Short, Packey & Holt 1995 (see `measures.present_value`): the levelised cost, with what is sold
    as a credit to the cost.
    """
    rate = terms.discount_rate if discount_rate is None else discount_rate
    return cost_per_kwh(flow.cost - flow.sold, flow.energy_kwh * terms.self_consumption_share, rate)


def grant_of(capital_cost: FloatArray, terms: EconomicTerms) -> FloatArray:
    """Return the grant, which never exceeds what is paid.

    Parameters
    ----------
    capital_cost : ndarray, shape (...)
        In the money of the terms.
    terms : EconomicTerms

    Returns
    -------
    ndarray, shape (...)
    """
    return np.minimum(terms.grant + terms.grant_share * capital_cost, capital_cost)
