"""How sure the mean wind is: what chance, missing seasons and one year's weather leave open."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from yieldest.defaults import YEAR_TO_YEAR
from yieldest.wind.block_bootstrap import BlockDraws
from yieldest.wind.data_recovery import DAYS_PER_YEAR, FULL_MONTH_SHARE
from yieldest.wind.histogram import Histogram

SEASON_SWING = 0.2
"""Amplitude of the yearly swing of the monthly mean speeds over the yearly mean, taken where months
are missing; our choice, from what temperate climates commonly show."""


@dataclass(frozen=True)
class WindUncertainty:
    """Standard uncertainties of the mean wind, each as a share of it.

    Parameters
    ----------
    mean_sampling, cube_sampling : float
        Of the mean speed and of the mean cube, from the weather of the days that the record holds
        (block bootstrap).
    mean_season : float
        Of the mean speed, from the part of the year that the record lacks.
    mean_year : float
        Of the mean speed, for one record of so many years against the long run.
    method : str
    """

    mean_sampling: float
    cube_sampling: float
    mean_season: float
    mean_year: float
    method: str

    @property
    def mean_total(self) -> float:
        """All three together for the long-run mean speed, as the root of the sum of squares."""
        return float(np.sqrt(self.mean_sampling**2 + self.mean_season**2 + self.mean_year**2))

    @property
    def cube_total(self) -> float:
        """The same for the mean cube: a change of the mean counts three times there."""
        return float(np.sqrt(self.cube_sampling**2 + 9 * (self.mean_season**2 + self.mean_year**2)))


def season_uncertainty(missing: float) -> float:
    r"""Return the relative standard uncertainty of the mean speed when part of the year is missing.

    Parameters
    ----------
    missing : float
        Share of the year.

    Notes
    -----
    When a share f of the year is missing in one piece, and monthly means swing like a cosine of
    amplitude a whose phase nobody knows, the mean of the rest is off by a standard deviation of
    :math:`a/\sqrt2 \cdot \sin(\pi f) / (\pi (1 - f))` (calculus, no other source).
    """
    missing = min(missing, 0.999)  # where sine and denominator both vanish
    return float(SEASON_SWING / np.sqrt(2) * np.sin(np.pi * missing) / (np.pi * (1 - missing)))


def wind_uncertainty(
    histogram: Histogram, draws: BlockDraws, span_hours: float, month_share: tuple[float, ...]
) -> WindUncertainty:
    """Return how sure the mean wind of a record is.

    Parameters
    ----------
    histogram : Histogram
        Weights of shape (m,).
    draws : BlockDraws
    span_hours : float
        From the first reading to the last.
    month_share : tuple of 12 float
        Share of each calendar month that has readings.
    """
    drawn = histogram.weighted(draws.weight)
    means, cubes = drawn.moment(1), drawn.moment(3)
    # A month that is half covered stands for itself (see `record.data_recovery`).
    missing = 1 - float(np.mean([min(1.0, share / FULL_MONTH_SHARE) for share in month_share]))
    years = max(1.0, span_hours / 24 / DAYS_PER_YEAR)
    return WindUncertainty(
        mean_sampling=float(np.nanstd(means, ddof=1) / histogram.moment(1)),
        cube_sampling=float(np.nanstd(cubes, ddof=1) / histogram.moment(3)),
        mean_season=season_uncertainty(missing),
        mean_year=float(YEAR_TO_YEAR.value / np.sqrt(years)),
        method=f"block bootstrap ({draws.method}); missing seasons by a swing of "
        f"{100 * SEASON_SWING:.0f} % (ours); one year against the long run "
        f"{YEAR_TO_YEAR} ({YEAR_TO_YEAR.source})",
    )
