"""From a short record on site and a long one nearby to the long-term wind on site."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.defaults import YEAR_TO_YEAR
from yieldest.provenance import Finding, Provenance
from yieldest.wind.data_recovery import DAYS_PER_YEAR
from yieldest.wind.long_term.pair import (
    DAY_S,
    ClockOffset,
    GroupSums,
    Pair,
    Times,
    group_sums,
    pair_records,
    usual_interval_s,
)
from yieldest.wind.long_term.relations import Form, coefficients, pick_reference, predict

LEAST_YEARS_FOR_SPREAD = 5
FULL_YEAR_SHARE = 0.9

BORROWED_DAYS = 2.0
"""How many days' worth of readings a season or sector borrows from all; our choice."""

FOLDS = 5
BLOCK_DAYS = 4
"""Weather is forgotten after some four days, so blocks of that length are independent enough."""
RESAMPLES = 300
SEASON_DRIFT = 0.045
"""How far the relation wanders between the seasons that were seen and those that were not, as a
share of the mean: measured on the airport year, see docs/long-term.md."""
SEASON_DRIFT_OF_CUBE = 0.14


@dataclass(frozen=True)
class FewFullYears(Finding):
    """The reference has too few full years to tell how far one differs from the next."""

    year_to_year_spread: float
    least_years: int


@dataclass(frozen=True)
class ShortReference(Finding):
    """The reference covers less than a year."""

    source: str
    months: float


@dataclass(frozen=True)
class ClockSetRight(Finding):
    """The clock of the reference was not that of the site, and was set right."""

    source: str
    hours: float
    correlation_with: float
    correlation_without: float


METHODS: tuple[tuple[str, Form, str | None], ...] = (
    ("ratio of means by season", "ratio", "season"),
    ("ratio of means by direction sector", "ratio", "sector"),
    ("variance ratio", "variance ratio", None),
    ("variance ratio by direction sector", "variance ratio", "sector"),
    ("linear regression", "regression", None),
    ("linear regression by direction sector", "regression", "sector"),
)
"""Every method as (name, form, grouping), the sturdiest first."""


@dataclass(frozen=True)
class MethodResult:
    """What one method says of the long-term wind on site."""

    name: str
    mean_ms: float
    """Long-term mean speed (m/s); `mean_cube` in m3/s3."""
    mean_cube: float
    cross_validation_error: float
    """Root mean square of the method's error in stretches left out of it (cross-validation), as a
    share of the mean speed."""
    mean_uncertainty: float
    """Relative standard uncertainty of the relation, without year-to-year variation."""
    cube_uncertainty: float


@dataclass(frozen=True)
class LongTermCorrection:
    """The long-term wind on site, and how it was found."""

    time: Times
    """The steps of all the reference's whole years, shape (n,)."""
    speed_ms: FloatArray
    """A reading of the site's own where there is one, else what the chosen method says."""
    direction_deg: FloatArray
    step_s: int
    """Length of the common steps."""
    overlap_hours: float
    """Of the concurrent means, as `correlation`."""
    correlation: float
    offset: ClockOffset
    concurrent_mean_ms: float
    """Of the site in the common steps: the record at face value."""
    concurrent_mean_cube: float
    methods: tuple[MethodResult, ...]
    chosen: MethodResult
    reference_years: float
    year_to_year_spread: float
    """Standard deviation of yearly means over their mean."""
    standard_uncertainty: float
    """Of the long-term mean, relative: the relation and the year-to-year variation together."""
    provenance: Provenance


