"""A wind record, or a summary of one, as plain dictionaries for `--json`."""

from __future__ import annotations

from typing import Any

from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.report.json_values import json_ready, picked, rows_of, weibull
from yieldest.report.sentences.words import sentences
from yieldest.report.wind_text import SummedWind
from yieldest.wind.breakdown import Gustiness
from yieldest.wind.long_term.correction import LongTermCorrection
from yieldest.wind.resource import WindResource
from yieldest.wind.summary_tables import FrequencyTable
from yieldest.wind.weibull_fits import METHODS


def resource_as_dictionary(
    resource: WindResource, over_years: LongTermCorrection | None = None
) -> dict[str, Any]:
    """Return a wind resource as JSON-ready values in full precision; what cannot be had is None."""
    record, recovery = resource.record, resource.record.data_recovery
    told = [record.provenance, *([] if over_years is None else [over_years.provenance])]
    return {
        "record": {
            "source": record.provenance.source,
            "readings": int(resource.counted.sum()),
            "left_out": resource.quality_control.left_out,
            "first_time": str(record.time[0].astype("datetime64[s]")),
            "last_time": str(record.time[-1].astype("datetime64[s]")),
            "starting_speed_ms": resource.histogram.start_ms,
            **picked(record, "height_m", "found", rounding_step_ms="resolution_ms"),
        },
        "data_recovery": {
            **picked(
                recovery,
                *("interval_s", "hours", "span_hours", "share"),
                *("month_share", "month_hour_share"),
            ),
            "season_correction_used": resource.season.used,
            "season_correction_reason": resource.season.reason,
        },
        **picked(
            resource,
            *("mean_speed_ms", "mean_cube_m3_s3", "clock_mean_speed_ms", "clock_mean_cube_m3_s3"),
        ),
        "mean_cube_with_hidden_spread_m3_s3": resource.whole_cube_m3_s3,
        "mean_cube_before_averaging_m3_s3": record.mean_cube_m3_s3,
        "wind_power_density_w_m2": STANDARD_DENSITY_KG_M3 / 2 * resource.whole_cube_m3_s3,
        "standard_uncertainty": picked(
            resource.uncertainty,
            "method",
            mean_speed_share="mean_total",
            mean_cube_share="cube_total",
            mean_speed_sampling_share="mean_sampling",
            mean_cube_sampling_share="cube_sampling",
            mean_speed_season_share="mean_season",
            mean_speed_year_share="mean_year",
        ),
        "weibull": {
            **picked(resource.chosen, "shape", "scale_ms", "calm_share", "poor", fit="method"),
            "rule": resource.rule,
            "energy_from_time_series_above_error": resource.reading_limit,
        },
        "fits": [{**picked(fit), "source": METHODS[fit.method].source} for fit in resource.fits],
        "modes_ms": list(resource.modes_ms),
        "quality_control": json_ready(resource.quality_control.tests),
        "directions": json_ready(resource.directions),
        **picked(resource, "months", "years", hours_of_day="hours"),
        "turbulence_intensity": _gustiness(resource.turbulence),
        "gust_factor": _gustiness(resource.gusts),
        "long_term": None if over_years is None else long_term_as_dictionary(over_years),
        "warnings": sentences(
            [*resource.warnings, *(found for each in told for found in each.warnings)]
        ),
        "assumed": sentences([found for each in told for found in each.assumed]),
    }


def long_term_as_dictionary(found: LongTermCorrection) -> dict[str, Any]:
    """Return a long-term correction as JSON-ready values in full precision."""
    return {
        **picked(found.provenance, "source", "method"),
        "chosen": found.chosen.name,
        "mean_speed_ms": found.chosen.mean_ms,
        "mean_cube_m3_s3": found.chosen.mean_cube,
        **picked(
            found,
            *("standard_uncertainty", "overlap_hours", "correlation", "step_s"),
            *("reference_years", "year_to_year_spread"),
            overlap_mean_speed_ms="concurrent_mean_ms",
            overlap_mean_cube_m3_s3="concurrent_mean_cube",
            clock_offset="offset",
        ),
        "methods": [
            picked(
                method,
                "name",
                "anomaly_share",
                mean_speed_ms="mean_ms",
                mean_cube_m3_s3="mean_cube",
                mean_standard_uncertainty="mean_uncertainty",
                cube_standard_uncertainty="cube_uncertainty",
            )
            for method in found.methods
        ],
    }


def _gustiness(found: Gustiness | None) -> dict[str, Any] | None:
    if found is None:
        return None
    heads = ("speed_ms", "readings", "mean", "quantile_90")
    classes = [dict(zip(heads, each, strict=True)) for each in found.by_class]
    return {**picked(found, "readings", "mean", "at_15_ms", "highest_ms"), "by_class": classes}


def summed_as_dictionary(wind: SummedWind) -> dict[str, Any]:
    """Return a summary as JSON-ready values in full precision."""
    summary, distribution = wind.summary, wind.distribution
    hours = classes = months = None
    if isinstance(summary, FrequencyTable):
        hours = summary.hours
        bounds = ("lower_ms", "upper_ms", "share")
        classes = rows_of({name: getattr(summary, name) for name in bounds})
    else:
        months = summary.speed_ms.tolist()
    return {
        "source": distribution.provenance.source,
        "kind": "monthly means" if classes is None else "frequency table",
        "hours": hours,
        **picked(wind, "mean_speed_ms", "mean_cube_m3_s3"),
        "weibull": weibull(distribution),
        "classes": classes,
        "month_mean_speed_ms": months,
        "assumed": sentences(distribution.provenance.assumed),
        "warnings": sentences(distribution.provenance.warnings),
    }
