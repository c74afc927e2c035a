"""The reference pages are what the code says, and what they show is taken by it."""

import re
import runpy
import tomllib
from pathlib import Path
from typing import Annotated

import pytest
from pydantic import TypeAdapter

from yieldest.plan import load_plan
from yieldest.plan.keys import table_of, tables

DOCS = Path(__file__).parents[1] / "docs"
PAGES = runpy.run_path(str(DOCS / "make_reference.py"))["PAGES"]
MAKE = "run `python docs/make_reference.py` and commit what it writes"


@pytest.mark.parametrize("page", PAGES)
def test_a_page_is_what_the_code_says(page):
    made = PAGES[page]()
    assert (DOCS / page).read_bytes() == made.encode(), f"docs/{page} is out of date: {MAKE}"


@pytest.mark.parametrize("table", tables(), ids=lambda table: ".".join(table.path) or "top")
def test_every_key_is_described_and_takes_its_example_and_its_default(table):
    for name, field in table.keys.items():
        assert field.description, name
        assert not field.description.endswith("."), name
        is_table = table_of(field)[0] is not None
        assert field.examples or is_table, f"{name} has no example"
        annotation = field.annotation
        for constraint in field.metadata:
            annotation = Annotated[annotation, constraint]
        default = [] if field.is_required() else [field.get_default(call_default_factory=True)]
        for value in [*(field.examples or []), *default]:
            TypeAdapter(annotation).validate_python(value)


def test_examples_as_shown_are_toml():
    lines = (DOCS / "plan-file.md").read_text(encoding="utf-8").splitlines()
    shown = [line.split("`")[1] for line in lines if line.startswith("| `")]
    assert len(shown) > 150
    for line in shown:
        assert len(tomllib.loads(line)) == 1


def test_the_shortest_plan_on_the_page_is_sound(tmp_path):
    page = (DOCS / "plan-file.md").read_text(encoding="utf-8")
    (tmp_path / "plan.toml").write_text(page.split("```toml\n")[1].split("```")[0])
    plan = load_plan(tmp_path)
    assert plan.build[0].name == "one machine"


def test_every_option_stands_on_the_page(run):
    page = (DOCS / "commands.md").read_text(encoding="utf-8")
    sections = {part.split("\n")[0]: part for part in page.split("## yieldest ")[1:]}
    assert list(sections) == ["start", "wind", "curve", "check", "estimate", "report", "map"]
    for name, section in sections.items():
        flag = r"(?<![\w-])--?[a-z][a-z-]*"
        rows = [line.split("|")[1] for line in section.splitlines() if line.startswith("| `-")]
        on_page = {option for row in rows for option in re.findall(flag, row)}
        shown = re.findall(rf"^  ((?:{flag}(?:, | / )?)+)", run(name, "--help").out, re.MULTILINE)
        in_help = {option for row in shown for option in re.findall(flag, row)} - {"--help"}
        assert on_page == in_help, name


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page):
    text = (DOCS / page).read_text(encoding="utf-8")
    anchors = {
        "#" + "".join(c for c in line[3:].lower() if c.isalnum() or c in " -_").replace(" ", "-")
        for line in text.splitlines()
        if line.startswith("## ")
    }
    links = [part.split(")")[0] for part in text.split("](")[1:]]
    assert links
    for link in links:
        assert link in anchors if link.startswith("#") else (DOCS / link).is_file(), link
