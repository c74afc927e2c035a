"""Where a result came from, how it was made, and what was found that a reader must know."""

from __future__ import annotations

from typing import dataclass_transform

from yieldest.frozen import frozen_dataclass, relabelled


@dataclass_transform(frozen_default=True)
class Finding:
    """What a stage found or took for granted, as numbers; `yieldest.report.sentences` words it.

    A kind of finding states its fields with their types, and is a frozen dataclass.
    """

    def __init_subclass__(cls) -> None:
        frozen_dataclass(cls)

    def __str__(self) -> str:
        """Say it plainly, for a notebook that shows a part of the chain without its report."""
        values = ", ".join(f"{name} {value}" for name, value in vars(self).items())
        said = (type(self).__doc__ or type(self).__name__).splitlines()[0].rstrip(".")
        return f"{said} ({values})." if values else f"{said}."


Findings = tuple[Finding | str, ...]


@frozen_dataclass
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
        return relabelled(self, assumed=self.assumed + assumed, warnings=self.warnings + warnings)
