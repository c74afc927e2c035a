"""The table [economics]: the terms that money is computed on, and what is assumed of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal, Self, TypeVar

import numpy as np
from pydantic import Field, model_validator

from yieldest.defaults import DISCOUNT_RATE, INFLATION, LIFE_YEARS, MAINTENANCE_SHARE, Assumed
from yieldest.provenance import Finding, Provenance
from yieldest.settings import Amount, Settings, Share, WholeShare, at_most_one, key

Years = Annotated[int, Field(ge=1, le=100)]
Rate = Annotated[float, Field(gt=-0.5, le=1)]


class TermLeftOut(Finding):
    """A key of the terms is not stated, and the simplest case holds or a measure cannot be had."""

    key: str


class ExportEarnsNothing(Finding):
    """No export price is stated, so the share that is not used earns nothing."""

    export_share: float
    key: str = "export_price_per_kwh"


class Loan(Settings):
    """A loan paid back in equal yearly sums; its rate is nominal."""

    share: Annotated[float, Field(gt=0, le=1)] = key(
        "share of the capital cost after the grant", 0.5, unit="share", default=...
    )
    interest_rate: WholeShare = key(
        "nominal rate, as the bank states it", 0.06, unit="share a year", default=...
    )
    years: Years = key("time over which it is paid back", 5, unit="years", default=...)


class EconomicTerms(Settings):
    """Money terms, real (in today's money) unless called nominal."""

    # fmt: off
    discount_rate: Rate = key(
        "real: what your money would earn elsewhere, above inflation", 0.03, unit="share a year",
        left_out=f"{DISCOUNT_RATE.value:g} is assumed", default=DISCOUNT_RATE.value)
    life_years: Years = key(
        "how long the build will last", 15, unit="years",
        left_out=f"{LIFE_YEARS.value:g} is assumed", default=int(LIFE_YEARS.value))
    price_per_kwh: Amount | None = key(
        "what a bought kWh costs, and so what a used one is worth", 0.30, unit="money per kWh",
        left_out="no payback, present value or rate of return")
    maintenance_share_per_year: Share = key(
        "upkeep each year, as a share of the capital cost", 0.02, unit="share a year",
        left_out=f"{MAINTENANCE_SHARE.value:g} is assumed where the bill states none",
        default=MAINTENANCE_SHARE.value)
    wage_per_hour: Amount = key(
        "what an hour of your own work is to count", 12, unit="money per hour",
        left_out="your work costs nothing", default=0.0)
    self_consumption_share: WholeShare = key(
        "share of the energy that replaces a bought kWh; the rest is sold", 0.6, unit="share",
        left_out="all of it does", default=1.0)
    export_price_per_kwh: Amount = key(
        "with self_consumption_share: what a sold kWh earns", 0.08, unit="money per kWh",
        left_out="it earns nothing", default=0.0)
    real_price_escalation_per_year: Annotated[float, Field(gt=-0.5, le=0.5)] = key(
        "real rise of both prices, above inflation", 0.01, unit="share a year",
        left_out="they rise with inflation", default=0.0)
    degradation_per_year: Share = key(
        "how much the output falls with age", 0.01, unit="share a year",
        left_out="it does not fall", default=0.0)
    grant: Amount = key(
        "money given at the start", 500, unit="money", left_out="none", default=0.0)
    grant_share: WholeShare = key(
        "or a share of the capital cost", 0.3, unit="share", left_out="none", default=0.0)
    inflation: Rate | None = key(
        "yearly rise of all prices; with it nominal figures are shown too", 0.02,
        unit="share a year", left_out=f"{INFLATION.value:g} for a loan, else no nominal figures")
    loan: Loan | None = key("a loan for a part of it", left_out="none")
    grid_carbon_kg_per_kwh: Amount | None = key(
        "carbon dioxide of a bought kWh", 0.35, unit="kg/kWh", left_out="no carbon payback")
    item_life: Literal["required", "as the build"] = key(
        "whether every part of a bill must state its life, or else lasts as long as the build",
        "required", default="as the build")
    # fmt: on

    @model_validator(mode="after")
    def _terms_agree(self) -> Self:
        at_most_one(self, "grant", "grant_share")
        if self.loan is not None and self.loan.years > self.life_years:
            raise ValueError(
                f"loan.years is {self.loan.years}, longer than the life of "
                f"{self.life_years} years; shorten the loan"
            )
        return self

    def states(self, name: str) -> bool:
        """Whether a key is stated, rather than taken by default."""
        return name in self.model_fields_set

    @property
    def price_inflation(self) -> float | None:
        """Stated inflation, or the usual one where a loan needs it; None leaves nominal figures."""
        if self.inflation is None and self.loan is not None:
            return INFLATION.value
        return self.inflation

    @property
    def nominal_discount_rate(self) -> float | None:
        """(1 + real rate)(1 + inflation) - 1, or None without inflation (Fisher 1930)."""
        if self.price_inflation is None:
            return None
        return (1 + self.discount_rate) * (1 + self.price_inflation) - 1

    @property
    def provenance(self) -> Provenance:
        """How money is computed, and what of the terms was taken for granted."""
        priced = self.price_per_kwh is not None
        matters = {
            "wage_per_hour": True,
            "self_consumption_share": priced,
            "degradation_per_year": True,
            "real_price_escalation_per_year": priced,
        }
        assumed: list[Finding] = [
            Assumed(default)
            for default in (DISCOUNT_RATE, LIFE_YEARS, MAINTENANCE_SHARE)
            if not self.states(default.key.removeprefix("economics."))
        ]
        for term, missed in matters.items():
            if missed and not self.states(term):
                assumed.append(TermLeftOut(term))
        if priced and self.self_consumption_share < 1 and not self.states("export_price_per_kwh"):
            assumed.append(ExportEarnsNothing(1 - self.self_consumption_share))
        if self.loan is not None and self.inflation is None:
            assumed.append(Assumed(INFLATION))
        return Provenance(
            "economics",
            "real terms (today's money), sums at year ends (Short, Packey & Holt 1995)",
            tuple(assumed),
            () if priced else (TermLeftOut("price_per_kwh"),),
        )


Table = TypeVar("Table", bound=Settings)


def terms_of_all(variants: Sequence[Table]) -> Table:
    """Return terms in which what differs between n variants is an array, shape (n,), for formulas.

    All or none of the variants state a key that may be left out.
    """
    first, different = variants[0], dict[str, object]()
    for name in type(first).model_fields:
        values = [getattr(each, name) for each in variants]
        if any(value != values[0] for value in values):
            nested = isinstance(values[0], Settings)
            different[name] = terms_of_all(values) if nested else np.array(values)
    return first.model_copy(update=different)
