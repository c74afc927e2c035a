"""Where a result came from, how it was made, and what to be warned of."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Provenance:
    """What a stage hands on besides its numbers.

    Parameters
    ----------
    source : str
        The file or plan key the stage worked from.
    method : str
        The method, with its published source.
    assumed : tuple of str
        What nobody stated and the stage took for granted, one sentence each.
    warnings : tuple of str
        What the reader must know before trusting the numbers, one sentence each.
    """

    source: str
    method: str
    assumed: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
