"""The figures: files, units, words, and colours that everybody can tell apart."""

import csv
import itertools
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from yieldest.report.decision import decide
from yieldest.report.palette import BUILD_STYLES, CALM_TO_STRONG, PALETTE
from yieldest.report.write_report import charts_of

WITHOUT_UNIT = re.compile(r"number of machines|hour of day|^$")
UNIT = re.compile(
    r"\((m/s|W|kW|kWh|%|m|€|€/kWh|kWh/year|€, today's money|years?)\)|years after building"
)

# Machado, Oliveira & Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291-1298, table of
# severity 1.0, from memory; each row adds up to 1 (grey stays grey), which is tested below.
COLOUR_BLIND = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}


def linear(colour):
    """Undo the sRGB transfer function, IEC 61966-2-1."""
    value = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def luminance(colour):
    return float(linear(colour) @ [0.2126, 0.7152, 0.0722])


def contrast(one, other):
    """Contrast ratio of WCAG 2.2."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def lab(rgb):
    """CIE L*a*b* of linear sRGB, white D65."""
    xyz = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    ) @ np.clip(rgb, 0, 1)
    x, y, z = np.cbrt(xyz / [0.9505, 1.0, 1.089])
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def seen_distance(one, other, matrix):
    return float(np.linalg.norm(lab(matrix @ linear(one)) - lab(matrix @ linear(other))))


def test_the_reference_formulas_hold_what_their_sources_say():
    # WCAG 2.2: black on white is 21 to 1; #767676 on white is the well-known 4.54.
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    for matrix in COLOUR_BLIND.values():
        assert np.sum(matrix, axis=1) == pytest.approx(1, abs=2e-6)


@pytest.mark.parametrize("side", [0, 1], ids=["light", "dark"])
def test_text_and_lines_stand_out_from_the_paper(side):
    shown = {name: pair[side] for name, pair in PALETTE.items()}
    for background in ("paper", "sheet"):
        for name in ("ink", "muted", "blue", "orange", "green", "purple", "ochre"):
            # AA asks 4.5 for text; lines would need only 3.
            assert contrast(shown[name], shown[background]) >= 4.5, (name, background)


@pytest.mark.parametrize("kind", ["all colours", *COLOUR_BLIND])
@pytest.mark.parametrize("side", [0, 1], ids=["light", "dark"])
def test_builds_can_be_told_apart_by_colour_or_by_line_alone(kind, side):
    matrix = np.array(COLOUR_BLIND.get(kind, np.eye(3)))
    colours = [PALETTE[style.colour][side] for style in BUILD_STYLES]
    near = [
        (a, b)
        for a, b in itertools.combinations(range(len(colours)), 2)
        if seen_distance(colours[a], colours[b], matrix) < 12
    ]
    assert not [pair for pair in near if max(pair) < 4], "the first four by colour"
    assert len({(style.line, style.marker) for style in BUILD_STYLES}) == len(BUILD_STYLES)
    assert len({style.letter for style in BUILD_STYLES}) == len(BUILD_STYLES)


def test_the_steps_of_the_speed_map_darken_all_the_way():
    steps = [luminance(colour) for colour in CALM_TO_STRONG]
    assert all(a > b * 1.1 for a, b in itertools.pairwise(steps))


@pytest.fixture(scope="module")
def charts(demo_scenarios):
    _, *made = demo_scenarios
    numbers = decide(*made[:2]).by_number
    return [chart for some in charts_of(*made, numbers).values() for chart in some]


def test_every_axis_has_its_unit(charts):
    for chart in charts:
        for axes in chart.figure(titled=False).axes:
            labels = [axes.get_xlabel(), axes.get_ylabel()]
            assert any(labels), chart.name
            for label in labels:
                assert UNIT.search(label) or WITHOUT_UNIT.search(label), (chart.name, label)
        for heading in chart.numbers:
            if not all(isinstance(v, str) for v in chart.numbers[heading]):
                assert re.search(r"\(.+\)|year|machines|hour", heading), (
                    chart.name,
                    heading,
                )


def test_figures_are_written_as_pictures_and_numbers(demo_report):
    folder = demo_report.figures
    names = sorted({path.stem for path in folder.iterdir()})
    assert len(names) >= 6
    for name in names:
        assert (folder / f"{name}.png").read_bytes().startswith(b"\x89PNG\r\n")
        assert (folder / f"{name}.pdf").read_bytes().startswith(b"%PDF")
        root = ElementTree.fromstring((folder / f"{name}.svg").read_bytes())
        assert root.tag.endswith("svg")
        assert any(element.tag.endswith("text") for element in root.iter()), "text stays text"
        with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
            rows = list(csv.reader(stream))
        assert len({len(row) for row in rows}) == 1
        assert len(rows) > 2
    assert len(list(folder.iterdir())) == 4 * len(names)


def test_figures_are_listed_and_keep_what_else_is_in_their_folder(run, yard, tmp_path):
    folder, page = tmp_path / "figures", tmp_path / "page.html"
    folder.mkdir()
    (folder / "mine.txt").write_text("mine")
    (folder / "wind-speeds.png").write_text("old")
    made = run(
        "report", yard, "--set", "uncertainty.draws=512", "-o", page, "--figures", folder, "--json"
    )
    assert made.code == 0
    assert (folder / "mine.txt").read_text() == "mine"
    assert (folder / "wind-speeds.png").read_bytes().startswith(b"\x89PNG")
    assert not [path for path in folder.iterdir() if path.name.startswith(".")]
    first, *others = made.json["written"]
    assert first == str(page)
    assert sorted(others) == sorted(str(p) for p in folder.iterdir() if p.name != "mine.txt")


def rows_of(folder, name):
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_what_is_lost_and_what_is_left_add_up(run, demo_report):
    steps = rows_of(demo_report.figures, "energy-steps")
    builds = run("estimate", demo_report.site, "--draws", 0, "--json").json["builds"]
    for letter, build in zip("AB", builds, strict=True):
        shares = [float(step[f"{letter} (%)"]) for step in steps]
        # What the converters draw while idle is no step of its own.
        assert sum(shares) <= 100 + 1e-9
        if not build["idle_draw_kwh_per_year"]:
            assert sum(shares) == pytest.approx(100)
        assert shares[0] == pytest.approx(100 * (1 - 16 / 27))  # Betz 1920


def test_months_and_winds_add_up_to_the_net_energy(run, demo_report):
    months = rows_of(demo_report.figures, "energy-months")
    curves = rows_of(demo_report.figures, "power-curves")
    builds = run("estimate", demo_report.site, "--draws", 0, "--json").json["builds"]
    for letter, build in zip("AB", builds, strict=True):
        net = build["net_kwh_per_year"]
        by_speed = [float(row[f"{letter} energy (kWh/year)"]) for row in curves]
        assert sum(by_speed) == pytest.approx(net)
        assert sum(float(row[f"{letter} (kWh)"]) for row in months) == pytest.approx(net)


def test_a_few_builds_can_be_told_apart_in_grey():
    assert len({style.hatch for style in BUILD_STYLES}) == len(BUILD_STYLES)
    assert len({style.dashes for style in BUILD_STYLES}) == len(BUILD_STYLES)


def beyond_the_ends(axes):
    """The labels of ticks that lie beyond the ends of their axis, which nobody sees."""
    for axis in (axes.xaxis, axes.yaxis):
        low, high = sorted(axis.get_view_interval())
        for tick in axis.get_major_ticks():
            if not low <= tick.get_loc() <= high:
                yield from (tick.label1, tick.label2)


def test_no_text_is_cut_off_overlapped_or_struck_through(charts):
    for chart in charts:
        figure = chart.figure(titled=False)
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        renderer = canvas.get_renderer()
        axes = [one for one in figure.axes if one.name != "polar"]
        not_drawn = [label for one in axes for label in beyond_the_ends(one)]
        boxes = [
            (text.get_text(), text.get_window_extent(renderer))
            for text in figure.findobj(Text)
            if text.get_visible() and text.get_text().strip() and text not in not_drawn
        ]
        assert len(boxes) > 3
        for text, box in boxes:
            assert box.x0 >= -1, (chart.name, text)
            assert box.y0 >= -1, (chart.name, text)
            assert box.x1 <= figure.bbox.x1 + 1, (chart.name, text)
            assert box.y1 <= figure.bbox.y1 + 1, (chart.name, text)
        for (one, box), (other, beside) in itertools.combinations(boxes, 2):
            shared = Bbox.intersection(box, beside)
            crossing = shared is not None and shared.width > 2 and shared.height > 2
            assert not crossing or one == other, (chart.name, one, other)
        for one in axes:
            lines = [*one.lines, *one.get_xgridlines(), *one.get_ygridlines()]
            for line in (each for each in lines if each.get_visible()):
                path = line.get_transform().transform_path(line.get_path())
                for text in one.texts:
                    # Paper behind a text keeps off what is drawn before it.
                    if text.get_bbox_patch() is None or line.get_zorder() >= text.get_zorder():
                        box = text.get_window_extent(renderer)
                        assert not path.intersects_bbox(box, filled=False), (chart.name, text)


def test_the_parts_of_a_kwh_add_up_to_its_cost(run, demo_report):
    *parts, whole = rows_of(demo_report.figures, "cost-of-a-kwh")
    builds = run("estimate", demo_report.site, "--draws", 0, "--json").json["builds"]
    for letter, build in zip("AB", builds, strict=True):
        key = f"{letter} (€/kWh)"
        assert float(whole[key]) == pytest.approx(build["cost_per_kwh"])
        assert sum(float(part[key]) for part in parts) == pytest.approx(build["cost_per_kwh"])
        assert all(float(part[key]) >= 0 for part in parts)
