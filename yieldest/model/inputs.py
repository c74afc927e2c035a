"""The first step: every file of a plan opened, recognised, checked and fitted, once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path

from yieldest.economics.bill_of_materials import BillOfMaterials
from yieldest.economics.read_bill import read_bill
from yieldest.errors import InputError
from yieldest.files.text_file import Progress, open_text
from yieldest.model.build_curve import BuildCurve, read_build_curve
from yieldest.model.site_wind import SiteWind, site_wind
from yieldest.plan import Build, Plan
from yieldest.turbine.load import TYPICAL
from yieldest.wind.record_files import files_of

_SMALL = 20_000
"""Bytes; what `yieldest start` writes is no larger."""
_NOT_OF_THE_CURVE = {
    *("count", "hub_height_m", "losses", "array", "cable", "converter", "bill", "scope_default"),
}
"""Keys of a build that change nothing in its power curve as read."""


@dataclass(frozen=True)
class BuildInputs:
    """One build of a plan with its files read.

    Parameters
    ----------
    settings : Build
        The table of the plan.
    curve : BuildCurve
    bill : BillOfMaterials or None
    """

    settings: Build
    curve: BuildCurve
    bill: BillOfMaterials | None

    def changed(self, **keys: object) -> BuildInputs:
        """Return the build with other values of keys that touch no file of its curve."""
        return replace(self, settings=self.settings.model_copy(update=keys))


@dataclass(frozen=True)
class Inputs:
    """A plan with everything read that it names.

    Parameters
    ----------
    plan : Plan
    wind : SiteWind
        Fitted, and carried to the long term where the plan has a reference.
    builds : tuple of BuildInputs
    left_as_started : tuple of str
        Files that still hold the invented numbers of `yieldest start`.
    """

    plan: Plan
    wind: SiteWind
    builds: tuple[BuildInputs, ...]
    left_as_started: tuple[str, ...]


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
    if like is not None and (like.plan.path, like.plan.wind) == (plan.path, plan.wind):
        wind = like.wind
    else:
        wind = site_wind(plan, progress)
    before = () if like is None else like.builds
    return Inputs(
        plan=plan,
        wind=wind,
        builds=tuple(read_build(plan, build, before) for build in plan.build),
        left_as_started=left_as_started(plan) if like is None else like.left_as_started,
    )


def read_build(plan: Plan, build: Build, before: tuple[BuildInputs, ...] = ()) -> BuildInputs:
    """Read the files of a build, but for those that were read before for one of its name.

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
    if alike is not None and _of_the_curve(alike.settings) == _of_the_curve(build):
        curve = alike.curve
    else:
        curve = read_build_curve(plan, build)
    if alike is not None and _of_the_bill(alike.settings) == _of_the_bill(build):
        bill = alike.bill
    elif build.bill is None:
        bill = None
    else:
        bill = read_bill(plan.file(build.bill), plan.currency, build.scope_default)
    if bill is not None:
        bill.require_scopes(build.count)
    return BuildInputs(build, curve, bill)


def _of_the_curve(build: Build) -> dict[str, object]:
    return build.model_dump(exclude=_NOT_OF_THE_CURVE)


def _of_the_bill(build: Build) -> tuple[str | None, str | None]:
    return build.bill, build.scope_default


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
