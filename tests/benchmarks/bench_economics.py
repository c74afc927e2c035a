"""How quick the money and the wakes are: many draws at once, and arrays of many machines.

Run it as `python tests/benchmarks/bench_economics.py [--json FILE]`.
"""

from __future__ import annotations

import numpy as np
import numpy_financial as npf
from harness import Figure, best_of, report

from yieldest.economics.cash_flow import Expenditure, Prices, cash_flow
from yieldest.economics.measures import cost_per_kwh, payback_years, present_value
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.closed_form import mean_power_w
from yieldest.energy.wakes import (
    directions_within,
    grid_positions,
    rose_of_weibull,
    speeds_in_array,
)

DRAWS = 100_000
LIFE = 15


def draws() -> Figure:
    """Time energy and all measures for many draws against numpy-financial in a loop."""
    random = np.random.default_rng(1)
    scale = random.normal(6.0, 0.4, DRAWS)
    capital, price, rate = (
        random.uniform(low, high, DRAWS) for low, high in ((900, 2500), (0.2, 0.5), (0.01, 0.08))
    )
    later = np.zeros(LIFE + 1)
    later[[5, 8, 10]] = 0.15, 0.12, 0.15
    bill = Expenditure(1.0, later, 0.02, np.zeros(LIFE + 1), 0.0)
    terms = EconomicTerms(degradation_per_year=0.01)
    speed, power = np.linspace(2.5, 16, 15), np.linspace(0, 1000, 15)

    def ours() -> tuple[np.ndarray, ...]:
        kwh = mean_power_w(2.0, scale, speed, power) * 8.76
        flow = cash_flow(bill, kwh, terms, Prices(price, bill_scale=capital))
        return (
            flow.net,
            present_value(flow.net, rate),
            cost_per_kwh(flow.cost, flow.energy_kwh, rate),
            payback_years(flow.net),
            payback_years(flow.net, rate),
        )

    net, value, *_ = ours()
    some = 2000

    def one_by_one() -> list[float]:
        return [npf.npv(r, f) for r, f in zip(rate[:some], net[:some], strict=True)]

    worst = float(np.abs(value[:some] - one_by_one()).max())
    return Figure(
        f"energy, present value, cost per kWh, two paybacks, {DRAWS:,} draws",
        best_of(ours),
        f"numpy_financial.npv in a loop, {DRAWS:,}",
        best_of(one_by_one) * DRAWS / some,
        "time < 2 s",
        f"present values differ by at most {worst:.1e}",
    )


def wakes(count: int) -> Figure:
    """Time the wakes of a grid all round against one pass of its free power."""
    rose = rose_of_weibull(2.0, 6.0, 20.0)
    places = grid_positions(count, 30, 5, columns=max(1, int(count**0.5)), row_spacing=7)
    nodes, thrust = [3.0, 20.0], [0.8, 0.8]

    def all_round() -> None:
        for directions in directions_within(rose):
            speeds_in_array(rose.speed_ms, places, directions, nodes, thrust)

    free = np.zeros((180, count, rose.speed_ms.size))
    return Figure(
        f"wakes of {count} machines, 180 directions, {rose.speed_ms.size} speeds",
        best_of(all_round, 3),
        "one pass over as many powers",
        best_of(lambda: np.interp(free, nodes, thrust)),
        "time < 5 s",
    )


if __name__ == "__main__":
    report([draws(), wakes(10), wakes(50), wakes(200)])
