"""Measures of a cash flow, against numpy-financial and published tables."""

import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from test_economics import laid_out

from yieldest.economics.measures import (
    capital_recovery_factor,
    cost_per_kwh,
    internal_rate_of_return,
    internal_rates_of_return,
    payback_years,
    present_value,
)

rates = st.floats(0.0, 0.3)
flows = st.lists(st.floats(-1e5, 1e5), min_size=2, max_size=40).map(np.array)


@given(flows, rates)
def test_present_value_agrees_with_numpy_financial(flow, rate):
    assert present_value(flow, rate) == pytest.approx(npf.npv(rate, flow), rel=1e-9, abs=1e-6)


@pytest.mark.parametrize(
    ("rate", "life", "factor"),
    [(0.05, 20, 0.08024), (0.08, 20, 0.10185), (0.10, 20, 0.11746), (0.10, 10, 0.16275)],
)
def test_capital_recovery_factor(rate, life, factor):
    """Formula: Short, Packey & Holt 1995, NREL/TP-462-5173; the table values are from memory,
    confirmed by numpy-financial's annuity payment."""
    assert capital_recovery_factor(rate, life) == pytest.approx(factor, abs=5e-6)
    assert capital_recovery_factor(rate, life) == pytest.approx(-npf.pmt(rate, life, 1), rel=1e-12)


def test_capital_recovery_without_interest_is_one_over_the_life():
    assert capital_recovery_factor(0.0, 20) == pytest.approx(0.05)
    assert capital_recovery_factor(1e-12, 20) == pytest.approx(0.05, rel=1e-9)


@given(st.floats(1, 1e5), st.floats(0, 1e3), st.floats(1, 1e5), rates, st.integers(1, 40))
def test_cost_per_kwh_is_the_annuity_over_the_yearly_energy(capital, upkeep, kwh, rate, life):
    flow = laid_out(capital, np.zeros(life + 1), upkeep, kwh, 0.0)
    by_annuity = (capital * capital_recovery_factor(rate, life) + upkeep) / kwh
    assert cost_per_kwh(flow.cost, flow.energy_kwh, rate) == pytest.approx(by_annuity, rel=1e-9)


def test_cost_per_kwh_without_energy_is_not_a_number():
    flow = laid_out(100.0, np.zeros(6), 1.0, 0.0, 0.3)
    assert np.isnan(cost_per_kwh(flow.cost, flow.energy_kwh, 0.05))


def test_payback_of_a_level_flow_is_capital_over_saving():
    assert payback_years([-1000.0] + [400.0] * 5) == pytest.approx(2.5)


def test_a_replacement_puts_the_payback_off():
    # Paid back after 2.5 years, 600 below zero again in year 4, made good 1.5 years later.
    flow = [-1000.0, 400.0, 400.0, 400.0, -800.0, 400.0, 400.0]
    assert payback_years(flow) == pytest.approx(5.5)
    assert np.isnan(payback_years(flow[:5]))


def test_payback_is_never_when_the_balance_ends_below_zero():
    assert np.isnan(payback_years([-1000.0, 100.0, 100.0]))
    assert payback_years([0.0, 10.0]) == 0.0


@given(st.floats(1, 1e4), st.lists(st.floats(-500, 2000), min_size=1, max_size=30), rates)
def test_the_balance_is_zero_at_the_payback_and_never_negative_after(capital, income, rate):
    flow = np.array([-capital, *income])
    time = float(payback_years(flow, rate))
    balance = np.cumsum(flow * (1 + rate) ** -np.arange(flow.size))
    if np.isnan(time):
        assert balance[-1] < 0
    else:
        assert np.interp(time, np.arange(flow.size), balance) == pytest.approx(0, abs=1e-6)
        assert (balance[int(np.ceil(time)) :] >= -1e-6).all()


@given(st.lists(flows, min_size=2, max_size=4))
def test_paybacks_of_many_flows_are_those_of_each(many):
    length = min(flow.size for flow in many)
    together = payback_years(np.array([flow[:length] for flow in many]), 0.04)
    for flow, time in zip(many, together, strict=True):
        np.testing.assert_allclose(payback_years(flow[:length], 0.04), time)


@given(st.floats(100, 1e5), st.lists(st.floats(1, 1e4), min_size=2, max_size=40))
def test_rate_of_return_agrees_with_numpy_financial(capital, income):
    flow = np.array([-capital, *income])
    expected = npf.irr(flow)
    assume(np.isfinite(expected) and expected > -0.9)
    (found,) = internal_rates_of_return(flow)
    assert found == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_rates_of_return_of_many_flows_are_where_the_present_value_changes_sign():
    # Seen by trying: the present value at 40,000 rates from -99.9 % to 99,900 %.
    random = np.random.default_rng(5)
    flow = random.normal(100, 150, (300, 12))
    flow[:, 0] = -random.uniform(0, 1500, 300)
    flow[random.random(flow.shape) < 0.2] = 0
    tried = np.geomspace(1e-3, 1e3, 40_000) - 1
    above = np.array([present_value(each, tried) > 0 for each in flow])
    turns = np.diff(above, axis=-1)
    found, count = internal_rate_of_return(flow)
    assert count.tolist() == turns.sum(axis=-1).tolist()
    assert set(count.tolist()) == {0, 1, 2, 3}
    one = count == 1
    place = turns[one].argmax(axis=-1)
    assert (tried[place] <= found[one]).all() and (found[one] <= tried[place + 1]).all()
    assert np.isnan(found[~one]).all()


def test_rates_of_return_may_be_none_or_several():
    assert internal_rates_of_return([100.0, 10.0, 10.0]).size == 0
    # Two roots by construction: (1 - 1.1 x)(1 - 1.2 x) with x = 1 / (1 + r).
    np.testing.assert_allclose(
        internal_rates_of_return([-100.0, 230.0, -132.0]), [0.1, 0.2], rtol=1e-9
    )
