"""Records of several stations in one file: noticed, and one of them picked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from yieldest.errors import InputError
from yieldest.files.dialect import Layout
from yieldest.files.table import Table
from yieldest.wind.record_headings import take_apart

STATION_HEADINGS = frozenset(
    {"station", "stations", "station id", "stationid", "station name", "station code", "stid"}
    | {"station number", "station no", "site", "site id", "siteid", "site name", "site code"}
)
"""Headings, taken apart, under which the name of the place stands."""
_SHOWN = 5


def station_columns(layout: Layout) -> list[str]:
    """Return the headings that say they hold the station."""
    return [h for h in layout.headings if take_apart(h).base in STATION_HEADINGS]


def check_where(path: Path, layout: Layout, where: Mapping[str, Sequence[str]]) -> None:
    """Refuse a stated column that is not there."""
    for heading in where:
        if heading not in layout.headings:
            have = ", ".join(map(repr, layout.headings))
            raise InputError(
                f"{path}, where: there is no column {heading!r}; the columns are {have}."
            )


class Stations:
    """Picks the rows with the stated cells by heading, and remembers which others there are."""

    def __init__(self, path: Path, where: Mapping[str, Sequence[str]]) -> None:
        self._path = path
        self._where = where
        self._seen: dict[str, dict[str, None]] = {}

    def picked(self, table: Table) -> Table:
        """Return the rows that hold one of the stated cells in each stated column.

        Raises
        ------
        InputError
            When a column holds several stations, and none was picked.
        """
        keep = np.ones(len(table.frame), dtype=bool)
        for heading, wanted in self._where.items():
            keep &= self._cells(table, heading).isin(list(wanted)).to_numpy()
        if not keep.all():
            table = replace(table, frame=table.frame[keep])
        for heading in station_columns(table.layout):
            if heading not in self._where:
                self._cells(table, heading)
                seen = list(self._seen[heading])
                if len(seen) > 1:
                    raise InputError(
                        f"{self._path}: column {heading!r} holds several stations "
                        f"{pick_one(heading, seen)}"
                    )
        return table

    def _cells(self, table: Table, heading: str) -> pd.Series[str]:
        """Return the cells of a column, and remember which there are."""
        cells = table.frame[heading].fillna("").str.strip()
        names = dict.fromkeys(cell for cell in cells.unique().tolist() if cell)
        self._seen.setdefault(heading, {}).update(names)
        return cells

    def check_found(self, rows: int) -> None:
        """Refuse a stated cell that no row holds, and cells that leave no row together."""
        for heading, wanted in self._where.items():
            seen = self._seen.get(heading, {})
            for cell in wanted:
                if cell not in seen:
                    raise InputError(
                        f"{self._path}, where: no row has {cell!r} in column {heading!r}, which "
                        f"holds {listed(list(seen))}; name one of these."
                    )
        if self._where and rows == 0:
            raise InputError(
                f"{self._path}, where: no row has what is stated for {' and '.join(self._where)} "
                "together; leave one of them out."
            )


def pick_one(heading: str, cells: Sequence[str]) -> str:
    """Say which stations a column holds, and how to pick one of them."""
    return (
        f"({listed(cells)}); pick one: where = {{ {heading!r} = {cells[0]!r} }} (on the command "
        f'line --where "{heading}={cells[0]}").'
    )


def listed(cells: Sequence[str]) -> str:
    """Name the first few of some cells."""
    more = f" and {len(cells) - _SHOWN} more" if len(cells) > _SHOWN else ""
    return ", ".join(map(repr, cells[:_SHOWN])) + more
