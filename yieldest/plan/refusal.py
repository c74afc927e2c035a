"""What is wrong with a plan, in one sentence: the key, what was found, what was expected."""

from __future__ import annotations

import difflib
import math
import tomllib

from pydantic import ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from yieldest.plan.keys import PlanTable, allowed, in_toml, last_key, table_at, table_of, tables
from yieldest.plan.whole_plan import ONE, SEVERAL
from yieldest.settings import SHARES, note

Location = tuple[int | str, ...]


def troubles_of(error: ValidationError) -> list[ErrorDetails]:
    """Return what pydantic found, each at its place in the plan; a misspelt key comes first.

    For it may explain a missing one.
    """
    found = error.errors()
    for trouble in found:
        where = trouble["loc"]
        if where[:1] == ("site",) and where[1:2] in ((ONE,), (SEVERAL,)):
            trouble["loc"] = (where[0], *where[2:])
    return sorted(found, key=lambda trouble: trouble["type"] != "extra_forbidden")


def refusal(trouble: ErrorDetails) -> str:
    """Say what pydantic found wrong with a plan, and how to mend it."""
    location, kind, found = tuple(trouble["loc"]), trouble["type"], trouble["input"]
    if kind == "value_error":
        where = f"{_spell(location)}: " if location else ""
        said = f"{where}{trouble['ctx']['error']}"
        return said if said.endswith("?") else f"{said}."
    table = table_at(location[:-1])
    if kind == "extra_forbidden":
        hint = _hint(str(location[-1]), table, isinstance(found, dict | list))
        return f"unknown key {_spell(location)!r}; {hint}"
    if kind == "missing":
        return _missing(location, table)
    return _wrong_value(location, found, kind)


def _hint(name: str, table: PlanTable, is_table: bool) -> str:
    """Tell which key was meant, or where a key of that name belongs."""
    near = difflib.get_close_matches(name, table.keys, n=1)
    homes = _homes(name, is_table) or _homes(name, not is_table)
    if near and homes:
        return f"did you mean {near[0]!r}, or does it belong to {homes}?"
    if near:
        return f"did you mean {near[0]!r}?"
    if homes:
        return f"it belongs to {homes}; move it there."
    known = {
        key
        for other in tables()
        for key, field in other.keys.items()
        if _holds_table(field) is is_table
    }
    # A guess at a key of another table must be a good one.
    for far in difflib.get_close_matches(name, known, n=1, cutoff=0.8):
        return f"did you mean {far!r}, which belongs to {_homes(far, is_table)}?"
    return f"the keys here are {', '.join(table.keys)}; leave it out or mend it."


def _homes(name: str, is_table: bool) -> str:
    """Return the tables where a key of that name holds a table, or a value; "" for none."""
    homes = [
        _written(table, name)
        for table in tables()
        if name in table.keys and _holds_table(table.keys[name]) is is_table
    ]
    return " or ".join([", ".join(homes[:-1]), homes[-1]] if len(homes) > 1 else homes)


def _holds_table(field: FieldInfo) -> bool:
    return table_of(field)[0] is not None


def _written(table: PlanTable, name: str) -> str:
    """Return where a key is written: the heading of its table, or its own if it is one."""
    model, many = table_of(table.keys[name])
    if model is not None:
        return PlanTable((*table.path, name), many, model).heading
    return table.heading if table.path else "the top of the plan"


def _missing(location: Location, table: PlanTable) -> str:
    name = str(location[-1])
    field = table.keys[name]
    model, _ = table_of(field)
    if model is not None:
        return f"the table {_written(table, name)} is missing ({field.description}); add it."
    example = in_toml((field.examples or [None])[0])
    return f"the key {_spell(location)!r} is missing ({field.description}); add {name} = {example}."


def _wrong_value(location: Location, found: object, kind: str) -> str:
    # Below the key itself stand places in a list, and the branches that pydantic tried.
    depth = last_key(location)
    name, table = str(location[depth]), table_at(location[:depth])
    below = [part for part in location[depth + 1 :] if isinstance(part, int)]
    field = table.keys[name]
    key = _spell(location[: depth + 1])
    where = f"{_spell((*location[: depth + 1], *below))!r} is"
    if _holds_table(field):
        return f"{where} {_no_table(table, name, found)}."
    too_high = kind in ("less_than_equal", "finite_number")
    takes = allowed(field, math.inf) if too_high else allowed(field)
    expected = f"{key!r} takes {takes}" if below else f"{takes} was expected"
    return f"{where} {_shown(found)}, but {expected}; {_mend(table, (name, *below), found)}."


def _no_table(table: PlanTable, name: str, found: object) -> str:
    field, heading = table.keys[name], _written(table, name)
    if table_of(field)[1] and isinstance(found, dict):
        return f"one table, where there may be several; write it as {heading}"
    if isinstance(found, list):
        return f"a list, where there is one table; write it as {heading}"
    form = f"{name} = {in_toml(field.examples[0])}" if field.examples else heading
    return f"{_shown(found)}, but a table was expected; write it as {form}"


def _mend(table: PlanTable, place: Location, found: object) -> str:
    """Tell how to write what was found so that it is taken, if that can be told."""
    if isinstance(found, str):
        try:
            bare = tomllib.loads(f"bare = {found}")
        except (ValueError, RecursionError):
            bare = {}
        if list(bare) == ["bare"] and _takes(table, place, bare["bare"]):
            return "write it without quotes"
    if _takes(table, place, [found]):
        return f"write it as {_shown([found])}"
    share = found / 100 if isinstance(found, int | float) and 1 < found <= 100 else None
    in_per_cent = note(table.keys[str(place[0])], "unit") in SHARES
    if share is not None and in_per_cent and _takes(table, place, share):
        return f"if {found:g} % is meant, write {share:g}"
    return "mend the value"


def _takes(table: PlanTable, place: Location, value: object) -> bool:
    """Return whether a table takes a value of a key, or one in its list, whatever else is there."""
    for part in reversed(place):
        value = {part: value} if isinstance(part, str) else [None] * part + [value]
    try:
        table.model.model_validate(value)
    except ValidationError as error:
        return not any(trouble["loc"][: len(place)] == place for trouble in error.errors())
    return True


def _shown(found: object) -> str:
    if isinstance(found, list) and len(found) > 4:
        return f"a list of {len(found)}"
    if isinstance(found, dict):
        return "a table"
    text = in_toml(found)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _spell(location: Location) -> str:
    """Write a place in the plan as --set takes it: build.1.losses.electrical."""
    return ".".join(map(str, location))
