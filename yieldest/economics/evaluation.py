"""What a build costs over its life, and whether it pays."""

from __future__ import annotations

from dataclasses import dataclass

from yieldest.arrays import FloatArray, floats, number_or_none
from yieldest.economics.bill_of_materials import BillOfMaterials, Dear, Embodied, Expenditure
from yieldest.economics.cash_flow import CashFlow
from yieldest.economics.financing import Nominal, WithLoan, in_nominal_terms, with_loan
from yieldest.economics.measures import (
    benefit_cost_ratio,
    cost_per_kwh_by_capital_recovery,
    internal_rates_of_return,
    payback_years,
    present_value,
)
from yieldest.economics.terms import EconomicTerms
from yieldest.economics.yearly_sums import (
    cost_of_a_kwh,
    expenditure_of,
    flow_of,
    grant_of,
    used_kwh_cost,
)
from yieldest.provenance import Provenance

SAME = 1e-9
"""Two costs per kWh closer than this share are the same."""


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
    grant : float
    labour_hours : float
        Own work to build it.
    maintenance_per_year : float
        In the first year.
    by_group : dict of str to float
        The capital cost by group, dearest first.
    dearest : tuple of Dear
        The five dearest items.
    expenditure : Expenditure
        Upkeep as a share of the capital cost included.
    flow : CashFlow
    cost_per_kwh : float or None
        Discounted whole-life cost over discounted energy.
    cost_per_kwh_without_wage : float or None
    cost_per_kwh_by_capital_recovery : float or None
        By the capital recovery factor.
    cost_per_used_kwh : float or None
        Cost less what sold kWh earn, over the energy that is used: the price of a bought kWh at
        which the build pays just so, where prices do not rise.
    benefit_cost_ratio : float or None
    payback_years, discounted_payback_years : float or None
    net_present_value : float or None
    internal_rate_of_return : float or None
        The only one; None where there is none or several.
    return_to_own_labour_per_hour : float or None
        Present value without a wage, over the hours: what an hour of one's own work earns.
    energy_payback_years, carbon_payback_years : float or None
        Embodied figure over what a year's energy makes or saves.
    embodied : Embodied
    with_loan : WithLoan or None
    nominal : Nominal or None
    provenance : Provenance
    """

    capital_cost: float
    capital_cost_without_wage: float
    grant: float
    labour_hours: float
    maintenance_per_year: float
    by_group: dict[str, float]
    dearest: tuple[Dear, ...]
    expenditure: Expenditure
    flow: CashFlow
    cost_per_kwh: float | None
    cost_per_kwh_without_wage: float | None
    cost_per_kwh_by_capital_recovery: float | None
    cost_per_used_kwh: float | None
    benefit_cost_ratio: float | None
    payback_years: float | None
    discounted_payback_years: float | None
    net_present_value: float | None
    internal_rate_of_return: float | None
    return_to_own_labour_per_hour: float | None
    energy_payback_years: float | None
    carbon_payback_years: float | None
    embodied: Embodied
    with_loan: WithLoan | None
    nominal: Nominal | None
    provenance: Provenance


def evaluate(
    bill: BillOfMaterials, count: int, net_kwh_per_year: float, terms: EconomicTerms
) -> Cost:
    """Return what a build of `count` machines costs and earns.

    Parameters
    ----------
    bill : BillOfMaterials
    count : int
    net_kwh_per_year : float
        Of all the machines together, in the first year.
    terms : EconomicTerms

    Raises
    ------
    InputError
        When the terms ask for the life of every item and one states none.
    """
    if terms.item_life == "required":
        bill.require_lives()
    rate = terms.discount_rate
    expenditure = expenditure_of(bill, count, terms)
    unpaid = expenditure_of(bill, count, terms, wage_per_hour=0.0)
    flow, unpaid_flow = (flow_of(each, net_kwh_per_year, terms) for each in (expenditure, unpaid))
    hours = bill.labour_hours(count)
    grant = float(grant_of(floats(expenditure.capital_cost), terms))
    per_kwh = cost_of_a_kwh(expenditure, net_kwh_per_year, terms)
    warnings: list[str] = []
    simple = discounted = value = return_rate = ratio = per_hour = None
    if terms.price_per_kwh is not None:
        value = float(present_value(flow.net, rate))
        ratio = number_or_none(benefit_cost_ratio(flow.value, flow.cost, rate))
        if hours > 0:
            per_hour = float(present_value(unpaid_flow.net, rate)) / hours
        if net_kwh_per_year > 0:
            simple = number_or_none(payback_years(flow.net))
            discounted = number_or_none(payback_years(flow.net, rate))
            return_rate = _only_rate(flow.net, warnings)
            warnings += _never(simple, discounted, terms)
    by_recovery = _by_recovery(expenditure, grant, net_kwh_per_year, terms)
    if per_kwh is not None and by_recovery is not None:
        gap = by_recovery / per_kwh - 1 if per_kwh else 0.0
        if abs(gap) > SAME:
            warnings.append(
                f"By the capital recovery factor a kWh costs {by_recovery:.3g}, "
                f"{100 * abs(gap):.1f} % {'more' if gap > 0 else 'less'} than the discounted "
                f"{per_kwh:.3g}, for that form takes the first year's output and upkeep for every "
                "year's."
            )
    embodied = bill.embodied(count, terms.life_years)
    energy_payback, carbon_payback = _embodied_paybacks(
        embodied, len(bill.items), net_kwh_per_year, terms, warnings
    )
    return Cost(
        capital_cost=expenditure.capital_cost,
        capital_cost_without_wage=unpaid.capital_cost,
        grant=grant,
        labour_hours=hours,
        maintenance_per_year=expenditure.maintenance_per_year
        + float(expenditure.maintenance_in_years[1]),
        by_group=bill.cost_by_group(count, terms.wage_per_hour),
        dearest=bill.dearest(count, terms.wage_per_hour),
        expenditure=expenditure,
        flow=flow,
        cost_per_kwh=per_kwh,
        cost_per_kwh_without_wage=cost_of_a_kwh(unpaid, net_kwh_per_year, terms),
        cost_per_kwh_by_capital_recovery=by_recovery,
        cost_per_used_kwh=number_or_none(used_kwh_cost(flow, terms)),
        benefit_cost_ratio=ratio,
        payback_years=simple,
        discounted_payback_years=discounted,
        net_present_value=value,
        internal_rate_of_return=return_rate,
        return_to_own_labour_per_hour=per_hour,
        energy_payback_years=energy_payback,
        carbon_payback_years=carbon_payback,
        embodied=embodied,
        with_loan=with_loan(flow, expenditure.capital_cost - grant, terms),
        nominal=in_nominal_terms(flow, terms),
        provenance=Provenance(
            bill.provenance.source,
            "discounted whole-life cost over discounted energy (Short, Packey & Holt 1995)",
            warnings=tuple(warnings),
        ),
    )


def _by_recovery(
    expenditure: Expenditure, grant: float, net_kwh_per_year: float, terms: EconomicTerms
) -> float | None:
    later = expenditure.replacement_costs.copy()
    later[-1] -= expenditure.salvage_value
    return number_or_none(
        cost_per_kwh_by_capital_recovery(
            expenditure.capital_cost - grant,
            present_value(later, terms.discount_rate),
            expenditure.maintenance_per_year + expenditure.maintenance_in_years[1],
            net_kwh_per_year,
            terms.discount_rate,
            terms.life_years,
        )
    )


def _only_rate(net_flow: FloatArray, warnings: list[str]) -> float | None:
    rates = internal_rates_of_return(net_flow)
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


def _never(simple: float | None, discounted: float | None, terms: EconomicTerms) -> list[str]:
    if simple is None:
        return [f"It is never paid back within its life of {terms.life_years} years."]
    if discounted is None:
        return [
            f"At a real discount rate of {100 * terms.discount_rate:.1f} % it is not paid back "
            f"within its life of {terms.life_years} years."
        ]
    return []


def _embodied_paybacks(
    embodied: Embodied,
    items: int,
    net_kwh_per_year: float,
    terms: EconomicTerms,
    warnings: list[str],
) -> tuple[float | None, float | None]:
    energy = carbon = None
    if embodied.energy_kwh is not None and net_kwh_per_year > 0:
        energy = embodied.energy_kwh / net_kwh_per_year
        if embodied.items_without_energy:
            warnings.append(
                f"{embodied.items_without_energy} of {items} items state no embodied energy, so "
                "the energy payback is at least what it says."
            )
    if embodied.carbon_kg is not None and net_kwh_per_year > 0:
        if terms.grid_carbon_kg_per_kwh:
            carbon = embodied.carbon_kg / (net_kwh_per_year * terms.grid_carbon_kg_per_kwh)
        else:
            warnings.append(
                "economics.grid_carbon_kg_per_kwh is not stated or is 0, so there is no carbon "
                "payback."
            )
        if embodied.items_without_carbon:
            warnings.append(
                f"{embodied.items_without_carbon} of {items} items state no embodied carbon, so "
                "the carbon payback is at least what it says."
            )
    return energy, carbon
