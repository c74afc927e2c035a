"""The folders are the path the data takes: none imports from one below it."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "yieldest"
FOLDERS = ["record", "climate", "turbine", "energy", "money", "doubt", "show", "grid"]
FOUNDATION = [
    "arrayfiles",
    "arrays",
    "card",
    "errors",
    "outfile",
    "provenance",
    "textfile",
    "layout",
    "tables",
]
"""Modules at the top that every folder may use; the other modules there are the roof."""
SEES_RESULTS = {"show", "grid"}
"""Folders that present whole results, and so may import the roof's dataclasses."""


def imported(path: Path) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
        elif isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
    return {name for name in names if name.startswith("yieldest.")}


@pytest.mark.parametrize("folder", FOLDERS)
def test_folder_imports_only_from_above(folder):
    allowed = {*FOUNDATION, *FOLDERS[: FOLDERS.index(folder) + 1]}
    if folder in SEES_RESULTS:
        allowed |= {
            "breakeven",
            "build_curve",
            "compare",
            "estimate",
            "inputs",
            "joining",
            "plan",
            "sweep",
            "whatif",
        }
    for path in (PACKAGE / folder).glob("*.py"):
        for name in imported(path):
            assert name.split(".")[1] in allowed, f"{path.name} imports {name}"


@pytest.mark.parametrize("module", FOUNDATION)
def test_foundation_imports_no_folder(module):
    for name in imported(PACKAGE / f"{module}.py"):
        assert name.split(".")[1] in FOUNDATION
