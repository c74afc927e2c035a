"""`check` refuses what `estimate` refuses, with the same sentence, however a plan is spoilt."""

import gzip
import re
import shutil
from pathlib import Path

import pytest
from conftest import DEMO_SITES
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

NAMES = sorted(plan.parent.name for plan in DEMO_SITES.glob("*/plan.toml"))
LINES_KEPT = 1500
"""Of a demo's record: enough for a plan, and read at once."""
EXAMPLES = 8
"""Spoilt plans for each site; several hundred found no difference."""
VALUES = ("0", "-1", "0.5", "1", "3", "40", "1e6", "1e-9", "nan", "inf", "true", '"x"', "[1, 2]")
CELLS = ("", "-1", "0", "1e9", "x", "1,5", "nan", "3000", "0.01")
_VALUE = re.compile(r"(= *)(\"[^\"]*\"|\[[^\]]*\]|[-\w.]+)")
_REMARK = re.compile(r"# ?(?=\[|[a-z_]+ = )")
_RANGES = ("life_years", "price_per_kwh", "anemometer", "wind_shear", "x")


@pytest.fixture(scope="module")
def sites(tmp_path_factory):
    """Every demo site with a short record, and the folder that `yieldest start` writes."""
    folder = tmp_path_factory.mktemp("sites")
    for name in NAMES:
        site = shutil.copytree(DEMO_SITES / name, folder / name)
        records = [*site.glob("*.gz")]
        # A record and its reference must go on sharing days.
        for record in records if len(records) == 1 else ():
            with gzip.open(record, "rt", encoding="utf-8") as text:
                kept = [line for _, line in zip(range(LINES_KEPT), text, strict=False)]
            with gzip.open(record, "wt", encoding="utf-8") as text:
                text.writelines(kept)
    return folder


@st.composite
def spoilt_text(draw, text, values):
    """A text with a value, a remark or a line of it changed."""
    lines = text.splitlines()
    at = draw(st.sampled_from([n for n, line in enumerate(lines) if line.strip()]))
    how = draw(st.sampled_from(["value", "value", "value", "remark", "gone", "twice"]))
    if how == "value":
        found = [*values.finditer(lines[at])]
        if found:
            one = draw(st.sampled_from(found))
            new = draw(st.sampled_from(VALUES if values is _VALUE else CELLS))
            keep = one[1] if values is _VALUE else ""
            lines[at] = lines[at][: one.start()] + keep + new + lines[at][one.end() :]
    elif how == "remark":
        lines[at] = _REMARK.sub("", lines[at], count=1)
    elif how == "gone":
        del lines[at]
    else:
        lines.insert(at, lines[at])
    return "\n".join(lines) + "\n"


@st.composite
def spoilt(draw, folder):
    """A plan folder of which up to two files are spoilt, as texts by name."""
    names = sorted(p.name for p in folder.iterdir() if p.suffix in (".toml", ".csv"))
    texts = {}
    for name in draw(st.lists(st.sampled_from(["plan.toml", *names]), min_size=1, max_size=2)):
        text = texts.get(name) or (folder / name).read_text(encoding="utf-8")
        cells = _VALUE if name.endswith(".toml") else re.compile(r"[^,\n]+")
        texts[name] = draw(spoilt_text(text, cells))
    if draw(st.integers(0, 4)) == 0:
        plan = texts.get("plan.toml") or (folder / "plan.toml").read_text(encoding="utf-8")
        low, high = (draw(st.sampled_from(("-2", "0", "0.01", "3", "0.9", "1e9"))) for _ in "ab")
        key = draw(st.sampled_from(_RANGES))
        texts["plan.toml"] = f"{plan}\n[uncertainty.{key}]\nuniform = [{low}, {high}]\n"
    return texts


def both(run, folder):
    checked, estimated = run("check", folder), run("estimate", folder, "--draws", 512)
    assert (checked.code, checked.err) == (estimated.code, estimated.err)
    assert checked.code in (0, 2)
    return checked


@pytest.mark.parametrize(
    "name", ["start", *sorted(p.name for p in DEMO_SITES.iterdir() if p.is_dir())]
)
def test_check_refuses_exactly_when_estimate_refuses(run, sites, tmp_path, name):
    folder: Path = sites / name
    if name == "start":
        assert run("start", folder).code == 0
    assert both(run, folder).code == 0
    refused = []

    @given(st.data())
    @settings(max_examples=EXAMPLES, suppress_health_check=list(HealthCheck), derandomize=True)
    def holds(data):
        work = tmp_path / name
        shutil.rmtree(work, ignore_errors=True)
        shutil.copytree(folder, work)
        for file, text in data.draw(spoilt(folder)).items():
            (work / file).write_text(text, encoding="utf-8")
        refused.append(both(run, work).code == 2)

    holds()
    # Both happen, or nothing was tried.
    assert 0 < sum(refused) < len(refused)
