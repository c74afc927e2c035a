"""Which keys a plan may hold, where, and what each takes, told from the types of the tables."""

from __future__ import annotations

import types
from datetime import date, datetime
from functools import cache
from typing import Annotated, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from yieldest.frozen import frozen_dataclass
from yieldest.plan.whole_plan import Plan
from yieldest.settings import NAMES_A_FILE

KEEPS_FROM_OVERFLOW = 1e9
"""An upper bound of so much or more says nothing of the trade."""


@frozen_dataclass
class PlanTable:
    """A table that a plan may hold: its names from the top, () for the top itself.

    Where there may be several it is written with double brackets.
    """

    path: tuple[str, ...]
    many: bool
    model: type[BaseModel]

    @property
    def heading(self) -> str:
        """As it stands in the file, such as [economics] or [[build.cable]]."""
        name = ".".join(self.path)
        return f"[[{name}]]" if self.many else f"[{name}]"

    @property
    def keys(self) -> dict[str, FieldInfo]:
        """Its keys, inherited ones last, without the path of the plan, which no file states."""
        fields, own = self.model.model_fields, self.model.__annotations__
        order = sorted(fields, key=lambda name: name not in own)
        return {name: fields[name] for name in order if (self.path, name) != ((), "path")}


@cache
def tables(table: PlanTable | None = None) -> tuple[PlanTable, ...]:
    """Return a table, by default the plan itself, and every one within it, each before its own.

    One at the top that may stand within another too, [wind] in [site], is there once.
    """
    found = [table or PlanTable((), False, Plan)]
    for name, field in found[0].keys.items():
        model, many = table_of(field)
        if model is not None and not (found[0].path and name in Plan.model_fields):
            found += tables(PlanTable((*found[0].path, name), many, model))
    return tuple(found)


def table_of(field: FieldInfo) -> tuple[type[BaseModel] | None, bool]:
    """Return the model of a key that holds a table, and whether it holds several; None for none."""

    def inside(annotation: object, many: bool) -> tuple[type[BaseModel] | None, bool]:
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            return annotation, many
        several = many or get_origin(annotation) is list
        parts = (inside(part, several) for part in get_args(annotation))
        return next((one for one in parts if one[0] is not None), (None, False))

    return inside(field.annotation, False)


def table_at(location: tuple[int | str, ...]) -> PlanTable:
    """Return the innermost table that a place in a plan leads to."""
    table = PlanTable((), False, Plan)
    for part in location:
        if isinstance(part, str):
            model, many = table_of(table.keys[part]) if part in table.keys else (None, False)
            if model is None:
                break
            table = PlanTable((*table.path, part), many, model)
    return table


def last_key(location: tuple[int | str, ...]) -> int:
    """Return how deep in a place the last key stands that the plan may hold; 0 at the top."""
    depths = [n for n, part in enumerate(location) if part in table_at(location[:n]).keys]
    return max(depths, default=0)


def allowed(field: FieldInfo, told_below: float = KEEPS_FROM_OVERFLOW) -> str:
    """Return in words what a key takes, such as "a number above 0".

    An upper bound is told where it is below `told_below`: one that only keeps sums from overflowing
    tells nothing but to those who are refused for it.
    """
    return _allowed(field.annotation, field.metadata, told_below)


def _allowed(annotation: object, constraints: list[object], told_below: float) -> str:
    origin, parts = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        inner = [one for part in parts[1:] for one in getattr(part, "metadata", [part])]
        return _allowed(parts[0], [*inner, *constraints], told_below)
    if origin in (Union, types.UnionType):
        wide = [part for part in parts if part is not types.NoneType]
        words = [
            _allowed(part, constraints, told_below)
            for part in wide
            if not (part is int and float in wide)
        ]
        return (", or " if " or " in "".join(words) else " or ").join(dict.fromkeys(words))
    if origin is Literal:
        values = [in_toml(value) for value in parts]
        return values[0] if len(values) == 1 else f"one of {', '.join(values)}"
    if origin is list:
        least, most = _stated(constraints, "min_length"), _stated(constraints, "max_length")
        count = "" if least is None else f"{least} " if least == most else "one or more "
        return f"a list of {count}{_several(parts[0], told_below)}"
    return _allowed_plain(annotation, constraints, told_below)


def _allowed_plain(annotation: object, constraints: list[object], told_below: float) -> str:
    if annotation in (int, float):
        return f"a {'whole ' if annotation is int else ''}number{_bounds(constraints, told_below)}"
    if annotation is str and NAMES_A_FILE in constraints:
        return "the name of a file"
    if annotation is str:
        pattern = any(getattr(one, "pattern", None) for one in constraints)
        return "a code of three capital letters" if pattern else "text"
    if annotation is bool:
        return "true or false"
    return "a date" if annotation in (date, datetime) else "a table"


def _several(annotation: object, told_below: float) -> str:
    """Name several of what a list holds."""
    words = _allowed(annotation, [], told_below)
    for one in ("a number", "a table", "a list", "text"):
        words = words.replace(one, f"{one.removeprefix('a ')}s", 1)
    return words


def _stated(constraints: list[object], name: str) -> float | None:
    values = [getattr(one, name) for one in constraints if getattr(one, name, None) is not None]
    return values[-1] if values else None


def _bounds(constraints: list[object], told_below: float) -> str:
    ge, gt, le, lt = (_stated(constraints, name) for name in ("ge", "gt", "le", "lt"))
    if ge is not None and lt is not None:
        return f" from {ge:g} to below {lt:g}"
    if ge is not None:
        untold = le is None or le >= told_below
        return f" of {ge:g} or more" if untold else f" from {ge:g} to {le:,.13g}"
    if gt is not None and lt is not None:
        return f" between {gt:g} and {lt:g}"
    if gt is not None:
        return f" above {gt:g}" + ("" if le is None else f" and up to {le:,.13g}")
    return ""


def in_toml(value: object) -> str:
    """Write a value as it stands in a plan."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, list):
        return f"[{', '.join(map(in_toml, value))}]"
    if isinstance(value, dict):
        pairs = ", ".join(f"{name} = {in_toml(part)}" for name, part in value.items())
        return f"{{ {pairs} }}"
    return str(value)
