"""What the sliders of the page turn: their stops, the tables behind them, and how far off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from yieldest.arrays import NOT_KNOWN, FloatArray, floats, percent
from yieldest.economics.cash_flow import Expenditure
from yieldest.economics.prices import CURRENCY_SIGNS
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.model.quantities import BY_KEY, NEVER
from yieldest.model.scenarios import WIND_FACTORS, BuildScenarios
from yieldest.report.chart import drawn
from yieldest.report.decision import BOUGHT, LIKELY
from yieldest.report.json_values import json_ready
from yieldest.report.palette import BuildStyle
from yieldest.units import as_shown, length

_DIGITS = 6
"""Significant digits of the draws in the page."""
_WORDS = {
    "lead_plan": "As the plan stands",
    "lead_set": "As set: {what}",
    "make": "Make {who}: it is paid off after {years} years and gains {amount} in {life} years, in "
    "today's money{chance}.",
    "edge": "Make none for the money alone: {who} is on a knife's edge. It gains {amount} in "
    "{life} years, in today's money{chance}.",
    "lose": "Make none for the money: {who} loses {amount} in {life} years, in today's "
    "money{chance}.",
    "energy": "{who} makes {kwh} kWh a year.",
    "chance": "; the probability that it pays is {chance}",
    "axis": "years after building",
    "bought": BOUGHT,
    "years": "{years} years",
    "never": NEVER,
    "unknown": NOT_KNOWN,
    "to": "to",
    "over": "over 99 %",
    "below": "below 1 %",
}
"""What the script says, so that every word of the page stands in Python."""


def sliders_of(estimate: Estimate, scenarios: Sequence[BuildScenarios]) -> list[dict[str, Any]]:
    """Return key, label, stops and the plan's own place of every slider.

    Hub height and number of machines have no stops here: each build has its own.
    """
    terms, sign = estimate.terms, CURRENCY_SIGNS.get(estimate.currency)
    amount = f"{{}} {estimate.currency}" if sign is None else f"{sign}{{}}"
    if len(estimate.inputs.winds) == 1:
        (at_mast,) = estimate.inputs.winds.values()
        speeds = at_mast.mean_speed_ms * floats(WIND_FACTORS)
        times, unit = as_shown(1.0, "m/s")
        label = f"wind at {length(at_mast.distribution.height_m)}"
        wind = {**_slider("wind", label, f"{{}} {unit}", speeds, 1.0, times), "decimals": 2}
    else:
        wind = _slider("wind", "mean wind", "{} %", floats(WIND_FACTORS), 1.0, 100)
    times, unit = as_shown(1.0, "m")
    height = {"key": "height", "label": "hub height", "said": f"{{}} {unit}", "times": times}
    sliders = [
        wind,
        {**height, "own": True},
        {"key": "count", "label": "machines", "said": "{}", "times": 1, "own": True},
    ]
    if not any(each.expenditures for each in scenarios):
        return sliders
    price = terms.price_per_kwh
    if price:
        prices, hour = price * np.linspace(0, 2.5, 51), 100 * price
        step = 10 ** np.floor(np.log10(hour / 20)) * 2
        sliders += [
            _slider("price", "price of a kWh", amount, prices, price),
            *(
                # Against a load profile the share follows from the energy.
                _slider("used", "used yourself", "{} %", np.linspace(0, 1, 21),
                        terms.self_consumption_share, 100)
                for _ in range(estimate.inputs.load_profile is None)
            ),
            _slider("wage", "own work, an hour", amount,
                    step * np.arange(np.ceil(hour / step) + 1), terms.wage_per_hour),
        ]  # fmt: skip
    life, rate = terms.life_years, terms.discount_rate
    lives = floats(np.arange(max(1, round(life / 3)), 2 * life + 1))
    return [
        *sliders,
        _slider("life", "life", "{} years", lives, life),
        _slider("rate", "real discount rate", "{} %", np.linspace(0, 0.12, 25), rate, 100),
        _slider("bill", "parts bill", "{} %", np.linspace(0.5, 2, 31), 1.0, 100),
    ]


def _slider(
    key: str, label: str, said: str, stops: FloatArray, stated: float, times: float = 1
) -> dict[str, Any]:
    if key == "wind":  # counted in factors, said in speeds
        place = WIND_FACTORS.index(1.0)
    else:
        near = int(np.argmin(np.abs(stops - stated)))
        if abs(stops[near] - stated) <= 1e-9 * (1 + abs(stated)):
            stops = np.where(np.arange(stops.size) == near, stated, stops)
        else:
            stops = np.sort(np.append(stops, stated))
        place = int(np.flatnonzero(stops == stated)[0])
    return {
        "key": key, "label": label, "said": said, "times": times, "own": False,
        "stops": stops.tolist(), "stated": place,
    }  # fmt: skip


def payload(
    estimate: Estimate,
    scenarios: Sequence[BuildScenarios],
    sliders: Sequence[dict[str, Any]],
    rows: Sequence[str],
) -> dict[str, Any]:
    """Return what the script needs as values for JSON: stops, tables, bills, draws and words.

    The sliders are from `sliders_of`; rows are the keys of the figures in the table of the answer.
    """
    terms = estimate.terms
    return {
        "sliders": list(sliders),
        "builds": [
            _build(style, of, build)
            for (style, build), of in zip(drawn(estimate.builds), scenarios, strict=False)
        ],
        "figures": {
            key: {
                "digits": BY_KEY[key].digits,
                "better": BY_KEY[key].better,
                "never": BY_KEY[key].never,
                "share": BY_KEY[key].unit.startswith("share"),
            }
            for key in rows
            if key in BY_KEY
        },
        "terms": {
            "priced": terms.price_per_kwh is not None,
            "stated_price": terms.price_per_kwh or 0.0,
            "used": terms.self_consumption_share,
            "wage": terms.wage_per_hour,
            "grant": terms.grant,
            "grant_share": terms.grant_share,
            "escalation": terms.real_price_escalation_per_year,
            "degradation": terms.degradation_per_year,
        },
        "likely": LIKELY,
        "words": _WORDS,
        "currency": estimate.currency,
        "sign": CURRENCY_SIGNS.get(estimate.currency),
    }


def _build(style: BuildStyle, of: BuildScenarios, build: BuildEstimate) -> dict[str, Any]:
    draws, used = None, build.self_consumption
    if of.draws is not None:
        draws = {key: _short(values) for key, values in asdict(of.draws).items()}
    return {
        "letter": style.mark,
        "colour": style.colour,
        "dashes": style.dashes,
        "name": of.name,
        "stops": {"height": of.hub_heights_m.tolist(), "count": of.counts.tolist()},
        "stated": {"height": of.stated[0], "count": of.stated[1]},
        "kwh": of.net_kwh.tolist(),
        "one_quantiles": [[_short(each) for each in row] for row in of.quantiles[0]],
        "usual_quantiles": [[_short(each) for each in row] for row in of.quantiles[1]],
        "paid": [[_paid(each) for each in both] for both in of.expenditures],
        "draws": draws,
        # Against a load profile each build has its own share used: at each stop, and by energy.
        "used": None if of.used_share is None else json_ready(of.used_share),
        "used_at": None if used is None else [used.made_at_kwh.tolist(), used.share_at.tolist()],
        "export": build.terms.export_price_per_kwh,
    }


def _short(values: FloatArray) -> list[float]:
    return [float(f"{value:.{_DIGITS}g}") for value in values]


def _paid(expenditure: Expenditure) -> dict[str, Any]:
    """Return an expenditure, of sums by year only those that are not zero, as year and sum."""
    return {
        name: [[y, v] for y, v in enumerate(value.tolist()) if v]
        if isinstance(value, np.ndarray)
        else value
        for name, value in vars(expenditure).items()
    }


def how_far_off(estimate: Estimate, scenarios: Sequence[BuildScenarios]) -> str:
    """Return what of the sliders' results is computed, and how far off the rest is."""
    error = max((each.range_error for each in scenarios), default=0.0)
    ranged = (
        f" Ranges after a move come from {scenarios[0].draws.one_year.size} of the draws: "
        f"their ends are off by at most {percent(error)} of their width, measured at every stop of "
        "wind and height."
        if scenarios and scenarios[0].draws is not None
        else ""
    )
    shares = (
        " The share used by yourself has no slider, for it follows from the load profile: it was "
        "reckoned hour by hour at every stop, and in the ranges it goes with the energy as in the "
        "draws of the plan; of the rest the same part is sold."
        if estimate.inputs.load_profile is not None
        else ""
    )
    return (
        "The energy at every stop of the sliders was computed in full by yieldest beforehand; "
        f"nothing lies between stops.{ranged}{shares} A taller mast costs more and the bill does "
        "not know: turn both."
    )
