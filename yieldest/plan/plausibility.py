"""Values of a plan that physics allows and hardly anybody means: they are asked about."""

from __future__ import annotations

from collections.abc import Iterator

from yieldest.energy.losses import kept_share, losses_of
from yieldest.plan.build_table import Build
from yieldest.plan.whole_plan import Plan
from yieldest.provenance import Finding
from yieldest.settings import HIGHEST_USUAL_MEAN_MS

USUAL_MOST = {
    "site.displacement_m": 30.0,
    "site.turbulence_intensity": 0.5,
    "wind.measured_height_m": 150.0,
    "wind.mean_speed_ms": HIGHEST_USUAL_MEAN_MS,
    "economics.price_per_kwh": 3.0,
    "economics.export_price_per_kwh": 3.0,
    "economics.wage_per_hour": 150.0,
    "economics.grid_carbon_kg_per_kwh": 3.0,
    "economics.discount_rate": 0.25,
    "economics.inflation": 0.25,
    "economics.loan.interest_rate": 0.3,
    "economics.real_price_escalation_per_year": 0.15,
    "economics.degradation_per_year": 0.1,
    "economics.maintenance_share_per_year": 0.25,
    "build.cut_in_ms": 8.0,
}
"""Values that are asked about when they are exceeded (common practice, no source)."""
WORTH_A_DOLLAR = frozenset(
    [
        *("EUR", "USD", "GBP", "CHF", "CAD", "AUD", "NZD", "SGD"),
        *("BND", "BHD", "KWD", "OMR", "JOD", "FKP", "GIP", "SHP"),
    ]
)
"""Currencies of which one has been worth between a half and four dollars for decades, so that a
price of many of them for a kWh is a price in cents (common knowledge, no source)."""
LEAST_CUT_OUT_MS = 10.0
"""A machine that stops below it misses most of its energy, and is asked about; our choice."""
LEAST_KEPT = 0.3
"""Losses that leave less of the energy are asked about; our choice."""
REACH_M = 2.5
"""A hand with a tool reaches so high (common practice, no source)."""
SLENDER = 15.0
TALL_M = 40.0
"""A hub above both so many rotor widths and so many metres is asked about; our choice."""


class ValueAsked(Finding):
    """A value beyond what is usual, such as a slip of the unit makes."""

    key: str
    value: float
    usual_most: float


class LossesAsked(Finding):
    """The stated losses leave little of the energy."""

    kept_share: float


class EarlyCutOut(Finding):
    """The machine stops in winds that hold most of the energy."""

    cut_out_ms: float


class BladesInReach(Finding):
    """The blades come down to where people and animals are."""

    rotor_bottom_m: float


class TallMast(Finding):
    """The hub stands many rotor widths high."""

    hub_height_m: float
    rotor_width_m: float


def questions_of_plan(plan: Plan) -> Iterator[Finding]:
    """Return what must be asked of the places, their winds and the terms of a plan."""
    for key, most in USUAL_MOST.items():
        is_price = "price_per" in key or "wage" in key
        if is_price and plan.currency not in WORTH_A_DOLLAR:
            continue
        also = [f"site.{key}"] if key.startswith("wind.") else []
        for name in (key, *also):
            for place, value in _values(plan, name.split(".")):
                if isinstance(value, float) and value > most:
                    yield ValueAsked(place, value, most)


def _values(table: object, names: list[str], at: str = "") -> Iterator[tuple[str, object]]:
    """Return the values of a key with their places, one of each table where there are several."""
    if isinstance(table, list):
        for number, one in enumerate(table):
            yield from _values(one, names, f"{at}{number}.")
    elif not names:
        yield at.removesuffix("."), table
    else:
        yield from _values(getattr(table, names[0], None), names[1:], f"{at}{names[0]}.")


def questions_of_build(build: Build) -> Iterator[Finding]:
    """Return what must be asked of a build."""
    width, bottom = build.width_m, build.rotor_bottom_m
    kept = kept_share(losses_of(build.losses.stated, build.count))
    if kept < LEAST_KEPT:
        yield LossesAsked(kept)
    if build.cut_out_ms is not None and build.cut_out_ms < LEAST_CUT_OUT_MS:
        yield EarlyCutOut(build.cut_out_ms)
    if bottom < REACH_M:
        yield BladesInReach(bottom)
    if width is not None and build.hub_height_m > max(TALL_M, SLENDER * width):
        yield TallMast(build.hub_height_m, width)
