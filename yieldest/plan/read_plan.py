"""Read a plan file: TOML in, a validated `Plan` out, or one sentence that says what to mend."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from yieldest.errors import InputError
from yieldest.files.text_file import open_text
from yieldest.plan.keys import table_of, tables
from yieldest.plan.overrides import Override, apply_override
from yieldest.plan.refusal import refusal, troubles_of
from yieldest.plan.whole_plan import Plan

LONGEST = 200_000
"""Characters; a plan for a hundred builds has some 40,000."""
LONGEST_LINE = 20_000
"""Characters; the places of 200 machines take some 5,000."""
_CONTROLS = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029]")
"""What a text must not hold: a terminal would obey some of them."""


def load_plan(path: Path, overrides: Sequence[Override] = ()) -> Plan:
    """Read and validate a plan file, or the plan.toml of a folder.

    The overrides are put over what the file says before it is validated, the last one winning. An
    `InputError` names the line, or the override, and the key that is wrong.
    """
    if path.is_dir():
        path = path / "plan.toml"
    text = _text_of(path)
    content = _parsed(path, text)
    if "path" in content:
        raise InputError(
            f"{path}, {_line_of(text, ('path',))}: unknown key 'path'; leave it out, for files are "
            "looked for beside the plan."
        )
    for override in overrides:
        if not _whole(override) and _keys_ending_in(override.key):
            raise _without_table(override)
    places = {apply_override(content, override): override for override in overrides}
    if ("path",) in places:
        raise InputError(f"{places['path',].text}: unknown key 'path'; leave it out.")
    _refuse_controls(path, content)
    try:
        return Plan.model_validate({**content, "path": path})
    except ValidationError as error:
        trouble = troubles_of(error)[0]
        blamed = _blamed(tuple(trouble["loc"]), text, places) if places else None
        line = f", {_line_of(text, trouble['loc'])}" if trouble["loc"] else ""
        place = f"{path}{line}" if blamed is None else blamed.text
        raise InputError(f"{place}: {refusal(trouble)}") from error


def with_override(plan: Plan, override: Override) -> Plan:
    """Return a plan with another value of one key.

    The key may be the last word alone, where only one table has it. An `InputError` when no table
    or several have the key, or it cannot take the value.
    """
    content = plan.model_dump(exclude_unset=True)
    apply_override(content, replace(override, key=full_key(override)))
    try:
        return Plan.model_validate({**content, "path": plan.path})
    except ValidationError as error:
        raise InputError(f"{override.text}: {refusal(troubles_of(error)[0])}") from error


def full_key(override: Override) -> str:
    """Return the key with its table, where it was given by its last word alone."""
    if _whole(override):
        return override.key
    found = _keys_ending_in(override.key)
    if len(found) == 1 and ".0." not in found[0]:
        return found[0]
    raise _without_table(override)


def _whole(override: Override) -> bool:
    return "." in override.key or override.key in Plan.model_fields


def _without_table(override: Override) -> InputError:
    """Say which whole keys end in what was given."""
    found = _keys_ending_in(override.key)
    which = f"it may be {' or '.join(found)}" if found else "no table of a plan has it"
    first = " (0 is the first entry; its name does as well)" if ".0." in " ".join(found) else ""
    return InputError(f"{override.text}: {which}; write the key with its table{first}.")


@cache
def _keys_ending_in(word: str) -> list[str]:
    """Return whole keys, the first entry standing for each of tables that there may be several."""
    several = {table.path for table in tables() if table.many}
    return [
        ".".join(
            (
                *(
                    f"{name}.0" if table.path[: depth + 1] in several else name
                    for depth, name in enumerate(table.path)
                ),
                word,
            )
        )
        for table in tables()
        if word in table.keys and table_of(table.keys[word])[0] is None
    ]


def _text_of(path: Path) -> str:
    with open_text(path, "utf-8-sig") as stream:
        text = stream.read(LONGEST + 1)
    if len(text) > LONGEST or max(map(len, text.splitlines()), default=0) > LONGEST_LINE:
        raise InputError(
            f"{path}: a plan has at most {LONGEST:,} characters, and {LONGEST_LINE:,} in a line; "
            "check that this is the right file."
        )
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise InputError(
            f"{path}, line {line}: there are zero bytes in the text, as UTF-16 "
            "has them; remove them, or save it as UTF-8."
        )
    return text


def _refuse_controls(path: Path, content: Mapping[str, Any]) -> None:
    """Refuse texts that a terminal might obey, wherever they stand."""
    parts: list[tuple[str, Any]] = list(content.items())
    while parts:
        key, value = parts.pop()
        if isinstance(value, dict):
            parts += value.items()
        elif isinstance(value, list):
            parts += [(key, part) for part in value]
        for text in (key, value):
            if isinstance(text, str) and _CONTROLS.search(text):
                raise InputError(
                    f"{path}: {key!r} holds a control character ({text[:100]!r}); remove it."
                )


def _parsed(path: Path, text: str) -> dict[str, Any]:
    """Parse TOML; what is wrong is said for people who have never heard of it."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}{_toml_trouble(text, str(error))}") from error
    except (ValueError, RecursionError) as error:
        raise InputError(
            f"{path}: a number is too long, or brackets stand too deep in each other; mend them."
        ) from error


