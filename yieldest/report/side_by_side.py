"""The builds side by side, line by line, and which is better by each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from rich import box
from rich.table import Table
from rich.text import Text

from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.model.quantities import ECONOMIC_MEASURES, EconomicMeasure
from yieldest.report.wording import percent, rounded, whole


@dataclass(frozen=True)
class Line:
    """One line of the table of builds side by side.

    Parameters
    ----------
    label, unit : str
    value : callable
        The figure of a build, or None.
    write : callable
        The figure as text.
    more_is_better : bool
    none_is_never : bool
        Whether a build with a cost and energy but no such figure never has it.
    """

    label: str
    unit: str
    value: Callable[[BuildEstimate], float | None]
    write: Callable[[float | None], str]
    more_is_better: bool
    none_is_never: bool = False

    def text(self, build: BuildEstimate) -> str:
        """Return the figure of a build as text."""
        value = self.value(build)
        earns = build.cost is not None and build.energy.net_kwh > 0
        return "never" if value is None and self.none_is_never and earns else self.write(value)


def _writer(measure: EconomicMeasure) -> Callable[[float | None], str]:
    """Return what writes a figure rounded to what is known."""

    def write(value: float | None) -> str:
        if measure.unit == "share per year":
            return percent(value)
        if measure.digits > 2:
            return whole(value, measure.digits)
        return rounded(value, measure.digits)

    return write


def lines_of(estimate: Estimate) -> list[Line]:
    """Return the lines of energy and money that builds are compared by."""
    money = estimate.currency

    terms = estimate.terms
    priced = terms.price_per_kwh is not None
    lines = [
        Line("net energy", "kWh/year", lambda b: b.energy.net_kwh, rounded, True),
        *(
            Line(
                measure.label,
                measure.unit.format(currency=money).removeprefix("share "),
                measure.value,
                _writer(measure),
                measure.more_is_better,
                measure.none_is_never and priced,
            )
            for measure in ECONOMIC_MEASURES
            if measure.label and measure.shown(terms)
        ),
    ]
    return [
        line
        for line in lines
        if line.none_is_never or any(line.value(build) is not None for build in estimate.builds)
    ]


def better(line: Line, builds: tuple[BuildEstimate, ...]) -> int | None:
    """Return which build is better by a line, by what is printed; None where that is alike."""
    sign = -1.0 if line.more_is_better else 1.0
    ranked = sorted(
        (sign * value, i)
        for i, build in enumerate(builds)
        if (value := line.value(build)) is not None
    )
    if not ranked or len(builds) < 2:
        return None
    texts = [line.text(build) for build in builds]
    best = ranked[0][1]
    return None if texts.count(texts[best]) > 1 else best


def side_by_side(estimate: Estimate) -> Table:
    """Return energy and money of all builds as a table, the better one marked line by line."""
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    table.add_column("")
    for build in estimate.builds:
        table.add_column(Text(build.name), justify="right", overflow="fold")
    table.add_column("unit")
    for line in lines_of(estimate):
        best = better(line, estimate.builds)
        cells = []
        for i, build in enumerate(estimate.builds):
            mark = "better " if i == best else ""
            cells.append(Text(f"{mark}{line.text(build)}"))
        table.add_row(line.label, *cells, line.unit)
    return table
