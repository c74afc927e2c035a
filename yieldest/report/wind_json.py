"""A wind record as plain dictionaries for `--json`: stable keys, SI units in the names."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from yieldest.arrays import number_or_none
from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.report.sentences.words import sentences
from yieldest.wind.breakdown import Group, Gustiness
from yieldest.wind.resource import WindResource
from yieldest.wind.weibull_fits import METHODS


def resource_as_dictionary(resource: WindResource) -> dict[str, Any]:
    """Return a wind resource as JSON-ready values in full precision; what cannot be had is None."""
    record, coverage, chosen = resource.record, resource.record.data_recovery, resource.chosen
    return {
        "record": {
            "source": record.provenance.source,
            "readings": int(resource.speed_ms.size),
            "left_out": resource.quality_control.left_out,
            "first_time": str(record.time[0].astype("datetime64[s]")),
            "last_time": str(record.time[-1].astype("datetime64[s]")),
            "rounding_step_ms": record.resolution_ms,
            "starting_speed_ms": resource.histogram.start_ms,
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
            "season_correction_used": resource.season.used,
            "season_correction_reason": resource.season.reason,
        },
        "mean_speed_ms": resource.mean_speed_ms,
        "mean_cube_ms3": resource.mean_cube_ms3,
        "clock_mean_speed_ms": resource.clock_mean_speed_ms,
        "clock_mean_cube_ms3": resource.clock_mean_cube_ms3,
        "mean_cube_before_averaging_ms3": record.mean_cube_ms3,
        "wind_power_density_w_m2": STANDARD_DENSITY_KG_M3 / 2 * resource.mean_cube_ms3,
        "standard_uncertainty": {
            "mean_speed_share": resource.uncertainty.mean_total,
            "mean_cube_share": resource.uncertainty.cube_total,
            "mean_speed_sampling_share": resource.uncertainty.mean_sampling,
            "mean_cube_sampling_share": resource.uncertainty.cube_sampling,
            "mean_speed_season_share": resource.uncertainty.mean_season,
            "mean_speed_year_share": resource.uncertainty.mean_year,
            "method": resource.uncertainty.method,
        },
        "weibull": {
            "shape": chosen.shape,
            "scale_ms": chosen.scale_ms,
            "calm_share": chosen.calm_share,
            "fit": chosen.method,
            "rule": resource.rule,
            "poor": chosen.poor,
            "energy_from_time_series_above_error": resource.reading_limit,
        },
        "fits": [{**asdict(fit), "source": METHODS[fit.method].source} for fit in resource.fits],
        "modes_ms": list(resource.modes_ms),
        "quality_control": [
            {
                **asdict(test),
                "first_times": list(test.first_times),
                "first_speeds_ms": [
                    None if speed is None else number_or_none(speed)
                    for speed in test.first_speeds_ms
                ],
            }
            for test in resource.quality_control.tests
        ],
        "directions": (
            None
            if resource.directions is None
            else {
                "calm_share": resource.directions.calm_share,
                "unknown_share": resource.directions.unknown_share,
                "sectors": _groups(resource.directions.sectors),
            }
        ),
        "months": _groups(resource.months),
        "hours_of_day": _groups(resource.hours),
        "years": _groups(resource.years),
        "turbulence_intensity": _gustiness(resource.turbulence),
        "gust_factor": _gustiness(resource.gusts),
        "warnings": sentences([*record.provenance.warnings, *resource.warnings]),
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
