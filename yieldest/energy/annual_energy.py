"""What a build makes in a year: gross and net energy, capacity factor, hours, and where it goes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import field, replace
from functools import cached_property

import numpy as np

from yieldest.arrays import FloatArray, floats
from yieldest.defaults import COVERAGE_FACTOR, YEAR_TO_YEAR
from yieldest.energy.closed_form import mean_power_w
from yieldest.energy.losses import Loss, assumed_losses, kept_share, losses_of
from yieldest.energy.net_energy import (
    HOURS_PER_YEAR,
    HubSpeeds,
    SpeedSeries,
    YearlyHours,
    draw_without_output_kwh,
)
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass, relabelled
from yieldest.html_repr import html_table
from yieldest.hub.turbulence import added_intensity, curve_in_turbulence
from yieldest.provenance import Finding, Provenance
from yieldest.turbine.power_curve import PowerCurve
from yieldest.turbine.rotor import BETZ_LIMIT, power_in_wind_w
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.hidden_spread import HiddenSpread
from yieldest.wind.weibull import moment

POOR_FIT = 0.05
"""A fitted energy farther than this from the record's own is warned of; our choice."""
MUCH_BEYOND_LAST = 0.10
"""More energy than this share from beyond the last measured speed is warned of; our choice."""

FITTED_METHOD = (
    "Weibull distribution through the straight pieces of the curve, in closed form (incomplete "
    "gamma function); year of 8760 h"
)
SERIES_METHOD = (
    "the curve at every reading (class, month) of the wind, mean times 8760 h (empirical "
    "distribution)"
)


class PoorFit(Finding):
    """The fitted distribution and the wind data themselves give different energies."""

    fitted_kwh: float
    time_series_kwh: float
    beyond_share: float
    time_series_used: bool


class MuchBeyondLastSpeed(Finding):
    """Much of the energy comes from winds above the last measured speed of the curve."""

    share: float
    last_measured_ms: float
    extrapolation: str


class MuchAboveCutOut(Finding):
    """Where no power is counted the last power would bring much."""

    hours: float
    cut_out_ms: float
    kwh: float


class NoEnergy(Finding):
    """The build makes no energy in this wind."""


class ConvertersDrawMore(Finding):
    """The converters draw more in a year than the machines make."""


@frozen_dataclass
class AnnualEnergy:
    """What a build makes in a year, all its machines together.

    Parameters
    ----------
    gross_kwh : float
        Before losses: from the fitted distribution or the time series, whichever is used.
    time_series_gross_kwh : float or None
        None without a record.
    from_time_series : bool
        Whether that is used: when it was asked for, or the fit is too far from it.
    idle_draw_kwh : float
        What the converters draw while the machines make nothing.
    net_kwh : float
        After losses and that draw.
    inter_annual_low_kwh, inter_annual_high_kwh : float
        Ends of the 90 % range of a year's net energy from the year-to-year variation of the wind
        alone: a mean speed 9.9 % lower or higher (1.645 times the usual standard deviation, 6 %).
    capacity_factor : float or None
        Net energy over rated power all year round; None when the curve makes no power.
    losses : tuple of Loss
    wind : HubSpeeds
        What the gross energy is made of.
    curve : PowerCurve
    """

    count: int
    gross_kwh: float
    fitted_gross_kwh: float
    time_series_gross_kwh: float | None
    from_time_series: bool
    idle_draw_kwh: float
    net_kwh: float
    inter_annual_low_kwh: float
    inter_annual_high_kwh: float
    capacity_factor: float | None
    losses: tuple[Loss, ...]
    wind: HubSpeeds = field(repr=False, compare=False)
    curve: PowerCurve = field(repr=False, compare=False)

    @cached_property
    def extrapolated_kwh(self) -> float:
        """The part of the gross energy from winds above the last measured speed of the curve."""
        return float(self.wind.beyond_kwh(self.curve, self.count))

    @cached_property
    def hours(self) -> YearlyHours:
        """How one machine spends the year."""
        return self.wind.yearly_hours(self.curve)

    @cached_property
    def provenance(self) -> Provenance:
        """Where it comes from."""
        return Provenance(
            source=self.curve.provenance.source,
            method=SERIES_METHOD if self.from_time_series else FITTED_METHOD,
            assumed=assumed_losses(self.losses, self.count),
            warnings=tuple(_doubts(self)),
        )

    def _repr_html_(self) -> str:
        """Show the main figures in a notebook."""
        lost = {f"lost: {loss.name}": f"{100 * loss.share:.3g} %" for loss in self.losses}
        factor = "" if self.capacity_factor is None else f"{100 * self.capacity_factor:.3g} %"
        shown = {
            "gross energy": f"{self.gross_kwh:.4g} kWh",
            **lost,
            "net energy": f"{self.net_kwh:.4g} kWh",
            "capacity factor": factor,
        }
        return html_table("Energy in a year", list(shown.items()))


