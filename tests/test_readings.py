"""Tables of readings: power from whatever the meters show, and what is caught on the way."""

import re

import numpy as np
import pandas as pd
import pytest
from conftest import kinds
from hypothesis import given
from hypothesis import strategies as st

from yieldest.errors import InputError
from yieldest.turbine.meters import (
    DirectCurrentAssumed,
    Meters,
    amps_of_power,
    power_in_resistance,
    power_of_volts_and_amps,
    rms,
)
from yieldest.turbine.reading_file import (
    LoadResistanceApart,
    OddLines,
    WattsContradict,
    read_readings,
)
from yieldest.turbine.readings import FewInAMinute, ShorterThanAMinute, minute_means


@pytest.fixture
def table(tmp_path):
    """Write a table and read it."""

    def read(text, **meters):
        path = tmp_path / "readings.csv"
        path.write_text(text, encoding="utf-8")
        return read_readings(path, Meters(**meters))

    return read


def test_volts_times_amps(table):
    """12 V at 2.93 mA is 35 mW (common practice, no source)."""
    readings = table("wind (m/s),volts,current (mA)\n2.6,12,2.93\n3,0,0\n")
    assert readings.power_w[0] == pytest.approx(0.035, abs=5e-4)
    assert readings.power_w[1] == 0
    assert DirectCurrentAssumed in kinds(readings.provenance.assumed)


@pytest.mark.parametrize(
    ("text", "meters", "watts"),
    [
        ("wind (m/s);power [kW]\n5;0.06\n6;0.1\n", {}, 60),
        ("wind (kn),watts\n10,55\n12,80\n", {}, 55),
        ("wind (m/s),volts\n5,12\n6,14\n", {"load_ohm": 4.8}, 30),
        ("wind (m/s),volts,load (ohm)\n5,12,4.8\n6,14,4.8\n", {}, 30),
        ("wind (m/s),amps,load (ohm)\n5,2.5,4.8\n6,3,4.8\n", {}, 30),
        ("wind (m/s),V,A\n5,12,2\n6,14,2\n", {}, 24),
        ("v wind (m/s),U (mV),I (mA)\n5,12000,2000\n6,1,1\n", {}, 24),
        (
            "wind (m/s),volts (Vpp),load (ohm)\n5,20,10\n6,1,10\n",
            {"circuit": "single-phase"},
            20**2 / 8 / 10,
        ),
        (
            "wind (m/s),volts peak,amps rms\n5,20,1\n6,1,1\n",
            {"circuit": "single-phase", "power_factor": 0.8},
            20 / np.sqrt(2) * 0.8,
        ),
        (
            "wind (m/s),volts (V AC),amps\n5,20,1\n6,1,1\n",
            {"circuit": "three-phase", "power_factor": 1.0, "volts_between": "lines"},
            np.sqrt(3) * 20,
        ),
        (
            "wind (m/s),volts (V AC),amps\n5,20,1\n6,1,1\n",
            {"circuit": "three-phase", "power_factor": 1.0, "volts_between": "line and neutral"},
            60,
        ),
        (
            "wind (m/s),volts (Vrms)\n5,20\n6,1\n",
            {
                "circuit": "three-phase",
                "volts_between": "lines",
                "resistors": "delta",
                "load_ohm": 30.0,
            },
            3 * 20**2 / 30,
        ),
    ],
)
def test_power_from_what_is_there(table, text, meters, watts):
    """Ohm's law and the textbook formulas of balanced circuits, worked by hand."""
    assert table(text, **meters).power_w[0] == pytest.approx(watts, rel=1e-12)


def test_pulses_of_meter_and_anemometer(table):
    """1000 pulses per kWh: 5 in a minute are 5 Wh in 1/60 h, 300 W; 300 m of wind run are 5 m/s."""
    readings = table(
        "time,wind pulses,meter pulses\n14:00,0,0\n14:01,300,5\n14:02,600,10\n",
        wh_per_pulse=1.0,
        metres_per_pulse=1.0,
    )
    np.testing.assert_allclose(readings.power_w, [300, 600])
    np.testing.assert_allclose(readings.speed_ms, [5, 10])


