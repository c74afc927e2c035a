"""Speeds in mph and heights in ft for who reads them so; what programs read stays SI."""

import re
from pathlib import Path

import pytest
from pytest import approx

import yieldest as yd
from yieldest.report.sentences.words import sentence
from yieldest.units import FOOT_M, SPEED_FACTORS, length, number, shown_in, speed
from yieldest.wind.profile import AboveSurfaceLayer

SITES = Path(__file__).parents[1] / "demo-sites"
BARN, HILL = SITES / "sheep-barn", SITES / "hill-yard"


def test_miles_and_feet_are_exact():
    """1 mile = 1609.344 m and 1 ft = 0.3048 m exactly (NIST Special Publication 811, app. B.6)."""
    assert SPEED_FACTORS["mph"] == approx(1609.344 / 3600, rel=1e-15)
    assert approx(1609.344, rel=1e-15) == 5280 * FOOT_M
    with shown_in("imperial"):
        assert speed(44.704, ".1f") == "100.0 mph"
        assert length(30.48) == "100 ft" and length(12) == "39.4 ft"
        assert number(0.44704, "m/s", ".2f") == "1.00"
    assert (speed(5.25, ".2f"), length(12), length(9.4)) == ("5.25 m/s", "12 m", "9.4 m")


def test_a_sentence_follows_the_reader_and_is_metric_again_afterwards():
    high = AboveSurfaceLayer(150)
    with shown_in("imperial"):
        assert "492 ft is above the lowest 328 ft" in sentence(high)
    assert "150 m is above the lowest 100 m" in sentence(high)


@pytest.mark.parametrize("how", ["--units", "the plan"])
def test_screens_show_mph_and_feet(run, yard, edit, how):
    options = ["--units", "imperial"] if how == "--units" else []
    if how == "the plan":
        edit(yard / "plan.toml", 'currency = "EUR"', 'units = "imperial"\ncurrency = "EUR"')
    shown = run("estimate", yard, "--draws", 0, "--full", *options)
    assert (shown.code, shown.err) == (0, "")
    height = next(line for line in shown.out.splitlines() if line.startswith("hub height"))
    assert "39.4" in height and height.endswith("ft")
    mean = next(line for line in shown.out.splitlines() if line.startswith("mean wind at the hub"))
    assert mean.endswith("mph")
    build = yd.load(yard).estimate().builds[0]
    expected = build.distribution.mean_speed_ms / 0.44704
    assert float(mean.split()[5]) == approx(expected, abs=0.05)
    assert re.search(r"^Wind: mean [\d.]+ mph at 32.8 ft", shown.out, re.MULTILINE)
    assert "From the mast to the hub, in mph" in shown.out
    checked = run("check", yard, *options).out
    assert re.search(r"power\s+from\s+[\d.]+\s+to\s+40.3\s+mph", checked)


def test_json_and_files_stay_si(run, yard, tmp_path):
    metric, imperial = tmp_path / "m.csv", tmp_path / "i.csv"
    first = run("estimate", yard, "--draws", 512, "--json", "-o", metric)
    second = run("estimate", yard, "--draws", 512, "--json", "-o", imperial, "--units", "imperial")
    assert first.json == second.json
    assert metric.read_bytes() == imperial.read_bytes()


def test_the_page_turns_its_sliders_and_words(run, tmp_path):
    page = tmp_path / "page.html"
    done = run("report", BARN, "-o", page, "--set", "uncertainty.draws=0", "--units", "imperial")
    assert (done.code, done.err) == (0, "")
    text = page.read_text(encoding="utf-8")
    assert '"said":"{} mph"' in text and '"said":"{} ft"' in text
    assert '"said":"{} m/s"' not in text
    assert "wind at 26.2 ft" in text
    assert re.search(r"The mean wind is 9\.\d\d mph at 26\.2 ft", text)


def test_other_units_are_refused(run, yard):
    done = run("estimate", yard, "--set", "units=nautical")
    assert done.code == 2
    assert '\'units\' is "nautical", but one of "metric", "imperial" was expected' in done.err
    assert run("estimate", yard, "--units", "nautical").code == 2


def test_a_notebook_shows_the_plans_units(yard, edit):
    metric = yd.load(yard).estimate()._repr_html_()
    edit(yard / "plan.toml", 'currency = "EUR"', 'units = "imperial"\ncurrency = "EUR"')
    imperial = yd.load(yard).estimate()._repr_html_()
    assert "(m/s)" in metric and "(mph)" in imperial and "(m/s)" not in imperial


def test_a_record_and_readings_are_shown_so_but_read_in_their_own_units(run, tmp_path):
    record = tmp_path / "log.csv"
    rows = [f"2025-{m:02d}-{d:02d} {h:02d}:00,{5 + (h + d) % 9}" for m in range(1, 13)
            for d in range(1, 29) for h in range(24)]  # fmt: skip
    record.write_text("time,anemo\n" + "\n".join(rows), encoding="utf-8")
    options = ("--column", "speed=anemo", "--speed-units", "mph", "--units")
    shown = run("wind", record, *options, "imperial")
    assert (shown.code, shown.err) == (0, "")
    assert re.search(r"Mean (8\.99|9\.0\d) mph where it was measured", shown.out)
    assert "m/s" in run("wind", record, *options, "metric").out
    refused = run("wind", record, "--units", "mph")
    assert refused.code == 2 and "--units" in refused.err
    readings = HILL / "readings-0.9m.csv"
    curve = run("curve", readings, "--rotor-diameter", 0.9, "--units", "imperial").out
    # 5 m/s is a line of the metric screen: 5 / 0.44704 = 11.2 mph.
    assert "In a mean wind of 11.2 mph at the hub" in curve


@pytest.mark.parametrize("site", sorted(path.parent.name for path in SITES.glob("*/plan.toml")))
def test_no_metric_figure_is_left_on_a_screen(run, site):
    """What people wrote themselves (names, parts, headings in quotes) stays as it is."""
    folder = SITES / site
    theirs = [
        path.read_text(encoding="utf-8") for path in (*folder.glob("*.toml"), *folder.glob("*.csv"))
    ]
    written = set(re.findall(r"[\d.]+ m\b", "\n".join(theirs)))
    exact = [run("estimate", folder, "--draws", 0, "--json", "--units", system).out
             for system in ("metric", "imperial")]  # fmt: skip
    assert exact[0] == exact[1]
    screens = [run("estimate", folder, "--draws", 0, "--full", "--units", "imperial")]
    screens += [
        run(command, path, "--full", "--units", "imperial", *options)
        for command, pattern, options in (
            ("wind", "wind.csv*", ()),
            ("curve", "readings*.csv", ("--rotor-diameter", 1.2)),
        )
        for path in folder.glob(pattern)
    ]
    for screen in screens:
        assert (screen.code, screen.err) == (0, "")
        assert "mph" in screen.out
        text = re.sub(r"“[^”]*”|(?<!\w)'[^']*'", "", re.sub(r"\s+", " ", screen.out))
        text = re.sub(r"\bin m/s|unit of speed:? m/s|column of speed wind speed \(m/s\)", "", text)
        assert "m/s" not in text, text[max(0, text.find("m/s") - 60) :][:120]
        assert set(re.findall(r"[\d.]+ m\b", text)) <= written
