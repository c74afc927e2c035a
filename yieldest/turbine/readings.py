"""Wind speed and electrical power read together: what all later steps work on."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from yieldest.arrays import FloatArray
from yieldest.files.table import Table
from yieldest.provenance import Findings, Provenance
from yieldest.turbine.meters import Wiring

MANY_WRONG = 0.10
"""When more of the lines than this are wrong, it is no slip of the pen; our choice."""


@dataclass(frozen=True)
class Readings:
    """Wind speed and electrical power read together, in time order where there are times.

    Parameters
    ----------
    table : Table
        Where they stand, for messages.
    row : ndarray of int, shape (n,)
        Data row of each reading (of the first one of a mean).
    speed_ms, power_w : ndarray, shape (n,)
    time_s : ndarray, shape (n,), or None
        Seconds since the first line.
    volts, amps, rpm, temperature_c, pressure_hpa : ndarray, shape (n,), or None
        Volts and amps are direct or RMS values; NaN where blank.
    wiring : Wiring
    read_count : int
        Data lines in the file.
    provenance : Provenance
    """

    table: Table
    row: npt.NDArray[np.int64]
    speed_ms: FloatArray
    power_w: FloatArray
    time_s: FloatArray | None
    volts: FloatArray | None
    amps: FloatArray | None
    rpm: FloatArray | None
    temperature_c: FloatArray | None
    pressure_hpa: FloatArray | None
    wiring: Wiring
    read_count: int
    provenance: Provenance

    @property
    def size(self) -> int:
        """Number of readings."""
        return int(self.speed_ms.size)

    def place(self, index: int) -> str:
        """Return file and line of a reading, for messages."""
        return self.table.place(int(self.row[index]))

    def columns(self) -> dict[str, FloatArray]:
        """Return the columns that are there, all but the rows."""
        return {
            field.name: value
            for field in fields(self)
            if field.name != "row" and isinstance(value := getattr(self, field.name), np.ndarray)
        }

    def only(self, keep: npt.NDArray[np.bool_] | npt.NDArray[np.intp]) -> Readings:
        """Return the chosen readings."""
        chosen = {name: values[keep] for name, values in self.columns().items()}
        return replace(self, row=self.row[keep], **chosen)  # type: ignore[arg-type]

    def noting(
        self,
        *,
        assumed: Findings = (),
        warnings: Findings = (),
    ) -> Readings:
        """Return the readings with more said about them."""
        said = self.provenance
        return replace(
            self,
            provenance=Provenance(
                said.source,
                said.method,
                said.assumed + assumed,
                said.warnings + warnings,
            ),
        )
