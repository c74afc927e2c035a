"""From a short record on site and long ones nearby to the long-term wind on site."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from yieldest.arrays import FloatArray, floats
from yieldest.defaults import YEAR_TO_YEAR
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Findings, Provenance
from yieldest.wind.data_recovery import DAY_S, DAYS_PER_YEAR, LessThanAYear, SparseReadings
from yieldest.wind.long_term.error_model import (
    ErrorModel,
    LongSeries,
    Overlap,
    Prediction,
    likenesses,
    wandering_of,
)
from yieldest.wind.long_term.homogeneity import StepsNotSought, steps_of
from yieldest.wind.long_term.pair import (
    ClockOffset,
    Pair,
    Times,
    pair_records,
    usual_interval_s,
)
from yieldest.wind.record import Record

LEAST_YEARS_FOR_SPREAD = 5
FULL_YEAR_SHARE = 0.9
BEST = "best linear prediction"
_OF_NO_MATTER = (LessThanAYear, SparseReadings)
"""What matters for a record and not for a reference, which may be of daily means; where it is too
short `ShortReference` says so."""
METHODS = (
    *("face value, season set right", "ratio of means", "variance ratio", "linear regression"),
    BEST,
)
"""Those that transfer none or all of the references' anomaly, and last the best share of it."""


class FewFullYears(Finding):
    """The reference has too few full years to tell how far one differs from the next."""

    year_to_year_spread: float
    least_years: int


class ShortReference(Finding):
    """The reference covers less than a year."""

    source: str
    months: float


class AboutReference(Finding):
    """What was found in the file of a reference, which does not name it."""

    source: str
    found: Finding | str


class ClockSetRight(Finding):
    """The clock of the reference was not that of the site, and was set right."""

    source: str
    hours: float
    correlation_with: float
    correlation_without: float


class ReferencesDisagree(Finding):
    """The references contradict each other more than is usual; the doubt is widened."""

    variance_times: float


@frozen_dataclass
class LongRecord:
    """A long record near the site; arrays of shape (m,), NaN where missing."""

    time: Times
    """Starts of the readings, increasing."""
    speed_ms: FloatArray
    direction_deg: FloatArray | None = None
    source: str = "reference"
    """Its name in messages."""
    resolution_ms: float | None = None
    """Step to which the speeds were rounded."""
    warnings: Findings = ()
    """What was found when it was read."""

    @classmethod
    def of(cls, record: Record, source: str | None = None) -> LongRecord:
        """Take a record for a reference; `source` is its name in messages, by default its own."""
        name = source or record.provenance.source
        warnings = tuple(
            found if hasattr(found, "source") else AboutReference(name, found)
            for found in record.provenance.warnings
            if not isinstance(found, _OF_NO_MATTER)
        )
        return cls(
            record.time,
            record.speed_ms,
            record.direction_deg,
            name,
            record.resolution_ms,
            warnings,
        )


@frozen_dataclass
class MethodResult:
    """What one method says of the long-term wind on site."""

    name: str
    mean_ms: float
    """Long-term mean speed (m/s); `mean_cube` in m3/s3."""
    mean_cube: float
    anomaly_share: float
    """How much of the references' anomaly is transferred, all together."""
    mean_uncertainty: float
    """Relative standard uncertainty of the relation, without year-to-year variation."""
    cube_uncertainty: float


@frozen_dataclass
class LongTermCorrection:
    """The long-term wind on site, and how it was found."""

    time: Times
    """The steps of all the reference's whole years, shape (n,)."""
    speed_ms: FloatArray
    """A reading of the site's own where there is one, else one of like rank; all bent to the mean
    and the mean cube."""
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
    """Standard deviation of yearly means on site over their mean."""
    standard_uncertainty: float
    """Of the long-term mean, relative: the relation and the year-to-year variation together."""
    provenance: Provenance
    sources: tuple[str, ...]
    """Names of the references that were weighed together; the years are those of the first."""


