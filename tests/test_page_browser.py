"""The page in a real browser: Debian's Chromium, driven by playwright, judged by axe-core."""

import base64
import json
from functools import cache
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from conftest import FEW_DRAWS

from yieldest import load
from yieldest.economics.cash_flow import Prices, cash_flow
from yieldest.model.chain import measures_of, money_of
from yieldest.model.scenarios import follow, scenarios_of

TURN = """([key, position]) => {
  const input = document.querySelector(`#slider-${key}`);
  input.value = position;
  input.dispatchEvent(new Event("input", { bubbles: true }));
}"""
SHOWN = """() => Object.fromEntries([...document.querySelectorAll("#builds tbody tr")].map((row) =>
  [row.dataset.key, [...row.querySelectorAll("td")].map((cell) => [...cell.children].map(
    (one) => one.dataset.value ?? null))]))"""
ANSWER = """() => ["#verdict", "#builds", "#live"].map(
  (one) => document.querySelector(one).innerHTML)"""
SAME_FONT = """() => document.fonts.ready.then(() => ["400", "700"].every(
  (weight) => document.fonts.check(`${weight} 16px Same`)))"""
PRINTED = """() => [...document.querySelectorAll("h1, h2, h3, p, li, table, svg, figcaption, dt")]
  .map((one) => [one.getBoundingClientRect(), one])
  .filter(([box, one]) => box.width && box.height && !one.closest("svg svg"))
  .map(([box]) => [box.left, box.top, box.right, box.bottom])"""


@pytest.fixture
def page_file(demo_report):
    return demo_report.page


@pytest.fixture
def site(demo_report):
    return demo_report.site


@pytest.fixture(scope="session")
def window(chromium):
    """Return the window for pages of one kind, opened once: that takes longer than a page does."""
    opened = {}

    def window_for(**kind):
        key = tuple(kind.items())
        if key not in opened:
            page = opened[key] = chromium.new_context(**kind).new_page()
            page.complaints, page.requests = [], []
            page.on("console", lambda message: page.complaints.append(message.text))
            page.on("pageerror", lambda error: page.complaints.append(str(error)))
            page.on("dialog", lambda dialog: page.complaints.append(dialog.message))
            page.on("dialog", lambda dialog: dialog.dismiss())
            page.on("request", lambda request: page.requests.append(request.url))
        return opened[key]

    yield window_for
    for page in opened.values():
        page.context.close()


@pytest.fixture
def opened(window):
    """Open a page anew; whatever it complains of or asks for is collected."""

    def open_page(path, width=1400, *, same_font=False, scripts=True, **media):
        page = window(bypass_csp=same_font, java_script_enabled=scripts)
        page.goto("about:blank")  # or it could be taken for the page before, loaded again
        usual = {"media": "null", "color_scheme": "light", "reduced_motion": "no-preference"}
        page.emulate_media(**{**usual, **media})
        page.set_viewport_size({"width": width, "height": 900})
        page.complaints, page.requests = [], []
        page.goto(path.as_uri())
        if same_font:
            page.add_style_tag(content=font_faces())
            assert page.evaluate(SAME_FONT)
            page.set_viewport_size({"width": width - 1, "height": 900})  # drawn anew in this font
            page.set_viewport_size({"width": width, "height": 900})
        return page

    return open_page


@cache
def font_faces():
    """Put every text in a font that matplotlib brings along, whatever the machine has.

    It is wider than most, so what has room in it has room in others.
    """
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    faces = [
        f"@font-face {{ font-family: Same; font-weight: {weight}; src: url(data:font/ttf;base64,"
        f"{base64.b64encode((folder / file).read_bytes()).decode('ascii')}) }}"
        for weight, file in ((400, "DejaVuSans.ttf"), (700, "DejaVuSans-Bold.ttf"))
    ]
    return " ".join([*faces, "* { font-family: Same !important }"])


def test_opens_quietly_and_asks_for_nothing(opened, page_file):
    page = opened(page_file)
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    assert page.complaints == []
    assert page.requests == [page_file.as_uri()]


def test_money_that_is_nothing_throughout_is_a_line_at_nothing(run, yard, opened, tmp_path):
    (yard / "bill.csv").write_text("item,quantity,unit price,scope\nsalvaged parts,1,0,per unit\n")
    (yard / "curve.csv").write_text("speed (m/s),power (W)\n3,0\n24,0\n")
    made = run("report", yard, "--set", FEW_DRAWS, "-o", tmp_path / "page.html")
    assert made.code == 0
    page = opened(tmp_path / "page.html")
    assert page.complaints == []
    drawn = page.evaluate("document.body.innerHTML.replace(/<script[^]*?<[/]script>/g, '')")
    assert 'class="zero"' in drawn
    assert "NaN" not in drawn


