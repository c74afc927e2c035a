"""Cables and converters against IEC 60028, IEC 60228, Ohm and Joule."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq
from test_array import curve

from yieldest.energy.array_losses import Array, HotCable, MachineArray
from yieldest.energy.cables import (
    COPPER_RESISTIVITY_OHM_MM2_PER_M,
    STRANDED_COPPER_OHM_PER_KM,
    Cable,
    Converter,
    copper_resistance_ohm_per_m,
)
from yieldest.energy.wakes import rose_of_weibull

powers = st.floats(0, 5000)


def cable_of(length_m, cross_section_mm2, voltage_v, arrangement="dc", power_factor=1.0, **more):
    return Cable(
        length_m=length_m,
        cross_section_mm2=cross_section_mm2,
        voltage_v=voltage_v,
        arrangement=arrangement,
        power_factor=power_factor,
        **{"carries": "the array", **more},
    )


def converter_of(efficiency, **more):
    return Converter(efficiency=efficiency, **{"carries": "the array", **more})


cables = st.builds(
    Cable,
    length_m=st.floats(1, 300),
    cross_section_mm2=st.floats(0.5, 120),
    voltage_v=st.floats(12, 400),
    arrangement=st.sampled_from(["dc", "single-phase", "three-phase"]),
    power_factor=st.floats(0.6, 1),
    carries=st.just("the array"),
)


@pytest.mark.parametrize("section", STRANDED_COPPER_OHM_PER_KM)
def test_the_table_lies_a_little_above_bare_copper(section):
    """The table of IEC 60228 is from memory; the independent way is the resistivity of annealed
    copper, 1/58 ohm mm2/m (IEC 60028), above which it must lie by what strands and tolerance take:
    nothing like a wrong digit fits between 4 and 13 %."""
    table = float(copper_resistance_ohm_per_m(section))
    assert 1.04 < table / (COPPER_RESISTIVITY_OHM_MM2_PER_M / section) < 1.13


def test_resistance_falls_with_the_section():
    sections = np.geomspace(0.2, 300, 500)
    assert (np.diff(copper_resistance_ohm_per_m(sections)) < 0).all()


def test_a_cable_worked_by_hand():
    """30 m of 4 mm2 at 4.61 ohm/km (IEC 60228), there and back: 0.2766 ohm. When 480 W arrive at
    48 V, 10 A flow and 27.66 W are lost, so 507.66 W were sent in."""
    cable = cable_of(30, 4, 48)
    assert cable.loss_ohm == pytest.approx(0.2766)
    assert cable.delivered_w(507.66) == pytest.approx(480.0, abs=1e-9)
    assert cable.current_a(507.66) == pytest.approx(10.0)


def test_three_phases_worked_by_hand():
    """100 m of 2.5 mm2, 7.41 ohm/km: 0.741 ohm a conductor. 400 V, 10 A, power factor 0.9 carry
    sqrt 3 x 400 x 10 x 0.9 = 6235.4 W and lose 3 x 100 x 0.741 = 222.3 W."""
    cable = cable_of(100, 2.5, 400, "three-phase", 0.9)
    arriving = math.sqrt(3) * 400 * 10 * 0.9
    assert cable.delivered_w(arriving + 222.3) == pytest.approx(arriving, rel=1e-9)
    assert cable.current_a(arriving + 222.3) == pytest.approx(10.0)


def test_warm_copper_resists_more():
    """0.393 % a degree (IEC 60028): 50 degrees make 19.65 %."""
    assert cable_of(30, 4, 48, conductor_temperature_c=70).loss_ohm == pytest.approx(
        0.2766 * 1.1965
    )


@given(cables, powers)
def test_what_arrives_and_what_heats_are_what_was_sent(cable, power):
    arriving = float(cable.delivered_w(power))
    assert 0 <= arriving <= power
    heat = cable.loss_ohm * (arriving / cable.voltage_v) ** 2
    assert arriving + heat == pytest.approx(power, rel=1e-9, abs=1e-9)


def test_the_closed_form_is_the_root_of_the_power_balance():
    cable = cable_of(80, 2.5, 24)
    for power in (1.0, 150.0, 900.0):
        root = brentq(lambda q, p=power: q + cable.loss_ohm * (q / 24) ** 2 - p, 0, power)
        assert cable.delivered_w(power) == pytest.approx(root, rel=1e-9)


def test_a_converter_takes_its_share_and_turns_away_the_rest():
    converter = converter_of(0.9, limit_w=450)
    assert converter.delivered_w([0, 100, 500, 900]) == pytest.approx([0, 90, 450, 450])


def wired(count=1, **stages):
    rose = rose_of_weibull(2.0, 6.0, 20.0)
    return MachineArray(rose, curve(), 1.0, False, count, None, **stages)


def electrical_share(machines, count):
    (share,) = (loss.share for loss in machines.losses(count) if loss.category != "wake")
    return share


def test_the_loss_is_reckoned_over_the_curve_and_not_at_the_mean_power():
    """The mean of squares is larger than the square of the mean, so the mean power loses less."""
    cable = cable_of(60, 4, 48)
    machines = wired(cables=(cable,))
    mean = float((machines.rose.share * curve().power_at(machines.rose.speed_ms)).sum())
    assert electrical_share(machines, 1) > 1.5 * (1 - float(cable.delivered_w(mean)) / mean)
    powers = curve().power_at(machines.rose.speed_ms)
    lost = (machines.rose.share * (powers - cable.delivered_w(powers))).sum()
    assert electrical_share(machines, 1) == pytest.approx(lost / mean, rel=1e-9)


def test_a_shared_cable_loses_more_with_each_machine_and_a_cable_each_does_not():
    shared = wired(6, cables=(cable_of(60, 6, 48, carries="the array"),))
    each = wired(6, cables=(cable_of(60, 6, 48, carries="each machine"),))
    assert electrical_share(each, 6) == pytest.approx(electrical_share(each, 1))
    assert electrical_share(shared, 6) > 3 * electrical_share(shared, 1)
    assert electrical_share(shared, 1) == pytest.approx(electrical_share(each, 1))


def test_stages_follow_each_other():
    both = wired(cables=(cable_of(60, 4, 48),), converters=(converter_of(0.9),))
    only_cable = wired(cables=(cable_of(60, 4, 48),))
    assert 1 - electrical_share(both, 1) == pytest.approx(
        0.9 * (1 - electrical_share(only_cable, 1))
    )


def test_a_shared_converter_clips_the_sum():
    free = wired(4, converters=(converter_of(1.0),))
    clipped = wired(4, converters=(converter_of(1.0, limit_w=800.0),))
    assert electrical_share(free, 4) == pytest.approx(0.0)
    assert electrical_share(clipped, 2) == pytest.approx(0.0)  # 2 x 400 W fit
    assert electrical_share(clipped, 4) > 0.05


def test_a_hot_cable_is_warned_of():
    cable = cable_of(60, 2.5, 24)
    (hot,) = wired(4, cables=(cable,)).findings(4).warnings
    assert isinstance(hot, HotCable)
    assert hot.cable is cable
    assert hot.lost_share == pytest.approx(1 - float(cable.delivered_w(1600)) / 1600)
    assert hot.current_a == pytest.approx(cable.current_a(1600))
    assert wired(1, cables=(cable_of(5, 16, 48),)).findings(1).warnings == ()


def test_wakes_and_wires_together_lose_less_current():
    layout = Array(layout="row", bearing_deg=0, spacing_rotor_diameters=5)
    rose = rose_of_weibull(2.0, 6.0, 20.0, sectors=4)
    rose = replace(rose, share=rose.share * np.array([[4.0], [0], [0], [0]]))
    cables = (cable_of(60, 6, 48),)
    waked = MachineArray(rose, curve(), 1.0, False, 4, layout, cables)
    free = MachineArray(rose, curve(), 1.0, False, 4, None, cables)
    assert electrical_share(waked, 4) < electrical_share(free, 4)
    assert [loss.category for loss in waked.losses(4)] == ["wake", "electrical"]