def long_term(
    site_time: Times,
    site_speed_ms: FloatArray,
    reference_time: Times,
    reference_speed_ms: FloatArray,
    reference_direction_deg: FloatArray | None = None,
    site_direction_deg: FloatArray | None = None,
    source: str = "reference",
    reference_resolution_ms: float | None = None,
) -> LongTermCorrection:
    """Carry a short record on site to the years of a long one nearby.

    Parameters
    ----------
    site_time, reference_time : ndarray of datetime64, shape (n,) and (m,)
        Starts of the readings, increasing.
    site_speed_ms, reference_speed_ms : ndarray, shape (n,) and (m,)
        NaN where missing.
    reference_direction_deg, site_direction_deg : ndarray, optional
        The methods by sector need the reference's.
    source : str
        Name of the reference in messages.
    reference_resolution_ms : float, optional
        Step to which the reference's speeds were rounded.

    Raises
    ------
    InputError
        When the overlap, the correlation or the reference is too short or too weak.

    Notes
    -----
    Rogers, Rogers & Manwell, *J. Wind Eng. Ind. Aerodyn.* 93 (2005) 243-264, for regression,
    variance ratio and sectors. The choice is by cross-validation over contiguous stretches.
    """
    pair = pair_records(
        site_time, site_speed_ms, site_direction_deg,
        reference_time, reference_speed_ms, reference_direction_deg, source,
    )  # fmt: skip
    usable = [m for m in METHODS if m[2] != "sector" or pair.has_direction]
    grouped = {grouping: group_sums(pair, grouping) for _, _, grouping in usable}
    resampled = {grouping: _resampled(sums.concurrent) for grouping, sums in grouped.items()}
    results, errors = zip(
        *(
            _judge(pair, grouped[grouping], resampled[grouping], name, form)
            for name, form, grouping in usable
        ),
        strict=True,
    )
    best = _sturdiest(errors)
    chosen = results[best]
    spread, years, measured = _year_to_year(pair)
    averaged = max(1.0, pair.step_s / usual_interval_s(reference_time))
    rounded_ms = (reference_resolution_ms or 0.0) / np.sqrt(averaged)
    speed = _series(pair, grouped[usable[best][2]], usable[best], chosen, rounded_ms)
    yearly = spread / np.sqrt(max(1.0, years))
    return LongTermCorrection(
        time=(pair.reference.number[pair.target] * pair.step_s).astype("datetime64[s]"),
        speed_ms=speed,
        direction_deg=pair.direction[pair.target],
        step_s=pair.step_s,
        overlap_hours=pair.here.size * pair.step_s / 3600,
        correlation=pair.correlation,
        offset=pair.offset,
        concurrent_mean_ms=float(pair.site.mean_ms[pair.here].mean()),
        concurrent_mean_cube=float(pair.site.mean_cube[pair.here].mean()),
        methods=results,
        chosen=chosen,
        reference_years=years,
        year_to_year_spread=spread,
        standard_uncertainty=float(np.hypot(chosen.mean_uncertainty, yearly)),
        provenance=Provenance(
            source,
            f"{chosen.name} against {source}, {years:.1f} years, correlation "
            f"{pair.correlation:.2f} over {pair.here.size * pair.step_s / DAY_S:.0f} days; chosen "
            f"of {len(results)} methods by cross-validation (Rogers et al. 2005)",
            () if measured else (FewFullYears(spread, LEAST_YEARS_FOR_SPREAD),),
            _findings(source, years, pair.offset),
        ),
    )


def _findings(source: str, years: float, offset: ClockOffset) -> tuple[Finding, ...]:
    """Return what to know of the reference: that it is short, or that its clock was set right."""
    found: list[Finding] = []
    if years < 1 - 5 / DAYS_PER_YEAR:
        found.append(ShortReference(source, years * 12))
    if offset.applied:
        with_it, without = offset.correlation_with, offset.correlation_without
        found.append(ClockSetRight(source, -offset.hours, with_it, without))
    return tuple(found)


def _judge(
    pair: Pair, sums: GroupSums, resampled: FloatArray, name: str, form: Form
) -> tuple[MethodResult, FloatArray]:
    """Apply one method: its answer, its uncertainty, and its error in each left-out stretch."""
    borrowed = BORROWED_DAYS * DAY_S / pair.step_s
    seen = pair.there[pair.target[pair.there]]
    here = pair.here[pair.target[pair.there]]
    own_speed = float(pair.site.mean_ms[here].sum())
    own_cube = float(pair.site.mean_cube[here].sum())
    steps = seen.size + sums.wanted[:, 0].sum()

    def whole(concurrent: FloatArray) -> tuple[FloatArray, FloatArray]:
        speed, cube = predict(concurrent, sums.wanted, form, borrowed)
        return (own_speed + speed) / steps, (own_cube + cube) / steps

    mean, cube = (float(value) for value in whole(sums.concurrent.sum(axis=0)))
    means, cubes = whole(resampled)
    unseen_share = float(sums.wanted[:, 0].sum() / steps)
    error_of_folds = _left_out_errors(sums.concurrent, form, borrowed)
    return (
        MethodResult(
            name,
            mean,
            cube,
            float(np.sqrt((error_of_folds**2).mean())),
            float(np.hypot(means.std() / mean, SEASON_DRIFT * unseen_share)),
            float(np.hypot(cubes.std() / cube, SEASON_DRIFT_OF_CUBE * unseen_share)),
        ),
        error_of_folds,
    )


