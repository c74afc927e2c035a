"""Distributions from summed-up winds: a frequency table, twelve monthly means."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln

from yieldest.arrays import FloatArray, crossing, floats
from yieldest.defaults import RAYLEIGH_SHAPE, Assumed
from yieldest.errors import InputError
from yieldest.provenance import Finding, Findings, Provenance
from yieldest.wind.censored_fit import fit_censored
from yieldest.wind.data_recovery import MONTH_DAYS
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.histogram import Histogram
from yieldest.wind.record_values import HIGHEST_GUST_MS
from yieldest.wind.summary_tables import OPEN_CLASS_MS, FrequencyTable, MonthlyMeans
from yieldest.wind.weibull import scale_of_mean, share_above

POINTS_PER_CLASS = 20
POINTS_PER_MONTH = 400
_SHAPE_RANGE = (0.5, 30.0)


class OnlyMonthlyMeans(Finding):
    """Monthly means say nothing of how the wind spreads about them."""


HIGHEST_USUAL_MONTH_MS = 15.0
"""Hardly a place where people live has a month of a higher mean; our choice."""


class StrongMonth(Finding):
    """A monthly mean is above what is usual anywhere."""

    speed_ms: float


def distribution_of_frequencies(table: FrequencyTable, height_m: float) -> WindDistribution:
    """Fit a distribution at a height to a frequency table by maximum likelihood on its classes.

    Raises
    ------
    InputError
        When fewer than two classes are filled.
    """
    middle_ms = (table.lower_ms + table.upper_ms) / 2
    histogram = Histogram(middle_ms, table.lower_ms, table.upper_ms, table.share, None, 0.0)
    shape, scale, calm = (float(value) for value in fit_censored(histogram))
    own = table.provenance
    if np.isnan(shape):
        raise InputError(
            f"{own.source}: a distribution needs at least two filled classes; use a finer table or "
            "state the mean speed."
        )
    how = "Weibull by interval-censored maximum likelihood (Cohen 1965) on the classes"
    provenance = replace(own, method=f"{own.method}; {how}")
    return WindDistribution(shape, scale, calm, height_m, provenance)


def points_of_frequencies(
    table: FrequencyTable, distribution: WindDistribution
) -> tuple[FloatArray, FloatArray]:
    """Return speeds and their shares that stand for a frequency table, each of shape (m,).

    Every class keeps its share, spread over 20 points as the fitted distribution runs within it:
    the middles alone, or an even spread, would make the mean cube too large (by a quarter of mean
    speed x width^2, or twice that; Sheppard's corrections). The open class of Beaufort 12 is taken
    as wide as the one below it.
    """
    upper = table.upper_ms.copy()
    if upper.size > 1 and upper[-1] >= OPEN_CLASS_MS:
        upper[-1] = table.lower_ms[-1] + (upper[-2] - table.lower_ms[-2])
    place = np.arange(POINTS_PER_CLASS + 1) / POINTS_PER_CLASS
    edges = table.lower_ms[:, np.newaxis] + (upper - table.lower_ms)[:, np.newaxis] * place
    part = -np.diff(share_above(edges, distribution.shape, distribution.scale_ms), axis=-1)
    part = np.maximum(part, 1e-300)  # far above all wind every point counts alike
    share = table.share[:, np.newaxis] * part / part.sum(axis=-1, keepdims=True)
    return ((edges[:, 1:] + edges[:, :-1]) / 2).ravel(), share.ravel()


def distribution_of_months(
    means: MonthlyMeans, shape: float | None, height_m: float
) -> tuple[WindDistribution, FloatArray, FloatArray]:
    r"""Make a distribution from twelve monthly means and a shape that holds within each month.

    The shape within a month is 2 (Rayleigh) where none is stated. With the one Weibull distribution
    that has the mean and the mean cube of the twelve together come speeds and shares of points of
    the twelve, each of shape (m,), for energy without that simplification.

    Raises
    ------
    InputError
        When a mean is more than any wind, or the months are so uneven that no distribution has
        their mean and mean cube.

    Notes
    -----
    Month i of :math:`d_i` days and mean :math:`m_i` has the mean cube
    :math:`m_i^3 g(k)` with :math:`g(k) = \Gamma(1+3/k)/\Gamma(1+1/k)^3`. The year has the mean
    :math:`\sum d_i m_i / 365` and its shape solves
    :math:`g(k') = g(k) \sum d_i m_i^3 / (365\, m^3)`: the energy pattern factor of Akdag & Dinler
    (*Energy Convers. Manage.* 50 (2009) 1761-1766), which is the mean cube over the cubed mean.
    """
    highest = float(means.speed_ms.max())
    if highest > HIGHEST_GUST_MS:
        raise InputError(
            f"{means.provenance.source}: a monthly mean of {highest:.3g} m/s is more than any gust "
            f"ever measured ({HIGHEST_GUST_MS:g} m/s); mend the value or its unit."
        )
    strong = (StrongMonth(highest),) if highest > HIGHEST_USUAL_MONTH_MS else ()
    assumed: Findings = () if shape is not None else (Assumed(RAYLEIGH_SHAPE),)
    shape = RAYLEIGH_SHAPE.value if shape is None else shape
    share = MONTH_DAYS / MONTH_DAYS.sum()
    mean = float(share @ means.speed_ms)
    pattern = float(share @ means.speed_ms**3) / mean**3 * float(cube_over_mean_cubed(shape))
    most, least = cube_over_mean_cubed(_SHAPE_RANGE)
    if not most > pattern > least:
        raise InputError(
            f"{means.provenance.source}: monthly means from {means.speed_ms.min():.3g} to "
            f"{highest:.3g} m/s, with shape {shape:g} within each, make no wind distribution; mend "
            "the values or the shape."
        )
    year_shape = float(crossing(lambda k: cube_over_mean_cubed(k) - pattern, *_SHAPE_RANGE))
    place = (np.arange(POINTS_PER_MONTH) + 0.5) / POINTS_PER_MONTH
    quantile = (-np.log1p(-place)) ** (1 / shape)
    # The points of a month keep its mean, whatever the tail between the last two loses.
    points = means.speed_ms[:, np.newaxis] * (quantile / quantile.mean())
    weight = np.broadcast_to(share[:, np.newaxis] / POINTS_PER_MONTH, points.shape)
    provenance = Provenance(
        means.provenance.source,
        f"{means.provenance.method}, shape {shape:g} within each; together one Weibull with their "
        "mean and mean cube (energy pattern factor, Akdag & Dinler 2009)",
        assumed,
        (*means.provenance.warnings, *strong, OnlyMonthlyMeans()),
    )
    scale_ms = float(scale_of_mean(mean, year_shape))
    distribution = WindDistribution(year_shape, scale_ms, 0.0, height_m, provenance)
    return distribution, points.ravel(), weight.ravel()


def cube_over_mean_cubed(shape: npt.ArrayLike) -> FloatArray:
    """Return the mean cube over the cubed mean of a Weibull distribution."""
    k = floats(shape)
    return np.asarray(np.exp(gammaln(1 + 3 / k) - 3 * gammaln(1 + 1 / k)))
