"""The handbook: its examples run, its method pages keep one form, its links lead somewhere."""

from __future__ import annotations

import doctest
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
PAGES = sorted(path.name for path in DOCS.glob("*.md"))
EXAMPLES = [*(f"docs/{name}" for name in PAGES), "README.md"]
LINKED = [*EXAMPLES, "DEVELOPERS.md", "demo-sites/README.md"]

METHOD_PAGES = (
    # the wind: distribution and fits, summed-up winds, quality_control, seasons, long term
    *("weibull.md", "censored.md", "fits.md", "summed.md", "quality-control.md", "season.md"),
    "long-term.md",
    # from the mast to the hub
    *(
        "correction-steps.md",
        "height.md",
        "shear.md",
        "exposure.md",
        "places.md",
        "roof.md",
        "turbulence.md",
        "air.md",
    ),
    "extremes.md",
    # the machine
    *("readings.md", "power-curve.md", "chain.md", "generic-curve.md", "density.md", "loads.md"),
    # energy, money, uncertainty, maps
    *(
        "energy.md",
        "losses.md",
        "arrays.md",
        "cables.md",
        "bill.md",
        "self-consumption.md",
        "economics.md",
        "financing.md",
    ),
    *("uncertainty.md", "scale.md"),
)
FORM = ("Formula", "Symbols", "Source", "Validity", "Uncertainty", "Worked example")
FLAGS = doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS


def text_of(name: str) -> str:
    return (ROOT / name).read_text("utf-8")


def failed_examples(text: str, name: str) -> list[str]:
    """Run the examples of a page one after another, and return what went wrong."""
    wrong: list[str] = []
    test = doctest.DocTestParser().get_doctest(text, {}, name, name, 0)
    doctest.DocTestRunner(optionflags=FLAGS).run(test, out=wrong.append)
    return wrong


def without_code(text: str) -> str:
    """Leave out fenced and indented blocks and code within lines: no links stand there."""
    text = re.sub(r"^```.*?^```$", "", text, flags=re.M | re.S)
    text = re.sub(r"^(?: {4}|\t).*$", "", text, flags=re.M)
    return re.sub(r"`[^`\n]*`", "", text)


def sections(text: str) -> dict[str, str]:
    """Return what stands under each heading of the second level, and before the first under ""."""
    text = re.sub(r"^```.*?^```$", "", text, flags=re.M | re.S)
    lead, *rest = re.split(r"^## ", text, flags=re.M)
    return {"": lead} | {part.partition("\n")[0]: part.partition("\n")[2] for part in rest}


def anchors(text: str) -> set[str]:
    """Return the anchors that a page's headings get on a code host: words joined by hyphens."""
    text = re.sub(r"^```.*?^```$", "", text, flags=re.M | re.S)
    headings = re.findall(r"^#{1,6} (.+)$", text, flags=re.M)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


def links(name: str) -> list[str]:
    """Return where the links of a page lead within the project."""
    found = re.findall(r"\[[^\]]*\]\(([^)\s]+)\)", without_code(text_of(name)))
    return [target for target in found if not re.match(r"[a-z]+:", target)]


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples_print_what_they_say(name, monkeypatch):
    monkeypatch.chdir(ROOT)
    wrong = failed_examples(text_of(name), name)
    assert not wrong, "\n".join(wrong)


def test_a_wrong_number_in_an_example_is_found():
    assert not failed_examples("    >>> print(2 * 0.5)\n    1.0\n", "right")
    assert failed_examples("    >>> print(2 * 0.5)\n    1.1\n", "wrong")


def test_every_page_with_a_formula_is_held_to_the_form():
    with_formula = {name for name in PAGES if "Formula" in sections(text_of(f"docs/{name}"))}
    assert with_formula == set(METHOD_PAGES)


@pytest.mark.parametrize("name", METHOD_PAGES)
def test_a_method_page_has_its_parts_in_order(name):
    found = sections(text_of(f"docs/{name}"))
    assert [heading for heading in found if heading in FORM] == list(FORM)
    for heading in FORM:
        assert found[heading].strip(), f"{heading} is empty"


@pytest.mark.parametrize("name", METHOD_PAGES)
def test_a_method_page_begins_with_its_question(name):
    title, question, *_ = sections(text_of(f"docs/{name}"))[""].split("\n\n")
    assert title.startswith("# ")
    assert question.strip().endswith("?")
    assert question.count("?") == 1


@pytest.mark.parametrize("name", METHOD_PAGES)
def test_symbols_have_units(name):
    tables = re.findall(r"^\|.*\|$", sections(text_of(f"docs/{name}"))["Symbols"], flags=re.M)
    heading = [cell.strip() for cell in tables[0].strip("|").split("|")]
    assert heading[:2] == ["symbol", "meaning"]
    assert heading[-1] == "unit"
    assert len(tables) > 2


@pytest.mark.parametrize("name", METHOD_PAGES)
def test_the_worked_example_runs_the_package(name):
    worked = sections(text_of(f"docs/{name}"))["Worked example"]
    examples = doctest.DocTestParser().get_examples(worked)
    assert any("from yieldest" in each.source for each in examples)
    assert any(re.search(r"\d", each.want) for each in examples)


@pytest.mark.parametrize("name", LINKED)
def test_links_lead_to_what_is_there(name):
    for target in links(name):
        path, _, anchor = target.partition("#")
        there = ((ROOT / name).parent / path).resolve() if path else ROOT / name
        assert there.exists(), f"{name}: {target}"
        assert there.is_relative_to(ROOT), f"{name}: {target}"
        if anchor:
            assert anchor in anchors(there.read_text("utf-8")), f"{name}: {target}"


def test_every_page_is_reached_from_the_first():
    reached, waiting = set(), {"README.md"}
    while waiting:
        name = waiting.pop()
        reached.add(name)
        targets = (target.partition("#")[0] for target in links(f"docs/{name}"))
        waiting |= {target for target in targets if target in PAGES} - reached
    assert reached == set(PAGES)
    assert "docs/README.md" in links("README.md")
