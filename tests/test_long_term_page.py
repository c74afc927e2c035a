"""The tables of docs/long-term.md are what the benchmark wrote."""

import json
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
WROTE = json.loads((ROOT / "tests/benchmarks/error_of_long_term.json").read_text(encoding="utf-8"))
TABLES = {
    "| days kept | mean as read | corrected": (
        "stations, 1 reference",
        (
            "mean as read",
            "mean median",
            "mean held",
            "cube as read",
            "cube median",
            "cube held",
            "cube bias",
        ),
    ),
    "| days kept | mean of the years in": (
        "energy through the chain, 1 reference",
        ("mean of the years held", "any one year held", "median", "bias"),
    ),
    "| days kept | mean of the years held": (
        "energy through the chain, constants from the five others",
        ("mean of the years held", "any one year held", "bias"),
    ),
    "| days kept | mean in 90 % range | eight": (
        "stations, constants from three stations",
        ("mean held", None, "cube held", None, "cube bias"),
    ),
    "| days kept | mean in 90 % range | cube": (
        "stations, constants from the five others",
        ("mean held", "cube held", "cube bias"),
    ),
    "| days kept | mean in 90 % range | mean cube": (
        "airports, constants from three stations",
        ("mean held", "cube held"),
    ),
}


@pytest.mark.parametrize("heading", TABLES)
def test_a_table_of_the_page_is_what_the_benchmark_wrote(heading):
    name, columns = TABLES[heading]
    text = (ROOT / "docs/long-term.md").read_text(encoding="utf-8")
    rows = text[text.index(heading) :].split("\n\n")[0].splitlines()[2:]
    assert len(rows) == len(WROTE[name])
    for row in rows:
        days, *cells = [cell.strip() for cell in row.strip("|").split("|")]
        for cell, column in zip(cells, columns, strict=True):
            if column is not None:
                shown = cell.removesuffix(" %")
                decimals = len(shown.partition(".")[2])
                value = WROTE[name][f"{days} days"][column]
                assert float(shown) == pytest.approx(value, abs=0.5001 * 10**-decimals), row
