"""What `estimate --full` prints adds up, and no figure is printed in two roundings."""

import re

import pytest
from conftest import DEMO_SITES, SITES

NUMBER = re.compile(r"-?[\d,]*\.?\d+")
MONTHS = "January February March April May June July August September October November December"
OF_A_YEAR = ("hours making no power", "hours making power", "hours above cut-out")


def cells(line: str, label: str) -> list[str]:
    """What stands behind the label of a row, a column each."""
    return re.split(r"  +", line[len(label) :].strip())


def numbers(texts: list[str]) -> list[float]:
    return [float(m[0].replace(",", "")) for m in map(NUMBER.match, texts) if m]


def rows(lines: list[str], label: str) -> list[list[str]]:
    """The rows of that label in all tables, with or without a unit in brackets behind it."""
    found = re.compile(rf" *{re.escape(label)}( \([^)]*\))?  ")
    return [cells(line, match[0]) for line in lines if (match := found.match(line))]


@pytest.mark.parametrize("site", SITES)
def test_parts_sum_to_the_whole_and_a_figure_is_written_once(run, site):
    lines = run("estimate", DEMO_SITES / site, "--full", "--draws", 512).out.splitlines()
    first, *others = rows(lines, "net energy")
    nets = numbers(first)
    builds = len(nets)
    assert nets == numbers(others[0])[:builds] == numbers(others[1])[:builds]

    # From gross to net, each loss of what those before it left.
    shares = [numbers(re.split(r"  +", line.strip())[1:]) for line in lines if "  lost: " in line]
    assert len(shares) >= 4
    for build, used in enumerate(rows(lines, "used below")[0][:builds]):
        of = {"fit": "fitted wind", "readings": "from the readings themselves"}[used]
        left = numbers(rows(lines, f"gross energy, {of}")[0])[build]
        for share in shares:
            left *= 1 - share[build] / 100
        assert left == pytest.approx(nets[build], rel=0.012)

    # Months and hours.
    months = [numbers(rows(lines, month)[0]) for month in MONTHS.split() if rows(lines, month)]
    assert len(months) in (0, 12)
    for sums, net in zip(zip(*months, strict=True), nets, strict=False):
        assert sum(sums) == pytest.approx(net, rel=0.03)
    for hours in zip(*(numbers(rows(lines, label)[0]) for label in OF_A_YEAR), strict=True):
        assert sum(hours) == pytest.approx(8760, abs=2)

    # The groups of a bill, and their shares, of the cost to build.
    text = " ".join(line.strip() for line in lines)
    groups = re.findall(r"- By group: (.*?)\.(?: -|  )", f"{text}  ")
    costs = numbers(rows(lines, "cost to build")[0])
    assert len(groups) == builds
    for said, cost in zip(groups, costs, strict=False):
        parts = [float(part.replace(",", "")) for part in re.findall(r"([\d,]+)(?: \w+)? \(", said)]
        assert len(parts) >= 3
        assert sum(parts) == pytest.approx(cost, abs=len(parts) / 2 + 0.5)
        assert sum(map(float, re.findall(r"\((\d+) %", said))) == pytest.approx(100, abs=2)

    # The first screen and the tables below it write a figure alike.
    for label in ("cost to build", "cost per kWh", "payback, replacements counted"):
        shown, below = rows(lines, label)[:2]
        assert [cell.split(" ")[0] for cell in shown[:builds]] == [
            cell.split(" ")[0] for cell in below[:builds]
        ]
