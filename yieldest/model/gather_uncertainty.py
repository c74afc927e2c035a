"""From what the stages state of their uncertainty to the inputs drawn and the builds' chains."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray
from yieldest.economics.bill_of_materials import BillOfMaterials
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.from_series import SortedReadings
from yieldest.energy.losses import Loss
from yieldest.model.uncertain_chain import Chain
from yieldest.turbine.power_curve import Correction, PowerCurve
from yieldest.uncertainty.sampling import Correlation
from yieldest.uncertainty.uncertain_inputs import (
    ALIKE_CORRELATION,
    COMMON_PRACTICE,
    CURVE_CORRELATION,
    DISCOUNT_RATE,
    LIFE_SHARE,
    PRICE_PER_KWH,
    PRICES,
    SPEED_FACTORS,
    Gathered,
    Input,
    Stated,
    StatedDistribution,
)
from yieldest.wind.distribution import WindDistribution

ALIKE = ("curve", "prices", "losses.electrical", "losses.wake", "losses.availability",
         "losses.turbine_performance", "losses.environmental", "losses.curtailment")  # fmt: skip
"""Quantities that may differ between builds, and then still err alike: same hands, same shops."""
MOST_BINS = 50
"""As many as a curve in bins of 0.5 m/s has up to 25 m/s (IEC 61400-12-1)."""
ON_SITE = (*SPEED_FACTORS, "shape", "coming_years")
"""Quantities of the wind on site."""
DEFAULT_CORRELATIONS = tuple(Correlation(each, each, ALIKE_CORRELATION) for each in ALIKE)


@dataclass(frozen=True)
class Parts:
    """What the stages hand on about one build.

    Parameters
    ----------
    name : str
    count : int
    distribution : WindDistribution
        At the hub.
    readings : SortedReadings or None
        At the hub, where the energy is theirs and not the fitted distribution's.
    height_ratio : float
        Hub height over that of the anemometer.
    height : Stated
        Of the speed at the hub, relative.
    exposure : Stated
        Of the speed at the hub, relative.
    density : Stated
        Relative.
    curve : PowerCurve
        At the density of the hub.
    curve_uncertainty : str
        Where `curve_uncertainty_w` is from.
    curve_uncertainty_w : ndarray, shape (n,)
        Standard uncertainty of the power at each point of the curve.
    density_correction : {"power", "speed"}
    losses : tuple of Loss
    bill : BillOfMaterials or None
    upkeep : Stated
        Relative.
    """

    name: str
    count: int
    distribution: WindDistribution
    readings: SortedReadings | None
    height_ratio: float
    height: Stated
    exposure: Stated
    density: Stated
    curve: PowerCurve
    curve_uncertainty: str
    curve_uncertainty_w: FloatArray
    density_correction: Correction
    losses: tuple[Loss, ...]
    bill: BillOfMaterials | None
    upkeep: Stated


def gather(
    by_plan: Mapping[str, StatedDistribution],
    wind: Mapping[str, Stated],
    builds: Sequence[Parts],
    terms: EconomicTerms,
) -> tuple[tuple[Input, ...], tuple[Chain, ...]]:
    """Line up the inputs of all builds, each input once for all who share it.

    Parameters
    ----------
    by_plan : mapping of str to StatedDistribution
        By quantity; these stand instead of what the stages state.
    wind : mapping of str to Stated
        By quantity, of the wind on site: relative.
    builds : sequence of Parts
    terms : EconomicTerms

    Returns
    -------
    inputs : tuple of Input
    chains : tuple of Chain
        One for each build.
    """
    gathered = Gathered(by_plan)
    shared = {quantity: gathered.add(quantity, 1.0, stated) for quantity, stated in wind.items()}
    for quantity in ON_SITE:
        if quantity not in shared:
            shared[quantity] = gathered.add(quantity, 1.0, None)
    shared |= _money(gathered, terms, any(build.bill is not None for build in builds))
    exponent = max(_exponent(build) for build in builds)
    exposure = max((build.exposure for build in builds), key=lambda stated: stated.size)
    curve_of = _labels([_curve_key(build) for build in builds])
    bills = [build.bill for build in builds if build.bill is not None]
    bill_of = _labels([_bill_key(bill) for bill in bills]) if bills else {}
    chains = []
    for build in builds:
        names = dict(shared)
        if build.height_ratio != 1:
            names["shear_exponent"] = gathered.add(
                "shear_exponent", 0.0, Stated(exponent, build.height.source)
            )
        names["exposure"] = gathered.add("exposure", 1.0, exposure)
        names["density"] = gathered.add("density", 1.0, build.density)
        if build.readings is not None:
            del names["shape"]  # readings have none
        bin_of = _bin_of(build.curve.speed_ms.size)
        level_w, bin_w = _curve(
            gathered, by_plan, build, names, curve_of[_curve_key(build)], int(bin_of[-1]) + 1
        )
        names |= _losses(gathered, by_plan, build, builds)
        if build.bill is not None:
            of = bill_of[_bill_key(build.bill)]
            names["prices"] = gathered.add("prices", 1.0, Stated(PRICES, COMMON_PRACTICE), of)
            alike = all(build.upkeep == other.upkeep for other in builds)
            names["upkeep"] = gathered.add("upkeep", 1.0, build.upkeep, "" if alike else of)
        chains.append(
            Chain(
                name=build.name,
                count=build.count,
                distribution=build.distribution,
                readings=build.readings,
                height_ratio=build.height_ratio,
                # A spread that the plan states holds for the exponent itself, at every hub.
                exponent_weight=(
                    1.0 if "shear_exponent" in by_plan else _share(_exponent(build), exponent)
                ),
                exposure_weight=(
                    1.0 if "exposure" in by_plan else _share(build.exposure.size, exposure.size)
                ),
                curve=build.curve,
                density_correction=build.density_correction,
                level_w=level_w,
                bin_w=bin_w,
                bin_of=bin_of,
                losses={loss.category: loss.share for loss in build.losses},
                bill=build.bill,
                names=names,
            )
        )
    return gathered.inputs, tuple(chains)


def _money(gathered: Gathered, terms: EconomicTerms, costed: bool) -> dict[str, str]:
    life = terms.life_years
    names = {
        "life_years": gathered.add(
            "life_years", life, Stated(LIFE_SHARE * life / 6**0.5, COMMON_PRACTICE)
        )
    }
    if costed:
        names["discount_rate"] = gathered.add(
            "discount_rate", terms.discount_rate, Stated(DISCOUNT_RATE, COMMON_PRACTICE)
        )
    if costed and terms.price_per_kwh is not None:
        price = terms.price_per_kwh
        names["price_per_kwh"] = gathered.add(
            "price_per_kwh", price, Stated(PRICE_PER_KWH * price, COMMON_PRACTICE)
        )
    return names


def _exponent(build: Parts) -> float:
    """Return the standard uncertainty of the shear exponent that has the effect stated."""
    if build.height_ratio == 1:
        return 0.0
    return build.height.size / abs(float(np.log(build.height_ratio)))


def _share(part: float, whole: float) -> float:
    return part / whole if whole > 0 else 1.0


def _bill_key(bill: BillOfMaterials) -> tuple[str, int]:
    return bill.provenance.source, len(bill.items)


def _curve_key(build: Parts) -> tuple[str, int]:
    """Return what two builds must have in common to share the errors of a curve."""
    return build.curve.provenance.source, build.curve.speed_ms.size


def _bin_of(points: int) -> npt.NDArray[np.int64]:
    """Return the bin of each point: its own, or with many points as many bins as are usual."""
    return np.arange(points) * min(points, MOST_BINS) // points


def _curve(
    gathered: Gathered,
    by_plan: Mapping[str, StatedDistribution],
    build: Parts,
    names: dict[str, str],
    of: str,
    bins: int,
) -> tuple[FloatArray, FloatArray]:
    """Note the curve's inputs, and return what each power moves by, together and bin by bin.

    The errors of two bins have the correlation rho: each is sqrt(rho) of an error common to all
    and sqrt(1 - rho) of its own.
    """
    power, uncertainty = build.curve.power_w, build.curve_uncertainty_w
    total = float(np.abs(power).sum())
    mean = float(uncertainty.sum()) / total if total > 0 else 0.0
    together, own = CURVE_CORRELATION**0.5, (1 - CURVE_CORRELATION) ** 0.5
    level = Stated(together * mean, build.curve_uncertainty)
    # A spread that the plan states for the whole curve leaves nothing for its bins.
    alone = None if "curve" in by_plan else Stated(own * mean, build.curve_uncertainty)
    names["curve"] = gathered.add("curve", 1.0, level, of)
    names["curve_bins"] = gathered.add("curve_bins", 1.0, alone, of, scores=bins)
    by_bin = uncertainty / mean if mean > 0 else power
    return (
        power if "curve" in by_plan else by_bin,
        power if "curve_bins" in by_plan else by_bin,
    )


def _losses(
    gathered: Gathered,
    by_plan: Mapping[str, StatedDistribution],
    build: Parts,
    builds: Sequence[Parts],
) -> dict[str, str]:
    """Note the losses; builds with the same loss for the same reason share the draw."""
    names = {}
    for loss in build.losses:
        quantity = f"losses.{loss.category}"
        alike = all(loss in other.losses for other in builds)
        if loss.standard_uncertainty > 0 or quantity in by_plan:
            names[quantity] = gathered.add(
                quantity,
                loss.share,
                Stated(loss.standard_uncertainty, loss.method),
                "" if alike else build.name,
            )
    return names


def _labels(files: Sequence[tuple[str, int]]) -> dict[tuple[str, int], str]:
    """Return short names that tell files apart: none where there is but one."""
    different = list(dict.fromkeys(files))
    if len(different) == 1:
        return {different[0]: ""}
    for long in (
        [PurePath(source).name for source, _ in different],
        [source for source, _ in different],
        [f"{source}, {points} points" for source, points in different],
    ):
        if len(set(long)) == len(different):
            break
    return dict(zip(different, long, strict=True))
