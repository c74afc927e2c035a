"""What would make a build pay just so, and how much of its cost no cheap rotor can save."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, crossing, floats, number_or_none
from yieldest.economics.bill_of_materials import (
    ROTOR_GROUPS,
    SUPPORT_GROUPS,
    BillOfMaterials,
)
from yieldest.economics.cash_flow import (
    AS_STATED,
    Expenditure,
    Prices,
    cash_flow,
    cost_of_a_kwh,
)
from yieldest.economics.measures import present_value
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.net_energy import HubSpeeds
from yieldest.energy.self_consumption import used_shares
from yieldest.frozen import frozen_dataclass
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.inputs import Inputs

HIGHEST_MEAN_WIND_MS = 15.0
"""No place where people live has more; a break-even above it counts as never (our choice)."""
_SCALES = np.append(0.0, 2.0 ** np.arange(31))
_PRICES = np.append(0.0, 2.0 ** np.arange(11))
"""A worth of a kWh above the last, in the plan's currency, counts as never (our choice)."""
_MEANS_MS = np.linspace(0.1, HIGHEST_MEAN_WIND_MS, 300)
_MEANS_OF_SHARE_MS = np.linspace(0.5, HIGHEST_MEAN_WIND_MS, 30)
_NEVER = {
    "bill_cost": "the energy is worth nothing",
    "machine_cost": "even a free rotor and generator would not make up for all the rest",
    "hub_mean_speed_ms": f"it loses money at every mean wind up to {HIGHEST_MEAN_WIND_MS:g} m/s",
    "price_per_kwh": "it makes no energy that would replace a bought kWh",
}


