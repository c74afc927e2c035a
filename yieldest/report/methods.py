"""Which method stands behind each figure of an estimate."""

from __future__ import annotations

from yieldest.defaults import YEAR_TO_YEAR
from yieldest.model.estimate import Estimate


def methods_of(estimate: Estimate) -> list[tuple[str, str]]:
    """Return what was computed and how, with the source, one pair for each figure."""
    terms = estimate.terms
    pairs = [("wind as measured", estimate.distribution.provenance.method)]
    for build in estimate.builds:
        pairs += [
            ("wind at the hub", build.height_method),
            ("air density", build.air.provenance.method),
            ("power curve", build.curve.provenance.method),
            ("gross energy", build.energy.provenance.method),
        ]
        if build.cost is not None:
            pairs.append(("cost per kWh", build.cost.provenance.method))
    pairs += [
        (
            "calm and windy year",
            f"mean wind {YEAR_TO_YEAR} lower or higher (common practice, no source)",
        ),
        (
            "money terms",
            f"{terms.life_years} years, real discount rate {100 * terms.discount_rate:.1f} %, "
            f"upkeep {100 * terms.maintenance_share_per_year:.1f} % of the capital cost a year; "
            f"{terms.provenance.method}",
        ),
    ]
    return list(dict.fromkeys(pairs))
