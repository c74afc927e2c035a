"""Write a screened record, every reading of it, with what each test flagged."""

from __future__ import annotations

import gzip
import io
from pathlib import Path

import numpy as np
import pandas as pd

from yieldest.files.whole_output import refuse_inputs, write_whole
from yieldest.wind.quality_control import QualityReport
from yieldest.wind.record_files import files_of

_WRITTEN = (
    *("speed_ms", "direction_deg", "temperature_c", "pressure_hpa", "standard_deviation_ms"),
    "gust_ms",
)


def write_flagged(quality_control: QualityReport, path: Path) -> None:
    """Write a record with its flags as CSV (gzip where the name ends in .gz), whole or not at all.

    Speeds are as they were read, in m/s; the column `left_out` is 1 where they are not used, and
    `flags` names the tests that flagged a reading. To write over the record is refused.
    """
    record = quality_control.original
    refuse_inputs(path, files_of(Path(record.provenance.source)))
    columns: dict[str, object] = {
        "time": pd.Series(record.time).dt.strftime("%Y-%m-%d %H:%M:%S"),
        **{name: getattr(record, name) for name in _WRITTEN if getattr(record, name) is not None},
    }
    gone = np.isfinite(record.speed_ms) & ~np.isfinite(quality_control.record.speed_ms)
    columns["left_out"] = gone.astype(np.int64)
    flagged = np.full(record.time.size, "", dtype=object)
    for test, flags in zip(quality_control.tests, quality_control.flags, strict=True):
        if test.name != "rounded":  # it flags nearly every reading, and says nothing of one of them
            flagged[flags] = [f"{names} {test.name}".strip() for names in flagged[flags]]
    columns["flags"] = flagged
    text = io.StringIO()
    pd.DataFrame(columns).to_csv(text, index=False, float_format="%.10g")
    content = text.getvalue().encode()
    if path.suffix == ".gz":
        content = gzip.compress(content, mtime=0)
    write_whole(path, content)
