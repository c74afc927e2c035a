"""Where a result came from, how it was made, and what was found that a reader must know."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NoReturn, dataclass_transform


@dataclass_transform(frozen_default=True)
class Finding:
    """What a stage found or took for granted, as numbers; `yieldest.report.sentences` words it.

    A kind of finding states its fields with their types, and is made and compared as a frozen
    dataclass is. To make that many dataclasses would take a tenth of a run.
    """

    def __init__(self, *values: object, **named: object) -> None:
        names = type(self).__annotations__
        stated = dict(zip(names, values, strict=False)) | named
        fields = {name: vars(type(self)).get(name) for name in names} | stated
        missing = [name for name in names if name not in stated and not hasattr(type(self), name)]
        if missing or len(fields) > len(names) or len(stated) < len(values) + len(named):
            raise TypeError(f"{type(self).__name__} has the fields {', '.join(names)}")
        vars(self).update(fields)

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise AttributeError(f"{name} cannot be changed: a finding stays as it was found")

    def __eq__(self, other: object) -> bool:
        return type(other) is type(self) and vars(other) == vars(self)

    def __hash__(self) -> int:
        return hash((type(self), *vars(self).values()))

    def __repr__(self) -> str:
        return f"{type(self).__name__}({', '.join(f'{k}={v!r}' for k, v in vars(self).items())})"

    def __str__(self) -> str:
        """Say it plainly, for a notebook that shows a part of the chain without its report."""
        values = ", ".join(f"{name} {value}" for name, value in vars(self).items())
        said = (type(self).__doc__ or type(self).__name__).splitlines()[0].rstrip(".")
        return f"{said} ({values})." if values else f"{said}."


Findings = tuple[Finding | str, ...]


@dataclass(frozen=True)
class Provenance:
    """What a stage hands on besides its numbers.

    The file or plan key that it worked from; the method, with its published source; what nobody
    stated and it took for granted; and what the reader must know before trusting the numbers.
    """

    source: str
    method: str
    assumed: Findings = ()
    warnings: Findings = ()

    def adding(self, *, assumed: Findings = (), warnings: Findings = ()) -> Provenance:
        """Return it with more said."""
        return replace(self, assumed=self.assumed + assumed, warnings=self.warnings + warnings)
