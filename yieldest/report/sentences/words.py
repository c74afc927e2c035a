"""The one door from a finding to its sentence; each stage's wordings register here."""

from __future__ import annotations

from collections.abc import Iterable
from functools import singledispatch

from yieldest.defaults import Assumed
from yieldest.provenance import Finding


@singledispatch
def sentence(finding: object) -> str:
    """Return a finding in words.

    Parameters
    ----------
    finding : Finding
    """
    raise TypeError(f"no sentence is known for {type(finding).__name__}")


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
