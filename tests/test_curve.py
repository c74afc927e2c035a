"""Power curves: reading them, cut-in, cut-out, density, and the power coefficient."""

import numpy as np
import pandas as pd
import pytest
from conftest import kinds
from hypothesis import given
from hypothesis import strategies as st

from yieldest.errors import InputError
from yieldest.turbine.curve_ends import EndAssumed, Ends
from yieldest.turbine.curve_file import read_power_curve
from yieldest.turbine.power_curve import PowerCurve
from yieldest.turbine.rotor import BETZ_LIMIT, HighCoefficient, power_coefficient, power_in_wind_w


@pytest.fixture
def curve_file(tmp_path):
    path = tmp_path / "curve.csv"
    path.write_text("speed (m/s),power (W)\n3,0\n5,60\n8,250\n11,500\n14,520\n")
    return path


def test_points_lines_and_ends(curve_file):
    curve = read_power_curve(curve_file)
    np.testing.assert_allclose(
        curve.power_at([0, 2.99, 3, 4, 5, 14, 14.01, np.nan]), [0, 0, 0, 30, 60, 520, 0, np.nan]
    )
    assert curve.rated_power_w == 520
    [above] = [one for one in curve.provenance.assumed if isinstance(one, EndAssumed)]
    assert (above.last_ms, above.held_to_ms) == (14, None)


def test_cut_out_above_the_last_speed_holds_the_last_power(curve_file):
    curve = read_power_curve(curve_file, ends=Ends(cut_out_ms=20))
    np.testing.assert_allclose(
        curve.power_at([13, 14, 17, 20, 20.1]), [513.3333333, 520, 520, 520, 0]
    )
    assert curve.last_measured_ms == 14


def test_cut_out_and_cut_in_inside_cut_the_curve(curve_file):
    curve = read_power_curve(curve_file, ends=Ends(cut_in_ms=4, cut_out_ms=9.5))
    np.testing.assert_allclose(curve.power_at([3.9, 4, 9.5, 9.6]), [0, 30, 375, 0])


def test_cut_in_below_the_first_speed_is_joined(curve_file):
    curve_file.write_text("speed (m/s),power (W)\n4,40\n8,250\n")
    curve = read_power_curve(curve_file, ends=Ends(cut_in_ms=2))
    np.testing.assert_allclose(curve.power_at([1.9, 2, 3, 4]), [0, 0, 20, 40])


@pytest.mark.parametrize(("cut_in", "cut_out"), [(9, 9), (12, 4), (14, 20), (0.5, 3), (20, 25)])
def test_cut_in_and_cut_out_must_leave_some_curve(curve_file, cut_in, cut_out):
    with pytest.raises(InputError, match="cut_in_ms or cut_out_ms"):
        read_power_curve(curve_file, ends=Ends(cut_in_ms=cut_in, cut_out_ms=cut_out))


def test_kilowatts_and_kilometres_per_hour(tmp_path):
    path = tmp_path / "curve.csv"
    path.write_text("Wind speed [km/h];Power [kW]\n10.8;0\n36;0.4\n")
    curve = read_power_curve(path)
    np.testing.assert_allclose(curve.speed_ms, [3, 10])
    np.testing.assert_allclose(curve.power_w, [0, 400])


def test_above_betz_is_an_error_that_names_the_line(curve_file):
    with pytest.raises(InputError, match=r"line 4: at 8 m/s .* 16/27"):
        read_power_curve(curve_file, rotor_area_m2=1.0)


@pytest.mark.parametrize(
    ("area", "rotor_type", "doubted"),
    [
        (1.5, "lift", ["small"]),
        (2.0, "drag", ["drag"]),
        (2.0, "lift", ["lift"]),
        (2.0, None, ["lift"]),
        (3.0, "lift", []),
    ],
)
def test_a_high_power_coefficient_is_warned_of(curve_file, area, rotor_type, doubted):
    warnings = read_power_curve(
        curve_file, rotor_area_m2=area, rotor_type=rotor_type
    ).provenance.warnings
    assert kinds(warnings) <= {HighCoefficient}
    assert [one.rotor for one in warnings] == doubted


