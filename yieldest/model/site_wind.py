"""The wind of a place at the height of measurement, carried to the long term where it can be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.defaults import YEAR_TO_YEAR
from yieldest.energy.net_energy import SpeedSeries
from yieldest.energy.wakes import SectorReadings, in_sectors
from yieldest.errors import InputError
from yieldest.files.text_file import Progress
from yieldest.frozen import frozen_dataclass, relabelled
from yieldest.hub.air import MonthlyAir, monthly_air
from yieldest.hub.correction_steps import WindCorrection
from yieldest.hub.shear import MeasuredShear, measured_shear
from yieldest.plan import Place
from yieldest.plan.wind_table import Reference, SecondAnemometer
from yieldest.provenance import Finding, Provenance
from yieldest.wind.data_recovery import data_recovery_findings, data_recovery_of
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.from_summaries import (
    distribution_of_frequencies,
    distribution_of_months,
    points_of_frequencies,
)
from yieldest.wind.hidden_spread import HiddenSpread
from yieldest.wind.long_term.correction import LongRecord, LongTermCorrection, long_term
from yieldest.wind.quality_control import NO_RULES, QualityRules
from yieldest.wind.read_wind import HeightNotAsStated, read_wind
from yieldest.wind.record import Record
from yieldest.wind.record_clock import clock_times
from yieldest.wind.resource import EMPIRICAL, ResourceOptions, WindResource, assess_record
from yieldest.wind.summary_tables import (
    FrequencyTable,
    MonthlyMeans,
    read_frequency_table,
    read_monthly_means,
)


class FileRead(Finding):
    """What a file holds, counted.

    Parameters
    ----------
    source : str
    count : int
    of : str
        What was counted, such as "speeds".
    """

    source: str
    count: int
    of: str


class FrozenCupsNotSought(Finding):
    """Frozen cups were to be looked for, but no temperature was recognised."""


@frozen_dataclass
class WindFiles:
    """The records that a place names, as they were read.

    Parameters
    ----------
    record : Record
    neighbour : Record or None
        To judge long calms by.
    references : tuple of Record
    other_heights : tuple of Record
        Of the other anemometers on the mast.
    """

    record: Record
    neighbour: Record | None
    references: tuple[Record, ...]
    other_heights: tuple[Record, ...]


@frozen_dataclass
class SiteWind:
    """The wind at the height of measurement.

    Parameters
    ----------
    distribution : WindDistribution
        Over the reference's years where there is one.
    start_ms : float
        Mean speed as measured or stated.
    corrections : tuple of WindCorrection
        From there to the distribution's mean.
    provenance : tuple of Provenance
    files : tuple of FileRead
    resource : WindResource or None
        Of the measured record; None without one.
    readings : SpeedSeries or None
        That the distribution was fitted to; None for a stated mean or distribution.
    time : ndarray of datetime64, shape (n,), or None
        Of the readings; None where they are a table's.
    direction_deg : ndarray, shape (n,), or None
    long_term : LongTermCorrection or None
    shear : MeasuredShear or None
    hidden : HiddenSpread or None
        What daily or coarser readings hide, and `readings` and distribution have put back.
    as_read : WindFiles or None
        None without a record.
    """

    distribution: WindDistribution
    start_ms: float
    corrections: tuple[WindCorrection, ...]
    provenance: tuple[Provenance, ...]
    files: tuple[FileRead, ...]
    resource: WindResource | None = None
    readings: SpeedSeries | None = None
    time: npt.NDArray[np.datetime64] | None = None
    direction_deg: FloatArray | None = None
    long_term: LongTermCorrection | None = None
    shear: MeasuredShear | None = None
    hidden: HiddenSpread | None = None
    as_read: WindFiles | None = None

    @property
    def long_term_factor(self) -> float:
        """Long-term mean over the mean as measured."""
        return self.corrections[0].factor

    @property
    def yearly_spread(self) -> float:
        """Standard deviation of yearly mean speeds over their mean."""
        return YEAR_TO_YEAR.value if self.long_term is None else self.long_term.year_to_year_spread

    @property
    def mean_speed_ms(self) -> float:
        """Mean speed over the long term, before a distribution is fitted."""
        return self.start_ms * self.long_term_factor

    @property
    def record(self) -> Record | None:
        """The measured record after quality control."""
        return None if self.resource is None else self.resource.record

    def measured_at(self, height_m: float) -> SiteWind | None:
        """Return the wind as if its anemometer stood at another height.

        None where the height decides what is read of a record: of several columns, or with other
        anemometers.
        """
        distribution = self.distribution.raised(1.0, height_m)
        if self.resource is None or self.as_read is None:
            return relabelled(self, distribution=distribution)
        quality, record = self.resource.quality_control, self.resource.record
        if self.shear is not None or any(found.what == "height" for found in record.found):
            return None
        quality = relabelled(quality, record=relabelled(record, height_m=height_m))
        resource = relabelled(self.resource, quality_control=quality)
        files = relabelled(self.as_read, record=relabelled(self.as_read.record, height_m=height_m))
        return relabelled(self, distribution=distribution, resource=resource, as_read=files)

    @cached_property
    def mean_temperature_c(self) -> float | None:
        """Mean of the temperatures of the record; None where it has none."""
        return None if self.record is None else _mean_of(self.record.temperature_c)

    @cached_property
    def mean_pressure_hpa(self) -> float | None:
        """Mean of the pressures of the record; None where it has none."""
        return None if self.record is None else _mean_of(self.record.pressure_hpa)

    @cached_property
    def months(self) -> MonthlyAir | None:
        """The air of each calendar month; None where the record has no temperature."""
        record = self.record
        if record is None or record.temperature_c is None:
            return None
        return monthly_air(record.time, record.speed_ms, record.temperature_c, record.pressure_hpa)

    @property
    def scarce_months(self) -> tuple[int, ...]:
        """Months (1 to 12) of which `time` has less than half."""
        if self.record is None or self.long_term is not None:
            return ()
        return self.record.data_recovery.missing_months

    def by_clock(self, time_zone: str | None) -> npt.NDArray[np.datetime64] | None:
        """Return the times as the clocks of a zone show them; as they stand where none is known."""
        if self.time is None or self.record is None or not self.record.in_utc or time_zone is None:
            return self.time
        if time_zone not in self._by_clock:
            self._by_clock[time_zone] = clock_times(self.time, time_zone)
        return self._by_clock[time_zone]

    @cached_property
    def _by_clock(self) -> dict[str, npt.NDArray[np.datetime64]]:
        return {}

    def in_sectors(self, sectors: int) -> SectorReadings | None:
        """Return the readings of the record by direction; None where none is known."""
        record = self.record
        if record is None or record.direction_deg is None:
            return None
        if sectors not in self._in_sectors:
            readings = in_sectors(record.speed_ms, record.direction_deg, sectors)
            self._in_sectors[sectors] = readings
        found = self._in_sectors[sectors]
        return found if found.size else None

    @cached_property
    def _in_sectors(self) -> dict[int, SectorReadings]:
        return {}


def _mean_of(measured: FloatArray | None) -> float | None:
    if measured is None or not np.isfinite(measured).any():
        return None
    return float(np.nanmean(measured))


def site_wind(
    place: Place, progress: Progress | None = None, as_read: WindFiles | None = None
) -> SiteWind:
    """Read the wind of a place, and carry it to the years of a reference where there is one.

    Parameters
    ----------
    place : Place
    progress : callable, optional
        Told now and then the share of the record read so far.
    as_read : WindFiles, optional
        The records of the place, where they are read already.

    Raises
    ------
    InputError
        When a file cannot be used.
    """
    wind = place.wind
    if wind.record is None:
        return _stated_wind(place)
    options = ResourceOptions(
        rules=wind.quality_control,
        season_correction=wind.season_correction,
        fit=wind.fit,
        energy_error_limit=wind.energy_error_limit,
        spread_within_interval=wind.spread_within_interval,
    )
    files = _read_files(place, progress) if as_read is None else as_read
    resource = assess_record(_sought_cups(files.record, options.rules), options, files.neighbour)
    record = resource.record
    years, over_years = resource, None
    provenance: tuple[Provenance, ...] = (record.provenance,)
    references = files.references
    if references:
        over_years = _over_years(references, wind.reference, record)
        of_years = _record_of_years(record, over_years)
        as_computed = replace(options, rules=NO_RULES, season_correction=False)
        years = assess_record(of_years, as_computed, finer=(record, *references))
        provenance = _provenance_of_years(record, over_years)
    distribution = years.distribution(wind.measured_height_m)
    off = distribution.mean_speed_ms / years.mean_speed_ms
    fitted = WindCorrection(
        "to a distribution", off, distribution.provenance.method, float(abs(off - 1) / np.sqrt(3))
    )
    speed_ms, weight, of_reading = years.energy_speeds
    direction_deg = years.record.direction_deg
    return SiteWind(
        distribution=distribution,
        start_ms=resource.clock_mean_speed_ms,
        corrections=(_to_the_long_term(resource, years, over_years), fitted),
        provenance=(*provenance, *_heights_doubted(files), distribution.provenance),
        files=_counted(files),
        resource=resource,
        readings=SpeedSeries(speed_ms, weight),
        time=years.time[of_reading],
        direction_deg=None if direction_deg is None else direction_deg[of_reading],
        hidden=years.hidden,
        long_term=over_years,
        shear=_shear(place, record, files.other_heights) if wind.other_heights else None,
        as_read=files,
    )


def _read_files(place: Place, progress: Progress | None) -> WindFiles:
    wind = place.wind
    files = WindFiles(
        neighbour=None if wind.neighbour is None else read_neighbour(place, wind.neighbour),
        record=read_plan_record(place, progress),
        references=tuple(read_reference(place, stated) for stated in wind.reference),
        other_heights=tuple(read_also(place, also) for also in wind.other_heights),
    )
    _refuse_one_anemometer_twice(wind.other_heights, files)
    return files


def _refuse_one_anemometer_twice(stated: Sequence[SecondAnemometer], files: WindFiles) -> None:
    whose, speeds = ["the record itself"], [files.record.speed_ms]
    for also, other in zip(stated, files.other_heights, strict=True):
        for name, speed in zip(whose, speeds, strict=True):
            if np.array_equal(speed, other.speed_ms, equal_nan=True):
                raise InputError(
                    f"wind.other_heights: the column {also.column!r} holds the very speeds of "
                    f"{name}, so it is no other anemometer; name the column of one at another "
                    "height, or leave it out."
                )
        whose.append(repr(also.column))
        speeds.append(other.speed_ms)


def _sought_cups(record: Record, rules: QualityRules) -> Record:
    """Return the record with a warning where frozen cups are to be sought and cannot be."""
    asked_for = "frozen_hours" in rules.model_fields_set and rules.frozen_hours is not False
    if not asked_for or record.temperature_c is not None:
        return record
    said = record.provenance.adding(warnings=(FrozenCupsNotSought(),))
    return replace(record, provenance=said)


def _counted(files: WindFiles) -> tuple[FileRead, ...]:
    of_site = FileRead(files.record.provenance.source, files.record.valid_speed_ms.size, "speeds")
    return (
        of_site,
        *(
            FileRead(one.provenance.source, one.valid_speed_ms.size, "speeds as reference")
            for one in files.references
        ),
    )


def _provenance_of_years(record: Record, over_years: LongTermCorrection) -> tuple[Provenance, ...]:
    """Return where the wind of the reference's years is from."""
    # The reference makes up for the seasons that the record lacks.
    made_up = data_recovery_findings(record.data_recovery)
    warnings = tuple(found for found in record.provenance.warnings if found not in made_up)
    return replace(record.provenance, warnings=warnings), over_years.provenance


