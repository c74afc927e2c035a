"""A bar on the terminal while a file is read or draws are made."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from yieldest.textfile import Progress


@contextmanager
def reading_bar(name: str) -> Iterator[Progress | None]:
    """Show on standard error how far the reading of `name` is; None where nobody watches."""
    if not sys.stderr.isatty():
        yield None
        return
    # Imported here, for most runs are piped.
    from rich.console import Console  # noqa: PLC0415
    from rich.progress import Progress as Bar  # noqa: PLC0415

    with Bar(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(f"reading {name}", total=1.0)
        yield lambda share: bar.update(task, completed=share)


@contextmanager
def counting_bar(what: str, total: int) -> Iterator[Callable[[int], None]]:
    """Give a function that is told how many more of `total` were done, and shows it."""
    if not sys.stderr.isatty():
        yield lambda done: None
        return
    from rich.console import Console  # noqa: PLC0415
    from rich.progress import Progress as Bar  # noqa: PLC0415

    with Bar(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=total)
        yield lambda done: bar.advance(task, done)