def test_never_scrolls_sideways(opened, page_file):
    page = opened(page_file, same_font=True)
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    too_wide = """() => [...document.querySelectorAll("body *")]
      .filter((one) => !one.closest(".skip, .gone") && one.getClientRects().length
        && (one.getBoundingClientRect().right > innerWidth + 1
          || one.getBoundingClientRect().left < -1
          || ["auto", "scroll"].includes(getComputedStyle(one).overflowX)))
      .map((one) => one.outerHTML.slice(0, 120))"""
    for width in (360, 1400):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.scrollingElement.scrollWidth") <= width
        assert page.evaluate(too_wide) == [], width


def test_axe_finds_no_violation(opened, page_file, site):
    axe = pytest.importorskip("axe_core_python", reason="axe-core-python is not installed")
    width, scheme = {"hill-yard": (360, "dark"), "town-roof": (1400, "light")}[site.name]
    page = opened(page_file, width=width, color_scheme=scheme)
    # Every chart's numbers are tables of the same make, and axe needs long: one is enough.
    page.locator("details").first.evaluate("(one) => { one.open = true; }")
    page.evaluate((Path(axe.__file__).parent / "axe.min.js").read_text(encoding="utf-8"))
    # Every rule is run; of what passes a rule one element is enough, for naming all takes longer.
    found = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")
    assert [(v["id"], [n["html"] for n in v["nodes"]]) for v in found["violations"]] == []
    checked = {rule["id"] for rule in found["passes"]}
    assert {"color-contrast", "label", "svg-img-alt", "heading-order"} <= checked


def test_page_takes_the_colours_of_the_reader(opened, page_file):
    page = opened(page_file)
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        lightness = page.evaluate(
            "getComputedStyle(document.body).backgroundColor.match(/\\d+/g).map(Number)"
        )
        assert (sum(lightness) > 3 * 128) == (scheme == "light")


def test_closed_the_page_is_short_and_its_first_view_holds_the_answer(opened, page_file):
    page = opened(page_file, width=390, same_font=True)
    assert page.evaluate("document.documentElement.scrollHeight") <= 10000
    page.set_viewport_size({"width": 1280, "height": 900})
    assert page.evaluate("document.documentElement.scrollHeight") <= 6000
    for part in ("#verdict", "#builds", "#live svg", "#sliders"):
        box = page.locator(part).bounding_box()
        assert box["y"] >= 0, part
        assert box["y"] + box["height"] <= 800, part


def data_of(page):
    return json.loads(page.locator("#data").text_content())


def turn_at_random(page, data, draw):
    """Put every slider somewhere; return the place of each, those of a build by its number."""
    places = {}
    for slider in data["sliders"]:
        if not slider["own"]:
            places[slider["key"]] = int(draw.integers(len(slider["stops"])))
            page.evaluate(TURN, [slider["key"], places[slider["key"]]])
    for number, build in enumerate(data["builds"]):
        page.locator("input[name=build]").nth(number).check()
        for key, stops in build["stops"].items():
            places[key, number] = int(draw.integers(len(stops)))
            page.evaluate(TURN, [key, places[key, number]])
    return places


