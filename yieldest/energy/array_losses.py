"""Machines in an array: wake and electrical losses for any number of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property, lru_cache
from typing import Annotated, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from yieldest.arrays import BoolArray, FloatArray, floats
from yieldest.defaults import THRUST_COEFFICIENT, WAKE_DECAY, Assumed
from yieldest.energy import wakes
from yieldest.energy.cables import Cable, Converter
from yieldest.energy.losses import Loss
from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding, Findings
from yieldest.settings import Bearing, Settings, Share, Words, at_most_one, key
from yieldest.turbine.power_curve import PowerCurve

MOST_WAKES = 200
"""Machines that wakes are computed for; the work grows with the square of the number."""

WAKE_UNCERTAINTY = 0.5
LEAST_WAKE_UNCERTAINTY = 0.01
"""Standard uncertainty of a wake loss as a share of it, and at least (our choice: the model was
made for large machines some way apart)."""
CABLE_UNCERTAINTY = 0.1
"""Standard uncertainty of a computed electrical loss as a share of it (our choice)."""
SIDE_BY_SIDE_DIAMETERS = 3.0
"""Rotors nearer than this disturb each other sideways too, which no wake model says; our choice."""
HIGH_CABLE_LOSS = 0.10
"""A cable that loses more than this share at rated power is warned of (common practice)."""


class HotCable(Finding):
    """A cable turns much of the rated power into heat."""

    cable: Cable
    current_a: float
    lost_share: float


class EfficiencyUncertaintyAssumed(Finding):
    """The uncertainty of a stated array efficiency is a quarter of the loss."""

    standard_uncertainty: float


class MachinesHelpEachOther(Finding):
    """A stated array efficiency is above 1."""

    array_efficiency: float


class RotorsSideBySide(Finding):
    """The nearest rotors disturb each other sideways, which no wake model says."""

    spacing_rotor_diameters: float
    least_rotor_diameters: float


class RotorsInNearWake(Finding):
    """In a share of the windy time a rotor stands where the wake model does not hold."""

    time_share: float
    reach_rotor_diameters: float


class DirectionsNotKnown(Finding):
    """Without wind directions the wakes are an average all round."""


class WakesOfVerticalAxis(Finding):
    """The wake model was made for rotors with a horizontal axis."""


Widths = Annotated[float, Field(ge=1)]
Place = Annotated[list[float], Field(min_length=2, max_length=2)]


class Array(Settings):
    """How the machines of a build stand, and what is known of their wake."""

    layout: Literal["row", "grid"] | None = key("a row, or a grid of several rows", "row")
    coordinates_m: list[Place] | None = key(
        "or a place for each machine, east and north", [[0, 0], [5.4, 0]], unit="m"
    )
    bearing_deg: Bearing | None = key(
        "the way a row runs, clockwise from north", 325, unit="degrees"
    )
    spacing_rotor_diameters: Widths | None = key(
        "distance between neighbours in a row", 6, unit="rotor widths"
    )
    row_spacing_rotor_diameters: Widths | None = key(
        "distance between rows", 8, unit="rotor widths", left_out="as within a row"
    )
    columns: Annotated[int, Field(ge=1)] | None = key("of a grid: machines in a row", 4)
    array_efficiency: Annotated[float, Field(gt=0, le=1.5)] | None = key(
        "or a measured factor: energy of all over that of as many lone machines", 0.96
    )
    array_efficiency_uncertainty: Share | None = key(
        "standard uncertainty of that factor",
        0.02,
        left_out=f"a quarter of the loss, at least {LEAST_WAKE_UNCERTAINTY:g}",
    )
    evidence: Words | None = key(
        "where that factor was measured, in words", "three in a row, one summer"
    )
    wake_decay: Annotated[float, Field(gt=0, le=0.5)] = key(
        "growth of a wake's radius per metre downwind", 0.075, default=WAKE_DECAY.value
    )
    thrust_coefficient: Share | None = key(
        "thrust of a machine over that of the wind on its swept area",
        0.8,
        left_out=f"that of the curve file, else {THRUST_COEFFICIENT.value:g}",
    )
    sectors: Annotated[int, Field(ge=4, le=72)] = key(
        "directions that wakes are computed for", 36, default=12
    )

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        at_most_one(self, "layout", "coordinates_m", "array_efficiency")
        of_grid = [
            key
            for key in ("columns", "row_spacing_rotor_diameters")
            if self.layout != "grid" and getattr(self, key) is not None
        ]
        if of_grid:
            raise ValueError(
                f'{" and ".join(of_grid)} would be of a grid; state layout = "grid" for one, or '
                f"leave {'them' if len(of_grid) > 1 else 'it'} out"
            )
        if self.array_efficiency is not None:
            if self.evidence is None:
                raise ValueError(
                    "array_efficiency needs its evidence; state in words where it was measured"
                )
            return self
        if self.coordinates_m is None and self.layout is None:
            raise ValueError(
                "it is not said how the machines stand; state layout, coordinates_m or "
                "array_efficiency"
            )
        if self.layout is not None and None in (self.bearing_deg, self.spacing_rotor_diameters):
            raise ValueError(
                f"a {self.layout} needs bearing_deg (the way a row runs) and "
                "spacing_rotor_diameters; state both"
            )
        if self.layout == "grid" and self.columns is None:
            raise ValueError("a grid needs columns, the number of machines in a row; state it")
        return self

    def places_diameters(self, count: int, rotor_width_m: float) -> FloatArray:
        """Return the places of the first `count` machines in rotor widths."""
        if self.coordinates_m is not None:
            return floats(self.coordinates_m)[:count] / rotor_width_m
        return wakes.grid_positions(
            count,
            self.bearing_deg or 0.0,
            self.spacing_rotor_diameters or 0.0,
            self.columns,
            self.row_spacing_rotor_diameters,
        )


@frozen_dataclass
class ArrayFindings:
    """What was assumed for the losses of so many machines, and why they may be far off."""

    assumed: Findings
    warnings: Findings


_Rows = tuple[tuple[float, ...], ...]
_PAIRS_AT_ONCE = 2000
"""Of machines, in all sectors worked on together: a small array spends its time in the calls."""


def _rows(values: FloatArray) -> _Rows:
    return tuple(map(tuple, values.tolist()))


@lru_cache(maxsize=64)
def _near_all_round(places: _Rows, directions: _Rows, wake_decay: float) -> FloatArray:
    """Return by sector how often a rotor stands in a near wake; kept as the speeds are."""
    return floats([wakes.near_wake_share(places, each, wake_decay) for each in directions])


@lru_cache(maxsize=64)
def _speeds_all_round(
    free_ms: tuple[float, ...],
    places: _Rows,
    directions: _Rows,
    node_ms: tuple[float, ...],
    thrust: tuple[float, ...],
    wake_decay: float,
) -> tuple[FloatArray, BoolArray]:
    """Return the speeds at every machine where any is in a wake, and in which directions that is.

    The shapes are (waked, n, speeds) and (sectors, directions). Both are kept, for how often the
    wind blows changes none.
    """
    at_once = max(1, _PAIRS_AT_ONCE // len(places) ** 2)
    some = (directions[first : first + at_once] for first in range(0, len(directions), at_once))
    found = [
        wakes.speeds_in_array(free_ms, places, np.ravel(each), node_ms, thrust, wake_decay)
        for each in some
    ]
    speeds = np.concatenate(found)
    waked = (speeds != floats(free_ms)).any(axis=(-1, -2))
    return speeds[waked], waked.reshape(len(directions), -1)


def _uncertainty(array: Array) -> float:
    """Return the standard uncertainty of a stated array efficiency."""
    stated, efficiency = array.array_efficiency_uncertainty, array.array_efficiency or 1.0
    return max(LEAST_WAKE_UNCERTAINTY, 0.25 * abs(1 - efficiency)) if stated is None else stated


@frozen_dataclass
class MachineArray:
    """Everything that decides what machines in an array lose.

    The rose is at the hub, the curve at the density there, and `count` is that of the plan. The
    power passes the cables and then the converters of each machine, and all together then the
    shared cables and at last the shared converters.
    """

    rose: wakes.Rose
    curve: PowerCurve
    rotor_width_m: float | None
    vertical_axis: bool
    count: int
    array: Array | None
    cables: Sequence[Cable] = ()
    converters: Sequence[Converter] = ()

    def findings(self, count: int) -> ArrayFindings:
        """Return what was assumed for the losses of `count` machines, and what is doubtful."""
        assumed, warnings = self._doubts(count)
        return ArrayFindings(assumed, (*self._hot_cables(count), *warnings))

    def losses(self, count: int) -> tuple[Loss, ...]:
        """Return what `count` machines, or the first so many of the places stated, lose.

        Losses in cables and converters are taken power by power and weighted by the time each
        lasts. Other losses are not taken off first, so the currents, and the share, are a little
        high.
        """
        losses: tuple[Loss, ...] = ()
        if self.array is None and not (self.cables or self.converters):
            return losses
        free, made, arrived = (float((w * self.rose.share).sum()) for w in self._powers_w(count))
        if self.array is not None:
            losses += (self._wake(self.array, count, 1 - made / free if free > 0 else 0.0),)
        if self.cables or self.converters:
            share = 1 - arrived / made if made > 0 else 0.0
            method = "cables by the square of the current and converters, over the power curve"
            losses += (Loss("electrical", share, False, CABLE_UNCERTAINTY * share, method),)
        return losses

    def powers_all_round(self, count: int) -> tuple[FloatArray, FloatArray]:
        """Return the power in W of `count` machines at each speed of the rose, all round.

        First as if each stood alone, then what is left of it behind wakes, cables and converters.
        """
        free, _, arrived = self._powers_w(count)
        return np.asarray(free.mean(axis=0)), np.asarray(arrived.mean(axis=0))

    def _powers_w(self, count: int) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the power of all machines by sector and speed, the mean of each sector.

        As if each stood alone, as the others let them, and what is left of that behind cables and
        converters; the shapes are (sectors, speeds), or (1, speeds) where all sectors are alike.
        """
        array = self.array
        lone = np.tile(self.curve.power_at(self.rose.speed_ms), (1, count, 1))
        free = lone.sum(axis=-2)
        if array is not None and array.array_efficiency is None and count > 1:
            if count not in self._behind_wakes:
                self._behind_wakes[count] = self._powers_behind_wakes(array, lone)
            return free, *self._behind_wakes[count]
        if array is not None and array.array_efficiency is not None:
            lone = (1 - self._share_stated(array.array_efficiency, count)) * lone
        return free, lone.sum(axis=-2), self._delivered(lone)

    def _powers_behind_wakes(self, array: Array, lone: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the power made and that delivered by sector and speed, given that out of wakes.

        The latter is by machine and speed, shape (1, n, speeds).
        """
        speeds, waked = self._speeds_ms(array, lone.shape[-2])
        beside = self.curve.power_at(speeds)
        found = []
        for total in (lambda power: power.sum(axis=-2), self._delivered):
            power = np.tile(total(lone), (*waked.shape, 1))
            power[waked] = total(beside)
            found.append(power.mean(axis=1))
        return found[0], found[1]

    @cached_property
    def _behind_wakes(self) -> dict[int, tuple[FloatArray, FloatArray]]:
        """What so many machines make and what of it arrives: how often each wind blows is no part.

        So it holds in every other wind of the same hub.
        """
        return {}

    def _speeds_ms(self, array: Array, count: int) -> tuple[FloatArray, BoolArray]:
        """Return the wind at every machine, as `_speeds_all_round`."""
        node_ms, thrust = self.curve.speed_ms, self._thrust(array)
        return _speeds_all_round(
            tuple(self.rose.speed_ms.tolist()),
            _rows(self._places(array, count)),
            _rows(wakes.directions_within(self.rose)),
            tuple(node_ms.tolist()),
            tuple(thrust.tolist()),
            array.wake_decay,
        )

    def _delivered(self, power: FloatArray) -> FloatArray:
        """Return what arrives of the power of the machines: (..., n, speeds) to (..., speeds)."""
        stages: tuple[Cable | Converter, ...] = (*self.cables, *self.converters)
        for stage in stages:
            if not stage.shared:
                power = stage.delivered_w(power)
        power = power.sum(axis=-2)
        for stage in stages:
            if stage.shared:
                power = stage.delivered_w(power)
        return power

    def _hot_cables(self, count: int) -> Iterator[HotCable]:
        for cable in self.cables:
            power = self.curve.rated_power_w * (count if cable.shared else 1)
            lost = 1 - float(cable.delivered_w(power)) / power if power > 0 else 0.0
            if lost > HIGH_CABLE_LOSS:
                yield HotCable(cable, cable.current_a(power), lost)

    def _places(self, array: Array, count: int) -> FloatArray:
        # A row or grid in rotor widths needs no rotor size; places in metres do, and the plan says
        # so before this is reached.
        return array.places_diameters(count, self.rotor_width_m or 1.0)

    def _thrust(self, array: Array) -> FloatArray:
        """Return the thrust coefficient at the speeds of the curve: stated, its own or assumed."""
        known, stated = self.curve.thrust_coefficient, array.thrust_coefficient
        if known is not None and stated is None:
            return known
        value = THRUST_COEFFICIENT.value if stated is None else stated
        return np.full(self.curve.speed_ms.size, value)

    def _by_curve(self, array: Array) -> bool:
        """Whether that is the curve's own."""
        return array.thrust_coefficient is None and self.curve.thrust_coefficient is not None

    def _share_stated(self, efficiency: float, count: int) -> float:
        """Return the loss of so many: one of all the machines says what each neighbour costs."""
        part = 0.0 if self.count == 1 else (count - 1) / (self.count - 1)
        return (1 - efficiency) * min(part, 1.0)

    def _wake(self, array: Array, count: int, share: float) -> Loss:
        """Return the wake loss, given what was computed where it is not stated."""
        efficiency = array.array_efficiency
        if efficiency is not None:
            share, uncertainty = self._share_stated(efficiency, count), _uncertainty(array)
            method = f"wake factor stated: {array.evidence}"
        elif count == 1:
            share, uncertainty, method = 0.0, 0.0, "a single machine"
        else:
            uncertainty = max(LEAST_WAKE_UNCERTAINTY, WAKE_UNCERTAINTY * share)
            thrust = "of the curve" if self._by_curve(array) else f"{self._thrust(array)[0]:g}"
            method = (
                "wakes by direction (Jensen 1983; Katic, Hojstrup & Jensen 1986), decay "
                f"{array.wake_decay:g}, thrust coefficient {thrust}; {self.rose.method}"
            )
        return Loss("wake", share, False, uncertainty, method)

    def _doubts(self, count: int) -> tuple[Findings, Findings]:
        """Return what was assumed for the wake loss, and what makes it doubtful."""
        array = self.array
        if array is None:
            return (), ()
        if array.array_efficiency is not None:
            unstated = array.array_efficiency_uncertainty is None
            helps = array.array_efficiency > 1
            return (
                (EfficiencyUncertaintyAssumed(_uncertainty(array)),) if unstated else (),
                (MachinesHelpEachOther(array.array_efficiency),) if helps else (),
            )
        if count == 1:
            return (), ()
        decay, places = array.wake_decay, self._places(array, count)
        nearest = wakes.nearest_neighbour(places)
        by_sector = _near_all_round(_rows(places), _rows(wakes.directions_within(self.rose)), decay)
        weight = self.rose.share.sum(axis=-1)
        windy = float(weight.sum())
        near = float((by_sector * weight).sum()) / windy if windy > 0 else 0.0
        noticed: dict[Finding, bool] = {
            RotorsSideBySide(nearest, SIDE_BY_SIDE_DIAMETERS): nearest < SIDE_BY_SIDE_DIAMETERS,
            RotorsInNearWake(near, wakes.NEAR_WAKE_DIAMETERS): near > 0,
            DirectionsNotKnown(): not self.rose.has_directions,
            WakesOfVerticalAxis(): self.vertical_axis,
        }
        stated = array.model_fields_set | (
            {"thrust_coefficient"} if self._by_curve(array) else set()
        )
        return (
            tuple(
                Assumed(default)
                for default in (WAKE_DECAY, THRUST_COEFFICIENT)
                if default.key.rpartition(".")[2] not in stated
            ),
            tuple(found for found, holds in noticed.items() if holds),
        )
