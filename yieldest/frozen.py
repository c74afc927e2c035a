"""Frozen dataclasses that share their methods: to write each its own took a tenth of a run."""

from __future__ import annotations

import dataclasses
from copy import copy
from dataclasses import MISSING, Field, FrozenInstanceError
from inspect import Parameter, Signature
from typing import Any, ClassVar, NoReturn, TypeVar, cast, dataclass_transform

Kind = TypeVar("Kind")


class _Signature:
    """With what a kind of dataclass is made, for those who ask."""

    def __get__(self, of: object, kind: type[_Methods]) -> Signature:
        return Signature(
            [
                Parameter(
                    field.name,
                    Parameter.POSITIONAL_OR_KEYWORD,
                    default=Parameter.empty if _default(field) is MISSING else _default(field),
                    annotation=field.type,
                )
                for field in dataclasses.fields(kind)
            ]
        )


class _Methods:
    """What a frozen dataclass can do, whatever its fields."""

    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]
    __unstated__: ClassVar[dict[str, object]]
    __signature__ = _Signature()

    def __init__(self, *values: object, **named: object) -> None:
        stated = dict(zip(self.__unstated__, values, strict=False)) | named
        made = self.__unstated__ | stated
        wrong = len(stated) < len(values) + len(named) or len(made) > len(self.__unstated__)
        if len(stated) < len(made):
            for name, value in made.items():
                if value is MISSING:
                    made[name] = _default(self.__dataclass_fields__[name])
                    wrong = wrong or made[name] is MISSING
        if wrong:
            raise TypeError(f"{type(self).__name__} has the fields {', '.join(self.__unstated__)}")
        vars(self).update(made)

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise FrozenInstanceError(f"{name} of a {type(self).__name__} cannot be changed")

    def __delattr__(self, name: str) -> NoReturn:
        raise FrozenInstanceError(f"{name} of a {type(self).__name__} cannot be deleted")

    def __eq__(self, other: object) -> bool:
        return type(other) is type(self) and _compared(self) == _compared(other)

    def __hash__(self) -> int:
        return hash(_compared(self))

    def __repr__(self) -> str:
        shown = [field.name for field in dataclasses.fields(self) if field.repr]
        values = ", ".join(f"{name}={getattr(self, name)!r}" for name in shown)
        return f"{type(self).__qualname__}({values})"


def _default(field: Field[Any]) -> object:
    return field.default if field.default_factory is MISSING else field.default_factory()


def _compared(of: _Methods) -> tuple[object, ...]:
    return tuple(getattr(of, field.name) for field in dataclasses.fields(of) if field.compare)


def relabelled(of: Kind, **fields: object) -> Kind:
    """Return a frozen dataclass with other fields that nothing it has cached depends on."""
    made = copy(of)
    vars(made).update(fields)
    return made


_MAKING = ("__init__", "__signature__")
_REST = ("__setattr__", "__delattr__", "__eq__", "__hash__", "__repr__")


@dataclass_transform(frozen_default=True, field_specifiers=(dataclasses.field,))
def frozen_dataclass(kind: type[Kind]) -> type[Kind]:
    """Make a class what `dataclasses.dataclass(frozen=True)` makes it; its own methods stay."""
    shared = _REST if "__init__" in vars(kind) else _MAKING + _REST
    for name in shared:
        if name not in vars(kind):
            setattr(kind, name, vars(_Methods)[name])
    made: Any = dataclasses.dataclass(init=False, repr=False, eq=False)(kind)
    made.__unstated__ = {field.name: field.default for field in dataclasses.fields(made)}
    return cast(type[Kind], made)
