"""The one door from a finding to its sentence; each stage's wordings register here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache, singledispatch
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from string import Formatter
from typing import Any

import numpy as np

from yieldest.defaults import Assumed
from yieldest.provenance import Finding
from yieldest.units import as_shown, number


@singledispatch
def sentence(finding: object) -> str:
    """Return a finding in words.

    Parameters
    ----------
    finding : Finding
    """
    kind = type(finding)
    if sentence.dispatch(kind) is sentence.dispatch(object):
        _load_wordings()
    if sentence.dispatch(kind) is sentence.dispatch(object):
        raise TypeError(f"no sentence is known for {kind.__name__}")
    return sentence(finding)


def minute(time: np.datetime64) -> str:
    """Write a time to the minute."""
    return str(time.astype("datetime64[m]")).replace("T", " ")


class _Filled(Formatter):
    """Fills in what a finding holds; behind the form of a number may stand what it is.

    "m/s" or "m" is written in the units of the reader, in brackets without naming them; "%" is a
    share; "plain" is never written as 1e+03. A time is written to the minute.
    """

    def format_field(self, value: Any, format_spec: str) -> str:  # noqa: ANN401 - as its base
        form, _, unit = format_spec.partition(" ")
        if isinstance(value, np.datetime64):
            return minute(value)
        if unit in ("", "%"):
            return format(100 * value, form) + " %" if unit else format(value, form)
        if unit == "plain":
            return format(float(format(value, form)), ",.12g")
        bare = unit.strip("()")
        written = number(value, bare, form)
        return written if bare != unit else f"{written} {as_shown(0.0, bare)[1]}"


class _Template(str):
    """A sentence with places to fill in."""

    __slots__ = ()

    def filled(self, finding: Finding) -> str:
        return _Filled().format(self, finding)


def say(templates: Mapping[type[Finding], str]) -> None:
    """Register sentences that only fill in what a finding holds: "{0.top_m:.1f m} high"."""
    for kind, template in templates.items():
        sentence.register(kind)(_Template(template).filled)


@cache
def _load_wordings() -> None:
    """Import every module of wordings, which register themselves; not before one is needed."""
    for module in iter_modules([str(Path(__file__).parent)]):
        import_module(f"yieldest.report.sentences.{module.name}")


@sentence.register
def _(finding: str) -> str:
    return finding


def sentences(findings: Iterable[Finding | str], of: str = "") -> list[str]:
    """Return each different finding in words once, behind the name of whom it is about."""
    lead = f"{of}: " if of else ""
    return list(dict.fromkeys(lead + sentence(finding) for finding in findings))


@sentence.register
def _(finding: Assumed) -> str:
    taken = finding.default
    return f"{taken.words} {taken} ({taken.source}), for {taken.key} is not stated."
