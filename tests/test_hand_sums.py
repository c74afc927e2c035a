"""Tables against the standards they come from, and results against sums written out by hand."""

from types import SimpleNamespace

import numpy as np
import pytest
from pydantic import ValidationError

from yieldest.economics.evaluation import Embodied
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.annual_energy import (
    MuchBeyondLastSpeed,
    annual_energy,
    energy_steps,
    in_turbulence,
    spread_put_back,
)
from yieldest.energy.by_month import energy_by_month
from yieldest.energy.cables import Cable, Converter, copper_resistance_ohm_per_m
from yieldest.energy.closed_form import share_at_power
from yieldest.energy.demand import Demand, read_load_profile, standard_profile
from yieldest.energy.losses import LOSS_CATEGORIES, losses_of
from yieldest.energy.net_energy import SpeedSeries, draw_without_output_kwh, usual_years
from yieldest.turbine.power_curve import PowerCurve
from yieldest.units import BEAUFORT_EDGES_MS, unit_of
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.weibull import fit_maximum_likelihood, fit_moments
from yieldest.wind.weibull_fits import least_squares_fit, pattern_factor_fit

CURVE = PowerCurve([3, 6, 9, 12], [0, 100, 350, 400], 4.0, air_density_kg_m3=1.2)
WIND = WindDistribution.weibull(2.0, 7.0, height_m=12)


def test_copper_conductors_are_those_of_the_standard():
    """IEC 60228:2004, tables 1 and 2 (plain copper), from memory; each lies 2 to 14 % above 1/58
    ohm mm2/m (IEC 60028) over the nominal section."""
    sections = [0.5, 0.75, 1, 1.5, 2.5, 4, 6, 10, 16, 25, 35, 50, 70, 95, 120]
    ohm_per_km = [36.0, 24.5, 18.1, 12.1, 7.41, 4.61, 3.08, 1.83, 1.15, 0.727, 0.524, 0.387, 0.268,
                  0.193, 0.153]  # fmt: skip
    found = copper_resistance_ohm_per_m(sections)
    np.testing.assert_allclose(1000 * found, ohm_per_km, rtol=1e-12)
    over = found * np.array(sections) * 58
    assert ((over > 1.02) & (over < 1.14)).all()


@pytest.mark.parametrize(
    ("arrangement", "conductors", "phases"),
    [("dc", 2, 1), ("single-phase", 2, 1), ("three-phase", 3, 3**0.5)],
)
def test_a_cable_loses_the_square_of_its_current_in_each_conductor(arrangement, conductors, phases):
    """Ohm and Joule: what is lost is the current squared times the resistance, warm copper
    0.393 % more for each degree above 20 (IEC 60028)."""
    factor = 1.0 if arrangement == "dc" else 0.9
    cable = Cable(
        length_m=50,
        cross_section_mm2=6,
        voltage_v=230,
        arrangement=arrangement,
        power_factor=factor,
        conductor_temperature_c=50,
        carries="the array",
    )
    arriving = float(cable.delivered_w(3000.0))
    current = arriving / (phases * 230 * factor)
    assert cable.current_a(3000.0) == pytest.approx(current)
    ohm = 50 * 3.08e-3 * (1 + 0.00393 * 30)
    assert 3000 - arriving == pytest.approx(conductors * current**2 * ohm, rel=1e-9)
    plain = Cable(
        length_m=1, cross_section_mm2=6, voltage_v=48, arrangement="dc", carries="the array"
    )
    assert plain.loss_ohm == pytest.approx(2 * 3.08e-3)


def test_cables_and_converters_have_bounds():
    fixed = {"length_m": 10, "voltage_v": 48, "arrangement": "dc", "carries": "the array"}
    for section, is_fine in ((0.1, True), (1000, True), (0.099, False), (1001, False)):
        if is_fine:
            assert Cable(cross_section_mm2=section, **fixed).loss_ohm > 0
        else:
            with pytest.raises(ValidationError):
                Cable(cross_section_mm2=section, **fixed)
    assert Converter(efficiency=1, carries="the array").delivered_w(5.0) == 5
    for efficiency in (0, 1.001):
        with pytest.raises(ValidationError):
            Converter(efficiency=efficiency, carries="the array")
    assert Demand(kwh_per_year=1e7).kwh_per_year == 1e7
    assert Demand(kwh_per_year=0.5).kwh_per_year == 0.5
    for kwh in (0, 1.1e7):
        with pytest.raises(ValidationError):
            Demand(kwh_per_year=kwh)