@given(
    st.floats(0.1, 500),
    st.floats(0.01, 100),
    st.sampled_from(["lines", "line and neutral"]),
    st.sampled_from(["star", "delta"]),
)
def test_three_phase_resistors_take_what_volts_and_amps_bring(volts, ohms, between, resistors):
    """The line current of a star is V_phase / R and that of a delta three times as much."""
    phase = volts / np.sqrt(3) if between == "lines" else volts
    amps = phase / ohms * (3 if resistors == "delta" else 1)
    power = power_of_volts_and_amps(volts, amps, "three-phase", 1.0, between)
    assert power_in_resistance(volts, ohms, "three-phase", between, resistors) == pytest.approx(
        power, rel=1e-12
    )
    assert amps_of_power(power, volts, "three-phase", 1.0, between) == pytest.approx(amps)


def test_rms_of_a_sine():
    """Against the mean square of a sampled sine wave, not the formula."""
    wave = 17.0 * np.sin(np.linspace(0, 2 * np.pi, 100_000, endpoint=False))
    effective = np.sqrt(np.mean(wave**2))
    assert rms(wave.max(), "peak") == pytest.approx(effective, rel=1e-6)
    assert rms(wave.max() - wave.min(), "peak to peak") == pytest.approx(effective, rel=1e-6)
    assert rms(effective, "rms") == effective


@pytest.mark.parametrize(
    ("text", "meters", "words"),
    [
        ("wind (m/s),volts\n5,12\n", {}, "there is no power in the columns"),
        ("wind,watts\n5,12\n", {}, "does not say the speed unit"),
        ("watts,volts\n5,12\n", {}, "no column was recognised as the wind speed"),
        ("wind (m/s),power\n5,12\n", {}, "does not say the unit of the power"),
        ("wind (m/s),volts (kV),amps\n5,12,1\n", {}, "does not say the unit of the volts"),
        ("wind (m/s),volts,amps (A x 10)\n5,12,1\n", {}, "does not say the unit of the amps"),
        ("wind (m/s),watts (k)\n5,12\n", {}, "does not say the unit of the power"),
        ("wind (m/s),watts (W per blade)\n5,12\n", {}, "does not say the unit"),
        ("wind (m/s),volts (Vpp),amps\n5,12,1\n", {}, "circuit is not stated"),
        ("wind (m/s),volts (Vpp),amps\n5,12,1\n", {"circuit": "dc"}, "direct current"),
        (
            "wind (m/s),volts (Vpp),amps\n5,12,1\n",
            {"circuit": "single-phase", "volts_show": "rms"},
            "mend one",
        ),
        ("wind (m/s),volts,amps\n5,12,1\n", {"circuit": "single-phase"}, "state power_factor"),
        (
            "wind (m/s),volts,amps\n5,12,1\n",
            {"circuit": "three-phase", "power_factor": 1.0},
            "volts_between",
        ),
        ("wind (m/s),pulses\n5,12\n", {}, "wh_per_pulse"),
        ("wind (m/s),pulses\n5,12\n", {"wh_per_pulse": 1.0}, "add a time column"),
        ("time,wind pulses,watts\n14:00,5,12\n", {}, "metres_per_pulse"),
        ("time,wind (m/s),watts\nnoon,5,12\n", {}, "line 2: 'noon' in column 'time' is not a time"),
        ("wind (m/s),watts\n5,12\n-1,3\n", {}, "line 3: a wind speed is below zero"),
        ("wind (m/s),watts,rpm\n5,12,3\n4,3,-2\n", {}, "line 3: the rpm are below zero"),
        ("wind (m/s),watts\n5,\n,3\n", {}, "no line holds both"),
        ("wind (m/s),watts\n5,lots\n", {}, "'lots' in column 'watts' is not a number"),
        ("wind (m/s),watts\n5,1\n", {"columns": {"watts": "P2"}}, "no column 'P2'"),
        (
            "wind (m/s),watts,volts,amps\n5,24,12,2\n6,30,12,25\n7,36,12,30\n",
            {},
            "line 3: 30 W is not 12 V x 25 A = 300 W, nor is it in 1 more of the lines",
        ),
    ],
)
def test_what_cannot_be_used_is_named(table, text, meters, words):
    with pytest.raises(InputError, match=words.replace("(", r"\(")):
        table(text, **meters)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("wind (m/s),volts,amps\n3,12,-0.1\n5,13,-1\n7,14,-3\n2,12,0\n", "negative current in 2"),
        ("wind (m/s),watts\n3,-1\n5,-10\n7,-40\n2,0\n", "negative power in 2 of 2"),
        ("wind (m/s),watts,temp (C)\n3,1,68\n5,10,70\n", "temperature 68 C is beyond any"),
        ("wind (m/s),watts,pressure (hPa)\n3,1,29.9\n5,10,29.9\n", "pressure 29.9 hPa is beyond"),
        ("wind (m/s),power (MW)\n3,1\n5,10\n", "'MW', which is mega"),
        ("wind (m/s),volts,current (MA)\n3,12,1\n5,13,10\n", "'MA', which is mega"),
        ("wind (m/s),volts,load (Mohm)\n3,12,1\n5,13,10\n", "'Mohm', which is mega"),
    ],
)
def test_units_and_signs_that_cannot_be_meant_are_refused(table, text, words):
    with pytest.raises(InputError, match=re.escape(words)):
        table(text)


