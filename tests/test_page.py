"""The page as a file: what it holds, what it must not hold, and that it is whole or not there."""

import base64
import hashlib
import itertools
import json
import re
import tomllib
from html.parser import HTMLParser

import pytest

from yieldest.report.palette import PALETTE
from yieldest.units import raised

FEW = ("--set", "uncertainty.draws=512")
"""As few draws as there may be, so that a test need not wait."""
VOID = {"meta", "link", "input", "br", "hr", "img"}


class Page(HTMLParser):
    """A page as elements in document order, each with its attributes and its own text."""

    def __init__(self, path):
        super().__init__(convert_charrefs=True)
        self.elements, self._open = [], []
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag, attrs):
        element = {"tag": tag, "text": "", "inside": [e["tag"] for e in self._open], **dict(attrs)}
        self.elements.append(element)
        if tag not in VOID:
            self._open.append(element)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self._open.pop()

    def handle_endtag(self, tag):
        assert self._open.pop()["tag"] == tag

    def handle_data(self, data):
        for element in self._open:
            element["text"] += data

    def all(self, *tags):
        return [element for element in self.elements if element["tag"] in tags]

    def text(self):
        return " ".join(self.all("body")[0]["text"].split())


@pytest.fixture(scope="module")
def page(demo_report):
    return Page(demo_report.page)


def test_page_needs_nothing_from_outside(page):
    for element in page.elements:
        for name, value in element.items():
            assert not name.startswith("on"), element
            assert name != "style", element
            if name in {"href", "src", "srcset", "data", "action", "poster", "xlink:href"}:
                assert value.startswith("#") or value == "data:,", element
    style = page.all("style")[0]["text"]
    assert "@import" not in style
    assert all(target.startswith("#") for target in re.findall(r"url\(([^)]*)\)", style))


def test_policy_allows_this_style_and_this_script_and_nothing_else(page):
    metas = page.all("meta")
    policy = next(m["content"] for m in metas if m.get("http-equiv") == "Content-Security-Policy")
    rules = {rule.split()[0]: rule.split()[1:] for rule in policy.split(";")}
    assert rules["default-src"] == rules["base-uri"] == rules["form-action"] == ["'none'"]
    assert rules["img-src"] == ["data:"]
    assert "unsafe" not in policy
    (style,) = page.all("style")
    (script,) = (one for one in page.all("script") if "type" not in one)
    for rule, text in (("style-src", style["text"]), ("script-src", script["text"])):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert rules[rule] == [f"'sha256-{digest}'"]
    # The policy comes first: what stands before it would not be under it.
    assert metas.index(next(m for m in metas if "http-equiv" in m)) <= 1


def test_headings_are_in_order_and_no_id_is_used_twice(page):
    levels = [int(element["tag"][1]) for element in page.all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))
    ids = [element["id"] for element in page.elements if "id" in element]
    assert len(ids) == len(set(ids))
    style = page.all("style")[0]["text"]
    wanted = re.findall(r"url\(#([^)]*)\)", style) + [
        match
        for element in page.elements
        for name, value in element.items()
        if name in {"href", "clip-path", "for", "aria-labelledby"}
        for match in re.findall(r"^(?:url\()?#?([\w-]+)\)?$", value)
    ]
    assert set(wanted) <= set(ids)
    assert len(wanted) > 50


def test_tables_have_captions_and_every_head_a_scope(page):
    tables, captions = page.all("table"), page.all("caption")
    assert len(tables) == len(captions) > 8
    assert all(caption["text"].strip() for caption in captions)
    assert all(head["scope"] in {"row", "col"} for head in page.all("th"))
    for cell in page.all("td"):
        if "thead" not in cell["inside"]:
            assert cell["data-head"].strip(), "a folded table says what each cell is"


def test_no_chart_keeps_a_colour_of_light_paper_in_the_dark(page):
    light = {pair[0] for pair in PALETTE.values()}
    for element in page.elements:
        assert not light & {element.get("fill"), element.get("stroke")}, element
    rules = re.findall(r"^\.g\d+\{(.*)\}$", page.all("style")[0]["text"], re.MULTILINE)
    assert len(rules) > 20
    assert not [rule for rule in rules if any(colour in rule for colour in light)]


