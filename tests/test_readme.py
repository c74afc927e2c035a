"""The answer that the README shows is the answer."""

import re
from pathlib import Path

CLONE = Path(__file__).parents[1]


def test_the_answer_shown_is_the_answer(run, monkeypatch):
    readme = (CLONE / "README.md").read_text(encoding="utf-8")
    [shown] = re.findall(r"^```\n(.*?)^```$", readme, re.MULTILINE | re.DOTALL)
    monkeypatch.chdir(CLONE)
    printed = [line.rstrip() for line in run("estimate", "demo-sites/hill-yard").out.splitlines()]
    lines = shown.splitlines()
    assert printed[: len(lines)] == lines
