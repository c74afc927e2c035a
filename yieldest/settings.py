"""What every table of a plan has in common: how a key is described, and what numbers it takes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Annotated, Any, Literal, Self, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError, create_model
from pydantic.fields import FieldInfo

from yieldest.errors import InputError

HIGHEST_USUAL_MEAN_MS = 12.0
"""A mean wind above it is asked about: hardly the windiest hill has more (common practice, no
source)."""
HIGHEST_CUT_OUT_MS = 120.0
"""Above any wind that was ever measured near the ground."""

NAMES_A_FILE = "names a file"
SHARES = ("share", "share a year")
"""Units of what people may write in per cent."""

Share = Annotated[float, Field(ge=0, lt=1)]
WholeShare = Annotated[float, Field(ge=0, le=1)]
Positive = Annotated[float, Field(ge=0.0001, le=1e9)]
Height = Annotated[float, Field(ge=0.1, le=1000)]
BuildingHeight = Annotated[float, Field(ge=0.01, le=200)]
RotorSize = Annotated[float, Field(ge=0.01, le=1000)]
NotNegative = Annotated[float, Field(ge=0, le=1e9)]
Volts = Annotated[float, Field(ge=1, le=100_000)]
MeanSpeed = Annotated[float, Field(ge=0.01, le=60)]
Amount = Annotated[float, Field(ge=0, le=1e12)]
Bearing = Annotated[float, Field(ge=0, le=360)]
Elevation = Annotated[float, Field(ge=-430, le=6000)]
Celsius = Annotated[float, Field(ge=-60, le=60)]
PowerFactor = Annotated[float, Field(ge=0.01, le=1)]
CutSpeed = Annotated[float, Field(gt=0, le=HIGHEST_CUT_OUT_MS)]
Words = Annotated[str, Field(min_length=1)]
FilePath = Annotated[str, Field(min_length=1), NAMES_A_FILE]
DateOrder = Literal["day first", "month first", "year first"]
DecimalMark = Literal[".", ","]
Circuit = Literal["dc", "single-phase", "three-phase"]


class Settings(BaseModel):
    """A table of the plan: only the keys named here, each of its own type and finite."""

    # A table is made ready when it is first used: many are part of another, or of another command.
    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, strict=True, defer_build=True
    )

    @classmethod
    def unstated(cls) -> Self:
        """Return it as a plan leaves it out; to make it ready for that would take a while."""
        return cls.model_construct()

    def differs_in(self, other: Self) -> set[str]:
        """Return the keys that have other values in another table of the same kind."""
        mine, others = vars(self), vars(other)
        return {name for name in type(self).model_fields if mine[name] != others[name]}


def key(
    words: str,
    example: object = None,
    *,
    default: object = None,
    unit: str = "",
    left_out: str = "",
) -> Any:  # noqa: ANN401 - it stands as the value of a key of any type
    """Describe a key of the plan; docs/plan-file.md is made from this.

    Parameters
    ----------
    words : str
        What it means, in one plain sentence without a full stop.
    example : object
        A value it takes; None for a table, whose own keys have examples.
    default : object
        What the key is when it is not there; ``...`` for one that must be there.
    unit : str
        Where it is a quantity: "m", "m/s", "share", "money", ...
    left_out : str
        What holds when the key is not there, where that is not simply its default.
    """
    # A table left out is one and the same for all who leave it out; given as a value it is copied.
    value: dict[str, Any] = {"default": default}
    if isinstance(default, Settings):
        value = {"default_factory": lambda: default}
    return Field(
        **value,
        description=words,
        examples=None if example is None else [example],
        json_schema_extra={"unit": unit, "left_out": left_out},
    )


def note(field: FieldInfo, name: str) -> str:
    """Return what is said of a key by `key`: its "unit", or what holds if "left_out"."""
    extra = field.json_schema_extra
    return str(extra[name]) if isinstance(extra, dict) else ""


def at_most_one(section: BaseModel, *keys: str) -> None:
    """Refuse a section in which more than one of these keys is stated."""
    stated = [
        key for key in keys if key in section.model_fields_set and getattr(section, key) is not None
    ]
    if len(stated) > 1:
        raise ValueError(f"{' and '.join(stated)} exclude each other; keep one of them")


Table = TypeVar("Table", bound=Settings)


def with_keys(keys: Mapping[str, tuple[object, object]]) -> Callable[[type[Table]], type[Table]]:
    """Give a table keys that are made from a registry: by name, the type and what `key` says."""
    fields: dict[str, Any] = dict(keys)

    def extended(table: type[Table]) -> type[Table]:
        name, words, module = table.__name__, table.__doc__, table.__module__
        return create_model(name, __base__=table, __doc__=words, __module__=module, **fields)

    return extended


def options_of(kind: type[Table], options: Table | None, stated: dict[str, object]) -> Table:
    """Return a table of settings, with what is stated as arguments added to it.

    An `InputError` when there is no such option, or it takes no such value.
    """
    if options is not None and not stated:
        return options
    before = {name: getattr(options, name) for name in options.model_fields_set} if options else {}
    try:
        return kind(**{**before, **stated})
    except ValidationError as error:
        trouble = error.errors()[0]
        place = trouble["loc"]
        name = ".".join(map(str, place[:2]))
        if trouble["type"] == "value_error":
            raise InputError(f"{name}{': ' * bool(name)}{trouble['ctx']['error']}.") from error
        if trouble["type"] != "extra_forbidden":
            raise InputError(f"{name} is {trouble['input']!r}: {trouble['msg']}.") from error
        table: type[Settings] = kind
        if len(place) > 1:
            annotation = kind.model_fields[str(place[0])].annotation
            for inner in (annotation, *get_args(annotation)):
                table = inner if isinstance(inner, type) and issubclass(inner, Settings) else table
        raise InputError(
            f"{name}: there is no such option; write one of {', '.join(table.model_fields)}."
        ) from error
