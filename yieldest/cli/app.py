"""The commands: parse, call, print; no arithmetic.

The command modules do without `from __future__ import annotations`: typer would have to compile
each annotation again, and `--help` would wait for that.
"""

import errno
import io
import os
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn, cast

import typer
from typer.core import TyperCommand, TyperGroup

from yieldest import __version__
from yieldest.cli import curve_command, map_command, wind_command
from yieldest.cli.help_format import WIDTH, GroupedCommand, HelpWriter, paragraphs, write_help
from yieldest.cli.options import AsJson, print_json
from yieldest.cli.plan_folder import demo_site_names, write_plan_folder
from yieldest.cli.plan_options import Command
from yieldest.errors import InputError

# Each command imports what it needs, so that `--help` does not wait for pandas and scipy.
if TYPE_CHECKING:
    from yieldest.model.estimate import Estimate
    from yieldest.plan.overrides import Override

HELP = """What a small wind machine will earn at a site: yearly energy, cost per kWh, payback.

Begin with a folder of your own, then take the commands in the order below; yieldest COMMAND --help
has examples of each. The handbook is docs/README.md. Exit codes: 0 done; 2 something given cannot
be used, and one sentence says what to mend; 1 a fault of ours.

Example: yieldest start my-yard

Example: yieldest estimate my-yard
"""

LONGEST_MESSAGE = 1000
"""Characters; what a file holds stands in messages, and it may be long."""

PlanPath = Annotated[
    Path, typer.Argument(metavar="PLAN", help="The plan file, or the folder with plan.toml.")
]
Changes = Annotated[
    list[str],
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help="Change a key of the plan, such as economics.discount_rate=0.03 or build.0.count=4 (a "
        "build by its number from 0, or its name); again for another key.",
    ),
]

Draws = Annotated[
    int | None,
    typer.Option(
        metavar="N",
        help="Draws for the ranges; 0 for none. Else what the plan says.",
        show_default=False,
    ),
]
Seed = Annotated[
    int | None,
    typer.Option(
        metavar="N", min=0, help="Another seed, another set of draws.", show_default=False
    ),
]


