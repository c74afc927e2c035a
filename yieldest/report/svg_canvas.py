"""A canvas that writes a figure as SVG, and measures no text twice."""

from __future__ import annotations

import io
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from matplotlib.backends.backend_svg import FigureCanvasSVG, RendererSVG
from matplotlib.textpath import text_to_path

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from matplotlib.font_manager import FontProperties

_POINTS_PER_INCH = 72


class SvgCanvas(FigureCanvasSVG):
    """Has one renderer for layout and drawing: matplotlib's would begin anew for each.

    Nor does it draw all once more only for the layout, as `savefig` would, for drawing sets that.
    """

    def __init__(self, figure: Figure) -> None:
        super().__init__(figure)
        figure.dpi = _POINTS_PER_INCH
        self._text = io.StringIO()
        no_date = {"Date": None}  # for a file made twice should be the same
        self._renderer = _Renderer(  # type: ignore[no-untyped-call]
            *figure.bbox.size, self._text, metadata=no_date
        )

    def get_renderer(self) -> RendererSVG:
        """Return what matplotlib measures with while it makes the layout."""
        return self._renderer

    def drawn(self) -> str:
        """Draw the figure and return it as SVG."""
        self.figure.draw(self._renderer)
        self._renderer.finalize()  # type: ignore[no-untyped-call]
        return self._text.getvalue()


class _Renderer(RendererSVG):
    """Remembers how wide each text is, from one figure to the next, for many stand in several."""

    def get_text_width_height_descent(
        self, s: str, prop: FontProperties, ismath: bool | Literal["TeX"]
    ) -> tuple[float, float, float]:
        return _extent(s, prop, ismath)


@lru_cache(maxsize=4096)
def _extent(
    text: str, font: FontProperties, ismath: bool | Literal["TeX"]
) -> tuple[float, float, float]:
    return text_to_path.get_text_width_height_descent(text, font, ismath)
