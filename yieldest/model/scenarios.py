"""The builds of a plan computed on a grid of other heights, numbers, prices, rates and bills.

The page moves between these results and computes nothing itself, so every formula stays in one
place; how far a value between grid points is off is measured here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np

from yieldest.arrays import FloatArray, floats
from yieldest.economics.bill_of_materials import BillOfMaterials
from yieldest.economics.cash_flow import Prices
from yieldest.economics.terms import EconomicTerms
from yieldest.errors import InputError
from yieldest.model.build_estimate import BuildEstimate, energy_of_build
from yieldest.model.chain import money_of
from yieldest.model.estimate import Estimate
from yieldest.model.number_of_machines import energy_of_count

HEIGHT_FACTORS = (0.5, 0.75, 1.0, 1.25, 1.5, 2.0)
PRICE_FACTORS = (0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0)
BILL_SCALES = (0.5, 0.75, 1.0, 1.25, 1.5, 2.0)
DISCOUNT_RATES = (0.0, 0.02, 0.04, 0.06, 0.08, 0.10, 0.12)
MORE_MACHINES = (2.0,)
MORE_THAN_ONE = (2.0, 4.0)
EVERY_COUNT_UP_TO = 12
"""Up to so many machines of the plan, every smaller number is computed."""
SOME_COUNTS = 8
"""For more machines, about so many smaller numbers are."""

_CHECKED_HEIGHTS = 6
_CHECKED_TERMS = 64
_SEED = 20


@dataclass(frozen=True)
class Axis:
    """One thing that may be otherwise.

    Parameters
    ----------
    key : {"hub_height_m", "count", "price_per_kwh", "discount_rate", "bill_scale"}
    values : ndarray, shape (n,)
        The grid points, increasing; the plan's own value is one of them.
    stated : float
        The plan's own value.
    """

    key: str
    values: FloatArray
    stated: float

    @property
    def stated_index(self) -> int:
        """Where the plan's own value stands among the grid points."""
        return int(np.flatnonzero(self.values == self.stated)[0])


@dataclass(frozen=True)
class Surface:
    """One result over some of the axes.

    Parameters
    ----------
    key : str
        As in the results for machines, SI units in the name.
    over : tuple of str
        Keys of the axes, in the order of the array's axes.
    values : ndarray
        NaN where there is none (never paid back).
    usual_error, worst_error : float
        Median and largest distance of a straight line between grid points from the result itself,
        in the unit of the values. The number of machines is never between points.
    """

    key: str
    over: tuple[str, ...]
    values: FloatArray
    usual_error: float
    worst_error: float


@dataclass(frozen=True)
class BuildGrid:
    """What one build yields and costs when things are otherwise.

    Parameters
    ----------
    name : str
    axes : tuple of Axis
    surfaces : tuple of Surface
    checked : int
        So many points between grid points were computed to measure the errors.
    """

    name: str
    axes: tuple[Axis, ...]
    surfaces: tuple[Surface, ...]
    checked: int

    def axis(self, key: str) -> Axis | None:
        """Return an axis, or None where nothing can be varied."""
        return next((axis for axis in self.axes if axis.key == key), None)

    def surface(self, key: str) -> Surface | None:
        """Return a result, or None where it cannot be had."""
        return next((surface for surface in self.surfaces if surface.key == key), None)

    def along(self, key: str, axis_key: str) -> FloatArray:
        """Return a result along one axis, with everything else as the plan states."""
        surface = next(surface for surface in self.surfaces if surface.key == key)
        stated = {axis.key: axis.stated_index for axis in self.axes}
        return np.asarray(
            surface.values[
                tuple(slice(None) if over == axis_key else stated[over] for over in surface.over)
            ]
        )


