"""A screen is a screen: records, curves and plans of every kind, in several widths and units."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from conftest import DEMO_SITES, SITES

from yieldest.model.estimate import estimate as compute
from yieldest.model.inputs import read
from yieldest.plan import load_plan
from yieldest.plan.overrides import read_override
from yieldest.report import terminal
from yieldest.report.estimate_text import print_estimate
from yieldest.units import shown_in

MOST_LINES = 40
MOST_LINES_OF_AN_ESTIMATE = {80: 60, 100: 45}
IMPERIAL = ("--units", "imperial")


@pytest.fixture(params=[80, 100])
def width(request, monkeypatch):
    """How wide the screen is."""
    monkeypatch.setattr(terminal, "PLAIN_WIDTH", request.param)
    return request.param


def one_screen(ran, width, most=MOST_LINES):
    """Return the lines of a run, no more than a screen holds and none wider than it is."""
    assert ran.code == 0, ran.err
    return one_screen_of(ran.out, width, most)


def one_screen_of(text, width, most):
    lines = text.splitlines()
    assert max(map(len, lines)) <= width
    assert len(lines) <= most, "\n".join(lines)
    return lines


def record(hours=24 * 365, step_minutes=10, seed=4):
    """Return stamps and speeds of an invented record."""
    size = hours * 60 // step_minutes
    times = np.datetime64("2024-01-15T00:00") + np.arange(size) * np.timedelta64(step_minutes, "m")
    random = np.random.default_rng(seed)
    slow = np.repeat(random.weibull(2, size // 36 + 1), 36)[:size]
    return times, np.round(5 * slow + random.normal(0, 0.4, size).clip(-2, 2), 1).clip(0)


def table(heading, *columns):
    rows = zip(*(np.char.replace(np.asarray(each).astype(str), "T", " ") for each in columns),
               strict=True)  # fmt: skip
    return "\n".join([heading, *map(",".join, rows)]) + "\n"


@cache
def plain(**how):
    return table("time,wind speed (m/s)", *record(**how))


@cache
def faulty():
    """Return a record with every kind of fault a logger makes, and with directions and gusts."""
    times, speeds = record()
    cells = speeds.astype("U8")
    cells[100:2000] = "3.3"
    cells[5000:5050] = "-999"
    cells[7000:7004] = "88"
    cells[9000:9400] = ""
    cells[12000:12010] = "n/a"
    cells[20000:26000] = "0.0"
    degrees = np.round((200 + 30 * np.sin(np.arange(speeds.size))) % 360)
    gusts = speeds + np.round(0.6 + speeds / 5, 1)
    gusts[15000:15020] = 0.1
    kept = np.r_[0:3000, 3200:40000, 39000:39020, 41000 : speeds.size]
    return table(
        "time,wind speed (m/s),wind direction (deg),gust (m/s),standard deviation (m/s)",
        times[kept], cells[kept], degrees[kept], np.round(gusts, 1)[kept],
        np.round(0.1 * speeds, 2)[kept],
    )  # fmt: skip


@cache
def airfield():
    """Return four hourly years, the last of which go with the faulty record's."""
    times = np.datetime64("2021-01-15T00:00") + np.arange(24 * 365 * 4) * np.timedelta64(1, "h")
    of_year = record()[1].reshape(-1, 6).mean(axis=1)
    at_start = np.flatnonzero(times == record()[0][0])[0]
    speeds = np.round(1.2 * np.roll(np.resize(of_year, times.size), at_start % of_year.size), 1)
    return table("time,wind speed (m/s)", times, speeds)


def hourly_years():
    return plain(hours=24 * 365 * 3, step_minutes=60)


def three_hourly():
    return plain(hours=24 * 500, step_minutes=180)


@cache
def without_summer():
    times, speeds = record()
    kept = (times < np.datetime64("2024-05-01")) | (times > np.datetime64("2024-10-01"))
    return table("time,wind speed (m/s)", times[kept], speeds[kept])


def frequencies():
    centres = np.arange(0.5, 26)
    return table(
        "wind speed (m/s),hours", centres, np.round(9000 * np.exp(-((centres / 6) ** 2)), 1)
    )


def months():
    names = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
    return table("month,wind speed (m/s)", np.array(names), 4 + np.arange(12) / 10)


RECORDS = {
    "a year": (plain, ()),
    "a day": (lambda: plain(hours=24), ()),
    "three weeks": (lambda: plain(hours=24 * 21), ()),
    "faults": (faulty, ()),
    "faults, in means of an hour": (faulty, ("--average", "3600", "--fit", "empirical")),
    "hourly": (hourly_years, ()),
    "every three hours": (three_hourly, ()),
    "no summer": (without_summer, ()),
    "frequencies": (frequencies, ("--table",)),
    "months": (months, ("--months",)),
}


@pytest.mark.parametrize("units", [(), IMPERIAL], ids=["metric", "imperial"])
@pytest.mark.parametrize("kind", RECORDS)
def test_a_record_is_one_screen(run, tmp_path, monkeypatch, width, kind, units):
    monkeypatch.chdir(tmp_path)
    written, more = RECORDS[kind]
    path = Path("a record with a long name, of a mast on the hill behind the mill.csv")
    path.write_text(written(), encoding="utf-8")
    one_screen(run("wind", path, *more, *units), width)


RECORDS_OF_SITES = [
    *((f"{site}/wind.csv.gz", ()) for site in SITES if site != "river-plain"),
    ("fishing-quay/wind.csv.gz", ("--reference", "fishing-quay/harbour.csv.gz")),
    ("fishing-quay/harbour.csv.gz", ()),
    ("river-plain/classes.csv", ("--table",)),
]


