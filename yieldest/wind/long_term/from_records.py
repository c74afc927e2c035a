"""The long-term correction of records, wherever they are read from."""

from __future__ import annotations

from os import PathLike
from typing import TYPE_CHECKING, Any

import pandas as pd

from yieldest.errors import InputError
from yieldest.settings import options_of
from yieldest.units import unit_in_heading
from yieldest.wind.long_term.correction import LongRecord, LongTermCorrection, long_term
from yieldest.wind.read_options import ReadOptions
from yieldest.wind.read_wind import read_wind
from yieldest.wind.record import Record

if TYPE_CHECKING:
    import xarray as xr


def to_long_term(
    record: Record,
    *references: Record
    | str
    | PathLike[str]
    | pd.DataFrame
    | pd.Series[Any]
    | xr.Dataset
    | xr.DataArray,
    **stated: object,
) -> LongTermCorrection:
    """Carry a short record to the years of long ones nearby.

    Parameters
    ----------
    record : Record
        Of the site.
    *references : Record, path, DataFrame, Series, Dataset or DataArray
        Weighed together; the years are those of the first. A `Record` is taken as it is, all else
        is read by `read_wind`; a series is in m/s, unless its name or ``units`` says otherwise.
    **stated
        Fields of `ReadOptions` for the references that are read, such as ``units="kn"``.

    Raises
    ------
    InputError
        When there is no reference, one cannot be read, or overlap or correlation are too small.
    """
    if not references:
        raise InputError("a long-term correction needs a reference; give one long record at least.")
    options = options_of(ReadOptions, None, stated)
    in_si = options.model_copy(update={"units": options.units or "m/s"})
    read: list[Record] = []
    for one in references:
        # As `WindRecord.from_series` has it.
        bare = isinstance(one, pd.Series) and unit_in_heading("speed", str(one.name)) is None
        as_stated = in_si if bare else options
        read.append(one if isinstance(one, Record) else read_wind(one, options=as_stated))
    return long_term(
        record.time, record.speed_ms, [LongRecord.of(one) for one in read], record.direction_deg
    )