def _toml_trouble(text: str, message: str) -> str:
    found = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", message)
    reason = message[: found.start()] if found else message
    if found is None or found.group(1) is None:
        return f": the file ends too early ({reason}); close the last quote or bracket."
    number = int(found.group(1))
    line = text.split("\n")[number - 1].strip()
    return f", line {number}: {_mend(reason, line)}"


def _mend(reason: str, line: str) -> str:
    value = line.partition("=")[2].partition("#")[0].strip()
    shown = repr(line if len(line) <= 60 else f"{line[:57]}...")
    if reason == "Cannot overwrite a value":
        wrong, mend = "stands in this table already", "keep one of them"
    elif reason.startswith("Cannot declare"):
        wrong, mend = "stands in the plan already", "put both together"
    elif re.fullmatch(r"[+-]?\d+,\d+", value):
        wrong, mend = "has a decimal comma", f"write {value.replace(',', '.')}"
    elif re.fullmatch(r"0\d+", value):
        wrong, mend = "has a number that begins with 0", f"write {value.lstrip('0') or '0'}"
    elif found := re.match(r"([+-]?\d+(?:\.\d+)?) ?[^\d.,:-]", value):
        wrong, mend = "has more than a number", f"leave out what follows {found.group(1)}"
    elif reason.startswith(("Illegal character '\\n'", "Unterminated string")):
        wrong, mend = "has a quote that is not closed", "close it"
    elif reason == "Invalid value" and value:
        wrong, mend = "has no number, true, false or text in quotes", "put quotes around text"
    elif line.startswith("["):
        wrong, mend = "is not closed as it was opened", "mend its brackets"
    elif "=" not in line:
        wrong, mend = "is neither a [table] nor a key = value", "mend it, or put a # before it"
    else:
        wrong, mend = f"is not written as TOML wants it ({reason.lower()})", "mend it"
    return f"{shown} {wrong}; {mend}."


def _blamed(
    location: tuple[int | str, ...], text: str, overrides: Mapping[tuple[int | str, ...], Override]
) -> Override | None:
    """Return the last override at or around a wrong place, unless the file alone is as wrong."""
    try:
        Plan.model_validate({**tomllib.loads(text), "path": Path()})
    except ValidationError as error:
        if any(trouble["loc"] == location for trouble in troubles_of(error)):
            return None
    for place, override in reversed(list(overrides.items())):
        depth = min(len(place), len(location))
        if place[:depth] == location[:depth]:
            return override
    return None


def _line_of(text: str, location: tuple[int | str, ...]) -> str:
    """Find the line of a key, or of the section that should hold it, such as "line 7"."""
    # tomllib forgets lines, so this looks for table headings and "key =" at line starts; a key
    # inside an inline table is reported by the line of that table.
    best_depth, best_line = 0, 1
    tables: dict[tuple[str, ...], int] = {}
    here: tuple[int | str, ...] = ()
    for number, line in enumerate(text.splitlines(), start=1):
        heading = re.match(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]", line)
        entry = re.match(r"\s*([A-Za-z0-9_.\"'-]+)\s*=", line)
        if heading:
            names = tuple(name.strip("\"' ") for name in heading.group(2).split("."))
            if heading.group(1) == "[[":
                tables[names] = tables.get(names, -1) + 1
                # Tables within this one are counted from its own start.
                for inner in [t for t in tables if t[: len(names)] == names and t != names]:
                    del tables[inner]
            here = ()
            for depth, name in enumerate(names, start=1):
                here += (name, tables[names[:depth]]) if names[:depth] in tables else (name,)
            found = here
        elif entry:
            found = here + tuple(name.strip("\"'") for name in entry.group(1).split("."))
        else:
            continue
        depth = min(len(found), len(location))
        if location[:depth] == found[:depth] and depth > best_depth:
            best_depth, best_line = depth, number
    return f"line {best_line}"
