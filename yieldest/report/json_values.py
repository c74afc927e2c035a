"""Values as JSON holds them: full precision, None for what cannot be had."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from yieldest.arrays import number_or_none
from yieldest.wind.distribution import WindDistribution


def json_ready(value: object) -> object:
    """Return arrays as lists, dataclasses as dictionaries, and NaN as None, at any depth."""
    if is_dataclass(value) and not isinstance(value, type):
        return {each.name: json_ready(getattr(value, each.name)) for each in fields(value)}
    if isinstance(value, dict):
        return {key: json_ready(each) for key, each in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return json_ready(value.tolist())
    if isinstance(value, list | tuple):
        return [json_ready(each) for each in value]
    return number_or_none(value) if isinstance(value, float) else value


def picked(of: object, *names: str, **renamed: str) -> dict[str, Any]:
    """Return some attributes of an object as JSON-ready values; all fields where none is named.

    `names` keep their name; `renamed` are the attributes that stand behind other keys.
    """
    if not (names or renamed) and is_dataclass(of):
        names = tuple(each.name for each in fields(of))
    wanted = {**{name: name for name in names}, **renamed}
    return {key: json_ready(getattr(of, name)) for key, name in wanted.items()}


def rows_of(columns: Mapping[str, npt.ArrayLike | None]) -> list[dict[str, Any]]:
    """Return a dictionary for each place of some arrays of one length; None where one is None."""
    ready = {key: json_ready(values) for key, values in columns.items()}
    length = max(len(values) for values in ready.values() if isinstance(values, list))
    return [
        {key: values[i] if isinstance(values, list) else None for key, values in ready.items()}
        for i in range(length)
    ]


def weibull(distribution: WindDistribution) -> dict[str, Any]:
    """Return a fitted distribution with the method of its fit."""
    found = picked(distribution, "shape", "scale_ms", "calm_share")
    return {**found, "method": distribution.provenance.method}
