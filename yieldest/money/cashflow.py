"""What is paid and saved in each year of a build's life."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats


@dataclass(frozen=True)
class CashFlow:
    """Costs, energy and value by year, in real terms (today's money), at year ends.

    Parameters
    ----------
    cost : ndarray, shape (..., life + 1)
        Money paid: the capital in year 0, then upkeep and replacements.
    energy_kwh : ndarray, shape (..., life + 1)
        Net energy, zero in year 0.
    value : ndarray, shape (..., life + 1)
        What the energy is worth.
    """

    cost: FloatArray
    energy_kwh: FloatArray
    value: FloatArray

    @property
    def net(self) -> FloatArray:
        """Value less cost by year, shape (..., life + 1)."""
        return self.value - self.cost


def cash_flow(
    capital_cost: npt.ArrayLike,
    replacement_costs: npt.ArrayLike,
    upkeep_per_year: npt.ArrayLike,
    net_kwh_per_year: npt.ArrayLike,
    price_per_kwh: npt.ArrayLike,
) -> CashFlow:
    """Lay out costs, energy and value over the life of a build.

    Parameters
    ----------
    capital_cost, upkeep_per_year, net_kwh_per_year, price_per_kwh : array_like, shape (...)
        They broadcast.
    replacement_costs : array_like, shape (..., life + 1)
        By year, 0 to the life.
    """
    replacements = floats(replacement_costs)
    running = np.ones(replacements.shape[-1])
    running[0] = 0.0
    capital = floats(capital_cost)[..., np.newaxis] * (1 - running)
    upkeep = floats(upkeep_per_year)[..., np.newaxis] * running
    energy = floats(net_kwh_per_year)[..., np.newaxis] * running
    value = energy * floats(price_per_kwh)[..., np.newaxis]
    return CashFlow(cost=capital + replacements + upkeep, energy_kwh=energy, value=value)
