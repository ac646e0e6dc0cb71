"""Marks applied to a draft that was made anew: what was found on foot stays found."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry.base import BaseGeometry

from pipeline.draft.record.left_out import left_out, left_out_table
from pipeline.marks.making_way import make_way
from pipeline.marks.mark import Mark, Value
from pipeline.marks.matching import same_thing
from pipeline.norm.symbols import norm_table

FIELD = "field"
"""`origin` of what a mapper added."""
SURE, NONE = 1.0, 0.0
"""Confidence of what somebody has seen there, and of what somebody has not."""
SILENCE_SHARE = 0.25
"""How much silence says, as a share of what a mark says. Who walks past a drawn feature in sight and makes no mark
leaves it as it is; past a candidate, does not ask for it. The confidence goes a quarter of the way to what a mark would
have said, and in learning it counts as a quarter of a mark: a mapper may as well have looked elsewhere (our choice)."""


@dataclass(frozen=True)
class Applied:
    """A draft with marks applied.

    Attributes
    ----------
    layers : the layers of the draft by name
    gone : features of the draft made anew that a mark takes the place of
    """

    layers: dict[str, gpd.GeoDataFrame]
    gone: gpd.GeoDataFrame


def apply_marks(layers: Mapping[str, gpd.GeoDataFrame], marks: Sequence[Mark], /) -> Applied:
    """The draft with what a mapper said of its features.

    A mark means the feature with its id. Where the draft has none of that id, it means what is of the same kind at the
    same place (`pipeline.marks.matching`): that feature gives way to the one the mark has kept. What the mapper wrote
    is taken as written, a geometry bit for bit; all else follows the draft made anew.

    Parameters
    ----------
    layers : as composed, without marks
    """
    marks = [mark for mark in marks if not mark.is_place]
    if not marks:
        return Applied(dict(layers), _all_of(layers).iloc[:0])
    draft = _all_of(layers)
    place_of_id = {str(name): row for row, name in enumerate(draft["id"])}
    taken = {place_of_id[mark.id] for mark in marks if mark.id in place_of_id}
    rows: list[dict[str, object]] = []
    replaced: set[int] = set()
    for mark in marks:
        own = place_of_id.get(mark.id)
        if own is None or mark.has_moved:
            replaced |= set(_others_of(mark, draft)) - taken
        if own is None and mark.status == "seen":
            continue
        if not mark.is_deleted:
            rows.append(_row_of(mark, None if own is None else draft.iloc[own]))
    kept = draft.drop(index=draft.index[sorted(taken | replaced)])
    gone = draft.iloc[sorted(replaced)]
    placed = {mark.id for mark in marks if mark.is_on_the_map or mark.has_moved}
    return Applied(make_way(_with_rows(layers, kept, rows), placed), gone)


def _all_of(layers: Mapping[str, gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    """All features in one table, with the `layer` they are from and their `place` in it."""
    tables = [table.assign(layer=name, place=np.arange(len(table))) for name, table in layers.items()]
    filled = [table for table in tables if len(table)] or tables[:1]
    return gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), geometry="geometry", crs=filled[0].crs)


def _others_of(mark: Mark, draft: gpd.GeoDataFrame) -> list[int]:
    """Rows that are the thing a mark means under another id, where it was proposed and where the mapper has put it."""
    height = mark.row.get("elevation_m")
    elevation_m = float(height) if isinstance(height, int | float) else None
    meant = [(mark.was.symbol, mark.was.geometry)] if mark.was else []
    meant += [(mark.symbol, mark.geometry)] if mark.geometry is not None and mark.status != "seen" else []
    found = [same_thing(draft, symbol, shape, elevation_m=elevation_m) for symbol, shape in meant if symbol]
    return [int(row) for rows in found for row in rows]


def _row_of(mark: Mark, fresh: pd.Series | None) -> dict[str, object]:
    """The feature as the draft is to show it."""
    row: dict[str, object] = dict(mark.row) if fresh is None else {str(key): value for key, value in fresh.items()}
    if fresh is None or mark.has_moved:
        row["geometry"] = mark.geometry
    row |= {"layer": mark.layer or row.get("layer"), "id": mark.id}
    row |= _said_by(mark, row)
    row |= mark.changed
    if mark.is_on_the_map and mark.symbol and row["symbol"] != mark.symbol:
        row["symbol"] = mark.symbol
    row["name"] = mark.changed.get("name") or _name_of(str(row["symbol"]), row.get("name"))
    return row


def _name_of(symbol: str, before: object) -> object:
    return norm_table().name_of(symbol) if symbol in norm_table() else before


def _said_by(mark: Mark, row: Mapping[str, object]) -> dict[str, object]:
    """Columns that a mark decides, unless the mapper wrote something else there."""
    told = f"{mark.status} on foot" + (f" {mark.at[:10]}" if mark.at else "") + (f": {mark.note}" if mark.note else "")
    evidence = str(row.get("evidence") or "")
    joined = "; ".join(part for part in (evidence, told) if part)
    if mark.status == "edited":
        return {}
    if mark.status == "seen":
        return {"confidence": after_silence(_number(row.get("confidence")), str(row.get("status")))}
    if mark.status == "rejected":
        return {"status": "rejected", "confidence": NONE, "evidence": joined}
    origin: dict[str, object] = {"origin": FIELD} if mark.status == "new" else {}
    status = "confirmed" if mark.status == "new" else mark.status
    return {"status": status, "confidence": SURE, "evidence": joined, **origin}


def after_silence(confidence: float, status: str, /) -> float:
    """The confidence of a feature that somebody came by in sight of and made no mark at."""
    target = NONE if status == "candidate" else SURE
    return round(confidence + SILENCE_SHARE * (target - confidence), 3)


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float | np.floating) else 0.5


def _with_rows(
    layers: Mapping[str, gpd.GeoDataFrame], kept: gpd.GeoDataFrame, rows: list[dict[str, object]]
) -> dict[str, gpd.GeoDataFrame]:
    """The layers with rows that marks decide: a known one where it stood, others at the end in order of their ids."""
    found: dict[str, gpd.GeoDataFrame] = {}
    for name, table in layers.items():
        own = [row for row in rows if row["layer"] == name]
        rest = kept[kept["layer"] == name]
        more = sorted({key for row in own for key in row} - set(table.columns) - {"layer", "place"})
        pieces = [rest, _table_of(own, table, more)] if own else [rest]
        joined = pd.concat([piece for piece in pieces if len(piece)] or [rest], ignore_index=True)
        joined = joined.sort_values(["place", "id"], kind="stable", na_position="last")
        columns = [*table.columns[table.columns != "geometry"], *more, "geometry"]
        found[name] = gpd.GeoDataFrame(joined[columns].reset_index(drop=True), geometry="geometry", crs=table.crs)
    return found


def _table_of(rows: list[dict[str, object]], like: gpd.GeoDataFrame, more: Sequence[str]) -> gpd.GeoDataFrame:
    """Rows as a table with the columns of a layer and some more, `layer` and `place`."""
    columns = [*like.columns, *more, "layer", "place"]
    table: dict[str, list[object]] = {name: [row.get(name) for row in rows] for name in columns if name != "geometry"}
    shapes: list[BaseGeometry] = [row["geometry"] for row in rows]  # type: ignore[misc]
    made = gpd.GeoDataFrame(table, geometry=shapes, crs=like.crs)
    numbers = [name for name in (*_numeric(like), "place") if name in made]
    made[numbers] = made[numbers].apply(pd.to_numeric)
    return made


def _numeric(table: gpd.GeoDataFrame) -> list[str]:
    """Columns of the draft that hold numbers."""
    names = table.columns.drop("geometry")
    return [str(name) for name in names if name == "confidence" or str(name).endswith(("_m", "_deg"))]


def gone_to_marks(gone: gpd.GeoDataFrame, /) -> pd.DataFrame:
    """Rows of the list of what was left out, for features that a mark takes the place of."""
    return left_out_table([left_out(gone, "a mapper's mark stands for it")], norm_table())


def plain_row(row: pd.Series, /) -> dict[str, Value]:
    """The columns of a feature as JSON has them, without its geometry: nothing for what is missing."""
    left_out = {"geometry", "layer", "place"}
    return {str(key): plain_value(value) for key, value in row.items() if key not in left_out}


def plain_value(value: object, /) -> Value:
    """A value of a table as JSON has it."""
    if value is None or value is pd.NaT or (isinstance(value, float | np.floating) and np.isnan(value)):
        return None
    if isinstance(value, np.generic):
        return plain_value(value.item())
    return value if isinstance(value, str | int | float | bool) else str(value)
