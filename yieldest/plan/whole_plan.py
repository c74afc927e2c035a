"""The plan as a whole: places and their winds, the builds there, one set of money terms."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Self

from pydantic import AfterValidator, BaseModel, Discriminator, Field, Tag, model_validator

from yieldest.economics.terms import EconomicTerms
from yieldest.energy.demand import Demand
from yieldest.energy.self_consumption import Battery
from yieldest.frozen import frozen_dataclass
from yieldest.plan.build_table import Build
from yieldest.plan.site_table import Site
from yieldest.plan.uncertainty_table import UncertaintyTable
from yieldest.plan.wind_table import Wind
from yieldest.settings import NAMES_A_FILE, Settings, Words, key
from yieldest.units import SPELLINGS, UnitSystem

MOST_BUILDS = 50
"""That one plan compares: each takes time, and no screen holds more. Our choice."""
ONE, SEVERAL = "[site]", "[[site]]"
"""How one place and several are written; pydantic puts it behind "site" where a value is wrong."""


@frozen_dataclass
class Place:
    """Where builds stand, and what the wind there is known from.

    The wind is the place's own, or the one of the plan that all share; the mast is where it was
    measured, if that is another place of the plan.
    """

    site: Site
    wind: Wind
    mast: Site | None
    plan_path: Path

    @property
    def name(self) -> str:
        """What it is called; empty for the only one, if it has no name."""
        return self.site.name or ""

    @property
    def measured_here(self) -> bool | None:
        """Whether the wind was measured here, behind the same obstacles; None if not stated."""
        stated = self.wind.measured_at_hub_site
        return stated == self.name if isinstance(stated, str) else stated

    def file(self, name: str) -> Path:
        """Return the path of a file that the plan names, relative to the plan's folder."""
        return self.plan_path.parent / name


_UNITS = frozenset({"kwh", "mwh", "gwh", "kva", "rpm"}.union(*SPELLINGS.values()))


def _no_unit(code: str) -> str:
    if code.lower() in _UNITS:
        raise ValueError(f"{code} is a unit, no currency; write a code of ISO 4217, such as EUR")
    return code


Currency = Annotated[str, Field(pattern="^[A-Z]{3}$"), AfterValidator(_no_unit)]


