"""Air density and the two height laws, against the standards."""

import fluids
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from yieldest.defaults import SHEAR_EXPONENT, Assumed
from yieldest.errors import InputError
from yieldest.hub.air import (
    KNOWN_TEMPERATURE_UNCERTAINTY,
    PressureOutOfPlace,
    StandardTemperature,
    air_at_hub,
    gas_law_density,
    moist_air_density,
    monthly_air,
    pressure_elevation_m,
    saturation_pressure_pa,
    standard_density,
    standard_pressure_pa,
)
from yieldest.report.sentences.words import sentence
from yieldest.wind.profile import (
    TERRAINS,
    AboveSurfaceLayer,
    HeightsFarApart,
    NearRoughness,
    log_law_factor,
    power_law_factor,
    slope_exponent,
    slope_roughness_m,
    to_hub,
)
from yieldest.wind.weibull import moment

heights = st.floats(2, 200)


@pytest.mark.parametrize(
    ("elevation", "density"),
    [(0, 1.2250), (500, 1.1673), (1000, 1.1117), (1500, 1.0581), (2000, 1.0066), (3000, 0.9093)],
)
def test_standard_density(elevation, density):
    """ISO 2533 / US Standard Atmosphere 1976, geometric elevation; the values are from memory,
    confirmed by the fluids package, whose atmosphere is the 1976 standard."""
    assert standard_density(elevation) == pytest.approx(density, abs=6e-5)
    reference = fluids.ATMOSPHERE_1976(elevation)
    assert standard_density(elevation) == pytest.approx(reference.rho, rel=1e-5)
    assert standard_pressure_pa(elevation) == pytest.approx(reference.P, rel=1e-5)


def test_gas_law_at_standard_conditions():
    """ISO 2533: 101325 Pa and 288.15 K give 1.225 kg/m3."""
    assert gas_law_density(101325.0, 288.15) == pytest.approx(1.2250, abs=5e-5)


def test_cold_air_is_dense_and_known_values_are_used():
    standard = air_at_hub(100, 10)
    cold = air_at_hub(100, 10, temperature_c=-10)
    assert cold.density_kg_m3 > standard.density_kg_m3
    [assumed] = standard.provenance.assumed
    assert isinstance(assumed, StandardTemperature)
    assert assumed.altitude_m == 110
    assert not cold.provenance.assumed
    low = air_at_hub(100, 10, temperature_c=-10, pressure_hpa=985.0)
    assert low.density_kg_m3 == pytest.approx(
        gas_law_density(98500.0 * standard_pressure_pa(110) / standard_pressure_pa(100), 263.15)
    )


def test_a_pressure_reduced_to_sea_level_is_not_used():
    """At 800 m the standard atmosphere has 921 hPa; 1013 hPa must be a sea-level value."""
    air = air_at_hub(800, 10, temperature_c=8, pressure_hpa=1013.0)
    assert air.density_kg_m3 == pytest.approx(air_at_hub(800, 10, temperature_c=8).density_kg_m3)
    assert PressureOutOfPlace(1013.0, 800) in air.provenance.warnings


@pytest.mark.parametrize("elevation_m", [-200.0, 0.0, 420.0, 2500.0, 5000.0])
def test_a_pressure_stands_for_an_elevation_that_is_not_stated(elevation_m):
    """Against the standard atmosphere of the library fluids."""
    there = fluids.ATMOSPHERE_1976(elevation_m).P
    assert pressure_elevation_m(there) == pytest.approx(elevation_m, abs=0.1)
    unstated = air_at_hub(None, 10, temperature_c=8, pressure_hpa=there / 100)
    stated = air_at_hub(elevation_m, 10, temperature_c=8, pressure_hpa=there / 100)
    assert unstated.density_kg_m3 == pytest.approx(stated.density_kg_m3, rel=1e-5)
    assert not unstated.provenance.warnings


def test_check_says_that_a_pressure_is_not_used(run, yard):
    stated = ("--set", "site.mean_pressure_hpa=1013", "--set", "site.elevation_m=800")
    shown = run("check", yard, *stated)
    assert "1013 hPa is more than 3 % from what an elevation of 800 m has" in shown.out


def test_power_law_of_the_normal_wind_profile():
    """IEC 61400-2 (exponent 0.2, from memory): from 10 m to 20 m the speed grows by 2^0.2."""
    assert SHEAR_EXPONENT.value == 0.2
    assert power_law_factor(10, 20, SHEAR_EXPONENT.value) == pytest.approx(1.1487, abs=5e-5)


