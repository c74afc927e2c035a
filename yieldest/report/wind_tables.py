"""The wind as tables: a record, its long term, its shear, and the steps from mast to hub."""

from __future__ import annotations

import calendar
from collections.abc import Sequence

from yieldest.arrays import NOT_KNOWN, percent, signed_percent
from yieldest.hub.correction_steps import Step
from yieldest.hub.shear import DAY_PARTS, LEAST_READINGS, SECTORS, MeasuredShear
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.report.tables import Row, TableView
from yieldest.units import as_shown, in_reader_units, number, speed, speed_unit
from yieldest.wind.breakdown import Group
from yieldest.wind.long_term.correction import LongTermCorrection
from yieldest.wind.resource import WindResource


def fits_table(resource: WindResource) -> TableView:
    """Return every fit to the record, with what it misses of the energy."""
    used = resource.chosen.method
    rows = [
        Row(
            fit.method + (" (chosen)" if fit.method == used else ""),
            (
                _with_error(fit.shape, fit.shape_se),
                _with_error(_shown(fit.scale_ms), _shown(fit.scale_se_ms)),
                percent(fit.calm_share),
                signed_percent(fit.energy_error),
                signed_percent(fit.mean_cube_error),
                percent(fit.kolmogorov),
            ),
            strong=fit.method == used,
        )
        for fit in resource.fits
    ]
    heads = ["method", "shape", f"scale {speed_unit()}", "calms"]
    heads += ["energy off", "cube off", "K distance"]
    return TableView("Fits side by side", heads, rows)


def quality_control_table(resource: WindResource) -> TableView:
    """Return what each test of the record found and did."""
    rows = []
    for test in resource.quality_control.tests:
        speeds = [f" ({speed(v, '.1f')})" if v is not None else "" for v in test.first_speeds_ms]
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
        f"{test.name.replace('_', ' ')}: {in_reader_units(test.rule)}"
        for test in resource.quality_control.tests
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
    if not resource.hours:
        return []
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
        Row("mean", tuple(_number(_shown(each.mean_speed_ms), 1) for each in groups), speed_unit()),
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
                _number(_shown(group.mean_speed_ms), 2),
                _number(group.shape, 2),
                _number(_shown(group.scale_ms), 2),
                "#" * round(24 * group.share / most),
            ),
        )
        for group in groups
    ]
    unit = speed_unit()
    heads = [what, "hours", "time", "energy", f"mean {unit}", "shape", f"scale {unit}", "time"]
    return TableView(caption, heads, rows, bars=True)


def _with_error(value: float | None, error: float | None) -> str:
    return _number(value, 2) if error is None else f"{_number(value, 2)} ({error:.2f})"


def _shown(value_ms: float | None) -> float | None:
    """Return a speed as the reader wants it."""
    return None if value_ms is None else as_shown(value_ms, "m/s")[0]


def _number(value: float | None, places: int) -> str:
    return NOT_KNOWN if value is None else f"{value:.{places}f}"


def steps_table(estimate: Estimate) -> TableView:
    """Return every step from the mast to the hubs, those that all builds share only once."""
    first, *others = estimate.builds
    shared = 0
    while shared < len(first.wind.steps) and all(
        other.wind.steps[shared : shared + 1] == first.wind.steps[shared : shared + 1]
        for other in others
    ):
        shared += 1
    rows = [_row(step) for step in first.wind.steps[:shared]]
    apart = len({(b.wind.steps, strong_wind(b)) for b in estimate.builds}) > 1
    for build in estimate.builds if apart else estimate.builds[:1]:
        if apart:
            rows.append(Row(build.name, ("",) * 5, strong=True))
        rows += [_row(step) for step in build.wind.steps[shared:]]
        mean = number(build.distribution.mean_speed_ms, "m/s", ".2f")
        uncertainty = f"{100 * build.wind.standard_uncertainty:.1f} %"
        rows.append(Row("  at the hub", ("", mean, "", uncertainty, strong_wind(build))))
    return TableView(
        f"From the mast to the hub, in {speed_unit()} (± is one standard uncertainty)",
        ["step", "before", "after", "factor", "±", "method"],
        rows,
        words=True,
    )


