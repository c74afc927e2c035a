"""What the money terms and the measures found, in words."""

from __future__ import annotations

from yieldest.economics.terms import (
    EveryKwhUsed,
    ExportEarnsNothing,
    NoDegradation,
    NoPrice,
    NoRealEscalation,
    OwnLabourFree,
)
from yieldest.report.sentences.words import sentence


@sentence.register
def _(finding: OwnLabourFree) -> str:
    return "Own labour costs nothing, for no wage is stated."


@sentence.register
def _(finding: NoPrice) -> str:
    return (
        "economics.price_per_kwh is not stated, so payback, present value and rate of return "
        "cannot be had."
    )


@sentence.register
def _(finding: EveryKwhUsed) -> str:
    return (
        "Every kWh replaces a bought one, for economics.self_consumption_share is not stated; a "
        "kWh that is sold or dumped is worth less."
    )


@sentence.register
def _(finding: ExportEarnsNothing) -> str:
    return (
        f"The {100 * finding.export_share:.0f} % of the energy that is not used earn nothing, for "
        "no export price is stated."
    )


@sentence.register
def _(finding: NoDegradation) -> str:
    return (
        "The output does not fall with age, for economics.degradation_per_year is not stated "
        "(large machines lost 1.6 % a year: Staffell & Green 2014)."
    )


@sentence.register
def _(finding: NoRealEscalation) -> str:
    return (
        "The price of a kWh rises with inflation and no faster, for "
        "economics.real_price_escalation_per_year is not stated."
    )
