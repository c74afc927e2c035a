"""Wind speed at another height: power law and log law with displacement."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats, number_or_none
from yieldest.defaults import SHEAR_EXPONENT, Assumed
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Findings, Provenance

FARTHEST_HEIGHT_RATIO = 2.5
"""Beyond this ratio of heights a carried-over speed deserves little trust; our choice."""
SURFACE_LAYER_M = 100.0
"""Above it the log law of neutral air is not valid (common practice, no source)."""
BLENDING_HEIGHT_M = 60.0
"""There the wind no longer knows which ground of the neighbourhood is below it: Wieringa, *Q. J. R.
Meteorol. Soc.* 112 (1986) 867-889 (from memory)."""
GROUND_UNCERTAINTY = 0.5
"""Standard uncertainty of a change of ground as a share of it; our choice, for few winds have blown
over the new ground for long."""

STATED_EXPONENT_UNCERTAINTY = 0.03
TERRAIN_EXPONENT_UNCERTAINTY = 0.05
ASSUMED_EXPONENT_UNCERTAINTY = 0.08
"""Standard uncertainty of an exponent that was stated, comes from terrain, or from nothing; our
choices: terrain classes lie 0.05 apart, and land goes from 0.1 to 0.3."""


@frozen_dataclass
class Terrain:
    """A kind of terrain, with the sources of its roughness and of its exponent."""

    name: str
    description: str
    roughness_length_m: float
    roughness_source: str
    shear_exponent: float
    exponent_source: str


_ATLAS = "Troen & Petersen, European Wind Atlas, Risoe 1989"
_MASTERS = "Masters, Renewable and Efficient Electric Power Systems, Wiley 2004, table 6.3"

TERRAINS = {
    terrain.name: terrain
    for terrain in (
        Terrain("water", "open water", 0.0002, f"{_ATLAS}, class 0", 0.10, _MASTERS),
        Terrain("open", "open farmland", 0.03, f"{_ATLAS}, class 1", 0.15, _MASTERS),
        Terrain("hedged", "some houses, hedges", 0.10, f"{_ATLAS}, class 2", 0.20, _MASTERS),
        Terrain("built", "villages, woods", 0.40, f"{_ATLAS}, class 3", 0.25, _MASTERS),
        Terrain("suburb", "suburbs, small towns", 0.50, f"{_ATLAS}, table", 0.30, _MASTERS),
    )
}
"""Kinds of terrain with roughness and exponent, all recalled from memory. The two columns come from
different books, and confirm each other: the log law between 10 m and 20 m over these roughnesses
has these exponents to within 0.035."""


def power_law_factor(
    from_height_m: npt.ArrayLike, to_height_m: npt.ArrayLike, exponent: npt.ArrayLike
) -> FloatArray:
    """Return speed at one height over speed at another by the power law, (h2/h1)^alpha.

    IEC 61400-2, normal wind profile model, with alpha = 0.2. Heights above ground in m; all
    arguments broadcast.
    """
    ratio = floats(to_height_m) / floats(from_height_m)
    return np.asarray(ratio ** floats(exponent))


def log_law_factor(
    from_height_m: npt.ArrayLike,
    to_height_m: npt.ArrayLike,
    roughness_length_m: npt.ArrayLike,
    displacement_m: npt.ArrayLike = 0.0,
) -> FloatArray:
    """Return speed at one height over speed at another by the log law for neutral air.

    ln((h2 - d)/z0) / ln((h1 - d)/z0), with z0 above 0 and d how far trees or houses lift the
    profile; NaN where a height is not above d + z0. Heights above ground in m; all arguments
    broadcast. Troen & Petersen, *European Wind Atlas*, Risoe 1989.
    """
    roughness = floats(roughness_length_m)
    lower = (floats(from_height_m) - floats(displacement_m)) / roughness
    upper = (floats(to_height_m) - floats(displacement_m)) / roughness
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.log(upper) / np.log(lower)
    return np.where((lower > 1) & (upper > 1), factor, np.nan)


def slope_exponent(
    height_m: npt.ArrayLike, roughness_length_m: npt.ArrayLike, displacement_m: npt.ArrayLike = 0.0
) -> FloatArray:
    """Return the exponent of the power law that has the log law's slope at a height.

    d ln v / d ln h = h / ((h - d) ln((h - d)/z0)) (calculus); all arguments broadcast.
    """
    above = floats(height_m) - floats(displacement_m)
    return np.asarray(floats(height_m) / (above * np.log(above / floats(roughness_length_m))))


def slope_roughness_m(height_m: npt.ArrayLike, exponent: npt.ArrayLike) -> FloatArray:
    """Return the roughness of the log law that has the power law's slope at a height.

    The inverse of `slope_exponent` without displacement, z0 = h exp(-1/alpha), for alpha above 0.
    """
    return np.asarray(floats(height_m) * np.exp(-1 / floats(exponent)))


@frozen_dataclass
class HeightStep:
    """The step from the anemometer's height to the hub's."""

    factor: float
    other_factor: float | None
    """By the other law, where there is one."""
    other_law: str
    """What the other law is; empty when there is none."""
    standard_uncertainty: float
    """Of the factor, relative."""
    provenance: Provenance


class HeightsFarApart(Finding):
    """The hub is so far above or below the anemometer that its speed is an extrapolation."""

    from_height_m: float
    to_height_m: float


class AboveSurfaceLayer(Finding):
    """A height above the layer that the height laws hold for."""

    height_m: float


class NearRoughness(Finding):
    """A height so near to the roughness that the log law is not valid there."""

    height_m: float


def distance_findings(from_height_m: float, to_height_m: float) -> Findings:
    """Return what to know of a hub far from the anemometer, or above the surface layer."""
    low, high = sorted((from_height_m, to_height_m))
    far, above = high / low > FARTHEST_HEIGHT_RATIO, high > SURFACE_LAYER_M
    return (
        *((HeightsFarApart(from_height_m, to_height_m),) if far else ()),
        *((AboveSurfaceLayer(high),) if above else ()),
    )


def to_hub(
    from_height_m: float,
    to_height_m: float,
    *,
    shear_exponent: float | None = None,
    roughness_length_m: float | None = None,
    terrain: str | None = None,
    displacement_m: float = 0.0,
) -> HeightStep:
    """Carry a speed to hub height by whichever law the site states, the other law beside it.

    Parameters
    ----------
    from_height_m, to_height_m : float
        Anemometer and hub height above ground.
    shear_exponent, roughness_length_m, terrain : optional
        At most one; none means the exponent 0.2 of IEC 61400-2. `terrain` is a key of `TERRAINS`,
        and goes by the log law.
    displacement_m : float
        For the log law.

    Raises
    ------
    InputError
        When the log law does not reach down to one of the heights.
    """
    heights = from_height_m, to_height_m
    if terrain is not None:
        kind = TERRAINS[terrain]
        return _by_log_law(heights, kind.roughness_length_m, displacement_m, kind)
    if roughness_length_m is not None:
        return _by_log_law(heights, roughness_length_m, displacement_m, None)
    if shear_exponent is not None:
        return by_power_law(*heights, shear_exponent, STATED_EXPONENT_UNCERTAINTY)
    step = by_power_law(*heights, SHEAR_EXPONENT.value, ASSUMED_EXPONENT_UNCERTAINTY)
    if to_height_m == from_height_m:
        return step
    return replace(step, provenance=replace(step.provenance, assumed=(Assumed(SHEAR_EXPONENT),)))


def over_other_ground(
    height_m: float, from_law: Mapping[str, Any], to_law: Mapping[str, Any]
) -> float:
    """Return speed over one ground over speed at the same height over another near by.

    Up by the law of the one to where the wind is the same over both, and down by that of the other,
    as Wieringa (1986) does; each law as the options of `to_hub`, which says what it refuses.
    """
    up = to_hub(height_m, BLENDING_HEIGHT_M, **from_law)
    return up.factor * to_hub(BLENDING_HEIGHT_M, height_m, **to_law).factor


def by_power_law(
    from_height_m: float, to_height_m: float, exponent: float, exponent_uncertainty: float
) -> HeightStep:
    """Carry a speed to hub height by the power law; beside it the log law of the same slope."""
    factor = float(power_law_factor(from_height_m, to_height_m, exponent))
    other = None
    if exponent > 0:
        matched = slope_roughness_m(from_height_m, exponent)
        other = number_or_none(log_law_factor(from_height_m, to_height_m, matched))
    other_law = "log law of the same slope at the anemometer" if other is not None else ""
    method, warnings = f"power law, exponent {exponent:.3g}", ()
    heights = from_height_m, to_height_m
    return _step(heights, factor, other, other_law, exponent_uncertainty, method, warnings)


def _by_log_law(
    heights_m: tuple[float, float], roughness_m: float, displacement_m: float, kind: Terrain | None
) -> HeightStep:
    low = min(heights_m)
    factor = float(log_law_factor(*heights_m, roughness_m, displacement_m))
    if np.isnan(factor):
        raise InputError(
            f"site.displacement_m + roughness: {low:g} m is not above {displacement_m:g} m + "
            f"{roughness_m:g} m, where the log law begins; state shear_exponent instead."
        )
    if kind is None:
        source, exponent_uncertainty = "roughness stated", STATED_EXPONENT_UNCERTAINTY
        exponent = float(slope_exponent(heights_m[0], roughness_m, displacement_m))
        other_law = "power law of the same slope at the anemometer"
    else:
        source = f"roughness of terrain {kind.name!r}, Troen & Petersen 1989"
        exponent, exponent_uncertainty = kind.shear_exponent, TERRAIN_EXPONENT_UNCERTAINTY
        other_law = f"power law, exponent {exponent:g} of that terrain (Masters 2004)"
    other = float(power_law_factor(*heights_m, exponent))
    method = f"log law, roughness {roughness_m:g} m ({source})"
    if displacement_m:
        method += f", displacement {displacement_m:g} m"
    near = (NearRoughness(low),) if low < displacement_m + 10 * roughness_m else ()
    return _step(heights_m, factor, other, other_law, exponent_uncertainty, method, near)


def _step(
    heights_m: tuple[float, float],
    factor: float,
    other: float | None,
    other_law: str,
    exponent_uncertainty: float,
    method: str,
    warnings: Findings,
) -> HeightStep:
    """Return a step with its uncertainty, and what its distance gives to know.

    The difference between the laws is the half-width of a rectangular distribution (JCGM 100:2008,
    4.3.7); the exponent works through d ln(factor) = ln(ratio) d alpha.
    """
    between_laws = 0.0 if other is None else (other / factor - 1) / np.sqrt(3)
    by_exponent = np.log(heights_m[1] / heights_m[0]) * exponent_uncertainty
    uncertainty = float(np.hypot(between_laws, by_exponent))
    provenance = Provenance("site", method, (), (*distance_findings(*heights_m), *warnings))
    return HeightStep(factor, other, other_law, uncertainty, provenance)
