"""The uncertainty of an estimate: what the stages state of theirs, drawn through the one chain."""

from __future__ import annotations

from collections.abc import Container, Hashable, Iterator, Mapping, Sequence
from dataclasses import field, replace
from pathlib import PurePath

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.defaults import OUR_CHOICE, YEAR_TO_YEAR
from yieldest.economics.bill_of_materials import BillOfMaterials
from yieldest.economics.cash_flow import Expenditure, Prices, cash_flow
from yieldest.economics.terms import EconomicTerms
from yieldest.energy.losses import LOSS_CATEGORIES
from yieldest.energy.net_energy import HubSpeeds, net_kwh_per_year
from yieldest.frozen import frozen_dataclass
from yieldest.model.build_estimate import BuildEstimate
from yieldest.model.chain import measures_of
from yieldest.model.inputs import Inputs
from yieldest.plan import Plan
from yieldest.provenance import Provenance
from yieldest.turbine.power_curve import PowerCurve, nodes_at_density
from yieldest.uncertainty.propagation import Correlation
from yieldest.uncertainty.uncertain_inputs import (
    ALIKE_CORRELATION,
    CURVE_CORRELATION,
    SPEED_FACTORS,
    SPREAD,
    StandardUncertainty,
    UncertainInput,
    drawn,
    usual,
)
from yieldest.wind.data_recovery import DAYS_PER_YEAR
from yieldest.wind.profile import power_law_factor
from yieldest.wind.resource import WindResource
from yieldest.wind.weibull import mean_speed, scale_of_mean

ALIKE = ("curve", "prices", *(f"losses.{category}" for category in LOSS_CATEGORIES))
"""Quantities that may differ between builds, and then still err alike: same hands, same shops."""
DEFAULT_CORRELATIONS = tuple(
    Correlation(between=[each, each], coefficient=ALIKE_CORRELATION) for each in ALIKE
)
SURROUNDINGS = ("to other ground", "behind obstacles", "above the roof")
"""Steps to the hub whose uncertainty is that of the surroundings."""
MOST_BINS = 50
"""As many as a curve in bins of 0.5 m/s has up to 25 m/s (IEC 61400-12-1)."""
ON_SITE = (*SPEED_FACTORS, "shape", "coming_years")
"""Quantities of the wind on site."""

NO_BILL = BillOfMaterials((), Provenance("no bill", ""))


@frozen_dataclass
class Case:
    """Net energy of one coming year and of the mean year of the life, shape (...), and terms."""

    one_year_kwh: FloatArray
    usual_year_kwh: FloatArray
    life_years: FloatArray
    prices: Prices


