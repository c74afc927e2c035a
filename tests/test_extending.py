"""The page on adding things: its examples run, and what it names is there."""

import doctest
import re
from dataclasses import fields
from pathlib import Path

import pytest

from yieldest.economics.evaluation import Cost
from yieldest.model.quantities import QUANTITIES

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "extending.md"
NAMED = sorted(set(re.findall(r"`((?:yieldest|tests)/[\w/.]+\.py)`", PAGE.read_text("utf-8"))))


def test_the_examples_of_the_page_run():
    failed, tried = doctest.testfile(str(PAGE), module_relative=False, encoding="utf-8")
    assert tried > 20
    assert failed == 0


@pytest.mark.parametrize("name", NAMED)
def test_a_file_that_the_page_names_is_there(name):
    assert (ROOT / name).is_file()


def test_what_the_page_names_stands_where_it_says():
    text = " ".join(PAGE.read_text("utf-8").split())
    pairs = re.findall(r"`(\w+)` of `(yieldest/[\w/]+\.py)`", text)
    assert len(pairs) >= 5
    for name, file in pairs:
        assert re.search(rf"\b{name}\b", (ROOT / file).read_text("utf-8")), (name, file)
    every_test = "".join(path.read_text("utf-8") for path in ROOT.glob("tests/test_*.py"))
    for name in re.findall(r"`(test_\w+)`", text):
        assert f"def {name}(" in every_test


def test_every_measure_of_cost_is_shown():
    listed = [each.key for each in QUANTITIES]
    assert len(listed) == len(set(listed))
    numbers = {field.name for field in fields(Cost) if field.type in ("float", "float | None")}
    assert numbers <= {each.key for each in QUANTITIES if {"json", "frame"} <= each.where}
