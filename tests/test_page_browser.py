"""The page in a real browser: Debian's Chromium, driven by playwright, judged by axe-core."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

WIDTHS = (360, 1400)
SET_KNOB = """([key, position]) => {
  const input = document.querySelector(`.slider[data-key=${key}] input`);
  input.value = position;
  input.dispatchEvent(new Event("input", { bubbles: true }));
  return Number(input.value);
}"""
OUTCOMES = """() => Object.fromEntries([...document.querySelectorAll("#outcome tr[data-key]")]
  .filter((row) => !row.hidden)
  .map((row) => [row.dataset.key, row.querySelectorAll("td > span")[1].dataset.value]))"""


@pytest.fixture
def page_file(demo_report):
    return demo_report.page


@pytest.fixture
def site(demo_report):
    return demo_report.site


@pytest.fixture
def opened(chromium):
    """Open a page; whatever it complains of or asks for is collected."""
    contexts = []

    def open_page(path, width=1400, **options):
        context = chromium.new_context(viewport={"width": width, "height": 900}, **options)
        contexts.append(context)
        page = context.new_page()
        page.complaints, page.requests = [], []
        page.on("console", lambda message: page.complaints.append(message.text))
        page.on("pageerror", lambda error: page.complaints.append(str(error)))
        page.on("request", lambda request: page.requests.append(request.url))
        page.goto(path.as_uri())
        return page

    yield open_page
    for context in contexts:
        context.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_opens_quietly_asks_for_nothing_and_never_scrolls_sideways(opened, page_file, width):
    page = opened(page_file, width=width)
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    assert page.complaints == []
    assert page.requests == [page_file.as_uri()]
    assert page.evaluate("document.scrollingElement.scrollWidth") <= width
    too_wide = """() => [...document.querySelectorAll("body *")]
      .filter((one) => !one.closest(".skip") && one.getClientRects().length
        && (one.getBoundingClientRect().right > innerWidth + 1
          || one.getBoundingClientRect().left < -1
          || ["auto", "scroll"].includes(getComputedStyle(one).overflowX)))
      .map((one) => one.outerHTML.slice(0, 120))"""
    assert page.evaluate(too_wide) == []


@pytest.mark.parametrize(
    ("demo_report", "width", "scheme"),
    [("hill-yard", 360, "dark"), ("town-roof", 1400, "light")],
    indirect=["demo_report"],
)
def test_axe_finds_no_violation(opened, page_file, width, scheme):
    axe = pytest.importorskip("axe_core_python", reason="axe-core-python is not installed")
    page = opened(page_file, width=width, color_scheme=scheme)
    # Every chart's numbers are tables of the same make, and axe needs long: one is enough.
    page.locator("details").first.evaluate("(one) => { one.open = true; }")
    page.evaluate((Path(axe.__file__).parent / "axe.min.js").read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document)")
    assert [(v["id"], [n["html"] for n in v["nodes"]]) for v in found["violations"]] == []
    checked = {rule["id"] for rule in found["passes"]}
    assert {"color-contrast", "label", "svg-img-alt", "heading-order"} <= checked


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_page_takes_the_colours_of_the_reader(opened, page_file, scheme):
    page = opened(page_file, color_scheme=scheme)
    lightness = page.evaluate(
        "getComputedStyle(document.body).backgroundColor.match(/\\d+/g).map(Number)"
    )
    assert (sum(lightness) > 3 * 128) == (scheme == "light")


def sliders_of(page):
    return json.loads(page.locator("#grids").text_content())


def test_sliders_give_what_the_package_gives_at_grid_points(opened, page_file, site, run, tmp_path):
    page = opened(page_file)
    grids = sliders_of(page)
    plan = (site / "plan.toml").read_text(encoding="utf-8")
    base = run("estimate", site, "--draws", 0, "--json").json
    for number, grid in enumerate(grids):
        page.locator("input[name=build]").nth(number).check()
        assert_shown(page, base["builds"][number])
        axes = {axis["key"]: axis for axis in grid["axes"]}
        stated = axes["count"]["stated"]
        for height, count, price, rate in ((0, stated, 0, 0), (-1, -1, -1, -1), (2, stated, 4, 5)):
            chosen = {
                "hub_height_m": height, "count": count, "price_per_kwh": price,
                "discount_rate": rate,
            }  # fmt: skip
            values = {}
            for key, wanted in chosen.items():
                place = wanted % len(axes[key]["values"])
                values[key] = axes[key]["values"][place]
                parts = 1 if key == "count" else 20
                assert page.evaluate(SET_KNOB, [key, place * parts]) == place * parts
            other = shutil.copytree(site, tmp_path / f"{number}{height}")
            (other / "plan.toml").write_text(changed(plan, number, base, values), encoding="utf-8")
            assert_shown(
                page, run("estimate", other, "--draws", 0, "--json").json["builds"][number]
            )
        page.click("#back")
        assert_shown(page, base["builds"][number])


def changed(plan, number, base, values):
    """Write other values into a build and the money terms of a plan."""
    head, *builds = plan.split("[[build]]")
    build, money = builds[number], ""
    if number == len(builds) - 1:
        build, money = build.split("[economics]")
    stated = base["builds"][number]
    build = build.replace(f"count = {stated['count']}\n", "")
    build = build.replace(
        f"hub_height_m = {stated['hub_height_m']:g}\n",
        f"hub_height_m = {float(values['hub_height_m'])}\ncount = {int(values['count'])}\n",
    )
    builds[number] = build + (f"[economics]{money}" if money else "")
    text = "[[build]]".join([head, *builds])
    lines = [
        line
        for line in text.splitlines()
        if not line.startswith(("discount_rate", "price_per_kwh"))
    ]
    return "\n".join(lines).replace(
        "[economics]",
        f"[economics]\ndiscount_rate = {float(values['discount_rate'])}\n"
        f"price_per_kwh = {values['price_per_kwh']}",
    )


def assert_shown(page, build):
    shown = page.evaluate(OUTCOMES)
    assert set(shown) >= {"net_kwh_per_year", "cost_per_kwh", "payback_years"}
    for key, value in shown.items():
        if build[key] is None:
            assert value == "", key
        else:
            assert float(value) == pytest.approx(build[key], rel=2e-6), key


def test_sliders_join_grid_points_by_straight_lines(opened, page_file):
    page = opened(page_file)
    grid = sliders_of(page)[0]
    axes = {axis["key"]: axis for axis in grid["axes"]}
    point = {}
    for key, position in {"hub_height_m": 47, "discount_rate": 33, "bill_scale": 71}.items():
        assert page.evaluate(SET_KNOB, [key, position]) == position
        values = axes[key]["values"]
        point[key] = np.interp(position / 20, np.arange(len(values)), values)
    shown = page.evaluate(OUTCOMES)
    for surface in grid["surfaces"]:
        values = np.array(surface["values"], dtype=float).reshape(surface["shape"])
        lines = [axes[key]["values"] for key in surface["over"]]
        stated = {key: axis["values"][axis["stated"]] for key, axis in axes.items()} | point
        expected = RegularGridInterpolator(lines, values)([stated[k] for k in surface["over"]])[0]
        if np.isfinite(expected):
            assert float(shown[surface["key"]]) == pytest.approx(expected, rel=1e-9)


def test_sliders_answer_to_the_keyboard_and_speak(opened, page_file):
    page = opened(page_file)
    slider = page.locator(".slider[data-key=count] input")
    before = page.evaluate(OUTCOMES)["net_kwh_per_year"]
    slider.focus()
    page.keyboard.press("ArrowRight")
    after = page.evaluate(OUTCOMES)["net_kwh_per_year"]
    assert float(after) > float(before)
    said = slider.get_attribute("aria-valuetext")
    assert said == page.locator(".slider[data-key=count] output").text_content() != ""
    page.locator("#spoken", has_text="net energy").wait_for(state="attached")


def test_without_scripts_the_page_says_the_same_in_tables(opened, page_file):
    page = opened(page_file, java_script_enabled=False)
    assert page.complaints == []
    assert not page.locator("#sliders").is_visible()
    tables = page.locator("section#otherwise table:visible")
    assert tables.count() == 2
    assert "discount rate 0 % a year" in tables.first.text_content()
    assert page.locator("svg.chart").first.is_visible()


def test_prints_to_pdf_with_the_numbers_of_the_charts(opened, page_file, tmp_path):
    page = opened(page_file, color_scheme="dark")
    printed = page.pdf(path=tmp_path / "page.pdf", format="A4")
    assert printed.startswith(b"%PDF")
    assert printed.count(b"/Type /Page\n") >= 3
    page.emulate_media(media="print")
    assert not page.locator("#sliders").is_visible()
    background = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert min(map(int, background.strip("rgb()").split(","))) > 200, "paper is light"


def test_hostile_names_do_nothing_in_a_browser(opened, hostile_report, hostile):
    page = opened(hostile_report.page, width=360)
    page.on("dialog", lambda dialog: page.complaints.append(dialog.message))
    page.locator("input[name=build]").nth(1).check()
    assert page.complaints == []
    assert page.requests == [hostile_report.page.as_uri()]
    assert hostile["first"] in page.locator("section#builds").text_content()
    assert page.evaluate("document.scrollingElement.scrollWidth") <= 360
