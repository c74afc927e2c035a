"""What is paid and saved in each year of a build's life."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.economics.measures import capital_recovery_factor


@dataclass(frozen=True)
class CashFlow:
    """Costs, energy and value by year, in real terms (today's money), at year ends.

    Parameters
    ----------
    cost : ndarray, shape (..., years + 1)
        Money paid: the capital less the grant in year 0, then upkeep and replacements, and in the
        last year less what the parts bring.
    energy_kwh : ndarray, shape (..., years + 1)
        Net energy, zero in year 0.
    value : ndarray, shape (..., years + 1)
        What the energy is worth.
    sold : ndarray, shape (..., years + 1)
        The part of it that sold kWh earn.
    """

    cost: FloatArray
    energy_kwh: FloatArray
    value: FloatArray
    sold: FloatArray

    @property
    def net(self) -> FloatArray:
        """Value less cost by year, shape (..., years + 1)."""
        return self.value - self.cost


def cash_flow(
    capital_cost: npt.ArrayLike,
    replacement_costs: npt.ArrayLike,
    maintenance_per_year: npt.ArrayLike,
    net_kwh_per_year: npt.ArrayLike,
    price_per_kwh: npt.ArrayLike,
    *,
    maintenance_in_years: npt.ArrayLike = 0.0,
    salvage_value: npt.ArrayLike = 0.0,
    grant: npt.ArrayLike = 0.0,
    self_consumption_share: npt.ArrayLike = 1.0,
    export_price_per_kwh: npt.ArrayLike = 0.0,
    real_price_escalation_per_year: npt.ArrayLike = 0.0,
    degradation_per_year: npt.ArrayLike = 0.0,
    life_years: npt.ArrayLike | None = None,
) -> CashFlow:
    """Lay out costs, energy and value over the life of a build.

    Parameters
    ----------
    capital_cost, maintenance_per_year, net_kwh_per_year, price_per_kwh : array_like, shape (...)
        The energy is that of the first year. All arguments broadcast.
    replacement_costs : array_like, shape (..., years + 1)
        By year, from 0 to the years laid out.
    maintenance_in_years : array_like, shape (..., years + 1) or ()
        On top of the yearly upkeep; that of year 0 is left out.
    salvage_value : array_like, shape (...)
        What the parts bring at the end of the last year.
    grant : array_like, shape (...)
        In year 0.
    self_consumption_share, export_price_per_kwh : array_like, shape (...)
        The share used saves `price_per_kwh`, the rest earns the export price.
    real_price_escalation_per_year, degradation_per_year : array_like, shape (...)
        Real rise of both prices and fall of the output, from the second year on.
    life_years : array_like of int, shape (...), optional
        Years that the build lasts, at most the years laid out, which is the default. After them
        nothing is paid or made; in its last year nothing is replaced.
    """
    replacements = floats(replacement_costs)
    year = np.arange(replacements.shape[-1])
    last = floats(year[-1] if life_years is None else life_years)[..., np.newaxis]
    running = ((year >= 1) & (year <= last)).astype(np.float64)

    def yearly(values: npt.ArrayLike) -> FloatArray:
        return floats(values)[..., np.newaxis]

    first_year = (year == 0).astype(np.float64)
    cost = (
        yearly(floats(capital_cost) - floats(grant)) * first_year
        + np.where((year >= 1) & (year < last), replacements, 0.0)
        + (yearly(maintenance_per_year) + floats(maintenance_in_years)) * running
        - yearly(salvage_value) * (year == last)
    )
    age = np.maximum(year - 1, 0)
    energy = yearly(net_kwh_per_year) * (1 - yearly(degradation_per_year)) ** age * running
    used = floats(self_consumption_share)
    risen = energy * (1 + yearly(real_price_escalation_per_year)) ** age
    sold = risen * yearly((1 - used) * floats(export_price_per_kwh))
    saved = risen * yearly(used * floats(price_per_kwh))
    return CashFlow(cost=cost, energy_kwh=energy, value=saved + sold, sold=sold)


def nominal(real_flow: npt.ArrayLike, inflation: npt.ArrayLike) -> FloatArray:
    """Return a flow in the money of each year from one in today's money.

    Parameters
    ----------
    real_flow : array_like, shape (..., years + 1)
    inflation : array_like, shape (...)
        Per year.
    """
    flow = floats(real_flow)
    return np.asarray(flow * (1 + floats(inflation)[..., np.newaxis]) ** np.arange(flow.shape[-1]))


def real(nominal_flow: npt.ArrayLike, inflation: npt.ArrayLike) -> FloatArray:
    """Return a flow in today's money from one in the money of each year; undoes `nominal`."""
    return nominal(nominal_flow, 1 / (1 + floats(inflation)) - 1)


def loan_flow(
    amount: npt.ArrayLike, interest_rate: npt.ArrayLike, years: int, life_years: int
) -> FloatArray:
    """Return what a loan brings and takes by year, in the money of each year (nominal).

    Parameters
    ----------
    amount : array_like, shape (...)
        Received in year 0.
    interest_rate : array_like, shape (...)
        Nominal, per year.
    years : int
        Of equal payments, at year ends.
    life_years : int
        Of the build, at least `years`.

    Returns
    -------
    ndarray, shape (..., life + 1)
        Above zero in year 0, below it in years 1 to `years`.

    Notes
    -----
    The payment is the amount times the capital recovery factor at the loan's own rate (Short,
    Packey & Holt 1995).
    """
    year = np.arange(life_years + 1)
    payment = floats(amount) * capital_recovery_factor(interest_rate, years)
    received = floats(amount)[..., np.newaxis] * (year == 0)
    paid = payment[..., np.newaxis] * ((year >= 1) & (year <= years))
    return np.asarray(received - paid)
