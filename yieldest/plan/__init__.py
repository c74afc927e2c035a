"""The plan file: TOML, typed and validated, with errors that name the key and the line."""

from yieldest.energy.array_losses import Array
from yieldest.plan.build_table import Build
from yieldest.plan.read_plan import load_plan, with_override
from yieldest.plan.site_table import Site
from yieldest.plan.uncertainty_table import (
    DEFAULT_DRAWS,
    FEWEST_DRAWS,
    MOST_DRAWS,
    LossDistributions,
    UncertaintyTable,
)
from yieldest.plan.whole_plan import Plan
from yieldest.plan.wind_table import Reference, SecondAnemometer

__all__ = [
    "DEFAULT_DRAWS",
    "FEWEST_DRAWS",
    "MOST_DRAWS",
    "Array",
    "Build",
    "LossDistributions",
    "Plan",
    "Reference",
    "SecondAnemometer",
    "Site",
    "UncertaintyTable",
    "load_plan",
    "with_override",
]
