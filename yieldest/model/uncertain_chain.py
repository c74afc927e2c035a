"""One build from the wind on site to its payback, for one set of inputs or for many at once.

The formulas are those of the one-plan estimate; this module only lines them up.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.economics.bill_of_materials import BillOfMaterials
from yieldest.economics.measures import cost_per_kwh, payback_years, present_value
from yieldest.economics.terms import EconomicTerms
from yieldest.economics.yearly_sums import expenditure_of, flow_of, used_kwh_cost
from yieldest.energy.closed_form import gross_kwh_per_year, idle_kwh_per_year, share_at_power
from yieldest.energy.from_series import (
    SortedReadings,
    gross_kwh_of_readings,
    running_share_of_readings,
)
from yieldest.energy.losses import kept_after
from yieldest.turbine.power_curve import Correction, PowerCurve, nodes_at_density
from yieldest.uncertainty.uncertain_inputs import SPEED_FACTORS
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.profile import power_law_factor
from yieldest.wind.weibull import mean_speed, scale_of_mean

ENERGY = ("one_year_kwh", "life_kwh_per_year")
MEASURES = (
    *ENERGY,
    "cost_per_kwh",
    "cost_per_used_kwh",
    "payback_years",
    "discounted_payback_years",
    "net_present_value",
)
"""What the chain gives: net energy of one year and of the mean year of the life, and money."""

Values = Mapping[str, npt.ArrayLike]
"""Values of inputs by name, that broadcast; an input left out has its central value."""
_Value = Callable[[str, npt.ArrayLike], FloatArray]


@dataclass(frozen=True)
class Chain:
    """A build as the one-plan estimate computed it, open for other values of its inputs.

    Parameters
    ----------
    name : str
    count : int
    distribution : WindDistribution
        At the hub.
    readings : SortedReadings or None
        At the hub, where the energy is theirs and not the fitted distribution's.
    height_ratio : float
        Hub height over that of the anemometer.
    exponent_weight : float
        What a deviation of the shear exponent counts for at this hub.
    exposure_weight : float
        Power of the factor for the surroundings.
    curve : PowerCurve
        At the air density of the hub.
    density_correction : {"power", "speed"}
    level_w, bin_w : ndarray, shape (n,)
        How far a power moves when the curve's factor, or that of its bin, moves from 1 to 2.
    bin_of : ndarray of int, shape (n,)
        The bin that each point of the curve lies in.
    losses : mapping of str to float
        Share by category.
    bill : BillOfMaterials or None
    names : mapping of str to str
        The name of the input that plays each quantity for this build.
    """

    name: str
    count: int
    distribution: WindDistribution
    readings: SortedReadings | None
    height_ratio: float
    exponent_weight: float
    exposure_weight: float
    curve: PowerCurve
    density_correction: Correction
    level_w: FloatArray
    bin_w: FloatArray
    bin_of: npt.NDArray[np.int64]
    losses: Mapping[str, float]
    bill: BillOfMaterials | None
    names: Mapping[str, str]


def outcome(chain: Chain, terms: EconomicTerms, values: Values) -> dict[str, FloatArray]:
    """Run one build through the whole chain.

    Parameters
    ----------
    chain : Chain
    terms : EconomicTerms
    values : mapping of str to array_like, shape (...)
        The factors and values of inputs by name; a curve bin by bin has shape (..., n).

    Returns
    -------
    dict of str to ndarray, shape (...)
        By `MEASURES`; NaN for a payback that never comes and for the cost of no energy. What
        needs a bill or a price that is not stated is left out, and so is the cost per used kWh
        where all are used.
    """

    def value(quantity: str, central: npt.ArrayLike) -> FloatArray:
        return floats(values.get(chain.names.get(quantity, ""), central))

    life = np.maximum(1.0, np.rint(value("life_years", terms.life_years)))
    one_year, usual_year = _net_kwh(chain, value, life)
    longest = replace(terms, life_years=int(life.max()))
    bill = BillOfMaterials((), terms.provenance) if chain.bill is None else chain.bill
    usual_price = terms.price_per_kwh or 0.0
    price = value("price_per_kwh", usual_price)
    # What a sold kWh earns follows what a bought one costs.
    price_level = price / usual_price if usual_price > 0 else 1.0
    flow = flow_of(
        expenditure_of(bill, chain.count, longest),
        usual_year,
        terms,
        bill_scale=value("prices", 1.0),
        maintenance_scale=value("upkeep", 1.0),
        price_per_kwh=price,
        export_price_per_kwh=terms.export_price_per_kwh * price_level,
        life_years=life,
    )
    found = {"one_year_kwh": one_year, "life_kwh_per_year": flow.energy_kwh.sum(axis=-1) / life}
    if chain.bill is not None:
        rate = value("discount_rate", terms.discount_rate)
        found["cost_per_kwh"] = cost_per_kwh(flow.cost, flow.energy_kwh, rate)
        if terms.self_consumption_share < 1:
            found["cost_per_used_kwh"] = used_kwh_cost(flow, terms, rate)
        if terms.price_per_kwh is not None:
            net = flow.net
            found["payback_years"] = payback_years(net)
            found["discounted_payback_years"] = payback_years(net, rate)
            found["net_present_value"] = present_value(net, rate)
    return found


def _net_kwh(chain: Chain, value: _Value, life: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the net energy of one coming year, and of the mean of all years of the life."""
    distribution, curve = chain.distribution, chain.curve
    speed = power_law_factor(
        1.0, chain.height_ratio, chain.exponent_weight * value("shear_exponent", 0.0)
    )
    speed = speed * value("exposure", 1.0) ** chain.exposure_weight
    for factor in SPEED_FACTORS:
        speed = speed * value(factor, 1.0)
    shape = distribution.shape * value("shape", 1.0)
    # A draw of the shape leaves the mean speed alone: the record knows that one better.
    scale = scale_of_mean(mean_speed(distribution.shape, distribution.scale_ms) * speed, shape)
    bins = value("curve_bins", np.ones(chain.bin_of.max() + 1))
    power = (
        curve.power_w
        + (value("curve", 1.0)[..., np.newaxis] - 1) * chain.level_w
        + (bins[..., chain.bin_of] - 1) * chain.bin_w
    )
    # No draw makes a machine consume where its curve says that it produces.
    power = np.where(curve.power_w >= 0, np.maximum(power, 0.0), power)
    nodes = nodes_at_density(curve.speed_ms, power, value("density", 1.0), chain.density_correction)
    shares = np.broadcast_arrays(
        *(value(f"losses.{category}", share) for category, share in chain.losses.items())
    )
    kept = kept_after(np.minimum(np.stack(shares, axis=-1), 1.0))
    year = value("coming_years", 1.0)
    # The mean of independent years wanders less by the root of their number.
    factors = (year, 1 + (year - 1) / np.sqrt(life))
    one_year, usual_year = (
        _gross_kwh(chain, shape, scale * factor, speed * factor, nodes) * kept
        - _idle_kwh(chain, shape, scale * factor, speed * factor, nodes)
        for factor in factors
    )
    return one_year, usual_year


_Nodes = tuple[FloatArray, FloatArray]


def _gross_kwh(
    chain: Chain, shape: FloatArray, scale_ms: FloatArray, factor: FloatArray, nodes: _Nodes
) -> FloatArray:
    """Return the gross energy of a fitted wind, or of readings that are multiplied by a factor."""
    if chain.readings is None:
        calm_share = chain.distribution.calm_share
        return gross_kwh_per_year(shape, scale_ms, calm_share, *nodes, chain.count)
    return gross_kwh_of_readings(chain.readings, factor, *nodes, chain.count)


def _idle_kwh(
    chain: Chain, shape: FloatArray, scale_ms: FloatArray, factor: FloatArray, nodes: _Nodes
) -> FloatArray:
    """Return what the converters draw while the machines make nothing."""
    idle_draw_w = chain.curve.idle_draw_w
    if idle_draw_w == 0:
        return np.zeros(())
    if chain.readings is None:
        windy = share_at_power(shape, scale_ms, *nodes, 0.0)
        running = (1 - chain.distribution.calm_share) * windy
    else:
        running = running_share_of_readings(chain.readings, factor, *nodes)
    return idle_kwh_per_year(idle_draw_w, running, chain.count)
