"""The wind as tables of the page: its fits, its quality_control, and the ladder to the hub."""

from __future__ import annotations

from yieldest.model.estimate import Estimate
from yieldest.report.chart import drawn
from yieldest.report.comparison_rows import Row, TableView
from yieldest.report.wording import NOT_KNOWN, percent, signed_percent
from yieldest.wind.long_term.correction import LongTermCorrection
from yieldest.wind.resource import WindResource


def fits_table(study: WindResource) -> TableView:
    """Return every fit to the record, with what it misses of the energy."""
    rows = [
        Row(
            fit.method + (" (chosen)" if fit is study.chosen else ""),
            "",
            (
                _number(fit.shape, 2),
                _number(fit.scale_ms, 2),
                signed_percent(fit.mean_cube_error),
                signed_percent(fit.energy_error),
            ),
            strong=fit is study.chosen,
        )
        for fit in study.fits
    ]
    heads = ["method", "shape", "scale (m/s)", "mean cube off by", "energy off by"]
    return TableView("Every Weibull fit to the readings", heads, rows, tucked=True)


def screening_table(study: WindResource) -> TableView:
    """Return what the tests of the record found."""
    rows = [
        Row(
            test.name.replace("_", " "),
            "",
            (
                test.rule,
                f"{test.count:,} {'left out' if test.leaves_out else 'noted'}",
                ", ".join(time[:16].replace("T", " ") for time in test.first_times),
                signed_percent(test.cube_effect),
            ),
        )
        for test in study.quality_control.tests
        if test.count
    ]
    heads = ["test", "rule", "found", "first at", "effect on energy"]
    return TableView("What the quality control of the record found", heads, rows, words=True)


def quiet_tests(study: WindResource) -> str:
    """Name the tests of the record that found nothing, and those that were off."""
    names = {
        state: ", ".join(
            test.name.replace("_", " ")
            for test in study.quality_control.tests
            if not test.count and test.on == (state == "on")
        )
        for state in ("on", "off")
    }
    sentence = f"Nothing found by the tests: {names['on']}." if names["on"] else ""
    return sentence + (f" Off: {names['off']}." if names["off"] else "")


def steps_to_hub_tables(estimate: Estimate) -> list[TableView]:
    """Return for each build every step from the mast to its hub."""
    heads = ["step", "before (m/s)", "factor", "after (m/s)", "±", "method"]
    return [
        TableView(
            f"{style.letter}  {build.name} (± is one standard uncertainty)",
            heads,
            [
                *(
                    Row(
                        step.step,
                        "",
                        (
                            f"{step.before_ms:.2f}",
                            f"{step.factor:.3f}",
                            f"{step.after_ms:.2f}",
                            percent(step.standard_uncertainty),
                            step.method,
                        ),
                    )
                    for step in build.wind.steps
                ),
                Row(
                    "at the hub",
                    "",
                    ("", "", f"{build.distribution.mean_speed_ms:.2f}",
                     percent(build.wind.standard_uncertainty), "all the steps together"),
                    strong=True,
                ),
            ],
            words=True,
        )
        for style, build in drawn(estimate.builds)
    ]  # fmt: skip


def long_term_table(found: LongTermCorrection) -> TableView:
    """Return what each method says of the long-term wind, and how far it was off when tried."""
    rows = [
        Row("the overlap at face value", "", (f"{found.concurrent_mean_ms:.2f}", "", "")),
        *(
            Row(
                method.name + (" (chosen)" if method is found.chosen else ""),
                "",
                (
                    f"{method.mean_ms:.2f}",
                    percent(method.mean_uncertainty),
                    percent(method.cross_validation_error),
                ),
                strong=method is found.chosen,
            )
            for method in found.methods
        ),
    ]
    caption = (
        f"Long-term wind at the anemometer, from {found.reference_years:.1f} years of a neighbour "
        f"({found.overlap_hours / 24:.0f} days in common, correlation {found.correlation:.2f})"
    )
    return TableView(caption, ["method", "mean (m/s)", "±", "cross-validation error"], rows)


def _number(value: float | None, places: int) -> str:
    return NOT_KNOWN if value is None else f"{value:.{places}f}"
