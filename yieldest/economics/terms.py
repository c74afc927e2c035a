"""The terms that money is computed on, and what is assumed where nobody states them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from yieldest.errors import InputError
from yieldest.provenance import Provenance

ASSUMED_DISCOUNT_RATE = 0.05
ASSUMED_LIFE_YEARS = 15
ASSUMED_MAINTENANCE_SHARE = 0.02
"""Defaults of the money terms (common practice, no source)."""
ASSUMED_INFLATION = 0.02
"""What the large central banks aim at; needed only to turn a loan into today's money."""


@dataclass(frozen=True)
class Loan:
    """A loan paid back in equal yearly sums, in the money of their year (nominal).

    Parameters
    ----------
    share : float
        Of the capital cost after the grant.
    interest_rate : float
        Nominal, per year.
    years : int
    """

    share: float
    interest_rate: float
    years: int


@dataclass(frozen=True)
class EconomicTerms:
    """The terms that money is computed on: real (today's money) unless called nominal.

    Parameters
    ----------
    discount_rate : float
        Real, per year.
    life_years : int
    price_per_kwh : float or None
        What a bought kWh costs, and so what a used one saves; None leaves payback, present value
        and rate of return out.
    maintenance_share_per_year : float
        Of the capital cost.
    maintenance_share_stated : bool
        A stated share comes on top of what a bill states; the assumed one only where it states
        none.
    wage_per_hour : float
        For own labour; 0 counts none.
    self_consumption_share : float
        Share of the energy that replaces bought kWh; the rest is exported.
    export_price_per_kwh : float
    real_price_escalation_per_year, degradation_per_year : float
        Real rise of both prices, and fall of the output, each from the second year on.
    grant, grant_share : float
        Money given in year 0: a sum, or a share of the capital cost.
    inflation : float or None
        None leaves the nominal figures out.
    loan : Loan or None
    grid_carbon_kg_per_kwh : float or None
        Of a bought kWh.
    item_lives_required : bool
        Whether every item of a bill must state its life.
    provenance : Provenance
    """

    discount_rate: float
    life_years: int
    price_per_kwh: float | None
    maintenance_share_per_year: float
    maintenance_share_stated: bool
    wage_per_hour: float
    self_consumption_share: float
    export_price_per_kwh: float
    real_price_escalation_per_year: float
    degradation_per_year: float
    grant: float
    grant_share: float
    inflation: float | None
    loan: Loan | None
    grid_carbon_kg_per_kwh: float | None
    item_lives_required: bool
    provenance: Provenance

    @property
    def nominal_discount_rate(self) -> float | None:
        """(1 + real rate)(1 + inflation) - 1, or None without inflation (Fisher 1930)."""
        if self.inflation is None:
            return None
        return (1 + self.discount_rate) * (1 + self.inflation) - 1


def economic_terms(
    *,
    discount_rate: float | None = None,
    life_years: int | None = None,
    price_per_kwh: float | None = None,
    maintenance_share_per_year: float | None = None,
    wage_per_hour: float | None = None,
    self_consumption_share: float | None = None,
    export_price_per_kwh: float | None = None,
    real_price_escalation_per_year: float | None = None,
    degradation_per_year: float | None = None,
    grant: float | None = None,
    grant_share: float | None = None,
    inflation: float | None = None,
    loan: Mapping[str, float] | None = None,
    grid_carbon_kg_per_kwh: float | None = None,
    item_life: str | None = None,
) -> EconomicTerms:
    """Fill in what the plan leaves open, and say so.

    Raises
    ------
    InputError
        When a loan runs longer than the build.
    """
    assumed = []
    warnings = []
    if discount_rate is None:
        discount_rate = ASSUMED_DISCOUNT_RATE
        assumed.append("Real discount rate 5 % a year (common practice, no source).")
    if life_years is None:
        life_years = ASSUMED_LIFE_YEARS
        assumed.append("Life 15 years (common practice for self-built machines, no source).")
    maintenance_share_stated = maintenance_share_per_year is not None
    if maintenance_share_per_year is None:
        maintenance_share_per_year = ASSUMED_MAINTENANCE_SHARE
        assumed.append(
            "Upkeep 2 % of the capital cost a year where the bill states none (common practice, no "
            "source)."
        )
    if wage_per_hour is None:
        wage_per_hour = 0.0
        assumed.append("Own labour costs nothing, for no wage is stated.")
    if price_per_kwh is None:
        warnings.append(
            "economics.price_per_kwh is not stated, so payback, present value and rate of return "
            "cannot be had."
        )
    elif self_consumption_share is None:
        assumed.append(
            "Every kWh replaces a bought one, for economics.self_consumption_share is not stated; "
            "a kWh that is "
            "sold or dumped is worth less."
        )
    elif self_consumption_share < 1 and export_price_per_kwh is None:
        assumed.append(
            f"The {100 * (1 - self_consumption_share):.0f} % of the energy that is not used earn "
            "nothing, for "
            "no export price is stated."
        )
    if degradation_per_year is None:
        assumed.append(
            "The output does not fall with age, for economics.degradation_per_year is not stated "
            "(large machines lost 1.6 % a year: Staffell & Green 2014)."
        )
    if price_per_kwh is not None and real_price_escalation_per_year is None:
        assumed.append(
            "The price of a kWh rises with inflation and no faster, for "
            "economics.real_price_escalation_per_year "
            "is not stated."
        )
    if loan is not None and loan["years"] > life_years:
        raise InputError(
            f"economics.loan.years is {loan['years']:g}, longer than the life of {life_years} "
            "years; "
            "shorten the loan."
        )
    if loan is not None and inflation is None:
        inflation = ASSUMED_INFLATION
        assumed.append(
            "Inflation 2 % a year (what large central banks aim at), to bring the loan's payments "
            "into today's money."
        )
    return EconomicTerms(
        discount_rate=discount_rate,
        life_years=life_years,
        price_per_kwh=price_per_kwh,
        maintenance_share_per_year=maintenance_share_per_year,
        maintenance_share_stated=maintenance_share_stated,
        wage_per_hour=wage_per_hour,
        self_consumption_share=1.0 if self_consumption_share is None else self_consumption_share,
        export_price_per_kwh=export_price_per_kwh or 0.0,
        real_price_escalation_per_year=real_price_escalation_per_year or 0.0,
        degradation_per_year=degradation_per_year or 0.0,
        grant=grant or 0.0,
        grant_share=grant_share or 0.0,
        inflation=inflation,
        loan=None
        if loan is None
        else Loan(loan["share"], loan["interest_rate"], int(loan["years"])),
        grid_carbon_kg_per_kwh=grid_carbon_kg_per_kwh,
        item_lives_required=item_life == "required",
        provenance=Provenance(
            "economics",
            "real terms, sums at year ends (Short, Packey & Holt 1995)",
            tuple(assumed),
            tuple(warnings),
        ),
    )
