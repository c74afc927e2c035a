"""The uncertainty of an estimate: what the stages state of theirs, drawn through the one chain."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.defaults import OUR_CHOICE, YEAR_TO_YEAR
from yieldest.economics.bill_of_materials import BillOfMaterials, expenditure_of
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.losses import LOSS_CATEGORIES
from yieldest.energy.net_energy import HubSpeeds, SpeedSeries
from yieldest.errors import InputError
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.chain import Machines, Prices, cash_flow_of, measures_of
from yieldest.model.inputs import Inputs
from yieldest.plan import FEWEST_DRAWS, MOST_DRAWS
from yieldest.provenance import Provenance
from yieldest.turbine.power_curve import nodes_at_density
from yieldest.uncertainty.next_measurement import usual_steps
from yieldest.uncertainty.propagation import Correlation
from yieldest.uncertainty.result import Uncertainty, uncertainty_of
from yieldest.uncertainty.uncertain_inputs import (
    ALIKE_CORRELATION,
    CURVE_CORRELATION,
    QUANTITIES,
    SPEED_FACTORS,
    GatheredInputs,
    StandardUncertainty,
    StatedDistribution,
    UncertainInput,
)
from yieldest.wind.data_recovery import DAYS_PER_YEAR
from yieldest.wind.profile import power_law_factor
from yieldest.wind.resource import WindResource
from yieldest.wind.weibull import mean_speed, scale_of_mean

ALIKE = ("curve", "prices", *(f"losses.{category}" for category in LOSS_CATEGORIES))
"""Quantities that may differ between builds, and then still err alike: same hands, same shops."""
DEFAULT_CORRELATIONS = tuple(Correlation(each, each, ALIKE_CORRELATION) for each in ALIKE)
MOST_BINS = 50
"""As many as a curve in bins of 0.5 m/s has up to 25 m/s (IEC 61400-12-1)."""
ON_SITE = (*SPEED_FACTORS, "shape", "coming_years")
"""Quantities of the wind on site."""
ENERGY = ("one_year_kwh", "life_kwh_per_year")
"""Net energy of one coming year, and of the mean year of the life."""

NO_BILL = BillOfMaterials((), Provenance("no bill", ""))


@dataclass(frozen=True)
class UncertainBuild:
    """A build as it was estimated, open for other values of its uncertain inputs.

    Parameters
    ----------
    estimate : BuildEstimate
    terms : EconomicTerms
    height_ratio : float
        Hub height over that of the anemometer.
    exponent_weight : float
        What a deviation of the shear exponent counts for at this hub.
    exposure_weight : float
        Power of the factor for the surroundings.
    level_w, bin_w : ndarray, shape (n,)
        How far a power moves when the curve's factor, or that of its bin, moves from 1 to 2.
    bin_of : ndarray of int, shape (n,)
        The bin that each point of the curve lies in.
    names : mapping of str to str
        The name of the input that plays each quantity for this build.
    """

    estimate: BuildEstimate
    terms: EconomicTerms
    height_ratio: float
    exponent_weight: float
    exposure_weight: float
    level_w: FloatArray
    bin_w: FloatArray
    bin_of: npt.NDArray[np.int64]
    names: Mapping[str, str]

    @property
    def name(self) -> str:
        """The build."""
        return self.estimate.name

    @property
    def _series(self) -> SpeedSeries | None:
        """The readings at the hub, where the energy is theirs and not the fitted distribution's."""
        return self.estimate.wind.readings if self.estimate.energy.from_time_series else None

    def outcome(self, values: Mapping[str, npt.ArrayLike]) -> dict[str, FloatArray]:
        """Return energy and money of the build, shape (...).

        Parameters
        ----------
        values : mapping of str to array_like, shape (...)
            Of inputs by name, that broadcast; an input left out has its central value, and a curve
            bin by bin has shape (..., bins).

        Returns
        -------
        dict of str to ndarray, shape (...)
            `ENERGY`, and money as in `yieldest.model.chain.measures_of` for a build with a bill.
        """
        terms, bill = self.terms, self.estimate.bill

        def value(quantity: str, central: npt.ArrayLike) -> FloatArray:
            return floats(values.get(self.names.get(quantity, ""), central))

        life = np.maximum(1.0, np.rint(value("life_years", terms.life_years)))
        machines = self._machines(value)
        year = value("coming_years", 1.0)
        # The mean of independent years wanders less by the root of their number.
        usual_year = machines.net_kwh(1 + (year - 1) / np.sqrt(life))
        longest = terms.model_copy(update={"life_years": int(life.max())})
        price = value("price_per_kwh", terms.price_per_kwh or 0.0)
        # What a sold kWh earns follows what a bought one costs.
        level = price / terms.price_per_kwh if terms.price_per_kwh else 1.0
        prices = Prices(
            price_per_kwh=None if terms.price_per_kwh is None else price,
            export_price_per_kwh=terms.export_price_per_kwh * level,
            discount_rate=value("discount_rate", terms.discount_rate),
            life_years=life,
            bill_scale=value("prices", 1.0),
            maintenance_scale=value("maintenance", 1.0),
        )
        expenditure = expenditure_of(bill or NO_BILL, self.estimate.energy.count, longest)
        flow = cash_flow_of(expenditure, usual_year, longest, prices)
        found = {
            "one_year_kwh": machines.net_kwh(year),
            "life_kwh_per_year": flow.energy_kwh.sum(axis=-1) / life,
        }
        if bill is not None:
            found |= measures_of(flow, longest, prices)
        return found

    def _machines(self, value: Callable[[str, npt.ArrayLike], FloatArray]) -> Machines:
        """Return wind, curve and losses for other values of what is uncertain about them."""
        distribution, curve = self.estimate.distribution, self.estimate.curve
        speed = power_law_factor(
            1.0, self.height_ratio, self.exponent_weight * value("shear_exponent", 0.0)
        )
        speed = speed * value("exposure", 1.0) ** self.exposure_weight
        for factor in SPEED_FACTORS:
            speed = speed * value(factor, 1.0)
        shape = distribution.shape * value("shape", 1.0)
        # A draw of the shape leaves the mean speed alone: the record knows that one better.
        mean_ms = mean_speed(distribution.shape, distribution.scale_ms) * speed
        bins = value("curve_bins", np.ones(self.bin_of.max() + 1))
        power = (
            curve.power_w
            + (value("curve", 1.0)[..., np.newaxis] - 1) * self.level_w
            + (bins[..., self.bin_of] - 1) * self.bin_w
        )
        # No draw makes a machine consume where its curve says that it produces.
        power = np.where(curve.power_w >= 0, np.maximum(power, 0.0), power)
        correction = self.estimate.inputs.settings.density_correction
        nodes = nodes_at_density(curve.speed_ms, power, value("density", 1.0), correction)
        return Machines(
            self.estimate.energy.count,
            HubSpeeds(
                shape, scale_of_mean(mean_ms, shape), distribution.calm_share, self._series, speed
            ),
            *nodes,
            {
                loss.category: value(f"losses.{loss.category}", loss.share)
                for loss in self.estimate.energy.losses
            },
            curve.idle_draw_w,
        )