def annual_energy(
    distribution: WindDistribution,
    curve: PowerCurve,
    losses: Mapping[str, float] | tuple[Loss, ...] | None = None,
    count: int = 1,
    time_series: SpeedSeries | None = None,
    yearly_spread: float = YEAR_TO_YEAR.value,
) -> AnnualEnergy:
    """Return what machines make in a year.

    Parameters
    ----------
    distribution, curve : WindDistribution, PowerCurve
        At the hub, and for the density there.
    losses : mapping of str to float, or tuple of Loss, optional
        Shares by category (see `LOSS_CATEGORIES`), the rest assumed; or all of them, as from
        `losses_of`.
    count : int
    time_series : SpeedSeries, optional
        Of the record, at the hub, as `SpeedSeries.of_record` makes it; the energy is theirs, and
        that of the distribution stands beside it.
    yearly_spread : float
        Standard deviation of yearly mean winds over their mean.

    Raises
    ------
    InputError
        When a share is stated of a category that is not known, or is none from 0 to below 1, or the
        capacity factor is above 1.

    Notes
    -----
    The mean power of the curve in the wind, by the distribution or value by value, times 8760 h
    (IEC 61400-12-1).
    """
    if losses is None or isinstance(losses, Mapping):
        losses = losses_of(losses or {}, count)
    if time_series is not None:
        distribution = relabelled(distribution, reading_limit=0.0)
    year = WorkingYear(distribution, curve, losses, count, time_series, yearly_spread)
    (found,) = annual_energies([year])
    return found


@frozen_dataclass
class WorkingYear:
    """What the energy of a year follows from: as `annual_energy` takes it, all losses known."""

    distribution: WindDistribution
    curve: PowerCurve
    losses: tuple[Loss, ...]
    count: int
    time_series: SpeedSeries | None
    yearly_spread: float


def annual_energies(years: Sequence[WorkingYear]) -> list[AnnualEnergy]:
    """Return what `annual_energy` says of n years, the gross energy of all computed together."""
    alike: dict[tuple[int, int], list[int]] = {}
    for place, year in enumerate(years):
        read = 0 if year.time_series is None else id(year.time_series.read_ms)
        alike.setdefault((year.curve.speed_ms.size, read), []).append(place)
    found: dict[int, AnnualEnergy] = {}
    for places in alike.values():
        some = [years[place] for place in places]
        for place, fitted, by_series in zip(places, *_gross_kwh(some), strict=True):
            found[place] = _energy_of(years[place], fitted, by_series)
    return [found[place] for place in range(len(years))]


def _gross_kwh(
    years: Sequence[WorkingYear],
) -> tuple[Iterable[FloatArray], Iterable[FloatArray | None]]:
    """Return the gross energy of a usual, a calm and a windy year, each of shape (n, 3).

    By the fitted distributions, and by the readings where there are any. All are of the same
    readings, and their curves have as many points.
    """

    def of_each(value: Callable[[WorkingYear], float | FloatArray]) -> FloatArray:
        return np.array([value(year) for year in years], dtype=np.float64)[:, np.newaxis]

    wind = HubSpeeds(
        of_each(lambda year: year.distribution.shape),
        of_each(lambda year: year.distribution.scale_ms),
        of_each(lambda year: year.distribution.calm_share),
    )
    spread = of_each(lambda year: year.yearly_spread)
    by = 1 + COVERAGE_FACTOR * spread * np.array([0.0, -1.0, 1.0])
    speed_ms = of_each(lambda year: year.curve.speed_ms)
    power_w, count = of_each(lambda year: year.curve.power_w), of_each(lambda year: year.count)
    fitted = wind.scaled(by).gross_kwh(speed_ms, power_w, count)
    read = [year.time_series for year in years if year.time_series is not None]
    if not read:
        return fitted, [None] * len(years)
    factors = floats([series.factor for series in read])[:, np.newaxis]
    series = relabelled(wind, series=read[0].at_factor(1.0), factor=factors)
    return fitted, series.scaled(by).gross_kwh(speed_ms, power_w, count)


