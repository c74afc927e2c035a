"""The plan file: TOML, typed and validated, with errors that name the key and the line."""

from yieldest.plan.build import Build
from yieldest.plan.doubt import DEFAULT_DRAWS, FEWEST_DRAWS, MOST_DRAWS, Doubt, LossSpreads
from yieldest.plan.joined import Array
from yieldest.plan.machine import LoadNotes, swept_area_m2
from yieldest.plan.read import load_plan
from yieldest.plan.record import Reference, SecondAnemometer
from yieldest.plan.site import Site
from yieldest.plan.whole import Plan

__all__ = [
    "DEFAULT_DRAWS",
    "FEWEST_DRAWS",
    "MOST_DRAWS",
    "Array",
    "Build",
    "Doubt",
    "LoadNotes",
    "LossSpreads",
    "Plan",
    "Reference",
    "SecondAnemometer",
    "Site",
    "load_plan",
    "swept_area_m2",
]