def test_milliwatts_are_read_and_a_little_draw_is_kept(table):
    text = "wind (m/s),Max of power (mW)\n3,-9\n5,4000\n7,9000\n"
    np.testing.assert_allclose(
        table(text, columns={"watts": "Max of power (mW)"}).power_w, [-0.009, 4, 9]
    )


def test_one_slip_of_the_pen_is_left_out_and_named(table):
    lines = "".join(f"{5 + i / 10},{12 * (2 + i / 10):.2f},12,{2 + i / 10}\n" for i in range(20))
    readings = table(f"wind (m/s),watts,volts,amps\n{lines}7,240,12,2\n")
    assert readings.size == 20
    [slip] = readings.provenance.warnings
    assert isinstance(slip, WattsContradict)
    assert slip.place.endswith("line 22")
    assert (slip.watts, slip.volts, slip.amps, slip.left_out) == (240, 12, 2, 1)


def test_rounded_small_values_are_no_mismatch(table):
    readings = table("wind (m/s),watts,volts,amps\n3,0.1,1.2,0.1\n9,48,24,2\n")
    assert readings.size == 2
    assert not readings.provenance.warnings


def test_a_hot_resistor_is_noticed(table):
    readings = table("wind (m/s),volts,amps\n5,12,2\n6,14,2.3\n", load_ohm=5.0)
    [apart] = readings.provenance.warnings
    assert isinstance(apart, LoadResistanceApart)
    assert apart.ratio == pytest.approx((12 / 2 + 14 / 2.3) / 2 / 5, rel=1e-3)
    np.testing.assert_allclose(readings.power_w, [24, 32.2])


def test_double_lines_blanks_and_disorder(table):
    readings = table(
        "time,wind (m/s),watts\n2026-03-01 14:00,5,50\n2026-03-01 14:02,6,80\n"
        "2026-03-01 14:01,5.5,60\n2026-03-01 14:01,5.5,60\n2026-03-01 14:03,,70\n"
    )
    np.testing.assert_allclose(readings.time_s, [0, 60, 120])
    odd = {one.what: one for one in readings.provenance.warnings if isinstance(one, OddLines)}
    assert odd["repeated"].where.endswith("line 5")
    assert set(odd) == {"repeated", "blank", "disordered"}
    assert {one.count for one in readings.provenance.warnings} == {1}


