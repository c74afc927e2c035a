"""A bar or a word on the terminal while something takes its time."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from yieldest.files.text_file import Progress


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


@contextmanager
def cells_bar() -> Iterator[Callable[[int, int], None]]:
    """Give a function that is told how many cells of all are done, and shows it."""
    if not sys.stderr.isatty():
        yield lambda done, every: None
        return
    from rich import progress  # noqa: PLC0415
    from rich.console import Console  # noqa: PLC0415

    columns = (
        progress.TextColumn("cells"),
        progress.BarColumn(),
        progress.MofNCompleteColumn(),
        progress.TimeRemainingColumn(),
    )
    with progress.Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("cells", total=None)
        yield lambda done, every: bar.update(task, completed=done, total=every)


@contextmanager
def making(what: str) -> Iterator[Callable[[str], None]]:
    """Show on standard error what was done last on the way to `what`; nothing where nobody watches.

    Yields
    ------
    callable
        Takes a few words on what was just done.
    """
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    with Console(stderr=True).status(Text(f"making {what} ...")) as status:
        yield lambda done: status.update(Text(f"making {what}: {done} done ..."))
