"""Write a plan folder to begin from, whole or not at all."""

from __future__ import annotations

import shutil
from pathlib import Path

from yieldest.errors import InputError
from yieldest.files.whole_output import scratch_beside

_PACKAGE = Path(__file__).parents[1]


def write_plan_folder(folder: Path, demo_site: str | None = None) -> list[Path]:
    """Write the files of a plan, to fill in or those of a demo site, into a new folder.

    Returns the files written. An `InputError` when the folder is there already or cannot be made,
    or no demo site has that name.
    """
    original = _PACKAGE / "templates" if demo_site is None else _demo_site(demo_site)
    if folder.exists() or folder.is_symlink():
        raise InputError(f"{folder}: this is there already; name a folder that is not.")
    with scratch_beside(folder) as scratch:
        made = scratch / "made"
        made.mkdir()
        for file in original.iterdir():
            # Without its rights: a copy is to be changed, even if the installed file is locked.
            shutil.copyfile(file, made / file.name)
        made.rename(folder)
    return sorted(folder.iterdir())


def demo_site_names() -> list[str]:
    """Return the names of the demo sites: the folders with a plan in it."""
    return sorted(plan.parent.name for plan in _demo_sites().glob("*/plan.toml"))


def _demo_sites() -> Path:
    # In the package when installed from a wheel; in a clone, beside it.
    installed = _PACKAGE / "demo_sites"
    return installed if installed.is_dir() else _PACKAGE.parent / "demo-sites"


def _demo_site(name: str) -> Path:
    names = demo_site_names()
    if name not in names:
        raise InputError(
            f"--from: there is no demo site {name!r}; expected one of {', '.join(names)}."
        )
    return _demo_sites() / name
