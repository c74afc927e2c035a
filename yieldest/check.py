"""Whether a plan and the files it names are sound, without reckoning anything."""

from __future__ import annotations

from typing import Any

from yieldest.estimate import read_build_curve, read_plan_record
from yieldest.money.bill import read_bill
from yieldest.plan import Plan


def check_plan(plan: Plan) -> dict[str, Any]:
    """Read every file that a plan names.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    dict
        "plan": its path; "found": a line for each file; "warnings".

    Raises
    ------
    InputError
        When a file cannot be used.
    """
    found: list[str] = []
    warnings: list[str] = []
    if plan.wind.record is not None:
        record = read_plan_record(plan)
        found.append(
            f"{record.provenance.source}: {record.valid_speed_ms.size} speeds, "
            f"{record.provenance.method}"
        )
        warnings += record.provenance.warnings
    for build in plan.build:
        curve = read_build_curve(plan, build)
        found.append(
            f"{curve.provenance.source}: power from {curve.cut_in_ms:.3g} to "
            f"{curve.cut_out_ms:.3g} m/s, highest {curve.power_w.max():.4g} W"
        )
        warnings += curve.provenance.warnings
        if build.bill is not None:
            bill = read_bill(plan.file(build.bill))
            found.append(f"{bill.provenance.source}: {len(bill.items)} items")
    return {
        "plan": str(plan.path),
        "found": list(dict.fromkeys(found)),
        "warnings": list(dict.fromkeys(warnings)),
    }
