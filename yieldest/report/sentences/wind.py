"""What was found about the wind, in words."""

from __future__ import annotations

from yieldest.report.sentences.words import sentence
from yieldest.wind.distribution import NotMeasured, RayleighAssumed


@sentence.register
def _(_: RayleighAssumed) -> str:
    return "Weibull shape 2 (Rayleigh), for none was stated."


@sentence.register
def _(_: NotMeasured) -> str:
    return (
        "No reading stands behind the stated wind: a mean that is 10 % off makes the energy up to "
        "30 % off, for it goes with the cube; log the wind where the machine will stand before "
        "much money is spent."
    )
