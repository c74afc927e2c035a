"""The one chain, from the wind at a hub to the payback: any value may be an array of many.

One site is the case without axes; draws, swept values, sliders and the cells of a map are axes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.economics.cash_flow import CashFlow, Expenditure, flow_of, used_kwh_cost
from yieldest.economics.measures import cost_per_kwh, payback_years, present_value
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.net_energy import HubSpeeds, net_kwh_per_year


@dataclass(frozen=True)
class Machines:
    """What of a build decides its energy, at its hub and in the air there.

    Parameters
    ----------
    count : int
    wind : HubSpeeds
    speed_ms, power_w : ndarray, shape (..., n)
        Nodes of the power curve of one machine.
    loss_shares : mapping of str to array_like, shape (...)
        By category.
    idle_draw_w : float
    """

    count: int
    wind: HubSpeeds
    speed_ms: FloatArray
    power_w: FloatArray
    loss_shares: Mapping[str, npt.ArrayLike]
    idle_draw_w: float

    @property
    def kept(self) -> FloatArray:
        """The share of the gross energy that the losses leave, shape (...)."""
        shares = np.broadcast_arrays(*map(floats, self.loss_shares.values()))
        return np.asarray((1 - np.minimum(np.stack(shares, axis=-1), 1.0)).prod(axis=-1))

    def net_kwh(self, speed_factor: npt.ArrayLike = 1.0) -> FloatArray:
        """Return the net energy of a year, shape (...), in winds so many times as strong."""
        wind = self.wind.scaled(speed_factor)
        return net_kwh_per_year(
            wind, self.speed_ms, self.power_w, self.kept, self.idle_draw_w, self.count
        )


@dataclass(frozen=True)
class Prices:
    """What the money of a build follows from; None takes what the terms state.

    Parameters
    ----------
    price_per_kwh, export_price_per_kwh : array_like, shape (...), or None
    discount_rate, life_years : array_like, shape (...), or None
    bill_scale, maintenance_scale : array_like, shape (...)
        Multiply every sum of the bill, and the maintenance on top.
    """

    price_per_kwh: npt.ArrayLike | None = None
    export_price_per_kwh: npt.ArrayLike | None = None
    discount_rate: npt.ArrayLike | None = None
    life_years: npt.ArrayLike | None = None
    bill_scale: npt.ArrayLike = 1.0
    maintenance_scale: npt.ArrayLike = 1.0


AS_STATED = Prices()


def cash_flow_of(
    expenditure: Expenditure,
    net_kwh_per_year: npt.ArrayLike,
    terms: EconomicTerms,
    prices: Prices = AS_STATED,
) -> CashFlow:
    """Return what is paid and saved in each year, shape (..., years + 1).

    Parameters
    ----------
    expenditure : Expenditure
        For as many years as the longest life among `prices`.
    net_kwh_per_year : array_like, shape (...)
    terms : EconomicTerms
    prices : Prices
    """
    return flow_of(
        expenditure,
        net_kwh_per_year,
        terms,
        bill_scale=prices.bill_scale,
        maintenance_scale=prices.maintenance_scale,
        price_per_kwh=prices.price_per_kwh,
        export_price_per_kwh=prices.export_price_per_kwh,
        life_years=prices.life_years,
    )


def money_of(
    expenditure: Expenditure,
    net_kwh_per_year: npt.ArrayLike,
    terms: EconomicTerms,
    prices: Prices = AS_STATED,
) -> dict[str, FloatArray]:
    """Return the capital cost and the measures of money for any axes, as `measures_of`.

    Parameters
    ----------
    expenditure, net_kwh_per_year, terms, prices
        As for `cash_flow_of`.
    """
    capital_cost = floats(prices.bill_scale) * expenditure.capital_cost
    flow = cash_flow_of(expenditure, net_kwh_per_year, terms, prices)
    return {"capital_cost": capital_cost, **measures_of(flow, terms, prices)}


def measures_of(
    flow: CashFlow, terms: EconomicTerms, prices: Prices = AS_STATED
) -> dict[str, FloatArray]:
    """Return the measures of a cash flow for any axes.

    Parameters
    ----------
    flow : CashFlow, shape (..., years + 1)
        From `cash_flow_of` on the same terms and prices.
    terms : EconomicTerms
    prices : Prices

    Returns
    -------
    dict of str to ndarray, shape (...)
        NaN for a payback that never comes and for the cost of no energy. What needs a price that
        is not stated is left out, and so is the cost per used kWh where all are used.
    """
    rate = terms.discount_rate if prices.discount_rate is None else floats(prices.discount_rate)
    found = {"cost_per_kwh": cost_per_kwh(flow.cost, flow.energy_kwh, rate)}
    if terms.self_consumption_share < 1:
        found["cost_per_used_kwh"] = used_kwh_cost(flow, terms, rate)
    if terms.price_per_kwh is not None or prices.price_per_kwh is not None:
        found["payback_years"] = payback_years(flow.net)
        found["discounted_payback_years"] = payback_years(flow.net, rate)
        found["net_present_value"] = present_value(flow.net, rate)
    return found
