"""The builds of a plan in other winds, at other heights and in other numbers, for the sliders.

Energy is a table: every entry is computed in full, and the sliders of the page stop nowhere else.
Money follows from what is laid out here by a few sums, which the page's script holds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.economics.cash_flow import CashFlow, Expenditure, Prices, cash_flow
from yieldest.energy.self_consumption import used_shares
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass, relabelled
from yieldest.model.build_estimate import BuildEstimate, energy_of_build, energy_of_more
from yieldest.model.estimate import Estimate
from yieldest.model.number_of_machines import energy_of_count
from yieldest.model.site_wind import SiteWind
from yieldest.model.uncertain import Case, lined_up
from yieldest.uncertainty.propagation import Variates, draw_variates
from yieldest.uncertainty.result import Uncertainty

WIND_FACTORS = (0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3)
HEIGHT_FACTORS = (0.5, 0.65, 0.8, 1.0, 1.25, 1.5, 2.0)
LONGEST_LIFE = 2
"""Times the life of the plan: so long can the sliders make it."""
MOST_COUNTS = 6
"""Numbers of machines up to the plan's; more of them are taken evenly on a logarithmic scale."""
DRAWS = 512
"""Draws that the page carries: 64 of every scramble."""
LEVELS = (0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99)
"""Quantiles by which the draws of the plan follow those in other winds and at other heights."""

_ENDS = (0.05, 0.95)


@frozen_dataclass
class Draws:
    """What the draws say of one build, shape (draws,): energy and life as multiples of the plan's.

    The sums of the bill and the upkeep on top of them are multiples too.
    """

    one_year: FloatArray
    usual_year: FloatArray
    life: FloatArray
    price: FloatArray
    discount_rate: FloatArray
    bill: FloatArray
    upkeep: FloatArray


@frozen_dataclass
class BuildScenarios:
    """What one build yields when things are otherwise, and what its money follows from.

    Parameters
    ----------
    name : str
    wind_factors, hub_heights_m, counts : ndarray, shapes (winds,), (heights,), (numbers,)
        Increasing; the plan's own value is among them.
    stated : tuple of int
        The places of the plan's own height and number.
    net_kwh : ndarray, shape (winds, heights, numbers)
        Of a year, every entry computed in full.
    quantiles : ndarray, shape (2, winds, heights, levels)
        Of the draws of one year and of the usual year there, over the energy of the table; a draw
        of the plan lies there as far between two of them as it does here.
    range_error : float
        How far an end of the 90 % range of one year that follows is off at most, as a share of the
        width of that range; with so few draws, at the plan too.
    used_share : ndarray, shape (winds, heights, numbers), or None
        Share used by oneself, every entry reckoned hour by hour; None without a load profile.
    expenditures : tuple of (Expenditure, Expenditure)
        For each number, own work for nothing, and what each unit of wage per hour adds to it; over
        the longest life that the sliders and the draws reach. Empty without a bill.
    draws : Draws or None
    """

    name: str
    wind_factors: FloatArray
    hub_heights_m: FloatArray
    counts: FloatArray
    stated: tuple[int, int]
    net_kwh: FloatArray
    quantiles: FloatArray
    range_error: float
    used_share: FloatArray | None
    expenditures: tuple[tuple[Expenditure, Expenditure], ...]
    draws: Draws | None


