"""Options that are keys of the plan: each is built from the field of the plan's table."""

import functools
import inspect
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field
from inspect import Parameter
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeVar, get_args, get_origin

import typer
from typer.models import ArgumentInfo, OptionInfo

from yieldest.errors import InputError

# These wait for pydantic, and `--help` of all the commands does not.
if TYPE_CHECKING:
    from pydantic import ValidationError
    from pydantic.fields import FieldInfo

    from yieldest.settings import Settings

METAVARS = {"m": "METRES", "s": "SECONDS", "W": "WATTS", "degrees Celsius": "CELSIUS"}
"""By the unit of a key; others stand as they are."""
UNIT_ENDING = re.compile(r"_(m|s|ms|w|c|m2)$")
BEYOND_ANY_MACHINE = 1e9
"""In any unit of an option; beyond it the computing would overflow."""

Table = TypeVar("Table", bound="Settings")


@dataclass(frozen=True)
class Command:
    """A command, and which of its options are keys of the plan.

    Parameters
    ----------
    function : callable
        With a parameter for each argument and option of its own; where there are keys, also
        `stated`, which takes those that were given by their names.
    panels : mapping of str to str
        Heading to what stands below it, in order: parameters of the function, and keys.
    tables : callable
        Imports and returns the tables that hold the keys.
    """

    function: Callable[..., None]
    panels: Mapping[str, str] = field(default_factory=dict)
    tables: Callable[[], "Sequence[type[Settings]]"] = tuple

    @functools.cached_property
    def fields(self) -> "dict[str, FieldInfo]":
        """The keys that are options, by name."""
        known = {
            name: field for table in self.tables() for name, field in table.model_fields.items()
        }
        wanted = " ".join(self.panels.values()).split()
        own = inspect.signature(self.function).parameters
        return {name: known[name] for name in wanted if name not in own}

    @functools.cached_property
    def completed(self) -> Callable[..., None]:
        """The function with all its options as parameters, for typer to read."""

        @functools.wraps(self.function)
        def call(**given: object) -> None:
            if self.fields:
                stated = {name: given.pop(name) for name in self.fields}
                given["stated"] = {n: value for n, value in stated.items() if value is not None}
            self.function(**given)

        call.__dict__["__signature__"] = inspect.Signature(list(self._parameters()))
        return call

    def _parameters(self) -> Iterator[Parameter]:
        own = dict(inspect.signature(self.function).parameters)
        own.pop("stated", None)
        arguments = [n for n, one in own.items() if isinstance(_info(one), ArgumentInfo)]
        yield from (own.pop(name) for name in arguments)
        for heading, names in self.panels.items():
            for name in names.split():
                found = own.pop(name, None) or _option(name, self.fields)
                info = copy(_info(found))
                info.rich_help_panel = heading
                kind = get_args(found.annotation)[0]
                # Parameters may stand in any order only where they are named.
                yield found.replace(annotation=Annotated[kind, info], kind=Parameter.KEYWORD_ONLY)
        yield from (one.replace(kind=Parameter.KEYWORD_ONLY) for one in own.values())


def _info(parameter: Parameter) -> OptionInfo | ArgumentInfo:
    info: OptionInfo | ArgumentInfo = get_args(parameter.annotation)[1]
    return info


def _option(name: str, fields: "Mapping[str, FieldInfo]") -> Parameter:
    """Build the option of a key: its words, its unit, and what holds without it."""
    from yieldest.settings import note  # noqa: PLC0415

    field = fields[name]
    kind = _kind(field.annotation)
    unit = note(field, "unit")
    metavar = METAVARS.get(unit, unit.upper()) or name.rpartition("_")[2].upper()
    left_out = note(field, "left_out").strip('"')
    words = _with_flags((field.description or "").removeprefix("or "), fields)
    info = typer.Option(
        flag_of(name, fields),
        metavar=None if get_origin(kind) is Literal else "N" if kind is int else metavar,
        help=f"{words[0].upper()}{words[1:]}{'; again for another' * (kind == list[str])}.",
        show_default=left_out if left_out and " " not in left_out else False,
    )
    annotation = Annotated[kind | None, info]  # type: ignore[valid-type]
    return Parameter(name, Parameter.KEYWORD_ONLY, default=None, annotation=annotation)


def _kind(annotation: object) -> object:
    """Return what the command line takes for a key of a type."""
    origin, parts = get_origin(annotation), get_args(annotation)
    if origin is Literal:
        return annotation
    if origin is list:
        return list[str]
    inner = [_kind(part) for part in parts[: 1 if origin is Annotated else None]]
    if annotation in (int, float) or not inner:
        return annotation if annotation in (int, float) else str
    return next((kind for kind in inner if kind is not str), str)


def flag_of(name: str, fields: "Mapping[str, FieldInfo]") -> str:
    """Return the option of a key: its name without the unit, where no other key has that name."""
    short = UNIT_ENDING.sub("", name)
    return f"--{(name if short in fields else short).replace('_', '-')}"


def _with_flags(words: str, fields: "Mapping[str, FieldInfo]") -> str:
    """Call keys by their options in a sentence about the plan."""
    return re.sub(
        r"\b[a-z]\w*_\w+\b",
        lambda found: flag_of(found[0], fields) if found[0] in fields else found[0],
        words,
    )


def settings_of(table: type[Table], stated: Mapping[str, Any], **more: object) -> Table:
    """Return a table of the plan with the keys that were given as options.

    Parameters
    ----------
    table : type
    stated : mapping of str to object
        Keys of this and other tables.
    **more
        Keys that are made from other options.

    Raises
    ------
    InputError
        Naming the option that cannot be taken.
    """
    from pydantic import ValidationError  # noqa: PLC0415

    content = {name: value for name, value in stated.items() if name in table.model_fields}
    for name, value in content.items():
        if isinstance(value, float) and value > BEYOND_ANY_MACHINE:
            flag = flag_of(name, table.model_fields)
            raise InputError(f"{flag} is {value:g}, beyond any machine; mend it.")
    try:
        return table(**content, **more)
    except ValidationError as error:
        raise InputError(_refusal(error, table.model_fields)) from error


def _refusal(error: "ValidationError", fields: "Mapping[str, FieldInfo]") -> str:
    from yieldest.plan.keys import allowed  # noqa: PLC0415

    trouble = error.errors()[0]
    if trouble["type"] == "value_error":
        return f"{_with_flags(str(trouble['ctx']['error']), fields)}."
    name, found = str(trouble["loc"][0]), trouble["input"]
    shown = f"{found:g}" if isinstance(found, float) else repr(found)
    wanted = allowed(fields[name])
    return f"{flag_of(name, fields)} is {shown}, but {wanted} was expected; mend it."