def _heights_doubted(files: WindFiles) -> tuple[Provenance, ...]:
    """Return what the file says of the heights of the other anemometers against the plan."""
    # All else that is found about these columns is found about the record, of the same file.
    return tuple(
        Provenance(one.provenance.source, "", (), (found,))
        for one in files.other_heights
        for found in one.provenance.warnings
        if isinstance(found, HeightNotAsStated)
    )


def _to_the_long_term(
    resource: WindResource, years: WindResource, over_years: LongTermCorrection | None
) -> WindCorrection:
    """Return the step from the mean by the clock to the mean that is used."""
    factor = years.mean_speed_ms / resource.clock_mean_speed_ms
    if over_years is not None:
        method, uncertainty = over_years.provenance.method, over_years.standard_uncertainty
    else:
        evened = f"; readings weighted by month and hour, {resource.season.reason}"
        days = resource.record.data_recovery.hours / 24
        method = f"{days:.0f} days of readings without a reference"
        method += evened if resource.season.used else ", taken at face value"
        uncertainty = resource.uncertainty.mean_total
    return WindCorrection("to the long term", factor, method, uncertainty)


def _stated_wind(place: Place) -> SiteWind:
    """Return the wind of a place that has no record."""
    distribution, readings, files = _summed_wind(place)
    return SiteWind(
        distribution=distribution,
        start_ms=distribution.mean_speed_ms,
        corrections=(WindCorrection("as stated", 1.0, distribution.provenance.method, None),),
        provenance=(distribution.provenance,),
        files=files,
        readings=readings,
    )


