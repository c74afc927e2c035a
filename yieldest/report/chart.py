"""One chart: what it shows, in words, in numbers and drawn."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from yieldest.arrays import floats, number_or_none
from yieldest.frozen import frozen_dataclass
from yieldest.html_repr import printable
from yieldest.report.palette import BUILD_STYLES, BuildStyle, colour, drawing, figure_size
from yieldest.units import as_shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from yieldest.model.build_estimate import BuildEstimate

LONGEST_NAME = 30


@frozen_dataclass
class Chart:
    """A chart of the page, which is also a picture and a table.

    It is named by its files and its place in the page. The message is what it shows, in a sentence
    or two: the alternative for those who do not see it; the method says where the numbers come
    from, which stand under headings with their units; and it is drawn into an empty figure.
    """

    name: str
    title: str
    message: str
    method: str
    numbers: Mapping[str, Sequence[str | float | None]]
    draw: Callable[[Figure], None]
    height_in: float = 3.3

    def figure(self, *, titled: bool) -> Figure:
        """Return the drawn figure, with its title in it when it is to stand alone."""
        from matplotlib.figure import Figure  # noqa: PLC0415

        from yieldest.report.margins import Margins  # noqa: PLC0415

        with drawing():
            height = self.height_in + (0.3 if titled else 0.0)
            figure = Figure(figsize=figure_size(height), layout="constrained")
            self.draw(figure)
            if titled:
                figure.suptitle(self.title, x=0.02, ha="left", fontweight="bold")
            elif [axes.name for axes in figure.axes] == ["rectilinear"]:
                figure.set_layout_engine(Margins())
        return figure


def drawn(builds: Sequence[BuildEstimate]) -> list[tuple[BuildStyle, BuildEstimate]]:
    """Return the builds that figures show, each with its style."""
    if len(builds) == 1:
        quoted = f"“{printable(builds[0].name)}”"
        return [(replace(BUILD_STYLES[0], letter=quoted, alone=True), builds[0])]
    return list(zip(BUILD_STYLES, builds, strict=False))


def label(style: BuildStyle, name: str) -> str:
    """Return letter and name of a build, short enough for a figure."""
    shown = printable(name)
    if len(shown) > LONGEST_NAME:
        shown = shown[: LONGEST_NAME - 1].rstrip() + "…"
    # A leading underscore would hide a line from matplotlib's legend; letter or quote prevent that.
    return f"“{shown}”" if style.alone else f"{style.letter}  {shown}"


def known_or_none(values: npt.ArrayLike) -> list[float | None]:
    """Return numbers for a table, None for NaN."""
    return [number_or_none(value) for value in floats(values)]


def line_of(style: BuildStyle, name: str) -> dict[str, Any]:
    """Return how the line of a build looks, and what the legend calls it."""
    return {
        "color": colour(style.colour),
        "linestyle": style.line,
        "marker": style.marker,
        "label": label(style, name),
    }


def legend(figure: Figure) -> None:
    """Put the legend below the axes, one build a line, for names may be long."""
    figure.legend(loc="outside lower left", ncols=1, handlelength=2.6, borderpad=0.1)


def bars(
    figure: Figure,
    rows: Sequence[str],
    values: Mapping[BuildStyle, Sequence[float]],
    written: Callable[[float], str],
    xlabel: str,
) -> None:
    """Draw a bar for each row and build, what it comes to beside it, and no scale.

    Of each build there is a value for each row; 0 draws nothing. The label has the unit.
    """
    axes = figure.add_subplot()
    height = 0.8 / len(values)
    for place, (style, each) in enumerate(values.items()):
        middle = np.arange(len(rows)) - 0.4 + (place + 0.5) * height
        axes.barh(
            middle, each, height=height * 0.85, color=colour(style.colour), hatch=style.hatch,
            edgecolor=colour("paper"), linewidth=0,
        )  # fmt: skip
        for y, value in zip(middle, each, strict=True):
            if value:
                text = f"{style.mark}  {written(value)}".strip()
                write(axes, text, (value, float(y)), (4, 0), va="center", fontsize=9.5)
    axes.set_yticks(range(len(rows)), list(map(printable, rows)))
    axes.invert_yaxis()
    most = max(max(each) for each in values.values())
    axes.grid(False)
    axes.spines["bottom"].set_visible(False)
    axes.set(xlabel=xlabel, xlim=(0, 1.25 * most or 1.0), xticks=[])


def along_speed(axes: Axes, what: str) -> None:
    """Mark an axis that is drawn in m/s by round numbers in the unit of the reader."""
    from matplotlib.ticker import MaxNLocator  # noqa: PLC0415

    times, unit = as_shown(1.0, "m/s")
    low, high = axes.get_xlim()
    ticks = MaxNLocator(8, steps=[1, 2, 5, 10]).tick_values(times * low, times * high)
    shown = [tick for tick in ticks if times * low <= tick <= times * high]
    axes.set_xticks([tick / times for tick in shown], [f"{tick:g}" for tick in shown])
    axes.set(xlabel=f"{what} ({unit})", xlim=(low, high))


def finish(axes: Axes, *, grid: str = "y", ticks: int | None = None, **settings: Any) -> None:  # noqa: ANN401
    """Set labels and limits once all is drawn, with grid lines across "x", "y" or "both".

    There are at most so many ticks along x; settings are those of `matplotlib.axes.Axes.set`.
    """
    axes.set(**settings)
    axes.grid(grid != "x", axis="y")
    if grid != "y":
        axes.grid(True, axis="x")
    if ticks is not None:
        axes.locator_params(axis="x", nbins=ticks)


def write(
    axes: Axes,
    text: str,
    at: tuple[float, float],
    offset: tuple[float, float],
    **look: Any,  # noqa: ANN401
) -> None:
    """Write beside a point, some printer's points away from it, on paper without grid lines."""
    look["bbox"] = {"facecolor": colour("paper"), "edgecolor": "none", "pad": 0.6}
    axes.annotate(text, at, xytext=offset, textcoords="offset points", **look)


def write_letter(axes: Axes, style: BuildStyle, at: tuple[float, float], **look: Any) -> None:  # noqa: ANN401
    """Write a build's letter on its line, so that nothing hangs on colour alone."""
    write(axes, style.mark, at, fontweight="bold", color=colour(style.colour), **look)


def rule_at(axes: Axes, x: float) -> None:
    """Draw a dotted line upright, for a value that the rest is to be set against."""
    axes.axvline(x, color=colour("ink"), linewidth=1, linestyle=":")
