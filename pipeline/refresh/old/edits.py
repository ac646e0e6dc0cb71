"""What a mapper changed in a draft without a word in `status`: the draft as written against the draft as found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from pipeline.marks.edits import FEW_ROWS, MOST_GONE_SHARE, NOT_COMPARED
from pipeline.refresh.old.numbers import text_of

Row = tuple[bytes, dict[str, str]]


@dataclass(frozen=True)
class Changed:
    """What of a draft is no longer as it was written.

    Attributes
    ----------
    rows : layer -> numbers of rows that were added or changed
    struck : features as they were written, of those that were taken out, put elsewhere or called otherwise
    """

    rows: Mapping[str, frozenset[int]] = field(default_factory=dict)
    struck: gpd.GeoDataFrame | None = None


def changed_since(written: Mapping[str, gpd.GeoDataFrame], found: Mapping[str, gpd.GeoDataFrame], /) -> Changed:
    """What a mapper changed.

    A row is known by its id, in whatever layer it is found; a second row of one id was added. A layer of which most
    rows are gone is a copy of a part, and what it lacks counts as nothing.

    Parameters
    ----------
    written, found : the layers as they were written and as they are, in one CRS
    """
    before = {name: (layer, row) for layer, table in written.items() for name, row in _each_row(table)}
    rows: dict[str, frozenset[int]] = {}
    seen: set[str] = set()
    elsewhere: set[str] = set()
    for layer, table in found.items():
        changed = set()
        for number, (name, row) in enumerate(_each_row(table)):
            known = before.get(name) if name not in seen else None
            seen.add(name)
            if known is None or not _is_same(known[1], row, set(table.columns)):
                changed.add(number)
            if known is not None and (row[0] != known[1][0] or _symbol(row) != _symbol(known[1])):
                elsewhere.add(name)
        rows[layer] = frozenset(changed)
    gone = _gone(written, found, seen)
    tables = [table[np.isin(_names_of(table), list(elsewhere | gone))] for table in written.values() if len(table)]
    filled = [table for table in tables if len(table)]
    if not filled:
        return Changed(rows)
    return Changed(rows, gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), geometry="geometry", crs=filled[0].crs))


def _names_of(table: gpd.GeoDataFrame) -> list[str]:
    """(n,) the id of each row; of one without an id its geometry."""
    shapes = shapely.to_wkb(table.geometry.to_numpy(), hex=True)
    ids = [text_of(value) for value in table["id"]] if "id" in table else [""] * len(table)
    return [name or f"at {shape}" for name, shape in zip(ids, shapes, strict=True)]


def _each_row(table: gpd.GeoDataFrame) -> list[tuple[str, Row]]:
    """Id of each row, with its geometry and those of its columns that say something, as text."""
    names = [str(name) for name in table.columns if name not in NOT_COMPARED]
    shapes = shapely.to_wkb(table.geometry.to_numpy())
    columns = [[text_of(value) for value in table[name]] for name in names]
    ids = _names_of(table)
    values = zip(*columns, strict=True) if columns else iter([()] * len(table))
    return [
        (name, (shape or b"", {key: cell for key, cell in zip(names, cells, strict=True) if cell}))
        for name, shape, cells in zip(ids, shapes, values, strict=True)
    ]


def _symbol(row: Row) -> str:
    return row[1].get("symbol", "")


def _is_same(before: Row, after: Row, columns: set[str]) -> bool:
    """Whether a row is as it was; a column that is gone altogether says nothing."""
    said = {name: cell for name, cell in before[1].items() if name in columns}
    return before[0] == after[0] and said == after[1]


def _gone(written: Mapping[str, gpd.GeoDataFrame], found: Mapping[str, gpd.GeoDataFrame], seen: set[str]) -> set[str]:
    """Ids of rows that were taken out of layers that are there and mostly whole."""
    struck: set[str] = set()
    for layer, table in written.items():
        if layer not in found:
            continue
        missing = set(_names_of(table)) - seen
        if len(table) <= FEW_ROWS or len(missing) <= MOST_GONE_SHARE * len(table):
            struck |= missing
    return struck