def how_sure(
    inputs: Inputs,
    terms: EconomicTerms,
    builds: Sequence[BuildEstimate],
    draws: int,
    seed: int,
    step: Callable[[int], None] = lambda done: None,
) -> Uncertainty:
    """Carry the uncertainty of every stage to energy, cost per kWh and payback.

    Parameters
    ----------
    inputs : Inputs
    terms : EconomicTerms
    builds : sequence of BuildEstimate
        Made from those inputs on those terms.
    draws, seed : int
    step : callable, optional
        Told how many draws of a build were done.

    Raises
    ------
    InputError
        When the plan's [uncertainty] table states what cannot be.
    """
    if not FEWEST_DRAWS <= draws <= MOST_DRAWS:
        raise InputError(
            f"--draws {draws}: from {FEWEST_DRAWS} to {MOST_DRAWS:,} draws can be made; 0 makes "
            "none."
        )
    uncertain, open_builds = lined_up(inputs, terms, builds)
    size: dict[str, float] = {}
    for each in uncertain:
        middle = abs(float(each.distribution.at(0.0)))
        known = each.distribution.standard_uncertainty / (middle or 1.0)
        size[each.quantity] = max(known, size.get(each.quantity, 0.0))
    record = inputs.wind.record
    return uncertainty_of(
        open_builds,
        uncertain,
        price_per_kwh=terms.price_per_kwh,
        correlations=[
            *DEFAULT_CORRELATIONS,
            *(
                Correlation(one.between[0], one.between[1], one.coefficient)
                for one in inputs.plan.uncertainty.correlation
            ),
        ],
        steps=usual_steps(
            size,
            days=None if record is None else record.data_recovery.hours / 24,
            has_reference=inputs.wind.long_term is not None,
        ),
        draws=draws,
        seed=seed,
        step=step,
    )