def test_beaufort_numbers_begin_halfway_between_whole_knots():
    """WMO states them in knots: 1, 4, 7, ... (WMO-No. 306, section E); a number begins half a knot
    below, here to the step of the table in m/s."""
    knots = np.array([1, 4, 7, 11, 17, 22, 28, 34, 41, 48, 56, 64])
    np.testing.assert_allclose(BEAUFORT_EDGES_MS[1:], (knots - 0.5) * 1852 / 3600, atol=0.5)
    assert BEAUFORT_EDGES_MS[0] == 0


@pytest.mark.parametrize(
    ("quantity", "text", "unit"),
    [
        ("speed", "m s", "m/s"), ("speed", "km h-1", "km/h"), ("speed", "miles per hour", "mph"),
        ("speed", "ft s-1", "ft/s"), ("speed", "knots", "kn"), ("direction", "deg n", "deg"),
        ("direction", "10 deg", "tens of degrees"), ("temperature", "deg c", "C"),
        ("temperature", "deg f", "F"), ("pressure", "in hg", "inHg"), ("pressure", "mm hg", "mmHg"),
    ],
)  # fmt: skip
def test_units_of_several_words_are_known(quantity, text, unit):
    assert unit_of(quantity, text) == unit


def test_a_household_has_a_hump_in_the_morning_and_one_in_the_evening():
    """What the method promises: quiet nights, humps at seven and nineteen, no leap between."""
    day = standard_profile(3000).drawn_kw[3, 0]
    assert np.abs(np.diff(day, append=day[0])).max() < 0.5 * day.mean()
    higher = (day > np.roll(day, 1)) & (day > np.roll(day, -1))
    assert set(np.flatnonzero(higher)) == {7, 12, 19}  # noon has a small one
    assert day[[2, 3]].max() == day.min() and day.argmax() == 19


def test_losses_that_nobody_states_are_those_of_the_page_of_methods():
    """Common practice, no source: 5 % standing, 2 % below the curve, 5 % wires, 2 % dirt; half as
    uncertain as they are, a quarter where stated."""
    alone = {each.category: each for each in losses_of({"availability": 0.1}, 1)}
    assert {name: each.share for name, each in alone.items()} == {
        "availability": 0.1, "wake": 0, "turbine_performance": 0.02, "electrical": 0.05,
        "environmental": 0.02, "curtailment": 0,
    }  # fmt: skip
    assert alone["availability"].standard_uncertainty == pytest.approx(0.025)
    assert alone["electrical"].standard_uncertainty == pytest.approx(0.025)
    assert losses_of({}, 1)[0].share == 0.05
    assert losses_of({}, 2)[1].share == 0.05


speeds = np.random.default_rng(5).weibull(2, 400) * 7
SERIES = SpeedSeries(np.append(speeds, [3.0, 6.0, 12.0]), np.linspace(1, 3, 403))


def test_a_series_gives_what_each_of_its_values_gives():
    factors = np.array([[0.7, 1.0], [1.1, 1.6]])
    found = SERIES.mean_power_w(factors, CURVE.speed_ms, CURVE.power_w)
    generating = SERIES.share_at_power(factors, CURVE.speed_ms, CURVE.power_w, 0)
    strong = SERIES.share_at_power(factors, CURVE.speed_ms, CURVE.power_w, 225)
    stormy = SERIES.share_above(factors, 12.0)
    share = SERIES.weight / SERIES.weight.sum()
    for at, factor in np.ndenumerate(factors):
        power = CURVE.power_at(SERIES.speed_ms * factor)
        assert found[at] == pytest.approx((share * power).sum(), rel=1e-12)
        assert generating[at] == pytest.approx(share[power > 0].sum(), abs=1e-12)
        assert strong[at] == pytest.approx(share[power >= 225].sum(), abs=1e-12)
        assert stormy[at] == pytest.approx(share[SERIES.speed_ms * factor > 12].sum(), abs=1e-12)