def what_if(estimate: Estimate, number: int) -> BuildGrid:
    """Compute one build of a plan on a grid.

    Parameters
    ----------
    estimate : Estimate
        Its wind, curves and economic terms are used again.
    number : int
        Of the build, from 0.
    """
    inputs = estimate.inputs.builds[number]
    build, bill = inputs.settings, inputs.bill

    @cache
    def computed(height_m: float, count: int) -> BuildEstimate:
        # Without its cost, for the money side is computed for the whole grid at once.
        changed = inputs.changed(hub_height_m=height_m, count=count)
        return energy_of_build(changed)

    def energy_kwh(height_m: float, count: int) -> float:
        if count > build.count:
            return computed(height_m, count).energy.net_kwh
        return energy_of_count(computed(height_m, build.count), count)

    heights = _possible(_heights(build.hub_height_m), lambda h: energy_kwh(h, build.count))
    counts = _possible(_counts(build.count), lambda n: energy_kwh(build.hub_height_m, int(n)))
    axes = [
        Axis("hub_height_m", floats(heights), build.hub_height_m),
        Axis("count", floats(counts), float(build.count)),
    ]
    kwh = floats([[energy_kwh(height, int(count)) for count in counts] for height in heights])
    economics = None
    if bill is not None:
        economics = _Money(bill, estimate.terms)
        axes += economics.axes()
    grids = {axis.key: axis.values for axis in axes}
    results: _Results = {"net_kwh_per_year": (("hub_height_m", "count"), kwh)}
    if economics is not None:
        results |= economics.results(kwh, grids)
    errors, checked = _errors(results, grids, energy_kwh, economics)
    return BuildGrid(
        name=build.name,
        axes=tuple(axes),
        surfaces=tuple(
            Surface(key, over, values, *errors[key]) for key, (over, values) in results.items()
        ),
        checked=checked,
    )


_Results = dict[str, tuple[tuple[str, ...], FloatArray]]


def _heights(stated: float) -> list[float]:
    return sorted({stated, *(round(stated * f, 1) for f in HEIGHT_FACTORS if f != 1)} - {0.0})


def _counts(stated: int) -> list[float]:
    fewer = np.arange(1, stated + 1)
    if stated > EVERY_COUNT_UP_TO:
        fewer = np.unique(np.geomspace(1, stated, SOME_COUNTS).round().astype(int))
    more = np.ceil(stated * floats(MORE_THAN_ONE if stated == 1 else MORE_MACHINES))
    return sorted({float(count) for count in (*fewer, *more)})


def _possible(values: Iterable[float], compute: Callable[[float], float]) -> list[float]:
    """Leave out what the package refuses, such as a hub within the trees."""
    kept = []
    for value in values:
        try:
            compute(value)
        except InputError:
            continue
        kept.append(value)
    return kept


class _Money:
    """The money side of a build over the axes of the grid."""

    def __init__(self, bill: BillOfMaterials, terms: EconomicTerms) -> None:
        self.bill = bill
        self.terms = terms

    def axes(self) -> list[Axis]:
        stated = self.terms.discount_rate
        rates = sorted({stated, *(rate for rate in DISCOUNT_RATES)})
        axes = [
            Axis("discount_rate", floats(rates), stated),
            Axis("bill_scale", floats(BILL_SCALES), 1.0),
        ]
        price = self.terms.price_per_kwh
        if price:
            axes.insert(0, Axis("price_per_kwh", price * floats(PRICE_FACTORS), price))
        return axes

    def results(self, kwh: FloatArray, grids: dict[str, FloatArray]) -> _Results:
        """Return every measure over the whole grid, `kwh` being over height and count."""
        price = grids.get("price_per_kwh", floats([self.terms.price_per_kwh or 0.0]))
        columns = [
            self.measures(
                count=int(count),
                net_kwh=kwh[:, place, np.newaxis, np.newaxis, np.newaxis],
                price=price[:, np.newaxis, np.newaxis],
                rate=grids["discount_rate"][:, np.newaxis],
                scale=grids["bill_scale"],
            )
            for place, count in enumerate(grids["count"])
        ]
        full = ("hub_height_m", "count", "price_per_kwh", "discount_rate", "bill_scale")
        results: _Results = {}
        for key, over in self.over().items():
            # Axes that a measure does not depend on have length one, and are dropped.
            wide = [_with_axes(column[key], len(full) - 1) for column in columns]
            stacked = np.stack(wide, axis=1)
            dropped = tuple(place for place, axis in enumerate(full) if axis not in over)
            results[key] = (over, stacked.squeeze(dropped))
        return results

    def over(self) -> dict[str, tuple[str, ...]]:
        """Return what each measure depends on."""
        over = {
            "capital_cost": ("count", "bill_scale"),
            "cost_per_kwh": ("hub_height_m", "count", "discount_rate", "bill_scale"),
        }
        if self.terms.price_per_kwh:
            over["payback_years"] = ("hub_height_m", "count", "price_per_kwh", "bill_scale")
            over["net_present_value"] = (
                "hub_height_m", "count", "price_per_kwh", "discount_rate", "bill_scale",
            )  # fmt: skip
        return over

    def measures(
        self,
        count: int,
        net_kwh: FloatArray,
        price: FloatArray,
        rate: FloatArray,
        scale: FloatArray,
    ) -> dict[str, FloatArray]:
        """Return the measures for one number of machines; the other arguments broadcast."""
        prices = Prices(price_per_kwh=price, discount_rate=rate, bill_scale=scale)
        expenditure = self.bill.expenditure(count, self.terms)
        return money_of(expenditure, net_kwh, self.terms, prices)


