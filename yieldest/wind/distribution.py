"""The speed distribution of a site at one height, as handed from stage to stage."""

from __future__ import annotations

from dataclasses import dataclass, replace

from yieldest.html_repr import html_table
from yieldest.provenance import Provenance
from yieldest.wind.weibull import mean_speed, scale_of_mean

RAYLEIGH_SHAPE = 2.0
LOW_MEAN_SPEED_MS = 4.0
"""Below this mean speed small wind seldom pays (common practice, no source)."""


@dataclass(frozen=True)
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

    @property
    def mean_speed_ms(self) -> float:
        """Mean speed, calms included."""
        return (1 - self.calm_share) * float(mean_speed(self.shape, self.scale_ms))

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

    def raised(self, factor: float, height_m: float) -> WindDistribution:
        """Return the distribution with every speed multiplied by `factor`, for another height."""
        return replace(self, scale_ms=self.scale_ms * factor, height_m=height_m)


_NOT_MEASURED = (
    "No reading stands behind the stated wind: a mean that is 10 % off makes the energy up to 30 % "
    "off, for it goes with the cube; log the wind where the machine will stand before much money "
    "is spent.",
)


def distribution_of_mean(mean_ms: float, shape: float | None, height_m: float) -> WindDistribution:
    """Make a distribution from a mean speed, with shape 2 (Rayleigh) where none is stated."""
    assumed = () if shape is not None else ("Weibull shape 2 (Rayleigh), for none was stated.",)
    shape = RAYLEIGH_SHAPE if shape is None else shape
    return WindDistribution(
        shape=shape,
        scale_ms=float(scale_of_mean(mean_ms, shape)),
        calm_share=0.0,
        height_m=height_m,
        provenance=Provenance(
            "wind.mean_speed_ms", "stated mean speed and shape", assumed, _NOT_MEASURED
        ),
    )


def distribution_of_weibull(shape: float, scale_ms: float, height_m: float) -> WindDistribution:
    """Make a distribution from a stated Weibull shape and scale."""
    return WindDistribution(
        shape=shape,
        scale_ms=scale_ms,
        calm_share=0.0,
        height_m=height_m,
        provenance=Provenance(
            "wind.weibull_scale_ms", "stated Weibull shape and scale", (), _NOT_MEASURED
        ),
    )