def _resampled(concurrent: FloatArray) -> FloatArray:
    """Sum daily sums anew, with days drawn in blocks from a circle; a new axis comes first."""
    days = concurrent.shape[0]
    random = np.random.default_rng(1)
    blocks = max(1, round(days / BLOCK_DAYS))
    starts = random.integers(days, size=(RESAMPLES, blocks))
    drawn = (starts[..., np.newaxis] + np.arange(BLOCK_DAYS)) % days
    flat = drawn.reshape(RESAMPLES, -1) + days * np.arange(RESAMPLES)[:, np.newaxis]
    counts = np.bincount(flat.ravel(), minlength=RESAMPLES * days)
    return np.tensordot(counts.reshape(RESAMPLES, days).astype(np.float64), concurrent, axes=1)


def _left_out_errors(concurrent: FloatArray, form: Form, borrowed: float) -> FloatArray:
    """Return the errors of a method in stretches left out of it.

    Of the mean speed and, a third of it, of the mean cube, as shares of those of the whole overlap;
    shape (2, folds).
    """
    fold = np.arange(concurrent.shape[0]) * FOLDS // concurrent.shape[0]
    left_out = np.stack([concurrent[fold == number].sum(axis=0) for number in range(FOLDS)])
    everything = left_out.sum(axis=0)
    speed, cube = predict(everything - left_out, pick_reference(left_out), form, borrowed)
    n, _, y, *_, y3, _ = np.moveaxis(everything.sum(axis=0), -1, 0)
    count = left_out[..., 0].sum(axis=-1)
    return np.stack(
        [
            (speed - left_out[..., 2].sum(axis=-1)) / (count * y / n),
            (cube - left_out[..., 9].sum(axis=-1)) / (count * y3 / n) / 3,
        ]
    )


def _sturdiest(errors: Sequence[FloatArray]) -> int:
    """Return the first method whose error is within one standard error of the smallest.

    The one-standard-error rule of Breiman, Friedman, Olshen & Stone 1984: a few stretches cannot
    tell methods apart that come that close, and the methods stand in order of sturdiness.
    """
    squares = np.stack([(error_of_folds**2).mean(axis=0) for error_of_folds in errors])
    score = squares.mean(axis=1)
    best = int(np.argmin(score))
    error = squares[best].std(ddof=1) / np.sqrt(squares.shape[1])
    return int(np.argmax(score <= score[best] + error))


def _year_to_year(pair: Pair) -> tuple[float, float, bool]:
    """Return the spread of yearly means, the years of the reference, and whether measured."""
    number = pair.reference.number[pair.target]
    per_year = DAYS_PER_YEAR * DAY_S / pair.step_s
    year = ((number[-1] - number) / per_year).astype(np.int64)
    count = np.bincount(year)
    full = count >= FULL_YEAR_SHARE * per_year
    years = float((number[-1] - number[0] + 1) / per_year)
    if full.sum() < LEAST_YEARS_FOR_SPREAD:
        return YEAR_TO_YEAR.value, years, False
    means = np.bincount(year, pair.reference.mean_ms[pair.target])[full] / count[full]
    return float(means.std(ddof=1) / means.mean()), years, True


def _series(
    pair: Pair,
    sums: GroupSums,
    method: tuple[str, Form, str | None],
    result: MethodResult,
    rounded_ms: float,
) -> FloatArray:
    """Write the site's speed at every step of the target years.

    The site's own readings stay; elsewhere the line speaks, with a residual of its own group for
    the regression. A reference in steps of `rounded_ms` may have been anywhere within them, or the
    filled years would hold a dozen speeds and no others. The whole is bent as c v^p, so that the
    mean is that of the method, and the mean cube as well unless the record is mostly calm.
    """
    _, form, _ = method
    borrowed = BORROWED_DAYS * DAY_S / pair.step_s
    a, b = coefficients(sums.concurrent.sum(axis=0), form, borrowed)
    reference = pair.reference
    random = np.random.default_rng(1)
    within = random.uniform(-0.5, 0.5, reference.mean_ms.size) * rounded_ms
    speed = a[sums.group] + b[sums.group] * (reference.mean_ms + within)
    if form == "regression":
        residual = pair.site.first_ms[pair.here] - speed[pair.there]
        speed = speed + random.choice(residual, speed.size)
    speed = np.maximum(speed, 0.0)
    speed[pair.there] = pair.site.first_ms[pair.here]
    return _bent(speed[pair.target], result.mean_ms, result.mean_cube)


def _bent(speed: FloatArray, mean: float, cube: float) -> FloatArray:
    """Return c v^p with the given mean and mean cube."""
    wanted = cube / mean**3
    low, high = 0.2, 5.0
    for _ in range(60):
        power = np.sqrt(low * high)
        bent = speed**power
        if (bent**3).mean() / bent.mean() ** 3 < wanted:
            low = power
        else:
            high = power
    return np.asarray(bent * mean / bent.mean())
