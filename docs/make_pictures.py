"""Draw the pictures of the handbook from the demo site, the same every time.

Run `python docs/make_pictures.py` in a clone after a change to the charts; another folder may be
named.
"""

import sys
from pathlib import Path

from yieldest.model.estimate import estimate
from yieldest.model.inputs import read
from yieldest.model.number_of_machines import cost_by_number
from yieldest.model.scenarios import scenarios_of
from yieldest.plan import load_plan
from yieldest.report.svg import picture
from yieldest.report.write_report import charts_of

HERE = Path(__file__).parent
SITE = HERE.parent / "demo-sites" / "hill-yard"
PICTURES = (
    "wind-speeds",
    "wind-months-hours",
    "correction-steps",
    "power-curves",
    "energy-months",
    "energy-steps",
    "drivers-a",
    "cash-flow",
    "cost-by-group",
    "cost-by-number",
)
"""Charts of the page (`yieldest report --figures`) that the handbook shows."""


def make_pictures(folder: Path) -> list[Path]:
    """Draw every picture into a folder that is there."""
    plan = load_plan(SITE)
    result = estimate(read(plan))
    uncertainty = result.uncertainty()
    builds = range(len(plan.build))
    scenarios = [scenarios_of(result, number, uncertainty) for number in builds]
    charts = charts_of(result, uncertainty, scenarios, cost_by_number(result)).values()
    by_name = {chart.name: chart for some in charts for chart in some}
    written = []
    for name in PICTURES:
        written.append(folder / f"{name}.svg")
        written[-1].write_bytes(picture(by_name[name].figure(titled=True), "svg"))
    return written


if __name__ == "__main__":
    for made in make_pictures(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "pictures"):
        print(made)