def test_each_chart_says_its_message_in_words(page):
    charts = [svg for svg in page.all("svg") if svg["role"] == "img"]
    assert len(charts) == len(page.all("figure")) == len(page.all("svg")) >= 6
    for chart in charts:
        assert re.search(r"\d", chart["aria-label"]), "the message has its figures"
        assert chart["aria-label"].endswith(".")
    assert len({chart["aria-label"] for chart in charts}) == len(charts)


def test_sections_are_in_the_order_a_reader_asks(page):
    ids = [section["id"] for section in page.all("section")]
    first, detailed = ids[:2], ids[2:]
    assert first == ["answer", "pointers"]
    assert detailed == ["energy", "wind", "machine", "money", "uncertainty", "care"]
    links = [a["href"] for a in page.all("a") if "nav" in a["inside"]]
    assert links == [f"#{one}" for one in detailed]


def test_page_shows_the_figures_of_the_estimate(run, demo_report, page):
    demo_site = demo_report.site
    result = run("estimate", demo_site, "--json").json
    text = page.text()
    for sentence in (*result["assumed"], *result["warnings"]):
        told = raised(sentence.split(": ", 1)[-1].replace(f"{demo_site}/", ""))
        assert " ".join(told.split()) in text
    for build in result["builds"]:
        assert build["name"] in text
        two_digits = float(format(build["net_kwh_per_year"], ".2g"))
        assert f"{two_digits:,.0f}" in text


def test_negative_numbers_bear_a_minus_and_no_hyphen(page):
    texts = [one["text"] for one in page.all("p", "td", "dd", "li", "text")]
    assert any("\N{MINUS SIGN}" in text for text in texts)
    assert [text for text in texts if re.search(r"(^|[ (])-[^\s\w]?\d", text)] == []


def test_rows_of_folded_tables_name_what_they_belong_to(page):
    heads = [one["text"] for one in page.all("th") if one["scope"] == "row"]
    assert all(head.strip() and not head.startswith(",") for head in heads)
    assert sum(head.endswith("to hub height") for head in heads) >= 1
    assert sum(head.endswith("(chosen)") for head in heads) == 1, "one fit is the one used"


def test_whole_numbers_of_a_chart_have_no_decimals(page):
    cells = [one["text"] for one in page.all("td") if one.get("data-head") == "speed to (m/s)"]
    assert cells == [str(number + 1) for number in range(len(cells))]
    assert len(cells) > 5


def test_page_says_how_to_get_it_again_and_hides_where_the_plan_lies(page, demo_report):
    demo_site = demo_report.site
    text = page.text()
    plan = json.dumps(tomllib.loads((demo_site / "plan.toml").read_text(encoding="utf-8")))
    named = [path for path in demo_site.iterdir() if f'"{path.name}"' in plan]
    assert len(named) >= 3
    for path in (demo_site / "plan.toml", *named):
        assert hashlib.sha256(path.read_bytes()).hexdigest() in text
        assert path.name in text
    assert str(demo_site.parent) not in text
    assert "yieldest report plan.toml -o page.html --set uncertainty.draws=512" in text
    assert "512 draws with the seed" in text


def test_page_is_the_same_every_time(run, yard, tmp_path):
    first, second = tmp_path / "1.html", tmp_path / "2.html"
    for path in (first, second):
        assert run("report", yard, *FEW, "-o", path).code == 0
    assert first.read_bytes() == second.read_bytes()
    assert len(first.read_bytes()) < 3e6


def test_hostile_names_stay_text(hostile_report, hostile):
    page = Page(hostile_report.page)
    assert len(page.all("script")) == 2
    assert len(page.all("style")) == len(page.all("title")) == 1
    assert not page.all("img", "b", "iframe", "object")
    assert not [e for e in page.elements if any(name.startswith("on") for name in e)]
    assert len(page.all("svg")) == len(page.all("figure"))
    text = page.text()
    for name in ("first", "second", "file"):
        assert hostile[name] in text
    assert '</title></script><script>alert("title")</script>\ufffd & "quoted"' in text
    assert "\u202e" not in text
    for path in hostile_report.figures.glob("*.csv"):
        for line in path.read_text(encoding="utf-8").splitlines():
            assert not re.match(r"\"?[=+@\t]", line), line


