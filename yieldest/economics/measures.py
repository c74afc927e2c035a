"""Measures of a cash flow: present value, cost per kWh, payback, rate of return."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from yieldest.arrays import FloatArray, floats


def present_value(flow: npt.ArrayLike, discount_rate: npt.ArrayLike) -> FloatArray:
    """Return the present value of yearly sums, sum of flow_t / (1 + r)^t.

    Parameters
    ----------
    flow : array_like, shape (..., years + 1)
        Sums at the ends of years 0, 1, ...
    discount_rate : array_like, shape (...)
        Real rate r per year for flows in real terms.

    Notes
    -----
    Short, Packey & Holt, *A Manual for the Economic Evaluation of Energy Efficiency and Renewable
    Energy Technologies*, NREL/TP-462-5173, 1995.
    """
    sums = floats(flow)
    rate = floats(discount_rate)[..., np.newaxis]
    years = np.arange(sums.shape[-1])
    return np.asarray((sums * (1 + rate) ** -years).sum(axis=-1))


def capital_recovery_factor(discount_rate: npt.ArrayLike, life_years: npt.ArrayLike) -> FloatArray:
    """Return the yearly payment per unit of capital, r / (1 - (1 + r)^-n), and 1/n at r = 0.

    Parameters
    ----------
    discount_rate, life_years : array_like
        They broadcast.

    Notes
    -----
    Short, Packey & Holt 1995 (see `present_value`).
    """
    rate, life = floats(discount_rate), floats(life_years)
    # expm1 and log1p keep the quotient exact when the rate is tiny.
    repaid = -np.expm1(-life * np.log1p(rate))
    with np.errstate(invalid="ignore"):
        return np.where(repaid == 0, 1 / life, rate / repaid)


def cost_per_kwh(
    cost: npt.ArrayLike, energy_kwh: npt.ArrayLike, discount_rate: npt.ArrayLike
) -> FloatArray:
    """Return discounted whole-life cost over discounted energy; NaN where there is no energy.

    Parameters
    ----------
    cost, energy_kwh : array_like, shape (..., years + 1)
    discount_rate : array_like, shape (...)

    Notes
    -----
    Short, Packey & Holt 1995 (see `present_value`): the levelised cost of energy.
    """
    spent = present_value(cost, discount_rate)
    energy = present_value(energy_kwh, discount_rate)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(energy > 0, spent / energy, np.nan)


def simple_payback_years(
    capital_cost: npt.ArrayLike, first_year_saving: npt.ArrayLike
) -> FloatArray:
    """Return capital cost less grant over what the first year saves; NaN where it saves nothing.

    The saving is the worth of the energy less the maintenance of the first year: neither
    discounting, nor replacements, nor what changes later (Short, Packey & Holt 1995). The arguments
    broadcast.
    """
    saving, capital = np.broadcast_arrays(floats(first_year_saving), floats(capital_cost))
    return floats(np.divide(capital, saving, out=np.full(saving.shape, np.nan), where=saving > 0))


def payback_years(net_flow: npt.ArrayLike, discount_rate: npt.ArrayLike = 0.0) -> FloatArray:
    """Return the time after which the balance is never below zero again; NaN where there is none.

    Parameters
    ----------
    net_flow : array_like, shape (..., years + 1)
        Value less cost by year.
    discount_rate : array_like, shape (...)
        0 gives the payback in today's money, the real rate the discounted one.

    Notes
    -----
    Within a year the balance moves in a straight line. A later replacement that takes the balance
    below zero again puts the payback off until it has been made good.
    """
    sums = floats(net_flow)
    rate = floats(discount_rate)[..., np.newaxis]
    years = np.arange(sums.shape[-1])
    discounted = sums * (1 + rate) ** -years
    balance = np.cumsum(discounted, axis=-1)
    below = balance < 0
    ever_below = below.any(axis=-1)
    last_below = balance.shape[-1] - 1 - np.argmax(below[..., ::-1], axis=-1)
    paid_back = ~below[..., -1]
    start = np.minimum(last_below, balance.shape[-1] - 2)[..., np.newaxis]
    before = np.take_along_axis(balance, start, axis=-1)[..., 0]
    gain = np.take_along_axis(discounted, start + 1, axis=-1)[..., 0]
    # Where the balance never was below zero the quotient is not used, whatever it is.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        time = last_below - before / gain
    return np.where(paid_back, np.where(ever_below, time, 0.0), np.nan)


def internal_rates_of_return(net_flow: npt.ArrayLike) -> FloatArray:
    """Return every rate above -1 at which the present value of a flow is zero, lowest first.

    Parameters
    ----------
    net_flow : array_like, shape (years + 1,)

    Returns
    -------
    ndarray, shape (m,)
        Empty where there is none. More than one root means that the measure says nothing.

    Notes
    -----
    The roots of the polynomial sum of flow_t x^t with x = 1 / (1 + r) (Short, Packey & Holt 1995).
    By Descartes' rule of signs a flow that changes sign once has one root above zero, found by
    bracketing; one that never changes sign has none. For other flows the roots are the eigenvalues
    of the companion matrix, each polished by Newton's method.
    """
    flow = np.trim_zeros(floats(net_flow))
    changes = int((np.diff(np.sign(flow[flow != 0])) != 0).sum())
    if changes == 0:
        return np.empty(0)
    if changes == 1:
        return np.array([1 / _only_root(flow) - 1])
    polynomial = np.polynomial.Polynomial(flow)
    slope = polynomial.deriv()
    found: list[float] = []
    for root in polynomial.roots().astype(np.complex128):
        x = float(root.real)
        if x > 0 and abs(root.imag) < 1e-6 * abs(root):
            for _ in range(5):
                if slope(x) != 0:
                    x -= float(polynomial(x) / slope(x))
            if x > 0 and not any(abs(x - other) < 1e-9 * x for other in found):
                found.append(x)
    return np.sort(1 / np.array(found) - 1)


def _only_root(flow: FloatArray) -> float:
    """Return the one positive root of a polynomial whose coefficients change sign once."""
    at = np.polynomial.Polynomial(flow)
    low, high = 0.5, 2.0
    while at(low) * flow[0] <= 0:
        low /= 2
    while at(high) * flow[0] >= 0:
        high *= 2
    return float(brentq(at, low, high, xtol=1e-15, rtol=8.9e-16))


def benefit_cost_ratio(
    value: npt.ArrayLike, cost: npt.ArrayLike, discount_rate: npt.ArrayLike
) -> FloatArray:
    """Return the present value of what is earned over that of what is paid; NaN at no cost.

    Parameters
    ----------
    value, cost : array_like, shape (..., years + 1)
    discount_rate : array_like, shape (...)

    Notes
    -----
    Short, Packey & Holt 1995 (see `present_value`). Above 1 it pays.
    """
    earned, paid = np.broadcast_arrays(
        present_value(value, discount_rate), present_value(cost, discount_rate)
    )
    return floats(np.divide(earned, paid, out=np.full(paid.shape, np.nan), where=paid > 0))


def cost_per_kwh_by_capital_recovery(
    capital_cost: npt.ArrayLike,
    later_cost: npt.ArrayLike,
    first_year_upkeep: npt.ArrayLike,
    first_year_kwh: npt.ArrayLike,
    discount_rate: npt.ArrayLike,
    life_years: npt.ArrayLike,
) -> FloatArray:
    """Return the cost per kWh by the capital recovery factor; NaN where there is no energy.

    Parameters
    ----------
    capital_cost : array_like, shape (...)
        After any grant.
    later_cost : array_like, shape (...)
        Present value of replacements less salvage.
    first_year_upkeep, first_year_kwh : array_like, shape (...)
        Taken as those of every year.
    discount_rate, life_years : array_like, shape (...)

    Notes
    -----
    (CRF (capital + later cost) + upkeep) / energy (Short, Packey & Holt 1995). It equals
    `cost_per_kwh` when upkeep and energy are the same every year, and differs where output falls
    with age or upkeep changes.
    """
    factor = capital_recovery_factor(discount_rate, life_years)
    yearly = factor * (floats(capital_cost) + floats(later_cost)) + floats(first_year_upkeep)
    yearly, energy = np.broadcast_arrays(yearly, floats(first_year_kwh))
    return floats(np.divide(yearly, energy, out=np.full(yearly.shape, np.nan), where=energy > 0))
