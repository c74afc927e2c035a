"""A power curve: electrical power against wind speed, its uncertainty, and the air it holds for."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray, floats
from yieldest.defaults import STANDARD_DENSITY_KG_M3
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.html_repr import html_table, labelled_axes
from yieldest.provenance import Finding, Provenance

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

Extrapolation = Literal["hold", "zero", "cube law"]
"""What is counted above the last point of a curve."""
Correction = Literal["power", "speed"]
"""How a curve follows the air density."""

STATED_UNCERTAINTY = 0.10
"""Standard uncertainty, as a share of the power, of a curve that states none (our choice)."""
MODELLED_UNCERTAINTY = 0.30
"""The same for a curve that nobody measured (our choice, wide on purpose)."""


class CurveUncertaintyAssumed(Finding):
    """No uncertainty of the powers of a curve is stated."""

    name: str
    relative_uncertainty: float


@frozen_dataclass
class DensityFamily:
    """The same curve at several densities, shape (m,) and increasing; powers have shape (m, n)."""

    density_kg_m3: FloatArray
    power_w: FloatArray


GIVEN = Provenance("given", "straight lines between the given points")
"""Of a curve whose points were handed over as they are."""


@frozen_dataclass
class PowerCurve:
    """Electrical power against wind speed, straight lines between points, zero outside them.

    Parameters
    ----------
    speed_ms, power_w : array_like, shape (n,)
        Speeds increase strictly, from cut-in to cut-out.
    rotor_area_m2 : float, optional
    air_density_kg_m3 : float
        Density the curve holds for; by default that of the standard atmosphere at sea level.
    rated_power_w, last_measured_ms : float, optional
        By default the highest power and the last speed. Above the last point of the source
        `extrapolation` ("hold", "zero" or "cube law") says what is counted.
    provenance : Provenance
    thrust_coefficient : array_like, shape (n,), optional
        Thrust on the rotor over the dynamic pressure on its area.
    power_uncertainty_w : array_like, shape (n,), optional
        Standard uncertainty of each power; where left out, `relative_uncertainty` of the power.
    modelled : bool
        Whether nobody measured the curve.
    load : str, optional
        What the machine fed when the curve was measured, in the words of `turbine.load`.
    idle_draw_w : float
        What the converter draws from elsewhere while the machine makes nothing.
    family : DensityFamily, optional
        When the source holds several densities.

    Raises
    ------
    InputError
        When the points are not those of a curve.

    Examples
    --------
    >>> curve = PowerCurve([3, 6, 12], [0, 80, 400], rotor_area_m2=4.5)
    >>> curve.at_density(1.1).power_at([2, 6]).round(1).tolist()
    [0.0, 71.8]
    """

    speed_ms: FloatArray
    power_w: FloatArray
    rotor_area_m2: float | None
    air_density_kg_m3: float
    rated_power_w: float
    last_measured_ms: float
    provenance: Provenance
    thrust_coefficient: FloatArray | None
    power_uncertainty_w: FloatArray | None
    relative_uncertainty: float
    modelled: bool
    extrapolation: Extrapolation
    load: str | None
    idle_draw_w: float
    family: DensityFamily | None

    def __init__(
        self,
        speed_ms: npt.ArrayLike,
        power_w: npt.ArrayLike,
        rotor_area_m2: float | None = None,
        *,
        air_density_kg_m3: float = STANDARD_DENSITY_KG_M3,
        rated_power_w: float | None = None,
        last_measured_ms: float | None = None,
        provenance: Provenance = GIVEN,
        thrust_coefficient: npt.ArrayLike | None = None,
        power_uncertainty_w: npt.ArrayLike | None = None,
        relative_uncertainty: float = STATED_UNCERTAINTY,
        modelled: bool = False,
        extrapolation: Extrapolation = "zero",
        load: str | None = None,
        idle_draw_w: float = 0.0,
        family: DensityFamily | None = None,
    ) -> None:
        speed, power = floats(speed_ms), floats(power_w)
        if speed.ndim != 1 or speed.size < 2 or not (np.diff(speed) > 0).all() or speed[0] < 0:
            raise InputError("speed_ms: a power curve needs two speeds or more that increase.")
        thrust = None if thrust_coefficient is None else floats(thrust_coefficient)
        uncertainty = None if power_uncertainty_w is None else floats(power_uncertainty_w)
        for name, values in (
            ("power_w", power),
            ("thrust_coefficient", thrust),
            ("power_uncertainty_w", uncertainty),
        ):
            if values is not None and (values.shape != speed.shape or np.isnan(values).any()):
                raise InputError(f"{name}: a power curve needs one number for each of its speeds.")
        for name, amount in (
            ("rotor_area_m2", rotor_area_m2),
            ("air_density_kg_m3", air_density_kg_m3),
        ):
            if amount is not None and not amount > 0:
                raise InputError(f"{name} is {amount:g}, but it should be above 0; mend it.")
        vars(self).update(
            speed_ms=speed,
            power_w=power,
            rotor_area_m2=rotor_area_m2,
            air_density_kg_m3=air_density_kg_m3,
            rated_power_w=float(power.max()) if rated_power_w is None else rated_power_w,
            last_measured_ms=float(speed[-1]) if last_measured_ms is None else last_measured_ms,
            provenance=provenance,
            thrust_coefficient=thrust,
            power_uncertainty_w=uncertainty,
            relative_uncertainty=relative_uncertainty,
            modelled=modelled,
            extrapolation=extrapolation,
            load=load,
            idle_draw_w=idle_draw_w,
            family=family,
        )

    @property
    def cut_in_ms(self) -> float:
        """Speed from which power is counted."""
        return float(self.speed_ms[0])

    @property
    def cut_out_ms(self) -> float:
        """Speed above which no power is counted."""
        return float(self.speed_ms[-1])

    @property
    def uncertainty_w(self) -> FloatArray:
        """Standard uncertainty of the power at each point, stated or by default, shape (n,).

        Most of it is common to all points (the meters, or the whole model being wrong), so draws
        that move all points together by this much are the careful choice.
        """
        if self.power_uncertainty_w is not None:
            return self.power_uncertainty_w
        return np.asarray(self.relative_uncertainty * np.abs(self.power_w))

    def power_at(self, speed_ms: npt.ArrayLike) -> FloatArray:
        """Return the power in W at each speed; NaN where the speed is NaN."""
        return np.interp(floats(speed_ms), self.speed_ms, self.power_w, left=0.0, right=0.0)

    __call__ = power_at

    def at_speeds(self, speed_ms: FloatArray) -> PowerCurve:
        """Return the curve with other points; outside its own all but the power below is held."""

        def at(values: FloatArray | None) -> FloatArray | None:
            return None if values is None else np.interp(speed_ms, self.speed_ms, values)

        def power_at(power_w: FloatArray) -> FloatArray:
            return np.interp(speed_ms, self.speed_ms, power_w, left=0.0)

        family = self.family
        if family is not None:
            family = replace(family, power_w=np.array([power_at(row) for row in family.power_w]))
        return replace(
            self,
            speed_ms=speed_ms,
            power_w=power_at(self.power_w),
            power_uncertainty_w=at(self.power_uncertainty_w),
            thrust_coefficient=at(self.thrust_coefficient),
            family=family,
        )

    def to_frame(self) -> pd.DataFrame:
        """Return the points as a table with the headings of a curve file."""
        import pandas as pd  # noqa: PLC0415 - slow to load

        columns = {
            "speed (m/s)": self.speed_ms,
            "power (W)": self.power_w,
            "standard uncertainty (W)": self.power_uncertainty_w,
            "thrust coefficient": self.thrust_coefficient,
        }
        return pd.DataFrame(
            {name: values for name, values in columns.items() if values is not None}
        )

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the curve with a band of its standard uncertainty, on new axes where left out."""
        ax = labelled_axes(ax, "wind speed (m/s)", "power (W)")
        (line,) = ax.plot(self.speed_ms, self.power_w)
        low, high = self.power_w - self.uncertainty_w, self.power_w + self.uncertainty_w
        ax.fill_between(self.speed_ms, low, high, alpha=0.2, color=line.get_color())
        return ax

    def _repr_html_(self) -> str:
        """Show the curve in a notebook."""
        area = self.rotor_area_m2
        return html_table(
            "Power curve",
            [
                ("cut-in", f"{self.cut_in_ms:.3g} m/s"),
                ("cut-out", f"{self.cut_out_ms:.3g} m/s"),
                ("highest power", f"{self.power_w.max():.4g} W"),
                ("rated power", f"{self.rated_power_w:.4g} W"),
                ("air density", f"{self.air_density_kg_m3:.3f} kg/m3"),
                ("rotor area", "not stated" if area is None else f"{area:.3g} m2"),
                ("source", self.provenance.source),
                ("method", self.provenance.method),
                *(
                    (f"power at {speed:.3g} m/s", f"{power:.4g} W")
                    for speed, power in zip(self.speed_ms, self.power_w, strict=True)
                ),
            ],
        )

    def at_density(self, air_density_kg_m3: float, correction: Correction = "power") -> PowerCurve:
        """Return the curve for another air density.

        Parameters
        ----------
        air_density_kg_m3 : float
        correction : {"power", "speed"}
            "power" scales the power in proportion to density (machines with fixed pitch, stall or
            furling); "speed" moves the speeds by the cube root (pitch-regulated machines). Within
            a density family straight lines between its densities come first.

        Notes
        -----
        IEC 61400-12-1, normalisation to reference air density.
        """
        if self.family is not None:
            densities = self.family.density_kg_m3
            nearest = float(np.clip(air_density_kg_m3, densities[0], densities[-1]))
            power = np.array([np.interp(nearest, densities, at) for at in self.family.power_w.T])
            rated = self.rated_power_w
            if self.power_w.max() > 0:
                rated *= power.max() / self.power_w.max()
            inside = replace(
                self, power_w=power, rated_power_w=rated, air_density_kg_m3=nearest, family=None
            )
            return inside.at_density(air_density_kg_m3, correction)
        ratio = air_density_kg_m3 / self.air_density_kg_m3
        speed_ms, power_w = nodes_at_density(self.speed_ms, self.power_w, ratio, correction)
        if correction == "power":
            own = self.power_uncertainty_w
            return replace(
                self,
                power_w=power_w,
                power_uncertainty_w=None if own is None else own * ratio,
                rated_power_w=self.rated_power_w * ratio,
                air_density_kg_m3=air_density_kg_m3,
            )
        # Cut-in and cut-out are set by the controller or the friction, yet move with the rest:
        # the difference is a few per cent of the hours at the edges of the curve.
        return replace(
            self,
            speed_ms=speed_ms,
            last_measured_ms=self.last_measured_ms * ratio ** (-1 / 3),
            air_density_kg_m3=air_density_kg_m3,
        )


