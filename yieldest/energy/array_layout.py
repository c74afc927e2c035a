"""Where the machines of an array stand: a row, a grid, or stated coordinates."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats


def grid_positions(
    count: int,
    bearing_deg: float,
    spacing: float,
    columns: int | None = None,
    row_spacing: float | None = None,
) -> FloatArray:
    """Return the places of machines in rows, filled one row after the other.

    Parameters
    ----------
    count : int
    bearing_deg : float
        Direction in which a row runs, clockwise from north.
    spacing : float
        Between neighbours in a row, in any unit of length, such as rotor widths.
    columns : int, optional
        Machines in a row; by default all of them stand in one.
    row_spacing : float, optional
        Between rows, the later ones to the right of the bearing; by default `spacing`.

    Returns
    -------
    ndarray, shape (count, 2)
        East and north, in the unit of the spacing, from the first machine.
    """
    index = np.arange(count)
    per_row = count if columns is None else columns
    along = (index % per_row) * spacing
    across = (index // per_row) * (spacing if row_spacing is None else row_spacing)
    bearing = np.deg2rad(bearing_deg)
    east = along * np.sin(bearing) + across * np.cos(bearing)
    north = along * np.cos(bearing) - across * np.sin(bearing)
    return np.stack((east, north), axis=-1)


def downwind_and_across(
    positions: npt.ArrayLike, direction_deg: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return how far each machine stands downwind and across the wind.

    Parameters
    ----------
    positions : array_like, shape (n, 2)
        East and north.
    direction_deg : array_like, shape (...)
        Direction the wind comes from, clockwise from north.

    Returns
    -------
    downwind, across : ndarray, shape (..., n)
        In the unit of the positions, from the origin.
    """
    place = floats(positions)
    direction = np.deg2rad(floats(direction_deg))[..., np.newaxis]
    # Wind from direction d blows towards (-sin d, -cos d).
    downwind = -place[:, 0] * np.sin(direction) - place[:, 1] * np.cos(direction)
    across = -place[:, 0] * np.cos(direction) + place[:, 1] * np.sin(direction)
    return downwind, across


def nearest_neighbour(positions: npt.ArrayLike) -> float:
    """Return the shortest distance between two machines; infinite for a single one."""
    place = floats(positions)
    if len(place) < 2:
        return float("inf")
    distance = np.linalg.norm(place[:, np.newaxis] - place, axis=-1)
    np.fill_diagonal(distance, np.inf)
    return float(distance.min())
