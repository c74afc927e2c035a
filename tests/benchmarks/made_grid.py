"""Grids of winds that exist only block by block; workers of a cluster import this to make them."""

from __future__ import annotations

import dask.array
import numpy as np
import pandas as pd
import xarray as xr

from yieldest.maps.grid import Grid

HOURS = 8760
SIDE = 32
"""Cells along a block."""
BLOCK = np.ascontiguousarray(
    (6 * np.random.default_rng(5).weibull(2, (SIDE * SIDE, HOURS))).astype(np.float32).T
).reshape(HOURS, SIDE, SIDE)


def made_block(block_info: dict) -> np.ndarray:
    """Make the block at a place: the same winds, a little stronger from block to block."""
    number = sum(block_info[None]["chunk-location"])
    shape = block_info[None]["chunk-shape"]
    return BLOCK[:, : shape[1], : shape[2]] * np.float32(1 + number % 50 / 100)


def lazy_grid(cells: int) -> Grid:
    """Return a grid of about so many cells that exists only block by block."""
    across = SIDE if cells > SIDE * SIDE else min(SIDE, round(cells**0.5))
    down = -(-cells // across)
    chunks = ((HOURS,), _pieces(down), (across,))
    data = dask.array.map_blocks(
        made_block, chunks=chunks, dtype=np.float32, meta=np.empty((0, 0, 0), np.float32)
    )
    wind = xr.DataArray(
        data,
        dims=("time", "lat", "lon"),
        coords={"time": pd.date_range("2023-01-01", periods=HOURS, freq="h"), "height": 10.0},
        attrs={"standard_name": "wind_speed", "units": "m s-1"},
    )
    return Grid("made", xr.Dataset({"wind": wind}))


def _pieces(size: int) -> tuple[int, ...]:
    return (SIDE,) * (size // SIDE) + ((size % SIDE,) if size % SIDE else ())
