"""An estimate as a table of pandas and as a dataset of xarray, for work of one's own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from yieldest.files.whole_output import write_table
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.quantities import Value, drawn_as, quantities_of
from yieldest.uncertainty.result import Uncertainty

if TYPE_CHECKING:
    import xarray as xr

_UDUNITS = {
    "": "1",
    "m/s": "m s-1",
    "kg/m3": "kg m-3",
    "kWh/year": "kWh year-1",
    "hours": "hour",
    "years": "year",
    "share": "1",
    "share per year": "year-1",
    "{currency}/hour": "{currency} hour-1",
    "{currency}/kWh": "{currency} kWh-1",
    "{currency}/year": "{currency} year-1",
}
_DTYPES = {"d": "int64", "s": "object"}
"""Of the columns, by the form of their figures."""
Figures = dict[str, Value]
_RANGED = (
    *("net_kwh_per_year", "cost_per_kwh", "payback_years", "discounted_payback_years"),
    "net_present_value",
)
"""Figures with a range among the results that are written."""


def figures_of(builds: Iterable[BuildEstimate]) -> list[Figures]:
    """Return the main figures of each build by key: energy, and money in the plan's currency."""
    return [
        {"build": build.name, **{each.key: each.value(build) for each in quantities_of("csv")}}
        for build in builds
    ]


def results_of(
    builds: Sequence[BuildEstimate], currency: str, uncertainty: Uncertainty | None
) -> list[Figures]:
    """Return the main figures of each build with their currency and their 90 % ranges, by key.

    The ends of a range are None without draws, and where a figure is never reached.
    """
    sure = [None] * len(builds) if uncertainty is None else uncertainty.builds
    rows = []
    for row, draws in zip(figures_of(builds), sure, strict=True):
        whole: Figures = {"build": row.pop("build"), "currency": currency}
        for key, value in row.items():
            whole[key] = value
            if key in _RANGED:
                found = None if draws is None else draws.ranges.get(drawn_as(key))
                whole[f"{key}_range_low"] = None if found is None else found.low
                whole[f"{key}_range_high"] = None if found is None else found.high
        pays = None if draws is None else draws.probability_that_it_pays
        rows.append({**whole, "probability_that_it_pays": pays})
    return rows


def write_rows(path: Path, rows: Sequence[Figures]) -> None:
    """Write rows as CSV, or as a spreadsheet where the name ends in .xlsx; blank where None."""
    write_table(path, list(rows[0]), [list(row.values()) for row in rows])


def frame_of(builds: Sequence[BuildEstimate]) -> pd.DataFrame:
    """Return a row for each build and a column for each figure; NaN where one cannot be had."""
    return pd.DataFrame(
        {
            each.key: pd.Series(
                [each.value(build) for build in builds],
                dtype=_DTYPES.get(each.form, "float64"),
            ).to_numpy()
            for each in quantities_of("frame")
        },
        index=pd.Index([build.name for build in builds], name="build"),
    )


def dataset_of(
    builds: Sequence[BuildEstimate], currency: str, attributes: Mapping[str, str]
) -> xr.Dataset:
    """Return a variable for each figure along "build", with unit and long name.

    Parameters
    ----------
    builds : sequence of BuildEstimate
    currency : str
    attributes : mapping of str to str
        Of the dataset.
    """
    import xarray as xr  # noqa: PLC0415 - it is slow to load, and few ask for it

    frame = frame_of(builds)
    variables = {}
    for each in quantities_of("frame"):
        if each.form == "s":
            continue
        unit = _UDUNITS.get(each.unit, each.unit).format(currency=currency)
        described = {"units": unit, "long_name": each.meaning or each.words}
        variables[each.key] = ("build", frame[each.key].to_numpy(), described)
    return xr.Dataset(
        variables,
        coords={
            "build": frame.index.to_numpy(dtype=object).astype(str),
            "site": ("build", frame["site"].fillna("").to_numpy(dtype=object).astype(str)),
        },
        attrs=dict(attributes),
    )
