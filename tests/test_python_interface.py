"""The Python interface: records, distributions, and the way from them to an answer."""

import pickle
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import trapezoid

import yieldest as yd
from yieldest.defaults import ANEMOMETER_HEIGHT, SHEAR_EXPONENT, Assumed
from yieldest.errors import InputError
from yieldest.model.build_estimate import LowMeanWind, NoBill
from yieldest.model.estimate import estimate as estimate_of
from yieldest.model.inputs import read
from yieldest.model.site_wind import FrozenCupsNotSought
from yieldest.plan import load_plan
from yieldest.plan.overrides import Override
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.profile import HeightsFarApart
from yieldest.wind.read_wind import read_wind
from yieldest.wind.resource import ResourceOptions, assess_record
from yieldest.wind.weibull_fits import METHODS
from yieldest.wind.wind_record import WindRecord

HILL = "demo-sites/hill-yard"
HUT = "demo-sites/ridge-hut"
shapes, scales = st.floats(1.1, 4), st.floats(2, 15)
calms = st.floats(0, 0.4)


def frozen(shape, scale_ms, calm_share=0.0):
    windy = WindDistribution.weibull(shape, scale_ms, height_m=10.0)
    return WindDistribution(shape, scale_ms, calm_share, 10.0, windy.provenance)


@given(shapes, scales)
def test_without_calms_it_is_scipys_weibull(shape, scale_ms):
    ours, theirs = frozen(shape, scale_ms), stats.weibull_min(shape, scale=scale_ms)
    speed = np.linspace(0, 30, 61)
    np.testing.assert_allclose(ours.pdf(speed), theirs.pdf(speed), rtol=1e-10, atol=1e-300)
    np.testing.assert_allclose(ours.cdf(speed), theirs.cdf(speed), rtol=1e-10, atol=1e-14)
    np.testing.assert_allclose(ours.sf(speed), theirs.sf(speed), rtol=1e-9, atol=1e-300)
    share = np.linspace(0.001, 0.999, 25)
    np.testing.assert_allclose(ours.ppf(share), theirs.ppf(share), rtol=1e-10)
    assert ours.mean() == pytest.approx(theirs.mean(), rel=1e-12)
    assert ours.std() == pytest.approx(theirs.std(), rel=1e-9)
    assert ours.moment(3) == pytest.approx(theirs.moment(3), rel=1e-9)
    assert ours.power_density(1.2) == pytest.approx(0.6 * theirs.moment(3), rel=1e-9)


@given(shapes, scales, calms, st.floats(0, 1))
def test_calms_are_a_step_at_zero(shape, scale_ms, calm_share, share):
    ours = frozen(shape, scale_ms, calm_share)
    assert ours.cdf(0.0) == pytest.approx(calm_share, abs=1e-12)
    assert ours.cdf(-1e-9) == 0
    speed = float(ours.ppf(share))
    if share <= calm_share:
        assert speed == 0
    elif share < 1:
        assert ours.cdf(speed) == pytest.approx(share, abs=1e-9)
    assert np.isnan(ours.ppf(1.5))


@given(shapes, scales, calms)
def test_the_density_holds_what_is_no_calm(shape, scale_ms, calm_share):
    ours = frozen(shape, scale_ms, calm_share)
    speed = np.linspace(0, float(ours.ppf(1 - 1e-9)), 20001)
    assert trapezoid(ours.pdf(speed), speed) == pytest.approx(1 - calm_share, abs=2e-4)
    assert ours.var() >= 0


def test_random_speeds_have_the_distribution_they_are_drawn_from():
    ours = frozen(2.0, 6.0, 0.1)
    drawn = ours.rvs(20000, random_state=1)
    assert (drawn == 0).mean() == pytest.approx(0.1, abs=0.01)
    assert drawn.mean() == pytest.approx(ours.mean(), rel=0.02)
    assert ours.rvs((2, 3)).shape == (2, 3)


def test_heights_by_either_law():
    ours = frozen(2.0, 6.0)
    by_power = ours.at_height(20, shear_exponent=0.2)
    assert by_power.mean() / ours.mean() == pytest.approx(2**0.2)
    by_log = ours.at_height(20, roughness_m=0.03)
    assert by_log.mean() / ours.mean() == pytest.approx(np.log(20 / 0.03) / np.log(10 / 0.03))
    assert by_log.height_m == 20
    with pytest.raises(InputError, match="state one of"):
        ours.at_height(20, roughness_m=0.03, shear_exponent=0.2)


