"""What the money terms and the measures found, in words."""

from __future__ import annotations

from yieldest.economics import evaluation, read_bill, terms
from yieldest.report.sentences.words import say, sentence

_LEFT_OUT = {
    "wage_per_hour": "Own labour costs nothing, for no wage is stated.",
    "price_per_kwh": (
        "economics.price_per_kwh is not stated, so payback, present value and rate of return "
        "cannot be had."
    ),
    "self_consumption_share": (
        "Every kWh replaces a bought one, for economics.self_consumption_share is not stated; a "
        "kWh that is sold or dumped is worth less."
    ),
    "degradation_per_year": (
        "The output does not fall with age, for economics.degradation_per_year is not stated "
        "(large machines lost 1.6 % a year: Staffell & Green 2014)."
    ),
    "real_price_escalation_per_year": (
        "The price of a kWh rises with inflation and no faster, for "
        "economics.real_price_escalation_per_year is not stated."
    ),
    "grid_carbon_kg_per_kwh": (
        "economics.grid_carbon_kg_per_kwh is not stated or is 0, so there is no carbon payback."
    ),
}


@sentence.register
def _(finding: terms.TermLeftOut) -> str:
    return _LEFT_OUT[finding.key]


@sentence.register
def _(finding: read_bill.BillColumnsNotUsed) -> str:
    return (
        f"{finding.file}: columns not used: {', '.join(map(repr, finding.headings))}; if one holds "
        "a scope, a life or hours of work, head it as docs/bill.md says."
    )


@sentence.register
def _(finding: evaluation.CapitalRecoveryDiffers) -> str:
    gap = finding.by_capital_recovery_per_kwh / finding.discounted_per_kwh - 1
    return (
        f"By the capital recovery factor a kWh costs {finding.by_capital_recovery_per_kwh:.3g}, "
        f"{100 * abs(gap):.1f} % {'more' if gap > 0 else 'less'} than the discounted "
        f"{finding.discounted_per_kwh:.3g}, for that form takes the first year's output and upkeep "
        "for every year's."
    )


@sentence.register
def _(finding: evaluation.NotPaidBack) -> str:
    rate, never = finding.discount_rate, "It is never"
    if rate is not None:
        never = f"At a real discount rate of {100 * rate:.1f} % it is not"
    return f"{never} paid back within its life of {finding.life_years} years."


@sentence.register
def _(finding: evaluation.NoSingleRateOfReturn) -> str:
    if finding.rates == 0:
        return "Rate of return: none, for no rate makes the net present value zero."
    return (
        f"Rate of return: none is given, for {finding.rates} rates make the net present value zero "
        "(the cash flow changes sign more than once)."
    )


say(
    {
        read_bill.EveryItemPerUnit: (
            "{0.file}: every item is needed per unit, for there is no scope column."
        ),
        read_bill.ItemsLastAsBuild: (
            "{0.file}: {0.items_without_life} of {0.items} items state no life and last as long as "
            "the build."
        ),
        read_bill.CarriageCountedOnce: (
            "{0.place}: {0.name!r} states no quantity and is counted once per {0.scope}."
        ),
        read_bill.PricesBeforeTax: (
            "{0.file}: the prices under {0.heading!r} are without tax, and no tax is counted; if "
            "you pay it, add a column 'tax (%)'."
        ),
        read_bill.SumApart: (
            "{0.place}: {0.name!r} says {0.stated:,.2f}, but what it sums comes to "
            "{0.computed:,.2f}; only the lines are counted. Is one missing or counted twice?"
        ),
        read_bill.PriceRisesWithNumber: (
            "{0.file}: the price of {0.item!r} goes up when more are bought; look at its price "
            "breaks."
        ),
        evaluation.EmbodiedNotStated: (
            "{0.items_without} of {0.items} items state no embodied {0.figure}, so the {0.figure} "
            "payback is at least what it says."
        ),
        terms.ExportEarnsNothing: (
            "The {0.export_share:.0f %} of the energy that is not used earn nothing, for no export "
            "price is stated."
        ),
    }
)
