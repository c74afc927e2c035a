"""The folders are the path the data takes: none imports from one below it."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "yieldest"
FOLDERS = [
    "record",
    "distribution",
    "turbine",
    "energy",
    "economics",
    "uncertainty",
    "show",
    "grid",
]
FOUNDATION = [
    *("arrayfiles", "arrays", "html_table", "cells", "errors", "filekind", "outfile", "provenance"),
    *("textfile", "layout", "tables"),
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


def test_the_tables_of_a_plan_know_nothing_of_what_is_made_of_them():
    """The folder plan/ is a part of the roof that the rest of the roof stands on."""
    for path in (PACKAGE / "plan").glob("*.py"):
        for name in imported(path) - {"yieldest.model.estimate"}:
            part = name.split(".")[1]
            assert part in {"plan", "overrides", *FOUNDATION, *FOLDERS[:6]}, f"{path.name}: {name}"


@pytest.mark.parametrize("module", FOUNDATION)
def test_foundation_imports_no_folder(module):
    for name in imported(PACKAGE / f"{module}.py"):
        assert name.split(".")[1] in FOUNDATION


def test_the_developers_page_names_every_module_at_the_top():
    page = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    for path in PACKAGE.glob("*.py"):
        assert path.name == "__init__.py" or f"`{path.name}`" in page, path.name
    for folder in FOLDERS:
        assert f"| `{folder}/` |" in page
