"""An estimate as a table of pandas and as a dataset of xarray, for work of one's own."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

import pandas as pd

from yieldest.files.whole_output import csv_text
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.quantities import ECONOMIC_MEASURES

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
_OF_ENERGY: dict[str, tuple[str, str, Callable[[BuildEstimate], float | None]]] = {
    # key in the results for machines: unit by UDUNITS, long name, where it stands
    "count": ("1", "number of machines", lambda b: b.energy.count),
    "hub_height_m": ("m", "height of the hub above ground", lambda b: b.distribution.height_m),
    "hub_mean_speed_ms": (
        "m s-1",
        "mean wind speed at the hub",
        lambda b: b.distribution.mean_speed_ms,
    ),
    "air_density_kg_m3": (
        "kg m-3",
        "mean air density at the hub",
        lambda b: b.air.density_kg_m3,
    ),
    "rated_power_w": ("W", "rated power of one machine", lambda b: b.curve.rated_power_w),
    "gross_kwh_per_year": (
        "kWh",
        "energy of a year before losses, all machines",
        lambda b: b.energy.gross_kwh,
    ),
    "net_kwh_per_year": (
        "kWh",
        "energy of a year after losses, all machines",
        lambda b: b.energy.net_kwh,
    ),
    "inter_annual_low_net_kwh": (
        "kWh",
        "net energy of a calm year",
        lambda b: b.energy.inter_annual_low_kwh,
    ),
    "inter_annual_high_net_kwh": (
        "kWh",
        "net energy of a windy year",
        lambda b: b.energy.inter_annual_high_kwh,
    ),
    "capacity_factor": (
        "1",
        "net energy over rated power all year round",
        lambda b: b.energy.capacity_factor,
    ),
}
_QUANTITIES = {
    **_OF_ENERGY,
    **{
        measure.key: (_UDUNITS.get(measure.unit, measure.unit), measure.name, measure.value)
        for measure in ECONOMIC_MEASURES
    },
}
MAIN = (
    *("capital_cost", "cost_per_kwh", "payback_years", "discounted_payback_years"),
    *("net_present_value", "internal_rate_of_return"),
)
"""The measures of money of a short table."""

Row = dict[str, str | int | float | None]


def rows_of(builds: Iterable[BuildEstimate]) -> list[Row]:
    """Return the main figures of each build: energy, and money in the plan's currency."""
    return [
        {
            "build": build.name,
            "count": build.energy.count,
            "net_kwh_per_year": build.energy.net_kwh,
            **{key: _QUANTITIES[key][2](build) for key in MAIN},
        }
        for build in builds
    ]


def as_csv(rows: Sequence[Row]) -> str:
    """Write rows as CSV, a blank for what cannot be had; no cell can act as a formula."""
    return csv_text(list(rows[0]), [list(row.values()) for row in rows])


def frame_of(builds: Sequence[BuildEstimate]) -> pd.DataFrame:
    """Return a row for each build and a column for each figure; NaN where one cannot be had."""
    return pd.DataFrame(
        {
            key: pd.Series(
                [value(build) for build in builds],
                dtype="int64" if key == "count" else "float64",
            ).to_numpy()
            for key, (_, _, value) in _QUANTITIES.items()
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
    variables = {
        key: (
            "build",
            frame[key].to_numpy(),
            {"units": unit.format(currency=currency), "long_name": name},
        )
        for key, (unit, name, _) in _QUANTITIES.items()
    }
    return xr.Dataset(
        variables,
        coords={"build": frame.index.to_numpy(dtype=object).astype(str)},
        attrs=dict(attributes),
    )
