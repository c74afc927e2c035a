"""What becomes of the energy hour by hour: used, stored, sold, dumped."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as of_numpy

from yieldest import load
from yieldest.energy.demand import (
    ShortProfile,
    StandardShape,
    read_load_profile,
    standard_profile,
)
from yieldest.energy.self_consumption import (
    Battery,
    HouseByUtc,
    ProfileBeyondRecord,
    dispatch,
    hourly,
)
from yieldest.errors import InputError
from yieldest.model.break_even import break_even

kwh = st.floats(0, 20)
batteries = st.none() | st.builds(
    Battery,
    capacity_kwh=st.floats(0, 30),
    power_kw=st.none() | st.floats(0.1, 10),
    efficiency=st.floats(0.2, 1),
)
limits = st.none() | st.floats(0, 5)


@given(
    of_numpy.arrays(float, 30, elements=kwh),
    of_numpy.arrays(float, 30, elements=kwh),
    batteries,
    limits,
)
def test_no_energy_comes_from_nowhere_or_is_lost_unseen(made, demand, battery, limit):
    found = dispatch(made, demand, battery, export_limit_kw=limit)
    parts = (found.used_directly, found.into_battery, found.sold, found.dumped)
    np.testing.assert_allclose(sum(parts), made, atol=1e-9)
    drawn = found.used_directly + found.from_battery + found.missing
    np.testing.assert_allclose(drawn, demand, atol=1e-9)
    for each in vars(found).values():
        assert (each >= 0).all()
    if battery is None:
        assert not found.stored.any()
        return
    # What went in comes out, is still there, or was lost each way.
    each_way = np.sqrt(battery.efficiency)
    into, out = found.into_battery.sum(), found.from_battery.sum()
    assert into * each_way - out / each_way == pytest.approx(found.stored[-1], abs=1e-6)
    assert (found.stored <= battery.capacity_kwh + 1e-12).all()
    if battery.power_kw is not None:
        assert (found.into_battery <= battery.power_kw + 1e-9).all()
        assert (found.from_battery <= battery.power_kw + 1e-9).all()
    if limit is not None:
        assert (found.sold <= limit).all()


@given(
    of_numpy.arrays(float, 40, elements=kwh), of_numpy.arrays(float, 40, elements=kwh), batteries
)
def test_it_is_what_a_plain_reckoning_by_hand_gives(made, demand, battery):
    """Written out anew as a charge controller would decide, an hour after the other."""
    content, used, sold = 0.0, 0.0, 0.0
    for here, wanted in zip(made, demand, strict=True):
        at_once = min(here, wanted)
        used += at_once
        over, short = here - at_once, wanted - at_once
        if battery is not None:
            way = battery.efficiency**0.5
            power = float("inf") if battery.power_kw is None else battery.power_kw
            charge = min(over, power, (battery.capacity_kwh - content) / way)
            content += charge * way
            over -= charge
            given_back = min(short, power, content * way)
            content -= given_back / way
            used += given_back
        sold += over
    found = dispatch(made, demand, battery)
    assert found.used_directly.sum() + found.from_battery.sum() == pytest.approx(used, abs=1e-6)
    assert found.sold.sum() == pytest.approx(sold, abs=1e-6)


def test_many_machines_are_reckoned_at_once():
    made = np.random.default_rng(1).uniform(0, 2, (200, 3))
    demand = np.full(200, 0.7)
    battery = Battery(capacity_kwh=2, power_kw=0.5)
    together = dispatch(made, demand, battery)
    for each in range(3):
        alone = dispatch(made[:, each], demand, battery)
        np.testing.assert_allclose(together.from_battery[:, each], alone.from_battery)


def test_a_lossless_store_without_bounds_wastes_nothing():
    made = np.array([4.0, 0, 0, 1, 0, 3])
    demand = np.full(6, 1.0)
    found = dispatch(made, demand, Battery(capacity_kwh=100, efficiency=1))
    assert found.used_directly.sum() + found.from_battery.sum() == pytest.approx(6)
    assert found.stored[-1] == pytest.approx(8 - 6)
    assert not found.sold.any()


def test_the_standard_shape_comes_to_its_year():
    profile = standard_profile(3000)
    hours = np.datetime64("2023-01-01") + np.arange(8760) * np.timedelta64(1, "h")
    drawn = profile.at(hours)
    assert drawn.sum() == pytest.approx(3000)
    assert drawn[19] > 4 * drawn[3]
    assert drawn[:744].sum() > 1.3 * drawn[4344:5088].sum()  # January and July


@pytest.mark.parametrize("hours", [1, 3])
def test_readings_are_brought_to_hours(hours):
    step = np.timedelta64(10 if hours == 1 else 180, "m")
    time = np.datetime64("2025-03-01") + np.arange(12) * step
    of, mean, weight = hourly(time, np.arange(12.0), np.ones(12))
    assert np.unique(np.diff(of)) == np.timedelta64(1, "h")
    expected = [2.5, 8.5] if hours == 1 else np.repeat(np.arange(12.0), 3)
    np.testing.assert_allclose(mean, expected)
    assert (weight == 1).all()


@pytest.fixture
def meter(tmp_path):
    """A file as a meter's web page gives it."""

    def write(heading, values, step="h", times=True):
        count = len(values)
        start = np.datetime64("2024-01-01T00:00")
        stamps = start + np.arange(count) * np.timedelta64(60 if step == "h" else 15, "m")
        lines = [
            f"{str(stamp).replace('T', ' ')};{value}" if times else str(value)
            for stamp, value in zip(stamps, values, strict=True)
        ]
        path = tmp_path / "meter.csv"
        path.write_text("\n".join([f"Date and time;{heading}" if times else heading, *lines]))
        return path

    return write


