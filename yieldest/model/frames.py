"""An estimate as a table of pandas and as a dataset of xarray, for work of one's own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

import pandas as pd

from yieldest.files.whole_output import csv_text
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.quantities import Value, quantities_of

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


def figures_of(builds: Iterable[BuildEstimate]) -> list[Figures]:
    """Return the main figures of each build by key: energy, and money in the plan's currency."""
    return [
        {"build": build.name, **{each.key: each.value(build) for each in quantities_of("csv")}}
        for build in builds
    ]


def as_csv(rows: Sequence[Figures]) -> str:
    """Write rows as CSV, a blank for what cannot be had; no cell can act as a formula."""
    return csv_text(list(rows[0]), [list(row.values()) for row in rows])


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
