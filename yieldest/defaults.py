"""What is taken where nobody states a value: each value once, with its unit and its source."""

from __future__ import annotations

from dataclasses import dataclass

from yieldest.provenance import Finding

COMMON_PRACTICE = "common practice, no source"
OUR_CHOICE = "our choice"


@dataclass(frozen=True)
class Default:
    """A value that is taken where nobody states one.

    Parameters
    ----------
    key : str
        The plan key that would state it.
    words : str
        What it is, for people.
    value : float
    unit : str
        "share", "share a year", "years", "m/s", ...; "" for a plain number.
    source : str
    """

    key: str
    words: str
    value: float
    unit: str
    source: str

    def __str__(self) -> str:
        """Write value and unit as people do: a share as per cent."""
        if self.unit.startswith("share"):
            return f"{100 * self.value:.3g} %{self.unit.removeprefix('share')}"
        return f"{self.value:.4g} {self.unit}".rstrip()


@dataclass(frozen=True)
class Assumed(Finding):
    """A default was taken, for nobody stated the value."""

    default: Default


# The wind.

# The hub.

# The turbine.

# Energy.

# Economics.

# Uncertainty.
