"""How far a short overlap can be trusted, and how much of a reference's anomaly is the site's.

The logarithm of the mean of a stretch, less that of the long term, is the sum of three parts: the
round of the year, weather, and a slow wandering of the place itself (instruments, trees, roofs).
Places near each other share the first nearly whole, weather as far as their days correlate, and the
third not at all. Weather and wandering are Gaussian processes; what the references' anomalies tell
of the site's is then the best linear prediction, and what it leaves is the uncertainty.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri

from yieldest.arrays import FloatArray
from yieldest.frozen import frozen_dataclass
from yieldest.wind.data_recovery import DAYS_PER_YEAR

WANDERING = 0.05
"""Median of the standard deviation of a place's slow wandering, as a share of its mean speed,
before anything is seen of it. Like the other constants here: pooled over six Irish stations,
1961-78 (Haslett & Raftery, *Applied Statistics* 38 (1989) 1-50), rounded; docs/long-term.md."""
WANDERING_SPREAD = 0.6
"""Standard deviation of its logarithm among places: two thirds are within a factor of 1.8."""
WANDERING_YEARS = 3.0
"""The wandering is forgotten exponentially in so many years."""
SEASON_DIFFERENCE = 0.06
"""Standard deviation by which the yearly wave of two unrelated places differs, as a share of the
mean; that of two places whose days correlate by r has sqrt(2 (1 - r)) of it."""
HALF_YEARLY_SHARE = 0.5
"""The half-yearly wave differs by this share of the yearly one's."""
CUBE_TIMES = 2.3
"""So many times as large are wandering and difference of seasons in the mean cube."""
MEMORY = 0.8
"""The variance of a mean over n days of weather falls as n to the minus this; it would be 1 without
memory (Haslett & Raftery 1989 find long memory)."""
SCALE_SPREAD = 0.2
"""Standard deviation of the logarithm of how many times as much the weather of two places varies,
before anything is seen of it."""

AVERAGED_DAYS = 30
"""The weather's variance is measured on means over so many days."""
SPELL_DAYS = 5
"""How much the weather of two places varies is compared on means over so many days."""
INDEPENDENT_DAYS = 2.0
"""Days of weather that tell as much as one independent of the last; our choice."""
LEAST_WEATHER_SHARE = 0.3
"""At least this share of the variance of monthly means is taken for weather; our choice."""
FARTHEST_SCALE = 2.0
"""Weather at the site varies at most so many times as much as at the reference, or as little."""
LEAST_SEASON = 0.2
"""No season has less than this share of the mean; our choice, against waves that overshoot."""
LEAST_MEAN = 1e-3
"""No stretch has less than this share of what is usual, for its logarithm; our choice."""
MOST_EXPLAINED = 0.98
"""No references explain more than this share of the variance of the site's days; our choice."""
BLOCK_DAYS = 91
"""The overlap is cut into blocks of about this length, to see its own wandering."""
HALF_YEAR_DAYS = 183
MOST_BLOCKS = 80
LEAST_BLOCKS = 4
"""A reference is cut into half-years, at most so many and longer ones then; fewer than the least
tell nothing of its wandering."""
DISAGREEMENT_LEVEL = 0.95
_SIGMAS = np.geomspace(0.01, 0.2, 11)
"""The standard deviations of the wandering that are tried, in equal steps of the logarithm."""

Kernel = Callable[[FloatArray], FloatArray]


def waves(day: FloatArray) -> FloatArray:
    """Return the yearly and half-yearly cosine and sine at days since 1970, shape (n, 4)."""
    angle = 2 * np.pi * day / DAYS_PER_YEAR
    cos, sin = np.cos(angle), np.sin(angle)
    return np.stack([cos, sin, cos**2 - sin**2, 2 * sin * cos], axis=-1)


