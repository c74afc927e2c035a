"""The second step: from what was read to energy, cost per kWh and payback; no file, no words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import fields
from itertools import islice
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from yieldest.economics.terms import EconomicTerms
from yieldest.energy.self_consumption import HouseByUtc, SelfConsumption, self_consumption
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass, relabelled
from yieldest.html_repr import html_table, labelled_axes
from yieldest.hub.shear import MeasuredShear
from yieldest.model.frames import Figures, dataset_of, figures_of, frame_of
from yieldest.model.hub_wind import siting_assumptions
from yieldest.model.inputs import BuildInputs, Inputs, read
from yieldest.model.quantities import lines_of
from yieldest.model.site_wind import SiteWind
from yieldest.model.uncertain import correlations_of, lined_up
from yieldest.plan import Plan, load_plan, with_override
from yieldest.plan.overrides import Override
from yieldest.plan.plausibility import questions_of_plan
from yieldest.plan.uncertainty_table import FEWEST_DRAWS, MOST_DRAWS
from yieldest.provenance import Finding, Findings, Provenance
from yieldest.uncertainty.next_measurement import usual_steps
from yieldest.uncertainty.result import Uncertainty, uncertainty_of
from yieldest.units import shown_in
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.long_term.correction import LongTermCorrection
from yieldest.wind.record import Record
from yieldest.wind.resource import WindResource

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr
    from matplotlib.axes import Axes


from yieldest.model.build_estimate import BuildEstimate, energies_of_builds


class ElevationAssumed(Finding):
    """The site was taken to lie at sea level."""


class AtPlace(Finding):
    """Something found or taken for granted at one of several places."""

    place: str
    found: Finding | str


@frozen_dataclass
class Estimate:
    """What all the builds of a plan yield and cost.

    Parameters
    ----------
    inputs : Inputs
        What it was made from.
    terms : EconomicTerms
        Of the plan; where the share used is reckoned, those of the first build.
    builds : tuple of BuildEstimate
    """

    inputs: Inputs
    terms: EconomicTerms
    builds: tuple[BuildEstimate, ...]

    @property
    def plan(self) -> Plan:
        """The plan."""
        return self.inputs.plan

    @property
    def title(self) -> str:
        """The title of the plan."""
        return self.plan.title

    @property
    def currency(self) -> str:
        """The currency of every sum."""
        return self.plan.currency

    @property
    def wind(self) -> SiteWind:
        """The wind at the place of the first build."""
        return self.inputs.builds[0].wind

    @property
    def record(self) -> Record | None:
        """The record after quality control; None when the plan states the mean speed."""
        return self.wind.record

    @property
    def resource(self) -> WindResource | None:
        """What the record says; None without one."""
        return self.wind.resource

    @property
    def distribution(self) -> WindDistribution:
        """At the height of measurement, over the long term where there is a reference."""
        return self.wind.distribution

    @property
    def long_term(self) -> LongTermCorrection | None:
        """The relation to the reference, where the plan names one."""
        return self.wind.long_term

    @property
    def shear(self) -> MeasuredShear | None:
        """What a second anemometer says, where the plan names one."""
        return self.wind.shear

    @property
    def left_as_started(self) -> tuple[str, ...]:
        """Files that still hold the invented numbers of `yieldest start`."""
        return self.inputs.left_as_started

    @property
    def assumed(self) -> Findings:
        """What was taken for granted about the site, the wind and the economic terms."""
        return (
            *self._of_places(
                lambda each: (
                    (ElevationAssumed(),)
                    if each.place.site.elevation_m is each.place.site.mean_pressure_hpa is None
                    else ()
                )
            ),
            *self._of_places(lambda each: _said(each.wind.provenance, "assumed")),
            *self.terms.provenance.assumed,
            *self._of_places(lambda each: siting_assumptions(each.place)),
        )

    @property
    def warnings(self) -> Findings:
        """What must be known of the site, the wind and the terms before figures are trusted."""
        of_winds = self._of_places(lambda each: _said(each.wind.provenance, "warnings"))
        return (*questions_of_plan(self.plan), *of_winds, *self.terms.provenance.warnings)

    def _of_places(self, find: Callable[[BuildInputs], Findings]) -> Findings:
        """Return what holds for every place as it is, and the rest with the name of its place."""
        found = {name: find(each) for name, each in self.inputs.places.items()}
        first, *others = found.values()
        shared = tuple(one for one in first if all(one in other for other in others))
        return (
            *shared,
            *(
                AtPlace(name, one)
                for name, mine in found.items()
                for one in mine
                if one not in shared
            ),
        )

    def to_frame(self) -> pd.DataFrame:
        """Return the builds as a table, a row for each, SI units in the names of the columns."""
        return frame_of(self.builds)

    def to_xarray(self) -> xr.Dataset:
        """Return the builds as a dataset along "build", with units, methods and provenance."""
        found = (*self.assumed, *self.warnings)
        return dataset_of(
            self.builds,
            self.currency,
            {
                "title": self.title,
                "source": self.distribution.provenance.source,
                "method": self.distribution.provenance.method,
                "findings": " ".join(map(str, found)),
            },
        )

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the net energy of each build, with a line from a calm to a windy year.

        Parameters
        ----------
        ax : matplotlib axes, optional
            New ones where left out.
        """
        ax = labelled_axes(ax, "net energy (kWh/year)")
        energies = [build.energy for build in self.builds]
        reach = [
            [each.net_kwh - each.inter_annual_low_kwh for each in energies],
            [each.inter_annual_high_kwh - each.net_kwh for each in energies],
        ]
        names, net = [build.name for build in self.builds], [each.net_kwh for each in energies]
        ax.barh(names, net, xerr=reach, capsize=4)
        ax.invert_yaxis()  # the first build on top, as in every table
        return ax

    def _repr_html_(self) -> str:
        """Show the builds side by side in a notebook."""
        with shown_in(self.plan.units):
            rows = [
                (line.quantity.named(self.currency), *line.texts)
                for line in lines_of("notebook", self.builds, self.terms)
            ]
        return html_table(self.title, rows, heads=[build.name for build in self.builds])

    def uncertainty(
        self,
        draws: int | None = None,
        seed: int | None = None,
        step: Callable[[int], None] = lambda done: None,
    ) -> Uncertainty:
        """Return how sure the figures are, by draws of every uncertain input.

        Parameters
        ----------
        draws, seed : int, optional
            Those of the plan's [uncertainty] table where they are left out.
        step : callable, optional
            Told how many draws of a build were done.

        Raises
        ------
        InputError
            When there are too few or too many, or the plan's [uncertainty] table states what
            cannot be.
        """
        stated = self.plan.uncertainty
        draws = stated.draws if draws is None else draws
        if not FEWEST_DRAWS <= draws <= MOST_DRAWS:
            raise InputError(
                f"{draws} draws: from {FEWEST_DRAWS} to {MOST_DRAWS:,} can be made; an estimate is "
                "without ranges until they are asked for (--draws 0 on the command line)."
            )
        uncertain, chains = lined_up(self.inputs, self.terms, self.builds)
        return uncertainty_of(
            chains,
            uncertain,
            price_per_kwh=self.terms.price_per_kwh,
            correlations=correlations_of(self.plan),
            steps=usual_steps(uncertain, self.record, self.long_term is not None),
            draws=draws,
            seed=stated.seed if seed is None else seed,
            step=step,
        )

    def sweep(
        self,
        key: str,
        values: Iterable[float],
        step: Callable[[int], None] = lambda done: None,
    ) -> SweptEstimate:
        """Return the estimate for other values of one key of the plan; no file is read again.

        Parameters
        ----------
        key : str
            Such as "economics.price_per_kwh", "build.0.count", or the last word of it where no
            other table has the same: "price_per_kwh".
        values : iterable of float
        step : callable, optional
            Told after each value.

        Raises
        ------
        InputError
            When there is no value, or the plan cannot take one, before anything is computed.
        """
        tried = tuple(value.item() if isinstance(value, np.generic) else value for value in values)
        if not tried:
            raise InputError(f"{key}: there is no value to try; give one at least.")
        overrides = [Override(key, value, "--sweep") for value in tried]
        plans = [with_override(self.plan, each) for each in overrides]
        variants = (read(plan, like=self.inputs) for plan in plans)
        estimates = _estimates(variants, self, step)
        return SweptEstimate(key, tried, estimates)


