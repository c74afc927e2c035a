"""A machine on a roof: how much of its rotor stands in disturbed flow, and what that costs."""

from __future__ import annotations

from typing import Self

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from yieldest.arrays import FloatArray, floats
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Findings, Provenance
from yieldest.settings import BuildingHeight, Positive, Settings, key

STRETCH_LIMIT = 8.0
"""The longer side of a face counts up to eight times the shorter one (Wilson 1979)."""
DISTURBED_LOSS = 0.5
"""Mean share of speed lost in disturbed flow, from none at its upper edge to all at the roof; our
choice, for want of anything better."""


class Roof(Settings):
    """The building under the machine, where it stands on a roof."""

    edge_height_m: BuildingHeight = key(
        "height of the roof's edge above ground", 6, unit="m", default=...
    )
    ridge_height_m: BuildingHeight | None = key(
        "height of the ridge above ground", 8, unit="m", left_out="the roof is flat"
    )
    width_m: Positive = key("longest side of the building", 12, unit="m", default=...)
    edge_distance_m: Positive = key(
        "distance from the mast to the farthest edge of the roof", 5, unit="m", default=...
    )

    @model_validator(mode="after")
    def _ridge_on_top(self) -> Self:
        if self.ridge_height_m is not None and self.ridge_height_m < self.edge_height_m:
            raise ValueError(
                f"ridge_height_m is {self.ridge_height_m:g}, below edge_height_m "
                f"{self.edge_height_m:g}; measure both from the ground"
            )
        return self

    @property
    def top_m(self) -> float:
        """Highest point above ground."""
        return self.edge_height_m if self.ridge_height_m is None else self.ridge_height_m


def disturbed_height_m(
    building_height_m: npt.ArrayLike, width_m: npt.ArrayLike, edge_distance_m: npt.ArrayLike
) -> FloatArray:
    """Return how high above a flat roof the flow is disturbed.

    At a distance x downwind of the edge of the face that the wind meets: the higher of the zone
    of strong turbulence, 0.27 R - 0.1 x, and of the roof wake, 0.28 R (x/R)^0.33, with
    R = Bs^0.67 Bl^0.33 from the shorter and the longer side of the face. All arguments broadcast.

    Wilson, "Flow patterns over flat-roofed buildings and application to exhaust stack design",
    *ASHRAE Transactions* 85 part 2 (1979) 284-295, as in the *ASHRAE Handbook, HVAC Applications*,
    chapter on building air intake and exhaust (from memory). For wind square to a flat-roofed
    building in the open.
    """
    height, width, x = floats(building_height_m), floats(width_m), floats(edge_distance_m)
    shorter = np.minimum(height, width)
    longer = np.minimum(np.maximum(height, width), STRETCH_LIMIT * shorter)
    scale = shorter**0.67 * longer**0.33
    return np.maximum(0.27 * scale - 0.1 * x, 0.28 * scale * (x / scale) ** 0.33)


def disc_share_below(
    height_m: npt.ArrayLike, hub_height_m: npt.ArrayLike, rotor_radius_m: npt.ArrayLike
) -> FloatArray:
    """Return the share of a disc's area that lies below a height (circular segment)."""
    up = np.clip((floats(height_m) - floats(hub_height_m)) / floats(rotor_radius_m), -1.0, 1.0)
    return np.asarray(0.5 + (np.arcsin(up) + up * np.sqrt(1 - up**2)) / np.pi)


def span_share_below(
    height_m: npt.ArrayLike, hub_height_m: npt.ArrayLike, rotor_height_m: npt.ArrayLike
) -> FloatArray:
    """Return the share of a vertical rectangle's area that lies below a height."""
    bottom = floats(hub_height_m) - floats(rotor_height_m) / 2
    return np.clip((floats(height_m) - bottom) / floats(rotor_height_m), 0.0, 1.0)


@frozen_dataclass
class RoofStep:
    """The step from the wind that no house disturbs to that above the roof."""

    factor: float
    """Never above 1: no gain from wind speeding up over a roof is ever counted."""
    above_edge_m: float
    """Hub above the roof edge, and above the ridge."""
    above_ridge_m: float
    disturbed_top_m: float
    """Upper edge of the disturbed flow above ground."""
    disturbed_share: float
    """Share of the rotor's area below it."""
    standard_uncertainty: float
    """Of the factor, relative."""
    provenance: Provenance


class MachineOnRoof(Finding):
    """How the rotor stands to the roof and to the flow that the roof disturbs."""

    above_edge_m: float
    above_ridge_m: float
    disturbed_above_ridge_m: float
    disturbed_share: float


class RotorInDisturbedFlow(Finding):
    """Part of the rotor stands where no formula gives a figure to trust."""


def on_roof(
    roof: Roof,
    hub_height_m: float,
    *,
    rotor_diameter_m: float | None = None,
    rotor_height_m: float | None = None,
    anemometer_height_m: float | None = None,
) -> RoofStep:
    """Judge a machine on a roof; all heights are above ground.

    The rotor sweeps a disc or a vertical rectangle; without diameter and height the hub stands for
    it. When the anemometer stood on the same roof, what it missed is in its record.
    """
    reach = disturbed_height_m(roof.edge_height_m, roof.width_m, roof.edge_distance_m)
    top = roof.top_m + float(reach)
    if rotor_height_m is not None:
        share = float(span_share_below(top, hub_height_m, rotor_height_m))
    elif rotor_diameter_m is not None:
        share = float(disc_share_below(top, hub_height_m, rotor_diameter_m / 2))
    else:
        share = float(hub_height_m < top)
    factor = 1 - DISTURBED_LOSS * share
    method = (
        f"{100 * share:.0f} % of the rotor in disturbed flow (Wilson 1979), half its speed lost "
        "there"
    )
    if anemometer_height_m is not None:
        factor = min(1.0, factor / (1 - DISTURBED_LOSS * float(anemometer_height_m < top)))
        method += ", relative to the anemometer on the same roof"
    # From no loss to twice the mean loss: a rectangular distribution.
    uncertainty = float(DISTURBED_LOSS * share / np.sqrt(3) / factor)
    above_edge, above_ridge = hub_height_m - roof.edge_height_m, hub_height_m - roof.top_m
    warnings: Findings = (MachineOnRoof(above_edge, above_ridge, top - roof.top_m, share),)
    if share > 0:
        warnings = (*warnings, RotorInDisturbedFlow())
    provenance = Provenance("site.roof", method, (), warnings)
    return RoofStep(factor, above_edge, above_ridge, top, share, uncertainty, provenance)
