"""Whether a plan and the files it names are sound, without computing anything."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from yieldest.arrays import plainly
from yieldest.economics.bill_file import read_bill
from yieldest.economics.terms import economic_terms
from yieldest.files.text_file import Progress
from yieldest.hub.air import STANDARD_DENSITY_KG_M3
from yieldest.model.build_curve import curve_at_hub
from yieldest.model.wind_files import (
    read_plan_frequencies,
    read_plan_months,
    read_plan_record,
    read_reference,
)
from yieldest.plan import Plan
from yieldest.provenance import Finding


def check_plan(plan: Plan, progress: Progress | None = None) -> dict[str, Any]:
    """Read every file that a plan names.

    Parameters
    ----------
    plan : Plan
    progress : callable, optional
        Told now and then the share of the record read so far.

    Returns
    -------
    dict
        "plan": its path; "found": a line for each file; "recognised": what was found out about the
        record, how, or stated; "warnings".

    Raises
    ------
    InputError
        When a file cannot be used.
    """
    found: list[str] = []
    recognised: list[dict[str, str]] = []
    warnings: list[Finding | str] = []
    if plan.wind.record is not None:
        record = read_plan_record(plan, progress)
        found.append(f"{record.provenance.source}: {record.valid_speed_ms.size:,} speeds")
        recognised = [asdict(part) for part in record.found]
        warnings += record.provenance.warnings
    elif plan.wind.frequency_table is not None:
        table = read_plan_frequencies(plan)
        found.append(f"{table.provenance.source}: {table.share.size} {table.provenance.method}")
        warnings += table.provenance.warnings
    elif plan.wind.monthly_means is not None or plan.wind.monthly_means_ms is not None:
        months = read_plan_months(plan)
        found.append(f"{months.provenance.source}: {months.provenance.method}")
    if plan.wind.reference is not None:
        reference = read_reference(plan, plan.wind.reference)
        found.append(
            f"{reference.provenance.source}: {reference.valid_speed_ms.size:,} speeds as reference"
        )
        warnings += reference.provenance.warnings
    economic_terms(**plan.economics.model_dump())
    for build in plan.build:
        curve = curve_at_hub(plan, build, STANDARD_DENSITY_KG_M3)
        found.append(
            f"{curve.provenance.source}: power from {curve.cut_in_ms:.3g} to "
            f"{curve.cut_out_ms:.3g} m/s, highest {plainly(curve.power_w.max(), 4)} W"
        )
        warnings += curve.provenance.warnings
        if build.bill is not None:
            bill = read_bill(plan.file(build.bill), plan.currency)
            items = "1 item" if len(bill.items) == 1 else f"{len(bill.items)} items"
            found.append(f"{bill.provenance.source}: {items}")
            warnings += bill.provenance.warnings
            if plan.economics.item_life == "required":
                bill.require_lives()
    return {
        "plan": str(plan.path),
        "found": list(dict.fromkeys(found)),
        "recognised": recognised,
        "warnings": list(dict.fromkeys(warnings)),
    }