@frozen_dataclass
class SweptEstimate:
    """An estimate for many values of one key of its plan.

    Parameters
    ----------
    key : str
    values : tuple of float
    estimates : tuple of Estimate
        One for each value.
    """

    key: str
    values: tuple[float, ...]
    estimates: tuple[Estimate, ...]

    def rows(self) -> list[Figures]:
        """Return the main figures, a row for each value and build."""
        return [
            {self.key: value, **row}
            for value, each in zip(self.values, self.estimates, strict=True)
            for row in figures_of(each.builds)
        ]

    def to_frame(self) -> pd.DataFrame:
        """Return every figure, a row for each value and build."""
        import pandas as pd  # noqa: PLC0415 - slow to load

        frames = [each.to_frame() for each in self.estimates]
        return pd.concat(frames, keys=self.values, names=[self.key])


@frozen_dataclass
class Project(Inputs):
    """A plan with everything read that it names, ready to be estimated."""

    def estimate(self) -> Estimate:
        """Compute yearly energy, cost per kWh and payback for every build of the plan."""
        return estimate(self)


def load(path: str | PathLike[str]) -> Project:
    """Read a plan and every file it names.

    Parameters
    ----------
    path : str or path
        The plan, or the folder that holds it as plan.toml.

    Raises
    ------
    InputError
        Naming the file, line or key that is wrong.

    Examples
    --------
    >>> import yieldest as yd
    >>> estimate = yd.load("demo-sites/hill-yard").estimate()
    >>> estimate.builds[0].name
    'one of 2.4 m'
    """
    inputs = read(load_plan(Path(path)))
    return Project(**{field.name: getattr(inputs, field.name) for field in fields(inputs)})