@pytest.mark.parametrize(
    ("text", "meters"),
    [
        ("time;wind [m/s];watts\n01.03.2026 14:00;5,5;50,5\n13.03.2026 14:00;6;-\n", {}),
        ("Logger 7\nfirmware 2\n\ntime\twind (m/s)\twatts\n14:00\t5.5\t50.5\n14:01\t5.5\t50.5\n"
         "14:02\t5.5\t50.5\n14:03\t6\t\n", {}),
        ("time,wind,watts\n,m/s,W\n2026-03-01T14:00Z,5.5,50.5\n2026-03-01T14:01Z,6,NaN\n", {}),
        ("date,time,wind (m/s),mW\n2026-03-01,14:00,5.5,50500\n2026-03-01,14:01,6,n/a\n",
         {"columns": {"watts": "mW"}}),
        ("date,time,wind,P2\n,,km/h,kW\n3/4/26,14:00,19.8,0.0505\n3/4/26,14:01,6,\n",
         {"columns": {"watts": "P2"}, "date_order": "month first"}),
    ],
)  # fmt: skip
def test_tables_as_makers_have_them(table, text, meters):
    readings = table(text, **meters)
    np.testing.assert_allclose(readings.speed_ms, 5.5)
    np.testing.assert_allclose(readings.power_w, 50.5)
    [blank] = [w for w in readings.provenance.warnings if isinstance(w, OddLines)]
    assert (blank.what, blank.count) == ("blank", 1)


def test_a_date_that_could_be_two_is_asked_for(table):
    with pytest.raises(InputError, match="state date_order"):
        table("time,wind (m/s),watts\n3/4/2026 14:00,5,50\n5/4/2026 14:01,6,60\n")


@pytest.mark.parametrize("volts", ["4.9e-324", "1e-17", "0"])
def test_what_no_meter_can_show_is_nothing(table, volts, run, tmp_path):
    rows = "".join(f"{4 + at % 5},{volts},2\n" for at in range(40))
    text = f"wind (m/s),volts,amps\n{rows}"
    assert table(text).power_w.tolist() == [0.0] * 40
    path = tmp_path / "nothing.csv"
    path.write_text(text, encoding="utf-8")
    shown = run("curve", path, "--rotor-diameter", "1")
    assert shown.code == 0 and "made no power" in shown.out and "made power" not in shown.out


def test_a_missing_mark_is_only_offered_where_it_can_be_stated(table):
    with pytest.raises(InputError, match=r"'fast' .* or leave it blank\.$"):
        table("wind (m/s),watts\nfast,50\n")


@pytest.mark.parametrize(
    "rows",
    [
        "time,wind (m/s),watts\n1/10/2024 14:00,5,50\n1/10/2024 14:01,6,60\n",
        "date,time,wind (m/s),watts\n1/10/24,14:00,5,50\n1/10/24,14:01,6,60\n",
        "time,wind (m/s),watts\n13/10/2024 2:00 PM,5,50\n13/10/2024 2:01 PM,6,60\n",
    ],
)
def test_the_date_of_a_single_day_is_not_asked_for(table, rows):
    np.testing.assert_allclose(table(rows).time_s, [0, 60])


def test_clock_passes_midnight(table):
    readings = table("time,wind (m/s),watts\n23:59:30,5,50\n00:00:30,6,80\n")
    np.testing.assert_allclose(readings.time_s, [0, 60])


def test_quick_readings_become_one_minute_means(table):
    """Worked by hand: means of (4, 6) and (5, 5); mean cube (64 + 216) / 2 = 140 and 125."""
    readings = table(
        "elapsed (s),wind (m/s),watts,rpm\n0,4,40,100\n30,6,60,200\n60,5,50,150\n90,5,50,150\n"
    )
    means, averaging = minute_means(readings, None)
    np.testing.assert_allclose(means.speed_ms, [5, 5])
    np.testing.assert_allclose(means.power_w, [50, 50])
    np.testing.assert_allclose(means.rpm, [150, 150])
    assert averaging.seconds == 60
    assert averaging.cube_ratio == pytest.approx((140 + 125) / (125 + 125))
    assert FewInAMinute(2) in means.provenance.warnings