def test_power_in_the_wind_of_a_small_rotor():
    """2.6 m/s through 0.20 m x 0.14 m carries about 0.30 W at sea level, of which a simple
    drag-type vertical rotor gives about 85 mW (common practice, no source)."""
    carried = power_in_wind_w(2.6, 0.20 * 0.14, 1.225)
    assert carried == pytest.approx(0.30, abs=0.005)
    coefficient = power_coefficient(0.085, 2.6, 0.20 * 0.14, 1.225)
    assert 0.2 < coefficient < 0.3


def test_volts_times_amps():
    """12 V at 2.93 mA is 35 mW (common practice, no source), 12 % of what 2.6 m/s carries there."""
    assert pytest.approx(0.035, abs=5e-4) == 12 * 2.93e-3
    assert power_coefficient(12 * 2.93e-3, 2.6, 0.028, 1.225) == pytest.approx(0.117, abs=2e-3)


def test_betz_limit():
    """16/27 = 0.5926 (textbook): the maximum of 4 a (1 - a)^2 over the induction factor a."""
    induction = np.linspace(0, 1, 100001)
    assert np.max(4 * induction * (1 - induction) ** 2) == pytest.approx(BETZ_LIMIT, rel=1e-9)
    assert pytest.approx(0.5926, abs=5e-5) == BETZ_LIMIT


@given(st.floats(0.7, 1.4))
def test_density_correction_keeps_the_power_coefficient(density):
    """IEC 61400-12-1: both corrections leave the power coefficient of a point as it was."""
    import tempfile  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "curve.csv"
        path.write_text("speed (m/s),power (W)\n4,10\n9,200\n12,400\n")
        curve = read_power_curve(path, rotor_area_m2=3.0)
    before = power_coefficient(curve.power_w, curve.speed_ms, 3.0, 1.225)
    for correction in ("power", "speed"):
        after = curve.at_density(density, correction)
        np.testing.assert_allclose(
            power_coefficient(after.power_w, after.speed_ms, 3.0, density), before, rtol=1e-12
        )
    assert curve.at_density(density, "speed").rated_power_w == 400
    assert curve.at_density(density, "power").rated_power_w == pytest.approx(400 * density / 1.225)


def test_points_make_a_curve_and_frames_are_read_as_files_are(curve_file):
    """A plain list is enough, and what `to_frame` gives is what `read_power_curve` takes."""
    given = PowerCurve([3, 6, 12], [0, 80, 400], rotor_area_m2=4.5)
    assert given.rated_power_w == 400
    assert given.provenance.source == "given"
    assert given(9).item() == pytest.approx(240)
    assert given.at_density(1.1).power_at(6) == pytest.approx(80 * 1.1 / 1.225)
    read = read_power_curve(curve_file)
    again = read_power_curve(read.to_frame(), air_density_kg_m3=read.air_density_kg_m3)
    np.testing.assert_array_equal(again.power_w, read.power_w)
    np.testing.assert_array_equal(again.speed_ms, read.speed_ms)
    series = read.to_frame().set_index("speed (m/s)")["power (W)"]
    np.testing.assert_array_equal(read_power_curve(series).power_w, read.power_w)
    with pytest.raises(InputError, match="row 2: the speed 3"):
        read_power_curve(pd.DataFrame({"speed (m/s)": [4, 3, 5], "power (W)": [0, 1, 2]}))


@pytest.mark.parametrize(
    ("speed", "power", "more"),
    [
        ([3, 3], [0, 1], {}),
        ([3], [1], {}),
        ([-1, 3], [0, 1], {}),
        ([3, 4], [0, np.nan], {}),
        ([3, 4], [0, 1, 2], {}),
        ([3, 4], [0, 1], {"rotor_area_m2": 0}),
        ([3, 4], [0, 1], {"power_uncertainty_w": [1]}),
    ],
)
def test_points_that_are_no_curve_are_refused(speed, power, more):
    with pytest.raises(InputError):
        PowerCurve(speed, power, **more)


def test_a_curve_is_drawn_into_the_axes_it_gets():
    plt = pytest.importorskip("matplotlib.pyplot")
    _, axes = plt.subplots()
    curve = PowerCurve([3, 6, 12], [0, 80, 400])
    assert curve.plot(axes) is axes
    np.testing.assert_array_equal(axes.lines[0].get_ydata(), curve.power_w)
    plt.close("all")
