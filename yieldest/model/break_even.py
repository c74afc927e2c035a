"""What would make a build pay just so, and how much of its cost no cheap rotor can save."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from yieldest.arrays import FloatArray, floats
from yieldest.economics.bill_of_materials import (
    NO_GROUP,
    ROTOR_GROUPS,
    SUPPORT_GROUPS,
    BillOfMaterials,
    expenditure_of,
)
from yieldest.economics.cash_flow import Expenditure, Prices, cash_flow, cost_of_a_kwh
from yieldest.economics.measures import present_value
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.net_energy import HubSpeeds
from yieldest.model.build_estimate import BuildEstimate

HIGHEST_MEAN_WIND_MS = 15.0
"""No place where people live has more; a break-even above it counts as never (our choice)."""
DEAREST_KWH = 1000.0
"""A worth of a kWh above this, in the plan's currency, counts as never (our choice)."""


@dataclass(frozen=True)
class BreakEven:
    """What it would take for a build to pay just so, one thing changed at a time.

    None where it never does, or where it cannot be known.

    Parameters
    ----------
    present_bill_cost, present_machine_cost, present_hub_mean_speed_ms : float
    present_price_per_kwh : float or None
        As they are.
    bill_cost : float or None
        Capital cost, every sum of the bill scaled alike.
    machine_cost : float or None
        Cost of the groups rotor and generator, the rest as it is.
    hub_mean_speed_ms : float or None
    price_per_kwh : float or None
    never : dict of str to str
        Why, by the name of each value that can never be reached.
    unknown : dict of str to str
        Why, by the name of each value that cannot be had.
    """

    present_bill_cost: float
    present_machine_cost: float
    present_hub_mean_speed_ms: float
    present_price_per_kwh: float | None
    bill_cost: float | None
    machine_cost: float | None
    hub_mean_speed_ms: float | None
    price_per_kwh: float | None
    never: dict[str, str]
    unknown: dict[str, str]


@dataclass(frozen=True)
class RotorSaving:
    """How much of the capital cost a cheaper rotor could save.

    Parameters
    ----------
    rotor_share : float
        Rotor and generator, their labour included.
    support_share : float
        Mast, wiring and converter.
    other_share : float
        All else that has a group.
    ungrouped_share : float
        Items that state no group.
    cost_per_kwh_with_free_rotor : float or None
        None without energy.
    """

    rotor_share: float
    support_share: float
    other_share: float
    ungrouped_share: float
    cost_per_kwh_with_free_rotor: float | None


def break_even(build: BuildEstimate, terms: EconomicTerms) -> BreakEven | None:
    """Return what would make a build pay just so: net present value zero, by root finding.

    Parameters
    ----------
    build : BuildEstimate
    terms : EconomicTerms

    Returns
    -------
    BreakEven or None
        None for a build without a bill.

    Notes
    -----
    Brent's method between two values of which one pays and the other does not.
    """
    bill = build.bill
    if bill is None:
        return None
    expenditure = expenditure_of(bill, build.energy.count, terms)
    energy = build.energy.net_kwh
    priced = terms.price_per_kwh is not None
    rest = _rest(bill, build.energy.count, terms)
    machine = expenditure.capital_cost - rest.capital_cost
    worth = {
        "bill_cost": _bill_cost(expenditure, energy, terms) if priced else None,
        "machine_cost": _machine_cost(expenditure, rest, energy, terms) if priced else None,
        "hub_mean_speed_ms": _mean_wind(build, expenditure, terms) if priced else None,
        "price_per_kwh": _price(expenditure, energy, terms),
    }
    never = {
        "bill_cost": "the energy is worth nothing",
        "machine_cost": "even a free rotor and generator would not make up for all the rest",
        "hub_mean_speed_ms": f"it loses money at every mean wind up to {HIGHEST_MEAN_WIND_MS:g} "
        "m/s",
        "price_per_kwh": "it makes no energy that would replace a bought kWh",
    }
    unknown = {key: "no price of a kWh is stated" for key in never if not priced}
    unknown.pop("price_per_kwh", None)
    if priced and machine <= 0:
        unknown["machine_cost"] = "no item that costs anything is in the group rotor or generator"
    if priced and worth["bill_cost"] is None and float(_worth(expenditure, energy, terms, 0.0)) > 0:
        unknown["bill_cost"] = "the bill comes to nothing"
    return BreakEven(
        present_bill_cost=expenditure.capital_cost,
        present_machine_cost=machine,
        present_hub_mean_speed_ms=build.distribution.mean_speed_ms,
        present_price_per_kwh=terms.price_per_kwh,
        **worth,
        never={k: why for k, why in never.items() if worth[k] is None and k not in unknown},
        unknown=unknown,
    )


