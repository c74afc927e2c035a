"""What a reader of the bins must know: gaps, thin bins, and readings far from the others."""

from __future__ import annotations

import numpy as np

from yieldest.arrays import plainly
from yieldest.turbine.bins import BIN_WIDTH_MS, Bins, bin_number
from yieldest.turbine.readings import Readings
from yieldest.turbine.smooth_curve import SmoothCurve

_FAR_OUT = 6.0
"""Readings so many robust standard deviations from the middle of their bin are named."""
_LEAST_SPREAD = 0.05
"""Readings of a bin may always differ by this share of its mean; our choice."""
_ENOUGH_TO_JUDGE = 5


def bin_warnings(readings: Readings, bins: Bins, smooth: SmoothCurve) -> tuple[str, ...]:
    """Say what stands behind bins and curve, one sentence each."""
    said = []
    numbers = bin_number(bins.centre_ms)
    gaps = sorted(set(range(numbers[0], numbers[-1] + 1)) - set(numbers.tolist()))
    if gaps:
        listed = ", ".join(f"{BIN_WIDTH_MS * gap:g}" for gap in gaps)
        said.append(
            f"No reading fell into the bin{'s' * (len(gaps) > 1)} at {listed} m/s; the curve there "
            "is drawn between its neighbours."
        )
    thin = bins.centre_ms[bins.count < 3]
    if thin.size:
        said.append(
            f"Fewer than three readings stand behind the bin{'s' * (thin.size > 1)} at "
            f"{', '.join(f'{centre:g}' for centre in thin)} m/s; their scatter is borrowed from "
            "the others."
        )
    if smooth.moved_bins:
        said.append(
            f"Bins moved by more than their scatter explains: {smooth.moved_bins}, so that the "
            "curve rises to one peak and falls after it."
        )
    if not smooth.cut_in_seen:
        said.append(
            f"The machine made power in the lowest bin already, so cut-in was not seen; no power "
            f"is counted below {smooth.cut_in_ms:.1f} m/s."
        )
    if (readings.power_w < 0).any():
        draw = -float(readings.power_w.min())
        said.append(
            f"Some powers are below zero (down to {plainly(-draw)} W): the machine draws. The "
            "curve counts that as nothing; state the draw as load.idle_draw_w."
        )
    far = _far_out(readings, bins)
    if far:
        first = far[0]
        said.append(
            f"{readings.place(first)}: {readings.power_w[first]:.4g} W at "
            f"{readings.speed_ms[first]:.3g} m/s lies far from the others of its bin, as do "
            f"{len(far) - 1} more; they were kept, so look at them."
        )
    return tuple(said)


def _far_out(readings: Readings, bins: Bins) -> list[int]:
    """Return the readings that lie far from the middle of their bin."""
    number = bin_number(readings.speed_ms)
    slope = np.gradient(bins.power_w, bins.speed_ms)
    far: list[int] = []
    for here, mean_w, steepness in zip(
        bin_number(bins.centre_ms), bins.power_w, np.abs(slope), strict=True
    ):
        inside = np.flatnonzero(number == here)
        if inside.size < _ENOUGH_TO_JUDGE:
            continue
        away = np.abs(readings.power_w[inside] - np.median(readings.power_w[inside]))
        # 1.4826 times the median deviation is the standard deviation of normal scatter; where
        # most readings are alike (idle bins), the width of the bin itself must still be allowed.
        spread = max(
            1.4826 * float(np.median(away)), BIN_WIDTH_MS * steepness, _LEAST_SPREAD * mean_w
        )
        far += inside[away > _FAR_OUT * spread].tolist()
    return sorted(far)