@frozen_dataclass
class UncertainBuild:
    """A build as it was estimated, open for other values of its uncertain inputs.

    `inputs` are those drawn for it, by quantity. The hub is `height_ratio` times as high as the
    anemometer; there a deviation of the shear exponent counts `exponent_weight`, and the factor for
    the surroundings has the power `exposure_weight`.
    """

    estimate: BuildEstimate
    terms: EconomicTerms
    inputs: Mapping[str, UncertainInput]
    height_ratio: float
    exponent_weight: float
    exposure_weight: float
    _expenditures: dict[int, Expenditure] = field(default_factory=dict, repr=False, compare=False)

    @property
    def name(self) -> str:
        """The build."""
        return self.estimate.name

    def outcome(self, values: Mapping[str, npt.ArrayLike]) -> dict[str, FloatArray]:
        """Return energy and money of the build, shape (...).

        Parameters
        ----------
        values : mapping of str to array_like, shape (...)
            Of inputs by quantity, that broadcast; an input left out has its central value, and a
            curve bin by bin has shape (..., bins).

        Returns
        -------
        dict of str to ndarray, shape (...)
            `one_year_kwh`, net energy of one coming year, `life_kwh_per_year`, that of the mean
            year of the life, and money as in `yieldest.model.chain.measures_of` for a build with a
            bill.
        """
        bill, case = self.estimate.bill, self.case(values)
        longest = self.terms.model_copy(update={"life_years": int(case.life_years.max())})
        expenditure = self._expenditures.get(longest.life_years)
        if expenditure is None:
            expenditure = (bill or NO_BILL).expenditure(self.estimate.energy.count, longest)
            self._expenditures[longest.life_years] = expenditure
        flow = cash_flow(expenditure, case.usual_year_kwh, longest, case.prices)
        found = {
            "one_year_kwh": case.one_year_kwh,
            "life_kwh_per_year": flow.energy_kwh.sum(axis=-1) / case.life_years,
        }
        if bill is not None:
            found |= measures_of(flow, longest, case.prices)
        return found

    def case(self, values: Mapping[str, npt.ArrayLike]) -> Case:
        """Return what energy and money follow from, for values as `outcome` takes them."""
        terms, energy = self.terms, self.estimate.energy
        life = np.maximum(1.0, np.rint(floats(values.get("life_years", terms.life_years))))
        wind, curve = self._wind(values), self._curve(values)
        shares = np.broadcast_arrays(
            *(floats(values.get(f"losses.{loss.category}", loss.share)) for loss in energy.losses)
        )
        kept = np.asarray((1 - np.minimum(np.stack(shares, axis=-1), 1.0)).prod(axis=-1))
        if self.estimate.spread is not None:
            kept = kept * floats(values.get(SPREAD, 1.0)) ** self.estimate.spread.exponent

        year = floats(values.get("coming_years", 1.0))
        price = floats(values.get("price_per_kwh", terms.price_per_kwh or 0.0))
        # What a sold kWh earns follows what a bought one costs.
        level = price / terms.price_per_kwh if terms.price_per_kwh else 1.0
        # The mean of independent years wanders less by the root of their number. Both are computed
        # at once, each value along axes of its own.
        usual_year = 1 + (year - 1) / np.sqrt(life)
        of_each = (wind.shape, wind.scale_ms, kept, curve[1][..., 0])
        years = np.stack(np.broadcast_arrays(year, usual_year, *of_each)[:2])
        one_year_kwh, usual_kwh = net_kwh_per_year(
            wind.scaled(years), *curve, kept, self.estimate.curve.idle_draw_w, energy.count
        )
        used = self.estimate.self_consumption
        return Case(
            one_year_kwh=one_year_kwh,
            usual_year_kwh=usual_kwh,
            life_years=life,
            prices=Prices(
                price_per_kwh=None if terms.price_per_kwh is None else price,
                export_price_per_kwh=terms.export_price_per_kwh * level,
                self_consumption_share=None if used is None else used.used_share_of(usual_kwh),
                discount_rate=values.get("discount_rate"),
                life_years=life,
                bill_scale=values.get("prices", 1.0),
                maintenance_scale=values.get("maintenance", 1.0),
            ),
        )

    def moved_w(self, quantity: str) -> FloatArray:
        """Return how far each power moves when a factor on the curve moves from 1 to 2."""
        curve = self.estimate.curve
        stated = quantity in self.inputs and self.inputs[quantity].by_plan
        mean = _mean_error(curve)
        return curve.power_w if stated or mean == 0 else curve.uncertainty_w / mean

    def _wind(self, values: Mapping[str, npt.ArrayLike]) -> HubSpeeds:
        """Return the wind at the hub for other values of what is uncertain about it."""
        distribution = self.estimate.distribution
        deviation = floats(values.get("shear_exponent", 0.0))
        speed = power_law_factor(1.0, self.height_ratio, self.exponent_weight * deviation)
        speed = speed * floats(values.get("exposure", 1.0)) ** self.exposure_weight
        for factor in SPEED_FACTORS:
            speed = speed * floats(values.get(factor, 1.0))
        shape = distribution.shape * floats(values.get("shape", 1.0))
        # A draw of the shape leaves the mean speed alone: the record knows that one better.
        mean_ms = mean_speed(distribution.shape, distribution.scale_ms) * speed
        # The energy is that of the readings or of the fitted distribution, as in the estimate.
        series = self.estimate.wind.readings if self.estimate.energy.from_time_series else None
        return HubSpeeds(
            shape, scale_of_mean(mean_ms, shape), distribution.calm_share, series, speed
        )

    def _curve(self, values: Mapping[str, npt.ArrayLike]) -> tuple[FloatArray, FloatArray]:
        """Return speeds and powers of the curve for other values of what is uncertain about it."""
        curve = self.estimate.curve
        points, bins = curve.speed_ms.size, _bins(curve)
        bin_of = np.arange(points) * bins // points
        together = floats(values.get("curve", 1.0))[..., np.newaxis] - 1
        alone = floats(values.get("curve_bins", np.ones(bins)))[..., bin_of] - 1
        power = curve.power_w + together * self.moved_w("curve")
        power = power + alone * self.moved_w("curve_bins")
        # No draw makes a machine consume where its curve says that it produces.
        power = np.maximum(power, np.where(curve.power_w >= 0, 0.0, -np.inf))
        correction = self.estimate.inputs.settings.density_correction
        return nodes_at_density(curve.speed_ms, power, values.get("density", 1.0), correction)


