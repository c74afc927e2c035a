"""The money end of the one chain, from the net energy to the payback: any value may be an array.

One site is the case without axes; draws, swept values, sliders and the cells of a map are axes.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.economics.cash_flow import (
    AS_STATED,
    CashFlow,
    Expenditure,
    Prices,
    cash_flow,
    used_kwh_cost,
)
from yieldest.economics.measures import cost_per_kwh, discounted, payback_years
from yieldest.economics.terms import EconomicTerms


def money_of(
    expenditure: Expenditure,
    net_kwh_per_year: npt.ArrayLike,
    terms: EconomicTerms,
    prices: Prices = AS_STATED,
) -> dict[str, FloatArray]:
    """Return the capital cost and the measures of money for any axes, as `measures_of`."""
    capital_cost = floats(prices.bill_scale) * expenditure.capital_cost
    flow = cash_flow(expenditure, net_kwh_per_year, terms, prices)
    return {"capital_cost": capital_cost, **measures_of(flow, terms, prices)}


def measures_of(
    flow: CashFlow, terms: EconomicTerms, prices: Prices = AS_STATED
) -> dict[str, FloatArray]:
    """Return the measures of a cash flow on the same terms and prices, for any axes.

    NaN for a payback that never comes and for the cost of no energy. What needs a price that is not
    stated is left out, and so is the cost per used kWh where all are used.
    """
    rate = terms.discount_rate if prices.discount_rate is None else floats(prices.discount_rate)
    found = {"cost_per_kwh": cost_per_kwh(flow.cost, flow.energy_kwh, rate)}
    if terms.self_consumption_share < 1:
        used = prices.self_consumption_share
        found["cost_per_used_kwh"] = used_kwh_cost(flow, terms, rate, used)
    if terms.price_per_kwh is not None or prices.price_per_kwh is not None:
        net = flow.net
        found["payback_years"] = payback_years(net)
        net = discounted(net, rate)
        found["discounted_payback_years"] = payback_years(net)
        found["net_present_value"] = np.asarray(net.sum(axis=-1))
    return found
