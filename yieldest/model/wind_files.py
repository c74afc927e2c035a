"""Read the wind files that a plan names, as the plan describes them."""

from __future__ import annotations

from dataclasses import replace

from yieldest.arrays import floats
from yieldest.files.text_file import Progress
from yieldest.plan import Plan, Reference, SecondAnemometer
from yieldest.provenance import Provenance
from yieldest.wind.read_wind import read_wind
from yieldest.wind.summary_tables import (
    FrequencyTable,
    MonthlyMeans,
    read_frequency_table,
    read_monthly_means,
)
from yieldest.wind.wind_record import WindRecord


def read_plan_record(plan: Plan, progress: Progress | None = None) -> WindRecord:
    """Read the wind record of a plan."""
    record = read_wind(
        plan.file(str(plan.wind.record)),
        height_m=plan.wind.measured_height_m,
        options=plan.wind,
        progress=progress,
    )
    if plan.wind.quality_control.frozen_hours and record.temperature_c is None:
        provenance = record.provenance
        warning = (
            "wind.quality_control.frozen_hours is stated, but the record has no temperature that "
            "was "
            "recognised, so frozen cups cannot be looked for; name its column in wind.columns."
        )
        return replace(
            record, provenance=replace(provenance, warnings=(*provenance.warnings, warning))
        )
    return record


def read_reference(plan: Plan, reference: Reference) -> WindRecord:
    """Read the long record near the site."""
    return read_wind(plan.file(reference.record), options=reference)


def read_neighbour(plan: Plan, name: str) -> WindRecord:
    """Read the record of another sensor near by, with columns and units of its own."""
    return read_wind(plan.file(name), time_zone=plan.wind.time_zone)


def read_also(plan: Plan, also: SecondAnemometer) -> WindRecord:
    """Read a second anemometer of the plan's record."""
    columns = plan.wind.columns.model_copy(update={"speed": also.column})
    return read_wind(
        plan.file(str(plan.wind.record)),
        height_m=also.height_m,
        options=plan.wind.model_copy(update={"columns": columns, "sensor": None}),
    )


def read_plan_frequencies(plan: Plan) -> FrequencyTable:
    """Read the frequency table of a plan."""
    return read_frequency_table(plan.file(str(plan.wind.frequency_table)), options=plan.wind)


def read_plan_months(plan: Plan) -> MonthlyMeans:
    """Read the twelve monthly means of a plan, from a file or from the plan itself."""
    stated = plan.wind.monthly_means_ms
    if stated is not None:
        return MonthlyMeans(floats(stated), Provenance("wind.monthly_means_ms", "monthly means"))
    return read_monthly_means(plan.file(str(plan.wind.monthly_means)), options=plan.wind)
