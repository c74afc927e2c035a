"""A wind study as plain dictionaries for `--json`: stable keys, SI units in the names."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from yieldest.arrays import number_or_none
from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.report.sentences.words import sentences
from yieldest.wind.breakdown import Group, Gustiness
from yieldest.wind.resource import WindResource
from yieldest.wind.weibull_fits import METHODS


def study_as_dictionary(study: WindResource) -> dict[str, Any]:
    """Return a study as JSON-ready values in full precision; what cannot be had is None."""
    record, coverage, chosen = study.record, study.record.data_recovery, study.chosen
    return {
        "record": {
            "source": record.provenance.source,
            "readings": int(study.speed_ms.size),
            "left_out": study.quality_control.left_out,
            "first_time": str(record.time[0].astype("datetime64[s]")),
            "last_time": str(record.time[-1].astype("datetime64[s]")),
            "rounding_step_ms": record.resolution_ms,
            "starting_speed_ms": study.histogram.start_ms,
            "height_m": record.height_m,
            "found": [asdict(found) for found in record.found],
        },
        "data_recovery": {
            "interval_s": coverage.interval_s,
            "hours": coverage.hours,
            "span_hours": coverage.span_hours,
            "share": coverage.share,
            "month_share": list(coverage.month_share),
            "month_hour_share": coverage.month_hour_share.tolist(),
            "season_correction_used": study.season.used,
            "season_correction_reason": study.season.reason,
        },
        "mean_speed_ms": study.mean_speed_ms,
        "mean_cube_ms3": study.mean_cube_ms3,
        "clock_mean_speed_ms": study.clock_mean_speed_ms,
        "clock_mean_cube_ms3": study.clock_mean_cube_ms3,
        "mean_cube_before_averaging_ms3": record.mean_cube_ms3,
        "wind_power_density_w_m2": STANDARD_DENSITY_KG_M3 / 2 * study.mean_cube_ms3,
        "standard_uncertainty": {
            "mean_speed_share": study.uncertainty.mean_total,
            "mean_cube_share": study.uncertainty.cube_total,
            "mean_speed_sampling_share": study.uncertainty.mean_sampling,
            "mean_cube_sampling_share": study.uncertainty.cube_sampling,
            "mean_speed_season_share": study.uncertainty.mean_season,
            "mean_speed_year_share": study.uncertainty.mean_year,
            "method": study.uncertainty.method,
        },
        "weibull": {
            "shape": chosen.shape,
            "scale_ms": chosen.scale_ms,
            "calm_share": chosen.calm_share,
            "fit": chosen.method,
            "rule": study.rule,
            "poor": chosen.poor,
            "energy_from_time_series_above_error": study.reading_limit,
        },
        "fits": [{**asdict(fit), "source": METHODS[fit.method].source} for fit in study.fits],
        "modes_ms": list(study.modes_ms),
        "quality_control": [
            {
                **asdict(test),
                "first_times": list(test.first_times),
                "first_speeds_ms": [
                    None if speed is None else number_or_none(speed)
                    for speed in test.first_speeds_ms
                ],
            }
            for test in study.quality_control.tests
        ],
        "directions": (
            None
            if study.directions is None
            else {
                "calm_share": study.directions.calm_share,
                "unknown_share": study.directions.unknown_share,
                "sectors": _groups(study.directions.sectors),
            }
        ),
        "months": _groups(study.months),
        "hours_of_day": _groups(study.hours),
        "years": _groups(study.years),
        "turbulence_intensity": _gustiness(study.turbulence),
        "gust_factor": _gustiness(study.gusts),
        "warnings": sentences([*record.provenance.warnings, *study.warnings]),
        "assumed": sentences(record.provenance.assumed),
    }


def _groups(groups: tuple[Group, ...]) -> list[dict[str, Any]]:
    return [asdict(group) for group in groups]


def _gustiness(found: Gustiness | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "readings": found.readings,
        "mean": found.mean,
        "at_15_ms": found.at_15_ms,
        "highest_ms": found.highest_ms,
        "by_class": [
            {"speed_ms": speed, "readings": count, "mean": mean, "quantile_90": high}
            for speed, count, mean, high in found.by_class
        ],
    }
