"""What the tests share: the command line as a user runs it, and small plans to spoil."""

import csv
import io
import json
import os
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path

import hypothesis
import pytest

# Small matrices gain nothing by threads, and those of two workers wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from yieldest import load
from yieldest.cli import app as cli
from yieldest.cli.plan_folder import write_plan_folder
from yieldest.model.scenarios import scenarios_of
from yieldest.plan import load_plan
from yieldest.plan.overrides import read_override
from yieldest.report.write_report import write_report

# Speed is for the benchmarks: a busy machine must fail no test.
hypothesis.settings.register_profile("no deadline", deadline=None)
hypothesis.settings.load_profile("no deadline")

DEMO_SITES = Path(__file__).parents[1] / "demo-sites"
SITES = sorted(path.parent.name for path in DEMO_SITES.glob("*/plan.toml"))
WITH_FIGURES = ("hill-yard", "town-roof")
"""The sites whose reports are looked at most closely."""
OTHER_SITES = sorted({*SITES} - {*WITH_FIGURES})


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items):
    """Begin with the tests of pages: one worker makes what they share, and nothing long is last."""
    shared = {"demo_report", "hostile_report", "other_page", "chromium"}
    items.sort(key=lambda item: shared.isdisjoint(item.fixturenames))


def kinds(findings):
    """Return the types of what was found, so that no test hangs on its wording."""
    return {type(finding) for finding in findings}


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
    """Run `yieldest ARGUMENTS` in this process; Enter is the answer to every question."""

    def run_yieldest(*arguments, stdin="\n" * 20):
        monkeypatch.setattr(sys, "argv", ["yieldest", *map(str, arguments)])
        monkeypatch.setattr(sys, "stdin", io.StringIO(stdin))
        # A library's warning, which users are spared, fails a test.
        monkeypatch.setattr(sys, "warnoptions", ["error"])
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


@pytest.fixture(params=WITH_FIGURES)
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
def table_text(tmp_path):
    """Write a text to a small file."""

    def write(text):
        path = tmp_path / "table.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return write


@pytest.fixture
def hill_files():
    """Read a file of the hill-yard demo."""
    return lambda name: (DEMO_SITES / "hill-yard" / name).read_text(encoding="utf-8")


HOSTILE = {
    "title": '</title></script><script>alert("title")</script>\u202e & "quoted" $\\frac{',
    "first": "=cmd|'/c calc'!A1 <img src=x onerror=alert(1)>",
    "second": "_{$x^} </svg><svg onload=alert(2)> 風車 \U0001f300",
    "item": '@SUM(1+1)*cmd|"x" <b onclick=alert(3)>bold</b>',
    "file": "curve <b>\"&' $x.csv",
}
"""Names that try to leave their place: in HTML, in SVG, in a formula, in a spreadsheet."""


@pytest.fixture
def hostile():
    """The hostile names by what they name."""
    return HOSTILE


@pytest.fixture
def hostile_yard(yard):
    """A plan folder whose title, builds, items and files have hostile names."""
    return make_hostile(yard)


def make_hostile(folder):
    """Give title, builds, an item and a file of a started folder hostile names."""
    plan, bill = folder / "plan.toml", folder / "bill.csv"
    (folder / "curve.csv").rename(folder / HOSTILE["file"])
    text = plan.read_text(encoding="utf-8")
    for old, new in (
        ('"My yard"', HOSTILE["title"]),
        ('"one machine"', HOSTILE["first"]),
        ('"two of them"', HOSTILE["second"]),
        ('"curve.csv"', HOSTILE["file"]),
    ):
        assert old in text
        # A JSON string is a TOML basic string too.
        text = text.replace(old, json.dumps(new, ensure_ascii=False))
    plan.write_text(text, encoding="utf-8")
    rows = list(csv.reader(bill.read_text(encoding="utf-8").splitlines()))
    item = next(row for row in rows if row and row[0] == "generator")
    item[0] = HOSTILE["item"]
    with bill.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows(rows)
    return folder


@dataclass(frozen=True)
class Reported:
    """A plan folder, and the page and the figures made of it."""

    site: Path
    page: Path
    figures: Path


FEW_DRAWS = "uncertainty.draws=512"
"""As few as there may be: a page needs them, a test need not wait."""


def make_report(site):
    """Write page and figures beside a plan folder."""
    made = Reported(site, site.parent / "page.html", site.parent / "figures")
    plan = load_plan(site, [read_override(FEW_DRAWS)])
    write_report(plan, made.page, made.figures, lambda _: None, [FEW_DRAWS])
    return made


@pytest.fixture(scope="session", params=WITH_FIGURES)
def demo_report(request, tmp_path_factory):
    """The report of each demo site, made once; nothing may be changed in it."""
    site = tmp_path_factory.mktemp("report") / request.param
    return make_report(shutil.copytree(DEMO_SITES / request.param, site))


@pytest.fixture(scope="session", params=OTHER_SITES)
def other_page(request, tmp_path_factory):
    """The page of each other demo site, without figures, made once and named like the site."""
    page = tmp_path_factory.mktemp("pages") / f"{request.param}.html"
    plan = load_plan(DEMO_SITES / request.param, [read_override(FEW_DRAWS)])
    write_report(plan, page, None, lambda _: None, [FEW_DRAWS])
    return page


@pytest.fixture(scope="session")
def demo_scenarios(demo_report):
    """The plan of each demo site, its estimate, how sure that is and what the sliders show."""
    project = load(demo_report.site)
    estimate = project.estimate()
    uncertainty = estimate.uncertainty()
    scenarios = [scenarios_of(estimate, n, uncertainty) for n in range(len(estimate.builds))]
    return project.plan, estimate, uncertainty, scenarios


@pytest.fixture(scope="session")
def hostile_report(tmp_path_factory):
    """The report of a plan with hostile names, made once; nothing may be changed in it."""
    folder = tmp_path_factory.mktemp("hostile") / "yard"
    write_plan_folder(folder)
    return make_report(make_hostile(folder))


@pytest.fixture(scope="session")
def chromium():
    """Debian's Chromium, driven by playwright; the test is skipped where there is none."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("there is no chromium on this machine: apt-get install chromium")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=path,
            args=[
                "--no-sandbox",
                "--disable-gpu",
                "--no-first-run",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
            ],
        )
        yield browser
        browser.close()