def test_a_record_fitted_by_hand_is_the_one_of_the_plan():
    record = read_wind(f"{HILL}/wind.csv.gz", height_m=10).quality_controlled()
    by_hand, of_plan = record.fit(), yd.load(HILL).estimate().distribution
    assert (by_hand.shape, by_hand.scale_ms) == (of_plan.shape, of_plan.scale_ms)


@pytest.mark.parametrize("method", [None, *METHODS])
@pytest.mark.parametrize("season_correction", [True, False])
def test_every_fit_by_hand_is_the_one_of_the_plan(method, season_correction):
    record = read_wind(f"{HILL}/wind.csv.gz", height_m=10).quality_controlled()
    options = ResourceOptions(season_correction=season_correction, fit=method)
    by_hand = record.fit(method, season_correction=season_correction)
    whole = read_wind(f"{HILL}/wind.csv.gz", height_m=10)
    of_plan = assess_record(whole, options).distribution(10.0)
    assert (by_hand.shape, by_hand.scale_ms, by_hand.calm_share) == (
        of_plan.shape,
        of_plan.scale_ms,
        of_plan.calm_share,
    )
    assert by_hand.provenance.method == of_plan.provenance.method


def test_the_readings_themselves_make_the_energy_of_a_wind_of_two_humps():
    """The curve at every reading, mean times 8760 h, reckoned with numpy alone."""
    hours = pd.date_range("2025-01-01", periods=8760, freq="h")
    speed = np.where(np.arange(8760) % 2, 3.0, 9.0) + 0.01 * np.random.default_rng(1).random(8760)
    record = WindRecord.from_series(pd.Series(speed, hours), height_m=10)
    with pytest.raises(InputError, match=r"time_series=SpeedSeries\.of_record"):
        record.fit("empirical")
    curve = yd.PowerCurve([3, 6, 9, 12], [0, 120, 420, 700], rotor_area_m2=4.5)
    hub = record.fit().at_height(20, shear_exponent=0.2)
    readings = yd.SpeedSeries.of_record(record, 20, season_correction=False, shear_exponent=0.2)
    year = yd.annual_energy(hub, curve, time_series=readings)
    power_w = np.interp(speed * 2**0.2, [3, 6, 9, 12], [0, 120, 420, 700])
    assert year.gross_kwh == pytest.approx(8.76 * power_w.mean(), rel=1e-9)
    assert year.from_time_series
    assert abs(yd.annual_energy(hub, curve).gross_kwh / year.gross_kwh - 1) > 0.05


def test_the_readings_at_a_hub_are_those_of_the_plan(yard):
    plan = (yard / "plan.toml").read_text("utf-8")
    (yard / "plan.toml").write_text(plan.replace("[wind]", '[wind]\nfit = "empirical"'), "utf-8")
    build = yd.load(yard).estimate().builds[0]
    record = read_wind(yard / "wind.csv", height_m=10).quality_controlled()
    readings = yd.SpeedSeries.of_record(record, build.inputs.settings.hub_height_m, terrain="open")
    year = yd.annual_energy(build.distribution, build.curve, time_series=readings)
    assert build.energy.from_time_series
    assert year.gross_kwh == pytest.approx(build.energy.gross_kwh, rel=1e-9)


def test_what_a_fit_takes_for_granted_is_noted():
    hours = pd.date_range("2025-03-01", periods=500, freq="h")
    record = WindRecord.from_series(pd.Series(frozen(2.0, 6.0).rvs(500, random_state=3), hours))
    assert record.fit().provenance.assumed == (Assumed(ANEMOMETER_HEIGHT),)
    assert record.fit().height_m == 10
    with pytest.raises(InputError, match="no fit is called 'guess'"):
        record.fit("guess")
    higher = frozen(2.0, 6.0).at_height(30)
    assert Assumed(SHEAR_EXPONENT) in higher.provenance.assumed
    assert HeightsFarApart(10.0, 30) in higher.provenance.warnings
    assert "power law, exponent 0.2" in higher.provenance.method


def test_a_record_from_a_series():
    hours = pd.date_range("2025-03-01", periods=500, freq="h", tz="Europe/Berlin")
    speed = pd.Series(frozen(2.0, 6.0).rvs(500, random_state=3), hours, name="mast")
    speed.iloc[7] = np.nan
    record = WindRecord.from_series(speed, height_m=12)
    assert str(record.time[0]) == "2025-02-28T23:00:00.000000000"
    assert record.mean_speed_ms == pytest.approx(speed.mean())
    assert record.height_m == record.fit().height_m == 12
    frame = record.to_frame()
    np.testing.assert_array_equal(frame["speed_ms"], speed.to_numpy())
    assert record.to_xarray()["speed_ms"].attrs["units"] == "m s-1"
    assert "Wind record" in record._repr_html_()


