"""What the commands have in common: options, texts of the form ROLE=NAME, JSON."""

import json
from collections.abc import Collection, Iterable
from typing import Annotated, Any

import typer

from yieldest.errors import InputError

MOSTLY = "Most often needed"
"""Heading of the options that most people need."""

AsJson = Annotated[
    bool, typer.Option("--json", help="All figures in full precision, for programs.")
]


def pairs(
    option: str, form: str, texts: Iterable[str] | None, known: Collection[str] = ()
) -> list[tuple[str, str]]:
    """Split the texts of an option at their first equals sign.

    Parameters
    ----------
    option, form : str
        Such as "--column" and "ROLE=HEADING".
    texts : iterable of str or None
        None where the option was not given.
    known : collection of str, optional
        What may stand before the equals sign; anything where it is empty.

    Raises
    ------
    InputError
        When a text is not of that form.
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
