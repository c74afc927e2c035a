"""What was read of a plan, file by file: shown when a plan is checked and nothing is estimated."""

from __future__ import annotations

from dataclasses import dataclass

from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.model.inputs import Inputs
from yieldest.model.site_wind import FileRead
from yieldest.plan.plausibility import questions_of_build, questions_of_plan
from yieldest.provenance import Finding, Findings
from yieldest.wind.read_options import Recognised


@dataclass(frozen=True)
class CurveRead(Finding):
    """From where to where a power curve gives power, and how much at most."""

    source: str
    cut_in_ms: float
    cut_out_ms: float
    highest_w: float


@dataclass(frozen=True)
class Checked:
    """A plan that is sound.

    Parameters
    ----------
    read : tuple of Finding
        One for each file.
    recognised : tuple of Recognised
        What was found out about the wind record, how, or stated.
    warnings : tuple of Finding
    """

    read: Findings
    recognised: tuple[Recognised, ...]
    warnings: Findings


def checked(inputs: Inputs) -> Checked:
    """Return what was read of a plan.

    Parameters
    ----------
    inputs : Inputs

    Raises
    ------
    InputError
        When a bill lacks what the economic terms ask for.
    """
    wind = inputs.wind
    read: list[Finding] = [*wind.files]
    warnings = [
        *questions_of_plan(inputs.plan),
        *(found for stage in wind.provenance for found in stage.warnings),
    ]
    for build in inputs.builds:
        curve = build.curve.at_density(STANDARD_DENSITY_KG_M3)
        read.append(
            CurveRead(
                curve.provenance.source,
                curve.cut_in_ms,
                curve.cut_out_ms,
                float(curve.power_w.max()),
            )
        )
        warnings += (*questions_of_build(build.settings), *curve.provenance.warnings)
        if build.bill is not None:
            read.append(FileRead(build.bill.provenance.source, len(build.bill.items), "items"))
            warnings += build.bill.provenance.warnings
            if inputs.plan.economics.item_life == "required":
                build.bill.require_lives()
    return Checked(
        read=tuple(dict.fromkeys(read)),
        recognised=() if wind.record is None else wind.record.found,
        warnings=tuple(dict.fromkeys(warnings)),
    )
