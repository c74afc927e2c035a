"""Where the energy goes, and what a load leaves of a curve."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from yieldest.energy.annual_energy import in_turbulence
from yieldest.energy.closed_form import mean_power_w
from yieldest.energy.net_energy import HubSpeeds, usual_years
from yieldest.errors import InputError
from yieldest.report.sentences.turbine import fraction_words, where_the_energy_goes
from yieldest.turbine.conversion_chain import read_generator
from yieldest.turbine.curve_ends import Ends
from yieldest.turbine.curve_file import read_power_curve
from yieldest.turbine.load import (
    Conversion,
    HeatOnly,
    LoadSettings,
    OtherLoad,
    measured_load,
    on_load,
    read_conversion,
    typical_conversion,
)
from yieldest.turbine.measured_curve import measure_curve
from yieldest.turbine.meters import Meters
from yieldest.turbine.reading_file import read_readings
from yieldest.wind.distribution import WindDistribution


@pytest.fixture
def curve(tmp_path):
    path = tmp_path / "curve.csv"
    path.write_text("# load: resistor\nspeed (m/s),power (W)\n3,0\n8,200\n12,400\n14,300\n")
    return read_power_curve(path)


@pytest.fixture
def bench(tmp_path):
    def write(text, meters=None, winding_ohm=None):
        path = tmp_path / "bench.csv"
        path.write_text(text, encoding="utf-8")
        return read_generator(path, meters or Meters(), winding_ohm)

    return write


def test_generator_from_a_bench_test(bench):
    """10 V at 200 rpm open; 15 V and 2.5 A at 500 rpm: (25 - 15) / 2.5 = 4 ohm; matched at 500
    rpm 25^2 / 16 = 39.06 W (Ohm's law, maximum power transfer; textbook)."""
    generator = bench("rpm,volts,amps\n200,10,\n400,20,0\n500,15,2.5\n")
    assert generator.volts_per_rpm == pytest.approx(0.05)
    assert generator.inner_ohm == pytest.approx(4.0)
    assert generator.most_w(500.0) == pytest.approx(39.0625)
    loads = np.linspace(0.1, 40, 4000)
    assert (25**2 * loads / (loads + 4) ** 2).max() == pytest.approx(39.0625, rel=1e-4)


def test_generator_with_a_load_resistor_and_three_phases(bench):
    """A star of 6 ohm on phases of 2 ohm: of 30 V (phase, open) 22.5 V are left."""
    meters = Meters(circuit="three-phase", volts_between="lines")
    open_v, loaded_v = 30 * np.sqrt(3), 22.5 * np.sqrt(3)
    generator = bench(f"rpm,volts (V AC),load (ohm)\n600,{open_v},\n600,{loaded_v},6\n", meters)
    assert generator.phases == 3
    assert generator.volts_per_rpm == pytest.approx(0.05)
    assert generator.inner_ohm == pytest.approx(2.0)
    assert bench("rpm,volts\n600,30\n", winding_ohm=1.5).inner_ohm == 1.5
    assert bench("rpm,volts\n600,30\n").most_w(600) is None


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("rpm,amps\n200,1\n", "needs the columns 'rpm' and 'volts'"),
        ("rpm,volts,amps\n500,15,2.5\n", "no line is open-circuit"),
        ("rpm,volts,amps\n500,25,\n500,26,2\n", "not below the open-circuit volts"),
    ],
)
def test_a_bench_test_that_cannot_be(bench, text, words):
    with pytest.raises(InputError, match=words):
        bench(text)


def test_rotor_and_generator_are_told_apart(tmp_path, bench):
    """Made from known parts: 2 ohm winding, 6 ohm load, 0.03 V/rpm, so the generator passes on 3/4
    at every wind, the rotor gives 4/3 of the meter, and 3/4 of the matched power is passed on."""
    speed = np.repeat(np.arange(3, 10.01, 0.5), 5)
    power = 0.1 * speed**3
    volts = np.sqrt(power * 6)
    amps = volts / 6
    rpm = (volts + 2 * amps) / 0.03
    path = tmp_path / "readings.csv"
    rows = zip(speed, volts, amps, rpm, strict=True)
    path.write_text(
        "wind (m/s),volts,amps,rpm\n" + "\n".join(",".join(map(repr, map(float, r))) for r in rows)
    )
    generator = bench("rpm,volts,amps\n400,12,\n400,9,1.5\n")
    for density in (1.225, 1.0):
        measured = measure_curve(
            read_readings(path),
            rotor_area_m2=1.0,
            generator=generator,
            air_density_kg_m3=density,
        )
        chain = measured.chain
        np.testing.assert_allclose(chain.generator_efficiency, 0.75, rtol=1e-9)
        np.testing.assert_allclose(chain.rotor_w, measured.bins.power_w * 4 / 3, rtol=1e-9)
        np.testing.assert_allclose(measured.bins.power_w / chain.generator_most_w, 0.75, rtol=1e-9)
        np.testing.assert_allclose(chain.coefficient, 0.1 / (0.5 * density), rtol=1e-9)
        np.testing.assert_allclose(chain.betz_w, 16 / 27 * chain.wind_w)
    open_only = bench("rpm,volts\n400,12\n")
    chain = measure_curve(
        read_readings(path), rotor_area_m2=1.0, generator=open_only, air_density_kg_m3=1.225
    ).chain
    np.testing.assert_allclose(chain.generator_efficiency, 0.75, rtol=1e-9)
    assert chain.generator_most_w is None