def long_term(
    time: Times,
    speed_ms: FloatArray,
    references: Sequence[LongRecord],
    direction_deg: FloatArray | None = None,
) -> LongTermCorrection:
    """Carry a short record on site to the years of long ones nearby.

    Parameters
    ----------
    time : ndarray of datetime64, shape (n,)
        Starts of the site's readings, increasing.
    speed_ms : ndarray, shape (n,)
        NaN where missing.
    references : sequence of LongRecord
        Weighed together; the years are those of the first.
    direction_deg : ndarray, shape (n,), optional
        For the directions of the long term.

    Raises
    ------
    InputError
        When an overlap, a correlation or a reference is too short or too weak.

    Notes
    -----
    The season is transferred whole, the anomaly by best linear prediction
    (`yieldest.wind.long_term.error_model`); for the relations in full see Rogers, Rogers & Manwell,
    *J. Wind Eng. Ind. Aerodyn.* 93 (2005) 243-264.
    """
    pairs = [
        pair_records(
            time, speed_ms, direction_deg, one.time, one.speed_ms, one.direction_deg, one.source
        )
        for one in references
    ]
    pair = pairs[0]
    face_value = tuple(
        float(values[pair.here].mean()) for values in (pair.site.mean_ms, pair.site.mean_cube)
    )
    of_mean, of_cube = (_predictions(pairs, power) for power in (1, 3))
    *_, chosen = methods = tuple(
        MethodResult(
            name, speed.mean, cube.mean, speed.anomaly_share, speed.uncertainty, cube.uncertainty
        )
        for name, (speed, _), (cube, _) in zip(METHODS, of_mean, of_cube, strict=True)
    )
    spread, years, measured = _year_to_year(pair, of_mean[-1][0].year_to_year)
    return LongTermCorrection(
        time=(pair.reference.number[pair.target] * pair.step_s).astype("datetime64[s]"),
        speed_ms=_series(pair, chosen, references[0]),
        direction_deg=pair.direction[pair.target],
        step_s=pair.step_s,
        overlap_hours=pair.here.size * pair.step_s / 3600,
        correlation=pair.correlation,
        offset=pair.offset,
        concurrent_mean_ms=face_value[0],
        concurrent_mean_cube=face_value[1],
        methods=methods,
        chosen=chosen,
        reference_years=years,
        year_to_year_spread=spread,
        standard_uncertainty=float(
            np.hypot(chosen.mean_uncertainty, spread / np.sqrt(max(1.0, years)))
        ),
        provenance=_provenance(references, pairs, of_mean[-1], (spread, measured)),
        sources=tuple(one.source for one in references),
    )


def _provenance(
    references: Sequence[LongRecord],
    pairs: Sequence[Pair],
    best: tuple[Prediction, float],
    year_to_year: tuple[float, bool],
) -> Provenance:
    """Say how the long term was found and what must be known of the references."""
    pair, (prediction, widened), (spread, measured) = pairs[0], best, year_to_year
    steps = steps_of([one.source for one in references], [_yearly_means(each) for each in pairs])
    known = [
        found
        for one, its in zip(references, pairs, strict=True)
        for found in _findings(one.source, its)
    ]
    return Provenance(
        references[0].source,
        f"season and {100 * prediction.anomaly_share:.0f} % of the anomaly of "
        f"{', '.join(one.source for one in references)}, {_years(pair):.1f} years, correlation "
        f"{pair.correlation:.2f} over {pair.here.size * pair.step_s / DAY_S:.0f} days ({BEST}; "
        "Haslett & Raftery 1989)",
        (
            *(() if measured else (FewFullYears(spread, LEAST_YEARS_FOR_SPREAD),)),
            *(one for one in steps if isinstance(one, StepsNotSought)),
        ),
        (
            *(one for one in steps if not isinstance(one, StepsNotSought)),
            *known,
            *((ReferencesDisagree(widened),) if widened > 1 else ()),
            *(found for one in references for found in one.warnings),
        ),
    )


def _findings(source: str, pair: Pair) -> tuple[Finding, ...]:
    """Return what to know of a reference: that it is short, or that its clock was set right."""
    found: list[Finding] = []
    years, offset = _years(pair), pair.offset
    if years < 1 - 5 / DAYS_PER_YEAR:
        found.append(ShortReference(source, years * 12))
    if offset.applied:
        with_it, without = offset.correlation_with, offset.correlation_without
        found.append(ClockSetRight(source, -offset.hours, with_it, without))
    return tuple(found)


def _predictions(pairs: Sequence[Pair], power: int) -> list[tuple[Prediction, float]]:
    """Return by `METHODS` what each says of a power of the speed, and how far it was widened."""
    overlaps = [_overlap(pair, power) for pair in pairs]
    series = [one.series for one in overlaps]
    alike = likenesses(series)
    wandering = wandering_of(series, alike, power)
    whole = ErrorModel(overlaps, power, alike, wandering, whole=True)
    widened = whole.disagreement()
    n = len(pairs)
    plain = (np.zeros(n), np.full(n, 1 / n), whole.scale / n, whole.scale * whole.correlation / n)
    found = [whole.predict(weights[np.newaxis], widened) for weights in plain]
    cut = ErrorModel(overlaps, power, alike, wandering)
    return [(one, widened) for one in (*found, cut.predict(cut.best_weights(), widened))]


