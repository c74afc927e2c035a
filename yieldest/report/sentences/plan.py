"""What is asked about the values of a plan, in words."""

from __future__ import annotations

from yieldest.plan import plausibility
from yieldest.report.sentences.words import say, sentence

_SLIPS = {
    "displacement_m": "in metres",
    "measured_height_m": "in metres, and not in feet or centimetres",
    "cut_in_ms": "in m/s, and not in km/h",
    "wage_per_hour": "for one hour, and not in cents",
    "mean_speed_ms": "in m/s, and not in km/h or knots",
    "price_per_kwh": "for one kWh, and not in cents",
    "export_price_per_kwh": "for one kWh, and not in cents",
    "grid_carbon_kg_per_kwh": "in kg, and not in grams",
}


@sentence.register
def _(finding: plausibility.ValueAsked) -> str:
    name = finding.key.rpartition(".")[2]
    slip = _SLIPS.get(name, "a share (5 % is 0.05)")
    return (
        f"{finding.key} is {finding.value:g}, and more than {finding.usual_most:g} is unusual: is "
        f"this {slip}?"
    )


say(
    {
        plausibility.LossesAsked: (
            "The losses leave {0.kept_share:.1%} of the energy: is each of them a share that is "
            "lost, and not one that is kept?"
        ),
        plausibility.EarlyCutOut: (
            "No power is counted above {0.cut_out_ms:g m/s}, where most of the energy is: is "
            "cut_out_ms the wind at which the machine stops, and not that at which it starts?"
        ),
        plausibility.BladesInReach: (
            "The blades come down to {0.rotor_bottom_m:.2g m} above the ground, within reach of "
            "people and animals: is hub_height_m the height of the rotor's middle in metres? If "
            "so, fence it off."
        ),
        plausibility.TallMast: (
            "The hub is {0.hub_height_m:g m} high for a rotor {0.rotor_width_m:.3g m} wide: is "
            "hub_height_m in metres, and not in feet or centimetres?"
        ),
    }
)
