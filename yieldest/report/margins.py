"""Room around the axes of a figure, measured once where matplotlib measures all of it twice."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.layout_engine import LayoutEngine

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_PAD_IN = 0.04167
"""Around everything: that of matplotlib's constrained layout."""


class Margins(LayoutEngine):
    """Gives the one pair of axes of a figure what its words, and a legend below, leave of it."""

    _adjust_compatible = False
    _colorbar_gridspec = False

    def execute(self, fig: Figure) -> None:
        """Place the axes; once more if that changes where the ticks are."""
        (axes,) = fig.axes
        pad, (full_width, full_height) = _PAD_IN * fig.dpi, fig.bbox.size
        below = sum(legend.get_window_extent().height + 2 * pad for legend in fig.legends)
        before = None
        for _ in range(2):
            ticks = [axis.get_majorticklocs().tolist() for axis in (axes.xaxis, axes.yaxis)]
            if ticks == before:
                break
            before = ticks
            inner, outer = axes.bbox, axes.get_tightbbox(for_layout_only=True)
            assert outer is not None  # for the axes are drawn
            left, bottom = inner.x0 - outer.x0 + pad, inner.y0 - outer.y0 + below + pad
            width = full_width - left - (outer.x1 - inner.x1 + pad)
            height = full_height - bottom - (outer.y1 - inner.y1 + pad)
            axes.set_position(
                (left / full_width, bottom / full_height, width / full_width, height / full_height)
            )