def test_a_metered_year_is_read_by_quarter_hours(meter):
    profile = read_load_profile(
        meter("Consumption (kWh)", ["0,1", "0,2", "0,3", "0,4"] * 8784, "q")
    )
    assert profile.drawn_kw[0, 0, 0] == pytest.approx(1.0)
    assert profile.provenance.warnings == ()
    in_watts = read_load_profile(meter("Power (W)", [100, 200, 300, 400] * 8784, "q"))
    assert in_watts.drawn_kw[5, 3, 7] == pytest.approx(0.25)


def test_a_year_without_times_and_a_week_with_them(meter):
    whole = read_load_profile(meter("load (kWh)", np.arange(8760) % 24 / 10, times=False))
    assert whole.drawn_kw[6, 30, 5] == pytest.approx(0.5)
    week = read_load_profile(meter("load (kWh)", np.arange(168) % 24 / 10))
    assert week.drawn_kw[6, 30, 5] == pytest.approx(0.5)
    assert {type(found) for found in week.provenance.warnings} == {ShortProfile}


@pytest.mark.parametrize(
    ("heading", "values", "said"),
    [
        ("load", [1] * 48, "does not say the unit"),
        ("load (kWh)", [1, -1] * 24, "below zero"),
        ("load (kWh)", [1, 5000] * 24, "beyond any house"),
        ("load (kWh)", [1] * 5, "every hour of the day"),
        ("price", [1] * 48, "recognised as the load"),
    ],
)
def test_a_bad_load_profile_is_one_sentence(meter, heading, values, said):
    with pytest.raises(InputError, match=said):
        read_load_profile(meter(heading, values))


def estimate_of(yard, text):
    plan = (yard / "plan.toml").read_text(encoding="utf-8")
    (yard / "plan.toml").write_text(f"{plan}\n{text}\n", encoding="utf-8")
    return load(yard).estimate()


def test_the_share_of_a_plan_is_worked_out_and_feeds_the_money(run, yard, edit):
    edit(yard / "plan.toml", "# export_price_per_kwh = 0.08", "export_price_per_kwh = 0.08")
    result = estimate_of(yard, "[demand]\nkwh_per_year = 1500\nexport_limit_kw = 0.5")
    first, second = (build.self_consumption for build in result.builds)
    assert 0 < second.used_share < first.used_share < 1
    for build in result.builds:
        found = build.self_consumption
        assert found.made_kwh == pytest.approx(build.energy.net_kwh)
        parts = found.used_directly_kwh + found.sold_kwh + found.dumped_kwh
        assert parts == pytest.approx(found.made_kwh)
        # In the first year what is used saves 0.30 a kWh, and what is sold earns 0.08.
        worth = 0.30 * found.used_directly_kwh + 0.08 * found.sold_kwh
        assert build.cost.flow.value[1] == pytest.approx(worth)
        assert {StandardShape} <= {type(each) for each in build.assumed}
        assert {ProfileBeyondRecord} <= {type(each) for each in build.warnings}
    shown = run("estimate", yard, "--draws", 0)
    assert "Share used" in shown.out
    told = run("estimate", yard, "--draws", 0, "--json").json["builds"][1]["self_consumption"]
    assert told["share"] == pytest.approx(second.used_share)


