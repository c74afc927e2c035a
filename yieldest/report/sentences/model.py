"""What was found in putting a plan together, in words."""

from __future__ import annotations

from yieldest.model.build_estimate import LowMeanWind, NoBill
from yieldest.model.check import CurveRead
from yieldest.model.estimate import AtPlace, ElevationAssumed
from yieldest.model.hub_wind import MeasuredInTheOpen, NoObstacle
from yieldest.model.site_wind import FileRead, FrozenCupsNotSought
from yieldest.report.sentences.words import say, sentence


@sentence.register
def _(finding: FileRead) -> str:
    what = finding.of.removesuffix("s") if finding.count == 1 else finding.of
    return f"{finding.source}: {finding.count:,} {what}"


@sentence.register
def _(finding: AtPlace) -> str:
    return f"At {finding.place}: {sentence(finding.found)}"


say(
    {
        ElevationAssumed: "Elevation 0 m, for site.elevation_m is not stated.",
        NoObstacle: "No obstacle shelters the rotor, for site.obstacles states none.",
        MeasuredInTheOpen: (
            "The anemometer stood in the open, not behind the obstacles or on the roof, for "
            "wind.measured_at_hub_site is not stated."
        ),
        FrozenCupsNotSought: (
            "wind.quality_control.frozen_hours is stated, but the record has no temperature that "
            "was recognised, so frozen cups cannot be looked for; name its column in wind.columns."
        ),
        NoBill: "No bill is stated, so there is no cost per kWh and no payback.",
        LowMeanWind: (
            "The mean wind at the hub is {0.hub_mean_speed_ms:.2f m/s}; below "
            "{0.worth_from_ms:g m/s} small wind is seldom worth it (common practice, no source)."
        ),
        CurveRead: (
            "{0.source}: power from {0.cut_in_ms:.3g (m/s)} to {0.cut_out_ms:.3g m/s}, highest "
            "{0.highest_w:.4g plain} W"
        ),
    }
)
