"""The distributions an uncertain input may have, as functions of standard normal variates.

In closed form: a distribution is asked for its values at normal variates and not at probabilities,
which keeps the digits of the upper tail and takes no part of scipy that is slow to load.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from yieldest.arrays import FloatArray, floats
from yieldest.frozen import frozen_dataclass


class InputDistribution(Protocol):
    """A distribution, which writes itself in words.

    Its median is at the variate 0; 95 % of the cases lie below what it has at 1.645.
    """

    @property
    def standard_uncertainty(self) -> float:
        """The standard deviation, in the unit of the values."""

    def at(self, variate: npt.ArrayLike) -> FloatArray:
        """Return the values at standard normal variates, of any shape."""


@frozen_dataclass
class Normal:
    """A normal distribution."""

    mean: float
    standard_uncertainty: float

    def at(self, variate: npt.ArrayLike) -> FloatArray:
        """Return the values at standard normal variates."""
        return np.asarray(self.mean + self.standard_uncertainty * floats(variate))

    def __str__(self) -> str:
        return f"normal, {self.mean:.4g} ± {self.standard_uncertainty:.2g}"


@frozen_dataclass
class Lognormal:
    """A lognormal distribution, for what cannot fall below zero.

    Parameters
    ----------
    median : float
        Above zero.
    relative : float
        Standard deviation over mean.
    """

    median: float
    relative: float

    @property
    def sigma(self) -> float:
        """Standard deviation of the logarithm, sqrt(ln(1 + relative^2))."""
        return float(np.sqrt(np.log1p(self.relative**2)))

    @property
    def standard_uncertainty(self) -> float:
        """The standard deviation."""
        return self.median * float(np.exp(self.sigma**2 / 2)) * self.relative

    def at(self, variate: npt.ArrayLike) -> FloatArray:
        """Return the values at standard normal variates."""
        return np.asarray(self.median * np.exp(self.sigma * floats(variate)))

    def __str__(self) -> str:
        return f"lognormal, {self.median:.3g} ± {100 * self.relative:.2g} %"


@frozen_dataclass
class CutOff:
    """Another distribution, whose values beyond two bounds become the bound."""

    inner: InputDistribution
    low: float
    high: float

    @property
    def standard_uncertainty(self) -> float:
        """The standard deviation of the distribution as stated, before it is cut off."""
        return self.inner.standard_uncertainty

    def at(self, variate: npt.ArrayLike) -> FloatArray:
        """Return the values at standard normal variates."""
        return np.clip(self.inner.at(variate), self.low, self.high)

    def __str__(self) -> str:
        return f"{self.inner}, cut off at {self.low:g} and {self.high:g}"


@frozen_dataclass
class Uniform:
    """Every value between two bounds as likely as another."""

    low: float
    high: float

    @property
    def standard_uncertainty(self) -> float:
        """The standard deviation, width / sqrt(12) (JCGM 100:2008, 4.3.7)."""
        return (self.high - self.low) / 12**0.5

    def at(self, variate: npt.ArrayLike) -> FloatArray:
        """Return the values at standard normal variates."""
        return np.asarray(self.low + (self.high - self.low) * ndtr(floats(variate)))

    def __str__(self) -> str:
        return f"uniform, {self.low:.4g} to {self.high:.4g}"


@frozen_dataclass
class Triangular:
    """Most likely at one value, never beyond two others; not all three are equal."""

    low: float
    mode: float
    high: float

    @property
    def standard_uncertainty(self) -> float:
        """The standard deviation (JCGM 101:2008, 6.4.5, for the symmetric case)."""
        a, c, b = self.low, self.mode, self.high
        return float(np.sqrt((a * a + b * b + c * c - a * b - a * c - b * c) / 18))

    def at(self, variate: npt.ArrayLike) -> FloatArray:
        """Return the values at standard normal variates."""
        share = ndtr(floats(variate))
        width, rise, fall = self.high - self.low, self.mode - self.low, self.high - self.mode
        return np.where(
            share * width < rise,
            self.low + np.sqrt(share * width * rise),
            self.high - np.sqrt((1 - share) * width * fall),
        )

    def __str__(self) -> str:
        return f"triangular, {self.low:.4g} to {self.high:.4g}, most likely {self.mode:.4g}"


@frozen_dataclass
class ListedValues:
    """A list of values, each as likely as another; write one twice to double its weight."""

    values: Sequence[float]

    @property
    def standard_uncertainty(self) -> float:
        """The standard deviation of the list."""
        return float(np.std(self.values))

    def at(self, variate: npt.ArrayLike) -> FloatArray:
        """Return the values at standard normal variates, the lowest at the lowest."""
        ordered = np.sort(floats(self.values))
        index = np.floor(ndtr(floats(variate)) * ordered.size).astype(np.int64)
        return ordered[np.minimum(index, ordered.size - 1)]

    def __str__(self) -> str:
        return "one of " + ", ".join(f"{value:.4g}" for value in sorted(self.values))
