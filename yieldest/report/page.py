"""The page: one HTML file that asks for nothing else, from an estimate and its scenarios."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import re
from collections.abc import Callable, Mapping, Sequence
from importlib.resources import files
from itertools import zip_longest

import jinja2
from markupsafe import Markup

from yieldest import __version__
from yieldest.arrays import NOT_KNOWN, rounded
from yieldest.economics.prices import CURRENCY_SIGNS
from yieldest.frozen import frozen_dataclass
from yieldest.html_repr import printable
from yieldest.model.estimate import Estimate
from yieldest.model.quantities import drawn_as, lines_of
from yieldest.model.scenarios import BuildScenarios
from yieldest.plan import Plan
from yieldest.report.cautions import CAUTIONS
from yieldest.report.chart import Chart, drawn
from yieldest.report.decision import Decision
from yieldest.report.palette import BUILD_STYLES, PALETTE
from yieldest.report.sections import chapters_of, count_of_warnings
from yieldest.report.sliders import how_far_off, payload, sliders_of
from yieldest.report.svg import StyleSheet, inline_svg
from yieldest.report.tables import Row, TableView, build_heads
from yieldest.uncertainty.result import Uncertainty
from yieldest.units import as_shown, raised

_MINUS = re.compile(r"(?<![\w.=-])-(?=([^\s\w-]?)\d)")
"""The hyphen of a negative number or sum, not that of a range, a date, an option or a name."""
_SIGN = "\N{MINUS SIGN}"
_SHORT = 14
"""Words up to so many letters are never broken in a table."""
WIDEST_TABLE = 7
"""Columns of a chart's numbers that the page shows; all of them are in the chart's CSV file."""


def page_of(
    plan: Plan,
    estimate: Estimate,
    uncertainty: Uncertainty | None,
    decision: Decision,
    scenarios: Sequence[BuildScenarios],
    charts: Mapping[str, Sequence[Chart]],
    changes: Sequence[str],
    done: Callable[[str], None],
) -> str:
    """Return the page as HTML, from a plan and all that was made of it.

    There are scenarios for each build that is drawn, and the charts of `charts_of` by section. The
    changes are what `--set` put over the plan; `done` is told the name of each chart when it is in
    the page.
    """
    templates = files("yieldest.report") / "templates"
    sheet = StyleSheet()
    shown = {
        section: [_shown(chart, sheet, done) for chart in some] for section, some in charts.items()
    }
    style = _colours() + (templates / "page.css").read_text("utf-8") + sheet.css()
    script = (templates / "page.js").read_text("utf-8")
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, finalize=_printable(plan)
    )
    environment.tests["short"] = lambda text: max(map(len, text.split()), default=0) <= _SHORT
    rows = [line.quantity.key for line in lines_of("decision", estimate.builds, estimate.terms)]
    keys = [*rows, *["chance"] * (len(decision.table.rows) - len(rows))]
    sliders = sliders_of(estimate, scenarios)
    named = build_heads(estimate)
    template = environment.from_string((templates / "page.html.j2").read_text("utf-8"))
    return template.render(
        title=estimate.title,
        plan=plan.path.name,
        version=__version__,
        policy=_policy(style, script),
        style=Markup(style),
        script=Markup(script),
        decision=decision,
        short=lambda head: head.partition(":")[0] if head in named else head,
        places=[named.index(head) for head in decision.table.heads[1:]],
        keys=keys,
        warnings=count_of_warnings(estimate),
        chapters=chapters_of(plan, estimate, uncertainty, changes, decision),
        cautions=CAUTIONS,
        charts=shown,
        builds=[(style.mark, style.colour, build.name) for style, build in drawn(estimate.builds)],
        sign_left_out="" if estimate.currency in CURRENCY_SIGNS else estimate.currency,
        ranged=uncertainty is not None,
        ranges=[
            uncertainty is not None and any(drawn_as(key) in b.ranges for b in uncertainty.builds)
            for key in keys
        ],
        left_out=max(0, len(estimate.builds) - len(BUILD_STYLES)),
        sliders=sliders,
        off=how_far_off(estimate, scenarios),
        data=_inert(payload(estimate, scenarios, sliders, keys)),
    )


def _printable(plan: Plan) -> Callable[[object], object]:
    """Return what mends every text that goes into the page; what is markup already is ours.

    Paths are told from the plan's folder on, for where that lies is nobody else's concern.
    """
    folder = f"{plan.path.parent}{os.sep}"

    def mend(value: object) -> object:
        if isinstance(value, str) and not isinstance(value, Markup):
            text = raised(printable(value.replace(folder, "")))
            text = text.replace(" %", "\N{NO-BREAK SPACE}%")
            return _MINUS.sub(lambda found: _SIGN + "\N{WORD JOINER}" * bool(found[1]), text)
        return value

    return mend


def _policy(style: str, script: str) -> str:
    """Allow this style and this script and nothing else: no request, no form, no other script."""

    def fingerprint(text: str) -> str:
        digest = hashlib.sha256(text.encode("utf-8")).digest()
        return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"

    return (
        f"default-src 'none'; style-src {fingerprint(style)}; script-src {fingerprint(script)}; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )


def _colours() -> str:
    light, dark = (
        "".join(f"--{name}:{pair[side]};" for name, pair in PALETTE.items()) for side in (0, 1)
    )
    inks = "".join(f"#live .ink-{s.colour}{{fill:var(--{s.colour})}}\n" for s in BUILD_STYLES)
    heads = "".join(
        f"#builds .build-{place}{{color:var(--{s.colour})}}\n"
        for place, s in enumerate(BUILD_STYLES)
    )
    return (
        f":root{{color-scheme:light dark;{light}}}\n"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}\n{inks}{heads}"
    )


def _inert(content: object) -> Markup:
    """Return JSON that cannot end the script element it stands in."""
    text = json.dumps(content, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)


@frozen_dataclass
class _Shown:
    """A chart as it stands in the page."""

    chart: Chart
    svg: Markup
    numbers: TableView
    columns_left_out: int


def _shown(chart: Chart, sheet: StyleSheet, done: Callable[[str], None]) -> _Shown:
    heads = list(chart.numbers)
    read = dict(_as_read(head, chart.numbers[head]) for head in heads[:WIDEST_TABLE])
    shown = list(read)
    rows = [
        Row(first, tuple(others))
        for first, *others in zip_longest(*map(_cells, read.values()), fillvalue=NOT_KNOWN)
    ]
    svg = inline_svg(chart.figure(titled=False), chart.name, printable(chart.message), sheet)
    done(chart.name)
    numbers = TableView(chart.title, shown, rows)
    return _Shown(chart, Markup(svg), numbers, len(heads) - len(shown))


def _as_read(
    head: str, cells: Sequence[str | float | None]
) -> tuple[str, Sequence[str | float | None]]:
    """Return a column of a chart's numbers in the units of the reader."""
    unit = "m/s" if head.endswith("(m/s)") else ""
    times, other = as_shown(1.0, unit)
    if unit == other:
        return head, cells
    turned = [times * cell if isinstance(cell, float | int) else cell for cell in cells]
    return head.replace(unit, other), turned


def _cells(values: Sequence[str | float | None]) -> list[str]:
    """Write a column of numbers, whole ones in full."""
    numbers = [value for value in values if isinstance(value, float | int)]
    whole = all(float(value).is_integer() for value in numbers)
    return [
        NOT_KNOWN
        if value is None
        else value
        if isinstance(value, str)
        else f"{value:,.0f}"
        if whole
        else rounded(float(value), 3)
        for value in values
    ]
