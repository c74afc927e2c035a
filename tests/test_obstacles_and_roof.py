"""Obstacles, roofs and turbulence, against published behaviour and by hand."""

import numpy as np
import pytest
from conftest import kinds
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from yieldest.energy.annual_energy import in_turbulence
from yieldest.energy.closed_form import mean_power_w
from yieldest.hub.obstacles import (
    PROFILE_EXPONENT,
    Obstacle,
    ObstacleTooNear,
    RotorNearObstacle,
    ShelterAllRound,
    fence_shelter,
    kept_by_direction,
    shelter,
    siting_warnings,
    width_share,
)
from yieldest.hub.rooftop import (
    MachineOnRoof,
    Roof,
    RotorInDisturbedFlow,
    disc_share_below,
    disturbed_height_m,
    on_roof,
    span_share_below,
)
from yieldest.hub.turbulence import (
    added_intensity,
    curve_in_turbulence,
    power_in_turbulence_w,
)
from yieldest.provenance import Provenance
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.distribution import WindDistribution

CURVE = np.array([3.0, 5.0, 8.0, 11.0, 20.0]), np.array([0.0, 80.0, 400.0, 900.0, 900.0])


def test_the_wake_moment_does_not_change_downwind():
    """Counihan, Hunt & Jackson 1974: behind a fence the integral of z^(1+n) times the deficit is
    the same everywhere. That fixes the powers of distance in Perera's formula independently of how
    the formula was recalled."""

    def moment(distance):
        def part(z):
            free = z**PROFILE_EXPONENT  # of the speed at fence height, z in fence heights
            return z ** (1 + PROFILE_EXPONENT) * free * fence_shelter(z, distance, 1.0)

        return quad(part, 1e-6, 40, limit=200)[0]

    near = moment(20.0)
    for distance in (30.0, 60.0):
        assert moment(distance) == pytest.approx(near, rel=0.01)


def test_shelter_as_windbreaks_have_it():
    """Common practice of windbreaks, no source: a solid one halves the wind at half its height ten
    heights downwind, within a fifth; nothing is left at fifty heights; a hedge of half porosity
    takes half as much; and the usual small-wind rule of twice the height and twenty heights away is
    about where a fifth is lost."""
    assert fence_shelter(2, 40, 4) == pytest.approx(0.5, rel=0.2)
    assert fence_shelter(4, 200, 4) < 0.1
    assert fence_shelter(2, 40, 4, 0.5) == pytest.approx(fence_shelter(2, 40, 4) / 2)
    assert 0.1 < fence_shelter(8, 80, 4) < 0.2
    assert fence_shelter(20, 40, 4) < 0.001


@given(st.floats(1, 30), st.floats(5, 80), st.floats(0.5, 10), st.floats(0, 1))
def test_shelter_is_a_share_and_fades_with_distance(height, heights_away, fence, porosity):
    here = fence_shelter(height, heights_away * fence, fence, porosity)
    assert 0 <= here <= 1
    if height <= fence:
        assert fence_shelter(height, 2 * heights_away * fence, fence, porosity) <= here + 1e-12


def test_the_two_pieces_of_the_width_rule_meet():
    """Troen & Petersen 1989: at a width of 0.3 distances both say 0.6."""
    assert width_share(0.3, 1.0) == pytest.approx(0.6)
    assert width_share(0.3 - 1e-9, 1.0) == pytest.approx(0.6)
    assert width_share(1e9, 1.0) == pytest.approx(1.0)


def test_only_wind_from_behind_the_obstacle_is_sheltered():
    kept = kept_by_direction(
        [Obstacle(height_m=8, width_m=40, distance_m=60, bearing_deg=350)], 8, 0.03
    )
    assert kept[350] == kept.min()
    assert (kept[40:300] == 1).all()
    half_width = np.rad2deg(np.arctan(20 / 60))
    full = fence_shelter(8, 60, 8) * width_share(40, 60)
    assert kept[350] == pytest.approx(1 - full)
    # The wander of the wind spreads the shelter, and takes none of it away.
    arc = np.abs((np.arange(360) - 350 + 180) % 360 - 180) <= half_width
    assert (1 - kept).sum() == pytest.approx(full * arc.sum())


