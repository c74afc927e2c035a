"""Write plan-file.md and commands.md from the code: `python docs/make_reference.py`.

What a key means stands at the key (its settings), what an option does at the option
(`yieldest/cli/`). Only the words around them are here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from inspect import Parameter, signature
from pathlib import Path
from typing import Literal, get_args, get_origin

from pydantic.fields import FieldInfo
from typer.models import ArgumentInfo

from yieldest.cli.app import COMMANDS
from yieldest.cli.help_format import ARGUMENTS, OTHERS, paragraphs
from yieldest.cli.options import Command
from yieldest.plan.keys import PlanTable, allowed, in_toml, table_of, tables
from yieldest.plan.wind_table import SOURCES
from yieldest.settings import note

HERE = Path(__file__).parent
MADE_BY = "<!-- Made by docs/make_reference.py from the code; change it there. -->\n"

PLAN_INTRODUCTION = """\
# The plan file

A plan is a text file, usually `plan.toml` in a folder of its own, with everything that an estimate
is made from: one site, one source of wind, one or more builds to compare, and what money is to
count. `yieldest start my-yard` writes one to fill in, and `yieldest check my-yard` says whether it
is sound.

It is written in TOML (an open standard, version 1.0): a line is `key = value`; a line in square
brackets begins a table; everything behind a `#` is a remark. Five things to know:

- Text stands in quotes, numbers do not, and the decimal mark is a point: `price_per_kwh = 0.30`.
- A share is a number from 0 to 1: 5 % is `0.05`.
- `[[build]]` with double brackets may come several times, one for each build. Tables of a build,
  such as `[build.array]` or `[[build.cable]]`, stand below it and belong to the one above them.
- A small table may stand in one line: below `[site]`,
  `roof = { edge_height_m = 6, width_m = 12, edge_distance_m = 5 }` is a table `[site.roof]`.
- Names of files count from the folder of the plan, wherever you run the command from.

A key that is not in this list is refused, and the nearest one is suggested: a slip of the pen must
not become a silent default. What you leave out is assumed as the last column says, and each
assumption is listed below the answer. Any key can be changed for one run:
`--set economics.discount_rate=0.05`, or `--set build.0.count=4` for the first build (see
[the commands](commands.md)).

The shortest plan there is:

```toml
title = "My yard"
currency = "EUR"

[wind]
mean_speed_ms = 5.0           # a yearly mean that you trust
measured_height_m = 10

[[build]]
name = "one machine"
hub_height_m = 12
curve = "curve.csv"           # wind speed and power, see power-curve.md
```

"""

READ_MORE = {
    "site": "height exposure air places",
    "site.obstacles": "exposure",
    "site.roof": "exposure",
    "wind": "records weibull",
    "wind.columns": "records",
    "wind.other_heights": "height",
    "wind.reference": "long-term",
    "wind.quality_control": "quality-control",
    "build": "power-curve arrays bill",
    "build.generic_curve": "generic-curve",
    "build.meters": "readings",
    "build.load": "loads",
    "build.array": "arrays",
    "build.cable": "arrays",
    "build.converter": "arrays",
    "economics": "economics",
    "economics.loan": "economics",
    "uncertainty": "uncertainty",
}
"""Pages by table, for what the keys do."""

REMARKS = {
    "wind": f"State one source: {', '.join(f'`{source}`' for source in SOURCES)}.",
    "build": "State one source of the curve: `curve`, `readings` or `generic_curve`; and one size "
    "of the rotor, if any.",
    "build.array": "State one of `layout`, `coordinates_m` and `array_efficiency`.",
    "build.losses": "Each is a share of what the losses above it leave.",
}
"""What holds for several keys of a table together."""

COMMANDS_INTRODUCTION = """\
# The commands

In the order of the work: `start` writes a folder to fill in, `wind` and `curve` look at what you
measured, `check` finds slips, `estimate` answers, `report` makes the page, `map` does it for many
places at once. `yieldest COMMAND --help` says in the terminal what stands here.

- **Answers** go to the terminal in at most 100 columns, rounded to what is known. With `--json`
  they come in full precision for programs, with SI units in the names and `null` for what cannot
  be had.
- **Files** are written whole or not at all.
- **Exit codes:** 0, done; 2, something given cannot be used, and one sentence says what was found,
  what was expected and how to mend it; 1, a fault of ours.
- **Take care:** masts, blades, batteries and mains hurt people. See [Safety](safety.md) first.

