"""A matplotlib figure as SVG that lives inside a page: no style attribute, no id used twice."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from yieldest.report.palette import PALETTE, drawing

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_LINK = "{http://www.w3.org/1999/xlink}href"
_VARIABLE = {light: f"var(--{name})" for name, (light, _) in PALETTE.items()}
_FONT_FAMILY = re.compile(r"font-family:[^;]*;?")
_REFERENCE = re.compile(r"#([A-Za-z][\w.-]*)")
_NOT_DRAWN = ("metadata", "style")


class StyleSheet:
    """The classes that take the place of style attributes, which a strict policy forbids.

    Colours of the palette become variables of the page, so that they follow light and dark.
    """

    def __init__(self) -> None:
        self._names: dict[str, str] = {}

    def name_of(self, declarations: str) -> str:
        """Return the class that stands for some declarations."""
        known = _FONT_FAMILY.sub("", declarations).strip().rstrip(";")
        known = re.sub(
            r"#[0-9a-f]{6}", lambda found: _VARIABLE.get(found.group(), found.group()), known
        )
        return self._names.setdefault(known, f"g{len(self._names)}")

    def css(self) -> str:
        """Return the rules of all the classes asked for."""
        return "".join(f".{name}{{{known}}}\n" for known, name in self._names.items())


def inline_svg(figure: Figure, name: str, message: str, sheet: StyleSheet) -> str:
    """Return a figure as an SVG element for a page, its styles in the sheet.

    The name is put before every id, so that two figures of a page never share one; the message is
    for those who cannot see the figure.
    """
    root = ElementTree.fromstring(picture(figure, "svg"))
    defined = {element.attrib["id"] for element in root.iter() if "id" in element.attrib}
    used = {
        target
        for element in root.iter()
        for value in element.attrib.values()
        for target in _REFERENCE.findall(value)
        if target in defined
    }
    for parent in root.iter():
        for child in list(parent):
            if _local(child.tag) in _NOT_DRAWN:
                parent.remove(child)
        _clean(parent, name, used, sheet)
    width, height = (float(root.attrib[side].removesuffix("pt")) for side in ("width", "height"))
    root.attrib = {
        "class": "chart",
        "viewBox": f"0 0 {width:g} {height:g}",
        "role": "img",
        "aria-label": message,
    }
    text = ElementTree.tostring(root, encoding="unicode")
    return re.sub(r">\s+<", "><", text)


def picture(figure: Figure, form: str, dots_per_inch: int = 200) -> bytes:
    """Return a figure as the bytes of an svg, png or pdf file, the same at every run."""
    with drawing(), _any_script():
        if form == "svg":
            from yieldest.report.svg_canvas import SvgCanvas  # noqa: PLC0415 - only drawing waits

            return SvgCanvas(figure).drawn().encode("utf-8")
        stream = io.BytesIO()
        # A date would make every run differ, and a file made twice should be the same.
        unset = {"pdf": {"CreationDate": None}, "png": {}}
        figure.savefig(stream, format=form, dpi=dots_per_inch, metadata=unset[form])
    return stream.getvalue()


@contextmanager
def _any_script() -> Iterator[None]:
    """Let names in scripts that the font lacks pass: the page shows them, a picture a box."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from", category=UserWarning)
        yield


def _local(tag: str) -> str:
    return tag.rpartition("}")[2]


def _clean(element: ElementTree.Element, name: str, used: set[str], sheet: StyleSheet) -> None:
    """Strip an element of namespace, unused id and style, and make the used id its own."""
    element.tag = _local(element.tag)
    attributes = element.attrib
    identity = attributes.pop("id", None)
    if identity in used:
        attributes["id"] = f"{name}-{identity}"
    if _LINK in attributes:
        attributes["href"] = attributes.pop(_LINK)
    for key, value in attributes.items():
        attributes[key] = _REFERENCE.sub(
            lambda found: f"#{name}-{found[1]}" if found[1] in used else found[0], value
        )
    if attributes.get("fill") in _VARIABLE:  # the ground of a hatching
        attributes["style"] = f"fill: {attributes.pop('fill')}"
    if "style" in attributes:
        attributes["class"] = sheet.name_of(attributes.pop("style"))
    if attributes.get("transform", "").startswith("rotate(-0 "):
        del attributes["transform"]
    if element.tag == "path" and "d" in attributes:
        attributes["d"] = _shorter(attributes["d"])


def _shorter(path: str) -> str:
    """Round the coordinates of a path to a hundredth of a point."""
    return " ".join(
        re.sub(r"-?\d+\.\d+", lambda found: f"{float(found.group()):.2f}", path).split()
    )