def test_at_the_break_even_wind_a_house_just_pays(yard):
    result = estimate_of(yard, "[demand]\nkwh_per_year = 600")
    build = result.builds[0]
    needed_ms = break_even(build, result.inputs).hub_mean_speed_ms
    factor = needed_ms / build.distribution.mean_speed_ms
    assert abs(factor - 1) > 0.1
    note, heading, *rows = (yard / "wind.csv").read_text(encoding="utf-8").splitlines()
    cells = [row.split(",") for row in rows]
    windier = [f"{time},{factor * float(speed_ms):.4f}" for time, speed_ms in cells]
    (yard / "wind.csv").write_text("\n".join([note, heading, *windier]), encoding="utf-8")
    then = load(yard).estimate().builds[0]
    assert then.distribution.mean_speed_ms == pytest.approx(needed_ms, rel=1e-3)
    cost = then.cost.capital_cost
    assert abs(then.cost.net_present_value) < 0.02 * cost < abs(build.cost.net_present_value)


@pytest.fixture
def by_clock(yard, edit):
    """Estimate a yard with a house whose record has been made to state its time zone somehow."""

    def estimated(stated="", clock="", hours_later=0, suffix=""):
        path = yard / "wind.csv"
        note, heading, *rows = path.read_text(encoding="utf-8").splitlines()
        cells = [row.split(",") for row in rows]
        moved = np.array([time for time, _ in cells], "M8[m]") + np.timedelta64(hours_later, "h")
        lines = [f"{time}{suffix},{speed}" for time, (_, speed) in zip(moved, cells, strict=True)]
        path.write_text("\n".join([note, heading, *lines]), encoding="utf-8")
        edit(yard / "plan.toml", "[wind]\n", f"[wind]\n{stated}\n")
        edit(yard / "plan.toml", "[site]\n", f"[site]\n{clock}\n")
        return estimate_of(yard, "[demand]\nkwh_per_year = 1500")

    return estimated


def seen(result):
    build = result.builds[0]
    return build.self_consumption.used_share, build.by_month.hour_w


@pytest.mark.parametrize(
    "stated",
    [
        {"stated": 'time_zone = "-08:00"'},
        {"hours_later": 8, "suffix": "Z", "clock": 'clock = "-08:00"'},
        {"hours_later": 8, "stated": 'time_zone = "UTC"', "clock": 'clock = "-08:00"'},
        {"hours_later": 8, "suffix": "Z", "clock": 'clock = "Etc/GMT+8"'},
    ],
)
def test_the_house_draws_by_its_own_clock(yard, by_clock, stated):
    share, day = seen(estimate_of(yard, "[demand]\nkwh_per_year = 1500"))
    plan = (yard / "plan.toml").read_text(encoding="utf-8")
    (yard / "plan.toml").write_text(plan.replace("[demand]\nkwh_per_year = 1500", ""))
    result = by_clock(**stated)
    assert seen(result)[0] == pytest.approx(share, rel=1e-12)
    np.testing.assert_allclose(seen(result)[1], day)
    assert not any(isinstance(found, HouseByUtc) for found in result.builds[0].warnings)


def test_a_record_in_utc_asks_for_the_clock_of_the_house(run, yard, by_clock):
    result = by_clock(hours_later=8, suffix="Z")
    assert any(isinstance(found, HouseByUtc) for found in result.builds[0].warnings)
    shown = run("estimate", yard, "--draws", 0, "--full").out
    assert "the house is taken to go by them; state the time zone" in " ".join(shown.split())
    assert "in UTC" in shown
    assert "by the clock" not in shown
    wind = run("wind", yard / "wind.csv", "--full").out
    assert re.search(r"(?i)over the day most wind at \d+ h UTC", " ".join(wind.split()))


def test_a_clock_that_nobody_knows_is_refused(run, yard):
    refused = run("check", yard, "--set", "site.clock=Mars/Olympus")
    assert refused.code == 2
    assert "site.clock: 'Mars/Olympus' is not a known time zone" in refused.err


