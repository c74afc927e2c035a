"""Averages of quick readings over equal intervals, block by block, in bounded memory."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from yieldest.arrays import FloatArray
from yieldest.files.time_stamps import Times

_MERGE_ABOVE = 2_000_000


class Averager:
    """Averages of readings that arrive in blocks, in any order, over intervals of so many seconds.

    The intervals begin at whole multiples of `seconds` since 1970; `readings` is how many speeds
    were averaged so far, and `cubes` the sum of their cubes in (m/s)^3.
    """

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self.readings = 0
        self.cubes = 0.0
        self._parts: list[pd.DataFrame] = []
        self._rows = 0
        self._merged_rows = 0

    def add(self, time: Times, values: Mapping[str, FloatArray]) -> None:
        """Take in times and SI values by role, among them "speed"; NaN is left out of averages."""
        speed = values["speed"]
        valid = np.isfinite(speed)
        self.readings += int(valid.sum())
        still = np.where(valid, speed, 0.0)
        self.cubes += float((still**3).sum())
        columns = {"readings": valid.astype(np.float64), "sum": still, "squares": still**2}
        columns["highest"] = np.fmax(speed, values["gust"]) if "gust" in values else speed
        if "standard_deviation" in values:
            columns["variance"] = np.where(
                valid, np.nan_to_num(values["standard_deviation"]) ** 2, 0.0
            )
        if "direction" in values:
            angle = np.radians(values["direction"])
            # Weighted by the speed, as the wind itself carries; a calm has no direction.
            columns["east"] = np.nan_to_num(still * np.sin(angle))
            columns["north"] = np.nan_to_num(still * np.cos(angle))
        for role in ("temperature", "pressure"):
            if role in values:
                columns[role] = np.nan_to_num(values[role])
                columns[role + "s"] = np.isfinite(values[role]).astype(np.float64)
        interval_ns = np.int64(self.seconds * 1e9)
        number = time.astype("datetime64[ns]").astype(np.int64) // interval_ns
        part = _merge(pd.DataFrame(columns, index=number))
        self._parts.append(part)
        self._rows += len(part)
        if self._rows > 2 * self._merged_rows + _MERGE_ABOVE:
            self._merged()

    def result(self) -> tuple[Times, dict[str, FloatArray], FloatArray]:
        """Return start, SI averages by role, and number of readings of each interval, in order.

        "standard_deviation" is the standard deviation of the readings in an interval (with that of
        the readings themselves where they have one), "gust" the highest.
        """
        frame = self._merged()
        start = (frame.index.to_numpy() * np.int64(self.seconds * 1e9)).astype("datetime64[ns]")
        column = {str(name): frame[name].to_numpy(np.float64) for name in frame}
        count = column["readings"]
        some = np.where(count > 0, count, np.nan)
        mean = column["sum"] / some
        variance = column["squares"] / some - mean**2 + column.get("variance", 0.0) / some
        values = {
            "speed": mean,
            "standard_deviation": np.sqrt(np.maximum(variance, 0.0)),
            "gust": column["highest"],
        }
        if "east" in column:
            east, north = column["east"], column["north"]
            blows = np.hypot(east, north) > 0
            values["direction"] = np.where(blows, np.degrees(np.arctan2(east, north)) % 360, np.nan)
        for role in ("temperature", "pressure"):
            if role in column:
                readings = column[role + "s"]
                values[role] = column[role] / np.where(readings > 0, readings, np.nan)
        return start, values, count

    def _merged(self) -> pd.DataFrame:
        self._parts = [_merge(pd.concat(self._parts))]
        self._rows = self._merged_rows = len(self._parts[0])
        return self._parts[0]


def _merge(frame: pd.DataFrame) -> pd.DataFrame:
    rows = frame.groupby(level=0)
    return rows.sum().assign(highest=rows["highest"].max())
