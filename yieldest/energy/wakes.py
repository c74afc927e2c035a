"""How often the wind blows from where, and how machines take it from each other: wakes."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats, some
from yieldest.defaults import WAKE_DECAY
from yieldest.frozen import frozen_dataclass
from yieldest.wind.breakdown import direction_steps, sector_index, shares_of_steps
from yieldest.wind.weibull import share_above

SPEED_STEP_MS = 0.25
SECTORS = 12


@frozen_dataclass
class Rose:
    """Shares of time by direction sector and wind speed at the hub.

    Sectors and speed bins are named by their middles; `share` has shape (sectors, speeds) and sums
    to 1 or less, for calms and what is above the last bin are left out. Where the directions are
    not known all count alike.
    """

    direction_deg: FloatArray
    speed_ms: FloatArray
    share: FloatArray
    method: str
    has_directions: bool


def speed_bins(highest_ms: float) -> FloatArray:
    """Return the edges of the speed bins from 0 to at least `highest_ms`, shape (bins + 1,)."""
    return np.arange(np.ceil(highest_ms / SPEED_STEP_MS) + 1) * SPEED_STEP_MS


@frozen_dataclass
class SectorReadings:
    """Speeds of the readings that have a direction too."""

    speed_ms: tuple[FloatArray, ...]
    """By step of the circle, each in rising order."""
    shared: FloatArray
    """Share of each step that each sector holds, shape (sectors, steps)."""

    @property
    def size(self) -> int:
        """How many there are."""
        return sum(speed.size for speed in self.speed_ms)

    def rose(self, factor: float, highest_ms: float) -> Rose:
        """Count the readings by sector and speed at the hub (bins of IEC 61400-12-1).

        There every speed is multiplied by the factor. Those above the highest are left out: no
        machine runs there.
        """
        edges, (sectors, steps) = speed_bins(highest_ms), self.shared.shape
        ends = edges / factor
        ends[-1] = np.nextafter(ends[-1], np.inf)  # both ends of the last bin belong to it
        below = np.array([speed.searchsorted(ends) for speed in self.speed_ms])
        return Rose(
            direction_deg=np.arange(sectors) * 360 / sectors,
            speed_ms=(edges[:-1] + edges[1:]) / 2,
            share=self.shared @ (np.diff(below) / max(1, self.size)),
            method=f"the record's readings counted in {sectors} sectors and "
            f"{SPEED_STEP_MS:g} m/s bins"
            + (f", each spread over its {360 / steps:g} degrees" if steps != sectors else ""),
            has_directions=True,
        )


def in_sectors(
    speed_ms: npt.ArrayLike, direction_deg: npt.ArrayLike, sectors: int = SECTORS
) -> SectorReadings:
    """Sort readings into sectors, those without a speed or a direction left out."""
    speed, direction = floats(speed_ms), floats(direction_deg)
    used = np.isfinite(speed) & np.isfinite(direction)
    steps = direction_steps(direction[used], sectors)
    step = sector_index(direction[used], steps).astype(np.uint16)  # so short are sorted at once
    ends = np.cumsum(np.bincount(step, minlength=steps))[:-1]
    together = np.split(speed[used][np.argsort(step, kind="stable")], ends)
    return SectorReadings(tuple(map(np.sort, together)), shares_of_steps(steps, sectors))


def rose_of_weibull(
    shape: float, scale_ms: float, highest_ms: float, sectors: int = SECTORS
) -> Rose:
    """Spread a Weibull distribution over speeds up to the highest, and alike over directions."""
    edges = speed_bins(highest_ms)
    share = -np.diff(share_above(edges, shape, scale_ms)) / sectors
    return Rose(
        direction_deg=np.arange(sectors) * 360 / sectors,
        speed_ms=(edges[:-1] + edges[1:]) / 2,
        share=np.tile(share, (sectors, 1)),
        method="Weibull distribution, every direction alike (an all-round average)",
        has_directions=False,
    )


NEAR_WAKE_DIAMETERS = 4.0
"""The near wake, of which the model knows nothing, reaches some 2 to 5 rotor diameters downwind
(Crespo, Hernandez & Frandsen, *Wind Energy* 2 (1999) 1-24); our choice within that."""
DIRECTIONS_IN_SECTOR = 15
"""Wind directions that each sector is spread over, so that a wake does not hit or miss by luck."""


def grid_positions(
    count: int,
    bearing_deg: float,
    spacing: float,
    columns: int | None = None,
    row_spacing: float | None = None,
) -> FloatArray:
    """Return the places of machines in rows, filled one row after the other, shape (count, 2).

    East and north from the first machine, in the unit of the spacing. A row runs along the bearing,
    clockwise from north; later rows lie to its right, by default as far apart as neighbours.
    Without `columns` all machines stand in one row.
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
    """Return how far each machine stands downwind and across the wind, both of shape (..., n).

    The positions (n, 2) are east and north in any unit; the direction (...) is where the wind comes
    from, clockwise from north.
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
    one, other = np.triu_indices(len(place), 1)
    return float(np.linalg.norm(place[one] - place[other], axis=-1).min(initial=np.inf))


def single_wake_deficit(
    downwind_diameters: npt.ArrayLike, thrust_coefficient: npt.ArrayLike, wake_decay: npt.ArrayLike
) -> FloatArray:
    """Return how much slower the wind is in the wake of one rotor, as a share of the free wind.

    Distance downwind in rotor diameters, thrust coefficient from 0 to 1 and growth of the wake's
    radius per distance broadcast: (1 - sqrt(1 - Ct)) / (1 + 2 k x/D)^2, N. O. Jensen, *A note on
    wind generator wake*, Risoe-M-2411, 1983, in the form with a thrust coefficient of Katic,
    Hojstrup & Jensen 1986.
    """
    spread = 1 + 2 * floats(wake_decay) * floats(downwind_diameters)
    return np.asarray((1 - np.sqrt(1 - floats(thrust_coefficient))) / spread**2)


def covered_share(
    across_diameters: npt.ArrayLike, wake_radius_diameters: npt.ArrayLike
) -> FloatArray:
    """Return the share of a rotor's disc in a round wake not smaller than it (they broadcast).

    The lens of two overlapping circles (plane geometry), whose centres lie `across_diameters`
    apart.
    """
    distance, wake = np.broadcast_arrays(
        np.abs(floats(across_diameters)), floats(wake_radius_diameters)
    )
    rotor = 0.5
    # Beyond these bounds the lens is the whole disc or nothing, and the cosines have no angle.
    d = np.clip(distance, np.maximum(wake - rotor, 1e-12), wake + rotor)
    cos_rotor = np.clip((d**2 + rotor**2 - wake**2) / (2 * d * rotor), -1, 1)
    cos_wake = np.clip((d**2 + wake**2 - rotor**2) / (2 * d * wake), -1, 1)
    corner = (wake + rotor - d) * (d + rotor - wake) * (d - rotor + wake) * (d + rotor + wake)
    lens = (
        rotor**2 * np.arccos(cos_rotor)
        + wake**2 * np.arccos(cos_wake)
        - 0.5 * np.sqrt(np.maximum(corner, 0.0))
    )
    share = lens / (np.pi * rotor**2)
    share = np.where(distance <= wake - rotor, 1.0, share)
    return np.where(distance >= wake + rotor, 0.0, share)


def wake_shares(
    downwind_diameters: npt.ArrayLike, across_diameters: npt.ArrayLike, wake_decay: float
) -> FloatArray:
    """Return how much of one machine's first wake deficit reaches another, shape (..., n, n).

    [..., i, j] is the factor for machine i behind machine j: the widening of the wake times the
    share of the disc it covers; 0 where i is not downwind of j. Places are those of
    `downwind_and_across`, in rotor diameters.
    """
    downwind, across = floats(downwind_diameters), floats(across_diameters)
    behind = downwind[..., :, np.newaxis] - downwind[..., np.newaxis, :]
    beside = across[..., :, np.newaxis] - across[..., np.newaxis, :]
    reach = np.maximum(behind, 0.0)
    covered = covered_share(beside, 0.5 + wake_decay * reach)
    # Machines abreast differ downwind by rounding only, and do not wake each other.
    # A thrust coefficient of 1 takes all the wind at the rotor, and leaves the widening alone.
    widened = single_wake_deficit(reach, 1.0, wake_decay)
    return np.where(behind > 1e-9, covered * widened, 0.0)


def speeds_in_array(
    free_speed_ms: npt.ArrayLike,
    positions_diameters: npt.ArrayLike,
    direction_deg: npt.ArrayLike,
    thrust_speed_ms: npt.ArrayLike,
    thrust_coefficient: npt.ArrayLike,
    wake_decay: float = WAKE_DECAY.value,
) -> FloatArray:
    """Return the wind speed at every machine of an array.

    Parameters
    ----------
    free_speed_ms : array_like, shape (v,)
    positions_diameters : array_like, shape (n, 2)
        East and north in rotor diameters.
    direction_deg : array_like, shape (d,)
        Where the wind comes from.
    thrust_speed_ms, thrust_coefficient : array_like, shape (m,)
        Against the speed at the machine: straight between the points, 0 outside them.
    wake_decay : float

    Returns
    -------
    ndarray, shape (d, n, v)

    Notes
    -----
    Deficits of several wakes add as the root of the sum of their squares: Katic, Hojstrup &
    Jensen, *A simple model for cluster efficiency*, EWEC 1986. A wake that covers part of a rotor
    counts by the share of the disc covered. A machine in a wake has the thrust coefficient of the
    wind it stands in. Wakes off the ground and the speeding-up beside rotors are left out.
    """
    free = floats(free_speed_ms)
    speed_nodes, thrust_nodes = floats(thrust_speed_ms), floats(thrust_coefficient)
    downwind, across = downwind_and_across(positions_diameters, direction_deg)
    order = np.argsort(downwind, axis=-1, kind="stable")
    shares = wake_shares(
        np.take_along_axis(downwind, order, -1), np.take_along_axis(across, order, -1), wake_decay
    )
    speeds = np.tile(free, (*order.shape, 1))
    # From most directions a row or a small grid stands free.
    waked = some(np.asarray(shares.any(axis=(-1, -2))))
    shares, order = shares[waked], order[waked]
    squares = np.zeros((*order.shape, free.size))
    for j in range(order.shape[-1]):
        here = free * (1 - np.sqrt(np.minimum(squares[:, j], 1.0)))
        thrust = np.interp(here, speed_nodes, thrust_nodes, left=0.0, right=0.0)
        first_deficit = single_wake_deficit(0.0, thrust, wake_decay)
        squares[:, j + 1 :] += (
            shares[:, j + 1 :, j, np.newaxis] * first_deficit[:, np.newaxis, :]
        ) ** 2
    sorted_speeds = free * (1 - np.sqrt(np.minimum(squares, 1.0)))
    behind_wakes = np.empty_like(sorted_speeds)
    np.put_along_axis(behind_wakes, order[..., np.newaxis], sorted_speeds, axis=1)
    speeds[waked] = behind_wakes
    return speeds


def directions_within(rose: Rose) -> FloatArray:
    """Return the directions each sector is spread over, shape (sectors, DIRECTIONS_IN_SECTOR)."""
    width = 360 / rose.direction_deg.size
    offsets = (np.arange(DIRECTIONS_IN_SECTOR) + 0.5) / DIRECTIONS_IN_SECTOR - 0.5
    return np.asarray(rose.direction_deg[:, np.newaxis] + width * offsets)


def near_wake_share(
    positions_diameters: npt.ArrayLike, direction_deg: npt.ArrayLike, wake_decay: float
) -> float:
    """Return the share of some directions in which a rotor stands in another's near wake."""
    downwind, across = downwind_and_across(positions_diameters, direction_deg)
    behind = downwind[..., :, np.newaxis] - downwind[..., np.newaxis, :]
    waked = wake_shares(downwind, across, wake_decay) > 0
    return float((waked & (behind < NEAR_WAKE_DIAMETERS)).any(axis=(-1, -2)).mean())