def _row(step: Step) -> Row:
    uncertainty = step.standard_uncertainty
    cells = (
        number(step.before_ms, "m/s", ".2f"),
        number(step.after_ms, "m/s", ".2f"),
        f"{step.factor:.3f}",
        "?" if uncertainty is None else f"{100 * uncertainty:.1f} %",
        in_reader_units(step.method),
    )
    return Row(f"  {step.step}", cells)


def strong_wind(build: BuildEstimate) -> str:
    """Say which class of wind the site is, and how strong the wind of fifty years is."""
    extreme_winds = build.extreme_winds
    words = (
        f"class {extreme_winds.site_class} of IEC 61400-2"
        if extreme_winds.site_class is not None
        else "beyond the classes of IEC 61400-2"
    )
    if extreme_winds.fifty_year is None:
        words += " by the mean alone; no 50-year wind, for that needs ten years of readings"
    else:
        fifty = extreme_winds.fifty_year
        words += (
            f"; 50-year wind {speed(fifty.speed_ms, '.0f')}, 90 % between "
            f"{number(fifty.low_ms, 'm/s', '.0f')} and {number(fifty.high_ms, 'm/s', '.0f')} "
            f"(Gumbel, {fifty.years} yearly maxima)"
        )
    if extreme_winds.largest_reading_ms is not None:
        kind = "gust" if extreme_winds.largest_is_gust else "reading"
        words += (
            f"; largest {kind} at the anemometer {speed(extreme_winds.largest_reading_ms, '.1f')}"
        )
    return words


def long_term_table(found: LongTermCorrection) -> TableView:
    """Return what each method says of the long-term wind, and how sure that is."""
    times = as_shown(1.0, "m/s")[0]
    overlap = (
        *(f"{times * found.concurrent_mean_ms:.2f}", ""),
        *(f"{times**3 * found.concurrent_mean_cube:.0f}", "", ""),
    )
    rows = [
        Row("the overlap at face value", overlap),
        *(
            Row(
                method.name + (" (chosen)" if method is found.chosen else ""),
                (
                    f"{times * method.mean_ms:.2f}",
                    f"{100 * method.mean_uncertainty:.1f} %",
                    f"{times**3 * method.mean_cube:.0f}",
                    f"{100 * method.cube_uncertainty:.0f} %",
                    f"{method.anomaly_share:.2f}",
                ),
                strong=method is found.chosen,
            )
            for method in found.methods
        ),
    ]
    return TableView(
        f"Long-term wind at the anemometer, in {speed_unit()} and its cube",
        ["method", "mean", "±", "mean cube", "± of it", "share of the anomaly"],
        rows,
    )


def clock_sentence(found: LongTermCorrection) -> str:
    """Say how record and reference fit together, their clocks included."""
    clock = found.offset
    words = (
        f"{found.overlap_hours / 24:.0f} days in common, correlation {found.correlation:.2f}; "
        f"reference of {found.reference_years:.1f} years. Clocks: "
    )
    if clock.applied:
        return f"{words}the reference was moved by {clock.hours:+g} h to match the record."
    if clock.hours == 0:
        return f"{words}the records match best as they stand."
    return (
        f"{words}moving the reference by {clock.hours:+g} h would only lift the correlation from "
        f"{clock.correlation_without:.2f} to {clock.correlation_with:.2f}; not done."
    )


def shear_table(shear: MeasuredShear) -> TableView:
    """Return the measured shear by direction and part of the day."""
    hours = 24 // DAY_PARTS
    rows = []
    for sector, row in enumerate(shear.exponent_by_cell):
        counted = shear.readings_by_cell[sector] >= LEAST_READINGS
        if counted.any():
            from_where = f"{360 / SECTORS * sector:.0f} degrees" if sector < SECTORS else "unknown"
            cells = zip(row, counted, strict=True)
            rows.append(Row(from_where, tuple(f"{v:.2f}" if known else "" for v, known in cells)))
    return TableView(
        f"Shear exponent measured: {shear.exponent:.2f}, standard uncertainty "
        f"{shear.exponent_uncertainty:.2f}; by direction and hour",
        ["wind from", *(f"{hours * part} to {hours * (part + 1)} h" for part in range(DAY_PARTS))],
        rows,
    )
