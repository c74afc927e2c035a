"""A result as a notebook shows it: a small titled table in HTML, or drawn on axes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_UNPRINTABLE = dict.fromkeys(
    (*range(0x20), *range(0x7F, 0xA0), *range(0x202A, 0x202F), *range(0x2066, 0x206A)), "\ufffd"
)
"""Control characters, and those that turn the direction of the text around them."""


def printable(text: str) -> str:
    """Return a text on one line, with what cannot be shown replaced by a mark.

    Names come from files of unknown origin: control characters break XML, and direction marks can
    make a text read as something that it is not.
    """
    one_line = " ".join(text.split())
    return one_line.translate(_UNPRINTABLE).encode("utf-8", "replace").decode("utf-8")


def html_table(
    title: str, rows: Iterable[Sequence[str]], notes: Sequence[str] = (), heads: Sequence[str] = ()
) -> str:
    """Return a table with a caption, a heading per row, and notes below, all escaped.

    A row is its label and values, the unit with the value; heads stand over the values, where there
    is more than one column of them.
    """
    top = "".join(f'<th scope="col">{_shown(head)}</th>' for head in heads)
    head = f"<thead><tr><td></td>{top}</tr></thead>" if heads else ""
    lines = "".join(
        f'<tr><th scope="row">{_shown(label)}</th>'
        + "".join(f"<td>{_shown(value)}</td>" for value in values)
        + "</tr>"
        for label, *values in rows
    )
    below = "".join(f"<p>{_shown(note)}</p>" for note in notes)
    return f"<table><caption>{_shown(title)}</caption>{head}<tbody>{lines}</tbody></table>{below}"


def _shown(text: str) -> str:
    return escape(printable(text))


def labelled_axes(ax: Axes | None, x_label: str, y_label: str = "") -> Axes:
    """Return the axes, new ones where there are none, with labels."""
    import matplotlib.pyplot as plt  # noqa: PLC0415 - slow to load

    if ax is None:
        _, ax = plt.subplots()
    ax.set_xlabel(x_label)
    ax.set_ylabel(y_label)
    return ax
