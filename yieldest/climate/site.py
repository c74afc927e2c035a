"""The speed climate of a site at one height, as handed from stage to stage."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from yieldest.climate.weibull import fit_maximum_likelihood, fit_moments, mean_speed, scale_of_mean
from yieldest.errors import InputError
from yieldest.provenance import Provenance
from yieldest.record.read import Record

RAYLEIGH_SHAPE = 2.0
LOW_MEAN_SPEED_MS = 4.0
"""Below this mean speed small wind seldom pays (common practice, no source)."""


@dataclass(frozen=True)
class Climate:
    """How often each wind speed blows at one height.

    Parameters
    ----------
    shape, scale_ms : float
        Weibull shape and scale (m/s) of the speeds when it is not calm.
    calm_share : float
        Share of time with no wind at all.
    height_m : float
        Height above ground that the climate holds for.
    provenance : Provenance
    """

    shape: float
    scale_ms: float
    calm_share: float
    height_m: float
    provenance: Provenance

    @property
    def mean_speed_ms(self) -> float:
        """Mean speed, calms included."""
        return (1 - self.calm_share) * float(mean_speed(self.shape, self.scale_ms))

    def raised(self, factor: float, height_m: float) -> Climate:
        """Return the climate with every speed multiplied by `factor`, for another height."""
        return replace(self, scale_ms=self.scale_ms * factor, height_m=height_m)


def climate_of_record(record: Record, height_m: float, method: str) -> Climate:
    """Fit the climate of a record.

    Parameters
    ----------
    record : Record
    height_m : float
        Height of the anemometer.
    method : {"maximum likelihood", "moments"}

    Raises
    ------
    InputError
        When the record has fewer than two different speeds above zero.
    """
    fit = {"maximum likelihood": fit_maximum_likelihood, "moments": fit_moments}[method]
    source = {
        "maximum likelihood": "Seguro & Lambert 2000",
        "moments": "Justus et al. 1978",
    }[method]
    speed = record.valid_speed_ms
    shape, scale = (float(value) for value in fit(speed))
    if np.isnan(shape):
        raise InputError(
            f"{record.provenance.source}: a distribution needs at least two different speeds above "
            "zero; use a longer record or state the mean speed."
        )
    return Climate(
        shape=shape,
        scale_ms=scale,
        calm_share=float((speed == 0).mean()),
        height_m=height_m,
        provenance=Provenance(
            source=record.provenance.source,
            method=f"Weibull by {method} ({source}), calms kept as a share of their own",
        ),
    )


def climate_of_mean(mean_ms: float, shape: float | None, height_m: float) -> Climate:
    """Make a climate from a mean speed, with shape 2 (Rayleigh) where none is stated."""
    assumed = () if shape is not None else ("Weibull shape 2 (Rayleigh), for none was stated.",)
    shape = RAYLEIGH_SHAPE if shape is None else shape
    return Climate(
        shape=shape,
        scale_ms=float(scale_of_mean(mean_ms, shape)),
        calm_share=0.0,
        height_m=height_m,
        provenance=Provenance("wind.mean_speed_ms", "stated mean speed and shape", assumed),
    )
