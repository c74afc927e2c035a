"""The plan as a whole: one site, one wind source, one or more builds, one set of money terms."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Self

from pydantic import BaseModel, Field, model_validator

from yieldest.economics.terms import EconomicTerms
from yieldest.plan.build_table import Build
from yieldest.plan.site_table import Site
from yieldest.plan.uncertainty_table import UncertaintyTable
from yieldest.plan.wind_table import Wind
from yieldest.settings import NAMES_A_FILE, Settings, Words, key


class Plan(Settings):
    """One site, one wind source, one or more builds, one set of money terms."""

    title: Annotated[Words, key("title above the answer", "My yard")]
    currency: Annotated[
        Annotated[str, Field(pattern="^[A-Z]{3}$")], key("currency of all sums, by ISO 4217", "EUR")
    ]
    site: Annotated[Site, key("where the machine stands")] = Site()
    wind: Annotated[Wind, key("where the wind is known from")]
    build: Annotated[
        Annotated[list[Build], Field(min_length=1)],
        key("the ways to build that are compared, one table each"),
    ]
    economics: Annotated[EconomicTerms, key("the terms that money is computed on")] = (
        EconomicTerms()
    )
    uncertainty: Annotated[UncertaintyTable, key("how sure the inputs are")] = UncertaintyTable()
    path: Path

    @model_validator(mode="after")
    def _one_shear(self) -> Self:
        site = self.site
        if self.wind.other_heights and (
            site.terrain or site.roughness_length_m or site.shear_exponent
        ):
            raise ValueError(
                "wind.other_heights measures the shear; leave terrain, roughness_length_m and "
                "shear_exponent out of [site]"
            )
        return self

    @model_validator(mode="after")
    def _different_names(self) -> Self:
        names = [build.name for build in self.build]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise ValueError(f"two builds are called {twice!r}; give each a name of its own")
        return self

    def file(self, name: str) -> Path:
        """Return the path of a file that the plan names, relative to the plan's folder."""
        return self.path.parent / name

    def file_names(self) -> list[str]:
        """Return every file, folder or glob that the plan names, as it stands in the plan."""
        return list(dict.fromkeys(_file_names(self)))


def _file_names(section: BaseModel) -> Iterator[str]:
    for name, field in type(section).model_fields.items():
        value = getattr(section, name)
        parts = value if isinstance(value, list) else [value]
        if isinstance(value, str) and NAMES_A_FILE in str((field.metadata, field.annotation)):
            yield value
        for part in parts:
            if isinstance(part, BaseModel):
                yield from _file_names(part)