@pytest.mark.parametrize(
    ("series", "why"),
    [
        (pd.Series([1.0, 2.0]), "holds no times"),
        (pd.Series([1.0, -2.0], pd.to_datetime(["2025-01-01", "2025-01-02"])), "below zero"),
        (pd.Series([1.0, 2.0], pd.to_datetime(["2025-01-02", "2025-01-01"])), "do not rise"),
        (pd.Series([], pd.to_datetime([]), dtype=float), "one at least"),
    ],
)
def test_a_series_that_is_no_record_is_refused(series, why):
    with pytest.raises(InputError, match=why):
        WindRecord.from_series(series)


@pytest.mark.parametrize("height_m", [0, -3, np.nan, np.inf])
def test_a_height_not_above_ground_is_refused(height_m):
    hours = pd.date_range("2025-03-01", periods=4, freq="h")
    for refused in (
        lambda: frozen(2.0, 6.0).at_height(height_m),
        lambda: WindDistribution.weibull(2.0, 6.0, height_m=height_m).at_height(14),
        lambda: WindRecord.from_series(pd.Series([3.0, 4, 5, 6], hours), height_m=height_m),
    ):
        with pytest.raises(InputError, match="but a height above ground, more than 0 m"):
            refused()


def test_what_is_no_series_and_no_terrain_is_refused():
    for given_ in (np.ones(4), [1.0, 2.0], pd.DataFrame({"speed": [1.0]})):
        with pytest.raises(InputError, match=r"from_arrays takes times and speeds"):
            WindRecord.from_series(given_)
    with pytest.raises(InputError, match="no terrain is called 'sea'; take one of water, open"):
        frozen(2.0, 6.0).at_height(20, terrain="sea")


def test_no_values_and_no_draws_are_refused_in_words_of_python(run):
    estimate = yd.load(HILL).estimate()
    with pytest.raises(InputError, match="price_per_kwh: there is no value to try"):
        estimate.sweep("price_per_kwh", [])
    with pytest.raises(InputError, match=r"^0 draws: from 512 to 500,000 can be made; an estimate"):
        estimate.uncertainty(draws=0)
    refused = run("estimate", HILL, "--draws", 511)
    assert (refused.code, "511 draws: from 512" in refused.err) == (2, True)
    none = run("estimate", HILL, "--draws", 0)
    assert (none.code, "90 % range" in none.out) == (0, False)


def test_a_threshold_nobody_knows_is_refused():
    hours = pd.date_range("2025-03-01", periods=50, freq="h")
    record = WindRecord.from_series(pd.Series(np.arange(50) % 7 + 1.0, hours))
    with pytest.raises(InputError, match="sticky"):
        record.quality_controlled(sticky=3)
    assert record.quality_controlled(spike_factor=False).valid_speed_ms.size == 50


def test_pictures_take_and_give_axes():
    plt = pytest.importorskip("matplotlib.pyplot")
    _, ax = plt.subplots()
    record = read_wind(f"{HILL}/wind.csv.gz", height_m=10)
    assert record.plot(ax) is ax
    assert record.fit().plot(ax) is ax
    assert len(ax.lines) == 2
    estimate = yd.load(HILL).estimate()
    bars = estimate.plot().patches
    np.testing.assert_allclose(
        [bar.get_width() for bar in bars], [build.energy.net_kwh for build in estimate.builds]
    )
    plt.close("all")


def test_a_sweep_moves_one_key_and_reads_no_file_again(monkeypatch):
    estimate = yd.load(HILL).estimate()
    monkeypatch.setattr("yieldest.model.site_wind.read_wind", lambda *_, **__: pytest.fail("anew"))
    monkeypatch.setattr("yieldest.model.build_curve.read_curve_file", lambda *_: pytest.fail("too"))
    tops = estimate.sweep("wind.quality_control.sensor_top_ms", [12.0, 75.0]).estimates
    left_out = [each.resource.quality_control.left_out for each in tops]
    assert left_out[0] > left_out[1] == estimate.resource.quality_control.left_out
    monkeypatch.setattr("yieldest.model.inputs.site_wind", lambda *_: pytest.fail("studied again"))
    table = estimate.sweep("price_per_kwh", [0.2, 0.34]).to_frame()
    worth = table["net_present_value"]
    assert (worth.loc[0.2] < worth.loc[0.34]).all()
    stated = [build.cost.net_present_value for build in estimate.builds]
    np.testing.assert_allclose(worth.loc[0.34], stated, rtol=1e-12)
    with pytest.raises(InputError, match="no table of a plan has it"):
        estimate.sweep("prize", [1.0])
    counts = estimate.sweep("build.0.count", np.arange(1, 3))
    assert [each.builds[0].machines.count for each in counts.estimates] == [1, 2]
    monkeypatch.setattr("yieldest.files.table.open_text", lambda *_: pytest.fail("opened again"))
    ends = estimate.sweep("build.0.cut_out_ms", [14.0, 18.0])
    assert [each.builds[0].curve.cut_out_ms for each in ends.estimates] == [14.0, 18.0]


