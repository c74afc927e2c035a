"""The commands: parse, call, print; no arithmetic.

The command modules do without `from __future__ import annotations`: typer would have to compile
each annotation again, and `--help` would wait for that.
"""

import atexit
import errno
import gc
import io
import os
import sys
import warnings
from collections.abc import Sequence
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn, cast

import typer
from typer.core import TyperCommand, TyperGroup

from yieldest import __version__
from yieldest.cli import curve_command, map_command, wind_command
from yieldest.cli.help_format import WIDTH, GroupedCommand, HelpWriter, paragraphs, write_help
from yieldest.cli.options import Command, Units, print_json
from yieldest.cli.plan_folder import demo_site_names, write_plan_folder
from yieldest.errors import InputError

# Each command imports what it needs, so that `--help` does not wait for pandas and scipy.
if TYPE_CHECKING:
    from typing_extensions import Buffer

    from yieldest.model.estimate import Estimate
    from yieldest.plan import Plan
    from yieldest.report.comparison import Comparison
    from yieldest.uncertainty.result import Uncertainty

HELP = """What a small wind machine will earn at a site: yearly energy, cost per kWh, payback.

Begin with a folder of your own, then take the commands in the order below; yieldest COMMAND --help
has examples of each. The handbook is docs/README.md. Exit codes: 0 done; 2 something given cannot
be used, and one sentence says what to mend; 1 a fault of ours.

Example: yieldest start my-yard

Example: yieldest estimate my-yard
"""

MOST_OBJECTS_UNSEEN = 1_000_000
"""So many new objects before Python looks for those that only hold each other; our choice."""
LONGEST_MESSAGE = 1000
"""Characters; what a file holds stands in messages, and it may be long."""
WORDS = {
    "folder": ("DIR", "A folder that is not there yet."),
    "demo_site": ("SITE", f"Copy a demo site instead: {', '.join(demo_site_names())}.", "--from"),
    "questions": ("", "Ask ten questions, and answer at once.", "--ask"),
    "spreadsheet": ("", "Write bill and curve as xlsx, with notes."),
    "sweep": (
        "KEY=A:B:N",
        "A table instead of the answer: the plan for N values of a key, from A to B.",
    ),
    "plans": ("PLAN", "The plan file, or the folder with plan.toml; several are compared."),
    "out": (
        "FILE",
        "Write the main figures with their 90 % ranges, or the table, as .csv or .xlsx.",
        "--out",
        "-o",
    ),
    "quiet": ("", "Print the verdict alone, and no bars.", "--quiet", "-q"),
    "draws": ("N", "Draws for the ranges; 0 for none. Else what the plan says."),
    "seed": ("N", "Another seed, another set of draws."),
    "full": ("", "Print all the rest: losses, ranges, inputs, methods, assumptions, cautions."),
    "page": ("FILE", "The page to write.", "--out", "-o"),
    "figures": ("DIR", "Also write every chart as PNG, SVG, PDF and CSV there."),
}


def start(
    folder: Path,
    demo_site: str | None = None,
    spreadsheet: bool = False,
    questions: bool = False,
    as_json: bool = False,
) -> None:
    """Write a folder to fill in: plan, wind record, curve and bill.

    It is full of remarks, its numbers are invented, and it runs as it stands: put yours in their
    place. Read more: docs/plan-file.md.

    Example: yieldest start my-yard

    Example: yieldest start my-yard --ask

    Example: yieldest start my-yard --spreadsheet

    Example: yieldest start my-hill --from hill-yard
    """
    if questions:
        if demo_site is not None or spreadsheet or as_json:
            raise InputError("--ask goes alone; leave --from, --spreadsheet and --json out.")
        from yieldest.cli.questions import ask_for_plan

        typer.echo(f"wrote {ask_for_plan(folder)}\n")
        estimate([folder])
        return
    written = write_plan_folder(folder, demo_site, spreadsheet=spreadsheet)
    if as_json:
        print_json({"written": [str(path) for path in written]})
        return
    for path in written:
        typer.echo(f"wrote {path}")
    then = "Now fill in the files, then run" if demo_site is None else "Invented data. Now run"
    typer.echo(f"{then}: yieldest estimate {folder}")


