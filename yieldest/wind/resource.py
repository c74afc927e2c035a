"""Everything a wind record says: screened, weighted by season, fitted, and how far to trust it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from functools import cached_property

import numpy as np

from yieldest.arrays import FloatArray, IntArray, TimeArray, pieces, some
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Findings, Provenance
from yieldest.settings import HIGHEST_USUAL_MEAN_MS
from yieldest.wind.breakdown import (
    CountedReadings,
    Directions,
    Group,
    Gustiness,
    direction_steps,
    gustiness,
)
from yieldest.wind.censored_fit import fit_above_start
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.goodness import (
    ENERGY_ERROR_LIMIT,
    FitResult,
    judge_fit,
    mode_speeds,
    model_power,
)
from yieldest.wind.hidden_spread import (
    LONG_S,
    HiddenSpread,
    MeansHideSpread,
    hidden_spread,
    means_hide,
)
from yieldest.wind.histogram import Histogram, histogram_of
from yieldest.wind.mean_uncertainty import (
    CLASSES_OF_DRAWS,
    WindUncertainty,
    draw_blocks,
    wind_uncertainty,
)
from yieldest.wind.quality_control import QualityReport, QualityRules, control_quality
from yieldest.wind.record import Record
from yieldest.wind.seasons import SeasonWeights, season_weights
from yieldest.wind.weibull_fits import METHODS, Fit, chosen_method, guarded

EMPIRICAL = "empirical"
"""Energy from the readings themselves, whatever the fit."""


class PoorWeibullFit(Finding):
    """The Weibull fit misses the energy of the model machine, or shares of time, by too much."""

    energy_error: float | None
    kolmogorov: float | None


class ScreenedEnergy(Finding):
    """A fit that suits the readings kept misses the energy of all that could have been measured."""

    left_out: int
    energy_error: float


class MeanWindAsked(Finding):
    """The readings have a mean beyond what is usual, such as a slip of the unit makes."""

    mean_ms: float


class SeveralModes(Finding):
    """The speeds heap up at several places, as no Weibull distribution does."""

    modes_ms: tuple[float, ...]


class UnevenSectors(Finding):
    """Directions were rounded to steps that so many sectors cut, and are spread over these."""

    step_deg: float
    sectors: int


@frozen_dataclass
class ResourceOptions:
    """What may be stated about how a record is assessed."""

    rules: QualityRules = field(default_factory=QualityRules)
    season_correction: bool = True
    """Whether readings are weighted by month and hour where these are uneven."""
    fit: str | None = None
    """A key of `weibull_fits.METHODS`, or "empirical"; None lets the rule choose."""
    energy_error_limit: float = ENERGY_ERROR_LIMIT
    """A fit chosen by the rule whose energy is farther than this from that of the readings gives
    way to the readings."""
    sectors: int = 12
    """Of the direction table."""
    spread_within_interval: float | None = None
    """Of the wind within daily or coarser means, over the mean; 0 where they are of one time."""


@frozen_dataclass
class WindResource(CountedReadings):
    """What a record says about the wind where it was measured, by the readings that are kept."""

    quality_control: QualityReport
    season: SeasonWeights
    clock_mean_speed_ms: float
    """Without the season correction."""
    clock_mean_cube_m3_s3: float
    mean_speed_ms: float
    """With it, where it is used; the mean cube is freed of rounding."""
    mean_cube_m3_s3: float
    drawn: Histogram
    """With the weights of bootstrap draws, shape (draws, classes)."""
    chosen: FitResult
    rule: str
    """Why it was chosen."""
    options: ResourceOptions
    uncertainty: WindUncertainty
    modes_ms: tuple[float, ...]
    """Speeds of the modes of the distribution; more than one means different regimes."""
    turbulence: Gustiness | None
    gusts: Gustiness | None
    warnings: Findings
    hidden: HiddenSpread | None = None
    """What daily or coarser readings hide; None for finer ones."""

    @property
    def record(self) -> Record:
        """The screened record."""
        return self.quality_control.record

    @property
    def hides(self) -> MeansHideSpread | None:
        """What daily or coarser readings hide of the mean cube; None for finer ones."""
        return next((one for one in self.warnings if isinstance(one, MeansHideSpread)), None)

    @property
    def whole_cube_m3_s3(self) -> float:
        """The mean cube with what daily or coarser readings hide put back."""
        return self.mean_cube_m3_s3 / (1 - (self.hides.cube_hidden if self.hides else 0.0))

    @cached_property
    def fits(self) -> tuple[FitResult, ...]:
        """The fits by every method, in a fixed order."""
        return tuple(judge_fit(method, self.histogram, self.drawn) for method in METHODS)

    @cached_property
    def directions(self) -> Directions | None:
        """The wind by direction sector; None without directions."""
        if self.record.direction_deg is None:
            return None
        # Sectors hold no calms, so that the censored fit is made above the starting speed alone.
        censored = self.chosen.method == "interval-censored"
        fit = guarded(fit_above_start) if censored else self._fit
        return self.by_direction(self.record.direction_deg, self.options.sectors, fit)

    @cached_property
    def months(self) -> tuple[Group, ...]:
        """The wind by calendar month."""
        return self.by_month(self._fit)

    @cached_property
    def hours(self) -> tuple[Group, ...]:
        """The wind by hour of the day; none where readings are longer."""
        if self.record.data_recovery.interval_s >= LONG_S:
            return ()
        return self.by_hour(self._fit)

    @cached_property
    def years(self) -> tuple[Group, ...]:
        """The wind year by year."""
        return self.by_year(self._fit)

    @property
    def _fit(self) -> Fit:
        return METHODS[self.chosen.method].fit

    @property
    def reading_limit(self) -> float | None:
        """From which error of the fitted energy on the readings take over; None for never."""
        if self.options.fit == EMPIRICAL:
            return 0.0
        return self.options.energy_error_limit if self.options.fit is None else None

    @cached_property
    def energy_speeds(self) -> tuple[FloatArray, FloatArray, IntArray]:
        """Speeds that the energy is made of, their weights, and the reading each belongs to.

        The readings that count, or points of daily and coarser ones; each of shape (k,).
        """
        used = some(self.counted)
        speed, weight = self.record.speed_ms[used], self.weight[used]
        reading = np.arange(self.time.size)[used]
        if self.hidden is None:
            return speed, weight, reading
        points = self.hidden.points(speed)
        return points, self.hidden.weights(weight), reading[self.hidden.of_reading]

    def _with_spread(self) -> tuple[float, float, float]:
        """Return shape, scale and calms of the chosen fit to the points of coarse readings."""
        speed, weight, _ = self.energy_speeds
        histogram, _ = histogram_of(speed, weight, threshold_ms=self.record.threshold_ms)
        shape, scale, calm = self._fit(histogram)
        return float(shape), float(scale), float(calm)

    def distribution(self, height_m: float) -> WindDistribution:
        """Return the distribution at the height of the anemometer.

        What daily or coarser readings hide is put back.
        """
        fit = self.chosen
        assert fit.shape is not None  # else it had not been chosen
        assert fit.scale_ms is not None
        assert fit.calm_share is not None
        method = f"Weibull by {METHODS[fit.method].source}"
        if self.options.fit in (None, EMPIRICAL):
            method += f", chosen because {self.rule}"
        if self.season.used:
            method += "; readings weighted by month and hour"
        shape, scale_ms, calm_share = fit.shape, fit.scale_ms, fit.calm_share
        if self.hidden is not None:
            shape, scale_ms, calm_share = self._with_spread()
            method += f", with the spread within {self.hidden.interval_hours:g} h put back"
        return WindDistribution(
            shape=shape,
            scale_ms=scale_ms,
            calm_share=calm_share,
            height_m=height_m,
            provenance=Provenance(self.record.provenance.source, method, warnings=self.warnings),
            reading_limit=self.reading_limit,
        )


def assess_record(
    record: Record,
    options: ResourceOptions,
    neighbour: Record | None = None,
    finer: Sequence[Record] | None = None,
) -> WindResource:
    """Screen, weight, fit and judge a record; `neighbour`, a sensor near by, judges its long calms.

    What daily and coarser readings hide is told from `finer`, on site first and then near by; from
    the record itself where none are given.

    Raises
    ------
    InputError
        When no speed is left, or fewer than two different speeds above zero.
    """
    beside = None if neighbour is None else _at_times(neighbour, record.time)
    quality_control = control_quality(record, options.rules, beside)
    kept = quality_control.record
    steps, wanted = quality_control.steps, options.season_correction
    season = season_weights(kept.time, steps.duration_h, np.isfinite(kept.speed_ms), wanted=wanted)
    weight = season.weight
    histogram, class_of = histogram_of(
        kept.speed_ms,
        weight,
        step_ms=kept.resolution_ms,
        class_edges_ms=kept.class_edges_ms,
        threshold_ms=kept.threshold_ms,
    )
    weights, how_drawn = draw_blocks(kept.time, class_of, weight, histogram.speed_ms.size)
    coarser, first = histogram.merged(CLASSES_OF_DRAWS)
    drawn = coarser.weighted(np.add.reduceat(weights, first, axis=-1))
    chosen, rule = _choose(record, options, histogram, drawn)
    by_clock = histogram.counted(class_of, steps.duration_h) if season.used else histogram
    hidden, modes = None, mode_speeds(histogram)
    mean_ms = float(histogram.moment(1))
    deviation_ms, gust_ms = kept.standard_deviation_ms, kept.gust_ms
    used = some(class_of < histogram.speed_ms.size)
    # Beaufort numbers are judged by eye, at one time.
    if kept.class_edges_ms is None and steps.usual_s.max() >= LONG_S:
        hidden = hidden_spread(
            kept.speed_ms[used],
            steps.usual_s[used],
            (kept,) if finer is None else finer,
            options.spread_within_interval,
            None if deviation_ms is None else deviation_ms[used],
        )
    return WindResource(
        quality_control=quality_control,
        time=kept.time,
        weight=weight,
        duration_h=steps.duration_h,
        season=season,
        clock_mean_speed_ms=float(by_clock.moment(1)),
        clock_mean_cube_m3_s3=float(by_clock.moment(3)),
        mean_speed_ms=mean_ms,
        mean_cube_m3_s3=float(histogram.moment(3)),
        histogram=histogram,
        class_of=class_of,
        drawn=drawn,
        chosen=chosen,
        rule=rule,
        options=options,
        uncertainty=wind_uncertainty(histogram, drawn, how_drawn, kept.data_recovery),
        modes_ms=modes,
        turbulence=(
            None
            if deviation_ms is None
            else gustiness(deviation_ms[used], kept.speed_ms[used], highest=False)
        ),
        gusts=(
            None if gust_ms is None else gustiness(gust_ms[used], kept.speed_ms[used], highest=True)
        ),
        warnings=(
            *_before_screening(quality_control, chosen, by_clock),
            *_findings(mean_ms, chosen, modes, kept, options.sectors),
            *(() if hidden is None else (means_hide(hidden, kept.speed_ms[used], weight[used]),)),
        ),
        hidden=hidden,
    )


def _before_screening(
    quality_control: QualityReport, chosen: FitResult, kept: Histogram
) -> tuple[Finding, ...]:
    """Hold the fit against the model machine's energy before quality control took readings away.

    `kept` counts the readings that are left by the clock, as those before are counted. Speeds
    beyond any sensor are no readings; the machine stands still in them.
    """
    if not quality_control.left_out or chosen.energy_error is None:
        return ()
    speed, hours = quality_control.original.speed_ms, quality_control.steps.duration_h
    power = float(model_power(kept.speed_ms) @ kept.share)
    # A missing speed has no power.
    yielded = sum((model_power(speed[part]) * hours[part]).sum() for part in pieces(speed.size))
    before = float(yielded) / float(hours.sum(where=np.isfinite(speed)))
    if before <= 0:
        return ()
    error = (1 + chosen.energy_error) * power / before - 1
    if chosen.poor or abs(error) <= ENERGY_ERROR_LIMIT:
        return ()
    return (ScreenedEnergy(quality_control.left_out, error),)


def _choose(
    record: Record, options: ResourceOptions, histogram: Histogram, drawn: Histogram
) -> tuple[FitResult, str]:
    method, rule = chosen_method(histogram)
    if options.fit not in (None, EMPIRICAL):
        method, rule = str(options.fit), "it was asked for"
    if method not in METHODS:
        raise InputError(f"no fit is called {method!r}; take one of {', '.join(METHODS)}.")
    chosen = judge_fit(method, histogram, drawn)
    if chosen.shape is None:
        raise InputError(
            f"{record.provenance.source}: a distribution needs at least two different speeds above "
            f"zero and the starting speed for its fit by {method}; use a longer record or state "
            "the mean speed."
        )
    return chosen, rule


def _findings(
    mean_ms: float, chosen: FitResult, modes_ms: tuple[float, ...], record: Record, sectors: int
) -> tuple[Finding, ...]:
    """Return what a reader must know of mean and fit, and of rounded directions."""
    found: list[Finding] = []
    if mean_ms > HIGHEST_USUAL_MEAN_MS:
        found.append(MeanWindAsked(mean_ms))
    if chosen.poor:
        found.append(PoorWeibullFit(chosen.energy_error, chosen.kolmogorov))
    if len(modes_ms) > 1:
        found.append(SeveralModes(modes_ms))
    if record.direction_deg is not None:
        steps = direction_steps(record.direction_deg, sectors)
        if steps != sectors:
            found.append(UnevenSectors(360 / steps, sectors))
    return tuple(found)


def _at_times(neighbour: Record, time: TimeArray) -> FloatArray:
    """Return the neighbour's reading that holds at each time; NaN without one."""
    latest = np.searchsorted(neighbour.time, time, side="right") - 1
    safe = np.maximum(latest, 0)
    age_s = (time - neighbour.time[safe]) / np.timedelta64(1, "s")
    fresh = (latest >= 0) & (age_s < neighbour.data_recovery.interval_s)
    return np.where(fresh, neighbour.speed_ms[safe], np.nan)