def test_a_profile_with_offsets_needs_a_record_with_them(run, yard, meter, by_clock):
    path = meter("load (kWh)", [f"{0.1 + hour % 24 / 10:.1f}" for hour in range(8784)])
    in_utc = path.read_text().replace(":00;", ":00+00:00;")
    path.write_text(in_utc)
    assert read_load_profile(path).in_utc
    refused = run("estimate", yard, "--set", f"demand.profile={path}")
    assert refused.code == 2
    assert "load profile are in UTC" in refused.err
    assert "state wind.time_zone" in refused.err
    zoned = ("--set", "wind.time_zone=+00:00", "--draws", 0, "--json")
    here = run("estimate", yard, "--set", f"demand.profile={path}", *zoned).json["builds"]
    path.write_text(in_utc.replace("+00:00;", ";"))
    naive = ("--draws", 0, "--json")
    there = run("estimate", yard, "--set", f"demand.profile={path}", *naive).json["builds"]
    for one, other in zip(here, there, strict=True):
        assert one["self_consumption"]["share"] == other["self_consumption"]["share"]


def test_a_battery_raises_the_share_and_its_size_can_be_swept(run, yard):
    estimate_of(yard, "[demand]\nkwh_per_year = 1500\n[battery]\ncapacity_kwh = 3")
    swept = run("estimate", yard, "--sweep", "battery.capacity_kwh=0:6:3", "--json").json["rows"]
    shares = [row["self_consumption_share"] for row in swept if row["build"] == "two of them"]
    assert shares == sorted(shares)
    assert shares[0] < shares[-1] < 1


def test_off_grid_nothing_is_sold_and_dark_hours_are_counted(run, yard):
    result = estimate_of(
        yard, "[demand]\nkwh_per_year = 600\noff_grid = true\n[battery]\ncapacity_kwh = 4"
    )
    found = result.builds[0].self_consumption
    assert found.sold_kwh == 0
    assert found.dumped_kwh > 0
    assert 0 < found.hours_without_power < 8760
    assert 0 < found.days_without_power <= 365
    assert "Without power" in run("estimate", yard, "--draws", 0).out
    bigger = run("estimate", yard, "--set", "battery.capacity_kwh=40", "--draws", 0, "--json").json
    dark = bigger["builds"][0]["self_consumption"]["hours_without_power"]
    assert dark < found.hours_without_power


def test_the_draws_carry_the_share_along(yard):
    result = estimate_of(yard, "[demand]\nkwh_per_year = 1500")
    found = result.builds[0].self_consumption
    less, same, more = found.used_share_of(found.made_kwh * np.array([0.5, 1.0, 2.0]))
    assert more < same < less
    assert same == pytest.approx(found.used_share)
    ranges = result.uncertainty(512).builds[0].ranges["net_present_value"]
    assert ranges.low < result.builds[0].cost.net_present_value < ranges.high


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[demand]", "one of profile and kwh_per_year"),
        ("[battery]\ncapacity_kwh = 3", "battery needs demand"),
        ("[demand]\nkwh_per_year = 900\nexport_limit_kw = 1\noff_grid = true", "nothing is fed in"),
    ],
)
def test_tables_that_do_not_fit_are_refused(run, yard, text, said):
    plan = (yard / "plan.toml").read_text(encoding="utf-8")
    (yard / "plan.toml").write_text(f"{plan}\n{text}\n", encoding="utf-8")
    refused = run("check", yard)
    assert refused.code == 2
    assert said in refused.err


def test_a_share_and_a_profile_exclude_each_other(run, yard, edit):
    edit(yard / "plan.toml", "# self_consumption_share = 0.6", "self_consumption_share = 0.6")
    plan = (yard / "plan.toml").read_text(encoding="utf-8")
    (yard / "plan.toml").write_text(f"{plan}\n[demand]\nkwh_per_year = 900\n", encoding="utf-8")
    assert "exclude each other" in run("check", yard).err


def test_without_hours_there_is_nothing_to_reckon_with(run, yard, edit):
    edit(yard / "plan.toml", 'record = "wind.csv"', "mean_speed_ms = 5.0")
    plan = (yard / "plan.toml").read_text(encoding="utf-8")
    (yard / "plan.toml").write_text(f"{plan}\n[demand]\nkwh_per_year = 900\n", encoding="utf-8")
    refused = run("estimate", yard, "--draws", 0)
    assert refused.code == 2
    assert "self_consumption_share instead" in refused.err


def test_without_a_share_the_first_screen_shows_three(run, yard):
    shown = " ".join(run("estimate", yard, "--draws", 0).out.split())
    assert re.search(
        r"with 100, 50 or 30 % of its energy used by yourself the net present value of B is "
        r"-?€\S+, -?€\S+ or -?€\S+; .* \[demand\]",
        shown,
    )
