"""Values as JSON holds them: full precision, None for what cannot be had."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from yieldest.arrays import number_or_none


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
    """Return some attributes of an object as JSON-ready values.

    Parameters
    ----------
    of : object
    *names : str
        Attributes that keep their name.
    **renamed : str
        The attribute that stands behind each other key.
    """
    wanted = {**{name: name for name in names}, **renamed}
    return {key: json_ready(getattr(of, name)) for key, name in wanted.items()}