def test_a_level_stretch_is_at_its_power():
    """400 W from 9 to 12 m/s: exp(-(9/7)^2) - exp(-(12/7)^2) of the time, with what rises to it."""
    level = share_at_power(2.0, 7.0, [3, 9, 12, 15], [0, 400, 400, 0], 400)
    assert level == pytest.approx(np.exp(-((9 / 7) ** 2)) - np.exp(-((12 / 7) ** 2)))


def test_energy_at_round_means_and_the_draw_of_a_converter_by_hand():
    """The Rayleigh share of time above v at a mean of 5 m/s is exp(-pi (v/5)^2 / 4)."""
    level = PowerCurve([4, 10], [200, 200], power_uncertainty_w=[20, 20])
    above = np.exp(-np.pi / 4 * (np.array([4, 10]) / 5) ** 2)
    years = usual_years(level)
    five = list(years.mean_ms).index(5.0)
    assert years.energy_kwh[five] == pytest.approx(0.2 * 8760 * (above[0] - above[1]))
    assert years.uncertainty_kwh[five] == pytest.approx(years.energy_kwh[five] / 10)
    assert draw_without_output_kwh(5.0, 0.4, 2) == pytest.approx(2 * 0.005 * 8760 * 0.6)


def test_a_year_and_the_way_to_it_by_hand():
    """The mean cube of a Rayleigh-shaped wind of scale A is A^3 times 0.75 root of pi (calculus);
    Betz 16/27."""
    year = annual_energy(WIND, CURVE, losses={}, count=2)
    assert year.fitted_gross_kwh == year.gross_kwh
    assert year.time_series_gross_kwh is None
    assert not year.from_time_series
    assert year.capacity_factor == pytest.approx(year.net_kwh / (2 * 0.4 * 8760))
    carried = 0.5 * 1.2 * 4.0 * 343 * 0.75 * np.pi**0.5 * 2 * 8.76
    wind, betz, gross, *_, last = energy_steps(WIND, CURVE, year, None)
    assert wind.left_kwh == pytest.approx(carried)
    assert betz.left_kwh == pytest.approx(carried * 16 / 27)
    assert gross.left_kwh == year.gross_kwh
    assert last.left_kwh == pytest.approx(year.net_kwh)


@pytest.mark.parametrize(("last_ms", "warned"), [(7.0, True), (11.0, False)])
def test_much_energy_above_what_was_measured_is_warned_of(last_ms, warned):
    curve = PowerCurve(
        CURVE.speed_ms, CURVE.power_w, last_measured_ms=last_ms, extrapolation="hold"
    )
    year = annual_energy(WIND, curve)
    found = [each for each in year.provenance.warnings if isinstance(each, MuchBeyondLastSpeed)]
    assert (year.extrapolated_kwh / year.gross_kwh > 0.1) == warned == bool(found)


def test_what_a_spread_put_back_is_worth_by_hand():
    """A machine with power in proportion to the speed, and a spread that raises every speed by its
    factor: the energy is 1 + t times that of the means."""
    hidden = SimpleNamespace(
        interval_hours=24.0, uncertainty=0.2, spread_again=lambda speed, times: speed * (1 + times)
    )
    straight = PowerCurve([0, 100], [0, 1000])
    found = spread_put_back(hidden, straight, SpeedSeries(np.array([4.0, 8.0]), np.ones(2)))
    exponent = np.log(2.1 / 1.9) / np.log(1.1 / 0.9)
    assert found.energy_gain == pytest.approx(1.0)
    assert found.exponent == pytest.approx(exponent)
    assert found.energy_uncertainty == pytest.approx(0.2 * exponent)
    assert spread_put_back(hidden, PowerCurve([50, 60], [0, 1]), SERIES) is None


def test_no_power_no_effect_of_turbulence():
    _, effect = in_turbulence(PowerCurve([3, 12], [0, 0]), WIND, 0.3)
    assert effect.effect == 0 and not effect.counted


