"""The table [economics]: the terms that money is computed on."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from yieldest.economics.terms import (
    ASSUMED_DISCOUNT_RATE,
    ASSUMED_INFLATION,
    ASSUMED_LIFE_YEARS,
    ASSUMED_MAINTENANCE_SHARE,
)
from yieldest.settings import Amount, Settings, Share, WholeShare, at_most_one, key

Years = Annotated[int, Field(ge=1, le=100)]


class Loan(Settings):
    """A loan paid back in equal yearly sums; its rate is nominal."""

    share: Annotated[
        Annotated[float, Field(gt=0, le=1)],
        key("share of the capital cost after the grant", 0.5, unit="share"),
    ]
    interest_rate: Annotated[
        WholeShare, key("nominal rate, as the bank states it", 0.06, unit="share a year")
    ]
    years: Annotated[Years, key("time over which it is paid back", 5, unit="years")]


class Money(Settings):
    """Money terms, real (in today's money) unless called nominal."""

    discount_rate: Annotated[
        Annotated[float, Field(gt=-0.5, le=1)] | None,
        key(
            "real: what your money would earn elsewhere, above inflation",
            0.03,
            unit="share a year",
            left_out=f"{ASSUMED_DISCOUNT_RATE:g} is assumed",
        ),
    ] = None
    life_years: Annotated[
        Years | None,
        key(
            "how long the build will last",
            15,
            unit="years",
            left_out=f"{ASSUMED_LIFE_YEARS} is assumed",
        ),
    ] = None
    price_per_kwh: Annotated[
        Amount | None,
        key(
            "what a bought kWh costs, and so what a used one is worth",
            0.30,
            unit="money per kWh",
            left_out="no payback, present value or rate of return",
        ),
    ] = None
    maintenance_share_per_year: Annotated[
        Share | None,
        key(
            "upkeep each year, as a share of the capital cost",
            0.02,
            unit="share a year",
            left_out=f"{ASSUMED_MAINTENANCE_SHARE:g} is assumed where the bill states none",
        ),
    ] = None
    wage_per_hour: Annotated[
        Amount | None,
        key(
            "what an hour of your own work is to count",
            12,
            unit="money per hour",
            left_out="your work costs nothing",
        ),
    ] = None
    self_consumption_share: Annotated[
        WholeShare | None,
        key(
            "share of the energy that replaces a bought kWh; the rest is sold",
            0.6,
            unit="share",
            left_out="all of it does",
        ),
    ] = None
    export_price_per_kwh: Annotated[
        Amount | None,
        key(
            "with self_consumption_share: what a sold kWh earns",
            0.08,
            unit="money per kWh",
            left_out="it earns nothing",
        ),
    ] = None
    real_price_escalation_per_year: Annotated[
        Annotated[float, Field(gt=-0.5, le=0.5)] | None,
        key(
            "real rise of both prices, above inflation",
            0.01,
            unit="share a year",
            left_out="they rise with inflation",
        ),
    ] = None
    degradation_per_year: Annotated[
        Share | None,
        key(
            "how much the output falls with age",
            0.01,
            unit="share a year",
            left_out="it does not fall",
        ),
    ] = None
    grant: Annotated[
        Amount | None, key("money given at the start", 500, unit="economics", left_out="none")
    ] = None
    grant_share: Annotated[
        WholeShare | None,
        key("or a share of the capital cost", 0.3, unit="share", left_out="none"),
    ] = None
    inflation: Annotated[
        Annotated[float, Field(gt=-0.5, le=1)] | None,
        key(
            "yearly rise of all prices; with it nominal figures are shown too",
            0.02,
            unit="share a year",
            left_out=f"{ASSUMED_INFLATION:g} for a loan, else no nominal figures",
        ),
    ] = None
    loan: Annotated[Loan | None, key("a loan for a part of it", left_out="none")] = None
    grid_carbon_kg_per_kwh: Annotated[
        Amount | None,
        key(
            "carbon dioxide of a bought kWh",
            0.35,
            unit="kg/kWh",
            left_out="no carbon payback",
        ),
    ] = None
    item_life: Annotated[
        Literal["required", "as the build"] | None,
        key(
            "whether every part of a bill must state its life, or else lasts as long as the build",
            "required",
            left_out="as the build",
        ),
    ] = None

    @model_validator(mode="after")
    def _terms_agree(self) -> Self:
        at_most_one(self, "grant", "grant_share")
        if self.export_price_per_kwh is not None and self.self_consumption_share is None:
            raise ValueError(
                "export_price_per_kwh needs self_consumption_share, the share of the energy that "
                "is not sold; "
                "state it too"
            )
        return self
