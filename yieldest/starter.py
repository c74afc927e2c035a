"""Write a plan folder to begin from, whole or not at all."""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path

from yieldest.errors import InputError
from yieldest.outfile import scratch_beside


def write_starter(folder: Path) -> list[Path]:
    """Write the starter files into a new folder.

    Parameters
    ----------
    folder : Path
        Must not exist; its parent must.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    InputError
        When the folder is there already or cannot be made.
    """
    if folder.exists() or folder.is_symlink():
        raise InputError(f"{folder}: this is there already; name a folder that is not.")
    with (
        as_file(files("yieldest.show") / "starter") as starter,
        scratch_beside(folder) as scratch,
    ):
        made = scratch / "made"
        made.mkdir()
        for file in sorted(starter.iterdir()):
            (made / file.name).write_bytes(file.read_bytes())
        made.rename(folder)
    return sorted(folder.iterdir())