def test_the_sums_of_the_script_are_those_of_the_package(opened, page_file, site):
    """Figures, 90 % ranges and the probability that it pays, for random settings."""
    page, estimate = opened(page_file), load(site).estimate()
    data, draw = data_of(page), np.random.default_rng(7)
    stops = {one["key"]: one.get("stops") for one in data["sliders"]}
    here = next(one for one in data["sliders"] if one["key"] == "wind")["stated"]
    checked = 0
    for _ in range(6):
        places = turn_at_random(page, data, draw)
        shown = page.evaluate(SHOWN)
        value = {key: stops[key][place] for key, place in places.items() if isinstance(key, str)}
        terms = estimate.terms.model_copy(
            update={
                "price_per_kwh": value["price"],
                "self_consumption_share": value["used"],
                "wage_per_hour": value["wage"],
                "life_years": value["life"],
                "discount_rate": value["rate"],
            }
        )
        for number, build in enumerate(data["builds"]):
            height, count = places["height", number], places["count", number]
            kwh = build["kwh"][places["wind"]][height][count]
            drawn = {key: np.array(each) for key, each in build["draws"].items()}
            one, usual = (
                follow(
                    drawn[f"{name}_year"],
                    np.array(build[f"{name}_quantiles"][here][build["stated"]["height"]]),
                    np.array(build[f"{name}_quantiles"][places["wind"]][height]),
                )
                for name in ("one", "usual")
            )
            lives = np.maximum(1, np.floor(value["life"] * drawn["life"] + 0.5))
            longest = terms.model_copy(update={"life_years": int(max(lives.max(), value["life"]))})
            bill = estimate.builds[number].bill
            paid = bill.expenditure(int(build["stops"]["count"][count]), longest)

            def cases(
                kwh_per_year,
                life,
                price,
                rate,
                scale,
                upkeep,
                paid=paid,
                longest=longest,
                value=value,
            ):
                stated = estimate.terms
                prices = Prices(
                    price_per_kwh=longest.price_per_kwh * price,
                    export_price_per_kwh=stated.export_price_per_kwh
                    * (longest.price_per_kwh / stated.price_per_kwh)
                    * price,
                    discount_rate=longest.discount_rate + rate,
                    life_years=life,
                    bill_scale=value["bill"] * scale,
                    maintenance_scale=upkeep,
                )
                return measures_of(cash_flow(paid, kwh_per_year, longest, prices), longest, prices)

            central = cases(kwh, float(value["life"]), 1.0, 0.0, 1.0, 1.0)
            central["net_kwh_per_year"] = kwh
            central["capital_cost"] = value["bill"] * paid.capital_cost
            many = cases(
                kwh * usual,
                lives,
                *(drawn[k] for k in ("price", "discount_rate", "bill", "upkeep")),
            )
            many["net_kwh_per_year"] = kwh * one
            for key, cells in shown.items():
                found, ends = cells[number]
                if key in central:
                    assert_same(found, central[key], key)
                    checked += 1
                if ends is not None:
                    values = np.sort(many[key])
                    values[np.isnan(values)] = np.inf
                    with np.errstate(invalid="ignore"):
                        true = np.quantile(values, [0.05, 0.95])
                    for end, wanted in zip(ends.split(" "), true, strict=True):
                        assert_same(end, wanted, key)
                        checked += 1
            pays = float((many["net_present_value"] >= 0).mean())
            assert float(shown["chance"][number][0]) == pytest.approx(pays, abs=1e-9)
    assert checked > 100


def assert_same(shown, true, key):
    if np.isfinite(true):
        assert float(shown) == pytest.approx(float(true), rel=1e-9, abs=1e-9), key
    else:
        assert shown == "", key


def test_a_slider_moves_verdict_table_and_chart_and_all_go_back(opened, page_file):
    page = opened(page_file, width=1280)
    before, table = page.evaluate(ANSWER), page.locator("#builds").inner_text()
    at_first = page.locator("#sliders").bounding_box()["y"]
    for key in ("wind", "height", "count", "price", "used", "wage", "life", "rate", "bill"):
        slider = page.locator(f"#slider-{key}")
        at = int(slider.input_value())
        page.evaluate(TURN, [key, at - 1 if at else at + 1])
        after = page.evaluate(ANSWER)
        assert all(one != other for one, other in zip(before, after, strict=True)), key
        against = page.locator("#builds tr[data-key^=cost_per_] th").last.inner_text()
        assert (against in table) == (key != "price"), "the price in the table is the one set"
        named = page.locator(f".slider[data-key={key}] span").inner_text()
        assert named in page.locator("#lead").inner_text()
        assert page.locator("#sliders").bounding_box()["y"] == at_first, "it does not run away"
        page.click("#back")
        again = page.evaluate(ANSWER)
        assert (again[0], again[2]) == (before[0], before[2]), key
        assert page.locator("#builds").inner_text() == table, key


LAYOUT = """() => ["#builds", "#live svg", "#sliders", "#pointers"].map((one) => {
  const { x, y, width, height } = document.querySelector(one).getBoundingClientRect();
  return [x, y + scrollY, width, height].map((part) => Math.round(part * 4) / 4);
})"""