def correlations_of(plan: Plan) -> list[Correlation]:
    """Return the usual correlations between inputs, and those that a plan states."""
    return [*DEFAULT_CORRELATIONS, *plan.uncertainty.correlation]


def lined_up(
    inputs: Inputs, terms: EconomicTerms, builds: Sequence[BuildEstimate]
) -> tuple[tuple[UncertainInput, ...], tuple[UncertainBuild, ...]]:
    """Return the uncertain inputs of a plan, each once for all who share it, and its builds.

    Parameters
    ----------
    inputs : Inputs
    terms : EconomicTerms
    builds : sequence of BuildEstimate
        Made from those inputs on those terms.

    Raises
    ------
    InputError
        When the plan's [uncertainty] table states what cannot be.
    """
    by_plan = inputs.plan.uncertainty.distributions
    ratios = [
        build.inputs.settings.hub_height_m / build.inputs.place.wind.measured_height_m
        for build in builds
    ]
    exponents = [_exponent(*pair) for pair in zip(builds, ratios, strict=True)]
    exposures = [_exposure(build) for build in builds]
    # One record errs alike wherever it is carried; what stands around a place errs on its own.
    winds = _apart(builds, [id(build.inputs.wind) for build in builds])
    laws = _apart(builds, [build.inputs.height_law for build in builds])
    places = _apart(builds, [build.place for build in builds])
    exponent_of = _largest(laws, exponents)
    exposure_of = _largest(places, [each.size for each in exposures])
    curves = _labels([(one.curve.provenance.source, one.curve.speed_ms.size) for one in builds])
    bills = _labels(
        [(one.bill.provenance.source, len(one.bill.items)) if one.bill else None for one in builds]
    )
    money = list(_of_the_money(terms, any(build.bill is not None for build in builds)))
    stated = []
    for i, build in enumerate(builds):
        on_site = [*map(StandardUncertainty, ON_SITE), *_of_the_wind(build)]
        # A calm year is one for all places that one plan names.
        mine = [
            each if each.quantity == "coming_years" else replace(each, of=winds[i])
            for each in on_site
        ]
        around = replace(exposures[i], size=exposure_of[places[i]], of=places[i])
        stated.append(
            [*mine, around, *money, *_of_the_build(inputs, build, builds, curves[i], bills[i])]
        )
        if ratios[i] != 1:
            size, method = exponent_of[laws[i]], build.height_method
            stated[-1].append(StandardUncertainty("shear_exponent", size, method, 0.0, laws[i]))
    found = drawn([each for mine in stated for each in mine], by_plan)
    chains = []
    for i, (build, mine) in enumerate(zip(builds, stated, strict=True)):
        names = {each.name for each in mine}
        if build.energy.from_time_series:
            names.remove("shape")  # readings have none
        chains.append(
            UncertainBuild(
                estimate=build,
                terms=build.terms,
                inputs={each.quantity: each for each in found if each.name in names},
                height_ratio=ratios[i],
                # A distribution that the plan states holds for the exponent at every hub.
                exponent_weight=_weight(
                    "shear_exponent", exponents[i], exponent_of[laws[i]], by_plan
                ),
                exposure_weight=_weight(
                    "exposure", exposures[i].size, exposure_of[places[i]], by_plan
                ),
            )
        )
    return found, tuple(chains)


