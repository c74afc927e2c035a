"""Charts of the money: what the bill goes on, when it comes back, and how many units pay."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from yieldest.arrays import NOT_KNOWN, percent, rounded
from yieldest.html_repr import printable
from yieldest.report.chart import (
    Chart,
    drawn,
    finish,
    known_or_none,
    label,
    legend,
    line_of,
    rule_at,
    write,
    write_letter,
)
from yieldest.report.palette import BuildStyle, colour

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from yieldest.economics.evaluation import Cost
    from yieldest.model.build_estimate import BuildEstimate
    from yieldest.model.estimate import Estimate
    from yieldest.model.scenarios import Axis, BuildGrid

Costed = tuple[BuildStyle, "BuildEstimate", "Cost"]


def _costed(builds: Sequence[BuildEstimate]) -> list[Costed]:
    return [(style, build, build.cost) for style, build in drawn(builds) if build.cost is not None]


def groups_chart(estimate: Estimate) -> Chart | None:
    """Return what the bill of each build goes on; None without a bill."""
    shown = [one for one in _costed(estimate.builds) if one[2].capital_cost > 0]
    if not shown:
        return None
    currency = estimate.currency
    groups = list(dict.fromkeys(group for _, _, cost in shown for group in cost.by_group))
    parts = []
    for style, _, cost in shown:
        dearest = max(cost.by_group, key=lambda group: cost.by_group[group])
        share = cost.by_group[dearest] / cost.capital_cost
        parts.append(
            f"{style.letter} costs {rounded(cost.capital_cost, 3)} {currency}, most of it "
            f"{dearest} ({percent(share)})"
        )

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        height = 0.8 / len(shown)
        for place, (style, build, cost) in enumerate(shown):
            axes.barh(
                [g - 0.4 + (place + 0.5) * height for g in range(len(groups))],
                [cost.by_group.get(group, 0.0) for group in groups],
                height=height * 0.85,
                color=colour(style.colour),
                linewidth=0,
                label=label(style, build.name),
            )
        axes.set_yticks(range(len(groups)), [printable(group) for group in groups])
        axes.invert_yaxis()
        axes.xaxis.set_major_formatter("{x:,.0f}")
        finish(axes, grid="x", ticks=5, xlabel=f"capital cost ({currency})")
        legend(figure)

    return Chart(
        "cost-by-group",
        "What the bill goes on",
        "; ".join(parts) + ".",
        "the lines of the bill by their group, for all the machines, own labour at its wage",
        {
            "group": groups,
            **{
                f"{style.letter} ({currency})": [cost.by_group.get(group) for group in groups]
                for style, _, cost in shown
            },
        },
        draw,
        1.2 + 0.22 * len(groups) * (1 + len(shown)),
    )


def flow_chart(estimate: Estimate) -> Chart | None:
    """Return the balance of each build by year; None without a bill or a price."""
    shown = _costed(estimate.builds)
    if not shown or estimate.terms.price_per_kwh is None:
        return None
    currency, life = estimate.currency, estimate.terms.life_years
    years = np.arange(life + 1)
    balance = {style.letter: np.cumsum(cost.flow.net) for style, _, cost in shown}
    parts = []
    for style, _, cost in shown:
        if cost.payback_years is None:
            parts.append(f"{style.letter} never comes back above zero to stay")
        else:
            parts.append(
                f"{style.letter} is above zero to stay after {rounded(cost.payback_years)} years"
            )
        parts[-1] += (
            f" and stands at {rounded(float(balance[style.letter][-1]))} {currency} after "
            f"{life} years"
        )

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        axes.axhline(0, color=colour("ink"), linewidth=1)
        for style, build, _ in shown:
            sums = balance[style.letter]
            axes.plot(years, sums, **line_of(style, build.name))
            write_letter(axes, style, (years[-1], sums[-1]), offset=(6, -3))
        axes.set(xlabel="years after building", ylabel=f"balance ({currency}, today's money)")
        axes.locator_params(axis="x", integer=True)
        axes.yaxis.set_major_formatter("{x:,.0f}")
        legend(figure)

    return Chart(
        "cash-flow",
        "When the money comes back",
        "; ".join(parts) + ".",
        "what is spent and saved, added up year by year and not discounted, replacements included",
        {
            "year": years.tolist(),
            **{f"{letter} balance ({currency})": sums.tolist() for letter, sums in balance.items()},
        },
        draw,
    )


def units_chart(estimate: Estimate, grids: Sequence[BuildGrid]) -> Chart | None:
    """Return cost per kWh against the number of machines; None without a bill."""
    currency = estimate.currency
    lines = [
        (style, grid, grid.along("cost_per_kwh", "count"))
        for (style, _), grid in zip(drawn(estimate.builds), grids, strict=False)
        if grid.surface("cost_per_kwh") is not None
    ]
    if not lines:
        return None
    price = estimate.terms.price_per_kwh
    parts = []
    for style, grid, cost in lines:
        axis = _counts(grid)
        if np.isfinite(cost).any():
            parts.append(
                f"{style.letter} costs {_money(cost[0])} {currency} a kWh with "
                f"{axis.values[0]:g} and {_money(cost[-1])} with {axis.values[-1]:g} machines"
            )

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        for style, grid, cost in lines:
            axis = _counts(grid)
            axes.plot(axis.values, cost, **line_of(style, grid.name))
            axes.plot(
                axis.stated,
                cost[axis.stated_index],
                marker="o",
                markersize=12,
                markerfacecolor="none",
                markeredgecolor=colour(style.colour),
            )
        if price is not None:
            rule_at(axes, y=price)
            worth = f"worth of a kWh: {price:g} {currency}"
            write(axes, worth, (1, price), (-2, 3), ha="right", xycoords=("axes fraction", "data"))
        axes.set(
            xlabel="number of machines (the plan's own in a ring)",
            ylabel=f"cost per kWh ({currency}/kWh)",
            ylim=(0, None),
        )
        axes.locator_params(axis="x", integer=True)
        legend(figure)

    letters = [style.letter for style, grid, cost in lines for _ in cost]
    counts = [float(n) for _, grid, _ in lines for n in _counts(grid).values]
    costs = [value for _, _, cost in lines for value in known_or_none(cost)]
    return Chart(
        "cost-by-number",
        "What a kWh costs, by number of machines",
        "; ".join(parts) + ".",
        "all of it computed anew for each number; what the array and the site need is shared",
        {"build": letters, "machines": counts, f"cost per kWh ({currency}/kWh)": costs},
        draw,
    )


def _counts(grid: BuildGrid) -> Axis:
    axis = grid.axis("count")
    assert axis is not None  # every grid has one
    return axis


def _money(value: float) -> str:
    return rounded(float(value)) if np.isfinite(value) else NOT_KNOWN