@pytest.mark.parametrize("width", [1280, 390])
def test_nothing_is_shifted_by_a_slider_at_its_ends(opened, page_file, width):
    page = opened(page_file, width=width)
    before, answer = page.evaluate(LAYOUT), page.evaluate(ANSWER)
    lasts = {key: one.get_attribute("max") for key, one in sliders_on(page).items()}
    for key, last in lasts.items():
        for end in ("0", last):
            page.evaluate(TURN, [key, end])
            assert page.evaluate(LAYOUT) == before, (key, end)
        page.click("#back")
    # All that makes it dear, and all that makes it pay.
    for dear in (True, False):
        for key, last in lasts.items():
            page.evaluate(TURN, [key, last if dear == (key in {"bill", "wage", "rate"}) else "0"])
        assert page.evaluate(LAYOUT) == before, dear
    assert page.evaluate(ANSWER) != answer


def sliders_on(page):
    """Return the input of each slider by its key."""
    keys = page.locator(".slider").evaluate_all("(all) => all.map((one) => one.dataset.key)")
    return {key: page.locator(f"#slider-{key}") for key in keys}


ONLY_ENERGY = {"wind", "height", "count"}


@pytest.mark.parametrize(
    ("spoilt", "draws", "sliders"),
    [
        ("the bills", 512, ONLY_ENERGY),
        ("the price", 512, ONLY_ENERGY | {"life", "rate", "bill"}),
        ("the second build", 512, None),
        ("nothing", 0, None),
    ],
)
def test_sliders_do_without_what_is_not_known(opened, run, yard, tmp_path, spoilt, draws, sliders):
    plan, path = yard / "plan.toml", tmp_path / "page.html"
    text = plan.read_text("utf-8")
    second = text[text.index("# To compare with another build") : text.index("[economics]")]
    without = {
        "the bills": text.replace('bill = "bill.csv"', ""),
        "the price": text.replace("\nprice_per_kwh", "\n# price_per_kwh"),
        "the second build": text.replace(second, ""),
        "nothing": text,
    }[spoilt]
    assert (without == text) == (spoilt == "nothing")
    plan.write_text(without, "utf-8")
    made = run("report", yard, "-o", path, "--set", f"uncertainty.draws={draws}")
    assert (made.code, made.err) == (0, "")
    page = opened(path, width=1280)
    found = page.locator(".slider").evaluate_all("(all) => all.map((one) => one.dataset.key)")
    assert len(found) == 9 if sliders is None else set(found) == sliders
    before, verdict = page.locator("#builds").inner_text(), page.locator("#verdict").inner_text()
    for key in found:
        page.evaluate(TURN, [key, 1])
        assert page.locator("#verdict").inner_text() != verdict
        told = page.locator("main").inner_text()
        assert not [word for word in ("NaN", "undefined", "null", "Infinity") if word in told]
        page.click("#back")
    page.evaluate(TURN, ["wind", 0])
    assert page.locator("#builds").inner_text() != before
    page.click("#back")
    assert page.locator("#builds").inner_text() == before
    assert page.locator("#live").is_visible() == (spoilt not in {"the bills", "the price"})
    assert page.locator("fieldset").is_visible() == (spoilt != "the second build")
    assert page.complaints == []


def test_against_a_load_profile_the_share_used_follows_the_energy(opened, run, yard, tmp_path):
    with (yard / "plan.toml").open("a", encoding="utf-8") as stream:
        stream.write("export_price_per_kwh = 0.08\n\n[demand]\nkwh_per_year = 900\n")
    path = tmp_path / "page.html"
    assert run("report", yard, "-o", path, "--set", "uncertainty.draws=512").code == 0
    page, estimate = opened(path), load(yard).estimate()
    assert "used" not in sliders_on(page)
    places = turn_at_random(page, data_of(page), np.random.default_rng(3))
    value = {
        one["key"]: one["stops"][places[one["key"]]]
        for one in data_of(page)["sliders"]
        if not one["own"]
    }
    shown = page.evaluate(SHOWN)
    for number, build in enumerate(estimate.builds):
        of = scenarios_of(estimate, number)
        stop = (places["wind"], places["height", number], places["count", number])
        terms = build.terms.model_copy(
            update={
                "price_per_kwh": value["price"],
                "export_price_per_kwh": build.terms.export_price_per_kwh * value["price"] / 0.3,
                "self_consumption_share": of.used_share[stop],
                "wage_per_hour": value["wage"],
                "life_years": int(value["life"]),
                "discount_rate": value["rate"],
            }
        )
        paid = build.bill.expenditure(int(of.counts[stop[2]]), terms)
        prices = Prices(bill_scale=value["bill"])
        true = money_of(paid, of.net_kwh[stop], terms, prices)
        true["self_consumption_share"] = of.used_share[stop]
        for key in ("self_consumption_share", "cost_per_used_kwh", "net_present_value"):
            assert_same(shown[key][number][0], true[key], key)
    assert page.complaints == []