def _apart(builds: Sequence[BuildEstimate], keys: Sequence[Hashable]) -> list[str]:
    """Return for each build the places that have the same as its own, "" where all have."""
    if len(set(keys)) == 1:
        return [""] * len(keys)
    having = {
        key: dict.fromkeys(b.place for b, k in zip(builds, keys, strict=True) if k == key)
        for key in keys
    }
    return [", ".join(having[key]) for key in keys]


def _largest(labels: Sequence[str], sizes: Sequence[float]) -> dict[str, float]:
    """Return the largest size of each label."""
    found: dict[str, float] = {}
    for label, size in zip(labels, sizes, strict=True):
        found[label] = max(size, found.get(label, size))
    return found


def _weight(quantity: str, size: float, largest: float, by_plan: Container[str]) -> float:
    """Return what a draw of the largest uncertainty of a quantity counts for one build."""
    return size / largest if quantity not in by_plan and largest > 0 else 1.0


def _of_the_wind(build: BuildEstimate) -> Iterator[StandardUncertainty]:
    """Return what the stages state of the wind on site."""
    resource, over_years = build.inputs.wind.resource, build.inputs.wind.long_term
    if resource is None:
        wind = build.inputs.place.wind
        given = wind.weibull_shape is not None or wind.frequency_table is not None
        yield usual("stated_mean")
        yield usual("shape", assumed=not given)
        yield usual("coming_years")
        return
    yield usual("anemometer")
    yield usual("mounting")
    rounding = "JCGM 100:2008, F.2.2.1, as if all erred alike"
    yield StandardUncertainty("rounding", _rounding(resource), rounding)
    if build.inputs.wind.hidden is not None:
        hidden = build.inputs.wind.hidden
        yield StandardUncertainty(SPREAD, hidden.uncertainty, f"spread from {hidden.source}")
    off = "fitted against read mean as half-width (JCGM 100:2008, 4.3.7)"
    yield StandardUncertainty("fit", _of_the_step(build, "to a distribution"), off)
    bootstrap = "block bootstrap of the record"
    chosen = resource.chosen
    if chosen.shape is not None and chosen.shape_se is not None:
        yield StandardUncertainty("shape", chosen.shape_se / chosen.shape, bootstrap)
    if over_years is None:
        sure = resource.uncertainty
        yield StandardUncertainty("sampling", sure.mean_sampling, bootstrap)
        yield StandardUncertainty("seasons", sure.mean_season, "months missing in the record")
        size, spread = sure.mean_year, str(YEAR_TO_YEAR)
        years = resource.record.data_recovery.span_hours / 24 / DAYS_PER_YEAR
        yield usual("coming_years")
    else:
        relation, yearly = over_years.chosen, over_years.year_to_year_spread
        yield StandardUncertainty("long_term", relation.mean_uncertainty, relation.name)
        years = over_years.reference_years
        size, spread = yearly / max(1.0, years) ** 0.5, f"{100 * yearly:.1f} %"
        source = "weather of the reference's years, wandering of the site"
        yield StandardUncertainty("coming_years", yearly, source)
    over = f"{spread} over the root of {max(1.0, years):.1f} years"
    yield StandardUncertainty("past_years", size, over)


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


def _of_the_money(terms: EconomicTerms, costed: bool) -> Iterator[StandardUncertainty]:
    """Return what is taken of the economic terms."""
    yield usual("life_years", terms.life_years)
    if costed:
        yield usual("discount_rate", terms.discount_rate)
        if terms.price_per_kwh is not None:
            yield usual("price_per_kwh", terms.price_per_kwh)


