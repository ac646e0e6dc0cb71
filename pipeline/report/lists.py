"""Tables of a draft as rows for the page, each with its place on the page's map."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from typing import cast

import numpy as np
import pandas as pd

from pipeline.report.looks import Json
from pipeline.report.place import Place

DECIMALS = 7
"""Of numbers in data blocks: degrees to 0.01 m."""
LEFT_OUT = ("symbol", "name", "what", "reason", "distance_m", "size", "confidence", "evidence")
"""Columns of `report/left_out.csv` that the page tells, beside the place."""
PLACE = ("east_m", "north_m")
"""Columns that a row must have to stand on the page, metres in the working CRS."""
CORNERS = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))
"""Corners of a square from its south-west one, in sides to the right and up."""


def plain(value: object, /) -> Json:
    """A value of a table as the page's data can hold it: what is missing or infinite is None."""
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return round(float(value), DECIMALS) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [plain(inner) for inner in value]
    return None if value is None else str(value)


def rows_of(table: pd.DataFrame, place: Place, /, *, columns: Sequence[str] | None = None) -> list[Json]:
    """Rows of a table that have a place (`east_m`, `north_m`), a mapping each, with `x`, `y` on the page's map."""
    table = _placed(table)
    if table.empty:
        return []
    on_map = place.on_map(table[list(PLACE)].to_numpy(np.float64))
    told = table if columns is None else table[list(columns)]
    rows: list[Json] = []
    for row, (x, y) in zip(told.to_dict("records"), on_map, strict=True):
        values = {str(key): plain(value) for key, value in cast("dict[Hashable, object]", row).items()}
        rows.append({**values, "x": round(float(x), 1), "y": round(float(y), 1)})
    return rows


def checks_of(table: pd.DataFrame, place: Place, /, *, kind: str) -> list[Json]:
    """The rows of a list of places to look at that lie somewhere.

    `key` names a row for as long as the place stays on the list: its `id`, where the list has one, else its kind and
    place.

    Parameters
    ----------
    kind : of rows that do not say theirs
    """
    rows = cast("list[dict[str, Json]]", rows_of(table, place))
    for row in rows:
        row["kind"] = row.get("kind") or kind
        row["name"] = str(row.get("name") or row.get("rank") or "")
        row["key"] = str(row.get("id") or f"{row['kind']} {row['east_m']} {row['north_m']}")
    return cast("list[Json]", rows)


def _placed(table: pd.DataFrame) -> pd.DataFrame:
    """The rows that lie somewhere, their coordinates as numbers; none where the table has no coordinates."""
    if not set(PLACE) <= set(table.columns):
        return pd.DataFrame()
    numbers = table[list(PLACE)].apply(pd.to_numeric, errors="coerce").replace([np.inf, -np.inf], np.nan)
    return table.assign(**numbers).dropna(subset=list(PLACE))


def effort_of(effort: Mapping[str, object], place: Place, /) -> dict[str, Json]:
    """The estimate of the hours with the corners of each cell on the page's map, as `corners`: x, y, x, y ..."""
    told = cast("dict[str, Json]", plain(dict(effort)))
    for cell in cast("list[dict[str, Json]]", told.get("cells") or []):
        west, south, side = (float(cast("float", cell[name])) for name in ("east_m", "north_m", "side_m"))
        corners = np.array([(west + right * side, south + up * side) for right, up in CORNERS])
        cell["corners"] = cast("list[Json]", np.round(place.on_map(corners), 1).ravel().tolist())
    return told
