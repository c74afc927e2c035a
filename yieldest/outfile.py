"""Write a text file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from yieldest.errors import InputError


def write_whole(path: Path, text: str) -> None:
    """Write beside the target and rename, so that half a file is never there.

    Raises
    ------
    InputError
        When the file cannot be written.
    """
    try:
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=".yieldest-")
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="") as stream:
                stream.write(text)
            # mkstemp makes private files; a result is as public as the folder it stands in.
            mask = os.umask(0)
            os.umask(mask)
            Path(scratch).chmod(0o666 & ~mask)
            Path(scratch).replace(path)
        finally:
            Path(scratch).unlink(missing_ok=True)
    except OSError as error:
        raise InputError(
            f"{path}: the file cannot be written ({error.strerror}); name another one."
        ) from error