@pytest.mark.parametrize(("name", "more"), RECORDS_OF_SITES)
def test_a_record_of_a_demo_site_is_one_screen(run, monkeypatch, width, name, more):
    monkeypatch.chdir(DEMO_SITES)
    for units in ((), IMPERIAL):
        one_screen(run("wind", name, *more, *units), width)


@cache
def readings(size=4000, top_ms=14.0, glance=False):
    random = np.random.default_rng(7)
    times = np.datetime64("2025-10-18T11:00") + np.arange(size) * np.timedelta64(60, "s")
    speeds = np.round(random.uniform(0, top_ms, size), 1)
    watts = np.round((0.3 * speeds**3).clip(0, 350) * random.normal(1, 0.1, size), 1)
    if glance:
        return table("wind (m/s),power (W)", speeds, watts)
    return table("time,wind (m/s),power (W),rpm", times, speeds, watts, np.round(speeds * 60))


CURVES = {
    "much": (readings, ("--rotor-diameter", "1.2", "--rotor-type", "lift")),
    "few": (lambda: readings(size=40), ()),
    "slow": (lambda: readings(top_ms=5.0), ("--rotor-diameter", "1.2")),
    "no times": (lambda: readings(size=300, glance=True), ("--load", "battery")),
    "cube law": (
        lambda: readings(top_ms=9.0),
        ("--extrapolation", "cube law", "--rated-power", "350", "--cut-out", "20"),
    ),
    "to 30 m/s": (lambda: readings(size=20000, top_ms=30.0), ("--elevation", "1800")),
}


@pytest.mark.parametrize("units", [(), IMPERIAL], ids=["metric", "imperial"])
@pytest.mark.parametrize("kind", CURVES)
def test_a_curve_is_one_screen(run, tmp_path, monkeypatch, width, kind, units):
    monkeypatch.chdir(tmp_path)
    written, more = CURVES[kind]
    path = Path("readings of the small machine beside the barn, winter.csv")
    path.write_text(written(), encoding="utf-8")
    one_screen(run("curve", path, *more, *units), width)


@pytest.mark.parametrize("more", [(), ("--average", "3600"), ("--fit", "empirical")])
def test_a_record_of_many_faults_with_a_reference_is_one_screen(
    run, tmp_path, monkeypatch, width, more
):
    monkeypatch.chdir(tmp_path)
    Path("mast.csv").write_text(faulty(), encoding="utf-8")
    Path("the airfield behind the hill.csv").write_text(airfield(), encoding="utf-8")
    asked = "wind", "mast.csv", "--reference", "the airfield behind the hill.csv", *more
    for units in ((), IMPERIAL):
        lines = one_screen(run(*asked, *units), width)
        assert any(line.startswith("Long term?") for line in lines)


READINGS_OF_SITES = [
    ("hill-yard/readings-0.9m.csv", ()),
    ("hill-yard/readings-0.9m.csv", ("--rotor-diameter", "0.9")),
    (
        "hill-yard/readings-0.9m.csv",
        ("--rotor-diameter", "0.9", "--generator-test", "hill-yard/generator-0.9m.csv"),
    ),
    ("hill-yard/readings-0.9m.csv", ("--rotor-diameter", "0.9", "--elevation", "420")),
    ("ridge-hut/readings.csv", ("--rotor-diameter", "1.2", "--elevation", "1500")),
    *((str(each.relative_to(DEMO_SITES)), ()) for each in sorted(DEMO_SITES.glob("*/curve-*"))),
]  # fmt: skip


@pytest.mark.parametrize(("name", "more"), READINGS_OF_SITES)
def test_readings_of_a_demo_site_are_one_screen(run, monkeypatch, width, name, more):
    monkeypatch.chdir(DEMO_SITES)
    for units in ((), IMPERIAL):
        one_screen(run("curve", name, *more, *units), width)


ODD_PLANS = {
    "as it is": (),
    "no years": ("economics.life_years=1",),
    "free power": ("economics.price_per_kwh=0.0001",),
    "dear power": ("economics.price_per_kwh=3",),
    "paid work": ("economics.wage_per_hour=60",),
    "high discount": ("economics.discount_rate=0.25",),
    "on a peak": ("site.elevation_m=2900", "site.mean_temperature_c=-8"),
    "mostly sold": ("economics.self_consumption_share=0.1", "economics.export_price_per_kwh=0.05"),
    "very high": ("build.0.hub_height_m=60",),
}
"""What is changed in a plan, from the ordinary to the absurd."""


@pytest.fixture(scope="module", params=SITES)
def site_as_it_is(request):
    """Each demo site, read once for all that is changed in its plan."""
    return read(load_plan(DEMO_SITES / request.param))


@pytest.mark.parametrize("kind", ODD_PLANS)
def test_an_estimate_is_one_screen(capsys, monkeypatch, site_as_it_is, kind):
    changes, site = ODD_PLANS[kind], site_as_it_is.plan.path
    if site.parent.name == "sheep-barn":  # It has two places.
        changes = [each.replace("site.", "site.0.") for each in changes]
    plan = load_plan(site, [read_override(change) for change in changes])
    estimate = compute(read(plan, like=site_as_it_is))
    uncertainty = estimate.uncertainty(512)
    for width, most in MOST_LINES_OF_AN_ESTIMATE.items():
        monkeypatch.setattr(terminal, "PLAIN_WIDTH", width)
        for units in ("metric", "imperial") if kind == "as it is" else ("metric",):
            with shown_in(units):
                print_estimate(estimate, terminal.console(), uncertainty)
            one_screen_of(capsys.readouterr().out, width, most)
