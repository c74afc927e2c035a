"""The array functions of one site, applied to every cell of a grid, lazily where it is lazy."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import xarray as xr

from yieldest.arrays import FloatArray

CELLS_AT_ONCE = 2**13
"""A power curve and a life of years multiply what a cell takes; so many fit into the cache."""


def on_cells(
    function: Callable[..., Any],
    *arrays: xr.DataArray | float,
    core: Sequence[str] = (),
    outputs: int = 1,
) -> Any:  # noqa: ANN401  (one array or several)
    """Apply an array function to every cell; it returns as many arrays as `outputs`.

    It takes one array for each of `arrays`, the dimensions in `core` last, and works along those.
    Arrays that have a dimension in `core` have all of them.
    """
    return xr.apply_ufunc(
        function,
        *arrays,
        input_core_dims=[
            [name for name in core if isinstance(array, xr.DataArray) and name in array.dims]
            for array in arrays
        ],
        output_core_dims=[[]] * outputs,
        dask="parallelized",
        output_dtypes=[np.float64] * outputs,
    )


def by_parts(
    function: Callable[..., tuple[FloatArray, ...]], *arrays: FloatArray
) -> tuple[FloatArray, ...]:
    """Call a function on some thousand cells at a time, so that its intermediate arrays stay small.

    It takes arrays of shape (n,) to a tuple of such; `arrays` broadcast, and so do the results.
    """
    flat = [each.ravel() for each in np.broadcast_arrays(*arrays)]
    shape = np.broadcast_shapes(*map(np.shape, arrays))
    parts = [
        function(*(each[start : start + CELLS_AT_ONCE] for each in flat))
        for start in range(0, max(1, flat[0].size), CELLS_AT_ONCE)
    ]
    return tuple(np.concatenate(each).reshape(shape) for each in zip(*parts, strict=True))
