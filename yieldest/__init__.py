"""What a small wind machine will earn at a site: yearly energy, cost per kWh, payback."""

from __future__ import annotations

from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from yieldest.plan import Plan

__version__ = "0.2.0"


def load(path: str | PathLike[str]) -> Plan:
    """Read and validate a plan, from its file or from the folder that holds it as plan.toml.

    Parameters
    ----------
    path : str or path

    Raises
    ------
    InputError
        Naming the line and the key that is wrong.

    Examples
    --------
    >>> import yieldest
    >>> estimate = yieldest.load("demo-sites/hill-yard").estimate()
    >>> estimate.builds[0].name
    'one of 2.4 m'
    """
    # `import yieldest` stays quick: pydantic and pandas wait for the first plan.
    from yieldest.plan import load_plan  # noqa: PLC0415

    return load_plan(Path(path))