def estimate(inputs: Inputs, like: Estimate | None = None) -> Estimate:
    """Compute yearly energy, cost per kWh and payback for every build of a plan.

    Parameters
    ----------
    inputs : Inputs
    like : Estimate, optional
        Of a variant of the plan: the energy of a build that both share is not computed again.

    Raises
    ------
    InputError
        When a hub is where no height law holds.
    """
    return _estimates([inputs], like)[0]


def _estimates(
    variants: Iterable[Inputs],
    like: Estimate | None,
    step: Callable[[int], None] = lambda done: None,
) -> tuple[Estimate, ...]:
    """Compute variants of a plan, the money of all at once."""
    known = {} if like is None else {one.name: one for one in like.builds}
    read_in = []

    def opened() -> Iterator[tuple[BuildInputs, BuildEstimate | None]]:
        for inputs in variants:
            read_in.append(inputs)
            yield from ((build, known.get(build.settings.name)) for build in inputs.builds)
            step(1)

    made = energies_of_builds(opened())
    of_each = [inputs for inputs in read_in for _ in inputs.builds]
    priced = iter(_priced(list(map(_used, of_each, made))))
    estimates = []
    for inputs in read_in:
        of_plan = tuple(islice(priced, len(inputs.builds)))
        terms = inputs.plan.economics if inputs.load_profile is None else of_plan[0].terms
        estimates.append(Estimate(inputs, terms, of_plan))
    return tuple(estimates)


def _used(inputs: Inputs, build: BuildEstimate) -> BuildEstimate:
    """Return a build with how much of what it makes is used, and on which terms."""
    terms = inputs.plan.economics
    used = _self_consumption(inputs, build)
    if used is not None:
        update = {"self_consumption_share": used.used_share}
        if terms.states("export_price_per_kwh") or used.hours_without_power is not None:
            earned = terms.export_price_per_kwh * used.sold_share_of_rest
            update["export_price_per_kwh"] = earned
        terms = terms.model_copy(update=update)
    return relabelled(build, terms=terms, self_consumption=used)


def _priced(builds: Sequence[BuildEstimate]) -> list[BuildEstimate]:
    """Return builds with their cost, computed at once for all that have the same bill."""
    priced = list(builds)
    of_bill: dict[int, list[int]] = {}
    for place, build in enumerate(builds):
        of_bill.setdefault(id(build.bill), []).append(place)
    for places in of_bill.values():
        bill = builds[places[0]].bill
        if bill is not None:
            alike = [builds[place] for place in places]
            costs = bill.evaluate_all(
                [build.energy.net_kwh for build in alike],
                [build.terms for build in alike],
                [build.inputs.settings.count for build in alike],
            )
            for place, cost in zip(places, costs, strict=True):
                priced[place] = relabelled(builds[place], cost=cost)
    return priced


def _self_consumption(inputs: Inputs, build: BuildEstimate) -> SelfConsumption | None:
    """Reckon hour by hour what is used of a build; None without a load profile or energy."""
    plan, profile = inputs.plan, inputs.load_profile
    if plan.demand is None or profile is None or build.energy.net_kwh <= 0:
        return None
    record = build.inputs.wind.record
    time, readings = build.inputs.times_of(profile), build.wind.readings
    if time is None or readings is None or record is None:
        raise InputError(
            f"{plan.path}: demand is reckoned hour by hour over a wind record with times, and the "
            f"wind of {build.name!r} is none; state economics.self_consumption_share instead."
        )
    if profile.in_utc and not record.in_utc:
        raise InputError(
            f"{profile.provenance.source}: the times of the load profile are in UTC, and those of "
            f"{record.provenance.source} are not known to be; state wind.time_zone of the record."
        )
    used = self_consumption(
        time, readings, build.curve, build.energy.net_kwh, profile, plan.demand, plan.battery
    )
    if profile.in_utc or not build.inputs.clock_in_utc:
        return used
    said = used.provenance.adding(warnings=(HouseByUtc(),))
    return relabelled(used, provenance=said)


def _said(stages: Iterable[Provenance], what: Literal["assumed", "warnings"]) -> Findings:
    """Return what the stages took for granted, or warn of."""
    return tuple(found for stage in stages for found in getattr(stage, what))