def test_months_sum_to_the_year_and_nothing_gives_none():
    time = np.datetime64("2021-01-01T00") + np.arange(8760) * np.timedelta64(1, "h")
    wind = SpeedSeries(np.random.default_rng(2).weibull(2, 8760) * 6, np.ones(8760))
    months = energy_by_month(time, wind, CURVE, 500.0)
    assert months.month_kwh.sum() == pytest.approx(500, rel=1e-9)
    january = CURVE.power_at(wind.speed_ms[:744]).sum() / CURVE.power_at(wind.speed_ms).sum()
    assert months.month_kwh[0] == pytest.approx(500 * january, rel=1e-9)
    for curve, kwh in ((PowerCurve([3, 12], [0, 0]), 500.0), (CURVE, 0.0), (CURVE, -1.0)):
        assert energy_by_month(time, wind, curve, kwh) is None
    assert energy_by_month(time, wind, CURVE, 0.5) is not None


def test_embodied_energy_and_carbon_are_paid_back_by_each_kwh():
    terms = EconomicTerms(discount_rate=0.04, life_years=15, grid_carbon_kg_per_kwh=0.4)
    embodied = Embodied(3, 900.0, 120.0, 0, 1)
    years, found = embodied.paybacks(0.5, terms)
    assert years == {"energy_payback_years": 1800.0, "carbon_payback_years": 600.0}
    assert [each.figure for each in found] == ["carbon"]
    assert embodied.paybacks(0.0, terms) == ({}, [])
    whole = Embodied(3, 900.0, 120.0, 1, 0)
    assert len(whole.paybacks(300.0, terms)[1]) == 1
    assert Embodied(3, 900.0, 120.0, 0, 0).paybacks(300.0, terms)[1] == []


def test_calms_stay_out_of_the_pattern_factor():
    """k = 1 + 3.69 / (mean cube / cubed mean)^2 (Akdag & Dinler 2009) of speeds above zero."""
    speed = np.array([0.0, 0.0, 2.0, 5.0, 7.0])
    weight = np.array([4.0, 1.0, 1.0, 2.0, 1.0])
    mean, cube = (2 + 10 + 7) / 4, (8 + 250 + 343) / 4
    shape, _ = pattern_factor_fit(speed, weight)
    assert shape == pytest.approx(1 + 3.69 / (cube / mean**3) ** 2)


def test_many_winds_are_fitted_like_each():
    rng = np.random.default_rng(8)
    speed = np.append([0.0, 0.0], rng.weibull(2, 60) * 7)
    weight = rng.uniform(0.5, 2, (3, 62))
    for fit in (pattern_factor_fit, fit_maximum_likelihood, fit_moments):
        together = np.array(fit(speed, weight))
        alone = np.array([fit(speed, one) for one in weight]).T
        np.testing.assert_allclose(together, alone, rtol=1e-9)
    bounds = np.array([2.0, 4.0, 6.0, 9.0])
    below = np.array([[0.1, 0.3, 0.5, 0.9], [0.0, 0.2, 0.6, 1.0], [0.0, 0.0, 0.4, 1.0]])
    together = np.array(least_squares_fit(bounds, below))
    alone = np.array([least_squares_fit(bounds, one) for one in below]).T
    np.testing.assert_allclose(together, alone, rtol=1e-12)
    assert np.isfinite(together[:, :2]).all() and np.isnan(together[0, 2])


@pytest.mark.parametrize(
    ("heading", "kilowatts"),
    [("energy (kWh)", 1.0), ("energy (Wh)", 1e-3), ("power (kW)", 1.0), ("power (W)", 1e-3),
     ("power (watts)", 1e-3)],
)  # fmt: skip
def test_a_load_profile_by_the_hour_in_each_unit(tmp_path, heading, kilowatts):
    path = tmp_path / "meter.csv"
    path.write_text(heading + "\n" + "\n".join(["420"] * 8760))
    assert read_load_profile(path).drawn_kw[2, 3, 4] == pytest.approx(420 * kilowatts)


def test_what_holds_without_a_stated_loss_is_said():
    said = {name: each.left_out for name, each in LOSS_CATEGORIES.items()}
    assert said["availability"] == "0.05 is assumed"
    assert said["wake"].startswith("0 is assumed, 0.05 for several machines; computed where")
