"""What a small wind machine will earn at a site: yearly energy, cost per kWh, payback."""

from __future__ import annotations

from os import PathLike
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from yieldest.model.estimate import Project

__version__ = "0.2.0"


def load(path: str | PathLike[str]) -> Project:
    """Read a plan and every file it names; see `yieldest.model.estimate.load`."""
    from yieldest.model.estimate import load as load_project  # noqa: PLC0415

    return load_project(path)