def test_wind_power_classes_from_10_m_to_50_m():
    """Elliott et al. 1986, Wind Energy Resource Atlas of the United States, DOE/CH 10093-4 (from
    memory): class bounds in W/m2 and m/s for Rayleigh winds and a 1/7 power law. Speeds are rounded
    to 0.1 m/s there, which is 3 to 7 % in power; independent route: the two heights agree."""
    at_10_m = [(100, 4.4), (150, 5.1), (200, 5.6), (250, 6.0), (300, 6.4), (400, 7.0), (1000, 9.4)]
    at_50_m = [(200, 5.6), (300, 6.4), (400, 7.0), (500, 7.5), (600, 8.0), (800, 8.8), (2000, 11.9)]
    for (power_10, speed_10), (power_50, speed_50) in zip(at_10_m, at_50_m, strict=True):
        raised = speed_10 * power_law_factor(10, 50, 1 / 7)
        assert raised == pytest.approx(speed_50, abs=0.12)
        for power, speed in ((power_10, speed_10), (power_50, speed_50)):
            scale = speed / 0.886227
            assert 0.5 * 1.225 * moment(2.0, scale, 3) == pytest.approx(power, rel=0.055)


def test_roughness_classes():
    """Troen & Petersen 1989, European Wind Atlas, classes 0 to 3 (from memory). Independent route:
    the log law of class 1 between 10 m and 50 m lies near the 1/7 power law, which is the common
    value for open country."""
    classes = [TERRAINS[name].roughness_length_m for name in ("water", "open", "hedged", "built")]
    assert classes == [0.0002, 0.03, 0.10, 0.40]
    assert log_law_factor(10, 50, 0.03) == pytest.approx(power_law_factor(10, 50, 1 / 7), rel=0.02)


@given(heights, heights, heights, st.floats(0.0002, 0.5))
def test_going_up_in_two_steps_is_going_up_in_one(low, middle, high, roughness):
    both = log_law_factor(low, middle, roughness) * log_law_factor(middle, high, roughness)
    assert both == pytest.approx(log_law_factor(low, high, roughness))
    both = power_law_factor(low, middle, 0.2) * power_law_factor(middle, high, 0.2)
    assert both == pytest.approx(power_law_factor(low, high, 0.2))


@given(st.floats(5, 100), st.floats(5, 100), st.floats(0.001, 0.5), st.floats(0, 4))
def test_displacement_shifts_both_heights(low, high, roughness, displacement):
    shifted = log_law_factor(low + displacement, high + displacement, roughness, displacement)
    assert shifted == pytest.approx(log_law_factor(low, high, roughness), rel=1e-9)


def test_log_law_is_unknown_below_its_beginning():
    assert np.isnan(log_law_factor(10, 2.1, 0.4, 2.0))
    with pytest.raises(InputError, match="displacement"):
        to_hub(10, 2.1, roughness_length_m=0.4, displacement_m=2.0)


@pytest.mark.parametrize(
    ("from_m", "to_m", "site", "found"),
    [
        (4, 12, {"shear_exponent": 0.2}, (HeightsFarApart(4, 12),)),
        (10, 14, {"terrain": "built", "displacement_m": 7.0}, (NearRoughness(10),)),
        (10, 14, {"terrain": "built"}, ()),
        (60, 120, {"terrain": "open"}, (AboveSurfaceLayer(120),)),
    ],
)
def test_validity_is_warned_of(from_m, to_m, site, found):
    assert to_hub(from_m, to_m, **site).provenance.warnings == found


def test_the_assumed_exponent_is_said_only_where_it_matters():
    assert to_hub(10, 20).provenance.assumed == (Assumed(SHEAR_EXPONENT),)
    level = to_hub(10, 10)
    assert level.factor == 1
    assert level.standard_uncertainty == 0
    assert not level.provenance.assumed


def test_exponents_and_roughnesses_of_terrain_confirm_each_other():
    """Exponents: Masters 2004, table 6.3; roughnesses: Troen & Petersen 1989; both from memory,
    from different books. Independent route: the exponent of the log law between 10 m and 20 m."""
    for terrain in TERRAINS.values():
        by_log_law = np.log2(log_law_factor(10, 20, terrain.roughness_length_m))
        assert terrain.shear_exponent == pytest.approx(by_log_law, abs=0.035)
        assert terrain.roughness_source
        assert terrain.exponent_source


@given(heights, st.floats(0.05, 0.4))
def test_slopes_of_the_two_laws_turn_into_each_other(height, exponent):
    roughness = slope_roughness_m(height, exponent)
    assert slope_exponent(height, roughness) == pytest.approx(exponent)
    step = 1e-4 * height
    near = np.log(log_law_factor(height, height + step, roughness)) / np.log1p(step / height)
    assert near == pytest.approx(exponent, rel=1e-3)


@given(heights, heights, st.sampled_from(sorted(TERRAINS)))
def test_the_other_law_is_part_of_the_uncertainty(low, high, terrain):
    step = to_hub(low, high, terrain=terrain)
    difference = abs(step.other_factor / step.factor - 1)
    assert step.standard_uncertainty >= difference / np.sqrt(3) - 1e-12
    stated = to_hub(low, high, shear_exponent=0.2)
    assert stated.other_factor is None or stated.other_factor <= stated.factor + 1e-12


