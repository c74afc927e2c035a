"""The first step: every file of a plan opened, recognised, checked and fitted, once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import numpy.typing as npt

from yieldest.economics.bill_of_materials import BillOfMaterials
from yieldest.economics.read_bill import read_bill
from yieldest.energy.demand import LoadProfile, read_load_profile, standard_profile
from yieldest.errors import InputError
from yieldest.files.text_file import Progress, open_text
from yieldest.frozen import frozen_dataclass
from yieldest.model.build_curve import BuildCurve, read_build_curve
from yieldest.model.site_wind import SiteWind, WindFiles, site_wind
from yieldest.plan import Build, Place, Plan
from yieldest.turbine.load import TYPICAL
from yieldest.wind.record_files import files_of

_SMALL = 20_000
"""Bytes; what `yieldest start` writes is no larger."""
OF_THE_BILL = {"bill", "scope_default"}
"""Keys of a build that say what it costs, and change nothing in what it makes."""
OF_SEVERAL = {"count", "losses", "array", "cable", "converter", *OF_THE_BILL}
"""Keys of a build that change nothing for the wind at its hub, or in its power curve."""
_NOT_OF_THE_CURVE = {"site", "hub_height_m", *OF_SEVERAL}
"""Keys of a build that change nothing in its power curve as read."""
_NOT_OF_THE_RECORD = {"measured_at_hub_site"}
"""Keys of a wind that change nothing in how it is read."""
_OF_THE_ASSESSMENT = {
    "quality_control",
    "season_correction",
    "fit",
    "energy_error_limit",
    "spread_within_interval",
}
"""Keys of a wind that only say what is made of its records once they are read."""


@frozen_dataclass
class BuildInputs:
    """One build of a plan with its files read.

    Parameters
    ----------
    settings : Build
        The table of the plan.
    place : Place
        Where it stands.
    wind : SiteWind
        There, fitted, and carried to the long term where the place has a reference; the same for
        all places that share a record.
    curve : BuildCurve
    bill : BillOfMaterials or None
    """

    settings: Build
    place: Place
    wind: SiteWind
    curve: BuildCurve
    bill: BillOfMaterials | None

    @property
    def height_law(self) -> tuple[object, ...]:
        """What decides how the wind changes with height here: the same for those that share it."""
        return (id(self.wind), *self.place.site.height_law.items())

    @property
    def clock(self) -> str | None:
        """Time zone of the clocks at the place: stated there, else for the stamps of its record.

        UTC is what weather services write, and says nothing of the clocks.
        """
        of_record = self.place.wind.time_zone
        return self.place.site.clock or (None if of_record == "UTC" else of_record)

    @property
    def clock_time(self) -> npt.NDArray[np.datetime64] | None:
        """Times of the readings of `wind` by the clocks at the place, or as they stand."""
        return self.wind.by_clock(self.clock)

    @property
    def clock_in_utc(self) -> bool:
        """Whether `clock_time` is in UTC because nobody states another clock."""
        return self.wind.record is not None and self.wind.record.in_utc and self.clock is None

    def times_of(self, profile: LoadProfile) -> npt.NDArray[np.datetime64] | None:
        """Return the times of the readings by the clock that a load profile goes by."""
        return self.wind.time if profile.in_utc else self.clock_time

    def changed(self, **keys: object) -> BuildInputs:
        """Return the build with other values of keys that touch no file of its curve."""
        return replace(self, settings=self.settings.model_copy(update=keys))


@frozen_dataclass
class Inputs:
    """A plan with everything read that it names.

    Parameters
    ----------
    plan : Plan
    builds : tuple of BuildInputs
    left_as_started : tuple of str
        Files that still hold the invented numbers of `yieldest start`.
    load_profile : LoadProfile or None
        What the house draws, where the plan has [demand].
    """

    plan: Plan
    builds: tuple[BuildInputs, ...]
    left_as_started: tuple[str, ...]
    load_profile: LoadProfile | None = None

    @property
    def places(self) -> dict[str, BuildInputs]:
        """The first build at each place where one stands, by the name of the place."""
        first: dict[str, BuildInputs] = {}
        for build in self.builds:
            first.setdefault(build.place.name, build)
        return first

    @property
    def winds(self) -> dict[str, SiteWind]:
        """The winds that builds stand in, each once, by the places that share it."""
        winds = {id(each.wind): each.wind for each in self.places.values()}
        return {
            ", ".join(name for name, each in self.places.items() if each.wind is wind): wind
            for wind in winds.values()
        }


def read(plan: Plan, progress: Progress | None = None, like: Inputs | None = None) -> Inputs:
    """Read the wind, the curves and the bills of a plan.

    Parameters
    ----------
    plan : Plan
    progress : callable, optional
        Told now and then the share of the record read so far.
    like : Inputs, optional
        Read before, from a plan of which this is a variant: what both share is not read again.

    Raises
    ------
    InputError
        When a file that the plan names cannot be used.
    """
    before = () if like is None else like.builds
    winds = [(build.place, build.wind) for build in before]
    builds: list[BuildInputs] = []
    for build in plan.build:
        place = plan.place_of(build)
        wind = _known_wind(place, winds)
        if wind is None:
            wind = site_wind(place, progress, _known_files(place, winds))
        winds.append((place, wind))
        known = (*before, *builds)
        builds.append(BuildInputs(build, place, wind, *read_build(plan, build, known)))
    started = left_as_started(plan) if like is None else like.left_as_started
    return Inputs(plan, tuple(builds), started, _load_profile(plan, like))


def _load_profile(plan: Plan, like: Inputs | None) -> LoadProfile | None:
    demand = plan.demand
    if demand is None:
        return None
    if like is not None and like.plan.demand == demand:
        return like.load_profile
    if demand.profile is not None:
        return read_load_profile(plan.file(demand.profile))
    assert demand.kwh_per_year is not None  # the plan lets none through without either
    return standard_profile(demand.kwh_per_year)


def read_build(
    plan: Plan, build: Build, before: tuple[BuildInputs, ...] = ()
) -> tuple[BuildCurve, BillOfMaterials | None]:
    """Read the curve and the bill of a build, but for what was read before.

    That is a curve for a build of its name, and a bill for any.

    Parameters
    ----------
    plan : Plan
    build : Build
        Of that plan.
    before : tuple of BuildInputs

    Raises
    ------
    InputError
        When a file cannot be used.
    """
    alike = next((one for one in before if one.settings.name == build.name), None)
    others = set(Build.model_fields) if alike is None else alike.settings.differs_in(build)
    if alike is not None and others <= _NOT_OF_THE_CURVE:
        curve = alike.curve
    else:
        curve = read_build_curve(plan, build, None if alike is None else alike.curve)
    if alike is not None and not others & OF_THE_BILL:
        bill = alike.bill
    elif build.bill is None:
        bill = None
    else:
        bill = read_bill(plan.file(build.bill), plan.currency, build.scope_default)
    if bill is not None:
        bill.require_scopes(build.count)
    return curve, bill


def _known_wind(place: Place, winds: Sequence[tuple[Place, SiteWind]]) -> SiteWind | None:
    """Return the wind of a place from those read before, if it is among them."""
    alike = [
        (wind, _differs_in(place, known))
        for known, wind in winds
        if known.plan_path == place.plan_path
    ]
    for wind, others in alike:
        if not others:
            return wind
    # Of monthly means a file may have several heights.
    for wind, others in alike:
        if others == {"measured_height_m"} and place.wind.monthly_means is None:
            return wind.measured_at(place.wind.measured_height_m)
    return None


def _known_files(place: Place, winds: Sequence[tuple[Place, SiteWind]]) -> WindFiles | None:
    """Return the records of a place from those read before, if they are among them."""
    for known, wind in winds:
        if known.plan_path == place.plan_path and _differs_in(place, known) <= _OF_THE_ASSESSMENT:
            return wind.as_read
    return None


def _differs_in(place: Place, known: Place) -> set[str]:
    """Return the keys of a wind that make another wind of it."""
    others = place.wind.differs_in(known.wind) - _NOT_OF_THE_RECORD
    mine, its = (each.wind.quality_control.model_fields_set for each in (place, known))
    # Of a rule that is stated it is said when it cannot be kept, if only its default is stated.
    return others if mine == its else others | {"quality_control"}


def input_files(plan: Plan) -> list[Path]:
    """Return the plan's own path and the files it names, those of a folder or a glob one by one.

    Raises
    ------
    InputError
        When a folder or a glob holds no record.
    """
    named = [plan.file(name) for name in plan.file_names() if name != TYPICAL]
    return list(dict.fromkeys([plan.path, *(file for path in named for file in files_of(path))]))


def left_as_started(plan: Plan) -> tuple[str, ...]:
    """Return the names of the plan's files that are still as `yieldest start` wrote them."""
    written = {
        _cells(file.read_text(encoding="utf-8"))
        for file in (files("yieldest") / "templates").iterdir()
        if file.is_file() and file.name != "plan.toml"
    }
    return tuple(
        path.name
        for path in input_files(plan)
        if path.is_file() and path.stat().st_size <= _SMALL and _cells(_text_of(path)) in written
    )


def _text_of(path: Path) -> str:
    try:
        with open_text(path) as stream:
            return stream.read(_SMALL)
    except InputError:
        return ""  # no text, such as NetCDF


def _cells(text: str) -> str:
    """Return a table without the commas or tabs at the ends of its lines."""
    lines = text.replace("\t", ",").splitlines()
    return "\n".join(line.rstrip(",") for line in lines)