def test_a_weak_rotor_is_named_as_the_limit(tmp_path, bench):
    """40 ohm on a winding of 2 ohm: far from matched, 4 x 2 x 40 / 42^2 = 0.181 is passed on."""
    speed = np.repeat(np.arange(3, 8.01, 0.5), 5)
    power = 0.05 * speed**3
    volts = np.sqrt(power * 40)
    rpm = (volts + volts / 40 * 2) / 0.03
    path = tmp_path / "readings.csv"
    rows = zip(speed, power, volts, rpm, strict=True)
    path.write_text(
        "wind (m/s),watts,volts,rpm\n" + "\n".join(",".join(map(repr, map(float, r))) for r in rows)
    )
    generator = bench("rpm,volts,amps\n400,12,\n400,9,1.5\n")
    measured = measure_curve(
        read_readings(path), rotor_area_m2=1.0, generator=generator, air_density_kg_m3=1.225
    )
    chain = measured.chain
    np.testing.assert_allclose(
        measured.bins.power_w / chain.generator_most_w, 320 / 1764, rtol=1e-9
    )
    assert any(
        "a sixth of that reached the meter, so the rotor" in text
        for text in where_the_energy_goes(chain, measured.bins)
    )


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (1.2, "all"),
        (0.97, "nearly all"),
        (0.5, "half"),
        (0.165, "a sixth"),
        (0.34, "a third"),
        (0.05, "less than a tenth"),
        (0.1, "a tenth"),
    ],
)
def test_shares_in_words(share, words):
    assert fraction_words(share) == words


def test_common_practice_figures():
    """2.6 m/s through 0.20 m x 0.14 m carries 0.30 W, of which 85 mW are expected from a simple
    drag-type rotor and 35 mW (12 V, 2.93 mA) are an eighth or so (common practice, no source)."""
    carried = 0.5 * 1.225 * 0.20 * 0.14 * 2.6**3
    assert carried == pytest.approx(0.30, abs=0.005)
    assert fraction_words(0.085 / carried) in ("a quarter", "a third")
    assert fraction_words(12 * 2.93e-3 / carried) in ("a ninth", "an eighth")


def test_a_conversion_takes_its_share_draw_and_threshold(curve):
    conversion = Conversion(np.array([0.0, 400.0]), np.array([0.5, 0.9]), 5.0, 40.0, "table")
    left = on_load(
        "yard",
        curve,
        LoadSettings(kind="charger", measured_on="resistor", idle_draw_w=1.5),
        conversion,
    )
    # At 8 m/s 200 W come in at an efficiency of 0.7: 140 W less 5 W.
    assert left.power_at(8.0) == pytest.approx(135, rel=1e-6)
    assert left.power_at(12.0) == pytest.approx(355, rel=1e-6)
    # 40 W are reached at 4 m/s: nothing below, 40 x 0.54 - 5 W above.
    assert left.power_at(3.99) == 0
    assert left.power_at(4.001) == pytest.approx(16.6, rel=1e-2)
    assert left.idle_draw_w == 1.5
    assert left.load == "charger"
    assert left.cut_out_ms == 14
    assert left.relative_uncertainty == pytest.approx(np.sqrt(0.1**2 + 0.15**2 + 0.03**2))
    assert OtherLoad("yard", "resistor", "charger", converted=True) in left.provenance.warnings
    # Its energy is that of the curve converted point by point on a fine grid.
    speed = np.linspace(3, 14, 20001)
    fine = mean_power_w(2.0, 6.0, speed, conversion.power_out_w(curve.power_at(speed)))
    assert mean_power_w(2.0, 6.0, left.speed_ms, left.power_w) == pytest.approx(fine, rel=2e-3)


@given(st.floats(0, 30), st.floats(0, 60), st.floats(0.3, 1))
def test_a_converter_never_adds_power(draw, threshold, efficiency):
    conversion = Conversion(np.array([0.0]), np.array([efficiency]), draw, threshold, "table")
    power = np.linspace(0, 500, 301)
    out = conversion.power_out_w(power)
    assert (out <= power).all()
    assert (out >= 0).all()
    assert (np.diff(out) >= 0).all()


def test_another_load_without_a_conversion_is_warned_of(curve):
    left = on_load("yard", curve, LoadSettings(kind="inverter"), None)
    np.testing.assert_allclose(left.power_w, curve.power_w)
    assert left.relative_uncertainty == pytest.approx(np.sqrt(0.1**2 + 0.15**2))
    assert OtherLoad("yard", "resistor", "inverter", converted=False) in left.provenance.warnings