def normalised(
    speed_ms: npt.ArrayLike,
    power_w: npt.ArrayLike,
    air_density_kg_m3: npt.ArrayLike,
    reference_density_kg_m3: float,
    correction: Correction,
) -> tuple[FloatArray, FloatArray]:
    """Return speed and power of readings, which broadcast, as they would be at another density.

    Notes
    -----
    IEC 61400-12-1:2005, equations 2 and 3 (numbers of the equations from memory): P rho0 / rho for
    fixed pitch, stall and furling ("power"), v (rho / rho0)^(1/3) for active power control
    ("speed").
    """
    speed, power = floats(speed_ms), floats(power_w)
    ratio = floats(air_density_kg_m3) / reference_density_kg_m3
    if correction == "power":
        return speed * np.ones_like(ratio), np.asarray(power / ratio)
    return np.asarray(speed * np.cbrt(ratio)), power * np.ones_like(ratio)


def nodes_at_density(
    speed_ms: npt.ArrayLike, power_w: npt.ArrayLike, ratio: npt.ArrayLike, correction: Correction
) -> tuple[FloatArray, FloatArray]:
    """Return the points of a curve, shape (..., n), for another air density.

    `ratio`, shape (...), is the other density over that of the curve; `correction` is that of
    `PowerCurve.at_density`.
    """
    of_density = floats(ratio)[..., np.newaxis]
    if correction == "power":
        return floats(speed_ms), floats(power_w) * of_density
    return floats(speed_ms) * of_density ** (-1 / 3), floats(power_w)