def _summed_wind(
    place: Place,
) -> tuple[WindDistribution, SpeedSeries | None, tuple[FileRead, ...]]:
    """Return what a stated mean or distribution, or a table of summed-up winds, says."""
    wind = place.wind
    height_m, shape = wind.measured_height_m, wind.weibull_shape
    if wind.weibull_scale_ms is not None and shape is not None:
        return WindDistribution.weibull(shape, wind.weibull_scale_ms, height_m=height_m), None, ()
    if wind.mean_speed_ms is not None:
        return WindDistribution.from_mean(wind.mean_speed_ms, shape, height_m=height_m), None, ()
    limit: float | None = 0.0 if wind.fit == EMPIRICAL else wind.energy_error_limit
    if wind.frequency_table is not None:
        table = read_plan_frequencies(place)
        distribution = distribution_of_frequencies(table, height_m)
        limit = None if wind.fit == "interval-censored" else limit
        readings = SpeedSeries(*points_of_frequencies(table, distribution))
        read = FileRead(table.provenance.source, table.share.size, table.provenance.method)
    else:
        months = read_plan_months(place)
        distribution, speed_ms, share = distribution_of_months(months, shape, height_m)
        readings = SpeedSeries(speed_ms, share)
        read = FileRead(months.provenance.source, speed_ms.size, months.provenance.method)
    return replace(distribution, reading_limit=limit), readings, (read,)


