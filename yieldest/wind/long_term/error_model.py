"""How far a short overlap can be trusted, and how much of a reference's anomaly is the site's.

The logarithm of the mean of a stretch, less that of the long term, is the sum of three parts: the
round of the year, weather, and a slow wandering of the place itself (instruments, trees, roofs).
Places near each other share the first nearly whole, weather as far as their days correlate, and the
third not at all. What a reference's anomaly tells of the site's is then the best linear prediction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray
from yieldest.wind.data_recovery import DAYS_PER_YEAR

WANDERING = 0.065
"""Standard deviation of the slow wandering of a place's mean speed, as a share of it. Like the
other constants here: pooled over six Irish stations, 1961-78 (Haslett & Raftery, *Applied
Statistics* 38 (1989) 1-50), and three airports near New York, 2013; rounded up."""
WANDERING_YEARS = 3.0
"""The wandering is forgotten exponentially in so many years."""
SEASON_DIFFERENCE = 0.06
"""Standard deviation by which the yearly wave of two unrelated places differs, as a share of the
mean; that of two places whose days correlate by r has sqrt(2 (1 - r)) of it."""
CUBE_TIMES = 2.2
"""So many times as large are the two in the mean cube (pooled likewise)."""
HALF_YEARLY_SHARE = 0.5
"""The half-yearly wave differs by this share of the yearly one's (pooled likewise)."""
MEMORY = 0.8
"""The variance of a mean over n days of weather falls as n to the minus this; it would be 1 without
memory (Haslett & Raftery 1989 find long memory; the value pooled as above)."""
BLOCK_DAYS = 30
"""The weather's variance is measured on means over so many days."""
LEAST_WEATHER_SHARE = 0.3
"""At least this share of the variance of such means is taken for weather; our choice."""
FARTHEST_SCALE = 2.0
"""Days at the site vary at most so many times as much as at the reference, or as little; ours."""
LEAST_SEASON = 0.2
"""No season has less than this share of the mean; our choice, against waves that overshoot."""
DISAGREEMENT_WEIGHT = 4.0
"""The expected disagreement of the references counts as much as this many found; our choice."""


def waves(day: FloatArray) -> FloatArray:
    """Return the yearly and half-yearly cosine and sine at days since 1970, shape (n, 4)."""
    angle = 2 * np.pi * day / DAYS_PER_YEAR
    return np.stack([np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)], axis=-1)


def usual_share(day: FloatArray, value: FloatArray, at_day: FloatArray) -> FloatArray:
    """Return what is usual at a season and an hour of day, as a share of the long-term mean.

    Parameters
    ----------
    day, value : ndarray, shape (n,)
        Days since 1970 with their fraction, and the speeds or cubes of whole years.
    at_day : ndarray, shape (m,)

    Returns
    -------
    ndarray, shape (m,)
        Yearly and half-yearly wave by least squares, times the mean round of the day.
    """
    design = np.column_stack([np.ones(day.size), waves(day)])
    level, *swing = np.linalg.lstsq(design, value, rcond=None)[0]

    def season(days: FloatArray) -> FloatArray:
        return np.asarray(np.maximum(1 + waves(days) @ np.array(swing) / level, LEAST_SEASON))

    def hour(days: FloatArray) -> npt.NDArray[np.int64]:
        return np.asarray(days % 1 * 24 + 1e-6, dtype=np.int64)

    relative = value / season(day)
    count = np.bincount(hour(day), minlength=24)
    round_of_day = np.bincount(hour(day), relative, 24) / np.maximum(count, 1)
    round_of_day = np.where(count > 0, round_of_day, relative.mean()) / relative.mean()
    mean = float((season(day) * round_of_day[hour(day)]).mean())
    return np.asarray(season(at_day) * round_of_day[hour(at_day)] / mean)


def wandering_variance(years: float, whole_years: float, power: int) -> float:
    r"""Return the variance of a place's slow wandering over a stretch, about its whole record.

    For a wandering that is forgotten exponentially the mean of a stretch of x times its time scale
    has :math:`2 (x - 1 + e^{-x}) / x^2` of its variance (calculus); the mean of the whole record is
    left out of it.
    """
    x = np.array([years, whole_years]) / WANDERING_YEARS
    stretch, whole = 2 * (x - 1 + np.exp(-x)) / x**2
    return float((WANDERING * (CUBE_TIMES if power == 3 else 1.0)) ** 2 * max(0.0, stretch - whole))


