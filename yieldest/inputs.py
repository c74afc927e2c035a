"""Every file that an estimate of a plan is made from."""

from __future__ import annotations

from pathlib import Path

from yieldest.build_curve import TYPICAL
from yieldest.plan import Plan
from yieldest.record.sources import files_of


def input_files(plan: Plan) -> list[Path]:
    """Return the plan's own path and the files it names, those of a folder or a glob one by one.

    Raises
    ------
    InputError
        When a folder or a glob holds no record.
    """
    named = [plan.file(name) for name in plan.file_names() if name != TYPICAL]
    return list(dict.fromkeys([plan.path, *(file for path in named for file in files_of(path))]))
