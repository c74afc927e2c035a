"""Wind speed at another height: power law and log law with displacement."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.errors import InputError
from yieldest.provenance import Provenance

NORMAL_EXPONENT = 0.2
"""Exponent of the normal wind profile model, IEC 61400-2 (small wind turbines)."""

FARTHEST_HEIGHT_RATIO = 2.5
"""Beyond this ratio of heights a carried-over speed deserves little trust; our choice."""

TERRAIN_ROUGHNESS_M = {"water": 0.0002, "open": 0.03, "hedged": 0.10, "built": 0.40}
"""Roughness length by terrain: classes 0 to 3 of Troen & Petersen, *European Wind Atlas*, Risoe
1989
(water; open farmland; farmland with some houses and hedges; villages, many hedges or woods)."""


def power_law_factor(
    from_height_m: npt.ArrayLike, to_height_m: npt.ArrayLike, exponent: npt.ArrayLike
) -> FloatArray:
    """Return speed at one height over speed at another by the power law, (h2/h1)^alpha.

    Parameters
    ----------
    from_height_m, to_height_m : array_like
        Heights above ground in m, positive; all arguments broadcast.
    exponent : array_like
        Shear exponent alpha.

    Notes
    -----
    IEC 61400-2, normal wind profile model, with alpha = 0.2.
    """
    ratio = floats(to_height_m) / floats(from_height_m)
    return np.asarray(ratio ** floats(exponent))


def log_law_factor(
    from_height_m: npt.ArrayLike,
    to_height_m: npt.ArrayLike,
    roughness_length_m: npt.ArrayLike,
    displacement_m: npt.ArrayLike = 0.0,
) -> FloatArray:
    """Return speed at one height over speed at another by the log law.

    Parameters
    ----------
    from_height_m, to_height_m : array_like
        Heights above ground in m; all arguments broadcast.
    roughness_length_m : array_like
        Roughness length z0, positive.
    displacement_m : array_like
        Displacement height d: how far trees or houses lift the profile.

    Returns
    -------
    ndarray
        ln((h2 - d)/z0) / ln((h1 - d)/z0); NaN where a height is not above d + z0.

    Notes
    -----
    Troen & Petersen, *European Wind Atlas*, Risoe 1989, for neutral air.
    """
    roughness = floats(roughness_length_m)
    lower = (floats(from_height_m) - floats(displacement_m)) / roughness
    upper = (floats(to_height_m) - floats(displacement_m)) / roughness
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.log(upper) / np.log(lower)
    return np.where((lower > 1) & (upper > 1), factor, np.nan)


def hub_factor(
    from_height_m: float,
    to_height_m: float,
    *,
    shear_exponent: float | None = None,
    roughness_length_m: float | None = None,
    terrain: str | None = None,
    displacement_m: float = 0.0,
) -> tuple[float, Provenance]:
    """Return the factor that carries a speed to hub height, by whichever law the site states.

    Parameters
    ----------
    from_height_m, to_height_m : float
        Anemometer and hub height above ground.
    shear_exponent, roughness_length_m, terrain : optional
        At most one; none means the exponent 0.2 of IEC 61400-2. `terrain` is a key of
        `TERRAIN_ROUGHNESS_M`.
    displacement_m : float
        For the log law.

    Raises
    ------
    InputError
        When the log law does not reach down to one of the heights.
    """
    warnings = []
    assumed = []
    low, high = sorted((from_height_m, to_height_m))
    if high / low > FARTHEST_HEIGHT_RATIO:
        warnings.append(
            f"From {from_height_m:g} m to {to_height_m:g} m is more than a factor "
            f"{FARTHEST_HEIGHT_RATIO}: the speed at the hub is an extrapolation; measure nearer to "
            "the hub."
        )
    if terrain is not None:
        roughness_length_m = TERRAIN_ROUGHNESS_M[terrain]
        source = f"roughness of terrain {terrain!r}, Troen & Petersen 1989"
    else:
        source = "roughness stated"
    if roughness_length_m is None:
        if shear_exponent is None:
            shear_exponent = NORMAL_EXPONENT
            if from_height_m != to_height_m:
                assumed.append(
                    "Shear exponent 0.2 (IEC 61400-2, normal wind profile), for the site states "
                    "neither exponent, roughness nor terrain."
                )
        method = f"power law, exponent {shear_exponent:g}"
        factor = float(power_law_factor(from_height_m, to_height_m, shear_exponent))
    else:
        method = f"log law, roughness {roughness_length_m:g} m ({source})"
        if displacement_m:
            method += f", displacement {displacement_m:g} m"
        factor = float(
            log_law_factor(from_height_m, to_height_m, roughness_length_m, displacement_m)
        )
        if np.isnan(factor):
            raise InputError(
                f"site.displacement_m + roughness: {low:g} m is not above {displacement_m:g} m + "
                f"{roughness_length_m:g} m, where the log law begins; state shear_exponent instead."
            )
        if low < displacement_m + 10 * roughness_length_m:
            warnings.append(
                f"{low:g} m is below displacement + 10 roughness lengths, where the log law is not "
                "valid; the speed at the hub is doubtful."
            )
    return factor, Provenance("site", method, tuple(assumed), tuple(warnings))
