"""What was found in putting a plan together, in words."""

from __future__ import annotations

from yieldest.model import build_estimate, check, estimate, hub_wind, site_wind
from yieldest.report.sentences.words import say, sentence


@sentence.register
def _(finding: site_wind.FileRead) -> str:
    what = finding.of.removesuffix("s") if finding.count == 1 else finding.of
    return f"{finding.source}: {finding.count:,} {what}"


@sentence.register
def _(finding: estimate.AtPlace) -> str:
    return f"At {finding.place}: {sentence(finding.found)}"


say(
    {
        estimate.ElevationAssumed: "Elevation 0 m, for site.elevation_m is not stated.",
        hub_wind.NoObstacle: "No obstacle shelters the rotor, for site.obstacles states none.",
        hub_wind.MeasuredInTheOpen: (
            "The anemometer stood in the open, not behind the obstacles or on the roof, for "
            "wind.measured_at_hub_site is not stated."
        ),
        site_wind.FrozenCupsNotSought: (
            "wind.quality_control.frozen_hours is stated, but the record has no temperature that "
            "was recognised, so frozen cups cannot be looked for; name its column in wind.columns."
        ),
        build_estimate.NoBill: "No bill is stated, so there is no cost per kWh and no payback.",
        build_estimate.LowMeanWind: (
            "The mean wind at the hub is {0.hub_mean_speed_ms:.2f m/s}; below "
            "{0.worth_from_ms:g m/s} small wind is seldom worth it (common practice, no source)."
        ),
        check.CurveRead: (
            "{0.source}: power from {0.cut_in_ms:.3g (m/s)} to {0.cut_out_ms:.3g m/s}, highest "
            "{0.highest_w:.4g plain} W"
        ),
    }
)