def usual_share(day: FloatArray, value: FloatArray, whole: npt.NDArray[np.bool_]) -> FloatArray:
    """Return what is usual at a season and an hour of day, as a share of the long-term mean.

    Parameters
    ----------
    day, value : ndarray, shape (n,)
        Days since 1970 with their fraction, and speeds or cubes.
    whole : ndarray of bool, shape (n,)
        Which are of whole years: the rest tells nothing.

    Returns
    -------
    ndarray, shape (n,)
        Yearly and half-yearly wave by least squares, times the mean round of the day.
    """
    wave, hour = waves(day), (day % 1 * 24 + 1e-6).astype(np.int64)
    design = np.column_stack([np.ones(day.size), wave])[whole]
    level, *swing = np.linalg.lstsq(design, value[whole], rcond=None)[0]
    season = np.maximum(1 + wave @ np.array(swing) / level, LEAST_SEASON)
    relative = value[whole] / season[whole]
    count = np.bincount(hour[whole], minlength=24)
    round_of_day = np.bincount(hour[whole], relative, 24) / np.maximum(count, 1)
    round_of_day = np.where(count > 0, round_of_day, relative.mean()) / relative.mean()
    usual = season * round_of_day[hour]
    return np.asarray(usual / usual[whole].mean())


def weather_kernel(days: FloatArray) -> FloatArray:
    """Second integral of the covariance of weather, for a variance of 1 of monthly means."""
    return np.asarray(0.5 * AVERAGED_DAYS**MEMORY * np.abs(days) ** (2 - MEMORY))


def wandering_kernel(days: FloatArray) -> FloatArray:
    """Second integral of the covariance exp(-t) of a wandering of variance 1."""
    scale = WANDERING_YEARS * DAYS_PER_YEAR
    x = np.abs(days) / scale
    return np.asarray(scale**2 * (np.exp(-x) - 1 + x))


def covariance(one: FloatArray, other: FloatArray, kernel: Kernel) -> FloatArray:
    r"""Return the covariances of the means of a process over stretches of time.

    Parameters
    ----------
    one, other : ndarray, shape (n, 2) and (m, 2)
        Begin and end of each stretch, in days.
    kernel : callable
        K, the second integral of the process's covariance.

    Returns
    -------
    ndarray, shape (n, m)
        :math:`[K(d - a) + K(c - b) - K(c - a) - K(d - b)] / ((b - a)(d - c))` for a stretch from a
        to b and one from c to d (calculus).
    """
    (a, b), (c, d) = one.T[:, :, np.newaxis], other.T[:, np.newaxis]
    whole = kernel(d - a) + kernel(c - b) - kernel(c - a) - kernel(d - b)
    return np.asarray(whole / ((b - a) * (d - c)))


def _about_long_term(
    blocks: FloatArray, one: FloatArray, other: FloatArray, kernel: Kernel
) -> FloatArray:
    """Return the covariances (b, b) of blocks, each series taken from its own long-term mean."""
    return (
        covariance(blocks, blocks, kernel)
        - covariance(blocks, other, kernel)
        - covariance(one, blocks, kernel)
        + covariance(one, other, kernel)
    )


def wandering_variance(days: float, of_days: float) -> float:
    """Return the variance of a wandering of variance 1 over a stretch, about its whole record."""
    stretch, whole = np.array([[0.0, days]]), np.array([[0.0, of_days]])
    return float(_about_long_term(stretch, whole, whole, wandering_kernel)[0, 0])


def yearly_variance(span: FloatArray, kernel: Kernel) -> float:
    """Return the variance to be expected among the yearly means of a process over whole years."""
    years = max(2, round(float(np.diff(span)[0, 0]) / DAYS_PER_YEAR))
    edges = np.linspace(span[0, 0], span[0, 1], years + 1)
    blocks = np.stack([edges[:-1], edges[1:]], axis=1)
    about = np.diag(_about_long_term(blocks, span, span, kernel))
    return float(about.sum() / (years - 1))


