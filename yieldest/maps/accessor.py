"""Maps from a dataset of xarray: `import yieldest.maps.accessor` gives it `.yieldest`."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import xarray as xr

from yieldest.maps.blocks import in_blocks
from yieldest.maps.grid import Grid
from yieldest.maps.make_maps import computed_maps, maps_of, recipe_for
from yieldest.plan import Plan, load_plan


@xr.register_dataset_accessor("yieldest")  # type: ignore[no-untyped-call]
class MapsOfDataset:
    """Maps of a gridded wind, by the attributes of the CF conventions (docs/scale.md).

    Parameters
    ----------
    data : xarray.Dataset
        Wind speeds or components over time, Weibull parameters, or how often each class of speeds
        blows.

    Examples
    --------
    >>> import xarray as xr
    >>> import yieldest.maps.accessor
    >>> speed = {"standard_name": "wind_speed", "units": "m s-1"}
    >>> winds = xr.Dataset({"ws": (("time", "x"), [[3.0, 6.0], [5.0, 8.0]], speed)})
    >>> winds.yieldest.wind(height_m=10)["mean_speed"].to_numpy()
    array([[4., 7.]], dtype=float32)
    """

    def __init__(self, data: xr.Dataset) -> None:
        self._data = data

    def wind(
        self, height_m: float | None = None, variables: Mapping[str, str] | None = None
    ) -> xr.Dataset:
        """Return the wind-speed distribution of every cell, by height.

        Parameters
        ----------
        height_m : float, optional
            Height above ground of variables that do not say theirs.
        variables : mapping of str to str, optional
            Role to the name of a variable, such as {"speed": "ws"}, where attributes do not tell.

        Returns
        -------
        xarray.Dataset
            Weibull shape and scale (m/s), share of calms, mean speed (m/s) and number of readings;
            lazy where this dataset is in chunks. An `InputError` when there is no wind in it, or
            its height is nowhere to be had.
        """
        return self._maps(None, height_m, variables)

    def estimate(
        self,
        plan: Plan | str | Path,
        height_m: float | None = None,
        variables: Mapping[str, str] | None = None,
    ) -> xr.Dataset:
        """Return what the builds of a plan make and cost in every cell, beside the wind.

        Parameters
        ----------
        plan : Plan, str or Path
            A plan, or the folder or file of one; its own wind is left aside.
        height_m, variables
            As for `wind`; the plan's measured height serves where no height is stated.

        Returns
        -------
        xarray.Dataset
            Besides the maps of `wind`, by build: mean speed at the hub (m/s), air density (kg/m3),
            net energy (kWh a year), capacity factor, cost per kWh and payback (years); lazy where
            this dataset is in chunks. An `InputError` as for `wind`, and when a file of the plan
            cannot be used.
        """
        stated = plan if isinstance(plan, Plan) else load_plan(Path(plan))
        return self._maps(stated, height_m, variables)

    def _maps(
        self, plan: Plan | None, height_m: float | None, variables: Mapping[str, str] | None
    ) -> xr.Dataset:
        source = self._data.encoding.get("source")
        grid = Grid(Path(source).name if source else "dataset", self._data, variables or {})
        recipe = recipe_for(grid, plan, height_m)
        if self._data.chunks:
            return maps_of(grid, recipe)
        return computed_maps(in_blocks(grid, recipe), recipe)