def lined_up(
    inputs: Inputs, terms: EconomicTerms, builds: Sequence[BuildEstimate]
) -> tuple[tuple[UncertainInput, ...], tuple[UncertainBuild, ...]]:
    """Return the uncertain inputs of a plan, each once for all who share it, and its builds.

    Parameters
    ----------
    inputs, terms, builds
        As for `how_sure`.

    Raises
    ------
    InputError
        When the plan's [uncertainty] table states what cannot be.
    """
    plan = inputs.plan
    by_plan = plan.uncertainty.distributions
    gathered = GatheredInputs(by_plan)
    stated = _of_the_wind(inputs, builds[0])
    shared = {
        quantity: gathered.add(quantity, 1.0, stated.get(quantity))
        for quantity in (*stated, *(each for each in ON_SITE if each not in stated))
    }
    shared |= _of_the_money(gathered, terms, any(build.bill is not None for build in builds))
    ratios = [build.inputs.settings.hub_height_m / plan.wind.measured_height_m for build in builds]
    exponents = [_exponent(*pair) for pair in zip(builds, ratios, strict=True)]
    exposures = [_exposure(build) for build in builds]
    exposure = max(exposures, key=lambda each: each.size)
    curve_of = _labels([_curve_key(build) for build in builds])
    bill_of = _labels([_bill_key(build.bill) for build in builds if build.bill is not None])
    upkeeps = [_maintenance(inputs, build) for build in builds]
    chains = []
    for build, ratio, exponent, around, upkeep in zip(
        builds, ratios, exponents, exposures, upkeeps, strict=True
    ):
        names = dict(shared)
        if ratio != 1:
            source = build.wind.height.provenance.method
            names["shear_exponent"] = gathered.add(
                "shear_exponent", 0.0, StandardUncertainty(max(exponents), source)
            )
        names["exposure"] = gathered.add("exposure", 1.0, exposure)
        air = build.air
        names["density"] = gathered.add(
            "density", 1.0, StandardUncertainty(air.standard_uncertainty, air.provenance.method)
        )
        if build.energy.from_time_series:
            del names["shape"]  # readings have none
        bin_of = _bin_of(build.curve.speed_ms.size)
        level_w, bin_w = _of_the_curve(
            gathered, by_plan, build, names, curve_of[_curve_key(build)], int(bin_of[-1]) + 1
        )
        names |= _of_the_losses(gathered, by_plan, build, builds)
        if build.bill is not None:
            of = bill_of[_bill_key(build.bill)]
            names["prices"] = gathered.add("prices", 1.0, _usual("prices"), of)
            alike = all(upkeep == other for other in upkeeps)
            names["maintenance"] = gathered.add("maintenance", 1.0, upkeep, "" if alike else of)
        chains.append(
            UncertainBuild(
                estimate=build,
                terms=terms,
                height_ratio=ratio,
                # A distribution that the plan states holds for the exponent at every hub.
                exponent_weight=(
                    1.0 if "shear_exponent" in by_plan else _share(exponent, max(exponents))
                ),
                exposure_weight=1.0
                if "exposure" in by_plan
                else _share(around.size, exposure.size),
                level_w=level_w,
                bin_w=bin_w,
                bin_of=bin_of,
                names=names,
            )
        )
    return gathered.inputs, tuple(chains)


