"""What a build costs over its life, and whether it pays."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, IntArray, floats
from yieldest.economics.cash_flow import CashFlow, Expenditure, Nominal, WithLoan, used_kwh_cost
from yieldest.economics.measures import (
    benefit_cost_ratio,
    cost_per_kwh,
    cost_per_kwh_by_capital_recovery,
    internal_rate_of_return,
    payback_years,
    present_value,
    simple_payback_years,
)
from yieldest.economics.terms import EconomicTerms, TermLeftOut
from yieldest.frozen import frozen_dataclass
from yieldest.html_repr import html_table
from yieldest.provenance import Finding, Provenance

SAME = 1e-9
"""Two costs per kWh closer than this share are the same."""


class CapitalRecoveryDiffers(Finding):
    """By the capital recovery factor a kWh costs otherwise than discounted year by year."""

    by_capital_recovery_per_kwh: float
    discounted_per_kwh: float


class NoSingleRateOfReturn(Finding):
    """No rate makes the present value zero, or several do, for the flow changes sign often."""

    rates: int


class NotPaidBack(Finding):
    """The build is not paid back within its life, at all or at its discount rate."""

    life_years: int
    discount_rate: float | None = None


class EmbodiedNotStated(Finding):
    """Some items state no embodied energy or carbon, and count as zero."""

    figure: str
    items_without: int
    items: int


@frozen_dataclass
class ItemCost:
    """One of the items of a bill that cost most, for all the units, all labour included.

    The share is that of the capital cost.
    """

    name: str
    cost: float
    share: float


@frozen_dataclass
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
    ) -> tuple[dict[str, float], list[Finding]]:
        """Return the paybacks of `Cost` for energy and carbon, and what is missing."""
        years: dict[str, float] = {}
        found: list[Finding] = []
        if net_kwh > 0 and self.energy_kwh is not None:
            years["energy_payback_years"] = self.energy_kwh / net_kwh
            if self.items_without_energy:
                found.append(EmbodiedNotStated("energy", self.items_without_energy, self.items))
        if net_kwh > 0 and self.carbon_kg is not None:
            if terms.grid_carbon_kg_per_kwh:
                saved_kg = net_kwh * terms.grid_carbon_kg_per_kwh
                years["carbon_payback_years"] = self.carbon_kg / saved_kg
            else:
                found.append(TermLeftOut("grid_carbon_kg_per_kwh"))
            if self.items_without_carbon:
                found.append(EmbodiedNotStated("carbon", self.items_without_carbon, self.items))
        return years, found


@frozen_dataclass
class Cost:
    """What a build costs over its life; None where a value cannot be had (a warning says why).

    Real terms (today's money) but for `nominal` and the loan's payment.

    Parameters
    ----------
    capital_cost, capital_cost_without_wage : float
        Before the grant, own labour at the wage of the terms and for nothing.
    labour_hours : float
        Own work to build it.
    maintenance_per_year : float
        In the first year.
    by_group : dict of str to float
        The capital cost by group, dearest first.
    dearest : tuple of ItemCost
        The five dearest items.
    cost_per_kwh, cost_per_kwh_by_capital_recovery : float or None
        Discounted whole-life cost over discounted energy, and by the capital recovery factor.
    cost_per_used_kwh : float or None
        Cost less what sold kWh earn, over the energy that is used: the price of a bought kWh at
        which the build pays just so, where prices do not rise.
    return_to_own_labour_per_hour : float or None
        Present value without a wage, over the hours: what an hour of one's own work earns.
    simple_payback_years : float or None
        Capital cost after the grant over what the first year saves.
    payback_years, discounted_payback_years : float or None
        After which the balance stays above zero, replacements counted.
    internal_rate_of_return : float or None
        The only one; None where there is none or several.
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
    cost_per_kwh_without_wage: float | None
    return_to_own_labour_per_hour: float | None
    embodied: Embodied
    with_loan: WithLoan | None
    nominal: Nominal | None
    provenance: Provenance
    cost_per_kwh: float | None = None
    cost_per_kwh_by_capital_recovery: float | None = None
    cost_per_used_kwh: float | None = None
    benefit_cost_ratio: float | None = None
    simple_payback_years: float | None = None
    payback_years: float | None = None
    discounted_payback_years: float | None = None
    net_present_value: float | None = None
    internal_rate_of_return: float | None = None
    energy_payback_years: float | None = None
    carbon_payback_years: float | None = None

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


def measures_of_flow(
    flow: CashFlow, paid: Expenditure, net_kwh: npt.ArrayLike, terms: EconomicTerms
) -> tuple[dict[str, FloatArray], IntArray]:
    """Return the measures of `Cost` that follow from flows, NaN where there is none, for any axes.

    The flow is that of what is paid and of the net energy of the first year, on these terms. The
    second array is how many rates of return there are.
    """
    rate, to_pay = terms.discount_rate, flow.cost[..., 0]
    life, upkeep = floats(terms.life_years), paid.first_year_upkeep
    ended = np.arange(paid.replacement_costs.shape[-1]) == life[..., np.newaxis]
    later = paid.replacement_costs - ended * floats(paid.salvage_value)[..., np.newaxis]
    rates = np.zeros((), dtype=np.int64)
    measures = {
        "cost_per_kwh": cost_per_kwh(flow.cost, flow.energy_kwh, rate),
        "cost_per_kwh_by_capital_recovery": cost_per_kwh_by_capital_recovery(
            to_pay, present_value(later, rate), upkeep, net_kwh, rate, life
        ),
        "cost_per_used_kwh": used_kwh_cost(flow, terms),
    }
    if terms.price_per_kwh is not None:
        measures["net_present_value"] = present_value(flow.net, rate)
        measures["benefit_cost_ratio"] = benefit_cost_ratio(flow.value, flow.cost, rate)
        returned, rates = internal_rate_of_return(flow.net)
        of_energy = {
            "simple_payback_years": simple_payback_years(to_pay, flow.value[..., 1] - upkeep),
            "payback_years": payback_years(flow.net),
            "discounted_payback_years": payback_years(flow.net, rate),
            "internal_rate_of_return": returned,
        }
        made = floats(net_kwh) > 0
        measures |= {name: np.where(made, value, np.nan) for name, value in of_energy.items()}
    return measures, rates


def doubts_of(
    measures: Mapping[str, float | None], net_kwh: float, terms: EconomicTerms, rates: int
) -> Iterator[Finding]:
    """Yield why measures of one build cannot be had, and where two of them differ."""
    if terms.price_per_kwh is not None and net_kwh > 0:
        if rates != 1:
            yield NoSingleRateOfReturn(rates)
        if measures["payback_years"] is None:
            yield NotPaidBack(terms.life_years)
        elif measures["discounted_payback_years"] is None:
            yield NotPaidBack(terms.life_years, terms.discount_rate)
    per_kwh = measures["cost_per_kwh"]
    by_recovery = measures["cost_per_kwh_by_capital_recovery"]
    if per_kwh and by_recovery is not None and abs(by_recovery / per_kwh - 1) > SAME:
        yield CapitalRecoveryDiffers(by_recovery, per_kwh)