def test_shelter_by_direction_and_all_round():
    wall = [Obstacle(height_m=8, width_m=60, distance_m=80, bearing_deg=270)]
    speed = np.full(1000, 6.0)
    west, _ = shelter(wall, 9, run=speed, direction_deg=np.full(1000, 270.0))
    east, each = shelter(wall, 9, run=speed, direction_deg=np.full(1000, 90.0))
    assert west.factor == pytest.approx(kept_by_direction(wall, 9, 0.03).min())
    assert east.factor == 1
    assert each.shape == speed.shape
    round_about, none = shelter(wall, 9, run=speed)
    assert none is None
    assert west.factor < round_about.factor < 1
    assert ShelterAllRound() in round_about.provenance.assumed
    assert round_about.standard_uncertainty > 0.5 * (1 - round_about.factor)


@pytest.mark.parametrize("points", [8, 16])
@pytest.mark.parametrize("bearing_deg", [225, 240, 247])
def test_points_of_the_compass_are_sheltered_as_all_the_directions_they_stand_for(
    points, bearing_deg
):
    wall = [Obstacle(height_m=8, width_m=20, distance_m=60, bearing_deg=bearing_deg)]
    true_deg = np.arange(0.5, 360, 0.25)
    rounded_deg = np.round(true_deg * points / 360) % points * 360 / points
    run = np.ones(true_deg.size)
    true, _ = shelter(wall, 9, run=run, direction_deg=true_deg)
    rounded, each = shelter(wall, 9, run=run, direction_deg=rounded_deg)
    assert 1 - rounded.factor == pytest.approx(1 - true.factor, rel=0.05)
    assert each[rounded_deg == 45] == pytest.approx(1)
    rounded_deg[0] = np.nan
    _, one_unknown = shelter(wall, 9, run=run, direction_deg=rounded_deg)
    assert one_unknown[0] == pytest.approx(shelter(wall, 9, run=run)[0].factor)


def test_an_anemometer_behind_the_same_wall_knows_the_shelter_already():
    wall = [Obstacle(height_m=6, width_m=60, distance_m=60, bearing_deg=270)]
    readings = {"run": np.full(9, 5.0), "direction_deg": np.full(9, 270.0)}
    same, _ = shelter(wall, 10, anemometer_height_m=10, **readings)
    lower, _ = shelter(wall, 12, anemometer_height_m=6, **readings)
    assert same.factor == pytest.approx(1)
    assert lower.factor > 1  # out of the lee, upwards
    assert lower.factor <= 2  # and never taken back from more than half


def test_too_near_is_said():
    near, _ = shelter([Obstacle(height_m=8, width_m=20, distance_m=15, bearing_deg=0)], 9)
    assert near.provenance.warnings == (ObstacleTooNear(8, 15),)
    far, _ = shelter([Obstacle(height_m=8, width_m=20, distance_m=60, bearing_deg=0)], 9)
    assert not far.provenance.warnings


def test_the_siting_rule():
    """The rotor's bottom 9 m above anything within 150 m (common practice, no source)."""
    house = Obstacle(height_m=7, width_m=12, distance_m=100, bearing_deg=0)
    assert siting_warnings(15.9, [house], None)
    assert not siting_warnings(16.0, [house], None)
    assert not siting_warnings(
        8.0, [Obstacle(height_m=7, width_m=12, distance_m=151, bearing_deg=0)], None
    )
    assert siting_warnings(12.0, [house], 8.0) == (RotorNearObstacle(4.0, 8.0, None),)
    (below,) = siting_warnings(6.0, [house], None)
    assert below == RotorNearObstacle(-1.0, 7.0, 100.0)


def test_disturbed_height_over_a_roof_by_hand():
    """Wilson 1979: for a cube of 10 m the scale is 10 m; at 5 m from the edge 2.7 - 0.5 and
    2.8 * 0.5^0.33 = 2.228 m, so 2.228."""
    assert disturbed_height_m(10, 10, 5) == pytest.approx(2.2275, abs=1e-3)
    assert disturbed_height_m(10, 10, 1) == pytest.approx(2.6)
    # A face counts at most eight times as wide as it is high.
    assert disturbed_height_m(5, 40, 4) == disturbed_height_m(5, 400, 4)


