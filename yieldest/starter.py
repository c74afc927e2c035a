"""Write a plan folder to begin from, whole or not at all."""

from __future__ import annotations

import shutil
import tempfile
from importlib.resources import as_file, files
from pathlib import Path

from yieldest.errors import InputError


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
    if folder.exists():
        raise InputError(f"{folder}: this is there already; name a folder that is not.")
    if not folder.parent.is_dir():
        raise InputError(f"{folder.parent}: there is no such folder; make it first.")
    with as_file(files("yieldest.show") / "starter") as starter:
        try:
            # Beside the target, so that the last step is one rename within a file system.
            with tempfile.TemporaryDirectory(dir=folder.parent, prefix=".yieldest-") as scratch:
                made = Path(scratch) / folder.name
                shutil.copytree(starter, made)
                made.rename(folder)
        except OSError as error:
            raise InputError(
                f"{folder}: the folder cannot be written ({error.strerror}); choose another place."
            ) from error
    return sorted(folder.iterdir())
