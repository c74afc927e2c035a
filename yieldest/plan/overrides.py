"""Change keys of a plan from the command line, one by one or along a range."""

from __future__ import annotations

import difflib
import tomllib
from typing import Any

import numpy as np

from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.plan.keys import table_at

MOST_STEPS = 1000


@frozen_dataclass
class Override:
    """One key of a plan, such as "build.0.count", with another value of TOML.

    The option is that of the command line, for messages.
    """

    key: str
    value: object
    option: str = "--set"

    @property
    def text(self) -> str:
        """The override as it would be written on the command line."""
        return f"{self.option} {self.key}={self.value}"


def read_override(text: str) -> Override:
    """Read "key=value"; the value is TOML, or else plain text; an `InputError` if it is neither."""
    key, equals, value = text.partition("=")
    key = key.strip()
    if not equals or not key:
        raise InputError(
            f"--set {text}: a key, an equals sign and a value were expected; write it as "
            "--set economics.discount_rate=0.03."
        )
    return Override(key, _value(value.strip()))


@frozen_dataclass
class Sweep:
    """A key of a plan and the values it takes one after the other."""

    key: str
    values: tuple[float, ...]


def read_sweep(text: str) -> Sweep:
    """Read "key=a:b:n": n values from a to b, both included, evenly spaced, or an `InputError`."""
    key, _, span = text.partition("=")
    try:
        first_text, last_text, steps_text = span.split(":")
        first, last, steps = float(first_text), float(last_text), int(steps_text)
    except ValueError:
        steps = 0
    if not key.strip() or not 2 <= steps <= MOST_STEPS or not np.isfinite([first, last]).all():
        raise InputError(
            f"--sweep {text}: a key, two numbers and how many values from 2 to {MOST_STEPS} were "
            "expected; write it as --sweep economics.discount_rate=0.01:0.09:5."
        )
    values = np.linspace(first, last, steps)
    # A count is a whole number, and 3.0 is none to the plan.
    return Sweep(key.strip(), tuple(int(v) if v == round(v) else float(v) for v in values.tolist()))


def apply_override(content: dict[str, Any], override: Override) -> tuple[int | str, ...]:
    """Put a value into the content of a plan, as read from TOML, and return its place there.

    An `InputError` when the key leads through something that has no keys, or to a list entry or a
    build that is not there.
    """
    here: Any = content
    place: list[int | str] = []
    rest = override.key
    while True:
        part, rest = _next_part(here, rest, override, place)
        place.append(part)
        if not rest:
            break
        # A section that the plan leaves out begins empty.
        here = here.setdefault(part, {}) if isinstance(here, dict) else here[part]
        if not isinstance(here, dict | list):
            raise InputError(
                f"{override.text}: {part!r} holds one value and has no keys of its own; "
                "shorten the key."
            )
    here[part] = override.value
    return tuple(place)


def _next_part(
    here: dict[str, Any] | list[Any], rest: str, override: Override, place: list[int | str]
) -> tuple[Any, str]:
    """Split the next part off a dotted key, as a name or as the index of a list."""
    if isinstance(here, dict):
        if rest.startswith('"') and '"' in rest[1:]:
            name, _, tail = rest[1:].partition('"')
            return name, tail.removeprefix(".")
        name, _, tail = rest.partition(".")
        return name, tail
    names = [str(entry["name"]) for entry in here if isinstance(entry, dict) and "name" in entry]
    bare = rest.replace('"', "")
    # A name may hold dots, so the longest that fits is tried before any index.
    for name in sorted(names, key=len, reverse=True):
        if bare == name or bare.startswith(name + "."):
            return names.index(name), bare[len(name) + 1 :]
    index, _, tail = rest.partition(".")
    if index.isdecimal() and int(index) < len(here):
        return int(index), tail
    if here and index in table_at(tuple(place)).keys:
        before = override.key.removesuffix(rest)
        by_name = f' or {before}"{names[0]}".{rest}' if names else ""
        raise InputError(
            f"{override.text}: every entry there has its own {index!r}; write {before}0.{rest}"
            f"{by_name}."
        )
    near = difflib.get_close_matches(bare, names, n=1)
    hint = f"; did you mean {near[0]!r}?" if near else "."
    known = f", named {', '.join(map(repr, names))}" if names else ""
    raise InputError(
        f"{override.text}: {index!r} is none of the {len(here)} entries there, counted from "
        f"0{known}{hint}"
    )


def _value(text: str) -> object:
    try:
        parsed = tomllib.loads(f"value = {text}")
    except (ValueError, RecursionError):
        return text
    return parsed["value"] if set(parsed) == {"value"} else text
