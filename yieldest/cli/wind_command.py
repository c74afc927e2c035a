"""The command `yieldest wind`: what a wind record says, and how far to trust it."""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from yieldest.cli.options import MOSTLY, Command, Units, flag_of, pairs, print_json, settings_of
from yieldest.errors import InputError

if TYPE_CHECKING:
    from yieldest.settings import Settings
    from yieldest.wind.quality_control import QualityRules
    from yieldest.wind.read_options import ReadOptions
    from yieldest.wind.wind_record import WindRecord

PANELS = {
    MOSTLY: "units height reference shown_units out full",
    "When the file is not read as you meant (docs/records.md)": (
        "column standard_deviation_units direction_units temperature_units pressure_units "
        "date_order time_zone start interval_s delimiter decimal encoding skip_lines headings "
        "missing"
    ),
    "Which of several": "sensor where point",
    "Bad readings (docs/quality-control.md)": "quality_control neighbour threshold_ms average_s",
    "The fit (docs/weibull.md)": "fit season_correction sectors",
    "When the file is no record": "table months",
}

WORDS = {
    "record": ("RECORD", "The record: a file, a folder of files, or a pattern in quotes."),
    "height": ("METRES", "Of several heights, the one to take."),
    "out": (
        "FILE",
        "Write every reading there as CSV, with what each test says of it.",
        *("--out", "-o"),
    ),
    "reference": (
        "FILE",
        "A long record nearby, whose years the mean is carried to (docs/long-term.md); again for "
        "another.",
    ),
    "column": (
        "ROLE=HEADING",
        "Which column holds what, such as speed=Anemo or time=Datum; again for another.",
    ),
    "headings": ("NAMES", "Headings of a file without any, with commas between."),
    "where": (
        "HEADING=CELL",
        "Of several stations in one file, such as station=HILL; again for another.",
    ),
    "quality_control": (
        "THRESHOLD=VALUE",
        "Change the threshold of a test, or switch it off with the value off; again for another.",
    ),
    "neighbour": ("FILE", "Another sensor's record, to judge calms by."),
    "fit": ("NAME", "Which fit to use, such as moments; empirical takes the readings themselves."),
    "season_correction": ("", "Even out months and hours that are there unevenly."),
    "sectors": ("N", "Directions: 8, 12 or 16."),
    "full": (
        "",
        "Print all the rest: fits, tests for bad readings, months, hours, directions, methods.",
    ),
    "table": ("", "RECORD is a table of how often each class of speeds blows."),
    "months": ("", "RECORD is twelve monthly means."),
}


def wind(
    record: Path,
    stated: dict[str, Any],
    height: float | None = None,
    reference: list[Path] | None = None,
    out: Path | None = None,
    column: list[str] | None = None,
    headings: str | None = None,
    where: list[str] | None = None,
    quality_control: list[str] | None = None,
    neighbour: Path | None = None,
    fit: str | None = None,
    season_correction: bool = True,
    sectors: int = 12,
    table: bool = False,
    months: bool = False,
    shown_units: Units = None,
    full: bool = False,
    as_json: bool = False,
) -> None:
    """Say how windy a record is, how sure that is, and if it will do.

    One screen: how the file was read, the mean wind and the Weibull distribution with their
    uncertainty, faults, when and from where it blows, and how often each speed; all the rest with
    --full. Read more: docs/records.md and docs/weibull.md.

    Example: yieldest wind demo-sites/hill-yard/wind.csv.gz

    Example: yieldest wind demo-sites/hill-yard/wind.csv.gz --quality-control stuck_hours=off

    Example: yieldest wind mast.csv --reference airport.csv

    Example: yieldest wind demo-sites/town-roof/wind.csv.gz --out checked.csv
    """
    from yieldest.units import shown_in
    from yieldest.wind.read_options import Columns, ReadOptions
    from yieldest.wind.read_wind import read_wind
    from yieldest.wind.resource import ResourceOptions, assess_record

    _refuse_fit(fit, sectors)
    stated["headings"] = headings.split(",") if headings else None
    stated["where"] = _cells_by_heading(where) or None
    columns = pairs("--column", "ROLE=HEADING", column, Columns.model_fields)
    options = settings_of(ReadOptions, stated, columns=dict(columns))
    if table or months:
        beside = stated | {"out": out, "neighbour": neighbour, "reference": reference, "fit": fit}
        beside |= {"sectors": sectors != 12, "quality_control": quality_control}
        _refuse_beside(table and months, beside | {"no_season_correction": not season_correction})
        _summed(record, table, height, options, shown_units, full=full, as_json=as_json)
        return
    resource = assess_record(
        _read(record, height, options),
        ResourceOptions(
            rules=_rules(quality_control),
            season_correction=season_correction,
            fit=fit,
            sectors=sectors,
        ),
        None if neighbour is None else read_wind(neighbour, time_zone=options.time_zone),
    )
    over_years = None
    if reference:
        from yieldest.wind.long_term.from_records import to_long_term

        over_years = to_long_term(resource.record, *reference, time_zone=options.time_zone)
    if out is not None:
        from yieldest.wind.flagged_record import write_flagged

        write_flagged(resource.quality_control, out)
    if as_json:
        from yieldest.report.wind_json import resource_as_dictionary

        print_json(resource_as_dictionary(resource, over_years))
        return
    from yieldest.report import terminal, wind_text

    with shown_in(shown_units or "metric"):
        wind_text.print_resource(resource, terminal.console(), over_years, full=full)
    if out is not None:
        typer.echo(f"\nwrote {out}")


