"""Wakes and layouts against the published formulas worked by hand, and their limits."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from yieldest.defaults import THRUST_COEFFICIENT, WAKE_DECAY, Assumed
from yieldest.energy.array_losses import (
    Array,
    DirectionsNotKnown,
    EfficiencyUncertaintyAssumed,
    MachineArray,
    MachinesHelpEachOther,
    RotorsInNearWake,
    RotorsSideBySide,
    WakesOfVerticalAxis,
)
from yieldest.energy.wakes import (
    covered_share,
    downwind_and_across,
    grid_positions,
    in_sectors,
    nearest_neighbour,
    rose_of_weibull,
    single_wake_deficit,
    speeds_in_array,
)
from yieldest.provenance import Provenance
from yieldest.turbine.power_curve import PowerCurve

EIGHT_NINTHS = 8 / 9  # the thrust coefficient at which a rotor takes most power (Betz 1920)
EVER = ([0.0, 100.0], [EIGHT_NINTHS, EIGHT_NINTHS])
NEVER = ([0.0, 100.0], [0.0, 0.0])

places = st.lists(
    st.tuples(st.integers(-40, 40), st.integers(-40, 40)), min_size=2, max_size=6, unique=True
).map(lambda points: np.array(points, dtype=float))
bearings = st.floats(0, 360)


def curve(power_w=(0.0, 100.0, 400.0, 400.0), speed_ms=(3.0, 6.0, 12.0, 20.0), thrust=None):
    return PowerCurve(
        speed_ms=np.array(speed_ms),
        power_w=np.array(power_w),
        air_density_kg_m3=1.225,
        rated_power_w=max(power_w),
        last_measured_ms=speed_ms[-1],
        rotor_area_m2=None,
        provenance=Provenance("test", "test"),
        thrust_coefficient=None if thrust is None else np.array(thrust),
    )


def row(spacing, bearing=0, **more):
    return Array(layout="row", bearing_deg=bearing, spacing_rotor_diameters=spacing, **more)


def joined(layout, count, rose=None, **more):
    rose = rose_of_weibull(2.0, 7.0, 20.0) if rose is None else rose
    return MachineArray(rose, curve(), 1.0, False, count, layout, **more)


def wake(machines, count):
    (loss,) = machines.losses(count)
    assert loss.category == "wake"
    return loss


def factor(machines, count):
    return 1 - wake(machines, count).share


def test_a_single_wake_is_jensens():
    """N. O. Jensen, Risoe-M-2411, 1983: v = u (1 - 2/3 (r / (r + a x))^2) at the Betz optimum. With
    r = 20 m, a = 0.1 and x = 100 m by hand: 2/3 (20/30)^2 = 0.29630."""
    assert single_wake_deficit(100 / 40, EIGHT_NINTHS, 0.1) == pytest.approx(0.29630, abs=5e-6)


def test_a_single_wake_by_thrust_is_katics():
    """Katic, Hojstrup & Jensen 1986: (1 - sqrt(1 - Ct)) (D / (D + 2 k x))^2. With Ct = 0.75,
    k = 0.075 and x = 8 D by hand: 0.5 / 2.2^2 = 0.103306."""
    assert single_wake_deficit(8.0, 0.75, 0.075) == pytest.approx(0.103306, abs=5e-7)


def test_wakes_one_behind_the_other_add_by_their_squares():
    """Katic, Hojstrup & Jensen 1986. Three in line, 5 D apart, Ct = 8/9, k = 0.1, by hand: one wake
    takes 2/3 / 2^2 = 0.166667, one of 10 D 2/3 / 3^2 = 0.074074; together the root of the squares,
    0.182389."""
    speeds = speeds_in_array([10.0], [[0, 0], [0, -5], [0, -10]], [0.0], *EVER, wake_decay=0.1)
    assert speeds[0, :, 0] == pytest.approx([10.0, 8.33333, 8.17611], abs=1e-4)


def test_a_disc_half_way_out_is_covered_as_the_lens_of_two_circles_says():
    """Two equal circles with their centres one radius apart share 2/3 - sqrt(3)/(2 pi) = 0.39100 of
    each (plane geometry)."""
    share = covered_share(0.5, 0.5)
    assert share == pytest.approx(2 / 3 - math.sqrt(3) / (2 * math.pi), abs=1e-12)


@pytest.mark.parametrize(("across", "wake"), [(0.3, 0.6), (0.9, 0.8), (1.2, 0.75), (0.6, 1.0)])
def test_the_covered_share_is_what_counting_points_gives(across, wake):
    grid = np.linspace(-0.5, 0.5, 1201)
    x, y = np.meshgrid(grid, grid)
    disc = x**2 + y**2 <= 0.25
    in_wake = (x - across) ** 2 + y**2 <= wake**2
    assert covered_share(across, wake) == pytest.approx(
        (disc & in_wake).sum() / disc.sum(), abs=2e-3
    )


def test_the_covered_share_is_all_inside_and_nothing_outside():
    assert covered_share([0.0, 0.5, 2.0, 1.5], [0.5, 1.0, 1.5, 1.0]) == pytest.approx([1, 1, 0, 0])


def test_a_wake_beside_the_rotor_does_not_touch_it():
    speeds = speeds_in_array([8.0], [[0, 0], [3, -5]], [0.0], *EVER)
    assert speeds == pytest.approx(8.0)


def test_a_row_across_the_wind_loses_nothing_and_along_it_most():
    row = grid_positions(4, bearing_deg=90, spacing=5)
    across, along = speeds_in_array([8.0], row, [0.0, 270.0], *EVER)[..., 0]
    assert across == pytest.approx(8.0)
    assert along[0] == pytest.approx(8.0)
    assert (along[1:] < 8.0).all()
    # The wind from the west meets the western machine first; that of a row that runs east.
    assert along[1] == pytest.approx(8.0 * (1 - 2 / 3 / (1 + 2 * 0.075 * 5) ** 2))


def test_a_machine_that_stands_still_leaves_no_wake():
    speeds = speeds_in_array([2.0, 8.0], [[0, 0], [0, -5]], [0.0], [3.0, 20.0], [0.8, 0.8])
    assert speeds[0, 1, 0] == 2.0
    assert speeds[0, 1, 1] < 8.0


@settings(max_examples=60, deadline=None)
@given(places, bearings, st.floats(0.03, 0.2), st.floats(0.0, 0.95))
def test_no_machine_gets_more_than_the_free_wind_or_less_than_none(points, bearing, decay, thrust):
    speeds = speeds_in_array([4.0, 9.0], points, [bearing], [0, 50], [thrust, thrust], decay)
    assert (speeds <= np.array([4.0, 9.0])).all()
    assert (speeds >= 0).all()
    # Whoever stands foremost has nobody in front.
    downwind, _ = downwind_and_across(points, bearing)
    assert speeds[0, np.argmin(downwind), 1] == pytest.approx(9.0)


@settings(max_examples=60, deadline=None)
@given(places, bearings, st.permutations(range(6)))
def test_the_order_of_the_machines_does_not_matter(points, bearing, shuffled):
    order = [i for i in shuffled if i < len(points)]
    direct = speeds_in_array([9.0], points, [bearing], *EVER)[0, :, 0]
    again = speeds_in_array([9.0], points[order], [bearing], *EVER)[0, :, 0]
    assert again == pytest.approx(direct[order], abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(places, st.integers(0, 359), st.integers(0, 359))
def test_turning_wind_and_layout_together_changes_nothing(points, bearing, turn):
    angle = np.deg2rad(turn)
    turned = np.stack(
        (
            points[:, 0] * np.cos(angle) + points[:, 1] * np.sin(angle),
            -points[:, 0] * np.sin(angle) + points[:, 1] * np.cos(angle),
        ),
        axis=-1,
    )
    before = speeds_in_array([9.0], points, [bearing], *EVER)
    after = speeds_in_array([9.0], turned, [bearing + turn], *EVER)
    # A machine exactly abreast may fall on either side by rounding, with a wake of no reach yet.
    downwind, _ = downwind_and_across(points, bearing)
    gaps = np.abs(downwind[:, None] - downwind)[~np.eye(len(points), dtype=bool)]
    if (gaps > 1e-6).all():
        assert after == pytest.approx(before, abs=1e-6)


def test_against_the_sum_written_out_machine_by_machine():
    """The same model as a plain loop over pairs, with the lens counted on a grid of points."""
    random = np.random.default_rng(6)
    points = random.uniform(0, 12, (5, 2))
    free, decay, bearing = 9.0, 0.08, 200.0
    nodes, thrusts = [3.0, 8.0, 20.0], [0.9, 0.8, 0.2]
    toward = -np.array([math.sin(math.radians(bearing)), math.cos(math.radians(bearing))])
    grid = np.linspace(-0.5, 0.5, 801)
    x, y = np.meshgrid(grid, grid)
    disc = x**2 + y**2 <= 0.25
    order = sorted(range(5), key=lambda i: points[i] @ toward)
    speeds = {}
    for i in order:
        squares = 0.0
        for j, speed in speeds.items():
            apart = points[i] - points[j]
            behind = apart @ toward
            beside = apart[0] * toward[1] - apart[1] * toward[0]
            radius = 0.5 + decay * behind
            covered = (disc & ((x - beside) ** 2 + y**2 <= radius**2)).sum() / disc.sum()
            thrust = np.interp(speed, nodes, thrusts)
            squares += ((1 - math.sqrt(1 - thrust)) * (0.5 / radius) ** 2 * covered) ** 2
        speeds[i] = free * (1 - math.sqrt(squares))
    ours = speeds_in_array([free], points, [bearing], nodes, thrusts, decay)[0, :, 0]
    assert ours == pytest.approx([speeds[i] for i in range(5)], abs=2e-3)
    assert min(speeds.values()) < 8.7  # some wake does hit


def test_a_grid_runs_by_its_bearing_and_fills_row_by_row():
    east_row = grid_positions(3, bearing_deg=90, spacing=4)
    assert east_row == pytest.approx(np.array([[0, 0], [4, 0], [8, 0]]), abs=1e-12)
    # Rows run north, and the next row lies to the right of that, in the east.
    grid = grid_positions(3, bearing_deg=0, spacing=4, columns=2, row_spacing=7)
    assert grid == pytest.approx(np.array([[0, 0], [0, 4], [7, 0]]), abs=1e-12)
    assert nearest_neighbour(grid) == pytest.approx(4.0)
    # By hand at 30 degrees: along is (1/2, sqrt 3 / 2), and right of it (sqrt 3 / 2, -1/2).
    slant = grid_positions(3, bearing_deg=30, spacing=2, columns=2, row_spacing=2)
    assert slant == pytest.approx(np.array([[0, 0], [1, 3**0.5], [3**0.5, -1]]), abs=1e-12)


def test_readings_are_counted_by_sector_and_speed():
    readings = in_sectors([5.1, 5.1, 0.3, 9.9, np.nan], [359, 2, 90, np.nan, 10], sectors=4)
    rose = readings.rose(1.0, 20.0)
    assert rose.share.sum() == pytest.approx(1.0)
    assert rose.share.sum(axis=1) == pytest.approx([2 / 3, 1 / 3, 0, 0])
    assert rose.speed_ms[np.argmax(rose.share[0])] == pytest.approx(5.125)


def test_a_weibull_rose_holds_the_windy_time_up_to_its_last_bin():
    rose = rose_of_weibull(2.0, 7.0, 20.0, sectors=4)
    assert rose.share.sum(axis=1) == pytest.approx(
        np.full(4, 0.25) * (1 - math.exp(-((20 / 7) ** 2)))
    )


def test_one_machine_loses_nothing():
    assert factor(joined(row(5), 1), 1) == 1.0


def test_no_thrust_no_loss():
    layout = row(5, thrust_coefficient=0.0)
    assert factor(joined(layout, 4), 4) == pytest.approx(1.0)


def test_machines_far_apart_lose_little_and_near_ones_more():
    far, near = (factor(joined(row(spacing), 4), 4) for spacing in (200, 6))
    assert near < far < 1
    assert far > 0.998


def test_a_row_is_better_across_the_usual_wind_than_along_it():
    random = np.random.default_rng(1)
    speed, direction = 7 * random.weibull(2.0, 4000), random.normal(270, 15, 4000) % 360
    rose = in_sectors(speed, direction).rose(1.0, 20.0)
    across, along = (wake(joined(row(5, bearing), 5, rose), 5) for bearing in (0, 90))
    assert across.share < 0.01
    assert along.share > 0.1
    assert along.standard_uncertainty == pytest.approx(0.5 * along.share)


@pytest.mark.parametrize("points", [8, 16])
def test_wakes_of_compass_points_do_not_hang_on_how_sectors_cut_them(points):
    direction = np.resize(np.arange(points), 4000) * 360 / points
    speed = np.repeat(7 * np.random.default_rng(2).weibull(2.0, 4000 // points), points)
    readings = in_sectors(speed, direction)
    rose = readings.rose(1.0, 20.0)
    assert f"each spread over its {360 / points:g} degrees" in rose.method
    lost = [wake(joined(row(5, bearing), 5, rose), 5).share for bearing in (0, 30, 60)]
    all_round = wake(
        joined(row(5), 5, replace(rose, share=np.tile(rose.share.mean(0), (12, 1)))), 5
    )
    assert lost == pytest.approx([all_round.share] * 3, rel=1e-6)


def test_near_rotors_and_missing_directions_are_warned_of():
    close = joined(row(2), 3).findings(3)
    assert RotorsSideBySide(2.0, 3.0) in close.warnings
    assert DirectionsNotKnown() in close.warnings
    assert any(isinstance(found, RotorsInNearWake) for found in close.warnings)
    wide = joined(row(8), 3).findings(3)
    assert wide.warnings == (DirectionsNotKnown(),)
    vertical = MachineArray(close_rose(), curve(), 1.0, True, 3, row(8))
    assert vertical.findings(3).warnings == (WakesOfVerticalAxis(),)


def close_rose():
    return replace(rose_of_weibull(2.0, 7.0, 20.0, sectors=4), has_directions=True)


def test_a_stated_factor_counts_by_neighbours():
    layout = Array(array_efficiency=0.91, evidence="a summer side by side")
    group = joined(layout, 10)
    # 9 % lost for nine neighbours: 1 % for each, and no more for more than were measured.
    assert [factor(group, n) for n in (1, 2, 6, 10, 30)] == pytest.approx(
        [1.0, 0.99, 0.95, 0.91, 0.91]
    )
    assert [factor(joined(layout, 1), n) for n in (1, 4)] == pytest.approx([1.0, 1.0])
    assert "a summer side by side" in wake(group, 10).method


def test_a_factor_above_one_is_doubted():
    layout = Array(array_efficiency=1.1, evidence="told by a friend")
    group = joined(layout, 4)
    assert factor(group, 4) == pytest.approx(1.1)
    assert group.findings(4).warnings == (MachinesHelpEachOther(1.1),)
    assert group.findings(4).assumed == (EfficiencyUncertaintyAssumed(pytest.approx(0.025)),)


def test_the_thrust_of_the_curve_goes_before_the_assumed_one():
    layout = row(6)
    rose = close_rose()
    with_thrust = MachineArray(rose, curve(thrust=[0.3] * 4), 1.0, False, 3, layout)
    without = MachineArray(rose, curve(), 1.0, False, 3, layout)
    assert factor(with_thrust, 3) > factor(without, 3)
    assert with_thrust.findings(3).assumed == (Assumed(WAKE_DECAY),)
    assert without.findings(3).assumed == (Assumed(WAKE_DECAY), Assumed(THRUST_COEFFICIENT))


def test_sectors_and_bins_sum_to_what_every_reading_by_itself_gives():
    """The same layout computed at the exact direction and speed of each reading, without bins."""
    random = np.random.default_rng(8)
    speed, direction = 7 * random.weibull(2.0, 3000), random.normal(240, 50, 3000) % 360
    layout = Array(
        layout="grid",
        bearing_deg=330,
        spacing_rotor_diameters=5,
        columns=2,
        row_spacing_rotor_diameters=6,
    )
    places = layout.places_diameters(4, 1.0)
    machine = curve()
    made = sum(
        float(
            machine.power_at(speeds_in_array([v], places, [d], machine.speed_ms, [0.8] * 4)).sum()
        )
        for v, d in zip(speed, direction, strict=True)
    )
    by_reading = made / (4 * float(machine.power_at(speed).sum()))
    rose = in_sectors(speed, direction).rose(1.0, 20.0)
    by_bins = factor(joined(layout, 4, rose), 4)
    assert by_bins == pytest.approx(by_reading, abs=0.004)
    assert by_reading < 0.97
