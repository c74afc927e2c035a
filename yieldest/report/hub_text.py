"""The steps to the hub, the long-term methods and the strong winds, for people and for machines."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from yieldest.arrays import number_or_none
from yieldest.hub.correction_steps import Step
from yieldest.hub.shear import DAY_PARTS, LEAST_READINGS, SECTORS, MeasuredShear
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.estimate import Estimate
from yieldest.report.wording import print_heading
from yieldest.wind.long_term.correction import LongTermCorrection


def print_ladder(estimate: Estimate, screen: Console) -> None:
    """Print every step from the mast to the hubs, those that all builds share only once."""
    if estimate.long_term is not None:
        _print_long_term(estimate.long_term, screen)
    if estimate.shear is not None:
        _print_shear(estimate.shear, screen)
    table = _table("step", "before", "after", "factor", "±")
    table.add_column("method", overflow="fold")
    first, *others = estimate.builds
    shared = 0
    while shared < len(first.wind.steps) and all(
        other.wind.steps[shared : shared + 1] == first.wind.steps[shared : shared + 1]
        for other in others
    ):
        shared += 1
    for step in first.wind.steps[:shared]:
        table.add_row(*_cells(step))
    endings = {(build.wind.steps, _strong_wind(build)) for build in estimate.builds}
    apart = len(endings) > 1
    for build in estimate.builds if apart else estimate.builds[:1]:
        if apart:
            table.add_row(Text(build.name, style="bold"))
        for step in build.wind.steps[shared:]:
            table.add_row(*_cells(step))
        table.add_row(
            "  at the hub",
            "",
            f"{build.distribution.mean_speed_ms:.2f}",
            "",
            f"{100 * build.wind.standard_uncertainty:.1f} %",
            Text(_strong_wind(build)),
        )
    screen.print()
    screen.print(Text("From the mast to the hub, in m/s (± is one standard uncertainty)",
                      style="bold"))  # fmt: skip
    screen.print(table)


def _table(*headings: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    for number, heading in enumerate(headings):
        table.add_column(heading, justify="right" if number else "left", no_wrap=number > 0)
    return table


def _cells(step: Step) -> tuple[str | Text, ...]:
    uncertainty = step.standard_uncertainty
    return (
        f"  {step.step}",
        f"{step.before_ms:.2f}",
        f"{step.after_ms:.2f}",
        f"{step.factor:.3f}",
        "?" if uncertainty is None else f"{100 * uncertainty:.1f} %",
        Text(step.method),
    )


def _strong_wind(build: BuildEstimate) -> str:
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
            f"; 50-year wind {fifty.speed_ms:.0f} m/s, 90 % between {fifty.low_ms:.0f} and "
            f"{fifty.high_ms:.0f} (Gumbel, {fifty.years} yearly maxima)"
        )
    if extreme_winds.largest_reading_ms is not None:
        kind = "gust" if extreme_winds.largest_is_gust else "reading"
        words += f"; largest {kind} at the anemometer {extreme_winds.largest_reading_ms:.1f} m/s"
    return words


def _print_long_term(found: LongTermCorrection, screen: Console) -> None:
    table = _table("method", "mean", "±", "mean cube", "±", "cross-validation error")
    table.add_row(
        "the overlap at face value",
        f"{found.concurrent_mean_ms:.2f}",
        "",
        f"{found.concurrent_mean_cube:.0f}",
        "",
        "",
    )
    for method in found.methods:
        table.add_row(
            method.name + (" (chosen)" if method is found.chosen else ""),
            f"{method.mean_ms:.2f}",
            f"{100 * method.mean_uncertainty:.1f} %",
            f"{method.mean_cube:.0f}",
            f"{100 * method.cube_uncertainty:.0f} %",
            f"{100 * method.cross_validation_error:.1f} %",
            style="bold" if method is found.chosen else "",
        )
    print_heading("Long-term wind at the anemometer, in m/s and m3/s3", screen)
    screen.print(table)
    clock = found.offset
    words = (
        f"{found.overlap_hours / 24:.0f} days in common, correlation {found.correlation:.2f}; "
        f"reference of {found.reference_years:.1f} years. Clocks: "
    )
    if clock.applied:
        words += f"the reference was moved by {clock.hours:+g} h to match the record."
    elif clock.hours == 0:
        words += "the records match best as they stand."
    else:
        words += (
            f"moving the reference by {clock.hours:+g} h would only lift the correlation from "
            f"{clock.correlation_without:.2f} to {clock.correlation_with:.2f}; not done."
        )
    screen.print(Text(words))


def long_term_as_dictionary(found: LongTermCorrection | None) -> dict[str, Any] | None:
    """Return the long-term correction as JSON-ready values; None without a reference."""
    if found is None:
        return None
    return {
        "source": found.provenance.source,
        "method": found.provenance.method,
        "chosen": found.chosen.name,
        "mean_speed_ms": found.chosen.mean_ms,
        "mean_cube_m3_s3": found.chosen.mean_cube,
        "standard_uncertainty": found.standard_uncertainty,
        "overlap_hours": found.overlap_hours,
        "overlap_mean_speed_ms": found.concurrent_mean_ms,
        "overlap_mean_cube_m3_s3": found.concurrent_mean_cube,
        "correlation": found.correlation,
        "step_s": found.step_s,
        "reference_years": found.reference_years,
        "year_to_year_spread": found.year_to_year_spread,
        "clock_offset": {
            "hours": found.offset.hours,
            "applied": found.offset.applied,
            "correlation_with": found.offset.correlation_with,
            "correlation_without": number_or_none(found.offset.correlation_without),
        },
        "methods": [
            {
                "name": method.name,
                "mean_speed_ms": method.mean_ms,
                "mean_cube_m3_s3": method.mean_cube,
                "cross_validation_error": method.cross_validation_error,
                "mean_standard_uncertainty": method.mean_uncertainty,
                "cube_standard_uncertainty": method.cube_uncertainty,
            }
            for method in found.methods
        ],
    }


def _print_shear(shear: MeasuredShear, screen: Console) -> None:
    hours = 24 // DAY_PARTS
    parts = [f"{hours * part} to {hours * (part + 1)} h" for part in range(DAY_PARTS)]
    table = _table("wind from", *parts)
    for sector, row in enumerate(shear.exponent_by_cell):
        counted = shear.readings_by_cell[sector] >= LEAST_READINGS
        if counted.any():
            from_where = f"{360 / SECTORS * sector:.0f} degrees" if sector < SECTORS else "unknown"
            cells = zip(row, counted, strict=True)
            table.add_row(from_where, *(f"{value:.2f}" if known else "" for value, known in cells))
    screen.print()
    screen.print(
        Text(
            f"Shear exponent measured: {shear.exponent:.2f}, standard uncertainty "
            f"{shear.exponent_uncertainty:.2f}; by direction and hour",
            style="bold",
        )
    )
    screen.print(table)


def shear_as_dictionary(shear: MeasuredShear | None) -> dict[str, Any] | None:
    """Return the measured shear as JSON-ready values; None without a second anemometer."""
    if shear is None:
        return None
    return {
        "heights_m": shear.height_m.tolist(),
        "exponent": shear.exponent,
        "standard_uncertainty": shear.exponent_uncertainty,
        "exponent_by_sector_and_part_of_day": shear.exponent_by_cell.tolist(),
        "readings_by_sector_and_part_of_day": shear.readings_by_cell.tolist(),
    }


def build_wind_as_dictionary(build: BuildEstimate) -> dict[str, Any]:
    """Return ladder, height, roof, air, turbulence and strong winds of a build for JSON."""
    wind, air, extreme_winds = build.wind, build.air, build.extreme_winds
    roof = wind.roof
    return {
        "correction_steps": [
            {
                "step": step.step,
                "before_ms": step.before_ms,
                "after_ms": step.after_ms,
                "factor": step.factor,
                "method": step.method,
                "standard_uncertainty": step.standard_uncertainty,
            }
            for step in wind.steps
        ],
        "wind_standard_uncertainty": wind.standard_uncertainty,
        "height": {
            "factor": wind.height.factor,
            "other_factor": wind.height.other_factor,
            "other_law": wind.height.other_law or None,
        },
        "roof": None
        if roof is None
        else {
            "above_edge_m": roof.above_edge_m,
            "above_ridge_m": roof.above_ridge_m,
            "disturbed_top_m": roof.disturbed_top_m,
            "disturbed_share": roof.disturbed_share,
        },
        "air": {
            "mean_density_kg_m3": air.mean_density_kg_m3,
            "month_density_kg_m3": air.month_density_kg_m3,
            "season_energy_effect": air.season_effect,
            "humidity_energy_effect": air.humidity_effect,
            "standard_uncertainty": air.standard_uncertainty,
        },
        "turbulence": None
        if build.turbulence is None
        else {
            "intensity": build.turbulence.intensity,
            "energy_effect": build.turbulence.effect,
            "counted": build.turbulence.counted,
        },
        "extreme_winds": {
            "site_class": extreme_winds.site_class,
            "largest_reading_ms": extreme_winds.largest_reading_ms,
            "largest_is_gust": extreme_winds.largest_is_gust,
            "fifty_year": None
            if extreme_winds.fifty_year is None
            else asdict(extreme_winds.fifty_year),
            "thrust_speed_ms": extreme_winds.thrust_speed_ms,
            "thrust_n": extreme_winds.thrust_n,
        },
    }