def _with_axes(values: FloatArray, axes: int) -> FloatArray:
    """Put axes of length one before those that an array has, as broadcasting does."""
    return values.reshape((1,) * (axes - values.ndim) + values.shape)


def _errors(
    results: _Results,
    grids: dict[str, FloatArray],
    energy_kwh: Callable[[float, int], float],
    economics: _Money | None,
) -> tuple[dict[str, tuple[float, float]], int]:
    """Compute points between grid points, and measure how far the straight lines are off."""
    draw = np.random.default_rng(_SEED)
    found: dict[str, list[FloatArray]] = {key: [] for key in results}
    for _ in range(_CHECKED_HEIGHTS):
        height = draw.uniform(grids["hub_height_m"][0], grids["hub_height_m"][-1])
        place = int(draw.integers(grids["count"].size))
        count = int(grids["count"][place])
        points = {
            key: draw.uniform(values[0], values[-1], _CHECKED_TERMS)
            for key, values in grids.items()
            if key != "count"
        }
        points["hub_height_m"] = np.full(_CHECKED_TERMS, height)
        true = {"net_kwh_per_year": floats(energy_kwh(height, count))}
        if economics is not None:
            true |= economics.measures(
                count,
                true["net_kwh_per_year"],
                points.get("price_per_kwh", floats(0.0)),
                points["discount_rate"],
                points["bill_scale"],
            )
        for key, (over, values) in results.items():
            off = np.abs(_between(over, values, grids, place, points) - true[key])
            found[key].append(off[np.isfinite(off)])
    errors = {}
    for key, each in found.items():
        off = np.concatenate(each)
        errors[key] = (float(np.median(off)), float(off.max())) if off.size else (0.0, 0.0)
    return errors, _CHECKED_HEIGHTS * (_CHECKED_TERMS if economics is not None else 1)


def _between(
    over: tuple[str, ...],
    values: FloatArray,
    grids: dict[str, FloatArray],
    count_place: int,
    points: dict[str, FloatArray],
) -> FloatArray:
    """Return a result on the straight lines between grid points, shape (points,)."""
    # The number of machines is always a grid point, and a single one leaves no line to lay.
    values = floats(values.take(count_place, over.index("count")))
    lines = [key for key in over if key != "count" and grids[key].size > 1]
    values = values.reshape([grids[key].size for key in lines])
    if not lines:
        return values
    from scipy.interpolate import RegularGridInterpolator  # noqa: PLC0415 - slow to load

    line = RegularGridInterpolator(tuple(grids[key] for key in lines), values)
    return floats(line(np.stack([points[key] for key in lines], axis=-1)))