def _over_years(
    references: Sequence[Record], stated: Sequence[Reference], record: Record
) -> LongTermCorrection:
    long = [LongRecord.of(one, its.record) for one, its in zip(references, stated, strict=True)]
    return long_term(record.time, record.speed_ms, long, record.direction_deg)


def _record_of_years(measured: Record, over_years: LongTermCorrection) -> Record:
    known = np.isfinite(over_years.direction_deg)
    return Record(
        time=over_years.time,
        speed_ms=over_years.speed_ms,
        direction_deg=over_years.direction_deg if known.any() else None,
        temperature_c=None,
        pressure_hpa=None,
        data_recovery=data_recovery_of(over_years.time, np.isfinite(over_years.speed_ms)),
        provenance=replace(over_years.provenance, source=measured.provenance.source),
    )


def _shear(place: Place, measured: Record, others: Sequence[Record]) -> MeasuredShear:
    heights, speeds = [place.wind.measured_height_m], [measured.speed_ms]
    for also, other in zip(place.wind.other_heights, others, strict=True):
        speed = np.full(measured.time.size, np.nan)
        _, here, there = np.intersect1d(measured.time, other.time, return_indices=True)
        speed[here] = other.speed_ms[there]
        heights.append(also.height_m)
        speeds.append(speed)
    return measured_shear(measured.time, heights, np.stack(speeds), measured.direction_deg)


def read_plan_record(place: Place, progress: Progress | None = None) -> Record:
    """Read the wind record of a plan."""
    return read_wind(
        place.file(str(place.wind.record)),
        height_m=place.wind.measured_height_m,
        options=place.wind,
        progress=progress,
    )


def read_reference(place: Place, reference: Reference) -> Record:
    """Read the long record near the site."""
    return read_wind(place.file(reference.record), options=reference)


def read_neighbour(place: Place, name: str) -> Record:
    """Read the record of another sensor near by, with columns and units of its own."""
    return read_wind(place.file(name), time_zone=place.wind.time_zone)


def read_also(place: Place, also: SecondAnemometer) -> Record:
    """Read a second anemometer of the plan's record."""
    columns = place.wind.columns.model_copy(update={"speed": also.column})
    return read_wind(
        place.file(str(place.wind.record)),
        height_m=also.height_m,
        options=place.wind.model_copy(update={"columns": columns, "sensor": None}),
    )


def read_plan_frequencies(place: Place) -> FrequencyTable:
    """Read the frequency table of a plan."""
    return read_frequency_table(place.file(str(place.wind.frequency_table)), options=place.wind)


def read_plan_months(place: Place) -> MonthlyMeans:
    """Read the twelve monthly means of a plan, from a file or from the plan itself."""
    stated = place.wind.monthly_means_ms
    if stated is not None:
        return MonthlyMeans(floats(stated), Provenance("wind.monthly_means_ms", "monthly means"))
    return read_monthly_means(
        place.file(str(place.wind.monthly_means)),
        height_m=place.wind.measured_height_m,
        options=place.wind,
    )
