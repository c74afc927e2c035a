"""An estimate as a table of pandas and as a dataset of xarray, for work of one's own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from yieldest import __version__
from yieldest.model.estimate import Estimate
from yieldest.report.estimate_json import as_dictionary
from yieldest.report.measure_rows import ECONOMIC_MEASURES

if TYPE_CHECKING:
    import xarray as xr

_UDUNITS = {
    "": "1",
    "hours": "hour",
    "years": "year",
    "share per year": "1",
    "{currency}/hour": "{currency} hour-1",
    "{currency}/kWh": "{currency} kWh-1",
    "{currency}/year": "{currency} year-1",
}
_QUANTITIES = {
    # key in the results for machines: unit by UDUNITS, long name
    "count": ("1", "number of machines"),
    "hub_height_m": ("m", "height of the hub above ground"),
    "hub_mean_speed_ms": ("m s-1", "mean wind speed at the hub"),
    "air_density_kg_m3": ("kg m-3", "mean air density at the hub"),
    "rated_power_w": ("W", "rated power of one machine"),
    "gross_kwh_per_year": ("kWh", "energy of a year before losses, all machines"),
    "net_kwh_per_year": ("kWh", "energy of a year after losses, all machines"),
    "inter_annual_low_net_kwh": ("kWh", "net energy of a calm year"),
    "inter_annual_high_net_kwh": ("kWh", "net energy of a windy year"),
    "capacity_factor": ("1", "net energy over rated power all year round"),
    **{
        measure.key: (_UDUNITS.get(measure.unit, measure.unit), measure.name)
        for measure in ECONOMIC_MEASURES
    },
}


def frame_of(estimate: Estimate) -> pd.DataFrame:
    """Return a row for each build and a column for each figure; NaN where one cannot be had."""
    result = as_dictionary(estimate)
    builds = pd.Index([build["name"] for build in result["builds"]], name="build")
    columns: dict[str, Any] = {
        key: pd.Series([build[key] for build in result["builds"]], dtype=_kind(key)).to_numpy()
        for key in _QUANTITIES
    }
    return pd.DataFrame(columns, index=builds)


def _kind(key: str) -> str:
    return "int64" if key == "count" else "float64"


def dataset_of(estimate: Estimate) -> xr.Dataset:
    """Return a variable for each figure along "build", with unit and long name."""
    import xarray as xr  # noqa: PLC0415 - it is slow to load, and few ask for it

    frame = frame_of(estimate)
    variables = {
        key: (
            "build",
            frame[key].to_numpy(),
            {"units": unit.format(currency=estimate.currency), "long_name": name},
        )
        for key, (unit, name) in _QUANTITIES.items()
    }
    return xr.Dataset(
        variables,
        coords={"build": frame.index.to_numpy(dtype=object).astype(str)},
        attrs={
            "title": estimate.title,
            "source": f"yieldest {__version__}: {estimate.distribution.provenance.source}",
            "comment": " ".join(str(found) for found in (*estimate.assumed, *estimate.warnings)),
        },
    )
