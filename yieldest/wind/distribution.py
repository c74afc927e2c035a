"""The speed distribution of a site at one height, as handed from stage to stage."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.defaults import RAYLEIGH_SHAPE, STANDARD_DENSITY_KG_M3, Assumed
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass, relabelled
from yieldest.html_repr import html_table, labelled_axes
from yieldest.provenance import Finding, Provenance
from yieldest.wind.profile import TERRAINS, to_hub
from yieldest.wind.weibull import moment, scale_of_mean, share_above

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LOW_MEAN_SPEED_MS = 4.0
"""Below this mean speed small wind seldom pays (common practice, no source)."""


class NotMeasured(Finding):
    """No reading stands behind the stated wind."""


def check_height(height_m: float) -> None:
    """Refuse what is no height above ground."""
    if not 0 < height_m < np.inf:
        raise InputError(
            f"height_m is {height_m:g}, but a height above ground, more than 0 m, was expected."
        )


@frozen_dataclass
class WindDistribution:
    """How often each wind speed blows at one height.

    Parameters
    ----------
    shape, scale_ms : float
        Weibull shape and scale (m/s) of the speeds when it is not calm.
    calm_share : float
        Share of time with no wind at all.
    height_m : float
        Height above ground that the distribution holds for.
    provenance : Provenance
    reading_limit : float or None
        Where there are readings too: energy by the fit that is farther than this from theirs gives
        way to theirs (0: always); None for never.
    """

    shape: float
    scale_ms: float
    calm_share: float
    height_m: float
    provenance: Provenance
    reading_limit: float | None = None

    @classmethod
    def weibull(cls, shape: float, scale_ms: float, *, height_m: float) -> WindDistribution:
        """Make a distribution from a Weibull shape and scale (m/s), without calms.

        Examples
        --------
        >>> wind = WindDistribution.weibull(2.0, 6.0, height_m=10)
        >>> round(wind.mean(), 3), round(float(wind.cdf(6.0)), 3)
        (5.317, 0.632)
        """
        method = "stated Weibull shape and scale"
        stated = Provenance("wind.weibull_scale_ms", method, (), (NotMeasured(),))
        return cls(shape, scale_ms, 0.0, height_m, stated)

    @classmethod
    def from_mean(
        cls, mean_ms: float, shape: float | None = None, *, height_m: float
    ) -> WindDistribution:
        """Make a distribution from a mean speed (m/s), of shape 2 (Rayleigh) where none is stated.

        Examples
        --------
        >>> round(WindDistribution.from_mean(5.0, height_m=10).scale_ms, 3)
        5.642
        """
        assumed = () if shape is not None else (Assumed(RAYLEIGH_SHAPE),)
        shape = RAYLEIGH_SHAPE.value if shape is None else shape
        method = "stated mean speed and shape"
        stated = Provenance("wind.mean_speed_ms", method, assumed, (NotMeasured(),))
        return cls(shape, float(scale_of_mean(mean_ms, shape)), 0.0, height_m, stated)

    @property
    def mean_speed_ms(self) -> float:
        """Mean speed, calms included."""
        return self.moment(1)

    def _repr_html_(self) -> str:
        """Show the distribution in a notebook."""
        return html_table(
            f"Wind at {self.height_m:g} m",
            [
                ("mean speed", f"{self.mean_speed_ms:.2f} m/s"),
                ("Weibull shape", f"{self.shape:.2f}"),
                ("Weibull scale", f"{self.scale_ms:.2f} m/s"),
                ("calms", f"{100 * self.calm_share:.1f} % of the time"),
                ("source", self.provenance.source),
                ("method", self.provenance.method),
            ],
            [str(note) for note in (*self.provenance.assumed, *self.provenance.warnings)],
        )

    def cdf(self, speed_ms: npt.ArrayLike) -> FloatArray:
        """Return the share of time with at most a speed; calms are a step at zero."""
        speed = floats(speed_ms)
        return np.where(speed < 0, 0.0, 1 - self.sf(speed))

    def sf(self, speed_ms: npt.ArrayLike) -> FloatArray:
        """Return the share of time with more than a speed."""
        windy = share_above(np.maximum(floats(speed_ms), 0.0), self.shape, self.scale_ms)
        return np.where(floats(speed_ms) < 0, 1.0, (1 - self.calm_share) * windy)

    def pdf(self, speed_ms: npt.ArrayLike) -> FloatArray:
        """Return the density per m/s of the speeds above zero; calms have none."""
        ratio = np.maximum(floats(speed_ms), 0.0) / self.scale_ms
        with np.errstate(divide="ignore"):  # below shape 1 the density at zero has no bound
            density = self.shape / self.scale_ms * ratio ** (self.shape - 1)
        windy = (1 - self.calm_share) * density * np.exp(-(ratio**self.shape))
        return np.where(floats(speed_ms) < 0, 0.0, windy)

    def ppf(self, share: npt.ArrayLike) -> FloatArray:
        """Return the speed that is not exceeded in a share of time; NaN outside 0 to 1."""
        asked = floats(share)
        above = np.minimum((1 - asked) / (1 - self.calm_share), 1.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            speed = self.scale_ms * (-np.log(above)) ** (1 / self.shape)
        return np.where((asked < 0) | (asked > 1), np.nan, speed)

    def rvs(
        self, size: int | tuple[int, ...] = 1, random_state: int | np.random.Generator | None = None
    ) -> FloatArray:
        """Return random speeds of shape `size`, calms among them, from a seed or a generator."""
        return self.ppf(np.random.default_rng(random_state).random(size))

    def moment(self, order: float) -> float:
        """Return the mean of a power of the speed, calms included."""
        return (1 - self.calm_share) * float(moment(self.shape, self.scale_ms, order))

    def mean(self) -> float:
        """Return the mean speed in m/s, calms included."""
        return self.mean_speed_ms

    def var(self) -> float:
        """Return the variance of the speed in m2/s2."""
        return self.moment(2) - self.mean() ** 2

    def std(self) -> float:
        """Return the standard deviation of the speed in m/s."""
        return float(np.sqrt(self.var()))

    def power_density(self, air_density_kg_m3: float = STANDARD_DENSITY_KG_M3) -> float:
        """Return the mean power in the wind in W/m2, half the density times the mean cube."""
        return 0.5 * air_density_kg_m3 * self.moment(3)

    def at_height(
        self,
        height_m: float,
        *,
        roughness_m: float | None = None,
        shear_exponent: float | None = None,
        terrain: str | None = None,
        displacement_m: float = 0.0,
    ) -> WindDistribution:
        """Return the distribution at another height.

        Parameters
        ----------
        height_m : float
            Above ground.
        roughness_m, shear_exponent, terrain, displacement_m : optional
            As for `yieldest.wind.profile.to_hub`; at most one of the first three.

        Raises
        ------
        InputError
            When more than one is stated, a height is none above ground, a terrain is not known, or
            the log law does not reach one of the heights.
        """
        for height in (self.height_m, height_m):
            check_height(height)
        if sum(one is not None for one in (roughness_m, shear_exponent, terrain)) > 1:
            raise InputError("state one of roughness_m, shear_exponent and terrain.")
        if terrain is not None and terrain not in TERRAINS:
            raise InputError(
                f"no terrain is called {terrain!r}; take one of {', '.join(TERRAINS)}."
            )
        step = to_hub(
            self.height_m,
            height_m,
            shear_exponent=shear_exponent,
            roughness_length_m=roughness_m,
            terrain=terrain,
            displacement_m=displacement_m,
        )
        carried, own = step.provenance, self.provenance
        together = Provenance(
            own.source,
            f"{own.method}; from {self.height_m:g} m by {carried.method}",
            (*own.assumed, *carried.assumed),
            (*own.warnings, *carried.warnings),
        )
        return replace(self.raised(step.factor, height_m), provenance=together)

    def raised(self, factor: float, height_m: float) -> WindDistribution:
        """Return the distribution with every speed multiplied by `factor`, for another height."""
        return relabelled(self, scale_ms=self.scale_ms * factor, height_m=height_m)

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the density of the speeds, on new axes where none are given."""
        ax = labelled_axes(ax, "wind speed (m/s)", "share of time per m/s")
        speed = np.linspace(0.01, float(self.ppf(0.9995)), 400)
        ax.plot(speed, self.pdf(speed), label=f"{self.height_m:g} m")
        return ax