@dataclass(frozen=True)
class Overlap:
    """What one reference tells of the overlap; all of logarithms of the mean of a power of speed.

    Parameters
    ----------
    season, anomaly : float
        The reference's overlap less its long term: what season and hour of day make usual, and the
        rest.
    weather : float
        Variance of its anomalies over the days of the overlap, as far as they are weather.
    wandering : float
        Variance of its slow wandering.
    site_wandering : float
        Of the site's own.
    correlation : float
        Of days of site and reference, without the round of the year.
    scale : float
        How many times as much the site's days vary as the reference's.
    swing : ndarray, shape (4,)
        Mean of the waves in the overlap, less that of whole years.
    day : ndarray of int, shape (d,)
    days : ndarray, shape (d,)
        The reference's days of the whole record over what is usual.
    """

    season: float
    anomaly: float
    weather: float
    wandering: float
    site_wandering: float
    correlation: float
    scale: float
    swing: FloatArray
    day: npt.NDArray[np.int64]
    days: FloatArray


def overlap_of(
    day: FloatArray,
    reference: FloatArray,
    shared: npt.NDArray[np.intp],
    site: FloatArray,
    of_years: npt.NDArray[np.bool_],
    power: int,
    unsteadiness: float,
) -> Overlap:
    """Compare the overlap with the long term, as one reference sees it.

    Parameters
    ----------
    day : ndarray, shape (n,)
        Days since 1970 of the reference's steps, with their fraction.
    reference : ndarray, shape (n,)
        Its speeds, or its mean cubes.
    shared : ndarray of int, shape (k,)
        Which steps the site has as well.
    site : ndarray, shape (k,)
        Speeds or mean cubes of the site there.
    of_years : ndarray of bool, shape (n,)
        Steps within whole years.
    power : int
        1 or 3.
    unsteadiness : float
        Variance of the logarithm of the speed that steps or trends of the reference bring.
    """
    usual = usual_share(day[of_years], reference[of_years], day)
    mean = float(reference[of_years].mean())
    season = float(np.log(usual[shared].mean()))
    number, whole, _ = _by_day(day, reference / mean, usual)
    shared_day, here, count = _by_day(day[shared], reference[shared], usual[shared])
    there = _by_day(day[shared], site, usual[shared])[1]
    full = count >= count.max() / 2
    x, y = here[full] / here[full].mean(), there[full] / there[full].mean()
    spread = float(x.std() * y.std())
    correlation = float(((x - 1) * (y - 1)).mean()) / spread if spread > 0 else 0.0
    scale = float(np.clip(y.std() / x.std(), 1 / FARTHEST_SCALE, FARTHEST_SCALE)) if spread else 1.0

    years = float(np.ptp(day[of_years])) / DAYS_PER_YEAR
    overlap_years = (float(np.ptp(day[shared])) + 1) / DAYS_PER_YEAR
    site_wandering = wandering_variance(overlap_years, years, power)
    steps = unsteadiness * (CUBE_TIMES**2 if power == 3 else 1.0)
    _, means, size = _grouped(number // BLOCK_DAYS, whole)
    variance = float(np.log(means[size >= size.max() / 2]).var(ddof=1))
    of_block = wandering_variance(BLOCK_DAYS / DAYS_PER_YEAR, years, power)
    of_weather = max(variance - of_block - steps, LEAST_WEATHER_SHARE * variance)
    left, whole_left = (
        (BLOCK_DAYS / n) ** MEMORY for n in (shared_day.size, years * DAYS_PER_YEAR)
    )
    return Overlap(
        season=season,
        anomaly=float(np.log(reference[shared].mean() / mean)) - season,
        weather=of_weather / (1 - whole_left) * max(0.0, left - whole_left),
        wandering=site_wandering + steps,
        site_wandering=site_wandering,
        correlation=max(0.0, correlation),
        scale=scale,
        swing=waves(day[shared]).mean(axis=0) - waves(day[of_years]).mean(axis=0),
        day=number,
        days=whole,
    )


@dataclass(frozen=True)
class Prediction:
    """The long-term mean of a power of speed over that of the overlap, and its doubt."""

    factor: float
    uncertainty: float
    """Relative standard uncertainty."""


class ErrorModel:
    """The joint second moments of the anomalies of the site and of n references."""

    def __init__(self, overlaps: Sequence[Overlap], power: int) -> None:
        n = len(overlaps)
        weather = np.array([one.weather for one in overlaps])
        correlation = np.array([one.correlation for one in overlaps])
        self.scale = np.array([one.scale for one in overlaps])
        self.correlation = correlation
        self.anomaly = np.array([one.anomaly for one in overlaps])
        self.season = float(np.mean([one.season for one in overlaps]))
        alike = np.array([[_correlation(one, other) for other in overlaps] for one in overlaps])
        self.between = alike * np.sqrt(np.outer(weather, weather)) + np.diag(
            [one.wandering for one in overlaps]
        )
        of_site = float(np.mean(self.scale**2 * weather))
        self.to_site = correlation * np.sqrt(of_site * weather)
        self.of_site = of_site + float(np.mean([one.site_wandering for one in overlaps]))
        differs = SEASON_DIFFERENCE * (CUBE_TIMES if power == 3 else 1.0)
        swing = np.mean([one.swing for one in overlaps], axis=0)
        size = float((swing[:2] ** 2).sum() + (HALF_YEARLY_SHARE * swing[2:] ** 2).sum())
        # The site's own part of the difference stays, those of the references average out.
        self.of_season = differs**2 * size * float(1 - correlation.mean()) * (1 + 1 / n)

    def best_weights(self) -> FloatArray:
        """Return the weight of each reference's anomaly in the best linear prediction, (n,)."""
        return np.asarray(np.linalg.lstsq(self.between, self.to_site, rcond=None)[0])

    def disagreement(self) -> float:
        """Return by how much the variance grows for references that contradict each other.

        The ratio of Birge (*Physical Review* 40 (1932) 207-227), shrunk towards 1, never below.
        """
        freedom = self.anomaly.size - 1
        inverse = np.linalg.pinv(self.between)
        sums = inverse.sum(axis=0)
        if freedom == 0 or sums.sum() <= 0:
            return 1.0
        chi_square = self.anomaly @ inverse @ self.anomaly - (sums @ self.anomaly) ** 2 / sums.sum()
        return max(1.0, float((DISAGREEMENT_WEIGHT + chi_square) / (DISAGREEMENT_WEIGHT + freedom)))

    def predict(self, weights: FloatArray) -> Prediction:
        """Transfer so much of each reference's anomaly, shape (n,), and the season whole.

        The anomalies are taken for lognormal with mean 1, and the factor is free of bias in the
        mean, not in its logarithm.
        """
        variance = (
            self.of_site - 2 * weights @ self.to_site + weights @ self.between @ weights
        ) * self.disagreement() + self.of_season
        shift = (self.of_site - weights @ np.diag(self.between) - variance) / 2
        factor = np.exp(-self.season - weights @ self.anomaly + shift)
        return Prediction(float(factor), float(np.sqrt(max(0.0, variance))))


def _by_day(
    day: FloatArray, value: FloatArray, usual: FloatArray
) -> tuple[npt.NDArray[np.int64], FloatArray, npt.NDArray[np.int64]]:
    """Return days, the mean of each over what is usual for it, and its steps."""
    number, mean, count = _grouped(np.floor(day).astype(np.int64), value)
    return number, mean / _grouped(np.floor(day).astype(np.int64), usual)[1], count


def _grouped(
    number: npt.NDArray[np.int64], value: FloatArray
) -> tuple[npt.NDArray[np.int64], FloatArray, npt.NDArray[np.int64]]:
    """Return the distinct numbers, the mean value of each and how many it has."""
    found, place, count = np.unique(number, return_inverse=True, return_counts=True)
    return found, np.bincount(place, value) / count, count


def _correlation(one: Overlap, other: Overlap) -> float:
    """Return the correlation of the days of two references."""
    if one is other:
        return 1.0
    _, here, there = np.intersect1d(one.day, other.day, assume_unique=True, return_indices=True)
    if here.size < BLOCK_DAYS:
        return one.correlation * other.correlation
    return max(0.0, float(np.corrcoef(one.days[here], other.days[there])[0, 1]))
