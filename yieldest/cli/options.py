"""The options of a command: of its own, or keys of the plan, which are described at the key."""

import functools
import inspect
import json
import math
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import field
from inspect import Parameter
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeVar, get_args, get_origin

import typer
from typer.models import ArgumentInfo, OptionInfo

from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass

# These wait for pydantic, and `--help` of all the commands does not.
if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

    from yieldest.settings import Settings

MOSTLY = "Most often needed"
"""Heading of the options that most people need."""
METAVARS = {"m": "METRES", "s": "SECONDS", "W": "WATTS", "degrees Celsius": "CELSIUS"}
"""By the unit of a key; others stand as they are."""
UNIT_ENDING = re.compile(r"_(m|s|ms|w|c|m2)$")
_UNITS = "Units to show, not of a file: imperial is mph and ft; JSON and CSV stay SI."
COMMON = {
    "plan": ("PLAN", "The plan file, or the folder with plan.toml."),
    "changes": (
        "KEY=VALUE",
        "Change a key of the plan, such as economics.discount_rate=0.03 or build.0.count=4 (a "
        "build by its number from 0, or its name); again for another key.",
        "--set",
    ),
    "units": ("", _UNITS),
    "shown_units": ("", _UNITS, "--units"),
    "as_json": ("", "All figures in full precision, for programs.", "--json"),
}
"""Words of what several commands take."""
Units = Annotated[Literal["metric", "imperial"] | None, typer.Option()]
BEYOND_ANY_MACHINE = 1e9
"""In any unit of an option; beyond it the computing would overflow."""

BOUNDS = {"height": (0.1, 1000.0), "air_density": (0.5, 1.6), "winding_ohm": (1e-6, 1e6)}
"""Of the numbers that are options and no keys of the plan."""

Table = TypeVar("Table", bound="Settings")


@frozen_dataclass
class Command:
    """A command: its function, whose first parameter is the argument and the others are options.

    Where options are keys of the plan, its `stated` takes those that were given by their names.
    """

    function: Callable[..., None]
    words: Mapping[str, tuple[str, ...]]
    """By parameter: what stands for its value, what it is, and flags other than its name."""
    panels: Mapping[str, str] = field(default_factory=dict)
    """Heading to what stands below it, in order: parameters of the function, and keys."""
    tables: Callable[[], "Sequence[type[Settings]]"] = tuple
    """Imports and returns the tables that hold the keys."""

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
            stated = {name: given.pop(name) for name in self.fields}
            for name, value in given.items():
                least, most = BOUNDS.get(name, (-math.inf, math.inf))
                if isinstance(value, float) and not least <= value <= most:
                    raise InputError(
                        f"--{name.replace('_', '-')} is {value:g}, but a number from {least:g} to "
                        f"{most:g} was expected; mend it."
                    )
            if stated:
                given["stated"] = {n: value for n, value in stated.items() if value is not None}
            self.function(**given)

        call.__dict__["__signature__"] = inspect.Signature(list(self._parameters()))
        return call

    def _parameters(self) -> Iterator[Parameter]:
        own = dict(inspect.signature(self.function).parameters)
        own.pop("stated", None)
        yield self._described(own.pop(next(iter(own))), typer.Argument(), "")
        for heading, names in self.panels.items():
            for name in names.split():
                if name in own:
                    yield self._described(own.pop(name), typer.Option(), heading)
                else:
                    yield _of_key(name, self.fields, heading)
        yield from (self._described(one, typer.Option(), "") for one in own.values())

    def _described(
        self, parameter: Parameter, info: OptionInfo | ArgumentInfo, heading: str
    ) -> Parameter:
        kind = parameter.annotation
        if get_origin(kind) is Annotated:
            kind, shared = get_args(kind)
            info = copy(shared)
        info.metavar, info.help, *flags = {**COMMON, **self.words}[parameter.name]
        if kind is bool and not parameter.default:
            flags = flags or [f"--{parameter.name}"]  # it cannot be switched off
        info.metavar, info.param_decls = info.metavar or None, flags
        info.rich_help_panel = heading or None
        # Parameters may stand in any order only where they are named.
        return parameter.replace(annotation=Annotated[kind, info], kind=Parameter.KEYWORD_ONLY)


def _of_key(name: str, fields: "Mapping[str, FieldInfo]", heading: str) -> Parameter:
    """Build the option of a key: its words, its unit, and what holds without it."""
    from yieldest.settings import note

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
        rich_help_panel=heading,
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
    """Return the option of a key: its name without the unit, where no other key has that name.

    That of a file's `units`, which are of its speeds, leaves --units to those that are shown.
    """
    if name == "units":
        return "--speed-units"
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

    Of the keys `stated` those of this table serve, beside `more`; an `InputError` names the option
    that cannot be taken.
    """
    from pydantic import ValidationError

    from yieldest.plan.keys import allowed

    fields = table.model_fields
    content = {name: value for name, value in stated.items() if name in fields}
    for name, value in content.items():
        if isinstance(value, float) and value > BEYOND_ANY_MACHINE:
            raise InputError(f"{flag_of(name, fields)} is {value:g}, beyond any machine; mend it.")
    try:
        return table(**content, **more)
    except ValidationError as error:
        trouble = error.errors()[0]
        if trouble["type"] == "value_error":
            of_one = "".join(f"{flag_of(str(name), fields)}: " for name in trouble["loc"][:1])
            words = _with_flags(str(trouble["ctx"]["error"]), fields)
            raise InputError(f"{of_one}{words}.") from error
        name, found = str(trouble["loc"][0]), trouble["input"]
        shown = f"{found:g}" if isinstance(found, float) else repr(found)
        raise InputError(
            f"{flag_of(name, fields)} is {shown}, but {allowed(fields[name])} was expected; mend "
            "it."
        ) from error


def pairs(
    option: str, form: str, texts: Iterable[str] | None, known: Collection[str] = ()
) -> list[tuple[str, str]]:
    """Split the texts of an option, such as "--column" of the form "ROLE=HEADING", at the sign.

    Before the first equals sign stands one of `known`, or anything where that is empty; an
    `InputError` otherwise.
    """
    found = []
    for text in texts or ():
        key, equals, value = (part.strip() for part in text.partition("="))
        if not equals or not key or not value:
            raise InputError(f"{option} is {text!r}, but {form} was expected; mend it.")
        if known and key not in known:
            raise InputError(f"{option}: {key!r} is none of {', '.join(known)}; mend it.")
        found.append((key, value))
    return found


def print_json(content: dict[str, Any]) -> None:
    """Print a result as JSON; what is not a number must be None in it."""
    typer.echo(json.dumps(content, indent=2, allow_nan=False, ensure_ascii=False))