def test_a_key_of_every_build_is_swept_as_its_refusal_says():
    estimate = yd.load(HILL).estimate()
    for key in ("hub_height_m", "build.hub_height_m"):
        with pytest.raises(InputError, match=r"build\.0\.hub_height_m"):
            estimate.sweep(key, [12.0])
    with pytest.raises(InputError, match=r"it may be build\.0\.losses\.wake; write"):
        estimate.sweep("wake", [0.1])
    with pytest.raises(InputError, match=r'write build\.0\..* or build\."one of 2\.4 m"\.hub_h'):
        estimate.sweep("build.hub_height_m", [12.0])
    with pytest.raises(InputError, match=r"write build\.0\.cable\.0\.length_m\."):
        estimate.sweep("build.0.cable.length_m", [12.0])
    by_number, by_name = (
        estimate.sweep(f"build.{which}.hub_height_m", [12.0]).to_frame()
        for which in ("0", '"one of 2.4 m"')
    )
    pd.testing.assert_frame_equal(by_number, by_name, check_names=False)


def test_a_sweep_of_the_air_at_the_readings_reads_them_once(monkeypatch):
    estimate = yd.load(HUT).estimate()
    monkeypatch.setattr("yieldest.files.table.open_text", lambda *_: pytest.fail("opened again"))
    low, high = estimate.sweep("build.0.meters.elevation_m", [100.0, 2000.0]).estimates
    # What was measured in thinner air stands for more power in the same air.
    assert high.builds[0].energy.net_kwh > low.builds[0].energy.net_kwh


def from_scratch(folder, key, value):
    plan = load_plan(Path(folder) / "plan.toml", [Override(key, value, "--set")])
    return estimate_of(read(plan))


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("site.elevation_m", 1900.0),
        ("site.turbulence_intensity", 0.3),
        ("site.displacement_m", 2.0),
        ("wind.measured_height_m", 6.5),
        ("wind.quality_control.frozen_hours", 3.0),
        ("wind.quality_control.sensor_top_ms", 12.0),
        ("wind.energy_error_limit", 0.001),
        ("build.1.hub_height_m", 13.5),
        ("build.1.count", 5),
        ("build.1.losses.availability", 0.2),
        ("build.1.array.spacing_rotor_diameters", 2.5),
        ("build.1.array.sectors", 24),
        ("build.1.cut_out_ms", 14.0),
        ("build.0.cable.0.length_m", 300.0),
    ],
)
def test_what_a_swept_value_shares_with_the_plan_is_the_same_as_anew(key, value):
    assert_swept_as_anew(HILL, key, value)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("meters.elevation_m", 900.0),
        ("meters.averaging_s", 60.0),
        ("meters.power_uncertainty", 0.08),
        ("meters.load_ohm", 22.0),
        ("load.battery_volts", 26.0),
    ],
)
def test_and_so_is_what_it_shares_of_readings(key, value):
    assert_swept_as_anew(HUT, f"build.0.{key}", value)


def assert_swept_as_anew(site, key, value):
    (swept,) = yd.load(site).estimate().sweep(key, [value]).estimates
    anew = from_scratch(site, key, value)
    pd.testing.assert_frame_equal(swept.to_frame(), anew.to_frame(), rtol=1e-12)
    assert list(map(type, swept.warnings)) == list(map(type, anew.warnings))
    for build, other in zip(swept.builds, anew.builds, strict=True):
        assert build.distribution.mean_speed_ms == pytest.approx(other.distribution.mean_speed_ms)
        lost, expected = ([loss.share for loss in each.energy.losses] for each in (build, other))
        assert lost == pytest.approx(expected, rel=1e-12)
        found, expected = ([*each.assumed, *each.warnings] for each in (build, other))
        assert list(map(type, found)) == list(map(type, expected))


def test_a_rule_that_is_stated_is_warned_of_though_it_is_the_default():
    key, roof = "wind.quality_control.frozen_hours", "demo-sites/town-roof"
    (swept,) = yd.load(roof).estimate().sweep(key, [6.0]).estimates
    assert FrozenCupsNotSought() in swept.warnings
    assert swept.warnings == from_scratch(roof, key, 6.0).warnings


