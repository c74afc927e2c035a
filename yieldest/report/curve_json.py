"""What a table of readings says about a machine, as plain dictionaries for `--json`."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from yieldest.energy.net_energy import usual_years
from yieldest.report.json_values import json_ready, picked, rows_of
from yieldest.report.sentences.turbine import where_the_energy_goes
from yieldest.report.sentences.words import sentences
from yieldest.turbine.conversion_chain import Chain
from yieldest.turbine.measured_curve import MeasuredCurve
from yieldest.turbine.reading_checks import Hysteresis


def curve_as_dictionary(measured: MeasuredCurve) -> dict[str, Any]:
    """Return JSON-ready values in full precision; what cannot be had is None."""
    bins, curve, chain = measured.bins, measured.curve, measured.chain
    years = usual_years(curve)
    return {
        **picked(curve.provenance, "source", "method"),
        "readings": {
            "lines": measured.readings.read_count,
            "used": measured.readings.size,
            **picked(
                measured.averaging,
                "interval_s",
                averaging="words",
                averaging_s="seconds",
                mean_cube_over_cube_of_mean="cube_ratio",
            ),
            **picked(measured, "air_density_kg_m3"),
            "scatter": measured.bins.relative_scatter,
        },
        "bins": rows_of(
            picked(
                bins,
                *("centre_ms", "count", "speed_ms", "power_w", "standard_deviation_w"),
                scatter_uncertainty_w="scatter_w",
                meter_uncertainty_w="meters_w",
                uncertainty_w="uncertainty_w",
            )
            | _chain(chain)
        ),
        "curve": {
            **picked(
                curve,
                *("speed_ms", "power_w", "uncertainty_w", "air_density_kg_m3", "cut_in_ms"),
                *("cut_out_ms", "last_measured_ms", "extrapolation", "rated_power_w", "load"),
            ),
            "cut_in_seen": measured.smooth.cut_in_seen,
        },
        "where_the_energy_goes": [] if chain is None else where_the_energy_goes(chain, bins),
        "hysteresis": _hysteresis(measured.hysteresis),
        "usual_years": rows_of(
            picked(
                years,
                mean_speed_ms="mean_ms",
                gross_kwh_per_year="energy_kwh",
                uncertainty_kwh_per_year="uncertainty_kwh",
                gross_kwh_extrapolated_per_year="beyond_kwh",
            )
        ),
        "completeness": json_ready(measured.rules),
        "assumed": sentences(curve.provenance.assumed),
        "warnings": sentences(curve.provenance.warnings),
    }


def _hysteresis(found: Hysteresis | None) -> dict[str, Any]:
    """Return what differs between rising and falling wind, all None without times."""
    names = (*(each.name for each in fields(Hysteresis)), "shown")
    return dict.fromkeys(names) if found is None else picked(found, *names)


def _chain(chain: Chain | None) -> dict[str, Any]:
    """Return the columns of the bins that need the rotor's area, all None without it."""
    columns = {
        "power_coefficient": "coefficient",
        "power_in_wind_w": "wind_w",
        "betz_power_w": "betz_w",
        "rotor_power_w": "rotor_w",
        "generator_efficiency": "generator_efficiency",
        "generator_most_w": "generator_most_w",
    }
    return dict.fromkeys(columns) if chain is None else picked(chain, **columns)