def _refuse_fit(fit: str | None, sectors: int) -> None:
    from yieldest.wind.breakdown import SECTORS
    from yieldest.wind.resource import EMPIRICAL
    from yieldest.wind.weibull_fits import METHODS

    if sectors not in SECTORS:
        raise InputError(f"--sectors is {sectors}, but it must be 8, 12 or 16; mend the value.")
    if fit is not None and fit not in (*METHODS, EMPIRICAL):
        raise InputError(
            f"--fit is {fit!r}, but it must be one of {', '.join((*METHODS, EMPIRICAL))}."
        )


def _refuse_beside(both: bool, stated: dict[str, Any]) -> None:
    """Refuse two kinds of summary at once, and options of records beside a summary."""
    from yieldest.wind.read_options import TableOptions

    if both:
        raise InputError("--table and --months exclude each other; keep one of them.")
    flags = [
        flag_of(name, COMMAND.fields)
        for name, value in stated.items()
        if value and name not in TableOptions.model_fields
    ]
    if flags:
        raise InputError(
            f"{', '.join(flags)}: for a record, not for --table or --months; leave that out."
        )


def _summed(
    path: Path,
    is_table: bool,
    height_m: float | None,
    options: "ReadOptions",
    shown_units: Units,
    *,
    full: bool,
    as_json: bool,
) -> None:
    """Print what a frequency table or monthly means say."""
    from yieldest.report.terminal import console
    from yieldest.report.wind_json import summed_as_dictionary
    from yieldest.report.wind_text import SummedWind, print_summed
    from yieldest.units import shown_in
    from yieldest.wind.from_summaries import (
        distribution_of_frequencies,
        distribution_of_months,
        points_of_frequencies,
    )
    from yieldest.wind.summary_tables import read_frequency_table, read_monthly_means

    # The height picks a column; it is not shown and changes nothing else.
    shown_m = height_m or 10.0
    if is_table:
        table = read_frequency_table(path, options=options)
        distribution = distribution_of_frequencies(table, shown_m)
        wind = SummedWind(table, distribution, *points_of_frequencies(table, distribution))
    else:
        means = read_monthly_means(path, height_m=height_m, options=options)
        wind = SummedWind(means, *distribution_of_months(means, None, shown_m))
    if as_json:
        print_json(summed_as_dictionary(wind))
    else:
        with shown_in(shown_units or "metric"):
            print_summed(wind, console(), full=full)


def _read(path: Path, height_m: float | None, options: "ReadOptions") -> "WindRecord":
    """Read a record, with a bar on the terminal while it takes long."""
    from yieldest.report.progress import reading_bar
    from yieldest.wind.read_wind import read_wind

    with reading_bar(path.name) as progress:
        return read_wind(path, height_m=height_m, options=options, progress=progress)


def _cells_by_heading(texts: Iterable[str] | None) -> dict[str, list[str]]:
    """Gather HEADING=CELL texts; a heading may come again with another cell."""
    where: dict[str, list[str]] = {}
    for heading, cell in pairs("--where", "HEADING=CELL", texts):
        where.setdefault(heading, []).append(cell)
    return where


def _rules(texts: Iterable[str] | None) -> "QualityRules":
    """Turn THRESHOLD=VALUE texts into the rules that have these thresholds, False for off."""
    from yieldest.settings import options_of
    from yieldest.wind.quality_control import QualityRules

    thresholds: dict[str, object] = {}
    names = tuple(QualityRules.model_fields)
    for name, value in pairs("--quality-control", "THRESHOLD=VALUE", texts, names):
        try:
            thresholds[name] = value != "off" and float(value)
        except ValueError as error:
            raise InputError(
                f"--quality-control: {name} is {value!r}, but a number or off was expected; mend "
                "it."
            ) from error
    return options_of(QualityRules, None, thresholds)


def _tables() -> "list[type[Settings]]":
    from yieldest.wind.read_options import ReadOptions

    return [ReadOptions]


COMMAND = Command(wind, WORDS, PANELS, _tables)
