"""Measures of a cash flow: present value, cost per kWh, payback, rate of return.

A flow holds the sums at the ends of years 0, 1, ... and has shape (..., years + 1); all else has
shape (...), and rates of real flows are real, per year. Where no source is named it is Short,
Packey & Holt, *A Manual for the Economic Evaluation of Energy Efficiency and Renewable Energy
Technologies*, NREL/TP-462-5173, 1995.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from yieldest.arrays import BoolArray, FloatArray, IntArray, crossing, floats

_NOTHING = 1e-9
"""So few kWh or units of money are what rounding, or a draw beyond sense, leaves of none."""


def quotient(over: npt.ArrayLike, under: npt.ArrayLike) -> FloatArray:
    """Return one over the other, NaN where the other is not above zero."""
    top, bottom = np.broadcast_arrays(floats(over), floats(under))
    return floats(np.divide(top, bottom, out=np.full(top.shape, np.nan), where=bottom > _NOTHING))


def discounted(flow: npt.ArrayLike, discount_rate: npt.ArrayLike) -> FloatArray:
    """Return each sum of a flow as of year 0, flow_t / (1 + r)^t, shape (..., years + 1)."""
    sums = floats(flow)
    return np.asarray(sums * _factor(discount_rate, sums.shape[-1]))


def _factor(discount_rate: npt.ArrayLike, years: int) -> FloatArray:
    """Return (1 + r)^-t, shape (..., years), quicker than as a power."""
    return np.asarray(np.exp(np.log1p(floats(discount_rate))[..., np.newaxis] * -np.arange(years)))


def present_value(flow: npt.ArrayLike, discount_rate: npt.ArrayLike) -> FloatArray:
    """Return the present value of yearly sums, sum of flow_t / (1 + r)^t.

    Parameters
    ----------
    flow : array_like, shape (..., years + 1)
    discount_rate : array_like, shape (...)
    """
    sums = floats(flow)
    return np.asarray(np.einsum("...t,...t", sums, _factor(discount_rate, sums.shape[-1])))


def capital_recovery_factor(discount_rate: npt.ArrayLike, life_years: npt.ArrayLike) -> FloatArray:
    """Return the yearly payment per unit of capital, r / (1 - (1 + r)^-n), and 1/n at r = 0."""
    rate, life = floats(discount_rate), floats(life_years)
    # expm1 and log1p keep the quotient exact when the rate is tiny.
    repaid = -np.expm1(-life * np.log1p(rate))
    with np.errstate(invalid="ignore"):
        return np.where(repaid == 0, 1 / life, rate / repaid)


def cost_per_kwh(
    cost: npt.ArrayLike, energy_kwh: npt.ArrayLike, discount_rate: npt.ArrayLike
) -> FloatArray:
    """Return the levelised cost: discounted cost over discounted energy; NaN for no energy.

    Parameters
    ----------
    cost, energy_kwh : array_like, shape (..., years + 1)
    discount_rate : array_like, shape (...)
    """
    factor = _factor(discount_rate, floats(cost).shape[-1])
    spent, made = (np.einsum("...t,...t", floats(flow), factor) for flow in (cost, energy_kwh))
    return quotient(spent, made)


def cost_per_kwh_by_capital_recovery(
    capital_cost: npt.ArrayLike,
    later_cost: npt.ArrayLike,
    first_year_upkeep: npt.ArrayLike,
    first_year_kwh: npt.ArrayLike,
    discount_rate: npt.ArrayLike,
    life_years: npt.ArrayLike,
) -> FloatArray:
    """Return (CRF (capital + later cost) + upkeep) / energy; NaN where there is no energy.

    The capital is that after any grant, the later cost the present value of replacements less
    salvage. It equals `cost_per_kwh` when upkeep and energy are the same every year, and differs
    where output falls with age or upkeep changes.
    """
    factor = capital_recovery_factor(discount_rate, life_years)
    yearly = factor * (floats(capital_cost) + floats(later_cost)) + floats(first_year_upkeep)
    return quotient(yearly, first_year_kwh)


def benefit_cost_ratio(
    value: npt.ArrayLike, cost: npt.ArrayLike, discount_rate: npt.ArrayLike
) -> FloatArray:
    """Return the present value of a flow earned over that of one paid; NaN at no cost."""
    return quotient(present_value(value, discount_rate), present_value(cost, discount_rate))


def simple_payback_years(
    capital_cost: npt.ArrayLike, first_year_saving: npt.ArrayLike
) -> FloatArray:
    """Return capital cost less grant over what the first year saves; NaN where it saves nothing.

    The saving is the worth of the energy less the maintenance of the first year: neither
    discounting, nor replacements, nor what changes later.
    """
    return quotient(capital_cost, first_year_saving)


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
    sums = (
        floats(net_flow)
        if np.all(np.equal(discount_rate, 0))
        else discounted(net_flow, discount_rate)
    )
    balance = np.cumsum(sums, axis=-1)
    below = balance < 0
    years_after = np.argmax(below[..., ::-1], axis=-1)
    last_below = balance.shape[-1] - 1 - years_after
    start = np.minimum(last_below, balance.shape[-1] - 2)[..., np.newaxis]
    before = np.take_along_axis(balance, start, axis=-1)[..., 0]
    gain = np.take_along_axis(sums, start + 1, axis=-1)[..., 0]
    # Where the balance never was below zero the quotient is not used, whatever it is.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        time = last_below - before / gain
    time = np.where(years_after > 0, time, 0.0)
    return np.where(below[..., -1], np.nan, time)


def internal_rate_of_return(net_flow: npt.ArrayLike) -> tuple[FloatArray, IntArray]:
    """Return the rate above -1 at which the present value is zero, and how many rates do that.

    The rate is NaN where none does, or several; then the measure says nothing.

    Parameters
    ----------
    net_flow : array_like, shape (..., years + 1)
    """
    flow = floats(net_flow)
    rate = np.array(_only_rate(flow))
    count = np.isfinite(rate).astype(np.int64)
    for place in zip(*np.nonzero(count == 0), strict=True):
        rates = _every_rate(flow[place])
        count[place] = rates.size
        if rates.size == 1:
            rate[place] = rates[0]
    return rate, count


def internal_rates_of_return(net_flow: npt.ArrayLike) -> FloatArray:
    """Return every rate above -1 at which the present value of a flow is zero, lowest first.

    The flow has shape (years + 1,). More than one rate means that the measure says nothing.

    Notes
    -----
    The roots of the polynomial sum of flow_t x^t with x = 1 / (1 + r). By Descartes' rule of signs
    a flow that never changes sign has none. Where there may be several they are the eigenvalues of
    the companion matrix, each polished by Newton's method.
    """
    flow = floats(net_flow)
    only = _only_rate(flow)
    return np.atleast_1d(only) if np.isfinite(only) else _every_rate(flow)


def _every_rate(net_flow: FloatArray) -> FloatArray:
    """Return the rates of a flow, lowest first, of which there may be none or several."""
    flow = np.trim_zeros(net_flow)
    if flow.size == 0 or _turns(flow) == 0:
        return np.empty(0)
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


def _only_rate(flow: FloatArray) -> FloatArray:
    """Return the rate of each flow that the balance proves to have one, NaN of the others.

    The rates above zero are no more than the turns of the balance, summed up from the first year on
    (Norstrom, *J. Financial and Quantitative Analysis* 7 (1972) 1835-1839, from memory), and those
    below zero than the turns of what is summed up from the last year back; in both cases fewer by
    an even number only. One turn in all is one rate, which is then bracketed.
    """
    turns = _turns(np.cumsum(flow, axis=-1)) + _turns(np.cumsum(flow[..., ::-1], axis=-1))
    rate = np.full(turns.shape, np.nan)
    one = turns == 1
    sums = np.moveaxis(flow[one], -1, 0)[..., np.newaxis]

    def worth(x: FloatArray) -> FloatArray:
        return np.asarray(np.polynomial.polynomial.polyval(x, sums, tensor=False))

    def first(x: FloatArray) -> BoolArray:
        """Whether the worth is still, or no longer, that of the first sum alone."""
        return np.asarray(worth(x[:, np.newaxis])[:, 0] * begins > 0)

    begins = flow[one][np.arange(one.sum()), np.argmax(flow[one] != 0, axis=-1)]
    low, high = np.full((2, begins.size), [[0.5], [2.0]])
    while not (below := first(low)).all():
        low = np.where(below, low, low / 2)
    while (above := first(high)).any():
        high = np.where(above, high * 2, high)
    rate[one] = 1 / crossing(worth, low, high) - 1
    return rate


def _turns(sums: FloatArray) -> IntArray:
    """Return how often sums change sign along the last axis, zeros left out."""
    place = np.maximum.accumulate(np.where(sums != 0, np.arange(sums.shape[-1]), 0), axis=-1)
    sign = np.sign(np.take_along_axis(sums, place, axis=-1))
    return np.asarray((sign[..., 1:] * sign[..., :-1] < 0).sum(axis=-1))
