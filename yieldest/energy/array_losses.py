"""Machines joined in an array: wake and electrical losses for any number of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from yieldest.arrays import FloatArray
from yieldest.energy.array_layout import grid_positions, nearest_neighbour
from yieldest.energy.cables import Cable, Converter
from yieldest.energy.losses import Loss
from yieldest.energy.wakes import (
    SIDE_BY_SIDE_WIDTHS,
    WAKE_DECAY,
    WakeLoss,
    directions_within,
    near_wake_share,
    speeds_in_array,
    thrust_of,
)
from yieldest.energy.wind_rose import Rose
from yieldest.provenance import Findings
from yieldest.turbine.power_curve import PowerCurve

WAKE_UNCERTAINTY = 0.5
LEAST_WAKE_UNCERTAINTY = 0.01
"""Standard uncertainty of a wake loss as a share of it, and at least (our choice: the model was
made for large machines some way apart)."""
CABLE_UNCERTAINTY = 0.1
"""Standard uncertainty of a computed electrical loss as a share of it (our choice)."""
HIGH_CABLE_LOSS = 0.10
"""A cable that loses more than this share at rated power is warned of (common practice)."""


@dataclass(frozen=True)
class Layout:
    """How machines stand and what is known of their wake.

    Parameters
    ----------
    positions_m : ndarray, shape (n, 2), or None
        East and north of stated places.
    bearing_deg, spacing_diameters, row_spacing_diameters, columns
        A row or a grid, where no places are stated (see `layout.grid_positions`).
    array_efficiency : float or None
        A measured one for all the machines, which stands instead of wakes.
    array_efficiency_uncertainty : float or None
        Its standard uncertainty.
    evidence : str
        Where a stated factor is from.
    wake_decay, thrust_coefficient : float or None
        None takes the default.
    sectors : int
    """

    positions_m: FloatArray | None = None
    bearing_deg: float = 0.0
    spacing_diameters: float = 0.0
    row_spacing_diameters: float | None = None
    columns: int | None = None
    array_efficiency: float | None = None
    array_efficiency_uncertainty: float | None = None
    evidence: str = ""
    wake_decay: float | None = None
    thrust_coefficient: float | None = None
    sectors: int = 12

    def places_widths(self, count: int, rotor_width_m: float) -> FloatArray:
        """Return the places of the first `count` machines in rotor widths."""
        if self.positions_m is not None:
            return self.positions_m[:count] / rotor_width_m
        return grid_positions(
            count,
            self.bearing_deg,
            self.spacing_diameters,
            self.columns,
            self.row_spacing_diameters,
        )


@dataclass(frozen=True)
class ArrayLosses:
    """What so many machines lose by being machines.

    Parameters
    ----------
    wake : WakeLoss or None
        None when no layout is stated.
    electrical_share : float or None
        Of the energy, lost in cables and converters; None when there are none.
    warnings : tuple of str
        Of the cables.
    """

    wake: WakeLoss | None
    electrical_share: float | None
    warnings: Findings

    @property
    def losses(self) -> tuple[Loss, ...]:
        """The loss categories that were computed."""
        losses = []
        if self.wake is not None:
            factor, uncertainty = self.wake.factor, self.wake.standard_uncertainty
            losses.append(Loss("wake", 1 - factor, False, uncertainty, self.wake.method))
        if self.electrical_share is not None:
            share = self.electrical_share
            method = "cables by the square of the current and converters, over the power curve"
            losses.append(Loss("electrical", share, False, CABLE_UNCERTAINTY * share, method))
        return tuple(losses)


@dataclass(frozen=True)
class MachineArray:
    """Everything that decides what machines joined in an array lose.

    Parameters
    ----------
    rose : Rose
        At the hub.
    curve : PowerCurve
        At the density of the hub.
    rotor_width_m : float or None
    vertical_axis : bool
        Whether the rotor turns about a vertical axis.
    count : int
        The machines that the plan states.
    layout : Layout or None
    cables : tuple of Cable
    converters : tuple of Converter
        The power passes the cables and then the converters of each machine, and all together then
        the shared cables and at last the shared converters.
    """

    rose: Rose
    curve: PowerCurve
    rotor_width_m: float | None
    vertical_axis: bool
    count: int
    layout: Layout | None
    cables: tuple[Cable, ...] = ()
    converters: tuple[Converter, ...] = ()

    def compute(self, count: int) -> ArrayLosses:
        """Return what `count` machines, or the first so many of a layout, lose.

        Notes
        -----
        Losses in cables and converters are taken power by power and weighted by the time each
        lasts. Other losses are not taken off first, so the currents, and the share, are a little
        high.
        """
        layout = self.layout
        wake = None
        powers = self._powers_beside_others(count)
        if layout is not None and layout.array_efficiency is not None:
            wake = self._stated(layout, count)
        elif layout is not None and count == 1:
            wake = WakeLoss(1.0, 0.0, "a single machine")
        elif layout is not None:
            free = self._energy([power.sum(axis=1) for power in self._lone_powers(count)])
            made = self._energy([power.sum(axis=1) for power in powers])
            wake = self._wakes(layout, count, made / free if free > 0 else 1.0)
        share = None
        if self.cables or self.converters:
            made = self._energy([power.sum(axis=1) for power in powers])
            arrived = self._energy([self._delivered(power) for power in powers])
            share = 1 - arrived / made if made > 0 else 0.0
        return ArrayLosses(wake, share, self._cable_warnings(count))

    def powers_all_round(self, count: int) -> tuple[FloatArray, FloatArray]:
        """Return the power of `count` machines at each speed of the rose, all directions alike.

        Parameters
        ----------
        count : int

        Returns
        -------
        free_w, arrived_w : ndarray, shape (speeds,)
            As if each stood alone, and what is left of it behind wakes, cables and converters.
        """
        free = [power.sum(axis=1) for power in self._lone_powers(count)]
        arrived = [self._delivered(power) for power in self._powers_beside_others(count)]
        return _mean_all_round(free), _mean_all_round(arrived)

    def _powers_beside_others(self, count: int) -> list[FloatArray]:
        """Return the power of every machine as the others let it, as `_waked_powers`."""
        layout = self.layout
        if layout is not None and layout.array_efficiency is not None:
            factor = self._stated(layout, count).factor
            return [factor * power for power in self._lone_powers(count)]
        if layout is None or count == 1:
            return self._lone_powers(count)
        return self._waked_powers(layout, count)

    def _energy(self, powers: list[FloatArray]) -> float:
        """Return the mean of powers given for each sector as (directions, speeds)."""
        return sum(
            float((power * self.rose.share[sector]).sum()) / len(power)
            for sector, power in enumerate(powers)
        )

    def _cable_warnings(self, count: int) -> tuple[str, ...]:
        texts = []
        for cable in self.cables:
            power = self.curve.rated_power_w * (count if cable.shared else 1)
            lost = 1 - float(cable.delivered_w(power)) / power if power > 0 else 0.0
            if lost > HIGH_CABLE_LOSS:
                texts.append(
                    f"At rated power the cable of {cable.length_m:g} m and "
                    f"{cable.cross_section_mm2:g} mm2 carries {cable.current_a(power):.0f} A at "
                    f"{cable.voltage_v:g} V and turns {100 * lost:.0f} % of the power into heat; "
                    "check that it may carry that, or take a thicker cable or a higher voltage."
                )
        return tuple(texts)

    def _stated(self, layout: Layout, count: int) -> WakeLoss:
        factor = float(layout.array_efficiency or 0.0)
        # A factor measured on all the machines says what each neighbour costs on the average.
        part = 0.0 if self.count == 1 else (count - 1) / (self.count - 1)
        here = 1 - (1 - factor) * min(part, 1.0)
        uncertainty = layout.array_efficiency_uncertainty
        assumed: Findings = ()
        if uncertainty is None:
            uncertainty = max(LEAST_WAKE_UNCERTAINTY, 0.25 * abs(1 - factor))
            assumed = (
                f"Standard uncertainty {uncertainty:.3g} of the wake factor (a quarter of the "
                "loss, our choice).",
            )
        warnings: Findings = ()
        if factor > 1:
            warnings = (
                f"The wake factor {factor:g} says that the machines help each other; that "
                "is seldom so over a whole year, so look hard at the evidence.",
            )
        return WakeLoss(
            here, uncertainty, f"wake factor stated: {layout.evidence}", assumed, warnings
        )

    def _wakes(self, layout: Layout, count: int, factor: float) -> WakeLoss:
        decay = WAKE_DECAY if layout.wake_decay is None else layout.wake_decay
        _, _, thrust_text, thrust_assumed = thrust_of(self.curve, layout.thrust_coefficient)
        assumed = []
        if layout.wake_decay is None:
            assumed.append(
                f"Wake decay {decay:g} (over land: Katic, Hojstrup & Jensen 1986), for none is "
                "stated."
            )
        if thrust_assumed:
            assumed.append(
                f"{thrust_text[0].upper()}{thrust_text[1:]} between cut-in and cut-out (common "
                "practice, no source), for neither curve nor plan states it."
            )
        return WakeLoss(
            factor=factor,
            standard_uncertainty=max(LEAST_WAKE_UNCERTAINTY, WAKE_UNCERTAINTY * (1 - factor)),
            method=f"wakes by direction (Jensen 1983; Katic, Hojstrup & Jensen 1986), decay "
            f"{decay:g}, {thrust_text}; {self.rose.method}",
            assumed=tuple(assumed),
            warnings=tuple(self._uncertainties(layout, count, decay)),
        )

    def _uncertainties(self, layout: Layout, count: int, decay: float) -> list[str]:
        places = self._places(layout, count)
        texts = []
        nearest = nearest_neighbour(places)
        if nearest < SIDE_BY_SIDE_WIDTHS:
            texts.append(
                f"The nearest rotors stand {nearest:.2g} rotor widths apart; below "
                f"{SIDE_BY_SIDE_WIDTHS:g} they disturb each other sideways, of which the wake "
                "model knows nothing: measure two of them together and apart, and state the "
                "array_efficiency with its evidence."
            )
        near = near_wake_share(places, self.rose, decay)
        if near > 0:
            texts.append(
                f"In {100 * near:.0f} % of the windy time a rotor stands in the near wake of "
                "another, less than 4 rotor widths behind it, where the wake model does not hold; "
                "a measured array_efficiency would be surer."
            )
        if not self.rose.has_directions:
            texts.append(
                "The wind directions are not known, so the wakes are an average all round; a row "
                "across the usual wind loses less, one along it more."
            )
        if self.vertical_axis:
            texts.append(
                "The wake model was made for rotors with a lying axis; behind vertical ones the "
                "wind recovers differently, so take the wake loss as a rough figure."
            )
        return texts

    def _places(self, layout: Layout, count: int) -> FloatArray:
        # A row or grid in rotor widths needs no rotor size; places in metres do, and the plan says
        # so before this is reached.
        return layout.places_widths(count, self.rotor_width_m or 1.0)

    def _lone_powers(self, count: int) -> list[FloatArray]:
        """Return the power of machines that know nothing of each other, as `_waked_powers`."""
        power = self.curve.power_at(self.rose.speed_ms)
        return [np.tile(power, (1, count, 1))] * self.rose.direction_deg.size

    def _waked_powers(self, layout: Layout, count: int) -> list[FloatArray]:
        """Return the power of every machine, for each sector an array (directions, n, speeds)."""
        thrust_speed, thrust, _, _ = thrust_of(self.curve, layout.thrust_coefficient)
        decay = WAKE_DECAY if layout.wake_decay is None else layout.wake_decay
        places = self._places(layout, count)
        return [
            self.curve.power_at(
                speeds_in_array(self.rose.speed_ms, places, within, thrust_speed, thrust, decay)
            )
            for within in directions_within(self.rose)
        ]

    def _delivered(self, power: FloatArray) -> FloatArray:
        """Return what arrives of the power of the machines, (directions, n, speeds) to (d, v)."""
        stages: tuple[Cable | Converter, ...] = (*self.cables, *self.converters)
        for stage in stages:
            if not stage.shared:
                power = stage.delivered_w(power)
        together: FloatArray = power.sum(axis=1)
        for stage in stages:
            if stage.shared:
                together = stage.delivered_w(together)
        return together


def _mean_all_round(powers: list[FloatArray]) -> FloatArray:
    """Return the mean over sectors, and directions within them, of powers (directions, speeds)."""
    return np.asarray(np.mean([power.mean(axis=0) for power in powers], axis=0))