def test_data_cannot_end_its_script_element(hostile_report):
    data = next(s for s in Page(hostile_report.page).all("script") if "type" in s)
    assert data["type"] == "application/json"
    assert not set("<>&") & set(data["text"])
    assert len(json.loads(data["text"])["builds"]) == 2


@pytest.mark.parametrize(
    ("file", "old", "new", "gone"),
    [
        (
            "plan.toml",
            "price_per_kwh = 0.30 ",
            "# price_per_kwh = 0.30 ",
            "The money over the years",
        ),
        ("plan.toml", 'record = "wind.csv"', "mean_speed_ms = 5.0", "From where the wind"),
    ],
)
def test_page_does_without_what_is_not_known(run, yard, edit, tmp_path, file, old, new, gone):
    edit(yard / file, old, new)
    made = run("report", yard, *FEW, "-o", tmp_path / "page.html")
    assert (made.code, made.err) == (0, "")
    text = Page(tmp_path / "page.html").text()
    assert gone not in text
    assert "NaN" not in text
    assert "nan" not in re.findall(r"[a-z]+", text.lower())


def test_without_a_record_the_energy_is_drawn_by_wind_speed(run, yard, edit, tmp_path):
    edit(yard / "plan.toml", 'record = "wind.csv"', "mean_speed_ms = 5.0")
    text = (yard / "plan.toml").read_text("utf-8")
    second = text[text.index("# To compare with another build") : text.index("[economics]")]
    (yard / "plan.toml").write_text(text.replace(second, ""), "utf-8")
    run("report", yard, *FEW, "-o", tmp_path / "page.html")
    page = (tmp_path / "page.html").read_text("utf-8")
    energy = page[page.index('<section id="energy"') : page.index('<section id="wind"')]
    assert 'figure id="power-curves"' in energy
    assert energy.count("<figure") == 2
    # The only build has its name in every sentence, and no letter.
    shown = Page(tmp_path / "page.html").text()
    assert "“one machine” costs" in shown
    assert not re.search(r"\bof A\b|\bA: |\bA \(", shown)


def test_page_of_builds_without_a_bill(run, yard, tmp_path):
    plan = yard / "plan.toml"
    plan.write_text(plan.read_text("utf-8").replace('bill = "bill.csv"', ""), "utf-8")
    assert run("report", yard, *FEW, "-o", tmp_path / "page.html").code == 0
    text = Page(tmp_path / "page.html").text()
    assert "Nothing can be said about the money" in text
    assert "What a kWh costs, by the number" not in text


def test_page_of_more_builds_than_figures_show(run, yard, tmp_path):
    plan = yard / "plan.toml"
    text = plan.read_text("utf-8")
    build = text[text.index("[[build]]") : text.index("# To compare with another build")]
    more = "".join(build.replace("one machine", f"machine {n}") for n in range(7))
    plan.write_text(text.replace("[economics]", f"{more}\n[economics]"), "utf-8")
    assert run("report", yard, *FEW, "-o", tmp_path / "page.html").code == 0
    page = Page(tmp_path / "page.html")
    assert len([i for i in page.all("input") if i["type"] == "radio"]) == 6
    assert any("machine 6" in table["text"] for table in page.all("table"))
    assert "The first 6 builds are drawn; 3 more" in page.text()
    assert (tmp_path / "page.html").stat().st_size < 3e6


@pytest.mark.parametrize(
    ("output", "named"),
    [
        ("nowhere/page.html", "nowhere"),
        (".", "folder"),
        ("yard/plan.toml", "plan.toml"),
        ("yard/bill.csv", "bill.csv"),
    ],
)
def test_a_page_that_cannot_be_written_is_refused_and_nothing_changes(
    run, yard, tmp_path, output, named
):
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    refused = run("report", yard, *FEW, "-o", tmp_path / output)
    assert refused.code == 2
    assert refused.out == ""
    assert len(refused.err.strip().splitlines()) == 1
    assert named in refused.err
    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == before


def test_a_bad_plan_leaves_the_old_page_alone(run, yard, edit, tmp_path):
    page = tmp_path / "page.html"
    page.write_text("the old one")
    edit(yard / "curve.csv", "6,88", "6,much")
    refused = run("report", yard, *FEW, "-o", page)
    assert refused.code == 2
    assert "'much'" in refused.err
    assert page.read_text() == "the old one"
