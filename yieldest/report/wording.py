"""Numbers and lists as a person reads them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from textwrap import wrap

from rich.console import Console
from rich.text import Text

NOT_KNOWN = "-"


def rounded(value: float | None, digits: int = 2) -> str:
    """Write a number with so many significant digits, thousands set apart; "-" for None."""
    if value is None:
        return NOT_KNOWN
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    return f"{round(value, places):,.{max(0, places)}f}"


def whole(value: float | None, digits: int) -> str:
    """Write a number as `rounded` does, but from 1 on without decimals."""
    if value is None or abs(value) < 1:
        return rounded(value, digits)
    return rounded(value, min(digits, 1 + math.floor(math.log10(abs(value)))))


def percent(share: float | None, digits: int = 2) -> str:
    """Write a share as a percentage; "-" for None."""
    return NOT_KNOWN if share is None else f"{rounded(100 * share, digits)} %"


def print_heading(text: str, screen: Console) -> None:
    """Print a heading, parted from what stands above it."""
    screen.print()
    screen.print(Text(text, style="bold"))


def signed_percent(share: float | None) -> str:
    """Write a deviation as a percentage with its sign; "-" for None."""
    return NOT_KNOWN if share is None else f"{100 * share:+.1f} %"


def print_list(heading: str, texts: Iterable[str], screen: Console) -> None:
    """Print a heading and a list under it, each text once; nothing when there is none."""
    items = list(dict.fromkeys(texts))
    if items:
        print_heading(heading, screen)
        for item in items:
            print_item("-", item, screen)


def print_item(mark: str, text: str, screen: Console) -> None:
    """Print a text behind its mark, later lines under the first."""
    later = " " * (len(mark) + 1)
    together = text.replace(" %", "\N{NO-BREAK SPACE}%")
    lines = wrap(together, screen.width, initial_indent=f"{mark} ", subsequent_indent=later)
    screen.print(Text("\n".join(lines).replace("\N{NO-BREAK SPACE}%", " %")))
