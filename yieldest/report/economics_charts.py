"""Charts of the money: when it comes back, what the bill goes on, and how many units pay."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from yieldest.arrays import FloatArray, percent, rounded
from yieldest.economics.measures import present_value
from yieldest.model.quantities import BY_KEY, in_currency, sign_of
from yieldest.model.scenarios import drawn_flow
from yieldest.report.chart import Chart, bars, drawn, finish, label, legend, line_of, write_letter
from yieldest.report.palette import colour

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from yieldest.model.estimate import Estimate
    from yieldest.model.number_of_machines import CostByNumber
    from yieldest.model.scenarios import BuildScenarios

_MOST_GROUPS = 20
"""Of a bill, in one chart; the rest are summed."""


def groups_chart(estimate: Estimate) -> Chart | None:
    """Return what the bill of each build goes on; None without a bill."""
    currency, sign = estimate.currency, sign_of(estimate.currency)
    shown = {
        style: build.cost
        for style, build in drawn(estimate.builds)
        if build.cost is not None and build.cost.capital_cost > 0
    }
    if not shown:
        return None
    built = BY_KEY["capital_cost"]
    groups = list(dict.fromkeys(group for cost in shown.values() for group in cost.by_group))
    parts = []
    for style, cost in shown.items():
        largest = max(cost.by_group, key=lambda group: cost.by_group[group])
        share = percent(cost.by_group[largest] / cost.capital_cost)
        costs = built.amount(cost.capital_cost, currency)
        parts.append(f"{style.letter} costs {costs}, of which {largest} {share}, the most")
    values = {
        style: [cost.by_group.get(group, 0.0) for group in groups] for style, cost in shown.items()
    }
    if len(groups) > _MOST_GROUPS:
        largest_first = np.argsort(-np.sum(list(values.values()), axis=0), kind="stable")
        named, rest = np.split(largest_first, [_MOST_GROUPS - 1])
        groups = [*(groups[at] for at in named), f"{rest.size:,} other groups"]
        values = {
            style: [*(each[at] for at in named), sum(each[at] for at in rest)]
            for style, each in values.items()
        }
    return Chart(
        "cost-by-group",
        "What the bill goes on",
        "; ".join(parts) + ".",
        "the lines of the bill by their group, for all the machines, own labour at its wage",
        {"group": groups, **{f"{s.letter} ({sign})": each for s, each in values.items()}},
        lambda figure: bars(figure, groups, values, built.written, built.named(currency)),
        0.8 + 0.17 * len(groups) * (0.6 + len(shown)),
    )


def parts_chart(estimate: Estimate) -> Chart | None:
    """Return what the cost of a kWh of each build is made of; None without one."""
    currency, rate = estimate.currency, estimate.terms.discount_rate
    rows = ("to build, less what is left", "replacements", "upkeep", "in all")
    values, parts = {}, []
    for style, build in drawn(estimate.builds):
        cost = build.cost
        if cost is None or cost.cost_per_kwh is None:
            continue
        spent, energy = cost.expenditure, float(present_value(cost.flow.energy_kwh, rate))
        years = np.arange(spent.maintenance_in_years.size) >= 1
        upkeep = years * spent.maintenance_per_year + spent.maintenance_in_years
        later = [
            float(present_value(each, rate)) / energy for each in (spent.replacement_costs, upkeep)
        ]
        first = cost.cost_per_kwh - sum(later)
        values[style] = [first, *later, cost.cost_per_kwh]
        parts.append(
            f"a kWh of {style.letter} costs {in_currency(cost.cost_per_kwh, currency, 2)}, of "
            f"which {in_currency(first, currency, 2)} is for building it"
        )
    if not values:
        return None
    if estimate.terms.price_per_kwh is not None:
        parts.append(f"a bought one costs {in_currency(estimate.terms.price_per_kwh, currency, 2)}")
    text, unit = "; ".join(parts), f"{sign_of(currency)}/kWh"
    return Chart(
        "cost-of-a-kwh",
        "What a kWh is made of",
        f"{text[0].upper()}{text[1:]}.",
        "each discounted over the life, over the discounted energy; a grant and what the parts "
        "bring at the end are taken off what it costs to build",
        {"part": rows, **{f"{s.letter} ({unit})": each for s, each in values.items()}},
        lambda figure: bars(figure, rows, values, rounded, f"cost per kWh ({unit})"),
        0.8 + 0.17 * len(rows) * (0.6 + len(values)),
    )


def flow_chart(estimate: Estimate, scenarios: Sequence[BuildScenarios]) -> Chart | None:
    """Return the balance of each build by year with its range; None without a bill or a price."""
    shown = [
        (style, build, build.cost)
        for style, build in drawn(estimate.builds)
        if build.cost is not None
    ]
    if not shown or estimate.terms.price_per_kwh is None:
        return None
    currency, life = estimate.currency, estimate.terms.life_years
    sign = sign_of(currency)
    years = np.arange(life + 1)
    sums = {style: np.cumsum(cost.flow.net) for style, _, cost in shown}
    bands: dict[str, FloatArray] = {}
    numbers = [build.name for build in estimate.builds]
    for style, build, _ in shown:
        of = scenarios[numbers.index(build.name)]
        if of.draws is not None:
            net = drawn_flow(estimate, numbers.index(build.name), of, of.draws).net
            bands[style.letter] = np.quantile(
                np.cumsum(net, axis=-1)[:, : life + 1], (0.05, 0.95), axis=0
            )
    parts = []
    for style, _, cost in shown:
        back = (
            "is not paid off"
            if cost.payback_years is None
            else f"is paid off after {rounded(cost.payback_years)} years"
        )
        left = in_currency(float(sums[style][-1]), currency)
        parts.append(f"{style.letter} {back} and stands at {left} after {life}")

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        axes.axhline(0, color=colour("ink"), linewidth=1)
        for style, build, cost in shown:
            if style.letter in bands:
                low, high = bands[style.letter]
                axes.fill_between(
                    years, low, high, color=colour(style.colour), alpha=0.14, linewidth=0
                )
            axes.plot(years, sums[style], **{**line_of(style, build.name), "marker": ""})
            write_letter(axes, style, (years[-1], sums[style][-1]), offset=(8, -3))
            if cost.payback_years is not None:
                axes.plot(cost.payback_years, 0, "o", color=colour(style.colour), markersize=8)
            if cost.net_present_value is not None:
                axes.plot(
                    life, cost.net_present_value, "D", color=colour(style.colour), clip_on=False,
                    markerfacecolor=colour("paper"),
                )  # fmt: skip
        axes.set(xlabel="years after building", ylabel=f"balance ({sign}, today's money)")
        axes.locator_params(axis="x", integer=True)
        axes.yaxis.set_major_formatter("{x:,.0f}")
        legend(figure)

    ends = {
        f"{letter} {end} ({sign})": band.tolist()
        for letter, both in bands.items()
        for end, band in zip(("low", "high"), both, strict=True)
    }
    return Chart(
        "cash-flow",
        "The money over the years",
        "; ".join(parts) + ".",
        "spent and saved, added up year by year, not discounted, replacements counted; the band is "
        "the 90 % range of the draws, the dot the payback, the diamond the net present value",
        {
            "year": years.tolist(),
            **{f"{style.letter} balance ({sign})": each.tolist() for style, each in sums.items()},
            **ends,
        },
        draw,
    )


def units_chart(estimate: Estimate, numbers: Sequence[CostByNumber]) -> Chart | None:
    """Return cost per kWh against the number of machines; None without a build of several."""
    currency, price = estimate.currency, estimate.terms.price_per_kwh
    sign = sign_of(currency)
    styles = {build.name: style for style, build in drawn(estimate.builds)}
    lines = [each for each in numbers if each.build in styles]
    if not lines:
        return None
    parts, rows = [], []
    for line in lines:
        letter, first, last = styles[line.build].letter, line.steps[0], line.steps[-1]
        rows += [(letter, step.count, step.cost_per_kwh) for step in line.steps]
        if first.cost_per_kwh is not None and last.cost_per_kwh is not None:
            parts.append(
                f"A kWh of {letter} costs {in_currency(first.cost_per_kwh, currency, 2)} with "
                f"{first.count} and {in_currency(last.cost_per_kwh, currency, 2)} with {last.count}"
            )
    singles = {line.single: line.single_cost_per_kwh for line in lines if line.single in styles}

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        for line in lines:
            axes.plot(
                [step.count for step in line.steps],
                [np.nan if s.cost_per_kwh is None else s.cost_per_kwh for s in line.steps],
                **line_of(styles[line.build], line.build),
            )
        for name, level in singles.items():
            style = styles[str(name)]
            axes.axhline(
                level or np.nan, label=label(style, f"{name} (one machine)"),
                color=colour(style.colour), linestyle=style.line, linewidth=1.5,
            )  # fmt: skip
        if price is not None:
            axes.axhline(price, color=colour("ink"), linestyle=":", label="a bought kWh")
        finish(
            axes, grid="y", xlabel="number of machines", ylim=(0, None),
            ylabel=f"cost per kWh ({sign}/kWh)",
        )  # fmt: skip
        axes.locator_params(axis="x", integer=True)
        legend(figure)

    return Chart(
        "cost-by-number",
        "What a kWh costs, by number of machines",
        "; ".join(parts) + ".",
        "computed anew for each number; what the array and the site need is shared",
        {
            "build": [letter for letter, _, _ in rows],
            "machines": [count for _, count, _ in rows],
            f"cost per kWh ({sign}/kWh)": [cost for _, _, cost in rows],
        },
        draw,
    )