def _exponent(build: BuildEstimate, height_ratio: float) -> float:
    """Return the standard uncertainty of the shear exponent that has the effect stated."""
    if height_ratio == 1:
        return 0.0
    return build.wind.height.standard_uncertainty / abs(float(np.log(height_ratio)))


def _exposure(build: BuildEstimate) -> StandardUncertainty:
    """Return what is known of the surroundings, with obstacles and roof where there are any."""
    bare = usual("exposure")
    surroundings = [_of_the_step(build, step) for step in SURROUNDINGS]
    if not any(surroundings):
        return bare
    return StandardUncertainty(
        "exposure",
        float(np.sqrt(bare.size**2 + sum(size**2 for size in surroundings))),
        f"{100 * bare.size:.0f} % ({bare.source}), with obstacles and roof",
    )


def _of_the_build(
    inputs: Inputs,
    build: BuildEstimate,
    builds: Sequence[BuildEstimate],
    of_curve: str,
    of_bill: str,
) -> Iterator[StandardUncertainty]:
    """Return what the stages state of one build, with labels where its files are not shared.

    The errors of two bins of the curve have the correlation rho: each is sqrt(rho) of an error
    common to all and sqrt(1 - rho) of its own.
    """
    air, curve, bill = build.air, build.curve, build.bill
    yield StandardUncertainty("density", air.standard_uncertainty, air.provenance.method)
    mean = _mean_error(curve)
    word = OUR_CHOICE if curve.power_uncertainty_w is None else "as the curve states it"
    source = f"{100 * mean:.0f} % of the power, {word}"
    together = CURVE_CORRELATION**0.5 * mean
    # A distribution that the plan states for the whole curve leaves nothing for its bins.
    whole = "curve" in inputs.plan.uncertainty.distributions
    alone = 0.0 if whole else (1 - CURVE_CORRELATION) ** 0.5 * mean
    yield StandardUncertainty("curve", together, source, of=of_curve)
    yield StandardUncertainty("curve_bins", alone, source, of=of_curve, variates=_bins(curve))
    for loss in build.energy.losses:
        # Builds with the same loss for the same reason share the draw.
        of = "" if all(loss in other.energy.losses for other in builds) else build.name
        size, quantity = loss.standard_uncertainty, f"losses.{loss.category}"
        yield StandardUncertainty(quantity, size, loss.method, loss.share, of)
    if bill is not None:
        yield usual("prices", of=of_bill)
        share_stated = inputs.plan.economics.states("maintenance_share_per_year")
        stated = [
            share_stated or (one.bill is not None and one.bill.states_maintenance) for one in builds
        ]
        of = of_bill if len(set(stated)) > 1 else ""
        assumed = not (share_stated or bill.states_maintenance)
        yield usual("maintenance", of=of, assumed=assumed)


def _mean_error(curve: PowerCurve) -> float:
    """Return the standard uncertainty of a curve over its power, the mean of all points."""
    total = float(np.abs(curve.power_w).sum())
    return float(curve.uncertainty_w.sum()) / total if total > 0 else 0.0


def _bins(curve: PowerCurve) -> int:
    """Return how many bins err on their own: the points, or with many points as many as usual."""
    return min(curve.speed_ms.size, MOST_BINS)


def _labels(files: Sequence[tuple[str, int] | None]) -> list[str]:
    """Return for each file a short name that tells it apart, "" where all are the same."""
    different = [file for file in dict.fromkeys(files) if file is not None]
    labels = [""] * len(different)
    if len(different) > 1:
        for labels in (
            [PurePath(source).name for source, _ in different],
            [source for source, _ in different],
            [f"{source}, {points} points" for source, points in different],
        ):
            if len(set(labels)) == len(different):
                break
    label = dict(zip(different, labels, strict=True))
    return ["" if file is None else label[file] for file in files]
