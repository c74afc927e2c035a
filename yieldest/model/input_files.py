"""Every file that an estimate of a plan is made from."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from yieldest.model.build_curve import TYPICAL
from yieldest.plan import Plan
from yieldest.wind.record_files import files_of


def input_files(plan: Plan) -> list[Path]:
    """Return the plan's own path and the files it names, those of a folder or a glob one by one.

    Raises
    ------
    InputError
        When a folder or a glob holds no record.
    """
    named = [plan.file(name) for name in plan.file_names() if name != TYPICAL]
    return list(dict.fromkeys([plan.path, *(file for path in named for file in files_of(path))]))


def left_as_started(plan: Plan) -> tuple[str, ...]:
    """Return the names of the plan's files that are still as `yieldest start` wrote them."""
    written = {
        file.read_bytes()
        for file in (files("yieldest") / "templates").iterdir()
        if file.is_file() and file.name != "plan.toml"
    }
    longest = max(map(len, written))
    return tuple(
        path.name
        for path in input_files(plan)
        if path.is_file() and path.stat().st_size <= longest and path.read_bytes() in written
    )
