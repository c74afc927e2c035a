"""The step-by-step pages: every command runs, and what they show is what comes out."""

import gzip
import re
import runpy
import shlex
import shutil
import tomllib
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from conftest import DEMO_SITES

DOCS = DEMO_SITES.parent / "docs"
STEPS = sorted((DOCS / "steps").glob("*.md"))
PAGES = [*sorted(DOCS.rglob("*.md")), *DOCS.parent.glob("*.md"), DEMO_SITES / "README.md"]
SITE = DEMO_SITES / "hill-yard"
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
LINK = re.compile(r"!?\[[^\]]*\]\(([^)#]+)(?:#[^)]*)?\)")
PICTURE_BYTES = 150_000


def blocks_of(page):
    return BLOCK.findall(page.read_text(encoding="utf-8"))


def bare(text):
    return [line.rstrip() for line in text.splitlines()]


def chunks_of(excerpt):
    """Part an excerpt at its lines of three dots; the lines of each chunk follow each other."""
    return [chunk.strip("\n").splitlines() for chunk in re.split(r"^\.\.\.$", excerpt, flags=re.M)]


def place_of(chunk, lines, start):
    """Return where a chunk stands in the lines, from `start` on; None where it does not."""
    chunk = [line.rstrip() for line in chunk]
    for at in range(start, len(lines) - len(chunk) + 1):
        if lines[at : at + len(chunk)] == chunk:
            return at
    return None


def differences(excerpt, output):
    """Return the chunks of an excerpt that do not stand in the output, in that order."""
    lines, at, missing = bare(output), 0, []
    for chunk in chunks_of(excerpt):
        found = place_of(chunk, lines, at)
        if found is None:
            missing.append("\n".join(chunk))
        else:
            at = found + len(chunk)
    return missing


@pytest.mark.parametrize("page", STEPS, ids=lambda page: page.stem)
def test_commands_run_and_excerpts_are_true(page, run, tmp_path, monkeypatch):
    shutil.copytree(SITE, tmp_path / "demo-sites" / "hill-yard")
    monkeypatch.chdir(tmp_path)
    shown = []
    for kind, text in blocks_of(page):
        if kind == "sh":
            name, *arguments = shlex.split(text.replace("\\\n", ""))
            assert name == "yieldest"
            if arguments[0] == "report":
                arguments += ["--set", "uncertainty.draws=512"]  # a test need not wait for more
            ran = run(*arguments)
            assert ran.code == 0, ran.err
            shown.append(ran.out)
        elif kind == "text":
            assert [] in [differences(text, out) for out in shown], text


def test_a_false_excerpt_is_found():
    output = "one\ntwo\nthree\nfour\n"
    assert differences("one\n...\nfour\n", output) == []
    assert differences("two\nfour\n", output) == ["two\nfour"]
    assert differences("three\n...\none\n", output) == ["one"]


@pytest.mark.parametrize("page", STEPS, ids=lambda page: page.stem)
def test_pieces_of_files_are_those_of_the_demo_site(page):
    tables = [path.read_text(encoding="utf-8") for path in SITE.glob("*.csv")]
    tables.append(gzip.decompress((SITE / "wind.csv.gz").read_bytes()).decode())
    plan = (SITE / "plan.toml").read_text(encoding="utf-8")
    for kind, text in blocks_of(page):
        assert kind in {"sh", "text", "toml", "csv"}
        if kind == "toml":
            tomllib.loads(text)
            assert text in plan
        elif kind == "csv":
            lines = text.splitlines()
            assert any(set(lines) <= set(table.splitlines()) for table in tables)


def test_every_step_leads_to_the_next_and_the_contents_to_each():
    contents = (DOCS / "README.md").read_text(encoding="utf-8")
    for page, following in zip(STEPS, [*STEPS[1:], None], strict=True):
        assert f"(steps/{page.name})" in contents
        if following is not None:
            assert f"({following.name})" in page.read_text(encoding="utf-8")
    assert len(STEPS) == 7


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page):
    links = LINK.findall(page.read_text(encoding="utf-8"))
    for link in links:
        assert "://" in link or (page.parent / link).exists(), link
    assert links or page not in STEPS


def test_pictures_are_made_by_the_tool_small_and_used(tmp_path):
    make = runpy.run_path(str(DOCS / "make_pictures.py"))
    kept = {path.name: path for path in (DOCS / "pictures").iterdir()}
    made = {path.name: path for path in make["make_pictures"](tmp_path)}
    assert made.keys() == kept.keys()
    shown = {Path(link).name for page in STEPS for link in LINK.findall(page.read_text("utf-8"))}
    for name, picture in made.items():
        assert name in shown
        # The drawing changes with the version of matplotlib, and the least of the drivers with
        # that of scipy; nearly all that is written in a picture stays.
        before, now = words_in(kept[name]), words_in(picture)
        assert len(before & now) >= 0.7 * len(before | now)
        assert kept[name].stat().st_size < PICTURE_BYTES


def words_in(picture):
    texts = {element.text for element in ET.parse(picture).iter() if element.tag.endswith("}text")}
    return {text for text in texts if text and re.search("[a-z]{3}", text)}