@frozen_dataclass
class LongSeries:
    """What a reference's whole years tell of one power of its speed."""

    mean: float
    usual: FloatArray
    """What is usual at each of its n steps, over the mean."""
    span: FloatArray
    """Begin and end of its whole years in days, shape (1, 2)."""
    day: npt.NDArray[np.int64]
    days: FloatArray
    """Its days over what is usual, shape (d,)."""
    monthly_variance: float
    """Of the logarithms of means over 30 days."""
    blocks: FloatArray
    """Begin and end of half-years, shape (b, 2); `anomaly` the logarithms of their means over what
    is usual, shape (b,)."""
    anomaly: FloatArray

    @classmethod
    def of(cls, day: FloatArray, value: FloatArray, of_years: npt.NDArray[np.bool_]) -> LongSeries:
        """Take a series apart: days since 1970 with their fraction, values, and whole years."""
        usual = usual_share(day, value, of_years)
        mean = float(value[of_years].mean())
        number, days, _ = _grouped(np.floor(day), value / mean)
        days = days / _grouped(np.floor(day), usual)[1]
        first = float(day[of_years].min())
        length = float(np.ceil(day[of_years].max() + 1e-6)) - first
        _, monthly, count = _grouped(number // AVERAGED_DAYS, days)
        months = np.log(np.maximum(monthly[count >= AVERAGED_DAYS / 2], LEAST_MEAN))
        # Without two months to compare, days tell of them as weather's memory has it.
        of_days = float(np.log(np.maximum(days, LEAST_MEAN)).var()) / AVERAGED_DAYS**MEMORY
        wanted = int(np.clip(round(length / HALF_YEAR_DAYS), 1, MOST_BLOCKS))
        place, means, count = _grouped(np.floor((number - first + 0.5) / length * wanted), days)
        kept = (place >= 0) & (place < wanted) & (count >= length / wanted / 2)
        begin = first + place[kept] * length / wanted
        return cls(
            mean=mean,
            usual=usual,
            span=np.array([[first, first + length]]),
            day=number,
            days=days,
            monthly_variance=float(months.var(ddof=1)) if months.size > 1 else of_days,
            blocks=np.stack([begin, begin + length / wanted], axis=1),
            anomaly=np.log(np.maximum(means[kept], LEAST_MEAN)),
        )

    def weather(self, wandering: FloatArray) -> FloatArray:
        """Return the variance of monthly means of weather, for wanderings of such variance."""
        days = float(np.diff(self.span)[0, 0])
        slow = wandering * wandering_variance(AVERAGED_DAYS, days)
        left = np.maximum(1 - slow / self.monthly_variance, LEAST_WEATHER_SHARE)
        kept = max(1 - (AVERAGED_DAYS / days) ** MEMORY, LEAST_WEATHER_SHARE)
        return np.asarray(left * self.monthly_variance / kept)


def likenesses(series: Sequence[LongSeries]) -> FloatArray:
    """Return the correlations of the days of references, shape (n, n); none is negative."""
    alike = np.eye(len(series))
    for i, one in enumerate(series):
        for j, other in enumerate(series[:i]):
            _, here, there = np.intersect1d(one.day, other.day, True, return_indices=True)
            if here.size >= AVERAGED_DAYS:
                found = np.corrcoef(one.days[here], other.days[there])[0, 1]
                alike[i, j] = alike[j, i] = np.clip(found, 0.0, 0.99)
    return alike


def wandering_of(series: Sequence[LongSeries], alike: FloatArray, power: int) -> FloatArray:
    """Return the variance of each reference's slow wandering, shape (n,), in the light of all.

    The half-yearly means of all references are jointly normal: weather that they share, wandering
    that they do not, and levels nobody knows. Over a grid of standard deviations the restricted
    likelihood times the prior is taken for each reference in turn, with the others at their mean.
    """
    sigmas = _SIGMAS * (CUBE_TIMES if power == 3 else 1.0)
    variances = np.full(len(series), _mean_over(0.0, sigmas**2))
    own = np.repeat(np.arange(len(series)), [one.anomaly.size for one in series])
    if own.size < LEAST_BLOCKS:
        return variances
    blocks = np.concatenate([one.blocks for one in series])
    anomaly = np.concatenate([one.anomaly for one in series])
    shared = covariance(blocks, blocks, weather_kernel) * alike[np.ix_(own, own)]
    slow = covariance(blocks, blocks, wandering_kernel) * (own[:, np.newaxis] == own)
    levels = np.eye(len(series))[own]
    for _ in range(min(2, len(series))):
        for changed in range(len(series)):
            tried = np.tile(variances, (sigmas.size, 1))
            tried[:, changed] = sigmas**2
            weather = [
                one.weather(wandering) for one, wandering in zip(series, tried.T, strict=True)
            ]
            size = np.sqrt(np.stack(weather, axis=-1))[:, own]
            both = shared * size[:, :, np.newaxis] * size[:, np.newaxis]
            both += slow * tried[:, np.newaxis, own]
            values = np.broadcast_to(anomaly, (sigmas.size, anomaly.size))
            variances[changed] = _mean_over(_levels(both, values, levels)[0], sigmas**2)
    return variances


def _levels(
    between: FloatArray, values: FloatArray, design: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Fit levels to normal values by generalised least squares.

    Covariances (..., m, m), values (..., m) and a design (m, k) give the logarithm of the
    restricted likelihood (...), the levels (..., k) and their precision (..., k, k).
    """
    design = np.broadcast_to(design, (*values.shape, design.shape[-1]))
    both = np.concatenate([values[..., np.newaxis], design], axis=-1)
    solved = np.linalg.solve(between, both)
    sums = np.swapaxes(both, -1, -2) @ solved
    precision, pull = sums[..., 1:, 1:], sums[..., 1:, 0]
    level = np.linalg.solve(precision, pull[..., np.newaxis])[..., 0]
    left = sums[..., 0, 0] - (pull * level).sum(axis=-1)
    size = np.linalg.slogdet(between)[1] + np.linalg.slogdet(precision)[1]
    return np.asarray(-0.5 * (size + left)), level, precision


def _mean_over(fit: npt.ArrayLike, values: FloatArray) -> float:
    """Return the mean of values over the wanderings tried, by prior and logarithmic likelihood."""
    prior = -0.5 * (np.log(_SIGMAS / WANDERING) / WANDERING_SPREAD) ** 2
    log_weight = prior + np.asarray(fit)
    weight = np.exp(log_weight - log_weight.max())
    return float(weight @ values / weight.sum())


@frozen_dataclass
class Overlap:
    """A reference's steps that the site has as well, arrays of shape (k,)."""

    series: LongSeries
    day: FloatArray
    usual: FloatArray
    reference: FloatArray
    """Speeds or mean cubes; `site` the same there."""
    site: FloatArray

    def tie(self) -> tuple[float, float, float]:
        """Return the correlation of days, how many times the site's spells vary, and how many."""
        day = np.floor(self.day)
        number, there, count = _grouped(day, self.reference / self.usual)
        here = _grouped(day, self.site / self.usual)[1]
        full = count >= count.max() / 2
        number, there, here = number[full], there[full], here[full]
        spread = float(there.std() * here.std())
        if spread <= 0:
            return 0.0, 1.0, 0.0
        correlation = float(((there - there.mean()) * (here - here.mean())).mean()) / spread
        _, spells, count = _grouped(number // SPELL_DAYS, there / there.mean())
        of_site = _grouped(number // SPELL_DAYS, here / here.mean())[1]
        full = count > SPELL_DAYS / 2
        # What was read on single days alone has no spells to compare.
        if full.sum() < 2:
            return max(0.0, correlation), 1.0, 0.0
        varies = float(of_site[full].std() / max(spells[full].std(), 1e-9))
        scale = float(np.clip(varies, 1 / FARTHEST_SCALE, FARTHEST_SCALE))
        return max(0.0, correlation), scale, float(full.sum())


@frozen_dataclass
class Prediction:
    """The long-term mean of a power of speed, and how sure it is."""

    mean: float
    uncertainty: float
    """Relative standard uncertainty."""
    anomaly_share: float
    """How much of the references' anomaly is transferred, all together."""
    year_to_year: float
    """Standard deviation of yearly means over their mean, by weather and by the site's own
    wandering."""


class ErrorModel:
    """The joint second moments of site and n references in b blocks of the overlap.

    Parameters
    ----------
    overlaps : sequence of Overlap
        The long term is that of the first.
    power : int
        1 or 3.
    alike : ndarray, shape (n, n)
        Correlations of the references' days.
    wandering : ndarray, shape (n,)
        Variance of each reference's slow wandering.
    whole : bool
        Whether the overlap is one block.
    """

    def __init__(
        self,
        overlaps: Sequence[Overlap],
        power: int,
        alike: FloatArray,
        wandering: FloatArray,
        whole: bool = False,
    ) -> None:
        n = len(overlaps)
        self._times = CUBE_TIMES if power == 3 else 1.0
        first = overlaps[0]
        begin, end = float(np.floor(first.day.min())), float(np.floor(first.day.max())) + 1
        cut = 1 if whole else max(1, round((end - begin) / BLOCK_DAYS))
        self._edges = np.linspace(begin, end, cut + 1)
        means = [self._block_means(one) for one in overlaps]
        kept = np.flatnonzero(np.isfinite(means[0][1]))
        days = means[0][3][kept]
        middle = (self._edges[:-1] + self._edges[1:])[kept] / 2
        blocks = np.stack([middle - days / 2, middle + days / 2], axis=1)
        season = np.nanmean([usual[kept] for usual, *_ in means], axis=0)
        self.site = means[0][1][kept] - season
        anomaly = np.concatenate([there[kept] for _, _, there, _ in means])
        self._known = np.isfinite(anomaly)
        self.anomaly = anomaly[self._known]

        tied = np.array([one.tie() for one in overlaps])
        seen = float(np.unique(np.floor(first.day)).size) / INDEPENDENT_DAYS
        self.correlation = _as_if_seen_anew(tied[:, 0], alike, seen)
        noise = (1 - np.minimum(self.correlation, 0.99) ** 2) / np.maximum(tied[:, 2] - 1, 1.0)
        trust = SCALE_SPREAD**2 / (SCALE_SPREAD**2 + noise)
        self.scale = tied[:, 1] ** trust
        weather = [float(o.series.weather(v)) for o, v in zip(overlaps, wandering, strict=True)]
        of_site = float((self.scale**2 * weather).mean())
        unsure = float(np.exp(2 * (trust * noise)).mean())

        spans = [first.series.span, *(one.series.span for one in overlaps)]
        size = np.sqrt([of_site, *weather])
        tie = np.block([[np.ones((1, 1)), self.correlation[np.newaxis]],
                        [self.correlation[:, np.newaxis], alike]])  # fmt: skip
        tie *= np.outer(size, size)
        parts = [
            [
                tie[i, j] * _about_long_term(blocks, one, other, weather_kernel)
                for j, other in enumerate(spans)
            ]
            for i, one in enumerate(spans)
        ]
        for i, (variance, span) in enumerate(zip(wandering, spans[1:], strict=True), 1):
            parts[i][i] = parts[i][i] + variance * _about_long_term(
                blocks, span, span, wandering_kernel
            )
        self._year_of_weather = of_site * yearly_variance(first.series.span, weather_kernel)
        self._year_of_wandering = yearly_variance(first.series.span, wandering_kernel)
        self._of_weather = unsure * parts[0][0]
        self._of_wandering = _about_long_term(blocks, spans[0], spans[0], wandering_kernel)
        self.between = np.block([row[1:] for row in parts[1:]])[np.ix_(self._known, self._known)]
        self.to_site = np.block(parts[0][1:])[:, self._known]

        swing = self._waves(first)[kept] * [1, 1, HALF_YEARLY_SHARE, HALF_YEARLY_SHARE]
        # The site's own part of the difference stays, those of the references average out.
        differs = float(1 - self.correlation.mean()) * (1 + 1 / n)
        self._of_season = (SEASON_DIFFERENCE * self._times) ** 2 * differs * swing @ swing.T
        # What relations of a few days cost in prediction (Theil, Principles of Econometrics, 1971).
        self._few_days = n / max(1.0, seen - n - 2)

    def _block_means(self, one: Overlap) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return by block the logarithms of usual, site and anomaly, and the days."""
        block = np.searchsorted(self._edges, one.day, side="right") - 1
        cut = self._edges.size - 1
        inside = (block >= 0) & (block < cut)
        count = np.bincount(block[inside], minlength=cut)
        days = np.bincount(
            np.searchsorted(self._edges, np.unique(np.floor(one.day)) + 0.5) - 1, minlength=cut
        )[:cut]
        with np.errstate(invalid="ignore", divide="ignore"):
            usual, site, reference = (
                np.log(np.bincount(block[inside], values[inside], cut) / count)
                for values in (one.usual, one.site, one.reference / one.series.mean)
            )
        return usual, site, reference - usual, np.maximum(days, 1.0)

    def _waves(self, one: Overlap) -> FloatArray:
        """Return the means of the waves in each block."""
        block = np.searchsorted(self._edges, one.day, side="right") - 1
        cut = self._edges.size - 1
        count = np.maximum(np.bincount(block, minlength=cut), 1)
        return np.stack([np.bincount(block, wave, cut) / count for wave in waves(one.day).T], 1)

    def best_weights(self) -> FloatArray:
        """Return the weights of the anomalies in the best linear prediction, shape (b, n b)."""
        return np.asarray(np.linalg.lstsq(self.between, self.to_site.T, rcond=None)[0].T)

    def disagreement(self) -> float:
        """Return by how much the variance grows for references that contradict each other.

        The ratio of Birge (*Physical Review* 40 (1932) 207-227) where chance would exceed it in
        less than 5 % of cases, else 1. For an overlap of one block.
        """
        freedom = self.anomaly.size - 1
        if freedom < 1:
            return 1.0
        inverse = np.linalg.pinv(self.between)
        sums = inverse.sum(axis=0)
        chi_square = self.anomaly @ inverse @ self.anomaly - (sums @ self.anomaly) ** 2 / sums.sum()
        beyond = chi_square > chdtri(freedom, 1 - DISAGREEMENT_LEVEL)
        return float(chi_square / freedom) if beyond else 1.0

    def predict(self, weights: FloatArray, widened: float = 1.0) -> Prediction:
        """Transfer so much of the anomalies, shape (b, n b), and the season whole.

        The anomalies are taken for lognormal with mean 1, and the mean is free of bias, not its
        logarithm. The site's own wandering is that of the prior, in the light of its own blocks
        where there are several; the blocks are weighed by generalised least squares.

        Parameters
        ----------
        weights : ndarray
        widened : float
            Factor on the variance.
        """
        transferred = weights @ self.to_site.T
        of_weather = (
            self._of_weather - transferred - transferred.T + weights @ self.between @ weights.T
        )
        shift = weights @ (self.anomaly + 0.5 * np.diag(self.between))
        slow = (_SIGMAS * self._times)[:, np.newaxis, np.newaxis] ** 2 * self._of_wandering
        of_site = np.diagonal(self._of_weather + slow, axis1=-2, axis2=-1)
        left = of_weather * (1 + self._few_days) + slow + self._of_season
        fit, level, precision = _levels(
            left, self.site + 0.5 * of_site - shift, np.ones((self.site.size, 1))
        )
        mean = _mean_over(fit, level[:, 0])
        spread = widened * _mean_over(fit, 1 / precision[:, 0, 0] + (level[:, 0] - mean) ** 2)
        wandering = _mean_over(fit, (_SIGMAS * self._times) ** 2)
        return Prediction(
            float(np.exp(mean - spread / 2)),
            float(np.sqrt(spread)),
            float(weights.sum() / weights.shape[0]),
            float(np.sqrt(self._year_of_weather + wandering * self._year_of_wandering)),
        )


def _as_if_seen_anew(correlation: FloatArray, alike: FloatArray, seen: float) -> FloatArray:
    """Shrink correlations by what so many independent days overstate of the share explained.

    The adjusted share (Wherry, *Ann. Math. Stat.* 2 (1931) 440-457), which also holds the
    correlations of site and references within what those among the references allow.
    """
    share = float(correlation @ np.linalg.pinv(alike) @ correlation)
    if share <= 0:
        return np.zeros_like(correlation)
    most = min(share, MOST_EXPLAINED)
    adjusted = 1 - (1 - most) * (seen - 1) / max(1.0, seen - correlation.size - 1)
    return np.asarray(correlation * np.sqrt(max(0.01, adjusted) / share))


def _grouped(
    number: npt.NDArray[np.generic], value: FloatArray
) -> tuple[npt.NDArray[np.int64], FloatArray, npt.NDArray[np.int64]]:
    """Return the distinct numbers, the mean value of each and how many it has."""
    found, place, count = np.unique(number, return_inverse=True, return_counts=True)
    return found.astype(np.int64), np.bincount(place, value) / count, count