def check(
    plan: Path,
    changes: list[str] = [],  # noqa: B006
    units: Units = None,
    as_json: bool = False,
) -> None:
    """Say whether a plan and the files it names are sound.

    Reads every file, tries the estimate, and shows what was recognised in the wind record; no
    answer yet. Read more: docs/plan-file.md.

    Example: yieldest check demo-sites/hill-yard

    Example: yieldest check demo-sites/hill-yard --set build.0.hub_height_m=18
    """
    from yieldest.model.check import checked
    from yieldest.model.inputs import read
    from yieldest.report.progress import reading_bar
    from yieldest.report.sentences.wind import recognised_words
    from yieldest.report.sentences.words import sentences
    from yieldest.report.terminal import console, print_list
    from yieldest.units import shown_in

    stated = _changed(plan, changes, units=units)
    with reading_bar("the wind record") as progress:
        found = checked(read(stated, progress))
    if as_json:
        print_json(
            {
                "plan": str(stated.path),
                "found": sentences(found.read),
                "recognised": [asdict(part) for part in found.recognised],
                "warnings": sentences(found.warnings),
            }
        )
        return
    with shown_in(stated.units):
        lines, warnings = sentences(found.read), sentences(found.warnings)
        read_as = [
            f"{part.what}: {recognised_words(part)} ({part.how})" for part in found.recognised
        ]
    screen = console()
    more = f", with {len(warnings)} to check" if warnings else ""
    typer.echo(f"{stated.path}: the plan can be used{more}.")
    print_list("What was read", lines, screen)
    print_list("Check this", warnings, screen)
    print_list("How the record was read (state in [wind] what is wrong)", read_as, screen)


def _changed(
    plan: Path, changes: Sequence[str], out: Path | None = None, units: str | None = None
) -> "Plan":
    """Load a plan with changes; `out` must not be one of the files it names."""
    from yieldest.files.whole_output import refuse_inputs, refuse_place
    from yieldest.model.inputs import input_files
    from yieldest.plan import load_plan
    from yieldest.plan.overrides import read_override

    stated = load_plan(plan, [read_override(change) for change in [*changes, *_of_units(units)]])
    if out is not None:
        refuse_inputs(out, input_files(stated))
        refuse_place(out)
    return stated


def _of_units(units: str | None) -> list[str]:
    """Return the change of a plan that an option for its units is."""
    return [] if units is None else [f"units={units}"]


def estimate(
    plans: list[Path],
    changes: list[str] = [],  # noqa: B006
    sweep: str | None = None,
    out: Path | None = None,
    draws: int | None = None,
    seed: Annotated[int | None, typer.Option(min=0)] = None,
    units: Units = None,
    full: bool = False,
    quiet: bool = False,
    as_json: bool = False,
) -> None:
    """Compute energy, cost per kWh and payback of every build.

    One screen: which build to make and how sure that is, the builds side by side with their 90 %
    ranges, and a line for each thing to look at; all the rest with --full. Several plans come in
    one table. Read more: docs/README.md.

    Example: yieldest estimate demo-sites/hill-yard

    Example: yieldest estimate demo-sites/hill-yard demo-sites/fishing-quay

    Example: yieldest estimate demo-sites/hill-yard --set economics.discount_rate=0.05

    Example: yieldest estimate demo-sites/hill-yard --set "build.eight of 0.9 m.count=4"

    Example: yieldest estimate demo-sites/hill-yard --sweep economics.price_per_kwh=0.15:0.45:4

    Example: yieldest estimate demo-sites/hill-yard --draws 50000 -o results.csv
    """
    if sweep is not None and (draws is not None or seed is not None):
        raise InputError(
            "--sweep shows no ranges, so --draws and --seed go nowhere; leave them out."
        )
    if sweep is not None and len(plans) > 1:
        raise InputError("--sweep is for one plan; leave the others out.")
    stated = [_changed(plan, changes, out, units) for plan in plans]
    if sweep is not None:
        _sweep(stated[0], sweep, out, as_json, quiet)
        return
    from yieldest.model.frames import write_rows
    from yieldest.report.comparison import ComparedPlan, Comparison, plan_names

    names = plan_names([plan.path for plan in stated])
    compared = Comparison(
        tuple(
            ComparedPlan(name, *_estimated(plan, draws, seed, quiet))
            for name, plan in zip(names, stated, strict=True)
        )
    )
    if out is not None:
        write_rows(out, compared.rows())
    _show(compared, as_json, quiet, full)


