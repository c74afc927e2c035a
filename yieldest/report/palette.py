"""Colours and lines of page and figures: one palette, told apart by the colour-blind too."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING

from yieldest.frozen import frozen_dataclass

if TYPE_CHECKING:
    from matplotlib import RcParams

PALETTE = {
    # name: (on light paper, on dark paper)
    "paper": ("#fbf8f1", "#11181d"),
    "sheet": ("#f3eee2", "#19232a"),
    "ink": ("#16242c", "#ece8dd"),
    "muted": ("#51606a", "#a9b5bc"),
    "rule": ("#d5cebd", "#3a464f"),
    "blue": ("#0a5c96", "#74bdf0"),
    "blue-soft": ("#c5dded", "#1f4560"),
    "orange": ("#b84a00", "#ff9f5a"),
    "orange-soft": ("#f5d4ba", "#5a3415"),
    "green": ("#00543f", "#8af0cc"),
    "green-soft": ("#bde2d5", "#174d3f"),
    "purple": ("#943a74", "#e79aca"),
    "ochre": ("#846600", "#e6c54a"),
}
"""Hues of Okabe & Ito, *Color Universal Design*, 2008 (blue, vermilion, bluish green, reddish
purple, yellow), darkened or lightened until they stand out from the paper."""

CALM_TO_STRONG = (
    "#fdf3d8", "#e6dcae", "#bfcb96", "#8fb889", "#5fa284", "#378a80", "#1d6f79", "#12546c",
    "#0d3859",
)  # fmt: skip
"""Steps for a map of wind speeds: lightness falls all the way, so it also reads without colour."""

_WIDTH_IN = 4.9
_FONT_PT = 10.5


@frozen_dataclass
class BuildStyle:
    """How a build is drawn wherever several are drawn together.

    The letter is what sentences call it, or its name in quotes where it is the only one, `alone`.
    The colour is a name in `PALETTE`; line, marker and hatch are matplotlib's, and dashes are the
    same line as SVG writes it.
    """

    letter: str
    colour: str
    line: str
    marker: str
    hatch: str
    dashes: str
    alone: bool = False

    @property
    def mark(self) -> str:
        """The letter beside its line and bars; none is needed where it is the only one."""
        return "" if self.alone else self.letter


BUILD_STYLES = (
    BuildStyle("A", "blue", "-", "o", "", "none"),
    BuildStyle("B", "orange", "--", "s", "///", "9 4"),
    BuildStyle("C", "purple", "-.", "^", "...", "12 4 2 4"),
    BuildStyle("D", "green", ":", "D", "xxx", "2 3"),
    BuildStyle("E", "ochre", (0, (6, 1, 1, 1, 1, 1)), "v", "|||", "15 3 3 3 3 3"),  # type: ignore[arg-type]
    BuildStyle("F", "ink", (0, (1, 1)), "P", "---", "3 2"),  # type: ignore[arg-type]
)
"""More builds than these are in the tables and not in the figures."""


def colour(name: str) -> str:
    """Return a colour of the palette on light paper."""
    return PALETTE[name][0]


def figure_size(height_in: float) -> tuple[float, float]:
    """Return width and height of a figure in inches."""
    return _WIDTH_IN, height_in


@contextmanager
def drawing() -> Iterator[None]:
    """Give matplotlib our look, and nothing of what the user's own settings say."""
    import matplotlib  # noqa: PLC0415 - only drawing waits for it

    with matplotlib.rc_context():
        # To look through every setting for each of many figures would take as long as to draw one.
        dict.update(matplotlib.rcParams, _look())
        yield


@cache
def _look() -> RcParams:
    import matplotlib  # noqa: PLC0415

    return matplotlib.RcParams(
        {
            **matplotlib.rcParamsDefault,
            **dict.fromkeys(("font.size", "axes.labelsize", "axes.titlesize"), _FONT_PT),
            **dict.fromkeys(("xtick.labelsize", "ytick.labelsize"), _FONT_PT - 1),
            "legend.fontsize": _FONT_PT - 1,
            "legend.frameon": False,
            "text.parse_math": False,  # a name may hold dollar signs
            **dict.fromkeys(("text.color", "axes.labelcolor"), colour("ink")),
            **dict.fromkeys(("xtick.labelcolor", "ytick.labelcolor"), colour("ink")),
            **dict.fromkeys(("axes.edgecolor", "xtick.color", "ytick.color"), colour("muted")),
            "axes.facecolor": "none",
            **dict.fromkeys((f"axes.spines.{side}" for side in ("top", "right", "left")), False),
            "axes.grid": True,
            "axes.grid.axis": "y",
            "axes.axisbelow": True,
            "grid.color": colour("rule"),
            "grid.linewidth": 0.7,
            "ytick.major.size": 0,
            "xtick.major.size": 3,
            "lines.linewidth": 2.0,
            "lines.markersize": 5,
            "hatch.linewidth": 0.8,
            "figure.facecolor": colour("paper"),
            "svg.fonttype": "none",
            "svg.hashsalt": "yieldest",
            # Written in a quarter of the time of 42. Before matplotlib 3.11 signs beyond Latin-1
            # cannot be copied out of it; the SVG beside it has them.
            "pdf.fonttype": 3,
        }
    )