@frozen_dataclass
class BreakEven:
    """What it would take for a build to pay just so, one thing changed at a time.

    The bill is scaled as a whole; the machine is the groups rotor and generator, the rest of the
    bill as it is. `never` and `unknown` say why, by name, a value can never be reached or be had.
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


@frozen_dataclass
class RotorSaving:
    """How much of the capital cost a cheaper rotor could save.

    Shares of rotor and generator, their labour included; of mast, wiring and converter; of all else
    that has a group; of what has none.
    """

    rotor_share: float
    support_share: float
    other_share: float
    ungrouped_share: float
    cost_per_kwh_with_free_rotor: float | None


def break_even(build: BuildEstimate, inputs: Inputs) -> BreakEven | None:
    """Return what would make a build of a plan pay just so; None for a build without a bill.

    The net present value is brought to zero between two values of which one pays and the other does
    not.
    """
    bill = build.bill
    if bill is None:
        return None
    terms = build.terms
    whole, rest = bill.expenditure(build.energy.count, terms), _rest(build, bill, terms)
    cost = float(whole.capital_cost)
    machine = cost - float(rest.capital_cost)
    net_kwh, priced = build.energy.net_kwh, terms.price_per_kwh is not None

    def worth(
        spent: Expenditure = whole, made: npt.ArrayLike = net_kwh, prices: Prices = AS_STATED
    ) -> FloatArray:
        return present_value(cash_flow(spent, made, terms, prices).net, terms.discount_rate)

    def with_machine(share: npt.ArrayLike) -> Expenditure:
        part = {}
        for field in fields(Expenditure):
            of_rest, of_whole = getattr(rest, field.name), getattr(whole, field.name)
            part[field.name] = of_rest + np.multiply.outer(share, of_whole - of_rest)
        return Expenditure(**part)

    needed = {
        "bill_cost": _end_of(lambda scale: worth(prices=Prices(bill_scale=scale)), _SCALES),
        "machine_cost": _end_of(lambda share: worth(with_machine(share)), _SCALES),
        "hub_mean_speed_ms": _mean_wind(build, inputs, worth),
        "price_per_kwh": _end_of(lambda p: -worth(prices=Prices(price_per_kwh=p)), _PRICES),
    }
    for key, present in (("bill_cost", cost), ("machine_cost", machine)):
        share = needed[key]
        needed[key] = share * present if share else None
    unknown = {}
    if not priced:
        sought = [key for key in needed if key != "price_per_kwh"]
        unknown = dict.fromkeys(sought, "no price of a kWh is stated")
    elif machine <= 0:
        unknown["machine_cost"] = "no item that costs anything is in the group rotor or generator"
    if priced and needed["bill_cost"] is None and worth(prices=Prices(bill_scale=0.0)) > 0:
        unknown["bill_cost"] = "the bill comes to nothing"
    needed |= dict.fromkeys(unknown)
    return BreakEven(
        present_bill_cost=cost,
        present_machine_cost=machine,
        present_hub_mean_speed_ms=build.distribution.mean_speed_ms,
        present_price_per_kwh=terms.price_per_kwh,
        **needed,
        never={k: why for k, why in _NEVER.items() if needed[k] is None and k not in unknown},
        unknown=unknown,
    )


def rotor_saving(build: BuildEstimate) -> RotorSaving | None:
    """Return how much of the capital cost a cheaper rotor could save; None without groups."""
    bill, count, terms = build.bill, build.energy.count, build.terms
    if bill is None or not bill.states_groups:
        return None
    total = bill.capital_cost(count, terms.wage_per_hour)
    if total <= 0:
        return None
    shares = dict.fromkeys(("rotor_share", "support_share", "other_share", "ungrouped_share"), 0.0)
    kinds = dict.fromkeys(ROTOR_GROUPS, "rotor_share") | dict.fromkeys(
        SUPPORT_GROUPS, "support_share"
    )
    for item in bill.items:
        kind = kinds.get(item.group, "other_share") if item.group else "ungrouped_share"
        shares[kind] += float(item.cost(count, terms.wage_per_hour) / total)
    free = cost_of_a_kwh(_rest(build, bill, terms), build.energy.net_kwh, terms)
    return RotorSaving(**shares, cost_per_kwh_with_free_rotor=number_or_none(free))


def _rest(build: BuildEstimate, bill: BillOfMaterials, terms: EconomicTerms) -> Expenditure:
    """Return the expenditure without rotor and generator, upkeep by the rule of the whole bill."""
    share = 0.0
    if terms.states("maintenance_share_per_year") or not bill.states_maintenance:
        share = terms.maintenance_share_per_year
    same_rule = terms.model_copy(update={"maintenance_share_per_year": share})
    return bill.without(ROTOR_GROUPS).expenditure(build.energy.count, same_rule)


def _end_of(excess: Callable[[npt.ArrayLike], FloatArray], points: FloatArray) -> float | None:
    """Return where an excess first comes down to zero, looked for between rising points.

    0 where it is none at the first of them, None where it is one at every point.
    """
    ended = excess(points) <= 0
    if not ended.any():
        return None
    first = int(np.argmax(ended))
    if first == 0:
        return 0.0
    return float(crossing(excess, points[first - 1], points[first]))


def _mean_wind(
    build: BuildEstimate, inputs: Inputs, worth: Callable[..., FloatArray]
) -> float | None:
    """Return the mean wind at the hub from which on a build pays."""
    distribution, energy, curve = build.distribution, build.energy, build.curve
    wind = HubSpeeds(distribution.shape, distribution.scale_ms, distribution.calm_share)

    def gross_kwh(mean_ms: npt.ArrayLike) -> FloatArray:
        scaled = wind.scaled(floats(mean_ms) / distribution.mean_speed_ms)
        return scaled.gross_kwh(curve.speed_ms, curve.power_w, energy.count)

    present = float(gross_kwh(distribution.mean_speed_ms))
    if present <= 0:
        return None

    # Relative to the energy as it is, which need not be that of the fitted distribution.
    def made_kwh(mean_ms: npt.ArrayLike) -> FloatArray:
        return np.asarray(energy.net_kwh * gross_kwh(mean_ms) / present)

    used = _shares_used(build, inputs, made_kwh)

    def loss(mean_ms: npt.ArrayLike) -> FloatArray:
        share = None if used is None else np.interp(floats(mean_ms), *used)
        return -worth(made=made_kwh(mean_ms), prices=Prices(self_consumption_share=share))

    return _end_of(loss, _MEANS_MS)


def _shares_used(
    build: BuildEstimate, inputs: Inputs, made_kwh: Callable[[npt.ArrayLike], FloatArray]
) -> tuple[FloatArray, FloatArray] | None:
    """Return mean winds at the hub, and the share used in each; None without a load profile.

    Hours in which it blows too little now are among those that a stronger wind fills.
    """
    profile, readings = inputs.load_profile, build.wind.readings
    time = None if profile is None else build.inputs.times_of(profile)
    if build.self_consumption is None or profile is None or readings is None or time is None:
        return None
    present_ms = build.distribution.mean_speed_ms
    mean_ms = np.union1d(_MEANS_OF_SHARE_MS, present_ms)
    powers = [
        (time, build.curve.power_at(readings.speed_ms * factor), readings.weight)
        for factor in mean_ms / present_ms
    ]
    shares = used_shares(powers, made_kwh(mean_ms)[:, np.newaxis], profile, inputs.plan.battery)
    return mean_ms, np.nan_to_num(shares[:, 0], nan=1.0)