def scenarios_of(
    estimate: Estimate, number: int, uncertainty: Uncertainty | None = None
) -> BuildScenarios:
    """Compute one build of a plan in other winds, at other heights and in other numbers.

    Parameters
    ----------
    estimate : Estimate
    number : int
        Of the build, from 0.
    uncertainty : Uncertainty, optional
        Of that estimate.
    """
    build = estimate.inputs.builds[number]
    settings = build.settings
    winds = [_stronger(build.wind, factor) for factor in WIND_FACTORS]
    alike: dict[float, BuildEstimate] = {}
    own = estimate.builds[number]

    @cache
    def at(place: int, height_m: float) -> BuildEstimate:
        there = replace(build.changed(hub_height_m=height_m), wind=winds[place])
        found = replace(
            energy_of_build(there, alike.get(height_m)),
            terms=own.terms,
            self_consumption=own.self_consumption,
        )
        alike[height_m] = found
        return found

    heights = _possible(_heights(settings.hub_height_m), lambda height: at(0, height))
    counts = _counts(settings.count)
    builds = [[at(place, height) for height in heights] for place in range(len(winds))]
    kwh = [
        [
            [
                energy_of_count(there, count)
                if count < settings.count
                else there.energy.net_kwh
                if count == settings.count
                else energy_of_more(there, count)
                for count in counts
            ]
            for there in row
        ]
        for row in builds
    ]
    stated = (heights.index(settings.hub_height_m), counts.index(settings.count))
    here = (WIND_FACTORS.index(1.0), stated[0])
    draws, error = None, 0.0
    quantiles = np.ones((2, len(winds), len(heights), len(LEVELS)))
    if uncertainty is not None:
        drawn = np.empty((2, len(winds), len(heights), DRAWS))
        variates: dict[tuple[tuple[str, int], ...], Variates] = {}
        for place in np.ndindex(drawn.shape[1:3]):
            there = builds[place[0]][place[1]]
            case = _case(estimate, there, uncertainty, variates)
            net_kwh = there.energy.net_kwh
            drawn[0, *place] = _over(case.one_year_kwh, net_kwh)
            drawn[1, *place] = _over(case.usual_year_kwh, net_kwh)
            if place == here:
                draws = _draws(estimate, case, net_kwh)
        quantiles = np.moveaxis(np.quantile(drawn, LEVELS, axis=-1), 0, -1)
        full = np.quantile(uncertainty.builds[number].outcomes["one_year_kwh"], _ENDS)
        true = np.quantile(drawn[0], _ENDS, axis=-1)
        true[:, *here] = _over(full, builds[here[0]][here[1]].energy.net_kwh)
        error = _range_error(drawn[0][here], here, quantiles[0], true)
    return BuildScenarios(
        name=settings.name,
        wind_factors=floats(WIND_FACTORS),
        hub_heights_m=floats(heights),
        counts=floats(counts),
        stated=stated,
        net_kwh=floats(kwh),
        quantiles=quantiles,
        range_error=error,
        used_share=_used_shares(estimate, builds, floats(kwh)),
        expenditures=_expenditures(estimate, number, counts, draws),
        draws=draws,
    )


def _over(drawn_kwh: npt.ArrayLike, net_kwh: float) -> FloatArray:
    """Return draws over the energy of the table; 1 where that is nothing and has no range."""
    drawn = floats(drawn_kwh)
    return drawn / net_kwh if net_kwh else np.ones_like(drawn)


def _stronger(wind: SiteWind, factor: float) -> SiteWind:
    """Return the wind with every speed multiplied, as if the long term were so much windier."""
    first, *others = wind.corrections
    readings = wind.readings
    return relabelled(
        wind,
        distribution=wind.distribution.raised(factor, wind.distribution.height_m),
        readings=None if readings is None else readings.scaled(factor),
        corrections=(replace(first, factor=first.factor * factor), *others),
    )


def _heights(stated: float) -> list[float]:
    return sorted({stated, *(round(stated * f, 1) for f in HEIGHT_FACTORS if f != 1)} - {0.0})


def _counts(stated: int) -> list[int]:
    fewer_or_all = np.arange(1, stated + 1)
    if stated > MOST_COUNTS:
        fewer_or_all = np.unique(np.geomspace(1, stated, MOST_COUNTS).round().astype(int))
    more = (2, 3, 4) if stated == 1 else (2 * stated,)
    return [*fewer_or_all.tolist(), *more]


def _possible(values: Iterable[float], compute: Callable[[float], object]) -> list[float]:
    """Leave out what the package refuses, such as a hub within the trees."""
    kept = []
    for value in values:
        try:
            compute(value)
        except InputError:
            continue
        kept.append(value)
    return kept


def _case(
    estimate: Estimate,
    there: BuildEstimate,
    uncertainty: Uncertainty,
    drawn: dict[tuple[tuple[str, int], ...], Variates],
) -> Case:
    """Return one build in other circumstances; what is drawn for the same inputs is drawn once."""
    uncertain, (chain,) = lined_up(estimate.inputs, estimate.terms, [there])
    # The air and the turbulence decide how many points a curve has, and each is drawn.
    alike = tuple((each.name, each.variates) for each in uncertain)
    if alike not in drawn:
        drawn[alike] = draw_variates(uncertain, uncertainty.correlations, DRAWS, uncertainty.seed)
    values = {
        quantity: each.distribution.at(drawn[alike][each.name])
        for quantity, each in chain.inputs.items()
    }
    return chain.case(values)


