"""The one kind of array that the formulas take and give: float64 of any shape."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def floats(values: npt.ArrayLike) -> FloatArray:
    """Return `values` as a float64 array, without copying one that is."""
    return np.asarray(values, dtype=np.float64)
