"""What the tests share: the command line as a user runs it, and small plans to spoil."""

import json
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from yieldest import cli

DEMO_SITES = Path(__file__).parents[1] / "demo-sites"


@dataclass(frozen=True)
class Ran:
    """What a command printed and how it ended."""

    code: int
    out: str
    err: str

    @property
    def json(self):
        return json.loads(self.out)


@pytest.fixture
def run(capsys, monkeypatch):
    """Run `yieldest ARGUMENTS` in this process."""

    def run_yieldest(*arguments):
        monkeypatch.setattr(sys, "argv", ["yieldest", *map(str, arguments)])
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            cli.main()
        captured = capsys.readouterr()
        return Ran(ended.value.code or 0, captured.out, captured.err)

    return run_yieldest


@pytest.fixture
def yard(tmp_path, run):
    """A plan folder as `yieldest start` writes it."""
    folder = tmp_path / "yard"
    assert run("start", folder).code == 0
    return folder


@pytest.fixture(params=["hill-yard", "town-roof"])
def demo_site(request, tmp_path):
    """A copy of each demo site."""
    return shutil.copytree(DEMO_SITES / request.param, tmp_path / request.param)


@pytest.fixture
def edit():
    """Replace a text that stands in a file once."""

    def replace(path, old, new):
        text = path.read_text(encoding="utf-8")
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {path.name}"
        path.write_text(text.replace(old, new), encoding="utf-8")

    return replace


@pytest.fixture
def hill_files():
    """Read a file of the hill-yard demo."""
    return lambda name: (DEMO_SITES / "hill-yard" / name).read_text(encoding="utf-8")
