"""Synthetic wind records whose truth is known, for the tests."""

import numpy as np
from scipy.signal import lfilter
from scipy.stats import norm

from yieldest.provenance import Provenance
from yieldest.wind.data_recovery import data_recovery_of
from yieldest.wind.wind_record import WindRecord

KNOT_MS = 1852 / 3600


def times(count, start="2025-01-01", minutes=60):
    """Return `count` times, so many minutes apart."""
    return np.datetime64(start, "ns") + np.arange(count) * np.timedelta64(minutes, "m")


def record_of(speed_ms, time=None, **more):
    """Make a record of hourly (or other) speeds."""
    speed_ms = np.asarray(speed_ms, dtype=float)
    time = times(speed_ms.size) if time is None else time
    empty = {"direction_deg": None, "temperature_c": None, "pressure_hpa": None}
    return WindRecord(
        time=time,
        speed_ms=speed_ms,
        data_recovery=data_recovery_of(time, np.isfinite(speed_ms)),
        provenance=Provenance("synthetic", "made for a test"),
        **{**empty, **more},
    )


def slow_weibull(random, count, shape, scale_ms, memory_hours):
    """Return hourly Weibull speeds whose normal scores fade over so many hours."""
    keep = np.exp(-1 / memory_hours)
    white = random.standard_normal(count + 200) * np.sqrt(1 - keep**2)
    score = lfilter([1.0], [1.0, -keep], white)[200:]
    return scale_ms * (-np.log(norm.sf(score / score.std()))) ** (1 / shape)


def by_airport_rules(speed_ms):
    """Return speeds as a sensor that starts at 1.5 m/s and whole knots would report them."""
    return np.where(speed_ms < 1.5, 0.0, np.rint(speed_ms / KNOT_MS) * KNOT_MS)


def cut_into_blocks(monkeypatch, rows):
    """Have files read some rows at a time, even those that are read in one piece otherwise."""
    monkeypatch.setattr("yieldest.wind.record_rows.BLOCK_ROWS", rows)
    monkeypatch.setattr("yieldest.wind.record_rows.AVERAGED_ROWS", rows)
    monkeypatch.setattr("yieldest.files.table.BLOCK_CHARACTERS", 20 * rows)
