"""How often the wind blows from each direction at each speed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.wind.breakdown import sector_index
from yieldest.wind.weibull import share_above

SPEED_STEP_MS = 0.25
SECTORS = 12


@dataclass(frozen=True)
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


def rose_of_readings(
    speed_ms: npt.ArrayLike, direction_deg: npt.ArrayLike, highest_ms: float, sectors: int = SECTORS
) -> Rose:
    """Count the readings of a record at the hub by direction and speed (bins of IEC 61400-12-1).

    Readings without a speed or direction are left out, and speeds above the highest: no machine
    runs there.
    """
    speed, direction = floats(speed_ms), floats(direction_deg)
    used = np.isfinite(speed) & np.isfinite(direction)
    edges = speed_bins(highest_ms)
    sector = sector_index(direction[used], sectors)
    counts, _, _ = np.histogram2d(sector, speed[used], bins=(np.arange(sectors + 1) - 0.5, edges))
    return Rose(
        direction_deg=np.arange(sectors) * 360 / sectors,
        speed_ms=(edges[:-1] + edges[1:]) / 2,
        share=counts / max(1, int(used.sum())),
        method=f"the record's readings counted in {sectors} sectors and {SPEED_STEP_MS:g} m/s bins",
        has_directions=True,
    )


def rose_of_weibull(
    shape: npt.ArrayLike,
    scale_ms: npt.ArrayLike,
    frequency: npt.ArrayLike | None,
    highest_ms: float,
    sectors: int = SECTORS,
) -> Rose:
    """Spread Weibull distributions over directions and speeds up to the highest.

    Shape and scale are those of each sector, shape (sectors,), or of all. The frequency is the
    share of time of each sector, calms left out; None counts so many sectors alike.
    """
    known = frequency is not None
    weight = floats(np.full(sectors, 1 / sectors) if frequency is None else frequency)
    edges = speed_bins(highest_ms)
    above = share_above(edges, floats(shape)[..., np.newaxis], floats(scale_ms)[..., np.newaxis])
    share = weight[:, np.newaxis] * -np.diff(above, axis=-1)
    return Rose(
        direction_deg=np.arange(weight.size) * 360 / weight.size,
        speed_ms=(edges[:-1] + edges[1:]) / 2,
        share=np.broadcast_to(share, (weight.size, edges.size - 1)),
        method="Weibull distribution by sector"
        if known
        else "Weibull distribution, every direction alike (an all-round average)",
        has_directions=known,
    )