def rotor_saving(build: BuildEstimate, terms: EconomicTerms) -> RotorSaving | None:
    """Return how much of the capital cost a cheaper rotor could save; None without groups."""
    bill = build.bill
    if bill is None or not bill.states_groups:
        return None
    count = build.energy.count
    total = bill.capital_cost(count, terms.wage_per_hour)
    if total <= 0:
        return None
    sums = dict.fromkeys(("rotor", "support", "other", NO_GROUP), 0.0)
    for item in bill.items:
        kind = (
            "rotor"
            if item.group in ROTOR_GROUPS
            else "support"
            if item.group in SUPPORT_GROUPS
            else "other"
            if item.group
            else NO_GROUP
        )
        sums[kind] += item.cost(count, terms.wage_per_hour) / total
    rest = _rest(bill, count, terms)
    return RotorSaving(
        rotor_share=sums["rotor"],
        support_share=sums["support"],
        other_share=sums["other"],
        ungrouped_share=sums[NO_GROUP],
        cost_per_kwh_with_free_rotor=cost_of_a_kwh(rest, build.energy.net_kwh, terms),
    )


def _rest(bill: BillOfMaterials, count: int, terms: EconomicTerms) -> Expenditure:
    """Return the expenditure without rotor and generator, upkeep by the rule of the whole bill."""
    share = 0.0
    if terms.states("maintenance_share_per_year") or not bill.states_maintenance:
        share = terms.maintenance_share_per_year
    same_rule = terms.model_copy(update={"maintenance_share_per_year": share})
    return expenditure_of(bill.without(ROTOR_GROUPS), count, same_rule)


def _worth(
    expenditure: Expenditure,
    energy: npt.ArrayLike,
    terms: EconomicTerms,
    scale: npt.ArrayLike = 1.0,
    price: npt.ArrayLike | None = None,
) -> FloatArray:
    prices = Prices(price_per_kwh=price, bill_scale=scale)
    return present_value(cash_flow(expenditure, energy, terms, prices).net, terms.discount_rate)


def _falling_root(worth: Callable[[float], float], highest: float) -> float | None:
    """Return where a worth that falls from above zero at 0 reaches zero; None where it does not."""
    if worth(0.0) <= 0:
        return None
    end = 1.0
    while worth(end) > 0:
        if end > highest:
            return None
        end *= 2
    return float(brentq(worth, 0.0, end, xtol=1e-12))


def _bill_cost(expenditure: Expenditure, energy: float, terms: EconomicTerms) -> float | None:
    scale = _falling_root(lambda s: float(_worth(expenditure, energy, terms, s)), 1e9)
    return None if scale is None else scale * expenditure.capital_cost


def _machine_cost(
    expenditure: Expenditure, rest: Expenditure, energy: float, terms: EconomicTerms
) -> float | None:
    machine = expenditure.capital_cost - rest.capital_cost
    if machine <= 0:
        return None

    def worth(scale: float) -> float:
        mixed = Expenditure(
            rest.capital_cost + scale * machine,
            rest.replacement_costs
            + scale * (expenditure.replacement_costs - rest.replacement_costs),
            rest.maintenance_per_year
            + scale * (expenditure.maintenance_per_year - rest.maintenance_per_year),
            rest.maintenance_in_years
            + scale * (expenditure.maintenance_in_years - rest.maintenance_in_years),
            rest.salvage_value + scale * (expenditure.salvage_value - rest.salvage_value),
        )
        return float(_worth(mixed, energy, terms))

    scale = _falling_root(worth, 1e9)
    return None if scale is None else scale * machine


def _mean_wind(
    build: BuildEstimate, expenditure: Expenditure, terms: EconomicTerms
) -> float | None:
    distribution, energy, curve = build.distribution, build.energy, build.curve
    wind = HubSpeeds(distribution.shape, distribution.scale_ms, distribution.calm_share)

    def gross_kwh(mean_ms: npt.ArrayLike) -> FloatArray:
        scaled = wind.scaled(floats(mean_ms) / distribution.mean_speed_ms)
        return scaled.gross_kwh(curve.speed_ms, curve.power_w, energy.count)

    present = float(gross_kwh(distribution.mean_speed_ms))
    if present <= 0:
        return None

    def worth(mean_ms: npt.ArrayLike) -> FloatArray:
        # Relative to the energy as it is, which need not be that of the fitted distribution.
        kwh = energy.net_kwh * gross_kwh(mean_ms) / present
        return _worth(expenditure, kwh, terms)

    means = np.linspace(0.1, HIGHEST_MEAN_WIND_MS, 300)
    pays = worth(means) >= 0
    if not pays.any():
        return None
    first = int(np.argmax(pays))
    if first == 0:
        return 0.0
    return float(brentq(lambda m: float(worth(m)), means[first - 1], means[first], xtol=1e-12))


def _price(expenditure: Expenditure, energy: float, terms: EconomicTerms) -> float | None:
    def lack(price: float) -> float:
        return -float(_worth(expenditure, energy, terms, price=price))

    if lack(0.0) <= 0:
        return 0.0
    return _falling_root(lack, DEAREST_KWH)
