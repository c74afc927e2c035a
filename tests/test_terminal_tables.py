"""Tables on the terminal: no word and no range is broken where room can be made for it."""

import pytest
from rich.console import Console

from yieldest.report.tables import Row, TableView
from yieldest.report.terminal import print_table, print_text

HEADS = ["in brackets the 90 % range", "A: a machine on a mast", "B: a machine on another mast"]
ROWS = [
    Row("cost per used kWh (€/kWh; bought 0.19)", ("1.3 (0.48 to 5.1)", "1.2 (0.56 to 3.0)")),
    Row(
        "net present value (€)", ("-3,570 (-4,900 to -2,300)", "-4,600 (-6,300 to -3,200)"), best=0
    ),
    Row("probability that it pays", ("below 1 %", "over 99 %")),
]


def lines(width, print_it):
    screen = Console(width=width, highlight=False)
    with screen.capture() as captured:
        print_it(screen)
    return captured.get().splitlines()


@pytest.mark.parametrize("width", [66, 72, 80, 90, 100])
def test_ranges_and_words_stay_whole(width):
    shown = lines(width, lambda screen: print_table(TableView("", HEADS, ROWS), screen))
    text = "\n".join(shown)
    assert max(map(len, shown)) <= width
    for whole in ("(0.48 to 5.1)", "(-6,300 to -3,200)", "below 1 %", "over 99 %", "(€/kWh;"):
        assert whole in text
    for row in ROWS:
        assert all(word in text for word in row.label.split())


def test_a_table_with_room_is_left_as_it_is():
    shown = lines(120, lambda screen: print_table(TableView("", HEADS, ROWS), screen))
    assert len([line for line in shown if line]) == 2 + len(ROWS)


def test_a_path_is_not_broken_at_its_hyphens():
    path = "demo-sites/fishing-quay/curve-1.8m.csv"
    shown = lines(40, lambda screen: print_text(f"power was read from {path}", screen))
    assert path in [line.strip() for line in shown]


def test_prose_has_the_room_and_names_stay_whole():
    """A column of long sentences is not squeezed to a few letters by columns of names."""
    prose = "power law between two heights with the exponent of open terrain, for none is stated"
    view = TableView(
        "",
        ["input", "category", "distribution", "source"],
        [
            Row("height step", ("vertical extrapolation", "normal, 0 ± 0.052", prose)),
            Row("prices of the parts bill (bill.csv)", ("economics", "lognormal, 1 ± 10 %", "own")),
        ],
        words=True,
    )
    shown = lines(100, lambda screen: print_table(view, screen))
    assert max(map(len, shown)) <= 100
    # By hand: 83 letters of prose in the 36 columns or more that the short names leave.
    assert len([line for line in shown if line]) <= 2 + 3 + 2
    assert "normal, 0 ± 0.052" in "\n".join(shown)
