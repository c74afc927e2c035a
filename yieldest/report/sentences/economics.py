"""What the money terms and the measures found, in words."""

from __future__ import annotations

from yieldest.economics.evaluation import (
    CapitalRecoveryDiffers,
    EmbodiedNotStated,
    NeverPaidBack,
    NoGridCarbon,
    NoRateOfReturn,
    NotPaidBackDiscounted,
    SeveralRatesOfReturn,
)
from yieldest.economics.read_bill import (
    BillColumnsNotUsed,
    EveryItemPerUnit,
    ItemsLastAsBuild,
    PriceRisesWithNumber,
)
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
def _(_: OwnLabourFree) -> str:
    return "Own labour costs nothing, for no wage is stated."


@sentence.register
def _(_: NoPrice) -> str:
    return (
        "economics.price_per_kwh is not stated, so payback, present value and rate of return "
        "cannot be had."
    )


@sentence.register
def _(_: EveryKwhUsed) -> str:
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
def _(_: NoDegradation) -> str:
    return (
        "The output does not fall with age, for economics.degradation_per_year is not stated "
        "(large machines lost 1.6 % a year: Staffell & Green 2014)."
    )


@sentence.register
def _(_: NoRealEscalation) -> str:
    return (
        "The price of a kWh rises with inflation and no faster, for "
        "economics.real_price_escalation_per_year is not stated."
    )


@sentence.register
def _(finding: EveryItemPerUnit) -> str:
    return f"{finding.file}: every item is needed per unit, for there is no scope column."


@sentence.register
def _(finding: ItemsLastAsBuild) -> str:
    return (
        f"{finding.file}: {finding.items_without_life} of {finding.items} items state no life and "
        "last as long as the build."
    )


@sentence.register
def _(finding: BillColumnsNotUsed) -> str:
    return (
        f"{finding.file}: columns not used: {', '.join(map(repr, finding.headings))}; if one holds "
        "a scope, a life or hours of work, head it as docs/bill.md says."
    )


@sentence.register
def _(finding: PriceRisesWithNumber) -> str:
    return (
        f"{finding.file}: the price of {finding.item!r} goes up when more are bought; look at its "
        "price breaks."
    )


@sentence.register
def _(finding: CapitalRecoveryDiffers) -> str:
    gap = finding.by_capital_recovery_per_kwh / finding.discounted_per_kwh - 1
    return (
        f"By the capital recovery factor a kWh costs {finding.by_capital_recovery_per_kwh:.3g}, "
        f"{100 * abs(gap):.1f} % {'more' if gap > 0 else 'less'} than the discounted "
        f"{finding.discounted_per_kwh:.3g}, for that form takes the first year's output and upkeep "
        "for every year's."
    )


@sentence.register
def _(_: NoRateOfReturn) -> str:
    return "No rate of return makes the present value zero, so there is none."


@sentence.register
def _(finding: SeveralRatesOfReturn) -> str:
    return (
        f"{finding.rates} rates of return make the present value zero (the flow changes sign more "
        "than once), so none is given."
    )


@sentence.register
def _(finding: NeverPaidBack) -> str:
    return f"It is never paid back within its life of {finding.life_years} years."


@sentence.register
def _(finding: NotPaidBackDiscounted) -> str:
    return (
        f"At a real discount rate of {100 * finding.discount_rate:.1f} % it is not paid back "
        f"within its life of {finding.life_years} years."
    )


@sentence.register
def _(finding: EmbodiedNotStated) -> str:
    return (
        f"{finding.items_without} of {finding.items} items state no embodied {finding.figure}, so "
        f"the {finding.figure} payback is at least what it says."
    )


@sentence.register
def _(_: NoGridCarbon) -> str:
    return "economics.grid_carbon_kg_per_kwh is not stated or is 0, so there is no carbon payback."