def _estimated(
    plan: "Plan", draws: int | None, seed: int | None, quiet: bool
) -> "tuple[Estimate, Uncertainty | None]":
    """Estimate a plan and, unless no draws are wanted, how sure that is."""
    from yieldest.model.estimate import estimate as compute
    from yieldest.model.inputs import read
    from yieldest.report.progress import counting_bar, reading_bar

    with reading_bar("the wind record", quiet) as progress:
        result = compute(read(plan, progress))
    wanted = plan.uncertainty.draws if draws is None else draws
    if wanted == 0:
        return result, None
    with counting_bar("draws", max(0, wanted) * len(plan.build), quiet) as step:
        return result, result.uncertainty(wanted, seed, step)


def _show(compared: "Comparison", as_json: bool, quiet: bool, full: bool) -> None:
    """Print one plan as its answer, several as a table."""
    from yieldest.report.comparison import print_comparison, verdict
    from yieldest.report.decision import decide
    from yieldest.report.estimate_json import as_dictionary
    from yieldest.report.estimate_text import print_estimate
    from yieldest.report.terminal import console
    from yieldest.units import shown_in

    first = compared.plans[0]
    is_alone = len(compared.plans) == 1
    if as_json:
        alone = as_dictionary(first.estimate, first.uncertainty) if is_alone else None
        print_json(alone or compared.as_dictionary())
    elif quiet:
        alone_said = decide(first.estimate, first.uncertainty).verdict if is_alone else ()
        typer.echo(" ".join(alone_said or verdict(compared)))
    else:
        with shown_in(first.estimate.plan.units):
            if not is_alone:
                print_comparison(compared, console())
            for each in compared.plans if is_alone or full else ():
                print_estimate(each.estimate, console(), each.uncertainty, full=full)


def _sweep(plan: "Plan", text: str, out: Path | None, as_json: bool, quiet: bool) -> None:
    from yieldest.model.estimate import estimate as compute
    from yieldest.model.frames import write_rows
    from yieldest.model.inputs import read
    from yieldest.plan.overrides import read_sweep
    from yieldest.report.estimate_text import print_sweep
    from yieldest.report.progress import counting_bar
    from yieldest.report.terminal import console

    sweep = read_sweep(text)
    with counting_bar("estimating", len(sweep.values), quiet) as step:
        swept = compute(read(plan)).sweep(sweep.key, sweep.values, step)
    if out is not None:
        write_rows(out, [{**row, "currency": plan.currency} for row in swept.rows()])
    if as_json:
        print_json({"key": swept.key, "rows": swept.rows()})
    elif not quiet:
        print_sweep(swept, console())


def report(
    plan: Path,
    page: Path = Path("page.html"),
    figures: Path | None = None,
    changes: list[str] = [],  # noqa: B006
    units: Units = None,
    as_json: bool = False,
) -> None:
    """Write the answer as one page, with charts and sliders.

    One file that needs no network: charts, methods, uncertainty, and sliders to try things with.
    Read more: docs/page.md.

    Example: yieldest report demo-sites/hill-yard -o hill-yard.html

    Example: yieldest report my-yard -o my-yard.html --figures charts
    """
    from yieldest.report.progress import making
    from yieldest.report.write_report import write_report

    with making("the page") as done:
        changes = [*changes, *_of_units(units)]
        written = write_report(_changed(plan, changes), page, figures, done, changes)
    if as_json:
        print_json({"written": [str(path) for path in written]})
        return
    typer.echo(f"wrote {written[0]} ({written[0].stat().st_size / 1e6:.1f} MB)")
    if figures is not None:
        typer.echo(f"wrote {len(written) - 1} files in {figures}")


COMMANDS = {
    "start": Command(start, WORDS),
    "wind": wind_command.COMMAND,
    "curve": curve_command.COMMAND,
    "check": Command(check, WORDS),
    "estimate": Command(estimate, WORDS),
    "report": Command(report, WORDS),
    "map": map_command.COMMAND,
}


_PlainTyper = partial(
    typer.Typer, add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False
)


