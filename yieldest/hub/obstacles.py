"""Shelter of the rotor by obstacles, by wind direction, and the rule for where to stand clear."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Findings, Provenance
from yieldest.settings import Bearing, BuildingHeight, Positive, Settings, Share, key
from yieldest.wind.breakdown import direction_steps, sector_index, shares_of_steps

PROFILE_EXPONENT = 0.14
"""Exponent n of the profile in Perera's theory (one seventh)."""
WAKE_AMPLITUDE = 9.75
WAKE_DECAY = 0.67
MIXING = 0.32
"""Twice the square of von Karman's constant of 0.4."""
NEAREST_HEIGHTS = 5.0
"""Nearer than five obstacle heights the flow is separated and the formula does not hold."""
DEFAULT_ROUGHNESS_M = 0.03
"""Of open farmland; the formula depends on it only through ln(h/z0)."""
WANDER_DEG = 10
"""The wind wanders by about this much to either side within a reading; our choice."""
STEPS_WITHIN_WANDER = 36
"""Steps of the circle to which directions may be rounded without their shelter being lost."""
SHELTER_UNCERTAINTY = 0.5
"""Standard uncertainty of the shelter as a share of it; our choice, for real obstacles are neither
long, straight nor alone."""

CLEAR_HEIGHT_M = 9.0
CLEAR_DISTANCE_M = 150.0
"""The rotor's lowest point stands 9 m above anything within 150 m (common practice, no source)."""


class Obstacle(Settings):
    """A building, hedge or row of trees, as seen from the mast."""

    height_m: BuildingHeight = key("height above ground", 7, unit="m", default=...)
    width_m: Positive = key("width across the line of sight", 12, unit="m", default=...)
    distance_m: Positive = key("distance from the mast to its middle", 60, unit="m", default=...)
    bearing_deg: Bearing = key(
        "the way to it from the mast, clockwise from north", 240, unit="degrees", default=...
    )
    porosity: Share = key(
        "open share of its face: 0 is a wall, 0.5 a hedge in leaf", 0.5, unit="share", default=0.0
    )


def fence_shelter(
    height_m: npt.ArrayLike,
    distance_m: npt.ArrayLike,
    obstacle_height_m: npt.ArrayLike,
    porosity: npt.ArrayLike = 0.0,
    roughness_length_m: npt.ArrayLike = DEFAULT_ROUGHNESS_M,
) -> FloatArray:
    r"""Return the share of speed lost behind an endless fence, from 0 to 1.

    At the height z above ground and the distance x downwind of a fence of height h (nearer than
    five of them counts as five), of whose face the share phi is open, on ground of the roughness
    z0; in m, and all broadcast.

    Notes
    -----
    Perera, "Shelter behind two-dimensional solid and porous fences", *J. Wind Eng. Ind. Aerodyn.* 8
    (1981) 93-104, as written by Taylor & Salmon, *J. Appl. Meteorol.* 32 (1993) 1683-1694 (from
    memory):

    .. math:: \frac{\Delta u}{u(h)} = 9.75\,(1-\varphi)\,\frac hx\,\eta\,e^{-0.67\eta^{1.5}},
        \quad \eta = \frac zh\left(\frac{0.32}{\ln(h/z_0)}\frac xh\right)^{-1/(n+2)}

    with n = 0.14, here divided by u(z)/u(h) = (z/h)^n. The powers of x follow from the theory of
    Counihan, Hunt & Jackson, *J. Fluid Mech.* 64 (1974) 529-563: the moment of the deficit,
    the integral of z^(1+n) times it over z, is the same at every x; a test checks that.
    """
    z, h = floats(height_m), floats(obstacle_height_m)
    x = np.maximum(floats(distance_m), NEAREST_HEIGHTS * h)
    # A fence lower than some roughness lengths is part of the roughness.
    mixing = MIXING / np.log(np.maximum(h / floats(roughness_length_m), math.e))
    eta = z / h * (mixing * x / h) ** (-1 / (PROFILE_EXPONENT + 2))
    deficit = WAKE_AMPLITUDE * (1 - floats(porosity)) * h / x * eta * np.exp(-WAKE_DECAY * eta**1.5)
    return np.asarray(np.clip(deficit * (z / h) ** -PROFILE_EXPONENT, 0.0, 1.0))


def width_share(width_m: npt.ArrayLike, distance_m: npt.ArrayLike) -> FloatArray:
    """Return how much of an endless fence's shelter one of limited width gives.

    1 / (1 + 0.2 x/L) for L/x of 0.3 or more, else 2 L/x, with the width L across the wind and the
    distance x downwind (Troen & Petersen, *European Wind Atlas*, Risoe 1989; from memory; the two
    pieces meet at 0.6).
    """
    ratio = floats(width_m) / floats(distance_m)
    with np.errstate(divide="ignore"):
        return np.where(ratio >= 0.3, 1 / (1 + 0.2 / ratio), 2 * ratio)