@given(st.floats(-3, 3), st.floats(0.3, 3))
def test_share_of_a_disc_below_a_height(above_hub, radius):
    share = disc_share_below(10 + above_hub, 10, radius)
    strip = quad(
        lambda y: 2 * np.sqrt(max(0.0, radius**2 - y**2)),
        -radius,
        float(np.clip(above_hub, -radius, radius)),
    )[0]
    assert share == pytest.approx(strip / (np.pi * radius**2), abs=1e-6)
    assert 0 <= span_share_below(10 + above_hub, 10, 2 * radius) <= 1


def test_a_roof_never_gives_a_gain():
    flat = Roof(edge_height_m=9, width_m=14, edge_distance_m=5)
    low = on_roof(flat, 10, rotor_diameter_m=1.5)
    high = on_roof(flat, 14, rotor_diameter_m=1.5)
    assert low.disturbed_share == 1
    assert low.factor == pytest.approx(0.5)
    assert high.factor == 1
    assert RotorInDisturbedFlow in kinds(low.provenance.warnings)
    assert kinds(high.provenance.warnings) == {MachineOnRoof}
    measured_there = on_roof(flat, 14, rotor_diameter_m=1.5, anemometer_height_m=10)
    assert measured_there.factor == 1
    assert low.standard_uncertainty > 0.4


@settings(max_examples=25, deadline=None)
@given(st.floats(1, 24), st.floats(0.01, 0.5))
def test_power_in_turbulence_by_numerical_integration(mean, intensity):
    nodes, power = CURVE
    spread = intensity * mean
    expected = sum(
        quad(lambda v: np.interp(v, nodes, power) * norm.pdf(v, mean, spread), low, high)[0]
        for low, high in zip(np.linspace(3, 20, 40)[:-1], np.linspace(3, 20, 40)[1:], strict=True)
    )
    assert power_in_turbulence_w(mean, intensity, nodes, power) == pytest.approx(
        expected, abs=1e-4 * power.max()
    )


def test_turbulence_works_by_the_bend_of_the_curve():
    """To second order the change is s^2 P''/2: for P = v^3 it is 3 (s/v)^2 of P (calculus)."""
    nodes = np.linspace(0.01, 40, 4000)
    cube = power_in_turbulence_w(10.0, 0.1, nodes, nodes**3)
    assert cube == pytest.approx(1000 * (1 + 3 * 0.01), rel=1e-4)
    speed, power = curve_in_turbulence(*CURVE, 0.2)
    assert np.interp(11.0, speed, power) < 900  # at the knee
    assert np.interp(5.0, speed, power) > 80  # where the curve bends up
    assert speed[0] == 3.0
    assert speed[-1] == 20.0
    assert added_intensity(0.1, 0.2) == 0
    assert added_intensity(0.13, 0.05) == pytest.approx(0.12)


def test_only_the_loss_by_turbulence_is_counted():
    thrust = np.array([0.8, 0.8, 0.8, 0.5, 0.2])
    curve = PowerCurve(*CURVE, thrust_coefficient=thrust)
    windy = WindDistribution(3.5, 11.5, 0.0, 12.0, Provenance("", ""))
    calm = WindDistribution(2.0, 4.0, 0.0, 12.0, Provenance("", ""))
    blurred, loss = in_turbulence(curve, windy, 0.25)
    assert loss.counted
    assert loss.effect < 0
    assert np.interp(CURVE[0], blurred.speed_ms, blurred.thrust_coefficient) == pytest.approx(
        thrust
    )
    after = mean_power_w(3.5, 11.5, blurred.speed_ms, blurred.power_w)
    assert after == pytest.approx(mean_power_w(3.5, 11.5, *CURVE) * (1 + loss.effect))
    same, gain = in_turbulence(curve, calm, 0.25)
    assert not gain.counted
    assert gain.effect > 0
    assert same is curve