def test_many_swept_values_are_those_of_each_alone():
    """Of hundreds of values the energies are integrated in another way."""
    estimate, heights = yd.load(HILL).estimate(), np.linspace(8, 20, 150)
    many = estimate.sweep("build.1.hub_height_m", heights).to_frame()
    for height in heights[[0, 77, 149]]:
        alone = estimate.sweep("build.1.hub_height_m", [height]).to_frame()
        pd.testing.assert_frame_equal(many.loc[height], alone.loc[height], rtol=1e-10)


def test_another_height_of_the_anemometer_is_no_reading_anew(monkeypatch):
    anew = {
        height: from_scratch(HILL, "wind.measured_height_m", height).to_frame()
        for height in (7.0, 9.5)
    }
    estimate = yd.load(HILL).estimate()
    monkeypatch.setattr("yieldest.model.inputs.site_wind", lambda *_: pytest.fail("read again"))
    swept = estimate.sweep("measured_height_m", anew)
    assert [each.record.height_m for each in swept.estimates] == list(anew)
    for height, frame in anew.items():
        pd.testing.assert_frame_equal(swept.to_frame().loc[height], frame, rtol=1e-12)
    monkeypatch.undo()
    (studied_again,) = swept.estimates[0].sweep("wind.quality_control.calm_hours", [2.0]).estimates
    assert studied_again.record.height_m == 7.0


def test_another_rotor_is_no_reading_of_the_readings_anew(monkeypatch):
    keys = {"rotor_diameter_m": 1.3, "cut_out_ms": 14.0, "meters.elevation_m": 100.0}
    hut = "demo-sites/ridge-hut"
    anew = {key: from_scratch(hut, f"build.0.{key}", value) for key, value in keys.items()}
    estimate = yd.load(hut).estimate()
    with monkeypatch.context() as patched:
        read = "yieldest.turbine.reading_file.read_readings"
        patched.setattr(read, lambda *_: pytest.fail("read again"))
        two = ("rotor_diameter_m", "cut_out_ms")
        swept = {key: estimate.sweep(f"build.0.{key}", [keys[key]]) for key in two}
    # What is stated of the meters may say how the readings are read.
    swept["meters.elevation_m"] = estimate.sweep("build.0.meters.elevation_m", [100.0])
    for key, each in swept.items():
        (found,), (expected,) = each.estimates[0].builds, anew[key].builds
        np.testing.assert_array_equal(found.curve.power_w, expected.curve.power_w)
        assert found.energy.net_kwh == pytest.approx(expected.energy.net_kwh, rel=1e-12)
        assert found.curve.provenance == expected.curve.provenance


def test_of_several_heights_in_a_file_another_is_read(yard):
    hours = pd.date_range("2021-01-01", periods=8760, freq="h")
    speed = 6 * np.random.default_rng(3).weibull(2, hours.size)
    of_heights = {"time": hours, "speed 10 m (m/s)": speed, "speed 40 m (m/s)": 1.4 * speed}
    pd.DataFrame(of_heights).to_csv(yard / "wind.csv", index=False)
    swept = yd.load(yard).estimate().sweep("measured_height_m", [10.0, 40.0])
    low, high = (each.wind.start_ms for each in swept.estimates)
    assert high == pytest.approx(1.4 * low, rel=0.01)  # quality control leaves some out
    anew = from_scratch(yard, "wind.measured_height_m", 40.0).to_frame()
    pd.testing.assert_frame_equal(swept.to_frame().loc[40.0], anew)


def test_a_finding_is_a_value():
    found = LowMeanWind(hub_mean_speed_ms=3.2, worth_from_ms=4.0)
    assert found == LowMeanWind(3.2, 4.0) == pickle.loads(pickle.dumps(found))
    assert {found, LowMeanWind(3.2, 4.0)} == {found}
    assert found != LowMeanWind(3.3, 4.0) and NoBill() == NoBill() and found != NoBill()
    assert repr(found) == "LowMeanWind(hub_mean_speed_ms=3.2, worth_from_ms=4.0)"
    assert "hub_mean_speed_ms 3.2" in str(found)
    with pytest.raises(AttributeError, match="cannot be changed"):
        found.worth_from_ms = 5.0
    for wrong in (
        lambda: LowMeanWind(3.2),
        lambda: LowMeanWind(3.2, 4.0, 5.0),
        lambda: LowMeanWind(3.2, 4.0, worth_from_ms=4.0),
        lambda: LowMeanWind(3.2, worth_ms=4.0),
    ):
        with pytest.raises(TypeError, match="has the fields hub_mean_speed_ms, worth_from_ms"):
            wrong()