def kept_by_direction(
    obstacles: Sequence[Obstacle], height_m: float, roughness_length_m: float
) -> FloatArray:
    """Return the share of the free speed that is kept, for winds from 0, 1, ... 359 degrees.

    At a height above ground of a given roughness, both in m; shape (360,). Obstacles behind each
    other in the same direction multiply, which is on the safe side.
    """
    kept, width = np.ones(360), 2 * WANDER_DEG + 1
    for one in obstacles:
        high, away_m = one.height_m, one.distance_m
        share = width_share(one.width_m, max(away_m, NEAREST_HEIGHTS * high))
        lost = share * fence_shelter(height_m, away_m, high, one.porosity, roughness_length_m)
        half_width = np.rad2deg(np.arctan2(one.width_m / 2, away_m))
        away = np.abs((np.arange(360) - one.bearing_deg + 180) % 360 - 180)
        behind = np.where(away <= max(half_width, 0.5), 1.0, 0.0)
        around = np.pad(behind, WANDER_DEG, mode="wrap")
        kept *= 1 - lost * np.convolve(around, np.full(width, 1 / width), mode="valid")
    return kept


class ObstacleTooNear(Finding):
    """An obstacle is nearer than the formula of its shelter holds."""

    height_m: float
    distance_m: float


class ShelterAllRound(Finding):
    """Wind was taken to come from every direction equally often."""


class RotorNearObstacle(Finding):
    """The rotor's lowest point is too low above what is near; no distance stands for the roof."""

    clear_m: float
    height_m: float
    distance_m: float | None


@frozen_dataclass
class ShelterStep:
    """The step from the free wind to the wind behind obstacles."""

    factor: float
    """Of the mean speed; its standard uncertainty is relative."""
    standard_uncertainty: float
    provenance: Provenance


def shelter(
    obstacles: Sequence[Obstacle],
    hub_height_m: float,
    *,
    run: FloatArray | None = None,
    direction_deg: FloatArray | None = None,
    anemometer_height_m: float | None = None,
    anemometer_obstacles: Sequence[Obstacle] | None = None,
    roughness_length_m: float = DEFAULT_ROUGHNESS_M,
) -> tuple[ShelterStep, FloatArray | None]:
    """Shelter the hub by obstacles, and say the factor of each reading, shape (n,).

    Parameters
    ----------
    run, direction_deg : ndarray, shape (n,), optional
        Speed times weight, and direction, of every reading; without directions every direction
        counts as equally frequent, and no reading has a factor of its own.
    anemometer_height_m : float, optional
        When the anemometer stood behind obstacles too: its own shelter is then taken back first.
    anemometer_obstacles : sequence of Obstacle, optional
        Those it stood behind, at another place; left out, the same ones on the same spot.
    """
    kept = relative = kept_by_direction(obstacles, hub_height_m, roughness_length_m)
    plural = "" if len(obstacles) == 1 else "s"
    method = f"{len(obstacles)} obstacle{plural}, Perera 1981, share of speed kept"
    if anemometer_height_m is not None:
        others = obstacles if anemometer_obstacles is None else anemometer_obstacles
        at_anemometer = kept_by_direction(others, anemometer_height_m, roughness_length_m)
        # A shelter of more than half is too strong to be taken back by any formula.
        relative = kept / np.maximum(at_anemometer, 0.5)
        spot = "on the same spot" if others is obstacles else f"at its place, behind {len(others)}"
        method += f" relative to the anemometer {spot}"
    warnings = tuple(
        ObstacleTooNear(each.height_m, each.distance_m)
        for each in obstacles
        if each.distance_m < NEAREST_HEIGHTS * each.height_m and hub_height_m < 2 * each.height_m
    )
    # The wind may blow always or never from behind the obstacles: a rectangular distribution.
    unknown = float(relative.max() - relative.min()) / np.sqrt(12)
    how, factors = "every direction equally frequent", None
    assumed: Findings = (ShelterAllRound(),)
    factor = float(relative.mean())
    if run is not None and direction_deg is not None and np.isfinite(direction_deg).any():
        unknown, how, assumed = 0.0, "by the direction of each reading", ()
        known = np.isfinite(direction_deg)
        steps = direction_steps(direction_deg, STEPS_WITHIN_WANDER)
        if steps == STEPS_WITHIN_WANDER:
            degree = np.round(np.where(known, direction_deg, 0.0)).astype(np.int64) % 360
            own = relative[degree]
        else:
            over_step = shares_of_steps(360, steps) @ relative * steps / 360
            own = over_step[sector_index(direction_deg, steps)]
            how += f", over {360 / steps:g} degrees each"
        factors = np.where(known, own, factor)
        factor = float((run * factors).sum() / run.sum()) if run.sum() > 0 else 1.0
    uncertainty = float(np.hypot(unknown, SHELTER_UNCERTAINTY * abs(1 - factor))) / factor
    method = f"{method}, {how} (worst direction {100 * kept.min():.0f} %)"
    provenance = Provenance("site.obstacles", method, assumed, warnings)
    return ShelterStep(factor, uncertainty, provenance), factors


def siting_warnings(
    rotor_bottom_m: float, obstacles: Sequence[Obstacle], roof_top_m: float | None
) -> tuple[RotorNearObstacle, ...]:
    """Check the rule that the rotor's bottom stands 9 m above anything within 150 m.

    `roof_top_m` is the highest point of the roof the machine stands on; all heights above ground.
    """
    near = [(o.height_m, o.distance_m) for o in obstacles if o.distance_m <= CLEAR_DISTANCE_M]
    height, distance = max(near, default=(None, None))
    if roof_top_m is not None and (height is None or roof_top_m >= height):
        height, distance = roof_top_m, None
    if height is None or rotor_bottom_m - height >= CLEAR_HEIGHT_M:
        return ()
    return (RotorNearObstacle(rotor_bottom_m - height, height, distance),)