def test_sliders_answer_to_the_keyboard_and_speak(opened, page_file):
    page = opened(page_file)
    slider = page.locator("#slider-wind")
    before = page.evaluate(SHOWN)["net_kwh_per_year"][0][0]
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "slider-wind":
            break
    page.keyboard.press("ArrowRight")
    after = page.evaluate(SHOWN)["net_kwh_per_year"][0][0]
    assert float(after) > float(before)
    said = slider.get_attribute("aria-valuetext")
    assert said == page.locator(".slider[data-key=wind] output").text_content() != ""
    page.locator("#spoken", has_text="“").wait_for(state="attached")


def test_without_scripts_the_page_says_the_same(opened, page_file):
    page = opened(page_file, scripts=False)
    assert page.complaints == []
    assert not page.locator("#sliders").is_visible()
    assert page.locator("#verdict").is_visible()
    assert page.locator("#builds").is_visible()
    assert page.locator("#cash-flow svg.chart").is_visible()


def assert_few_sheets(page):
    for form in ("A4", "Letter"):
        printed = page.pdf(format=form)
        assert printed.startswith(b"%PDF")
        assert 3 <= printed.count(b"/Type /Page\n") <= 8, form


def test_prints_on_few_pages(opened, page_file):
    assert_few_sheets(opened(page_file, color_scheme="dark", same_font=True))


def test_the_page_of_every_other_demo_site_fits_screen_and_paper(opened, other_page):
    page = opened(other_page, width=1280)
    box = page.locator("#sliders").bounding_box()
    assert box["y"] + box["height"] <= 800
    assert page.evaluate("document.documentElement.scrollHeight") <= 6000
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.evaluate("document.documentElement.scrollHeight") <= 10000
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert_few_sheets(page)
    assert page.complaints == []


def test_on_paper_nothing_overlaps_and_no_chart_is_split(opened, page_file):
    # A4 within its margins is so wide.
    page = opened(page_file, width=690, color_scheme="dark", same_font=True)
    page.emulate_media(media="print")
    assert not page.locator("#sliders").is_visible()
    background = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert min(map(int, background.strip("rgb()").split(","))) > 200, "paper is light"
    assert page.locator("details:visible").count() == 0
    header = page.locator("header").inner_text()
    assert "plan.toml" in header
    assert page.evaluate("new Date().getFullYear().toString()") in header
    boxes = np.array(page.evaluate(PRINTED))
    assert len(boxes) > 40
    for i, (left, top, right, bottom) in enumerate(boxes):
        others = boxes[i + 1 :]
        wide = np.minimum(right, others[:, 2]) - np.maximum(left, others[:, 0])
        tall = np.minimum(bottom, others[:, 3]) - np.maximum(top, others[:, 1])
        assert not ((wide > 2) & (tall > 2)).any(), (left, top, right, bottom)
    for figure in page.locator("figure:visible").all():
        assert figure.evaluate("(one) => getComputedStyle(one).breakInside") == "avoid"
        assert figure.bounding_box()["height"] < 900


def test_nothing_moves_for_who_wants_no_motion(opened, page_file):
    page = opened(page_file, reduced_motion="reduce")
    assert page.evaluate("getComputedStyle(document.documentElement).scrollBehavior") == "auto"
    moving = """() => [...document.querySelectorAll("*")].filter((one) => {
      const style = getComputedStyle(one);
      return style.animationName !== "none" || parseFloat(style.transitionDuration) > 0;
    }).length"""
    assert page.evaluate(moving) == 0


def test_on_a_phone_a_table_names_builds_by_their_letters(opened, page_file):
    page = opened(page_file, width=390)
    heads = page.locator("#builds td").evaluate_all(
        "(cells) => cells.map((one) => one.dataset.head).filter(Boolean)"
    )
    assert set(heads) == {"A", "B"}


def test_hostile_names_do_nothing_in_a_browser(opened, hostile_report, hostile):
    page = opened(hostile_report.page, width=360)
    page.locator("input[name=build]").nth(1).check()
    page.evaluate(TURN, ["wind", 1])
    assert page.complaints == []
    assert page.requests == [hostile_report.page.as_uri()]
    assert hostile["first"] in page.locator("#builds").text_content()
    assert page.evaluate("document.scrollingElement.scrollWidth") <= 360
