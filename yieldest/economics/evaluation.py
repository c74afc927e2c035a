"""What a build costs over its life, and whether it pays."""

from __future__ import annotations

from dataclasses import dataclass

from yieldest.arrays import number_or_none
from yieldest.economics.cash_flow import CashFlow, Expenditure, Nominal, WithLoan
from yieldest.economics.measures import (
    benefit_cost_ratio,
    internal_rates_of_return,
    payback_years,
    present_value,
    simple_payback_years,
)
from yieldest.economics.terms import EconomicTerms
from yieldest.html_repr import html_table
from yieldest.provenance import Finding, Provenance


@dataclass(frozen=True)
class CapitalRecoveryDiffers(Finding):
    """By the capital recovery factor a kWh costs otherwise than discounted year by year."""

    by_capital_recovery_per_kwh: float
    discounted_per_kwh: float


@dataclass(frozen=True)
class NoRateOfReturn(Finding):
    """No rate of return makes the present value zero."""


@dataclass(frozen=True)
class SeveralRatesOfReturn(Finding):
    """The flow changes sign more than once, and several rates make its present value zero."""

    rates: int


@dataclass(frozen=True)
class NeverPaidBack(Finding):
    """The build is not paid back within its life."""

    life_years: int


@dataclass(frozen=True)
class NotPaidBackDiscounted(Finding):
    """The build is paid back within its life, but not at its discount rate."""

    discount_rate: float
    life_years: int


@dataclass(frozen=True)
class EmbodiedNotStated(Finding):
    """Some items state no embodied energy or carbon, and count as zero."""

    figure: str
    items_without: int
    items: int


@dataclass(frozen=True)
class NoGridCarbon(Finding):
    """Without the carbon of a bought kWh there is no carbon payback."""


@dataclass(frozen=True)
class ItemCost:
    """One of the items of a bill that cost most, for all the units, all labour included.

    The share is that of the capital cost.
    """

    name: str
    cost: float
    share: float


@dataclass(frozen=True)
class Embodied:
    """What making the parts took, replacements over the life of the build included.

    None where no item states a figure; items that state none beside others count as zero.
    """

    items: int
    energy_kwh: float | None
    carbon_kg: float | None
    items_without_energy: int
    items_without_carbon: int

    def paybacks(
        self, net_kwh: float, terms: EconomicTerms
    ) -> tuple[float | None, float | None, list[Finding]]:
        """Return the years in which net energy pays back energy and carbon, and what is missing."""
        energy = carbon = None
        found: list[Finding] = []
        if net_kwh <= 0:
            return None, None, found
        if self.energy_kwh is not None:
            energy = self.energy_kwh / net_kwh
            if self.items_without_energy:
                found.append(EmbodiedNotStated("energy", self.items_without_energy, self.items))
        if self.carbon_kg is not None:
            if terms.grid_carbon_kg_per_kwh:
                carbon = self.carbon_kg / (net_kwh * terms.grid_carbon_kg_per_kwh)
            else:
                found.append(NoGridCarbon())
            if self.items_without_carbon:
                found.append(EmbodiedNotStated("carbon", self.items_without_carbon, self.items))
        return energy, carbon, found


@dataclass(frozen=True)
class Cost:
    """What a build costs over its life; None where a value cannot be had (a warning says why).

    Real terms (today's money) but for `nominal` and the loan's payment.

    Parameters
    ----------
    capital_cost : float
        Own labour at the wage of the terms included, before the grant.
    capital_cost_without_wage : float
        The same with own labour for nothing.
    labour_hours : float
        Own work to build it.
    maintenance_per_year : float
        In the first year.
    by_group : dict of str to float
        The capital cost by group, dearest first.
    dearest : tuple of ItemCost
        The five dearest items.
    expenditure : Expenditure
        Upkeep as a share of the capital cost included.
    cost_per_kwh : float or None
        Discounted whole-life cost over discounted energy.
    cost_per_kwh_by_capital_recovery : float or None
        By the capital recovery factor.
    cost_per_used_kwh : float or None
        Cost less what sold kWh earn, over the energy that is used: the price of a bought kWh at
        which the build pays just so, where prices do not rise.
    simple_payback_years : float or None
        Capital cost after the grant over what the first year saves.
    payback_years, discounted_payback_years : float or None
        After which the balance stays above zero, replacements counted.
    internal_rate_of_return : float or None
        The only one; None where there is none or several.
    return_to_own_labour_per_hour : float or None
        Present value without a wage, over the hours: what an hour of one's own work earns.
    energy_payback_years, carbon_payback_years : float or None
        Embodied figure over what a year's energy makes or saves.
    """

    capital_cost: float
    capital_cost_without_wage: float
    grant: float
    labour_hours: float
    maintenance_per_year: float
    by_group: dict[str, float]
    dearest: tuple[ItemCost, ...]
    expenditure: Expenditure
    flow: CashFlow
    cost_per_kwh: float | None
    cost_per_kwh_without_wage: float | None
    cost_per_kwh_by_capital_recovery: float | None
    cost_per_used_kwh: float | None
    return_to_own_labour_per_hour: float | None
    energy_payback_years: float | None
    carbon_payback_years: float | None
    embodied: Embodied
    with_loan: WithLoan | None
    nominal: Nominal | None
    provenance: Provenance
    benefit_cost_ratio: float | None = None
    simple_payback_years: float | None = None
    payback_years: float | None = None
    discounted_payback_years: float | None = None
    net_present_value: float | None = None
    internal_rate_of_return: float | None = None

    def _repr_html_(self) -> str:
        """Show the main figures in a notebook."""
        shown = {
            "capital cost": self.capital_cost,
            "cost of a kWh (levelised)": self.cost_per_kwh,
            "net present value": self.net_present_value,
            "simple payback, years": self.simple_payback_years,
            "payback with replacements, years": self.payback_years,
            "real rate of return": self.internal_rate_of_return,
        }
        return html_table(
            "Cost over the life, in today's money",
            [[words, "" if value is None else f"{value:.4g}"] for words, value in shown.items()],
        )


def measures_with_price(
    flow: CashFlow, to_pay: float, first_year: float, net_kwh: float, terms: EconomicTerms
) -> tuple[dict[str, float | None], list[Finding]]:
    """Return the measures of `Cost` that need a price, as far as they can be had, and why not."""
    measures: dict[str, float | None] = {}
    if terms.price_per_kwh is None:
        return measures, []
    rate = terms.discount_rate
    measures["net_present_value"] = float(present_value(flow.net, rate))
    measures["benefit_cost_ratio"] = number_or_none(benefit_cost_ratio(flow.value, flow.cost, rate))
    if net_kwh <= 0:
        return measures, []
    found: list[Finding] = []
    saved = float(flow.value[1]) - first_year
    payback = number_or_none(payback_years(flow.net))
    discounted = number_or_none(payback_years(flow.net, rate))
    rates = internal_rates_of_return(flow.net)
    if rates.size == 1:
        measures["internal_rate_of_return"] = float(rates[0])
    else:
        found.append(SeveralRatesOfReturn(rates.size) if rates.size else NoRateOfReturn())
    if payback is None:
        found.append(NeverPaidBack(terms.life_years))
    elif discounted is None:
        found.append(NotPaidBackDiscounted(rate, terms.life_years))
    measures["simple_payback_years"] = number_or_none(simple_payback_years(to_pay, saved))
    measures["payback_years"] = payback
    measures["discounted_payback_years"] = discounted
    return measures, found
