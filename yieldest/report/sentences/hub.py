"""What was found on the way to the hub, in words."""

from __future__ import annotations

from yieldest.hub import air, extremes, obstacles, rooftop
from yieldest.report.sentences.words import say, sentence
from yieldest.units import length, speed


@sentence.register
def _(finding: obstacles.RotorNearObstacle) -> str:
    clear, height = finding.clear_m, finding.height_m
    place = (
        f"{length(clear, '.1f')} above"
        if clear >= 0
        else f"{length(-clear, '.1f')} below the top of"
    )
    what = (
        f"the roof {length(height)} high"
        if finding.distance_m is None
        else f"the obstacle {length(height)} high at {length(finding.distance_m)}"
    )
    return (
        f"The rotor's lowest point is {place} {what}; it should stand "
        f"{length(obstacles.CLEAR_HEIGHT_M)} above anything within "
        f"{length(obstacles.CLEAR_DISTANCE_M)} (common practice, no source)."
    )


@sentence.register
def _(finding: air.StandardTemperature) -> str:
    months = "" if finding.months == 12 else f" in {finding.months} of the 12 months"
    state = "" if finding.months == 12 else "; state mean_temperature_c in [site]"
    return (
        f"Mean temperature {finding.temperature_c:.0f} C at {length(finding.altitude_m, '.0f')}"
        f"{months} (standard atmosphere, ISO 2533), for none is known{state}."
    )


@sentence.register
def _(finding: extremes.LongMeans) -> str:
    return (
        f"The 50-year wind is of means over {finding.interval_s / 60:.0f} minutes; the 10-minute "
        "mean that IEC 61400-2 asks for is some per cent higher."
    )


@sentence.register
def _(finding: extremes.ThrustInGust) -> str:
    thrust, kilograms = finding.thrust_n, float(f"{finding.thrust_n / air.GRAVITY_MS2:.2g}")
    basis = {
        "class": f"the reference speed of class {finding.site_class or 'I'} (IEC 61400-2)",
        "fifty years": "the 50-year wind of the record (Gumbel)",
        "largest reading": "the largest reading of the record",
    }[finding.basis]
    return (
        f"In a gust of {speed(finding.gust_ms, '.0f')}, from {basis}, a rotor that cannot furl or "
        f"brake pushes its mast with {float(f'{thrust:.2g}'):,.0f} N (the weight of "
        f"{kilograms:,.0f} kg) at the hub: masts, guys and foundations are for a competent person "
        "under local codes."
    )


say(
    {
        air.PressureOutOfPlace: (
            "The mean pressure {0.pressure_hpa:.0f} hPa is more than 3 % from what an elevation of "
            "{0.elevation_m:g m} has; it may have been reduced to sea level, and was not used."
        ),
        obstacles.ShelterAllRound: (
            "Wind from every direction equally often, for no directions are known: the shelter is "
            "an all-round mean."
        ),
        rooftop.RotorInDisturbedFlow: (
            "Part of the rotor stands in disturbed flow, where no formula gives a figure to trust: "
            "take the energy as the most it could be, and log the wind at the hub before "
            "buying anything."
        ),
        extremes.AboveEveryClass: (
            "The wind at the hub is stronger than every class of IEC 61400-2: no standard small "
            "machine is made for it."
        ),
        obstacles.ObstacleTooNear: (
            "The obstacle {0.height_m:g m} high at {0.distance_m:g m} is nearer than "
            f"{obstacles.NEAREST_HEIGHTS:g} of its heights: the flow there is separated, and the "
            "shelter was computed as for five heights; expect less wind than that."
        ),
        rooftop.MachineOnRoof: (
            "The hub is {0.above_edge_m:.1f m} above the roof edge and {0.above_ridge_m:.1f m} "
            "above the ridge; the flow is disturbed up to about {0.disturbed_above_ridge_m:.1f m} "
            "above it, so {0.disturbed_share:.0f %} of the rotor stands in it. No gain from wind "
            "speeding up over a roof is counted, vibration goes into the building, and the "
            "structure must be judged by a licensed engineer."
        ),
    }
)
