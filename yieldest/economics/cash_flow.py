"""What is paid and saved in each year of a build's life, without and with a loan."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.economics.measures import (
    capital_recovery_factor,
    cost_per_kwh,
    internal_rate_of_return,
    payback_years,
    present_value,
)
from yieldest.economics.terms import EconomicTerms
from yieldest.frozen import frozen_dataclass
from yieldest.html_repr import html_table

if TYPE_CHECKING:
    import pandas as pd


@frozen_dataclass
class Expenditure:
    """What is paid and got back for the parts of a build, by year, before any grant or loan.

    The capital cost is that of parts, paid labour, and own labour at the wage. Replacements, less
    the scrap value of what they replace, and upkeep in single years (on top of that of each year)
    have shape (..., life + 1), all else (...). Salvage is below zero where clearing away costs
    money.
    """

    capital_cost: float | FloatArray
    replacement_costs: FloatArray
    maintenance_per_year: float | FloatArray
    maintenance_in_years: FloatArray
    salvage_value: float | FloatArray

    @property
    def first_year_upkeep(self) -> FloatArray:
        """What upkeep comes to in the first year."""
        return np.asarray(self.maintenance_per_year + self.maintenance_in_years[..., 1])

    def one(self, place: int, years: slice) -> Expenditure:
        """Return that of one of n variants, for the years of its life."""
        return Expenditure(
            float(floats(self.capital_cost)[place]),
            self.replacement_costs[place, years],
            float(floats(self.maintenance_per_year)[place]),
            self.maintenance_in_years[place, years],
            float(floats(self.salvage_value)[place]),
        )


@frozen_dataclass
class CashFlow:
    """Costs, energy and value by year, in real terms (today's money), at year ends.

    All have shape (..., years + 1). The cost is the capital less the grant in year 0, then upkeep
    and replacements, and in the last year less what the parts bring. The net energy is zero in year
    0; `value` is what it is worth, `sold` the part of that which sold kWh earn.
    """

    cost: FloatArray
    energy_kwh: FloatArray
    value: FloatArray
    sold: FloatArray

    @property
    def net(self) -> FloatArray:
        """Value less cost by year, shape (..., years + 1)."""
        return self.value - self.cost

    def one(self, place: int, years: slice) -> CashFlow:
        """Return that of one of n variants, for the years of its life."""
        return CashFlow(*(sums[place, years] for sums in vars(self).values()))

    def to_frame(self) -> pd.DataFrame:
        """Return the sums of a single build, a row for each year."""
        import pandas as pd  # noqa: PLC0415 - slow to import, and not needed for the sums

        columns = {name: getattr(self, name) for name in ("cost", "energy_kwh", "value", "net")}
        return pd.DataFrame(columns).rename_axis("year")

    def _repr_html_(self) -> str:
        """Show the sums of a single build in a notebook."""
        rows = self.to_frame().map("{:.4g}".format)
        return html_table(
            "Cash flow in today's money",
            [[str(year), *row] for year, *row in rows.itertuples()],
            heads=["paid", "kWh", "worth", "worth less paid"],
        )


@frozen_dataclass
class Prices:
    """What the money of a build follows from; None takes what the terms state.

    Parameters
    ----------
    price_per_kwh, export_price_per_kwh : array_like, shape (...), or None
    self_consumption_share : array_like, shape (...), or None
    discount_rate, life_years : array_like, shape (...), or None
        The life is at most the years of the expenditure, which None takes.
    bill_scale, maintenance_scale : array_like, shape (...)
        Multiply every sum of the bill, and the maintenance on top.
    """

    price_per_kwh: npt.ArrayLike | None = None
    export_price_per_kwh: npt.ArrayLike | None = None
    self_consumption_share: npt.ArrayLike | None = None
    discount_rate: npt.ArrayLike | None = None
    life_years: npt.ArrayLike | None = None
    bill_scale: npt.ArrayLike = 1.0
    maintenance_scale: npt.ArrayLike = 1.0


AS_STATED = Prices()


def cash_flow(
    expenditure: Expenditure,
    net_kwh_per_year: npt.ArrayLike,
    terms: EconomicTerms,
    prices: Prices = AS_STATED,
) -> CashFlow:
    """Lay out costs, energy and value over the years of an expenditure.

    After its life nothing is paid or made, and in its last year nothing is replaced. The share used
    saves the price of a kWh, the rest earns the export price; both prices rise and the output falls
    from the second year on.

    Parameters
    ----------
    expenditure : Expenditure
        For as many years as the longest life among `prices`.
    net_kwh_per_year : array_like, shape (...)
        Of the first year.
    terms : EconomicTerms
    prices : Prices
    """

    def yearly(values: npt.ArrayLike) -> FloatArray:
        return floats(values)[..., np.newaxis]

    def stated(value: npt.ArrayLike | None, otherwise: npt.ArrayLike) -> FloatArray:
        return floats(otherwise if value is None else value)

    year = np.arange(np.shape(expenditure.replacement_costs)[-1])
    last = yearly(stated(prices.life_years, year[-1]))
    running, ended = (year >= 1) & (year <= last), year == last
    scale = yearly(prices.bill_scale)
    capital = floats(prices.bill_scale) * expenditure.capital_cost
    upkeep = yearly(expenditure.maintenance_per_year) + expenditure.maintenance_in_years
    cost = yearly(capital - grant_of(capital, terms)) * (year == 0) + scale * (
        expenditure.replacement_costs * (running & ~ended)
        + yearly(prices.maintenance_scale) * upkeep * running
        - yearly(expenditure.salvage_value) * ended
    )
    age = np.maximum(year - 1, 0)
    energy = yearly(net_kwh_per_year) * (1 - yearly(terms.degradation_per_year)) ** age * running
    risen = energy * (1 + yearly(terms.real_price_escalation_per_year)) ** age
    bought = 0.0 if terms.price_per_kwh is None else terms.price_per_kwh
    price = stated(prices.price_per_kwh, bought)
    export_price = stated(prices.export_price_per_kwh, terms.export_price_per_kwh)
    used = stated(prices.self_consumption_share, terms.self_consumption_share)
    sold = risen * yearly((1 - used) * export_price)
    saved = risen * yearly(used * price)
    return CashFlow(cost=cost, energy_kwh=energy, value=saved + sold, sold=sold)


def cost_of_a_kwh(
    expenditure: Expenditure,
    net_kwh_per_year: npt.ArrayLike,
    terms: EconomicTerms,
    prices: Prices = AS_STATED,
) -> FloatArray:
    """Return discounted whole-life cost over discounted energy; NaN where there is no energy."""
    flow = cash_flow(expenditure, net_kwh_per_year, terms, prices)
    return cost_per_kwh(flow.cost, flow.energy_kwh, terms.discount_rate)


def used_kwh_cost(
    flow: CashFlow,
    terms: EconomicTerms,
    discount_rate: npt.ArrayLike | None = None,
    used_share: npt.ArrayLike | None = None,
) -> FloatArray:
    """Return cost less what sold kWh earn over the energy used, both discounted; NaN for none.

    A kWh that is dumped or sold is none that would have been bought, so where some are, this and
    not the cost of every kWh made is what to set against the price of a bought one. It is the
    levelised cost with what is sold as a credit to it (Short, Packey & Holt 1995). A rate and a
    share given stand instead of those of the terms.
    """
    rate = terms.discount_rate if discount_rate is None else discount_rate
    share = floats(terms.self_consumption_share if used_share is None else used_share)
    return cost_per_kwh(flow.cost - flow.sold, flow.energy_kwh * share[..., np.newaxis], rate)


def grant_of(capital_cost: FloatArray, terms: EconomicTerms) -> FloatArray:
    """Return the grant, which never exceeds what is paid, in the shape of the capital cost."""
    return np.minimum(terms.grant + terms.grant_share * capital_cost, capital_cost)


def nominal(real_flow: npt.ArrayLike, inflation: npt.ArrayLike) -> FloatArray:
    """Return a flow, shape (..., years + 1), in the money of each year from today's money."""
    flow = floats(real_flow)
    return np.asarray(flow * (1 + floats(inflation)[..., np.newaxis]) ** np.arange(flow.shape[-1]))


def real(nominal_flow: npt.ArrayLike, inflation: npt.ArrayLike) -> FloatArray:
    """Return a flow in today's money from one in the money of each year; undoes `nominal`."""
    return nominal(nominal_flow, 1 / (1 + floats(inflation)) - 1)


def loan_flow(
    amount: npt.ArrayLike, interest_rate: npt.ArrayLike, years: npt.ArrayLike, life_years: int
) -> FloatArray:
    """Return what a loan brings and takes by year, shape (..., life + 1), in money of each year.

    Above zero in year 0, below it in years 1 to `years`. The payment is the amount, shape (...),
    times the capital recovery factor at the loan's own nominal rate (Short, Packey & Holt 1995).
    """
    year = np.arange(life_years + 1)
    payment = floats(amount) * capital_recovery_factor(interest_rate, years)
    received = floats(amount)[..., np.newaxis] * (year == 0)
    paid = payment[..., np.newaxis] * ((year >= 1) & (year <= floats(years)[..., np.newaxis]))
    return np.asarray(received - paid)


@frozen_dataclass
class WithLoan:
    """The same build paid for with a loan, in today's money unless called nominal.

    One's own money is paid at once beside the loan; the payment falls due each year, in the money
    of that year; the payback is that of one's own money.
    """

    amount: float
    own_money: float
    payment_nominal: float
    net_present_value: float | None
    discounted_payback_years: float | None


@frozen_dataclass
class Nominal:
    """The same flow (value less cost, shape (life + 1,)) in the money of each year.

    The discount rate takes in the real one and inflation; the present value equals the real one.
    """

    discount_rate: float
    flow: FloatArray
    net_present_value: float | None
    internal_rate_of_return: float | None


def with_loan(flow: CashFlow, terms: EconomicTerms) -> dict[str, FloatArray]:
    """Return by name what `WithLoan` holds, for any axes; nothing without a loan."""
    loan, rate = terms.loan, terms.discount_rate
    if loan is None or terms.price_inflation is None:
        return {}
    to_pay = flow.cost[..., 0]
    amount, years = loan.share * to_pay, flow.cost.shape[-1] - 1
    of_loan = loan_flow(amount, loan.interest_rate, loan.years, years)
    own = flow.net + real(of_loan, terms.price_inflation)
    unknown = np.asarray(np.nan)
    known = terms.price_per_kwh is not None
    return {
        "amount": amount,
        "own_money": to_pay - amount,
        "payment_nominal": -of_loan[..., 1],
        "net_present_value": present_value(own, rate) if known else unknown,
        "discounted_payback_years": payback_years(own, rate) if known else unknown,
    }


def in_nominal_terms(flow: CashFlow, terms: EconomicTerms) -> dict[str, FloatArray]:
    """Return by name what `Nominal` holds, for any axes; nothing where no inflation is stated."""
    rate = terms.nominal_discount_rate
    if rate is None or terms.price_inflation is None:
        return {}
    in_its_year = nominal(flow.net, terms.price_inflation)
    worth = of_return = np.asarray(np.nan)
    if terms.price_per_kwh is not None:
        worth, (of_return, _) = (
            present_value(in_its_year, rate),
            internal_rate_of_return(in_its_year),
        )
    return {
        "discount_rate": floats(rate),
        "flow": in_its_year,
        "net_present_value": worth,
        "internal_rate_of_return": of_return,
    }
