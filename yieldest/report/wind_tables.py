"""A wind record as tables: its fits, its quality control, its splits by time and place."""

from __future__ import annotations

import calendar
from collections.abc import Sequence

from yieldest.arrays import NOT_KNOWN, percent, signed_percent
from yieldest.report.tables import Row, TableView
from yieldest.wind.breakdown import Group
from yieldest.wind.resource import WindResource


def fits_table(resource: WindResource) -> TableView:
    """Return every fit to the record, with what it misses of the energy."""
    rows = [
        Row(
            ("* " if fit is resource.chosen else "  ") + fit.method,
            (
                _with_error(fit.shape, fit.shape_se),
                _with_error(fit.scale_ms, fit.scale_se_ms),
                percent(fit.calm_share),
                signed_percent(fit.energy_error),
                signed_percent(fit.mean_cube_error),
                percent(fit.kolmogorov),
            ),
            strong=fit is resource.chosen,
        )
        for fit in resource.fits
    ]
    heads = ["method", "shape", "scale m/s", "calms", "energy off", "cube off", "K distance"]
    return TableView("Fits side by side (* the one used)", heads, rows, tucked=True)


def quality_control_table(resource: WindResource) -> TableView:
    """Return what each test of the record found and did."""
    rows = []
    for test in resource.quality_control.tests:
        speeds = [f" ({v:.1f} m/s)" if v is not None else "" for v in test.first_speeds_ms]
        speeds += [""] * (len(test.first_times) - len(speeds))
        places = (
            f"{time[:16].replace('T', ' ')}{v}"
            for time, v in zip(test.first_times, speeds, strict=True)
        )
        cells = (
            "leaves out" if test.leaves_out else "notes",
            f"{test.count:,}" if test.on else "off",
            ", ".join(places),
            signed_percent(test.mean_effect) if test.count else "",
            signed_percent(test.cube_effect) if test.count else "",
        )
        rows.append(Row(test.name.replace("_", " "), cells))
    return TableView(
        "Quality control: what is left out counts as missing, what is noted stays in",
        ["test", "does", "found", "first places", "mean", "energy"],
        rows,
        words=True,
    )


def quality_rules(resource: WindResource) -> list[str]:
    """Return the rule of each test."""
    return [
        f"{test.name.replace('_', ' ')}: {test.rule}" for test in resource.quality_control.tests
    ]


def months_table(resource: WindResource) -> TableView:
    """Return how much of each month was measured, and its wind."""
    recovery = resource.record.data_recovery
    emptiest = recovery.month_hour_share.min(axis=1)
    rows = [
        Row("covered", tuple(f"{100 * share:.0f}" for share in recovery.month_share), "%"),
        Row("emptiest hour", tuple(f"{100 * share:.0f}" for share in emptiest), "%"),
        *_mean_and_energy(resource.months),
    ]
    return TableView("By month", ["", *(calendar.month_abbr[m] for m in range(1, 13))], rows)


def hours_tables(resource: WindResource) -> list[TableView]:
    """Return the wind by hour of day, half a day in each table."""
    return [
        TableView(
            "By hour of day" if start == 0 else "",
            ["from", *(str(hour) for hour in range(start, start + 12))],
            _mean_and_energy(resource.hours[start : start + 12]),
        )
        for start in (0, 12)
    ]


def _mean_and_energy(groups: Sequence[Group]) -> list[Row]:
    return [
        Row("mean", tuple(_number(group.mean_speed_ms, 1) for group in groups), "m/s"),
        Row("energy", tuple(f"{100 * group.energy_share:.0f}" for group in groups), "%"),
    ]


def groups_table(caption: str, what: str, groups: Sequence[Group]) -> TableView:
    """Return the wind of each year or sector, with a bar for its share of the time."""
    most = max(group.share for group in groups) or 1.0
    rows = [
        Row(
            group.name,
            (
                f"{group.hours:,.0f}",
                percent(group.share),
                percent(group.energy_share),
                _number(group.mean_speed_ms, 2),
                _number(group.shape, 2),
                _number(group.scale_ms, 2),
                f"{'#' * round(24 * group.share / most):24}",
            ),
        )
        for group in groups
    ]
    heads = [what, "hours", "time", "energy", "mean m/s", "shape", "scale m/s", "time"]
    return TableView(caption, heads, rows)


def _with_error(value: float | None, error: float | None) -> str:
    return _number(value, 2) if error is None else f"{_number(value, 2)} ({error:.2f})"


def _number(value: float | None, places: int) -> str:
    return NOT_KNOWN if value is None else f"{value:.{places}f}"