def _of_the_wind(inputs: Inputs, build: BuildEstimate) -> dict[str, StandardUncertainty]:
    """Return what the stages state of the wind on site."""
    resource, over_years = inputs.wind.resource, inputs.wind.long_term
    yearly = _usual("coming_years")
    if resource is None:
        wind = inputs.plan.wind
        given = wind.weibull_shape is not None or wind.frequency_table is not None
        return {
            "coming_years": yearly,
            "stated_mean": _usual("stated_mean"),
            "shape": _usual("shape", assumed=not given),
        }
    stated = {
        "anemometer": _usual("anemometer"),
        "mounting": _usual("mounting"),
        "rounding": StandardUncertainty(
            _rounding(resource), "JCGM 100:2008, F.2.2.1, as if all erred alike"
        ),
        "fit": StandardUncertainty(
            _of_the_step(build, "to a distribution"),
            "fitted against read mean as half-width (JCGM 100:2008, 4.3.7)",
        ),
    }
    if resource.chosen.shape is not None and resource.chosen.shape_se is not None:
        error = resource.chosen.shape_se / resource.chosen.shape
        stated["shape"] = StandardUncertainty(error, "block bootstrap of the record")
    if over_years is None:
        sure = resource.uncertainty
        stated["sampling"] = StandardUncertainty(
            sure.mean_sampling, "block bootstrap of the record"
        )
        stated["seasons"] = StandardUncertainty(sure.mean_season, "months missing in the record")
        years = max(1.0, resource.record.data_recovery.span_hours / 24 / DAYS_PER_YEAR)
        stated["past_years"] = StandardUncertainty(
            sure.mean_year, f"{YEAR_TO_YEAR} over the root of {years:.1f} years"
        )
    else:
        relation = over_years.chosen.mean_uncertainty
        spread, years = over_years.year_to_year_spread, max(1.0, over_years.reference_years)
        stated["long_term"] = StandardUncertainty(relation, over_years.chosen.name)
        stated["past_years"] = StandardUncertainty(
            spread / years**0.5, f"{100 * spread:.1f} % over the root of {years:.1f} years"
        )
        yearly = StandardUncertainty(spread, "yearly means of the reference")
    return {**stated, "coming_years": yearly}


def _rounding(resource: WindResource) -> float:
    """Return the standard uncertainty that rounding leaves to the mean, relative to it."""
    histogram, mean_ms = resource.histogram, resource.mean_speed_ms
    step_ms = histogram.step_ms
    if step_ms is None:
        near = int(np.argmin(np.abs(histogram.speed_ms - mean_ms)))
        step_ms = float(histogram.upper_ms[near] - histogram.lower_ms[near])
    return step_ms / 12**0.5 / mean_ms


def _of_the_step(build: BuildEstimate, step: str) -> float:
    """Return what a correction step to the hub states, 0 where there is no such step."""
    found = (each.standard_uncertainty for each in build.wind.steps if each.step == step)
    return next(found, None) or 0.0


def _of_the_money(gathered: GatheredInputs, terms: EconomicTerms, costed: bool) -> dict[str, str]:
    price = terms.price_per_kwh
    usual = {
        "life_years": (float(terms.life_years), _usual("life_years", terms.life_years)),
    }
    if costed:
        usual["discount_rate"] = (terms.discount_rate, _usual("discount_rate"))
    if costed and price is not None:
        usual["price_per_kwh"] = (price, _usual("price_per_kwh", price))
    return {quantity: gathered.add(quantity, *each) for quantity, each in usual.items()}


def _usual(quantity: str, times: float = 1.0, *, assumed: bool = False) -> StandardUncertainty:
    """Return what is taken of a quantity where nobody states its uncertainty."""
    return StandardUncertainty.of_default(QUANTITIES[quantity].default(assumed=assumed), times)


def _exponent(build: BuildEstimate, height_ratio: float) -> float:
    """Return the standard uncertainty of the shear exponent that has the effect stated."""
    if height_ratio == 1:
        return 0.0
    return build.wind.height.standard_uncertainty / abs(float(np.log(height_ratio)))


