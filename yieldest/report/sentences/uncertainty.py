"""The steps that would make an estimate surer, in words."""

from __future__ import annotations

from yieldest.uncertainty.next_measurement import MORE_MONTHS

STEP_WORDS = {
    "calibrated anemometer": "run a calibrated anemometer beside yours for two weeks",
    "free-standing pole": "put the anemometer on a slim pole of its own, clear of everything",
    "wind on site": "log the wind on site for half a year",
    "second height": "log the wind at a second height for three months",
    "place of the rotor": "log the wind at the very place of the rotor for three months",
    "power and wind": "log power and wind of the machine for a month, and bin them",
    "electrical losses": "measure cable and converter at three loads",
    "binding quotes": "ask for binding quotes for the most expensive parts",
    "electricity bills": "look up what a kWh cost you in the last three bills",
    **{step: f"keep logging the wind for {step}" for step in MORE_MONTHS.values()},
    "long-term reference": (
        "compare with ten years or more of a wind record nearby (wind.reference)"
    ),
}
"""By the key of a `yieldest.uncertainty.next_measurement.MeasurementStep`."""