def test_the_same_load_is_left_alone(curve):
    left = on_load("yard", curve, LoadSettings(kind="resistor", measured_on="resistor"), None)
    np.testing.assert_allclose(left.power_w, curve.power_w)
    assert left.relative_uncertainty == curve.relative_uncertainty
    assert HeatOnly("yard") in left.provenance.warnings


def test_losses_are_not_counted_twice(curve):
    inverter = replace(curve, load=None)
    for kind in ("inverter", "battery"):
        load = LoadSettings(
            kind=kind, measured_on="inverter", conversion="typical", battery_volts=24
        )
        with pytest.raises(InputError, match="twice"):
            on_load("yard", inverter, load, None)
    with pytest.raises(InputError, match=r"mend load\.measured_on"):
        measured_load("yard", curve, "battery")


def test_a_diode_bridge_by_hand():
    """24 V behind two drops of 0.7 V: 24 / 25.4 of the power arrives."""
    conversion = typical_conversion("yard", LoadSettings(kind="battery", battery_volts=24.0), 400)
    assert conversion.power_out_w(np.array([254.0]))[0] == pytest.approx(240)
    with pytest.raises(InputError, match="battery_volts"):
        typical_conversion("yard", LoadSettings(kind="battery"), 400)
    with pytest.raises(InputError, match="converts nothing"):
        typical_conversion("yard", LoadSettings(kind="resistor"), 400)


def test_a_table_of_efficiency(tmp_path):
    path = tmp_path / "inverter.csv"
    path.write_text("power in (W),efficiency (%)\n10,40\n100,90\n")
    conversion = read_conversion(
        path,
        LoadSettings(kind="inverter", conversion=path.name, no_load_draw_w=2.0, start_up_w=5.0),
    )
    np.testing.assert_allclose(
        conversion.power_out_w(np.array([4.0, 10.0, 55.0, 100.0])), [0, 2, 55 * 0.65 - 2, 88]
    )
    for text, words in (
        ("power in (W),efficiency\n10,40\n", "line 2: the efficiency 40"),
        ("power in (W),efficiency\n10,0.4\n5,0.5\n", "line 3: the power in"),
    ):
        path.write_text(text)
        with pytest.raises(InputError, match=words):
            read_conversion(path, LoadSettings(kind="inverter"))


def test_energy_beyond_the_last_point_adds_up(tmp_path):
    """Total less what the same curve gives when it ends at its last point."""
    path = tmp_path / "curve.csv"
    path.write_text("speed (m/s),power (W)\n3,0\n8,200\n")
    ended = read_power_curve(path)
    for extrapolation in ("hold", "cube law"):
        whole = read_power_curve(
            path, ends=Ends(cut_out_ms=15, extrapolation=extrapolation, rated_power_w=500.0)
        )
        total = mean_power_w(2.0, 6.0, whole.speed_ms, whole.power_w)
        below = mean_power_w(2.0, 6.0, ended.speed_ms, ended.power_w)
        beyond_w = HubSpeeds(2.0, 6.0, 0.0).beyond_kwh(whole, 1) / 8.76
        assert beyond_w == pytest.approx(total - below, rel=1e-9)
        assert total > below
    assert HubSpeeds(2.0, 6.0, 0.0).beyond_kwh(ended, 1) == 0


def test_usual_years_against_a_sum_over_hours(tmp_path):
    """A Rayleigh year summed over a fine grid, not the closed form."""
    path = tmp_path / "curve.csv"
    path.write_text("speed (m/s),power (W)\n3,0\n8,200\n12,400\n")
    curve = read_power_curve(path, ends=Ends(cut_out_ms=18))
    years = usual_years(curve)
    speed = (np.arange(400_000) + 0.5) * 1e-4
    for mean, energy, beyond in zip(years.mean_ms, years.energy_kwh, years.beyond_kwh, strict=True):
        density = np.pi / 2 * speed / mean**2 * np.exp(-np.pi / 4 * (speed / mean) ** 2)
        power = curve.power_at(speed) * density * 1e-4 * 8.76
        assert power.sum() == pytest.approx(energy, rel=1e-4)
        assert power[speed > 12].sum() == pytest.approx(beyond, rel=1e-3)
    np.testing.assert_allclose(years.uncertainty_kwh, 0.1 * years.energy_kwh)


def test_turbulence_keeps_a_uncertainty_for_every_point(tmp_path):
    """A curve that gusts flatten has new points, and each has its uncertainty and thrust."""
    path = tmp_path / "curve.csv"
    path.write_text(
        "speed (m/s),power (W),standard uncertainty (W),ct\n3,0,1,0.2\n8,200,9,0.6\n9,200,9,0.5\n"
    )
    curve = read_power_curve(path)
    blurred, effect = in_turbulence(
        curve, WindDistribution.from_mean(7.0, 2.0, height_m=10.0), 0.35
    )
    assert effect.counted
    assert blurred.uncertainty_w.shape == blurred.power_w.shape == blurred.speed_ms.shape
    assert blurred.thrust_coefficient.shape == blurred.speed_ms.shape