def _exposure(build: BuildEstimate) -> StandardUncertainty:
    usual = _usual("exposure")
    surroundings = [_of_the_step(build, step) for step in ("behind obstacles", "above the roof")]
    if not any(surroundings):
        return usual
    return StandardUncertainty(
        float(np.sqrt(usual.size**2 + sum(size**2 for size in surroundings))),
        f"{100 * usual.size:.0f} % ({usual.source}), with obstacles and roof",
    )


def _maintenance(inputs: Inputs, build: BuildEstimate) -> StandardUncertainty:
    in_bill = build.bill is not None and build.bill.states_maintenance
    stated = in_bill or inputs.plan.economics.states("maintenance_share_per_year")
    return _usual("maintenance", assumed=not stated)


def _share(part: float, whole: float) -> float:
    return part / whole if whole > 0 else 1.0


def _bill_key(bill: BillOfMaterials) -> tuple[str, int]:
    return bill.provenance.source, len(bill.items)


def _curve_key(build: BuildEstimate) -> tuple[str, int]:
    """Return what two builds must have in common to share the errors of a curve."""
    return build.curve.provenance.source, build.curve.speed_ms.size


def _bin_of(points: int) -> npt.NDArray[np.int64]:
    """Return the bin of each point: its own, or with many points as many bins as are usual."""
    return np.arange(points) * min(points, MOST_BINS) // points


def _of_the_curve(
    gathered: GatheredInputs,
    by_plan: Mapping[str, StatedDistribution],
    build: BuildEstimate,
    names: dict[str, str],
    of: str,
    bins: int,
) -> tuple[FloatArray, FloatArray]:
    """Note the curve's inputs, and return what each power moves by, together and bin by bin.

    The errors of two bins have the correlation rho: each is sqrt(rho) of an error common to all
    and sqrt(1 - rho) of its own.
    """
    curve = build.curve
    power, uncertainty = curve.power_w, curve.uncertainty_w
    total = float(np.abs(power).sum())
    mean = float(uncertainty.sum()) / total if total > 0 else 0.0
    stated = "as the curve states it" if curve.power_uncertainty_w is not None else OUR_CHOICE
    source = f"{100 * mean:.0f} % of the power, {stated}"
    together, own = CURVE_CORRELATION**0.5, (1 - CURVE_CORRELATION) ** 0.5
    # A distribution that the plan states for the whole curve leaves nothing for its bins.
    alone = None if "curve" in by_plan else StandardUncertainty(own * mean, source)
    names["curve"] = gathered.add("curve", 1.0, StandardUncertainty(together * mean, source), of)
    names["curve_bins"] = gathered.add("curve_bins", 1.0, alone, of, variates=bins)
    by_bin = uncertainty / mean if mean > 0 else power
    return (
        power if "curve" in by_plan else by_bin,
        power if "curve_bins" in by_plan else by_bin,
    )


def _of_the_losses(
    gathered: GatheredInputs,
    by_plan: Mapping[str, StatedDistribution],
    build: BuildEstimate,
    builds: Sequence[BuildEstimate],
) -> dict[str, str]:
    """Note the losses; builds with the same loss for the same reason share the draw."""
    names = {}
    for loss in build.energy.losses:
        quantity = f"losses.{loss.category}"
        alike = all(loss in other.energy.losses for other in builds)
        if loss.standard_uncertainty > 0 or quantity in by_plan:
            names[quantity] = gathered.add(
                quantity,
                loss.share,
                StandardUncertainty(loss.standard_uncertainty, loss.method),
                "" if alike else build.name,
            )
    return names


def _labels(files: Sequence[tuple[str, int]]) -> dict[tuple[str, int], str]:
    """Return short names that tell files apart: none where there is but one."""
    different = list(dict.fromkeys(files))
    if len(different) < 2:
        return dict.fromkeys(different, "")
    for long in (
        [PurePath(source).name for source, _ in different],
        [source for source, _ in different],
        [f"{source}, {points} points" for source, points in different],
    ):
        if len(set(long)) == len(different):
            break
    return dict(zip(different, long, strict=True))
