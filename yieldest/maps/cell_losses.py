"""The share of energy that a build keeps, which depends on the wind where machines are machines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import RectBivariateSpline

from yieldest.arrays import FloatArray
from yieldest.energy.array_losses import MachineArray
from yieldest.energy.losses import assumed_losses, kept_share, losses_of
from yieldest.energy.wind_rose import speed_bins
from yieldest.model.array_of_build import machine_array_of
from yieldest.plan import Build
from yieldest.provenance import Findings
from yieldest.turbine.power_curve import PowerCurve
from yieldest.wind.distribution import WindDistribution
from yieldest.wind.weibull import share_above

SHAPES = np.array([0.6, 0.8, 1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0, 6.5])
SCALES_MS = np.array(
    [1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 15.0, 25.0]
)
"""Distributions for which wakes and wires are weighed; between them a cubic spline in the
logarithms serves, to within some 0.00005 of the energy."""


@dataclass(frozen=True)
class Kept:
    """The share of energy that a build keeps after its losses.

    `fixed` is what the losses that are the same in every wind leave, `machines` what wakes and
    wires do, by `SHAPES` and `SCALES_MS`; None where neither is computed.
    """

    fixed: float
    machines: FloatArray | None
    assumed: Findings
    warnings: Findings

    def share(self, shape: FloatArray, scale_ms: FloatArray) -> FloatArray:
        """Return the share of energy kept in the distribution at the hub; the arrays broadcast."""
        shape, scale_ms = np.broadcast_arrays(shape, scale_ms)
        if self.machines is None:
            return np.full(shape.shape, self.fixed)
        k = np.log(np.clip(shape, SHAPES[0], SHAPES[-1]))
        a = np.log(np.clip(scale_ms, SCALES_MS[0], SCALES_MS[-1]))
        known = np.isfinite(k) & np.isfinite(a)
        spline = RectBivariateSpline(np.log(SHAPES), np.log(SCALES_MS), self.machines)
        machines = spline(np.where(known, k, 0.0), np.where(known, a, 0.0), grid=False)
        return np.where(known, self.fixed * machines, np.nan)


def kept_of(build: Build, curve: PowerCurve) -> Kept:
    """Compute what a build keeps, once for all cells, with the curve in the air at the hub."""
    distribution = WindDistribution.weibull(2.0, 6.0, height_m=build.hub_height_m)
    machines = machine_array_of(build, distribution, curve, None, 1.0)
    usual = machines.compute(build.count)
    losses = losses_of(build.losses.stated, build.count, usual.losses)
    computed = {loss.category for loss in usual.losses}
    assumed: Findings = assumed_losses(losses, build.count)
    warnings = list(usual.warnings)
    if usual.wake is not None:
        assumed += usual.wake.assumed
        warnings += usual.wake.warnings
    fixed = kept_share(tuple(loss for loss in losses if loss.category not in computed))
    return Kept(
        fixed,
        _kept_joined(machines, build.count, curve) if computed else None,
        assumed,
        tuple(warnings),
    )


def _kept_joined(machines: MachineArray, count: int, curve: PowerCurve) -> FloatArray:
    """Return what wakes and wires leave, by shape and scale, all directions alike."""
    free_w, arrived_w = machines.powers_all_round(count)
    above = share_above(
        speed_bins(curve.cut_out_ms), SHAPES[:, np.newaxis, np.newaxis], SCALES_MS[:, np.newaxis]
    )
    share = -np.diff(above, axis=-1)
    made = share @ free_w
    return np.divide(share @ arrived_w, made, out=np.ones_like(made), where=made > 0)
