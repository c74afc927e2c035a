"""What was read of a plan, file by file: shown when a plan is checked and nothing is estimated."""

from __future__ import annotations

from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.frozen import frozen_dataclass
from yieldest.model.estimate import estimate
from yieldest.model.inputs import Inputs
from yieldest.model.site_wind import FileRead
from yieldest.model.uncertain import correlations_of, lined_up
from yieldest.plan.plausibility import questions_of_build
from yieldest.provenance import Finding, Findings
from yieldest.uncertainty.propagation import mixing
from yieldest.wind.read_options import Recognised


class CurveRead(Finding):
    """From where to where a power curve gives power, and how much at most."""

    source: str
    cut_in_ms: float
    cut_out_ms: float
    highest_w: float


@frozen_dataclass
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
    """Return what was read of a plan, once an estimate of it was tried and is not refused.

    Parameters
    ----------
    inputs : Inputs

    Raises
    ------
    InputError
        When `estimate` would refuse the plan, such as a hub below the roof or correlations that
        contradict each other.
    """
    whole = estimate(inputs)
    if inputs.plan.uncertainty.draws:
        uncertain, _ = lined_up(inputs, whole.terms, whole.builds)
        mixing(uncertain, correlations_of(inputs.plan))
    warnings = [*whole.warnings]
    read: list[Finding] = [file for wind in inputs.winds.values() for file in wind.files]
    for build in whole.builds:
        curve = build.inputs.curve.at_density(STANDARD_DENSITY_KG_M3)
        read.append(
            CurveRead(
                curve.provenance.source,
                curve.cut_in_ms,
                curve.cut_out_ms,
                float(curve.power_w.max()),
            )
        )
        warnings += (*questions_of_build(build.inputs.settings), *curve.provenance.warnings)
        warnings += build.air.provenance.warnings
        if build.bill is not None:
            warnings += build.bill.provenance.warnings
            read.append(FileRead(build.bill.provenance.source, len(build.bill.items), "items"))
    records = [wind.record for wind in inputs.winds.values() if wind.record is not None]
    return Checked(
        read=tuple(dict.fromkeys(read)),
        recognised=tuple(dict.fromkeys(part for record in records for part in record.found)),
        warnings=tuple(dict.fromkeys(warnings)),
    )
