"""The house: folders are the path of the data, and each imports only from those before it."""

import ast
from collections import Counter
from functools import cache
from importlib import import_module
from pathlib import Path
from string import Formatter
from typing import get_type_hints

import numpy as np
import pytest
from scipy.sparse.csgraph import connected_components

from yieldest.provenance import Finding
from yieldest.report.sentences.words import sentence

PACKAGE = Path(__file__).parents[1] / "yieldest"
FOLDERS = [
    *("files", "wind", "hub", "turbine", "energy", "economics", "uncertainty", "plan", "model"),
    *("report", "maps", "cli"),
]
"""In the order of the path; each may import from itself and from those before it."""
FOUNDATION = [
    *("errors", "arrays", "units", "frozen", "provenance", "defaults", "settings", "html_repr"),
]
"""Modules flat in the package: for every folder, and importing from none."""
MOST_FLAT = 8


def dotted(path: Path) -> str:
    """Return the name by which a module is imported."""
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {dotted(path): path for path in sorted(PACKAGE.rglob("*.py"))}
INSIDE = [name for name in MODULES if name != "yieldest"]


@cache
def syntax(module: str) -> ast.Module:
    return ast.parse(MODULES[module].read_text(encoding="utf-8"))


def imported(tree: ast.Module) -> set[str]:
    """Return the package's modules that a module imports, at any depth of nesting.

    Imports within functions and those for the type checker alone count like all others. Of the
    package itself (`from yieldest import ...`) the name that is taken is returned with it.
    """
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = "." * node.level + (node.module or "")
            names = [f"{base}.{alias.name}" for alias in node.names]
            if base in MODULES and base != "yieldest":
                names = [name if name in MODULES else base for name in names]
        else:
            continue
        found |= {name for name in names if name.split(".")[0] in {"yieldest", ""}}
    return found


def layer(module: str) -> int:
    """Return how far down the path a module stands; the foundation before the first folder."""
    place = module.split(".")[1]
    return -1 if place in FOUNDATION else FOLDERS.index(place)


def circles(graph: dict[str, set[str]]) -> list[list[str]]:
    """Return the groups of modules that import each other, directly or through others."""
    names = sorted(graph)
    imports = np.array([[other in graph[name] for other in names] for name in names])
    count, group = connected_components(imports, directed=True, connection="strong")
    groups = [[names[at] for at in np.flatnonzero(group == each)] for each in range(count)]
    alone = [name for name in names if name in graph[name]]
    return [each for each in groups if len(each) > 1] + [[name] for name in alone]


def test_every_module_stands_in_a_room_of_the_house():
    places = {name.split(".")[1] for name in INSIDE}
    assert places == {*FOLDERS, *FOUNDATION}


@pytest.mark.parametrize("module", INSIDE)
def test_a_module_imports_only_from_before_it(module):
    for name in imported(syntax(module)):
        if name == "yieldest.__version__":
            continue
        assert name in MODULES, f"{name}: import from the module that has it, by its whole name"
        assert name != "yieldest", f"{module} imports the whole package"
        assert layer(name) <= layer(module), f"{module} imports {name}"
        if layer(module) == -1:
            assert layer(name) == -1, f"{module} is of the foundation, and imports {name}"


def test_no_module_imports_itself_through_others():
    assert circles({name: imported(syntax(name)) & set(INSIDE) for name in INSIDE}) == []


def test_hidden_imports_and_circles_are_found():
    hidden = """
if TYPE_CHECKING:
    from yieldest.cli.app import main
def late():
    import yieldest.maps.blocks
    from yieldest.report import page, tables
    from yieldest import load
    from . import neighbour
import numpy
"""
    assert imported(ast.parse(hidden)) == {
        *("yieldest.cli.app", "yieldest.maps.blocks", "yieldest.report.page"),
        *("yieldest.report.tables", "yieldest.load", "..neighbour"),
    }
    assert circles({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == [["a", "b", "c"]]
    assert circles({"a": {"a"}, "b": {"a"}}) == [["a"]]
    assert circles({"a": {"b"}, "b": set()}) == []


def test_few_modules_are_flat_in_the_package():
    flat = [path.stem for path in PACKAGE.glob("*.py") if path.name != "__init__.py"]
    assert len(flat) <= MOST_FLAT
    assert set(flat) <= set(FOUNDATION)


def test_no_two_modules_bear_the_same_name():
    stems = Counter(path.stem for path in MODULES.values() if path.name != "__init__.py")
    assert [name for name, count in stems.items() if count > 1] == []


def test_no_two_public_classes_bear_the_same_name():
    classes = Counter(
        node.name
        for module in MODULES
        for node in ast.walk(syntax(module))
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
    )
    assert [name for name, count in classes.items() if count > 1] == []


def holds(kind, path):
    """Whether what a template fills in is there: a field, or one of the table that a field is."""
    name, *within = path
    if within:
        return holds(get_type_hints(kind)[name], within)
    return hasattr(kind, name) or name in get_type_hints(kind)


def test_every_finding_has_its_sentence():
    kinds = {
        getattr(import_module(module), node.name)
        for module in INSIDE
        for node in syntax(module).body
        if isinstance(node, ast.ClassDef) and "Finding" in map(ast.unparse, node.bases)
    }
    assert len(kinds) > 50
    wordless = sentence.registry[object]
    with pytest.raises(TypeError):
        wordless(Finding())  # and all wordings are loaded
    assert [kind.__name__ for kind in kinds if sentence.dispatch(kind) is wordless] == []
    templates = {kind: getattr(sentence.dispatch(kind), "__self__", "") for kind in kinds}
    assert sum(map(bool, templates.values())) > 20
    assert [
        (kind.__name__, name)
        for kind, template in templates.items()
        for _, name, _, _ in Formatter().parse(template)
        if name and not holds(kind, name.split(".")[1:])
    ] == []


def test_the_developers_page_names_every_room():
    page = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    rooms = [f"| `{name}/` |" for name in FOLDERS] + [f"`{name}.py`" for name in FOUNDATION]
    assert [room for room in rooms if room not in page] == []


def test_no_function_is_longer_than_a_screen():
    """80 lines, signature and docstring counted."""
    long = [
        f"{module}: {node.name}"
        for module in MODULES
        for node in ast.walk(syntax(module))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and (node.end_lineno or 0) - node.lineno + 1 > 80
    ]
    assert long == []
