"""The pages on the JSON of `wind` and `curve` name every key that is printed, and no other."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
QUAY, YARD = ROOT / "demo-sites/fishing-quay", ROOT / "demo-sites/hill-yard"
PAGES = {
    "wind": (QUAY / "wind.csv.gz", "--height", 10, "--reference", QUAY / "harbour.csv.gz"),
    "curve": (YARD / "readings-0.9m.csv",),
}
ROW = re.compile(r"^\| (`.+?) \| (.+) \|$", re.MULTILINE)


def words(cell):
    return set(re.findall(r"`(\w+)`", re.sub(r"\w+\.(?=\w+`)", "", cell)))


def keys_of(value):
    """Every key of a JSON value, at any depth."""
    if isinstance(value, dict):
        return set(value).union(*map(keys_of, value.values()))
    return set().union(*map(keys_of, value)) if isinstance(value, list) else set()


@pytest.mark.parametrize("command", PAGES)
def test_a_page_names_the_keys_that_are_printed(run, command):
    printed = run(command, *PAGES[command], "--json").json
    text = (ROOT / f"docs/{command}-json.md").read_text(encoding="utf-8")
    rows = [(words(keys), words(holds)) for keys, holds in ROW.findall(text)]
    assert set(printed) == set().union(*(keys for keys, _ in rows)) - {"sectors"}
    for keys, holds in rows:
        for key in keys - {"sectors"}:
            values = printed[key] if isinstance(printed[key], list) else [printed[key]]
            for value in values:
                assert not isinstance(value, dict) or set(value) <= holds, key
        if any(printed[key] is not None for key in keys - {"sectors"}):
            assert holds - {"null"} <= keys_of(printed), keys
