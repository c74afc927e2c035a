"""Write a plan folder to begin from, whole or not at all."""

from __future__ import annotations

import shutil
from pathlib import Path

from yieldest.errors import InputError
from yieldest.files.spreadsheet import write_xlsx
from yieldest.files.whole_output import scratch_beside

_PACKAGE = Path(__file__).parents[1]
_NOTES = {
    "item": "What the part is. A line called total or sum is checked, not counted.",
    "quantity": "For each machine, for the array or for the site: what the scope says.",
    "unit price": "Of one piece, in the currency of the plan, before tax.",
    "scope": "per unit: for each machine. per array: once for all of them. per site: once.",
    "life years": "After so many years it is bought again; blank: it lasts as long as the machine.",
    "labour hours": "Your own work on the whole line.",
    "speed (m/s)": "At the height of the rotor; or write speed (km/h), speed (mph), speed (kn).",
    "power (W)": "Electrical power at that speed; or write power (kW).",
}
"""On the headings of spreadsheets."""


def write_plan_folder(
    folder: Path, demo_site: str | None = None, *, spreadsheet: bool = False
) -> list[Path]:
    """Write the files of a plan, to fill in or those of a demo site, into a new folder.

    With `spreadsheet`, bill and curve are xlsx with notes on their headings. Returns the files
    written. An `InputError` when the folder is there already or cannot be made, no demo site has
    that name, or it was to have spreadsheets.
    """
    if spreadsheet and demo_site is not None:
        raise InputError("--spreadsheet belongs to a folder to fill in; leave --from out.")
    original = _PACKAGE / "templates" if demo_site is None else _demo_site(demo_site)
    if folder.exists() or folder.is_symlink():
        raise InputError(f"{folder}: this is there already; name a folder that is not.")
    with scratch_beside(folder) as scratch:
        made = scratch / "made"
        made.mkdir()
        for file in original.iterdir():
            # Without its rights: a copy is to be changed, even if the installed file is locked.
            shutil.copyfile(file, made / file.name)
        if spreadsheet:
            _as_spreadsheets(made)
        made.rename(folder)
    return sorted(folder.iterdir())


def _as_spreadsheets(folder: Path) -> None:
    """Write bill and curve as xlsx in place of CSV, and name them so in the plan."""
    plan = folder / "plan.toml"
    text = plan.read_text(encoding="utf-8")
    for name in ("bill", "curve"):
        lines = (folder / f"{name}.csv").read_text(encoding="utf-8").splitlines()
        rows = [[line] if line.startswith("#") else line.split(",") for line in lines]
        write_xlsx(
            folder / f"{name}.xlsx", [[_as_number(cell) for cell in row] for row in rows], _NOTES
        )
        (folder / f"{name}.csv").unlink()
        text = text.replace(f'"{name}.csv"', f'"{name}.xlsx"')
    plan.write_text(text, encoding="utf-8")


def _as_number(cell: str) -> str | float:
    return float(cell) if cell[:1].isdigit() else cell


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
