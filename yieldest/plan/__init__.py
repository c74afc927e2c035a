"""The plan file: TOML, typed and validated, with errors that name the key and the line."""

from yieldest.plan.build_table import Build
from yieldest.plan.read_plan import load_plan, with_override
from yieldest.plan.whole_plan import Place, Plan

__all__ = ["Build", "Place", "Plan", "load_plan", "with_override"]