def start(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder that is not there yet.")],
    demo_site: Annotated[
        str | None,
        typer.Option(
            "--from",
            metavar="SITE",
            help=f"Copy a demo site instead: {', '.join(demo_site_names())}.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Write a folder to fill in: plan, wind record, curve and bill.

    It is full of remarks, its numbers are invented, and it runs as it stands: put yours in their
    place. Read more: docs/plan-file.md.

    Example: yieldest start my-yard

    Example: yieldest start my-hill --from hill-yard
    """
    written = write_plan_folder(folder, demo_site)
    if as_json:
        print_json({"written": [str(path) for path in written]})
        return
    for path in written:
        typer.echo(f"wrote {path}")
    then = "Now fill in the files, then run" if demo_site is None else "Invented data. Now run"
    typer.echo(f"{then}: yieldest estimate {folder}")


def check(plan: PlanPath, changes: Changes = [], as_json: AsJson = False) -> None:  # noqa: B006
    """Say whether a plan and the files it names are sound.

    Reads everything and computes nothing; also shows what was recognised in the wind record. Read
    more: docs/plan-file.md.

    Example: yieldest check demo-sites/hill-yard

    Example: yieldest check demo-sites/hill-yard --set build.0.hub_height_m=18
    """
    from yieldest.model.check import checked  # noqa: PLC0415
    from yieldest.model.inputs import read  # noqa: PLC0415
    from yieldest.plan import load_plan  # noqa: PLC0415
    from yieldest.plan.overrides import read_override  # noqa: PLC0415
    from yieldest.report.progress import reading_bar  # noqa: PLC0415
    from yieldest.report.sentences.words import sentences  # noqa: PLC0415
    from yieldest.report.terminal import console, print_list  # noqa: PLC0415

    overrides = [read_override(change) for change in changes]
    with reading_bar("the wind record") as progress:
        inputs = read(load_plan(plan, overrides), progress)
    found = checked(inputs)
    if as_json:
        print_json(
            {
                "plan": str(inputs.plan.path),
                "found": sentences(found.read),
                "recognised": [asdict(part) for part in found.recognised],
                "warnings": sentences(found.warnings),
            }
        )
        return
    typer.echo(f"{inputs.plan.path}: the plan is sound.")
    for line in sentences(found.read):
        typer.echo(f"  {line}")
    if found.recognised:
        typer.echo("  The record was read so; state in [wind] what is wrong:")
    for part in found.recognised:
        typer.echo(f"    {part.what}: {part.found} ({part.how})")
    print_list("Be warned", sentences(found.warnings), console())


def estimate(
    plan: PlanPath,
    changes: Changes = [],  # noqa: B006
    sweep: Annotated[
        str | None,
        typer.Option(
            metavar="KEY=A:B:N",
            help="A table instead of the answer: the plan for N values of a key, from A to B.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="FILE", help="Write the main figures, or the table, as CSV."
        ),
    ] = None,
    draws: Draws = None,
    seed: Seed = None,
    full: Annotated[
        bool,
        typer.Option("--full", help="Print the uncertainty of every input as well, P75 and P99."),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Compute energy, cost per kWh and payback of every build.

    The answer in plain words, the builds side by side, what it would take to pay, how sure all
    that is, what to measure next, and every method and assumption. Read more: docs/README.md.

    Example: yieldest estimate demo-sites/hill-yard

    Example: yieldest estimate demo-sites/hill-yard --set economics.discount_rate=0.05

    Example: yieldest estimate demo-sites/hill-yard --set "build.eight of 0.9 m.count=4"

    Example: yieldest estimate demo-sites/hill-yard --sweep economics.price_per_kwh=0.15:0.45:4

    Example: yieldest estimate demo-sites/hill-yard --draws 50000
    """
    from yieldest.files.whole_output import refuse_inputs, write_whole  # noqa: PLC0415
    from yieldest.model.estimate import estimate as compute  # noqa: PLC0415
    from yieldest.model.frames import as_csv, figures_of  # noqa: PLC0415
    from yieldest.model.inputs import input_files, read  # noqa: PLC0415
    from yieldest.plan import load_plan  # noqa: PLC0415
    from yieldest.plan.overrides import read_override  # noqa: PLC0415
    from yieldest.report.progress import reading_bar  # noqa: PLC0415

    overrides = [read_override(change) for change in changes]
    if sweep is not None:
        if draws is not None or seed is not None:
            raise InputError(
                "--sweep shows no ranges, so --draws and --seed go nowhere; leave them out."
            )
        _sweep(plan, overrides, sweep, out, as_json)
        return
    stated = load_plan(plan, overrides)
    if out is not None:
        refuse_inputs(out, input_files(stated))
    with reading_bar("the wind record") as progress:
        result: Estimate = compute(read(stated, progress))
    if out is not None:
        write_whole(out, as_csv(figures_of(result.builds)))
    wanted = stated.uncertainty.draws if draws is None else draws
    uncertainty = None
    if wanted != 0:
        from yieldest.report.progress import counting_bar  # noqa: PLC0415

        with counting_bar("draws", max(0, wanted) * len(stated.build)) as step:
            uncertainty = result.uncertainty(wanted, seed, step)
    if as_json:
        from yieldest.report.estimate_json import as_dictionary  # noqa: PLC0415

        print_json(as_dictionary(result, uncertainty))
    else:
        from yieldest.report.estimate_text import print_estimate  # noqa: PLC0415
        from yieldest.report.terminal import console  # noqa: PLC0415

        print_estimate(result, console(), uncertainty, full=full)


def _sweep(
    plan: Path, overrides: list["Override"], text: str, out: Path | None, as_json: bool
) -> None:
    from yieldest.files.whole_output import refuse_inputs, write_whole  # noqa: PLC0415
    from yieldest.model.estimate import estimate as compute  # noqa: PLC0415
    from yieldest.model.frames import as_csv  # noqa: PLC0415
    from yieldest.model.inputs import input_files, read  # noqa: PLC0415
    from yieldest.plan import load_plan  # noqa: PLC0415
    from yieldest.plan.overrides import read_sweep  # noqa: PLC0415
    from yieldest.report.estimate_text import print_sweep  # noqa: PLC0415
    from yieldest.report.progress import counting_bar  # noqa: PLC0415
    from yieldest.report.terminal import console  # noqa: PLC0415

    sweep = read_sweep(text)
    stated = load_plan(plan, overrides)
    if out is not None:
        refuse_inputs(out, input_files(stated))
    with counting_bar("estimating", len(sweep.values)) as step:
        swept = compute(read(stated)).sweep(sweep.key, sweep.values, step)
    if out is not None:
        write_whole(out, as_csv(swept.rows()))
    if as_json:
        print_json({"key": swept.key, "rows": swept.rows()})
    else:
        print_sweep(swept, console())


def report(
    plan: PlanPath,
    page: Annotated[
        Path, typer.Option("--out", "-o", metavar="FILE", help="The page to write.")
    ] = Path("page.html"),
    figures: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Also write every chart as PNG, SVG, PDF and CSV there."),
    ] = None,
    changes: Changes = [],  # noqa: B006
    as_json: AsJson = False,
) -> None:
    """Write the answer as one page, with charts and sliders.

    One file that needs no network: charts, methods, uncertainty, and sliders to try things with.
    Read more: docs/page.md.

    Example: yieldest report demo-sites/hill-yard -o hill-yard.html

    Example: yieldest report my-yard -o my-yard.html --figures charts
    """
    from yieldest.plan import load_plan  # noqa: PLC0415
    from yieldest.plan.overrides import read_override  # noqa: PLC0415
    from yieldest.report.progress import making  # noqa: PLC0415
    from yieldest.report.write_report import write_report  # noqa: PLC0415

    with making("the page") as done:
        stated = load_plan(plan, [read_override(change) for change in changes])
        written = write_report(stated, page, figures, done, changes)
    if as_json:
        print_json({"written": [str(path) for path in written]})
        return
    typer.echo(f"wrote {written[0]} ({written[0].stat().st_size / 1e6:.1f} MB)")
    if figures is not None:
        typer.echo(f"wrote {len(written) - 1} files in {figures}")


COMMANDS = {
    "start": Command(start),
    "wind": wind_command.COMMAND,
    "curve": curve_command.COMMAND,
    "check": Command(check),
    "estimate": Command(estimate),
    "report": Command(report),
    "map": map_command.COMMAND,
}


class Commands(TyperGroup):
    """All commands; the options of one are made when it is called, or its help asked for."""

    def list_commands(self, ctx: typer.Context) -> list[str]:  # type: ignore[override]
        """Return their names, in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: typer.Context, cmd_name: str) -> TyperCommand | None:  # type: ignore[override]
        """Return the command of a name."""
        if cmd_name not in COMMANDS:
            return None
        made = typer.Typer(
            add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False
        )
        made.command(cmd_name, cls=GroupedCommand)(COMMANDS[cmd_name].completed)
        return cast(TyperCommand, typer.main.get_command(made))

    def format_help_text(self, ctx: typer.Context, formatter: HelpWriter) -> None:  # type: ignore[override]
        """Write what the commands are for, and examples."""
        write_help(self.help, formatter)

    def format_commands(self, ctx: typer.Context, formatter: HelpWriter) -> None:  # type: ignore[override]
        """Write each with the first line of its help."""
        with formatter.section("Commands"):
            formatter.write_dl(
                [
                    (name, paragraphs(command.function.__doc__)[0][0])
                    for name, command in COMMANDS.items()
                ]
            )


app = typer.Typer(
    help=HELP,
    cls=Commands,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
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
    if isinstance(sys.stdout, io.TextIOWrapper):
        # The name of a file may hold bytes that are no text.
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        try:
            app()
        finally:
            sys.stdout.flush()
    except InputError as error:
        _refuse(str(error))
    except MemoryError:
        _refuse("this needs more memory than there is; give fewer readings, builds or draws.")
    except BrokenPipeError:
        # Whoever read the output has seen enough.
        _silence()
    except OSError as error:
        if error.errno == errno.ENAMETOOLONG:
            _refuse(f"{error.filename}: no file can have so long a name; name the file itself.")
        _silence()
        _refuse(f"the output cannot be written ({error.strerror or error}); make room for it.")


def _refuse(reason: str) -> NoReturn:
    line = " ".join(reason.split())
    if len(line) > LONGEST_MESSAGE:
        line = f"{line[: LONGEST_MESSAGE // 2]} ... {line[-LONGEST_MESSAGE // 2 :]}"
    typer.echo(
        f"yieldest: {''.join(c if c.isprintable() else repr(c)[1:-1] for c in line)}", err=True
    )
    sys.exit(2)


def _silence() -> None:
    """Send what is left of the output nowhere, or Python would complain of it when it ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