def _energy_of(
    year: WorkingYear, fitted_kwh: FloatArray, series_kwh: FloatArray | None
) -> AnnualEnergy:
    """Return the energy of a year, given the gross energy of a usual, a calm and a windy one."""
    curve, count, distribution = year.curve, year.count, year.distribution
    wind = HubSpeeds(distribution.shape, distribution.scale_ms, distribution.calm_share)
    gross_kwh, use_series = fitted_kwh, False
    if series_kwh is not None:
        apart_kwh, limit = abs(fitted_kwh[0] - series_kwh[0]), distribution.reading_limit
        use_series = limit is not None and bool(limit == 0 or apart_kwh > limit * series_kwh[0])
        if use_series:
            wind, gross_kwh = relabelled(wind, series=year.time_series), series_kwh
    draw_kwh = 0.0
    if curve.idle_draw_w:
        generating = wind.share_at_power(curve.speed_ms, curve.power_w)
        draw_kwh = float(draw_without_output_kwh(curve.idle_draw_w, generating, count))
    net_kwh, low_kwh, high_kwh = (gross_kwh * kept_share(year.losses) - draw_kwh).tolist()
    full_kwh = curve.rated_power_w * count * HOURS_PER_YEAR / 1000
    if net_kwh > full_kwh > 0:
        raise InputError(
            f"{curve.provenance.source}: the capacity factor would be {net_kwh / full_kwh:.2f}, "
            "but no machine makes more than its rated power all year round; mend rated_power_w "
            f"({curve.rated_power_w:.4g} W), for the curve rises to {curve.power_w.max():.4g} W."
        )
    return AnnualEnergy(
        count=count,
        gross_kwh=float(gross_kwh[0]),
        fitted_gross_kwh=float(fitted_kwh[0]),
        time_series_gross_kwh=None if series_kwh is None else float(series_kwh[0]),
        from_time_series=use_series,
        idle_draw_kwh=draw_kwh,
        net_kwh=net_kwh,
        inter_annual_low_kwh=low_kwh,
        inter_annual_high_kwh=high_kwh,
        capacity_factor=net_kwh / full_kwh if full_kwh > 0 else None,
        losses=year.losses,
        wind=wind,
        curve=curve,
    )


def _doubts(energy: AnnualEnergy) -> Iterator[Finding]:
    """Yield what makes the energy doubtful."""
    curve, gross, beyond = energy.curve, energy.gross_kwh, energy.extrapolated_kwh
    fitted, by_series = energy.fitted_gross_kwh, energy.time_series_gross_kwh
    if by_series is not None and abs(fitted - by_series) > POOR_FIT * by_series:
        yield PoorFit(fitted, by_series, POOR_FIT, energy.from_time_series)
    if gross <= 0:
        yield NoEnergy()
        return
    if beyond > MUCH_BEYOND_LAST * gross:
        yield MuchBeyondLastSpeed(beyond / gross, curve.last_measured_ms, curve.extrapolation)
    above = energy.hours.cut_out
    stopped = above * float(curve.power_at(curve.cut_out_ms)) * energy.count / 1000
    if stopped > MUCH_BEYOND_LAST * gross:
        yield MuchAboveCutOut(above, curve.cut_out_ms, stopped)
    if energy.net_kwh <= 0:
        yield ConvertersDrawMore()


@frozen_dataclass
class EnergyStep:
    """What is left of a year's energy after one step on the way from the wind to the net energy.

    The first step loses nothing; `assumed` says whether the share lost was assumed.
    """

    name: str
    left_kwh: float
    lost_kwh: float
    assumed: bool = False


