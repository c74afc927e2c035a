"""A bar or a word on the terminal while something takes its time."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial

from yieldest.files.text_file import Progress


@contextmanager
def _bar(
    what: str, total: float | None, *, counted: bool = False, quiet: bool = False
) -> Iterator[Callable[..., None] | None]:
    """Show a bar on standard error and give what moves it; None where nobody watches."""
    if quiet or not sys.stderr.isatty():
        yield None
        return
    # Imported here, for most runs are piped.
    from rich import progress  # noqa: PLC0415
    from rich.console import Console  # noqa: PLC0415

    columns = progress.Progress.get_default_columns()
    if counted:
        columns = (*columns[:2], progress.MofNCompleteColumn(), progress.TimeRemainingColumn())
    with progress.Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        yield partial(bar.update, bar.add_task(what, total=total))


@contextmanager
def reading_bar(name: str, quiet: bool = False) -> Iterator[Progress | None]:
    """Show on standard error how far the reading of `name` is; None where nobody watches."""
    with _bar(f"reading {name}", 1.0, quiet=quiet) as move:
        yield None if move is None else lambda share: move(completed=share)


@contextmanager
def counting_bar(what: str, total: int, quiet: bool = False) -> Iterator[Callable[[int], None]]:
    """Give a function that is told how many more of `total` were done, and shows it."""
    with _bar(what, total, quiet=quiet) as move:
        yield lambda done: None if move is None else move(advance=done)


@contextmanager
def cells_bar() -> Iterator[Callable[[int, int], None]]:
    """Give a function that is told how many cells of all are done, and shows it."""
    with _bar("cells", None, counted=True) as move:
        yield lambda done, every: None if move is None else move(completed=done, total=every)


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