def follow(drawn: FloatArray, here: FloatArray, there: FloatArray) -> FloatArray:
    """Return where draws lie among the quantiles there, straight on beyond the outermost.

    Parameters
    ----------
    drawn : ndarray, shape (draws,)
    here, there : ndarray, shape (levels,)
        Quantiles that the draws lie among, and those that they are carried to.
    """
    piece = np.clip(np.searchsorted(here, drawn, side="right") - 1, 0, here.size - 2)
    width = here[piece + 1] - here[piece]
    part = np.divide(drawn - here[piece], width, out=np.zeros_like(drawn), where=width > 0)
    return floats(there[piece] + part * (there[piece + 1] - there[piece]))


def drawn_flow(estimate: Estimate, number: int, of: BuildScenarios, draws: Draws) -> CashFlow:
    """Return the years of a build in every draw, shape (draws, years + 1), on the plan's terms."""
    build = estimate.builds[number]
    terms = build.terms
    unpaid, of_wage = of.expenditures[of.stated[1]]
    paid = {
        name: value + terms.wage_per_hour * vars(of_wage)[name]
        for name, value in vars(unpaid).items()
    }
    prices = Prices(
        price_per_kwh=draws.price * (terms.price_per_kwh or 0.0),
        export_price_per_kwh=draws.price * terms.export_price_per_kwh,
        discount_rate=terms.discount_rate + draws.discount_rate,
        life_years=np.maximum(1.0, np.floor(terms.life_years * draws.life + 0.5)),
        bill_scale=draws.bill,
        maintenance_scale=draws.upkeep,
    )
    kwh = build.energy.net_kwh * draws.usual_year
    if build.self_consumption is not None:
        share = build.self_consumption.used_share_of(kwh)
        prices = replace(prices, self_consumption_share=share)
    return cash_flow(Expenditure(**paid), kwh, terms, prices)


def _range_error(
    one_year: FloatArray, here: tuple[int, int], quantiles: FloatArray, true: FloatArray
) -> float:
    """Return how far the ends that follow are from the true ones, as a share of their distance."""
    worst = 0.0
    for place in np.ndindex(quantiles.shape[:2]):
        low, high = true[:, *place]
        near = np.quantile(follow(one_year, quantiles[here], quantiles[place]), _ENDS)
        if high > low:
            worst = max(worst, float(np.abs(near - (low, high)).max()) / (high - low))
    return worst


def _used_shares(
    estimate: Estimate, builds: Sequence[Sequence[BuildEstimate]], kwh: FloatArray
) -> FloatArray | None:
    """Return the share used at every entry of the table; None without a load profile or energy."""
    battery, profile = estimate.inputs.plan.battery, estimate.inputs.load_profile
    if profile is None or builds[0][0].self_consumption is None:
        return None
    shares = np.empty(kwh.shape)
    for place, row in enumerate(builds):
        powers = []
        for there in row:
            time, readings = there.inputs.times_of(profile), there.wind.readings
            assert time is not None
            assert readings is not None
            powers.append((time, there.curve.power_at(readings.speed_ms), readings.weight))
        shares[place] = used_shares(powers, kwh[place], profile, battery)
    return shares


def _draws(estimate: Estimate, case: Case, net_kwh: float) -> Draws:
    terms, prices, price = estimate.terms, case.prices, estimate.terms.price_per_kwh

    def wide(values: npt.ArrayLike) -> FloatArray:
        return np.broadcast_to(floats(values), (DRAWS,))

    return Draws(
        one_year=wide(_over(case.one_year_kwh, net_kwh)),
        usual_year=wide(_over(case.usual_year_kwh, net_kwh)),
        life=wide(case.life_years / terms.life_years),
        price=wide(
            1.0
            if not price or prices.price_per_kwh is None
            else floats(prices.price_per_kwh) / price
        ),
        discount_rate=wide(
            0.0
            if prices.discount_rate is None
            else floats(prices.discount_rate) - terms.discount_rate
        ),
        bill=wide(prices.bill_scale),
        upkeep=wide(prices.maintenance_scale),
    )


def _expenditures(
    estimate: Estimate, number: int, counts: Sequence[int], draws: Draws | None
) -> tuple[tuple[Expenditure, Expenditure], ...]:
    bill, terms = estimate.builds[number].bill, estimate.terms
    if bill is None:
        return ()
    longest = 1.0 if draws is None else max(1.0, float(draws.life.max()))
    years = int(np.ceil(LONGEST_LIFE * terms.life_years * longest))
    long = terms.model_copy(update={"life_years": years})
    found = []
    for count in counts:
        unpaid, paid = (bill.expenditure(count, long, wage) for wage in (0.0, 1.0))
        of_wage = {name: value - vars(unpaid)[name] for name, value in vars(paid).items()}
        found.append((unpaid, Expenditure(**of_wage)))
    return tuple(found)