@pytest.mark.parametrize(
    ("text", "stated", "seconds", "warned"),
    [
        ("wind (m/s),watts\n5,50\n6,60\n", None, 0, True),
        ("wind (m/s),watts\n5,50\n6,60\n", 60, 60, False),
        ("time,wind (m/s),watts\n14:00,5,50\n14:10,6,60\n", None, 600, False),
        ("time,wind (m/s),watts\n14:00,5,50\n14:10,6,60\n", 0, 0, True),
        ("time,wind (m/s),watts\n14:00,5,50\n14:10,6,60\n", 10, 10, True),
    ],
)
def test_less_than_a_minute_is_warned_of(table, text, stated, seconds, warned):
    means, averaging = minute_means(table(text), stated)
    assert averaging.seconds == seconds
    assert (ShorterThanAMinute in kinds(means.provenance.warnings)) is warned


def test_a_frame_is_read_as_its_file_would_be():
    """Times in the index; the same numbers as from text."""
    times = pd.date_range("2023-05-01", periods=3, freq="min")
    frame = pd.DataFrame({"wind (m/s)": [4.0, 5, 6], "watts": [10, 20, 30]}, index=times)
    found = read_readings(frame)
    np.testing.assert_array_equal(found.power_w, [10, 20, 30])
    np.testing.assert_array_equal(found.time_s, [0, 60, 120])
    with pytest.raises(InputError, match="data frame, row 2: a wind speed is below zero"):
        read_readings(frame.assign(**{"wind (m/s)": [4.0, -5, 6]}))


@pytest.mark.parametrize(
    ("headings", "watts"),
    [
        ("MPH,Watts", 20),
        ("W,MPH", 8),
        ("mph,Vbat,Amps", 40),
        ("wind in mph,volts in V,current in A", 40),
        ("Wind (m/s),Batt V,I (A)", 40),
        ("wind m/s,Battery (V),Battery (A)", 40),
        ("wind m/s,Voltage,Amps", 40),
        ("Wind speed m/s,Battery voltage,Charge current (A)", 40),
        ("Wind Speed MPH,Volt,Ampere", 40),
        ("wind m/s,Volt (V),Ampere (A)", 40),
        ("wind m/s,Volts,Amperes", 40),
        ("wind m/s,Spannung Volt,Strom Ampere", 40),
        ("wind m/s,Voltage (Volts),Current (Amperes)", 40),
        ("wind m/s,Battery Volt,Battery Ampere", 40),
        ("wind m/s,Watt", 20),
        ("wind m/s,Power (Watts)", 20),
    ],
)
def test_headings_of_a_notebook(tmp_path, headings, watts):
    path = tmp_path / "bench.csv"
    cells = "8,20" if headings.count(",") == 1 else "8,20,2"
    path.write_text(f"{headings}\n" + f"{cells}\n" * 12)
    assert read_readings(path).power_w[0] == pytest.approx(watts)


@pytest.mark.parametrize(
    ("headings", "option"),
    [
        ("wind (m/s),Batt V,Solar", "--column volts=HEADING"),
        ("wind (m/s),V,Current", "--column amps=HEADING"),
        ("gusts,V,A", "--column speed=HEADING"),
        ("wind (m/s),Volts,Volts dc,Voltage,voltage (V)", "--column volts=HEADING"),
    ],
)
def test_a_refusal_names_the_option_that_mends_it(run, tmp_path, headings, option):
    path = tmp_path / "bench.csv"
    path.write_text(f"{headings}\n" + ",".join(["5"] * (headings.count(",") + 1)) + "\n")
    refused = run("curve", path)
    assert refused.code == 2
    assert option in refused.err


@pytest.mark.parametrize(
    "heading",
    ["Zeit;Wind (m/s);Spannung (V);Strom (A)", "Heure;Vent (m/s);volts (mean);Courant (A)"],
)
def test_headings_of_other_languages_are_recognised(table, heading):
    readings = table(f"{heading}\n14:00:00;5,5;12;2\n14:01:00;6,5;12,5;4\n")
    assert readings.power_w == pytest.approx([24, 50])
    assert readings.speed_ms == pytest.approx([5.5, 6.5])