"""


def anchor(heading: str) -> str:
    """Return the link to a heading, as the usual viewers of Markdown name it."""
    kept = "".join(mark for mark in heading.lower() if mark.isalnum() or mark in " -_")
    return "#" + kept.replace(" ", "-")


def rows_of(head: list[str], rows: Iterable[list[str]]) -> str:
    """Return a Markdown table without the columns that hold nothing."""
    rows = list(rows)
    used = [at for at in range(len(head)) if any(row[at] for row in rows)]
    lines = [[head[at] for at in used], ["---"] * len(used)]
    lines += [[row[at].replace("|", "\\|") for at in used] for row in rows]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines) + "\n"


def code(text: str) -> str:
    """Set in type of its own."""
    return f"`{text}`" if text else ""


# The plan file


def plan_file() -> str:
    """Return plan-file.md."""
    first: dict[type, PlanTable] = {}
    alike: dict[type, list[PlanTable]] = {}
    for table in tables():
        first.setdefault(table.model, table)
        alike.setdefault(table.model, []).append(table)
    parts = [MADE_BY, PLAN_INTRODUCTION, "## The tables\n\n"]
    parts += [f"- [{marked(title_of(each))}]({anchor(title_of(each))}): {words_of(each)}\n"
              for each in first.values()]  # fmt: skip
    parts.append("\n")
    for table in first.values():
        parts += section_of(table, alike[table.model], first)
    return "".join(parts).rstrip() + "\n"


def title_of(table: PlanTable) -> str:
    """Return the heading of a section."""
    if not table.path:
        return "At the top"
    return "A distribution" if table.model.__name__ == "StatedDistribution" else table.heading


def marked(title: str) -> str:
    """Set a title that is a heading of the plan as code."""
    return code(title) if title.startswith("[") else title


def words_of(table: PlanTable) -> str:
    """Return what a table is, as a half sentence."""
    words = " ".join((table.model.__doc__ or "").split()).rstrip(".")
    return words[0].lower() + words[1:]


def section_of(table: PlanTable, alike: list[PlanTable], first: dict[type, PlanTable]) -> list[str]:
    """Return the section of a table."""
    pages = READ_MORE.get(".".join(table.path), "").split()
    more = ", ".join(f"[{page.replace('-', ' ')}]({page}.md)" for page in pages)
    words = words_of(table)
    parts = [f"## {marked(title_of(table))}\n\n{words[0].upper()}{words[1:]}."]
    remark = REMARKS.get(".".join(table.path))
    if remark:
        parts.append(f" {remark}")
    if title_of(table) == "A distribution":
        parts.append(
            " Each input in `[uncertainty]` takes one, as a table such as "
            "`[uncertainty.anemometer]` or in one "
            "line. Its values are in the unit that stands there: a factor multiplies what was "
            "computed, so that 1 leaves it as it is, and a standard uncertainty of 0.05 is 5 %."
        )
    elif len(alike) > 1:
        others = " and ".join(code(other.heading) for other in alike[1:])
        parts.append(f" {others} has the same keys.")
    parts.append(f" Read more: {more}.\n\n" if more else "\n\n")
    parts.append(rows_of(
        ["key, with an example", "what it is", "unit", "takes", "if left out"],
        [row_of(table, name, field, first) for name, field in table.keys.items()],
    ))  # fmt: skip
    return parts


def row_of(
    table: PlanTable, name: str, field: FieldInfo, first: dict[type, PlanTable]
) -> list[str]:
    """Return the row of a key."""
    model, many = table_of(field)
    words = field.description or ""
    if model is not None and not field.examples:
        heading = PlanTable((*table.path, name), many, model).heading
        shown = f"[{code(heading)}]({anchor(title_of(first[model]))})"
    else:
        shown = code(f"{name} = {in_toml((field.examples or [None])[0])}")
    if model is None:
        takes = takes_of(field)
    else:
        takes = f"[a distribution]({anchor('A distribution')})" if field.examples else "table"
    return [shown, words, note(field, "unit"), takes, left_out(field)]


def takes_of(field: FieldInfo) -> str:
    """Return what a key takes, quoted values set as code."""
    words = allowed(field).removeprefix("a ").removeprefix("the ")
    if words.startswith("one of "):
        return ", ".join(code(value) for value in words.removeprefix("one of ").split(", "))
    return words


def left_out(field: FieldInfo) -> str:
    """Return what holds without the key."""
    if field.is_required():
        return "**must be there**"
    if told := note(field, "left_out"):
        return told
    if isinstance(field.default, float):
        return code(f"{field.default:g}")
    if isinstance(field.default, str | int):
        return code(in_toml(field.default))
    return ""


# The commands


def commands() -> str:
    """Return commands.md."""
    parts = [MADE_BY, COMMANDS_INTRODUCTION]
    for name, command in COMMANDS.items():
        summary = paragraphs(command.function.__doc__)[0][0].rstrip(".")
        link = anchor(f"yieldest {name}")
        parts.append(f"- [yieldest {name}]({link}): {summary[0].lower()}{summary[1:]}\n")
    parts.append("\n`yieldest --version` says which one you have.\n\n")
    for name, command in COMMANDS.items():
        parts += command_section(name, command)
    return "".join(parts).rstrip() + "\n"


def command_section(name: str, command: Command) -> Iterable[str]:
    """Return the section of a command."""
    words, examples = paragraphs(command.function.__doc__)
    given = [
        Given.of(name, one, command.fields.get(name))
        for name, one in signature(command.completed).parameters.items()
    ]
    arguments = [one.names for one in given if one.heading == ARGUMENTS]
    yield f"## yieldest {name}\n\n    {' '.join(['yieldest', name, *arguments, '[OPTIONS]'])}\n\n"
    for line in words:
        yield f"{linked(line)}\n\n"
    yield "```sh\n" + "".join(f"{example}\n" for example in examples) + "```\n\n"
    headings = dict.fromkeys(one.heading for one in given)
    for heading in headings:
        yield f"**{linked(heading)}**\n\n"
        yield rows_of(
            [heading.lower().rstrip("s") if heading == ARGUMENTS else "option", "what it does",
             "takes", "unless given"],
            [[code(one.names), one.words, one.takes, one.usual]
             for one in given if one.heading == heading],
        )  # fmt: skip


def linked(text: str) -> str:
    """Turn the names of pages into links."""
    return re.sub(r"docs/([\w-]+\.md)", r"[\1](\1)", text)


@dataclass(frozen=True)
class Given:
    """An argument or option of a command, as a row."""

    names: str
    words: str
    takes: str
    usual: str
    heading: str

    @classmethod
    def of(cls, name: str, parameter: Parameter, key: FieldInfo | None) -> Given:
        """Read it from the signature of a command, and from the key of the plan that it is."""
        kind, info = get_args(parameter.annotation)
        metavar = info.metavar or ""
        many = get_origin(kind) is list
        required = parameter.default is Parameter.empty
        if isinstance(info, ArgumentInfo):
            usual = "**must be there**" if required else code(str(parameter.default))
            several = "one or more" if many else ""
            return cls(metavar, info.help, several, usual, info.rich_help_panel or ARGUMENTS)
        flag = f"--{name.replace('_', '-')}"
        # typer takes the first of the names for a default until it sees that it is none.
        declared = [one for one in (info.default, *(info.param_decls or ())) if one is not ...]
        names = ", ".join(declared) or flag
        heading = info.rich_help_panel or OTHERS
        if kind is bool:
            if not declared:
                names = f"{flag}, --no-{flag.removeprefix('--')}"
            return cls(names, info.help, "", code(flag) if parameter.default else "", heading)
        choices = [choice for part in (kind, *get_args(kind)) if get_origin(part) is Literal
                   for choice in get_args(part)]  # fmt: skip
        takes = ", ".join(map(code, choices)) or code(metavar) + range_of(info.min, info.max)
        usual = "**must be there**" if required else ""
        if key is not None:
            takes += re.sub("^a (whole )?number|.*", "", allowed(key), count=1)
            usual = left_out(key)
        if isinstance(parameter.default, str | int | float | Path):
            usual = code(str(parameter.default))
        return cls(names, info.help, takes, usual, heading)


def range_of(low: float | None, high: float | None) -> str:
    """Return the bounds of a number."""
    if low is not None and high is not None:
        return f" from {low:g} to {high:g}"
    if low is not None:
        return f" of {low:g} or more"
    return f" up to {high:g}" if high is not None else ""


PAGES = {"plan-file.md": plan_file, "commands.md": commands}

if __name__ == "__main__":
    for page, made in PAGES.items():
        (HERE / page).write_text(made(), encoding="utf-8", newline="\n")
        print(f"wrote docs/{page}")