def _overlap(pair: Pair, power: int) -> Overlap:
    """Return what a reference tells of one power of the speed."""
    reference = pair.reference.mean_ms if power == 1 else pair.reference.mean_cube
    site = pair.site.mean_ms if power == 1 else pair.site.mean_cube
    day = floats(pair.reference.number * (pair.step_s / DAY_S))
    series = LongSeries.of(day, reference, pair.target)
    shared = pair.there
    return Overlap(series, day[shared], series.usual[shared], reference[shared], site[pair.here])


def _yearly_means(pair: Pair) -> tuple[FloatArray, FloatArray]:
    """Return the full calendar years of a reference and the logarithms of their means."""
    time = (pair.reference.number * pair.step_s).astype("datetime64[s]")
    year = time.astype("datetime64[Y]").astype(np.int64) + 1970
    found, place, count = np.unique(year, return_inverse=True, return_counts=True)
    full = count * pair.step_s >= FULL_YEAR_SHARE * DAYS_PER_YEAR * DAY_S
    means = np.bincount(place, pair.reference.mean_ms) / count
    return found[full].astype(np.float64), np.log(means[full])


def _years(pair: Pair) -> float:
    """Return the whole years of the reference that count."""
    number = pair.reference.number[pair.target]
    return float((number[-1] - number[0] + 1) * pair.step_s / (DAYS_PER_YEAR * DAY_S))


def _year_to_year(pair: Pair, predicted: float) -> tuple[float, float, bool]:
    """Return the spread of yearly means, the years of the reference, and whether they show it.

    It is what weather and wandering make at the site: the yearly means of the reference have its
    own instruments and trees in them.
    """
    number = pair.reference.number[pair.target]
    per_year = DAYS_PER_YEAR * DAY_S / pair.step_s
    count = np.bincount(((number[-1] - number) / per_year).astype(np.int64))
    shown = bool((count >= FULL_YEAR_SHARE * per_year).sum() >= LEAST_YEARS_FOR_SPREAD)
    return predicted if shown else YEAR_TO_YEAR.value, _years(pair), shown


def _series(pair: Pair, chosen: MethodResult, reference: LongRecord) -> FloatArray:
    """Write the site's speed at every step of the target years.

    The site's own readings stay; elsewhere it has the speed of like rank in the overlap (quantile
    mapping: Panofsky & Brier, *Some Applications of Statistics to Meteorology*, 1958), so that the
    distribution is the site's. A rounded reference may have been anywhere within its step, or the
    filled years would hold a dozen speeds and no others. The whole is bent as c v^p to the mean and
    the mean cube, unless the record is mostly calm.
    """
    averaged = max(1.0, pair.step_s / usual_interval_s(reference.time))
    rounded_ms = (reference.resolution_ms or 0.0) / np.sqrt(averaged)
    within = np.random.default_rng(1).uniform(-0.5, 0.5, pair.reference.mean_ms.size) * rounded_ms
    there = np.maximum(pair.reference.mean_ms + within, 0.0)
    own = pair.site.first_ms[pair.here]
    ranked = np.sort(there[pair.there])
    rank = np.interp(there, ranked, np.arange(own.size) + 0.5)
    # Like readings of the site share the middle of their ranks: its rounding makes no gaps either.
    values, count = np.unique(own, return_counts=True)
    speed = np.interp(rank, np.cumsum(count) - count / 2, values)
    beyond = there > ranked[-1]
    speed[beyond] *= there[beyond] / ranked[-1]
    speed[pair.there] = own
    return _bent(speed[pair.target], chosen.mean_ms, chosen.mean_cube)


def _bent(speed: FloatArray, mean: float, cube: float) -> FloatArray:
    """Return c v^p with the given mean and mean cube."""
    log_speed = np.log(speed[speed > 0])
    wanted = np.log(cube / mean**3) - 2 * np.log(speed.size)
    low, power, high = 0.2, 1.0, 5.0
    for _ in range(60):
        bent = np.exp(power * log_speed)
        cubes = bent**3
        beyond = np.log(cubes.sum()) - 3 * np.log(bent.sum()) - wanted
        rise = 3 * (log_speed @ cubes / cubes.sum() - log_speed @ bent / bent.sum())
        low, high = (power, high) if beyond < 0 else (low, power)
        # Newton's step, and half the way where that leads out or is none.
        before, power = power, power - beyond / max(rise, 1e-9)
        if not low <= power <= high:
            power = np.sqrt(low * high)
        if abs(power - before) < 1e-14:
            break
    bent = speed**power
    return np.asarray(bent * mean / bent.mean())