class Commands(TyperGroup):
    """All commands; the options of one are made when it is called, or its help asked for."""

    def list_commands(self, ctx: typer.Context) -> list[str]:  # type: ignore[override]
        """Return their names, in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: typer.Context, cmd_name: str) -> TyperCommand | None:  # type: ignore[override]
        """Return the command of a name."""
        if cmd_name not in COMMANDS:
            return None
        made = _PlainTyper()
        made.command(cmd_name, cls=GroupedCommand)(COMMANDS[cmd_name].completed)
        return cast(TyperCommand, typer.main.get_command(made))

    def format_help_text(self, ctx: typer.Context, formatter: HelpWriter) -> None:  # type: ignore[override]
        """Write what the commands are for, and examples."""
        write_help(self.help, formatter)

    def format_commands(self, ctx: typer.Context, formatter: HelpWriter) -> None:  # type: ignore[override]
        """Write each with the first line of its help."""
        with formatter.section("Commands"):
            first = {name: paragraphs(one.function.__doc__)[0][0] for name, one in COMMANDS.items()}
            formatter.write_dl(list(first.items()))


app = _PlainTyper(
    help=HELP,
    cls=Commands,
    no_args_is_help=True,
    add_completion=True,
    context_settings={"max_content_width": WIDTH},
)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"yieldest {__version__}")
        raise typer.Exit


@app.callback()
def yieldest(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_show_version, is_eager=True, help="Show the version and exit."
        ),
    ] = False,
) -> None:
    """Show the version; the commands do the rest."""


def main() -> None:
    """Run the command line; bad input becomes one sentence and exit code 2."""
    # Our sums are short: threads for each would only wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Nor do we wait until all that is installed was searched for plug-ins of the plan's reader.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    # To look again and again, and once more at the end, through all that was imported for objects
    # that hold each other would take a sixth of the time.
    gc.set_threshold(MOST_OBJECTS_UNSEEN)
    atexit.register(gc.freeze)
    _open_streams()
    try:
        with warnings.catch_warnings():
            if not sys.warnoptions:
                # What libraries remark is for those who write programs.
                warnings.simplefilter("ignore")
            try:
                app()
            finally:
                sys.stdout.flush()
    except InputError as error:
        _refuse(str(error), error.to_paste)
    except MemoryError:
        _refuse("this needs more memory than there is; give fewer readings, builds or draws.")
    except OSError as error:
        if error.errno == errno.ENAMETOOLONG:
            _refuse(f"{error.filename}: no file can have so long a name; name the file itself.")
        _silence()
        _refuse(f"the output cannot be written ({error.strerror or error}); make room for it.")


def _refuse(reason: str, to_paste: str = "") -> NoReturn:
    if len(reason) > LONGEST_MESSAGE:
        reason = f"{reason[: LONGEST_MESSAGE // 2]} ... {reason[-LONGEST_MESSAGE // 2 :]}"
    for shown in (f"yieldest: {reason}", *to_paste.splitlines()):
        plain = (c if c.isprintable() or c == "\t" else repr(c)[1:-1] for c in shown)
        typer.echo("".join(plain), err=True)
    sys.exit(2)


class _Output(io.FileIO):
    """Standard output or error: when nobody reads it any more, the rest goes nowhere."""

    def write(self, data: "Buffer", /) -> int:
        """Write, to nowhere once the pipe is broken."""
        try:
            return super().write(data)
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), self.fileno())
            return super().write(data)


def _open_streams() -> None:
    """Make standard output and error bear a reader that goes, being closed, and any name."""
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        try:
            os.fstat(number)
        except OSError:
            # A file that is opened gets the lowest number that is free, which is this one.
            os.open(os.devnull, os.O_RDWR)
        stream = getattr(sys, name)
        if name == "stdin":
            continue
        buffer = getattr(stream, "buffer", None)
        if stream is None or type(getattr(buffer, "raw", buffer)) is io.FileIO:
            output = io.BufferedWriter(_Output(number, "w", closefd=False))
            lines = stream is not None and (stream.line_buffering or stream.write_through)
            # The name of a file may hold bytes that are no text.
            wrapped = io.TextIOWrapper(
                output, getattr(stream, "encoding", None), "backslashreplace", line_buffering=lines
            )
            setattr(sys, name, wrapped)
        elif isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _silence() -> None:
    """Send what is left of the output nowhere, or Python would complain of it when it ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
