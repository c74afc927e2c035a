"""Units: published factors and spellings."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from yieldest.errors import InputError
from yieldest.units import (
    BEAUFORT_EDGES_MS,
    SPEED_UNITS,
    raised,
    to_celsius,
    to_hectopascal,
    to_metres_per_second,
    unit_in_heading,
    unit_of,
)

speeds = st.floats(0, 120, allow_nan=False)


@given(st.lists(speeds, min_size=1), st.sampled_from(SPEED_UNITS))
def test_conversion_keeps_order_and_gaps(values, unit):
    values = np.array([*values, np.nan])
    converted = to_metres_per_second(values, unit)
    assert np.isnan(converted[-1])
    rising = np.argsort(values[:-1], kind="stable")
    assert (np.diff(converted[rising]) >= 0).all()


def test_published_factors():
    """SI Brochure, 9th edition, table 8 (knot); international mile and foot (1959 agreement)."""
    assert to_metres_per_second(3600 / 1852, "kn") == pytest.approx(1, rel=1e-15)
    assert to_metres_per_second(1, "mph") == 1609.344 / 3600
    assert to_metres_per_second(1, "ft/s") == 0.3048
    assert to_metres_per_second(3.6, "km/h") == pytest.approx(1, rel=1e-15)


def test_published_temperatures_and_pressures():
    """ISO 2533 sea level: 15 C = 288.15 K = 59 F; 1013.25 hPa = 29.921 inHg = 760 mmHg."""
    assert to_celsius(288.15, "K") == pytest.approx(15)
    assert to_celsius(59, "F") == pytest.approx(15)
    assert to_celsius(-40, "F") == pytest.approx(-40)
    assert to_hectopascal(29.921, "inHg") == pytest.approx(1013.25, rel=1e-5)
    assert to_hectopascal(760, "mmHg") == pytest.approx(1013.25, rel=1e-6)
    assert to_hectopascal(101325, "Pa") == pytest.approx(1013.25)
    assert to_hectopascal(101.325, "kPa") == pytest.approx(1013.25)


def test_each_beaufort_number_falls_in_its_class():
    """Classes of the WMO scale; the formula of 1970 (0.836 B^1.5) lies inside every one."""
    speed = to_metres_per_second(np.arange(13), "Beaufort")
    assert (np.searchsorted(BEAUFORT_EDGES_MS, speed, side="right") - 1 == np.arange(13)).all()


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Wind (mph)", "mph"), ("speed_kmh", "km/h"), ("WS [m/s]", "m/s"), ("wspd kts", "kn"),
        ("wind speed, km/h", "km/h"), ("speed_ms", "m/s"), ("Wind m/s", "m/s"), ("Bft", "Beaufort"),
        ("wind (m s-1)", "m/s"), ("speed (ft/s)", "ft/s"), ("speed", None), ("wind", None),
        ("Wind (max)", None), ("gusts", None), ("speed (10 m) (kn)", "kn"),
        ("Wind Speed MPH", "mph"), ("Wind Speed KMH", "km/h"), ("Wind Speed kn", "kn"),
        ("mean wind speed kmh", "km/h"), ("wind speed m s", "m/s"), ("wind speed m s-1", "m/s"),
        ("mean wind speed miles per hour", "mph"), ("wind speed in km h-1", "km/h"),
        ("wind n", None), ("speed c", None), ("wind speed s", None), ("wind speed per hour", None),
    ],
)  # fmt: skip
def test_the_speed_unit_of_a_heading(heading, unit):
    assert unit_in_heading("speed", heading) == unit


@pytest.mark.parametrize(
    ("quantity", "heading", "unit"),
    [
        ("temperature", "temp (F)", "F"), ("temperature", "temp_c", "C"),
        ("temperature", "T [°C]", "C"), ("temperature", "temp degF", "F"),
        ("temperature", "air temperature (K)", "K"), ("temperature", "temp", None),
        ("pressure", "pressure (hPa)", "hPa"), ("pressure", "baro_mbar", "hPa"),
        ("pressure", "P (inHg)", "inHg"), ("pressure", "pressure_kPa", "kPa"),
        ("pressure", "pressure", None),
        ("temperature", "Air Temperature C", "C"), ("temperature", "Outside Air Temp deg F", "F"),
        ("temperature", "temp deg. C", "C"), ("pressure", "Air Pressure hPa", "hPa"),
        ("pressure", "Station Pressure in Hg", "inHg"), ("direction", "Wind Direction rad", "rad"),
        ("direction", "wind direction tens of degrees", "tens of degrees"),
        ("direction", "WD 10 deg", "deg"), ("direction", "wd_10s of deg", "tens of degrees"),
    ],
)  # fmt: skip
def test_other_units_of_a_heading(quantity, heading, unit):
    assert unit_in_heading(quantity, heading) == unit


@pytest.mark.parametrize("quantity", ["speed", "temperature", "pressure"])
def test_an_unknown_unit_is_refused(quantity):
    with pytest.raises(InputError, match=f"furlongs.*{quantity} unit"):
        unit_of(quantity, "furlongs")


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("191 W/m2 in air of 1.225 kg/m3", "191 W/m² in air of 1.225 kg/m³"),
        ("18 A in 4 mm2; 4.5 m2.", "18 A in 4 mm²; 4.5 m²."),
        (
            "curve_air_density_kg_m3 of m2.csv, W/m2.txt",
            "curve_air_density_kg_m3 of m2.csv, W/m2.txt",
        ),
    ],
)
def test_digits_of_units_are_raised_and_those_of_keys_and_files_are_not(text, shown):
    assert raised(text) == shown


@pytest.mark.parametrize(
    ("quantity", "words", "unit"),
    [
        ("temperature", "degrees Celsius", "C"),
        ("temperature", "deg. F", "F"),
        ("temperature", "°C", "C"),
        ("pressure", "inches Hg", "inHg"),
        ("pressure", "mm hg", "mmHg"),
        ("pressure", "millibar", "hPa"),
    ],
)
def test_units_of_one_word_and_of_several_are_known(quantity, words, unit):
    assert unit_of(quantity, words) == unit


@pytest.mark.parametrize("part", ["degrees", "inches", "deg"])
def test_a_word_of_a_unit_alone_is_none(part):
    with pytest.raises(InputError, match=part):
        unit_of("temperature", part)
