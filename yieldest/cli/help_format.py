"""How `--help` looks: examples on lines of their own to copy, options in groups."""

import inspect
import re
from typing import Any

import typer
from typer.core import TyperCommand

WIDTH = 100
"""Columns that help takes at most."""
ARGUMENTS, OTHERS = "Arguments", "Options"
"""Headings of what belongs to no group."""
EXAMPLE = "Example: "
_WITHIN_WORD = re.compile(r"(?<=\S)-(?=\S)")
_HYPHEN = "\ue000"
"""Stands for a hyphen while lines are broken, so that none ends within --cut-out."""
HelpWriter = Any
"""What typer hands over to write help with: its class depends on the version, and has the methods
of click's `HelpFormatter`."""


class GroupedCommand(TyperCommand):
    """A command whose options stand under the headings given as their `rich_help_panel`."""

    def parse_args(self, ctx: typer.Context, args: list[str]) -> list[str]:  # type: ignore[override]
        """Read the options; who states a unit of the file as one to show is told the right one."""
        try:
            return super().parse_args(ctx, args)
        except typer.BadParameter as error:
            error.message = error.message.removeprefix("Value error, ")
            of_file = any("--speed-units" in param.opts for param in self.get_params(ctx))
            if of_file and error.param is not None and "--units" in error.param.opts:
                error.message += " The unit of the speeds in the file is --speed-units."
            raise

    def get_help(self, ctx: typer.Context) -> str:  # type: ignore[override]
        """Return the help as it is shown."""
        return super().get_help(ctx).replace(_HYPHEN, "-")

    def format_help_text(self, ctx: typer.Context, formatter: HelpWriter) -> None:  # type: ignore[override]
        """Write what the command does, and its examples."""
        write_help(self.help, formatter)

    def format_options(self, ctx: typer.Context, formatter: HelpWriter) -> None:  # type: ignore[override]
        """Write the arguments, then the options group by group."""
        groups: dict[str, list[tuple[str, str]]] = {}
        for param in self.get_params(ctx):
            row = param.get_help_record(ctx)
            if row is not None:
                is_option = param.param_type_name == "option"
                heading = OTHERS if is_option else ARGUMENTS
                # The type that some versions of typer set behind an argument says nothing to users.
                row = row if is_option else (row[0].partition(" ")[0], row[1])
                group = getattr(param, "rich_help_panel", None) or heading
                # A default that was given as a text comes in parentheses.
                told = re.sub(r"\[default: \((.+)\)\]", r"[default: \1]", row[1])
                groups.setdefault(group, []).append((row[0], _WITHIN_WORD.sub(_HYPHEN, told)))
        for group, rows in groups.items():
            with formatter.section(group):
                formatter.write_dl(rows)


def paragraphs(text: str | None) -> tuple[list[str], list[str]]:
    """Return the paragraphs of a help text, each as one line: those of words, and the examples."""
    lines = [" ".join(part.split()) for part in inspect.cleandoc(text or "").split("\n\n")]
    words = [line for line in lines if not line.startswith(EXAMPLE)]
    return words, [line.removeprefix(EXAMPLE) for line in lines if line.startswith(EXAMPLE)]


def write_help(text: str | None, formatter: HelpWriter) -> None:
    """Write the words of a help text, then its examples."""
    words, examples = paragraphs(text)
    with formatter.indentation():
        for line in words:
            formatter.write("\n")
            formatter.write_text(line)
    formatter.write("\n")
    for example in examples:
        formatter.write(f"  {EXAMPLE}{example}\n")
