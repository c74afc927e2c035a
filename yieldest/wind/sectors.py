"""Wind direction sectors."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from yieldest.arrays import floats


def sector_index(direction_deg: npt.ArrayLike, sectors: int) -> npt.NDArray[np.int64]:
    """Return the sector of each direction.

    Parameters
    ----------
    direction_deg : array_like, any shape
        Direction the wind comes from, clockwise from north.
    sectors : int
        How many equal sectors; number 0 is centred on north.

    Returns
    -------
    ndarray of int, shape of `direction_deg`
        From 0 to `sectors` - 1; -1 where the direction is NaN.
    """
    direction = floats(direction_deg)
    known = np.isfinite(direction)
    index = np.floor(np.where(known, direction, 0.0) * sectors / 360 + 0.5).astype(np.int64)
    return np.where(known, index % sectors, -1)
