"""What can hurt someone is on the safety page and in what the commands print."""

import re

import pytest
from conftest import DEMO_SITES

from yieldest.report.cautions import CAUTIONS, CURVE_CAUTIONS

DOCS = DEMO_SITES.parent / "docs"
HAZARDS = {
    "masts": r"[Mm]ast",
    "guys": r"\bguys?\b",
    "foundations": r"[Ff]oundation",
    "work at height": r"climb",
    "rotating blades": r"plane of the blades|[Bb]lades are hardly seen",
    "overspeed on lost load": r"overspeed|[Oo]verspeed",
    "batteries": r"[Bb]atter",
    "DC arcs": r"DC arc",
    "mains": r"[Mm]ains",
    "licensed practice": r"licensed electrician",
    "lightning": r"[Ll]ightning",
    "ice": r"\b[Ii]ce\b",
    "roofs": r"[Rr]oof",
    "structural engineer": r"structural\s+engineer",
    "local codes": r"local\s+codes",
}


@pytest.mark.parametrize("hazard", HAZARDS)
def test_each_hazard_is_on_the_page_and_among_the_cautions(hazard):
    page = (DOCS / "safety.md").read_text(encoding="utf-8")
    assert re.search(HAZARDS[hazard], page)
    assert any(re.search(HAZARDS[hazard], caution) for caution in CAUTIONS)


def test_each_section_of_the_page_says_something():
    page = (DOCS / "safety.md").read_text(encoding="utf-8")
    sections = dict(re.findall(r"^## ([^\n]+)\n(.*?)(?=^## |\Z)", page, re.MULTILINE | re.DOTALL))
    assert {"Overspeed on lost load", "DC arcs", "Mains", "Ice", "Roofs"} < sections.keys()
    for title, text in sections.items():
        assert len(text.split()) > 25, title


def as_one_line(text):
    return " ".join(text.split())


def test_estimate_prints_every_caution(run):
    printed = as_one_line(run("estimate", DEMO_SITES / "hill-yard", "--draws", "0", "--full").out)
    for caution in CAUTIONS:
        assert caution in printed


def test_curve_prints_every_caution_in_full(run):
    readings = DEMO_SITES / "hill-yard" / "readings-0.9m.csv"
    printed = as_one_line(run("curve", readings, "--full").out)
    for caution in CURVE_CAUTIONS:
        assert caution in printed


def test_the_page_shows_every_caution(run, tmp_path):
    page = tmp_path / "page.html"
    ran = run("report", DEMO_SITES / "town-roof", "-o", page, "--set", "uncertainty.draws=512")
    assert ran.code == 0
    shown = as_one_line(page.read_text(encoding="utf-8"))
    for caution in CAUTIONS:
        assert caution in shown


def test_the_readme_sends_readers_to_the_page():
    readme = (DEMO_SITES.parent / "README.md").read_text(encoding="utf-8")
    assert "(docs/safety.md)" in readme
