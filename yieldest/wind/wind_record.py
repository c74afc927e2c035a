"""A wind record as people work with it: read, checked for faults, fitted, drawn."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from yieldest.arrays import floats
from yieldest.defaults import ANEMOMETER_HEIGHT, Assumed
from yieldest.errors import InputError
from yieldest.frozen import frozen_dataclass
from yieldest.html_repr import html_table, labelled_axes
from yieldest.provenance import Provenance
from yieldest.settings import options_of
from yieldest.wind.data_recovery import data_recovery_of
from yieldest.wind.distribution import WindDistribution, check_height
from yieldest.wind.quality_control import NO_RULES, QualityRules, control_quality
from yieldest.wind.record import Record
from yieldest.wind.resource import EMPIRICAL, ResourceOptions, WindResource, assess_record

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr
    from matplotlib.axes import Axes

ONLY_IMPOSSIBLE = NO_RULES.model_copy(
    update={"impossible_ms": QualityRules.unstated().impossible_ms}
)
"""Speeds that no wind has are never fitted, whatever else is left in."""
_COLUMNS = {
    # column of a frame: unit by UDUNITS, long name
    "speed_ms": ("m s-1", "wind speed"),
    "direction_deg": ("degree", "direction the wind comes from"),
    "temperature_c": ("degC", "air temperature"),
    "pressure_hpa": ("hPa", "air pressure"),
    "standard_deviation_ms": ("m s-1", "standard deviation of the speed within the interval"),
    "gust_ms": ("m s-1", "highest speed within the interval"),
}


def at_its_height(resource: WindResource) -> WindDistribution:
    """Return the distribution at the height of a record; at 10 m, as assumed, where it has none."""
    height_m = resource.record.height_m
    if height_m is not None:
        return resource.distribution(height_m)
    fitted = resource.distribution(ANEMOMETER_HEIGHT.value)
    said = fitted.provenance.adding(assumed=(Assumed(ANEMOMETER_HEIGHT),))
    return replace(fitted, provenance=said)


@frozen_dataclass
class WindRecord(Record):
    """A wind record at one place and height, in time order; its fields are those of `Record`."""

    @classmethod
    def from_arrays(
        cls,
        time: npt.ArrayLike,
        speed_ms: npt.ArrayLike,
        *,
        height_m: float | None = None,
        source: str = "given",
        **more: npt.NDArray[np.generic] | float | None,
    ) -> WindRecord:
        """Make a record from arrays.

        Parameters
        ----------
        time : array_like of datetime64, shape (n,)
            In rising order.
        speed_ms : array_like, shape (n,)
            NaN where missing.
        height_m : float, optional
            Of the anemometer above ground.
        source : str
            Where the speeds are from.
        **more
            Other fields of `Record`, such as ``direction_deg``.

        Raises
        ------
        InputError
            When times and speeds differ in number, times do not rise, a speed is below zero, or the
            height is none above ground.
        """
        if height_m is not None:
            check_height(height_m)
        times = np.asarray(time, dtype="datetime64[ns]")
        speed = floats(speed_ms)
        if times.ndim != 1 or times.shape != speed.shape or times.size == 0:
            raise InputError(
                f"{source}: {times.size} times and {speed.size} speeds; give one speed for each "
                "time, and one at least."
            )
        if np.isnat(times).any() or not (np.diff(times) > np.timedelta64(0, "ns")).all():
            raise InputError(f"{source}: the times do not rise throughout; sort them, none twice.")
        if (speed < 0).any() or np.isinf(speed).any():
            raise InputError(f"{source}: a speed is below zero or endless; leave it out as NaN.")
        absent = dict.fromkeys(("direction_deg", "temperature_c", "pressure_hpa"))
        fields: dict[str, Any] = {**absent, **more}
        return cls(
            time=times,
            speed_ms=speed,
            data_recovery=data_recovery_of(times, np.isfinite(speed)),
            provenance=Provenance(source, "speeds in m/s, as given"),
            height_m=height_m,
            **fields,
        )

    @classmethod
    def from_series(cls, series: pd.Series[float], *, height_m: float | None = None) -> WindRecord:
        """Make a record from a pandas Series of speeds in m/s with a DatetimeIndex.

        Parameters
        ----------
        series : pandas.Series, shape (n,)
        height_m : float, optional
            Of the anemometer above ground.

        Raises
        ------
        InputError
            When it is no Series or its index holds no times, or as `from_arrays`.

        Examples
        --------
        >>> import pandas as pd
        >>> hours = pd.date_range("2025-01-01", periods=4, freq="h")
        >>> speeds = pd.Series([4.0, 5.0, 6.0, 5.0], hours)
        >>> WindRecord.from_series(speeds, height_m=10).mean_speed_ms
        5.0
        """
        import pandas as pd  # noqa: PLC0415 - slow to load

        if not isinstance(series, pd.Series):
            raise InputError(
                f"a Series of pandas was expected, not {type(series).__name__}; "
                "WindRecord.from_arrays takes times and speeds."
            )
        index = series.index
        name = "series" if series.name is None else str(series.name)
        if index.dtype.kind != "M":
            raise InputError(f"{name}: the index holds no times; give it a DatetimeIndex.")
        zone = getattr(index, "tz", None)
        naive = series if zone is None else series.tz_convert("UTC").tz_localize(None)
        return cls.from_arrays(
            naive.index.to_numpy(),
            series.to_numpy(dtype=float, na_value=np.nan),
            height_m=height_m,
            source=name,
        )

    def quality_controlled(self, **rules: object) -> WindRecord:
        """Return the record without the readings that cannot be believed.

        Parameters
        ----------
        **rules
            Thresholds of `QualityRules`, such as ``stuck_hours=6`` or ``spike_factor=False``.

        Raises
        ------
        InputError
            When there is no such threshold, or no speed is left.
        """
        found = control_quality(self, options_of(QualityRules, None, rules))
        record: WindRecord = found.record  # type: ignore[assignment]  # replace keeps the class
        return record

    def fit(self, method: str | None = None, *, season_correction: bool = True) -> WindDistribution:
        """Fit the wind-speed distribution, readings weighted by month and hour.

        Parameters
        ----------
        method : str, optional
            A key of `yieldest.wind.weibull_fits.METHODS`; chosen by the record where left out.
        season_correction : bool
            Whether months and hours that are there unevenly are evened out.

        Returns
        -------
        WindDistribution
            At the height of the record; at 10 m, which is noted as assumed, where it has none.

        Raises
        ------
        InputError
            When the method is unknown or "empirical", or fewer than two different speeds are there.
        """
        if method == EMPIRICAL:
            raise InputError(
                'fit("empirical"): a distribution holds a Weibull shape and scale, not readings; '
                "fit it otherwise, and for the energy of the readings themselves give "
                "annual_energy a time_series=SpeedSeries.of_record(record, hub_height_m)."
            )
        options = ResourceOptions(ONLY_IMPOSSIBLE, season_correction, method)
        return at_its_height(assess_record(self, options))

    def to_frame(self) -> pd.DataFrame:
        """Return the readings as a table over time, a column for each quantity that is there."""
        import pandas as pd  # noqa: PLC0415 - slow to load

        known = {name: getattr(self, name) for name in _COLUMNS}
        columns = {name: values for name, values in known.items() if values is not None}
        return pd.DataFrame(columns, index=pd.DatetimeIndex(self.time, name="time"))

    def to_xarray(self) -> xr.Dataset:
        """Return the readings as a dataset along "time", with units."""
        dataset = self.to_frame().to_xarray()
        for name, variable in dataset.data_vars.items():
            units, long_name = _COLUMNS[str(name)]
            variable.attrs = {"units": units, "long_name": long_name}
        dataset.attrs = {"source": self.provenance.source, "method": self.provenance.method}
        return dataset

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the speeds over time.

        Parameters
        ----------
        ax : matplotlib axes, optional
            New ones where left out.
        """
        ax = labelled_axes(ax, "time", "wind speed (m/s)")
        ax.plot(self.time, self.speed_ms, linewidth=0.6)
        return ax

    def _repr_html_(self) -> str:
        """Show the record in a notebook."""
        height = "not stated" if self.height_m is None else f"{self.height_m:g} m"
        return html_table(
            "Wind record",
            [
                ("from", str(self.time[0])[:16]),
                ("to", str(self.time[-1])[:16]),
                ("readings", f"{self.valid_speed_ms.size:,}"),
                ("mean speed", f"{self.mean_speed_ms:.2f} m/s"),
                ("height of the anemometer", height),
                ("data recovery", f"{100 * self.data_recovery.share:.1f} %"),
                ("source", self.provenance.source),
            ],
        )
