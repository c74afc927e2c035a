"""What a table of readings says about a machine, as plain dictionaries for `--json`."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.energy.closed_form import usual_years
from yieldest.report.sentences.turbine import where_the_energy_goes
from yieldest.report.sentences.words import sentences
from yieldest.turbine.measured_curve import MeasuredCurve


def curve_as_dictionary(measured: MeasuredCurve) -> dict[str, Any]:
    """Return JSON-ready values in full precision; what cannot be had is None."""
    bins, curve, smooth, chain = measured.bins, measured.curve, measured.smooth, measured.chain
    years = usual_years(curve)
    return {
        "source": curve.provenance.source,
        "method": curve.provenance.method,
        "readings": {
            "lines": measured.readings.read_count,
            "used": measured.readings.size,
            "averaging": measured.averaging.words,
            "averaging_s": measured.averaging.seconds,
            "interval_s": measured.averaging.interval_s,
            "mean_cube_over_cube_of_mean": measured.averaging.cube_ratio,
            "air_density_kg_m3": measured.air_density_kg_m3,
            "scatter": measured.scatter,
        },
        "bins": [
            {
                "centre_ms": float(bins.centre_ms[i]),
                "count": int(bins.count[i]),
                "speed_ms": float(bins.speed_ms[i]),
                "power_w": float(bins.power_w[i]),
                "standard_deviation_w": _number(bins.standard_deviation_w, i),
                "scatter_uncertainty_w": float(bins.scatter_w[i]),
                "meter_uncertainty_w": float(bins.meters_w[i]),
                "uncertainty_w": float(bins.uncertainty_w[i]),
                "power_coefficient": None if chain is None else float(chain.coefficient[i]),
                "power_in_wind_w": None if chain is None else float(chain.wind_w[i]),
                "betz_power_w": None if chain is None else float(chain.betz_w[i]),
                "rotor_power_w": None if chain is None else _number(chain.rotor_w, i),
                "generator_efficiency": (
                    None if chain is None else _number(chain.generator_efficiency, i)
                ),
                "generator_most_w": None if chain is None else _number(chain.generator_most_w, i),
            }
            for i in range(bins.centre_ms.size)
        ],
        "curve": {
            "speed_ms": curve.speed_ms.tolist(),
            "power_w": curve.power_w.tolist(),
            "uncertainty_w": curve.uncertainty_w.tolist(),
            "air_density_kg_m3": curve.air_density_kg_m3,
            "cut_in_ms": curve.cut_in_ms,
            "cut_in_seen": smooth.cut_in_seen,
            "cut_out_ms": curve.cut_out_ms,
            "last_measured_ms": curve.last_measured_ms,
            "extrapolation": curve.extrapolation,
            "rated_power_w": curve.rated_power_w,
            "load": curve.load,
        },
        "where_the_energy_goes": [] if chain is None else where_the_energy_goes(chain, bins),
        "hysteresis": {**asdict(measured.hysteresis), "shown": measured.hysteresis.shown},
        "usual_years": [
            {
                "mean_speed_ms": float(years.mean_ms[i]),
                "gross_kwh_per_year": float(years.energy_kwh[i]),
                "uncertainty_kwh_per_year": float(years.uncertainty_kwh[i]),
                "gross_kwh_extrapolated_per_year": float(years.beyond_kwh[i]),
            }
            for i in range(years.mean_ms.size)
        ],
        "completeness": [asdict(rule) for rule in measured.rules],
        "assumed": sentences(curve.provenance.assumed),
        "warnings": sentences(curve.provenance.warnings),
    }


def _number(values: FloatArray | None, index: int) -> float | None:
    if values is None or np.isnan(values[index]):
        return None
    return float(values[index])