class Plan(Settings):
    """One or more places, winds and builds, and one set of money terms."""

    title: Words = key("title above the answer", "My yard", default=...)
    currency: Currency = key("currency of all sums, by ISO 4217", "EUR", default=...)
    units: UnitSystem = key(
        "units on screens and page: imperial shows mph and ft; JSON stays SI",
        "imperial",
        default="metric",
    )
    site: Annotated[
        Annotated[Site, Tag(ONE)] | Annotated[list[Site], Tag(SEVERAL), Field(min_length=1)],
        Discriminator(lambda found: SEVERAL if isinstance(found, list) else ONE),
    ] = key("where the machine stands; several places as [[site]]", default=Site.unstated())
    wind: Wind | None = key(
        "where the wind is known from",
        left_out="**must be there**, unless every place has a wind of its own",
    )
    build: Annotated[list[Build], Field(min_length=1)] = key(
        "the ways to build that are compared, one table each", default=...
    )
    economics: EconomicTerms = key(
        "the terms that money is computed on", default=EconomicTerms.unstated()
    )
    demand: Demand | None = key(
        "what the house draws, to reckon hour by hour what is used of it, stored and sold",
        left_out="economics.self_consumption_share, or all is used",
    )
    battery: Battery | None = key("with demand: what stores the rest", left_out="none")
    uncertainty: UncertaintyTable = key(
        "how sure the inputs are", default=UncertaintyTable.unstated()
    )
    path: Path

    @property
    def sites(self) -> list[Site]:
        """The sites, as stated."""
        return self.site if isinstance(self.site, list) else [self.site]

    @property
    def places(self) -> list[Place]:
        """The sites, each with its wind."""
        found = []
        for site in self.sites:
            wind = site.wind or self.wind
            if wind is not None:
                masts = (one for one in self.sites if one.name == wind.measured_at_hub_site)
                mast = next((one for one in masts if one is not site and one.name), None)
                found.append(Place(site, wind, mast, self.path))
        return found

    def place_of(self, build: Build) -> Place:
        """Return where a build stands."""
        if len(self.sites) == 1:
            return self.places[0]
        return next(place for place in self.places if place.name == build.site)

    @model_validator(mode="after")
    def _one_share(self) -> Self:
        share = self.economics.states("self_consumption_share")
        if self.demand is not None and share:
            raise ValueError(
                "demand and economics.self_consumption_share exclude each other; keep one"
            )
        if self.demand is None and self.battery is not None:
            raise ValueError("battery needs demand, what the house draws; state it too")
        if self.demand is not None and self.demand.off_grid:
            if self.economics.states("export_price_per_kwh"):
                raise ValueError(
                    "demand.off_grid and economics.export_price_per_kwh exclude each other; "
                    "keep one"
                )
        elif self.demand is None and self.economics.states("export_price_per_kwh") and not share:
            raise ValueError(
                "economics.export_price_per_kwh needs self_consumption_share, the share of the "
                "energy that is not sold, or the table [demand]; state one of them"
            )
        return self

    @model_validator(mode="after")
    def _every_place_has_a_name(self) -> Self:
        names = [site.name for site in self.sites]
        if len(names) > 1 and None in names:
            raise ValueError(
                f"site.{names.index(None)} has no name, and with several places each needs one; "
                'add name = "roof", or what it is'
            )
        _refuse_twice("places", names)
        return self

    @model_validator(mode="after")
    def _builds_are_few_and_have_a_place(self) -> Self:
        names = [site.name for site in self.sites if site.name is not None]
        known = ", ".join(map(repr, names))
        if len(self.build) > MOST_BUILDS:
            raise ValueError(
                f"{len(self.build)} builds are more than one plan compares, {MOST_BUILDS} at most; "
                "part the plan, and give both to one `yieldest estimate`"
            )
        for build in self.build:
            if build.site is None and len(names) > 1:
                raise ValueError(
                    f"build {build.name!r} does not say where it stands; add site = and the name "
                    f"of a place, one of {known}"
                )
            if build.site is not None and build.site not in names:
                near = difflib.get_close_matches(build.site, names, n=1)
                guess = f"; did you mean {near[0]!r}?" if near else ""
                there = f"the places are {known}" if names else "[site] has no name; give it one"
                raise ValueError(
                    f"build {build.name!r} stands at {build.site!r}, but {there}{guess}"
                )
        return self

    @model_validator(mode="after")
    def _every_place_has_a_wind(self) -> Self:
        if self.wind is None and any(site.wind is None for site in self.sites):
            raise ValueError("the table [wind] is missing (where the wind is known from); add it")
        if self.wind is not None and all(site.wind is not None for site in self.sites):
            raise ValueError(
                "every place has a wind of its own, so that of [wind] goes nowhere; leave it out"
            )
        names = [site.name for site in self.sites]
        sharing = [site for site in self.sites if site.wind is None]
        for place in self.places:
            measured_at = place.wind.measured_at_hub_site
            if place.wind is not self.wind and isinstance(measured_at, str):
                raise ValueError(
                    "measured_at_hub_site in a wind of a place's own is true or false; the name of "
                    "a place belongs to the shared [wind]"
                )
            if isinstance(measured_at, str) and measured_at not in names:
                raise ValueError(
                    f"wind.measured_at_hub_site is {measured_at!r}, which is no place of this plan"
                )
            if place.wind is self.wind and measured_at is True and len(sharing) > 1:
                raise ValueError(
                    f"wind.measured_at_hub_site is true, but {len(sharing)} places share that "
                    "wind; write the name of the place where it was measured"
                )
            if place.wind.other_heights and place.site.height_law:
                raise ValueError(
                    "wind.other_heights measures the shear; leave terrain, roughness_length_m and "
                    "shear_exponent out of [site]"
                )
        laws = [site.height_law for site in sharing if site.height_law]
        named = self.wind is not None and isinstance(self.wind.measured_at_hub_site, str)
        if not named and any(law != laws[0] for law in laws):
            raise ValueError(
                "the places that share [wind] lie in different terrain, and the wind is carried "
                "from that of its mast; write wind.measured_at_hub_site = and the name of the "
                "place where it stood (one without a build will do)"
            )
        return self

    @model_validator(mode="after")
    def _different_names(self) -> Self:
        _refuse_twice("builds", [build.name for build in self.build])
        return self

    def file(self, name: str) -> Path:
        """Return the path of a file that the plan names, relative to the plan's folder."""
        return self.path.parent / name

    def file_names(self) -> list[str]:
        """Return every file, folder or glob that the plan names, as it stands in the plan."""
        return list(dict.fromkeys(_file_names(self)))


def _refuse_twice(what: str, names: Sequence[str | None]) -> None:
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise ValueError(f"two {what} are called {twice!r}; give each a name of its own")


def _file_names(section: BaseModel) -> Iterator[str]:
    for name, field in type(section).model_fields.items():
        value = getattr(section, name)
        parts = value if isinstance(value, list) else [value]
        if isinstance(value, str) and NAMES_A_FILE in str((field.metadata, field.annotation)):
            yield value
        for part in parts:
            if isinstance(part, BaseModel):
                yield from _file_names(part)