def energy_steps(
    distribution: WindDistribution,
    curve: PowerCurve,
    energy: AnnualEnergy,
    time_series: SpeedSeries | None,
) -> tuple[EnergyStep, ...]:
    """Return the way from the energy in the wind to the net energy of a year.

    The wind through the swept area carries rho A mean(v^3) / 2, of which no rotor in free flow can
    take more than 16/27 (Betz 1920). Without a rotor area the way begins at the gross energy.
    """
    steps: list[EnergyStep] = []

    def add(name: str, left_kwh: float, *, assumed: bool = False) -> None:
        before = steps[-1].left_kwh if steps else left_kwh
        steps.append(EnergyStep(name, left_kwh, before - left_kwh, assumed))

    if curve.rotor_area_m2 is not None:
        if energy.from_time_series and time_series is not None:
            cube = float(np.average(time_series.speed_ms**3, weights=time_series.weight))
        else:
            windy = 1 - distribution.calm_share
            cube = windy * float(moment(distribution.shape, distribution.scale_ms, 3))
        per_unit_cube = float(power_in_wind_w(1.0, curve.rotor_area_m2, curve.air_density_kg_m3))
        carried = per_unit_cube * cube * energy.count * HOURS_PER_YEAR / 1000
        add("in the wind through the rotor", carried)
        add("what any rotor could take (Betz)", BETZ_LIMIT * carried)
    kept = energy.gross_kwh
    add("what this curve makes of it (gross)", kept)
    for loss in filter(lambda loss: loss.share, energy.losses):
        kept *= 1 - loss.share
        add(f"after {loss.name}", kept, assumed=loss.assumed)
    return tuple(steps)


class SpreadPutBack(Finding):
    """The energy counts the spread of the wind within daily or coarser means, which these hide."""

    interval_hours: float
    energy_gain: float
    """Gross energy over that of the means alone, less 1."""
    energy_uncertainty: float
    """Relative standard uncertainty of the energy from that of the spread."""
    exponent: float
    """The energy goes with this power of the spread."""


def spread_put_back(
    hidden: HiddenSpread, curve: PowerCurve, points: SpeedSeries
) -> SpreadPutBack | None:
    """Return what the spread within readings is worth at a hub; None without energy.

    `points` are those of the readings, carried to the hub.
    """

    def power_w(times: float) -> float:
        speed_ms = hidden.spread_again(points.speed_ms, times)
        series = SpeedSeries(speed_ms, points.weight)
        return float(series.mean_power_w(1.0, curve.speed_ms, curve.power_w))

    least, most = 1 - hidden.uncertainty / 2, 1 + hidden.uncertainty / 2
    means, less, usual, more = map(power_w, (0.0, least, 1.0, most))
    if means <= 0 or less <= 0:
        return None
    exponent = float(np.log(more / less) / np.log(most / least))
    uncertainty = abs(exponent) * hidden.uncertainty
    return SpreadPutBack(hidden.interval_hours, usual / means - 1, uncertainty, exponent)


class TurbulenceEffect(Finding):
    """What turbulence does to the energy of a build.

    The intensity is that of the site; the effect is the share by which the gross energy changes if
    the machine follows every gust. Only a loss is counted.
    """

    intensity: float
    effect: float
    counted: bool


def in_turbulence(
    curve: PowerCurve, distribution: WindDistribution, intensity: float
) -> tuple[PowerCurve, TurbulenceEffect]:
    """Blur a curve by the turbulence it was not measured in, where that takes energy.

    The curve comes back as it was where turbulence would add energy: a small rotor does not follow
    the gusts that a formula counts, so a gain on paper is not earned.
    """
    plain = (curve.speed_ms, curve.power_w)
    blurred = curve_in_turbulence(*plain, float(added_intensity(intensity)))
    before, after = (
        float(mean_power_w(distribution.shape, distribution.scale_ms, *nodes))
        for nodes in (plain, blurred)
    )
    effect = after / before - 1 if before > 0 else 0.0
    if effect < 0:

        def moved(values: FloatArray | None) -> FloatArray | None:
            return None if values is None else np.interp(blurred[0], plain[0], values)

        curve = replace(
            curve,
            speed_ms=blurred[0],
            power_w=blurred[1],
            thrust_coefficient=moved(curve.thrust_coefficient),
            power_uncertainty_w=moved(curve.power_uncertainty_w),
            family=None,
        )
    return curve, TurbulenceEffect(intensity, effect, effect < 0)