def test_laws_broadcast_over_a_map():
    """One site is the zero-dimensional case."""
    roughness = np.array([[0.0002, 0.03], [0.1, 0.4]])
    grid = log_law_factor(10, np.array([20.0, 40.0])[:, None, None], roughness)
    assert grid.shape == (2, 2, 2)
    assert grid[1, 0, 1] == log_law_factor(10, 40, 0.03)


def test_moist_air_by_an_independent_formula():
    """CIPM-2007 against the simplified formula of OIML R 111-1 (2004), E.3, stated to agree to 2e-4
    for 900 to 1100 hPa, 10 to 30 C and below 80 % humidity (both from memory)."""
    pressure = np.array([900.0, 1013.25, 1100.0])[:, None, None]
    celsius = np.array([15.0, 20.0, 25.0, 30.0])[:, None]
    humidity = np.array([0.1, 0.5, 0.8])
    simple = (0.34848 * pressure - 0.9 * humidity * np.exp(0.061 * celsius)) / (celsius + 273.15)
    full = moist_air_density(pressure * 100, celsius + 273.15, humidity)
    np.testing.assert_allclose(full, simple, rtol=2e-4)


def test_saturation_pressure_of_water():
    """Steam tables (IAPWS, from memory): 611.2 Pa at 0 C, 1228 at 10, 2339 at 20, 4247 at 30."""
    found = saturation_pressure_pa(np.array([0.0, 10.0, 20.0, 30.0]) + 273.15)
    np.testing.assert_allclose(found, [611.2, 1228, 2339, 4247], rtol=3e-4)


@given(st.floats(600, 1080), st.floats(-30, 40), st.floats(0, 1))
def test_vapour_makes_air_lighter(pressure, celsius, humidity):
    dry = moist_air_density(pressure * 100, celsius + 273.15, 0.0)
    assert moist_air_density(pressure * 100, celsius + 273.15, humidity) <= dry
    assert dry == pytest.approx(gas_law_density(pressure * 100, celsius + 273.15), rel=1.5e-3)


def test_density_by_month_weighs_the_windy_months():
    """By hand: a half-year of 0 C with eight times the mean cube of that of 20 C, dry air."""
    time = np.arange("2025-01-01", "2026-01-01", dtype="datetime64[h]")
    winter = np.arange(12) < 6
    of_winter = winter[time.astype("datetime64[M]").astype(int) % 12]
    months = monthly_air(time, np.where(of_winter, 8.0, 4.0), np.where(of_winter, 0.0, 20.0))
    air = air_at_hub(0, 0, 10.0, None, None, months)
    cold, warm = gas_law_density(101325, [273.15, 293.15])
    assert air.month_density_kg_m3[0] == pytest.approx(cold)
    assert air.month_density_kg_m3[6] == pytest.approx(warm)
    assert air.mean_density_kg_m3 == pytest.approx((181 * cold + 184 * warm) / 365, rel=1e-3)
    weights = 8 * 181, 184
    assert air.density_kg_m3 == pytest.approx(
        (weights[0] * cold + weights[1] * warm) / sum(weights), rel=1e-3
    )
    assert air.provenance.assumed == ()
    assert air.standard_uncertainty == KNOWN_TEMPERATURE_UNCERTAINTY
    assert air.season_effect == pytest.approx(air.density_kg_m3 / air.mean_density_kg_m3 - 1)
    assert "energy" in air.provenance.method
    assert (
        f"{100 * (air.density_kg_m3 / 1.225 - 1):+.1f} % power against 1.225"
        in air.provenance.method
    )


def test_weeks_of_frost_are_not_the_temperature_of_the_year():
    """The months that no reading knows have the standard atmosphere's, and that is said."""
    time = np.arange("2025-01-04", "2025-01-25", dtype="datetime64[h]")
    months = monthly_air(time, np.full(time.size, 5.0), np.full(time.size, -5.0))
    air = air_at_hub(700, 12, -5.0, None, None, months)
    standard = air_at_hub(700, 12)
    always = air_at_hub(700, 12, -5.0)
    share = (always.density_kg_m3 / standard.density_kg_m3 - 1) * 31 / 365.25
    assert air.density_kg_m3 == pytest.approx(standard.density_kg_m3 * (1 + share), rel=1e-4)
    assert air.month_density_kg_m3[0] == pytest.approx(always.density_kg_m3)
    assert air.month_density_kg_m3[1] is None
    assert always.standard_uncertainty < air.standard_uncertainty < standard.standard_uncertainty
    (assumed,) = air.provenance.assumed
    assert "in 11 of the 12 months" in sentence(assumed)
    (of_all,) = standard.provenance.assumed
    assert "months" not in sentence(of_all)


def test_humidity_is_counted_and_said():
    dry, moist = air_at_hub(0, 10, 25.0), air_at_hub(0, 10, 25.0, relative_humidity=0.8)
    assert -0.012 < moist.humidity_effect < -0.007
    assert moist.density_kg_m3 < dry.density_kg_m3
    assert "CIPM-2007" in moist.provenance.method
